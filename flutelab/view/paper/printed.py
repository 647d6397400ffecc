"""Every paper that a class or a workbench needs, by file name."""

from __future__ import annotations

from pathlib import Path

from flutelab.view.paper.class_papers import class_papers
from flutelab.view.paper.sheets import measuring_sheet, note_sheet
from flutelab.view.paper.stills import six_still_pages

FOR_WHOM = {
    "class-pupils.pdf": "for pupils: one side a period, four periods",
    "class-teacher.pdf": "for the teacher: minutes, material, expected numbers, wrong answers",
    "six-stills.pdf": "for the day when the computer fails: the lesson as six pages",
    "measuring-sheet.pdf": "for who measures the flute: a blank drawing with its letters",
    "note-sheet.pdf": "for who writes down the notes: a row for each fingering, blank",
}


def all_papers(
    demo: Path, paper: str = "a4", *, holes: int = 6, unit: str = "mm"
) -> dict[str, bytes]:
    """Return the papers named in `FOR_WHOM`, in its order, as PDF by file name.

    Parameters
    ----------
    demo : Path
        The folder ``data-demo``, for the class papers and stills.
    paper : {'a4', 'letter'}
    holes : int
        0 to 10, of the two blank sheets.
    unit : {'mm', 'in'}
        Of the measuring sheet; with inches the note sheet asks for Fahrenheit.

    Raises
    ------
    ValueError
        Holes, paper or unit that are not known.
    DataError
        Demo files missing, or the library that writes PDF.
    """
    made = {
        "measuring-sheet.pdf": measuring_sheet(holes, paper, unit),
        "note-sheet.pdf": note_sheet(holes, paper=paper, fahrenheit=unit == "in"),
        "six-stills.pdf": six_still_pages(demo, paper),
        **class_papers(demo, paper),
    }
    return {name: made[name] for name in FOR_WHOM}
