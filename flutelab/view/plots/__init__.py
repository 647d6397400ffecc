"""Pictures of results: they draw what was computed."""

from flutelab.view.plots.calibration import (
    NAMED,
    plot_calibration,
    plot_mismatch,
    plot_residuals,
)
from flutelab.view.plots.corrections import plot_corrections
from flutelab.view.plots.every import drawings_of
from flutelab.view.plots.identifiability import plot_what_data_tell
from flutelab.view.plots.inside import plot_spectrum, plot_standing_wave
from flutelab.view.plots.mismatch import plot_causes
from flutelab.view.plots.next_measurement import plot_next_measurement
from flutelab.view.plots.sensitivities import plot_sensitivities
from flutelab.view.plots.uncertainty import plot_bootstrap, plot_budget, plot_profiles
from flutelab.view.plots.why import (
    plot_air,
    plot_breath,
    plot_by_hand,
    plot_jet,
    plot_octaves,
    plot_warmth,
)
from flutelab.view.plots.worth import plot_worth

__all__ = [
    "NAMED",
    "drawings_of",
    "plot_air",
    "plot_bootstrap",
    "plot_breath",
    "plot_budget",
    "plot_by_hand",
    "plot_calibration",
    "plot_causes",
    "plot_corrections",
    "plot_jet",
    "plot_mismatch",
    "plot_next_measurement",
    "plot_octaves",
    "plot_profiles",
    "plot_residuals",
    "plot_sensitivities",
    "plot_spectrum",
    "plot_standing_wave",
    "plot_warmth",
    "plot_what_data_tell",
    "plot_worth",
]
