"""Panels for the notebooks: controls wired to one pure function and one picture."""

from flutelab.view.panels.constants import ConstantsPanel, constants_panel
from flutelab.view.panels.fit import FitPanel, fit_panel
from flutelab.view.panels.hole_size import HoleSizePanels, hole_size_panels
from flutelab.view.panels.lattice import lattice_panel
from flutelab.view.panels.measuring import MeasuringForm, measuring_form
from flutelab.view.panels.pipe_length import pipe_length_panel

__all__ = [
    "ConstantsPanel",
    "FitPanel",
    "HoleSizePanels",
    "MeasuringForm",
    "constants_panel",
    "fit_panel",
    "hole_size_panels",
    "lattice_panel",
    "measuring_form",
    "pipe_length_panel",
]
