"""Panels for the notebooks: controls wired to one pure function and one picture."""

from flutelab.view.panels.measuring import MeasuringForm, measuring_form

__all__ = ["MeasuringForm", "measuring_form"]
