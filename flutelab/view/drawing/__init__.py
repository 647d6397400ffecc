"""Drawings of pipes and fingerings: lists of primitives, made by pure functions."""

from flutelab.view.drawing.fingering import fingering_drawing
from flutelab.view.drawing.measuring import Measure, measures, measuring_drawing
from flutelab.view.drawing.pipe import pipe_drawing
from flutelab.view.drawing.primitives import Drawing
from flutelab.view.drawing.sketch import HoleSketch, Sketch, sketch_of
from flutelab.view.drawing.svg import svg

__all__ = [
    "Drawing",
    "HoleSketch",
    "Measure",
    "Sketch",
    "fingering_drawing",
    "measures",
    "measuring_drawing",
    "pipe_drawing",
    "sketch_of",
    "svg",
]
