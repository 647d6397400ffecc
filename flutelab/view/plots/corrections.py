"""Picture of the corrections: fitted, and what was assumed of them before."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from flutelab.files.learned import learned
from flutelab.fitting.calibrate import Calibration, TableResult
from flutelab.fitting.unknowns import Parameter
from flutelab.model.corrections import META
from flutelab.model.equivalents import equivalents
from flutelab.view.plots.parts import handle, new_axes, shop_length
from flutelab.view.style import BLACK, BLUE, PALE, style


def plot_corrections(calibration: Calibration, *, ax: Axes | None = None) -> Axes:
    """Draw each reported correction beside what was assumed of it before the notes.

    Parameters
    ----------
    calibration : Calibration
    ax : Axes, optional
        Default: a new figure.

    Returns
    -------
    Axes
        A point with one sd over the prior's band, relative to the formula; in units of
        the prior's sd where not all reported corrections multiply a formula. Beside it
        the numbers, and the length it amounts to where the flutes agree on it.
    """
    found = zip(
        calibration.parameters, calibration.value, np.sqrt(np.diag(calibration.covariance)),
        strict=True,
    )  # fmt: skip
    reported = [
        (p, float(value), float(sd))
        for p, value, sd in found
        if p.is_correction and p.name in calibration.free
    ]
    ax = ax or new_axes(1.8 + 0.8 * len(reported))
    with style():
        _draw_corrections(ax, calibration, reported)
        ax.set_title("Corrections: fitted, and assumed before", loc="left", pad=30.0)
    return ax


def _draw_corrections(ax, calibration, reported):
    """One line a correction, the first on top."""
    ax.use_sticky_edges = False
    times = all(META[p.name]["unit"] == "times" for p, _, _ in reported)
    for line, (p, value, sd) in enumerate(reported):
        unit = 1.0 if times else p.prior.sd
        off = 0.0 if times else p.prior.mean
        mean = (p.prior.mean - off) / unit
        band = p.prior.sd / unit
        ax.barh(line, 2 * band, left=mean - band, height=0.6, color=PALE, linewidth=0)
        ax.errorbar(
            (value - off) / unit, line, xerr=sd / unit, fmt="o", color=BLUE, capsize=5.0,
            linewidth=2.0,
        )  # fmt: skip
        ax.annotate(
            _numbers(calibration, p, value, sd), (1.01, line), xycoords=("axes fraction", "data"),
            va="center", fontsize=10.5, annotation_clip=False,
        )  # fmt: skip
    ax.axvline(1.0 if times else 0.0, color=BLACK, linewidth=1.2, zorder=1)
    ax.set_yticks(range(len(reported)), [_reported_name(calibration, p) for p, _, _ in reported])
    ax.set_ylim(len(reported) - 0.4, -0.6)
    ax.set_xlabel(
        "correction [times the formula]: 1 = the formula as it stands"
        if times
        else "change [standard deviations assumed before]: 0 = as assumed"
    )
    handles = [
        handle("fitted ± one standard deviation", "o", BLUE),
        Patch(facecolor=PALE, label="assumed before ± one standard deviation"),
    ]
    ax.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2
    )


def _reported_name(calibration, p):
    name = p.name.replace("_", " ")
    if p.table is None:
        return name
    return f"{name}, {calibration.tables[p.table].measurements.flute.name}"


def _numbers(calibration, p: Parameter, value, sd):
    """A correction in figures, as a length, and whether the notes told it."""
    unit = META[p.name]["unit"]
    digits = max(0, 1 - int(np.floor(np.log10(sd))))
    lines = [
        f"{value:.{digits}f} ± {sd:.{digits}f} {'times the formula' if unit == 'times' else unit}"
    ]
    parts = calibration.tables if p.table is None else (calibration.tables[p.table],)
    lengths = {_length_words(p.name, sd, part) for part in parts}
    if len(lengths) == 1:
        lines += filter(None, lengths)
    word = learned(calibration, p.name)[1] if p.table is None else ""
    said = {"prior only": "the notes say next to nothing of it", "at limit": "at its limit"}
    return "\n".join([*lines, *filter(None, [said.get(word)])])


def _length_words(name, sd, part: TableResult):
    """The length that a correction amounts to on a flute and where, or ""."""
    flute = part.measurements.flute
    found = [e for e in equivalents(flute, part.corrections) if e.name == name]
    if not found:
        return ""
    first = found[0]
    where = " and ".join(e.where for e in found if e.corrected == first.corrected)
    corrected = shop_length(first.corrected, flute.unit, sd * first.per_unit)
    return f"{corrected}, {where}\n(by the formula {shop_length(first.formula, flute.unit)})"
