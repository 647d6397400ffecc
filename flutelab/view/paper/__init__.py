"""Sheets and class papers as PDF, on A4 or Letter."""

from flutelab.view.paper.class_papers import class_papers
from flutelab.view.paper.page import PAPERS
from flutelab.view.paper.printed import FOR_WHOM, all_papers
from flutelab.view.paper.sheets import measuring_sheet, note_sheet
from flutelab.view.paper.stills import six_still_pages

__all__ = [
    "FOR_WHOM",
    "PAPERS",
    "all_papers",
    "class_papers",
    "measuring_sheet",
    "note_sheet",
    "six_still_pages",
]
