"""Pictures of a calibration for a paper: one or two columns wide, letters embedded.

Drawn anew at each width, not scaled, so that letters stay 7 points or more.
"""

from __future__ import annotations

import textwrap

from matplotlib.figure import Figure

from flutelab.files.archived_results import Results
from flutelab.view.plots.paper_corrections import (
    BUDGET,
    CORRECTIONS,
    CORRELATIONS,
    PROFILES,
    draw_budget,
    draw_corrections,
    draw_correlations,
    draw_profiles,
)
from flutelab.view.plots.paper_page import new_page, paper_style, saved, with_tables
from flutelab.view.plots.paper_readings import READINGS, draw_readings
from flutelab.view.style import close

WIDTHS = (85, 170)  # mm: a column of a journal, and both
PICTURES = {  # what draws each, and its caption
    "readings": (draw_readings, READINGS),
    "corrections": (draw_corrections, CORRECTIONS),
    "profiles": (draw_profiles, PROFILES),
    "correlations": (draw_correlations, CORRELATIONS),
    "budget": (draw_budget, BUDGET),
}
_CAPTION = 96  # letters a line


def paper_files(results: Results) -> dict[str, bytes]:
    """Return a calibration's pictures for a paper by their files' names.

    Parameters
    ----------
    results : Results
        From `flutelab.files.archived_results.results_of`.

    Returns
    -------
    dict of str to bytes
        Each picture 85 mm and 170 mm wide, as SVG and PDF, and ``captions.txt``. The same
        results give the same bytes.
    """
    files = {}
    for name in PICTURES:
        for width in WIDTHS:
            picture = paper_figure(results, name, width)
            for ending, data in saved(picture).items():
                files[f"{name}-{width}mm.{ending}"] = data
            close(picture)
    return files | {"captions.txt": captions(results).encode()}


def captions(results: Results) -> str:
    """Return what the pictures show, in words."""
    tables = results.calibration.tables
    flutes = dict.fromkeys(part.measurements.flute.name for part in tables)
    told = [f"Pictures of {', '.join(flutes)}"]
    told += [
        f"{name}\n{_filled(with_tables(words, results.calibration))}"
        for name, (_, words) in PICTURES.items()
    ]
    return "\n\n".join(told) + "\n"


def _filled(text):
    return textwrap.fill(text, _CAPTION, break_on_hyphens=False, break_long_words=False)


def paper_figure(results: Results, name: str, width_mm: float) -> Figure:
    """Return one of the pictures at a width.

    Parameters
    ----------
    results : Results
    name : {"readings", "corrections", "profiles", "correlations", "budget"}
    width_mm : float

    Returns
    -------
    Figure
    """
    page = new_page(width_mm)
    with paper_style():
        PICTURES[name][0](page, results)
    return page
