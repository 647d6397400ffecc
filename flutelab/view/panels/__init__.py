"""Panels for the notebooks: controls wired to one pure function and one picture."""

from flutelab.view.panels.measuring import MeasuringForm, measuring_form
from flutelab.view.panels.pipe_length import pipe_length_panel

__all__ = ["MeasuringForm", "measuring_form", "pipe_length_panel"]
