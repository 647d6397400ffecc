"""The charts of the six still pages."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from flutelab.files.class_expected import DRILLS
from flutelab.files.hole_lesson import (
    HoleNote,
    pitch_words,
)
from flutelab.files.hole_verdict import Verdict
from flutelab.files.pipe_lesson import Lesson
from flutelab.files.still_facts import HOLE, Stills, size_words
from flutelab.model.hole_sweep import HoleSweep
from flutelab.pitch import cents
from flutelab.units import millimetres
from flutelab.view.drawing.primitives import Item
from flutelab.view.paper.chart import (
    LETTERS,
    Axes,
    bar,
    chart,
    curve,
    dot,
    frame,
    key,
    level,
    note,
)
from flutelab.view.paper.page import (
    Block,
)
from flutelab.view.style import DARK, GREY, PALE

_DASHED = (3.0, 1.6)  # mm


def size_chart(sweep: HoleSweep, width: float, height: float) -> Block:
    """Draw the note against the hole's diameter, with its two limits and the rule of thumb."""
    across = millimetres(sweep.diameter)
    model, rule = (cents(f, sweep.no_hole) for f in (sweep.frequency, sweep.rule))
    cut = float(cents(sweep.cut, sweep.no_hole))
    top = 100 * np.ceil((max(cut, np.max(rule)) + 30) / 100)
    axes = Axes(
        left=16, top=12, right=width - 3, bottom=height - 11,
        across=(0, float(np.ceil(across[-1]))), up=(-50, float(top)),
    )  # fmt: skip
    marks = (np.arange(0, axes.across[1] + 1, 2), np.arange(0, top + 1, 100))
    names = ("diameter of the hole, mm", "cents above no hole")
    items: list[Item] = [*frame(axes, marks=marks, names=names)]
    for size in DRILLS:
        at = millimetres(size)
        here = float(np.interp(at, across, model))
        items.append(bar(axes, (at - 0.12, at + 0.12), (0, here), fill=PALE, stroke=GREY))
    items += level(axes, 0, f"no hole: {sweep.no_hole:.1f} Hz", above=False)
    items += level(axes, cut, f"pipe cut off at the hole: {sweep.cut:.1f} Hz")
    items += curve(axes, across, model, thick=0.8)
    items += curve(axes, across, rule, dash=_DASHED)
    items += key([("model", None), ("rule of thumb", _DASHED)], width - 80, 4.0)
    return chart(items, height)


def wave_chart(one: HoleNote, width: float, height: float) -> Block:
    """Draw pressure and flow along the pipe, and what leaves where."""
    wave, size = one.wave, one.flute.holes[HOLE - 1].diameter
    long = millimetres(one.flute.foot.position)
    axes = Axes(
        left=16, top=13, right=width - 3, bottom=height - 11,
        across=(-0.1 * long, 1.07 * long), up=(-1.1, 1.6),
    )  # fmt: skip
    place, moved = millimetres(wave.position), wave.flow[0].imag
    marks = (np.arange(0, long + 1, 50), (-1, 0, 1))
    names = ("mm from the sounding edge", "over its largest")
    items: list[Item] = [*frame(axes, marks=marks, names=names)]
    items += curve(axes, place, wave.pressure[0].real, thick=0.8)
    items += curve(axes, place, moved / np.max(np.abs(moved)), dash=_DASHED)
    items += key([("pressure", None), ("flow", _DASHED)], width - 64, 2.0)
    title = f"Hole {size_words(size)}: {pitch_words(one.frequency['full'])}"
    items.append(replace(note(axes, (0, 0), title, bold=True), at=(0.0, LETTERS)))
    for name, at, share in zip(wave.opening, wave.place, wave.flow_share[0], strict=True):
        where = millimetres(at)
        items += curve(axes, (where, where), (1.05, 1.2), thick=0.9)
        items.append(note(axes, (where, 1.4), f"{name}: {100 * share:.0f} %", anchor="middle"))
    return chart(items, height)


