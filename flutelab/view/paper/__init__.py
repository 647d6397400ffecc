"""Sheets and class papers as PDF, on A4 or Letter."""

from flutelab.view.paper.sheets import measuring_sheet, note_sheet

__all__ = ["measuring_sheet", "note_sheet"]
