"""Every picture of what was found of a flute's notes, by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

import numpy as np
from matplotlib.axes import Axes

from flutelab.view.plots.inside import plot_spectrum, plot_standing_wave
from flutelab.view.plots.mismatch import plot_causes
from flutelab.view.plots.next_measurement import plot_next_measurement
from flutelab.view.plots.sensitivities import plot_sensitivities
from flutelab.view.plots.why import plot_air, plot_by_hand, plot_jet, plot_octaves, plot_warmth
from flutelab.view.plots.worth import plot_worth

_ONE_PICTURE = {
    "octaves": plot_octaves,
    "rules": plot_by_hand,
    "warmth": plot_warmth,
    "jet": plot_jet,
    "small_changes": plot_sensitivities,
    "worth": plot_worth,
}
_NUMBERED = {"causes_": plot_causes, "next_": plot_next_measurement}


def drawings_of(results: Mapping[str, object]) -> dict[str, Callable[[], Axes]]:
    """Return how to draw each result of `look`, `why` or `next`, by the picture's name.

    Parameters
    ----------
    results : mapping of str to records

    Returns
    -------
    dict of str to callable
        ``spectrum-xxxooo`` and ``wave-xxxooo`` of each note, and one picture of the others.
        Call one to draw it.
    """
    found = {
        name: partial(draw, results[name]) for name, draw in _ONE_PICTURE.items() if name in results
    }
    for name in results:
        for kind, draw in _NUMBERED.items():
            if name.startswith(kind):
                found[name] = partial(draw, results[name])
    if "air" in results:
        head = results["standing_wave"].opening[0]
        found["air"] = partial(plot_air, results["air"], head=head)
    if "spectrum" in results:
        found |= _of_each_note(results)
    return found


def _of_each_note(results):
    seen, wave, found = results["spectrum"], results["standing_wave"], {}
    for row, word in enumerate(seen.label):
        name = word or "bare"
        cutoff = results.get("cutoff")
        found[f"spectrum-{name}"] = partial(plot_spectrum, seen, row=row, cutoff=cutoff)
        if np.isfinite(wave.frequency[row]):
            found[f"wave-{name}"] = partial(plot_standing_wave, wave, row=row)
    return found