def lengths_chart(reach: tuple[float, float, float], one: HoleNote, width: float) -> Block:
    """Draw a half wave as boxes in a row above the pipe."""
    head, column, end = (millimetres(part) for part in reach)
    foot, hole = millimetres(one.flute.foot.position), millimetres(one.sweep.lengths.column)
    axes = Axes(left=2, top=1, right=width - 2, bottom=23, across=(-45, foot + 5), up=(0, 1))
    letter = "x" if head else "L"
    parts = (("h", -head, 0, PALE), (letter, 0, column, None), ("d", column, column + end, PALE))
    items: list[Item] = []
    for name, low, high, fill in parts:
        if high > low:
            items.append(bar(axes, (low, high), (0.58, 1), fill=fill, stroke=DARK))
            words = f"{name} {high - low:.1f}"
            items.append(note(axes, ((low + high) / 2, 0.79), words, anchor="middle"))
    items += curve(axes, (0, foot), (0.38, 0.38), thick=0.9)
    for name, place in (("edge", 0), ("hole", hole), ("foot", foot)):
        items += curve(axes, (place, place), (0.29, 0.47))
        items.append(note(axes, (place, 0.1), name, anchor="middle"))
    return chart(items, 25.0)


def doubt_chart(judged: Verdict, width: float, height: float) -> Block:
    """Draw model, rule and bands on one axis of cents, with an empty row for readings."""
    reach = 25 * np.ceil((max(map(abs, (*judged.both, judged.rule))) + 10) / 25)
    axes = Axes(
        left=44, top=9, right=width - 5, bottom=height - 11,
        across=(-reach, reach), up=(-0.6, 4.6),
    )  # fmt: skip
    names = ("cents from the model's note", "")
    steps = np.arange(-reach, reach + 1, 10 if reach <= 50 else 25)
    items: list[Item] = [*frame(axes, marks=(steps, ()), names=names)]
    rows = ("2 °C", "breath", "our readings", "rule of thumb", "model")
    for n, name in enumerate(rows):
        items.append(note(axes, (-reach * 1.04, n), name, anchor="end"))
    band = {"stroke": DARK}
    for n, (low, high), fill in (
        (0, judged.bands.warmth, GREY),
        (1, judged.bands.breath, PALE),
    ):
        items.append(bar(axes, (low, high), (n - 0.28, n + 0.28), fill=fill, **band))
        words = f"{low:+.0f} to {high:+.0f}"
        items.append(note(axes, (high + 0.02 * reach, n), words))
    items += curve(axes, axes.across, (2, 2), thick=0.25, stroke=DARK)
    thin = 0.008 * reach
    items.append(bar(axes, (-thin, thin), (-0.5, 4.35)))
    rule = judged.rule
    items.append(bar(axes, (rule - thin, rule + thin), (2.65, 3.35)))
    side, end = (1, "start") if rule >= 0 else (-1, "end")
    items.append(note(axes, (rule + side * 0.03 * reach, 3), f"{rule:+.0f}", anchor=end))
    return chart(items, height)


def length_charts(found: Stills, width: float, height: float) -> Block:
    """Draw c/2f against length, and larger what it is more than the length, with lines."""
    got = found.pipes.found
    length, column = millimetres(got.length), millimetres(got.column)
    far = float(100 * np.ceil(np.max(column) / 100))
    half = width / 2
    whole = Axes(left=14, top=9, right=half - 4, bottom=height - 11, across=(0, far), up=(0, far))
    over = column - length
    reach = float(5 * np.ceil((np.max(over) + 3) / 5))
    near = Axes(
        left=half + 14, top=9, right=width - 3, bottom=height - 11, across=(0, far), up=(0, reach)
    )
    steps = np.arange(0, far + 1, 100)
    items: list[Item] = [
        *frame(whole, marks=(steps, steps), names=("length, mm", "c/2f, mm")),
        *frame(
            near,
            marks=(steps, np.arange(0, reach + 1, 5)),
            names=("length, mm", "c/2f less length, mm"),
        ),
    ]
    for lesson, dash in ((found.pipes, None), (found.mended, _DASHED)):
        if lesson is not None:
            items += _line(whole, near, lesson, far, dash)
    for x, y, more in zip(length, column, over, strict=True):
        items += [dot(whole, x, y), dot(near, x, more)]
    return chart(items, height)


def _line(
    whole: Axes, near: Axes, lesson: Lesson, far: float, dash: tuple[float, float] | None
) -> Iterator[Item]:
    """Draw a lesson's line on both axes."""
    slope = lesson.found.line.slope
    start = millimetres(lesson.found.line.intercept)
    end = min(far, (far - start) / slope)
    if dash is None:
        yield from curve(whole, (0, end), (start, start + slope * end))
    yield from curve(near, (0, end), (start, start + (slope - 1) * end), dash=dash)
