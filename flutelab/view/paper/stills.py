"""Six still pages of the lessons, for the day when the computer fails."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from flutelab.files.hole_guess import ANSWERS
from flutelab.files.hole_lesson import (
    LEVELS,
    formula_line,
    moved_words,
    pitch_words,
    rule_error_words,
)
from flutelab.files.pipe_lesson import Lesson, lesson_compared, lesson_sentence
from flutelab.files.still_facts import HOLE, ROOM, Stills, half_wave_parts, size_words, stills
from flutelab.model.hole_sweep import HARD, SOFT, HoleSweep
from flutelab.pitch import cents
from flutelab.units import millimetres
from flutelab.view.drawing.pipe import pipe_drawing
from flutelab.view.paper.graph_paper import Scale, graph
from flutelab.view.paper.page import (
    POINT,
    SMALL,
    Block,
    Page,
    caution,
    column_width,
    heading,
    listed,
    paragraph,
    picture,
    room,
    sides,
    table,
    writing_lines,
)
from flutelab.view.paper.pdf import pdf
from flutelab.view.paper.still_charts import (
    doubt_chart,
    length_charts,
    lengths_chart,
    size_chart,
    wave_chart,
)

_SAY = 11 * POINT
_INVENTED = (
    "Computed by flutelab's formulas for an invented pipe of the demo data, at {room:.0f} °C in "
    "the room; nobody measured it."
)


def six_still_pages(demo: Path, paper: str = "a4") -> bytes:
    """Return the lessons on hole size and pipe length as six pages.

    Parameters
    ----------
    demo : Path
        The folder ``data-demo``, whose pipes are shown.
    paper : {'a4', 'letter'}

    Returns
    -------
    bytes
        PDF.

    Raises
    ------
    ValueError
        A paper that is not known.
    DataError
        Demo files missing, or the library that writes PDF.
    """
    column_width(paper)  # refuses an unknown paper before anything is computed
    return pdf(still_pages(stills(demo), paper), title="Six still pages")


def still_pages(found: Stills, paper: str = "a4") -> tuple[Page, ...]:
    """Return the six pages, one side each; the first holds no answer."""
    width, height = column_width(paper), room(paper, caution_first=True)
    titled = [
        (f"{number}. {title}", [*make(found, width, height)])
        for number, (title, make) in enumerate(_PAGES, 1)
    ]
    return sides(titled, paper)


def _say(text: str, width: float, *, bold: bool = False) -> Block:
    return paragraph(text, width, size=_SAY, bold=bold)


def _source(width: float) -> Block:
    return paragraph(_INVENTED.format(room=ROOM), width, size=SMALL)


def _left(blocks: Sequence[Block], height: float) -> float:
    """Return what blocks leave of a page's height [mm]."""
    return height - sum(block.height + block.after for block in blocks) - 3.0


def _sizes(found: Stills) -> tuple[str, str]:
    """Return the question's two sizes in words."""
    first, second = (one.flute.holes[HOLE - 1].diameter for one in (found.first, found.second))
    return size_words(first), size_words(second)


# --- 1: the question --------------------------------------------------------------------


def _question(found: Stills, width: float, height: float) -> Iterator[Block]:
    first, second = _sizes(found)
    pipe = found.first.flute
    answers = [words for words, _ in ANSWERS.values()]
    blocks = [
        picture(pipe_drawing(pipe, "n"), width, height=62.0),
        _say(
            f"Without a hole this pipe sounds {pitch_words(found.sweep.no_hole)}. A hole is to "
            f"stand where the dots are, {size_words(pipe.holes[0].position)} from the sounding "
            "edge.",
            width,
        ),
        heading("Predict first"),
        _say(
            f"The hole grows from {first} to {second}. How does the note move? Ring one letter.",
            width,
            bold=True,
        ),
        *listed(answers, width, marks=[*ANSWERS], size=_SAY),
        _say("Our group's guess, in cents, and why:", width),
        writing_lines(1, width),
        _say(
            "Sketch the note against the hole's diameter, from no hole at all to a hole as wide as "
            "the bore:",
            width,
        ),
    ]
    after = [
        paragraph(
            "Teacher: keep pages 2 to 5 back until every guess is written. 100 cents are a "
            "semitone.",
            width,
            size=SMALL,
        ),
        _source(width),
    ]
    sizes = Scale(name="diameter of the hole, mm", reach=16)
    up = Scale(name="the note, cents from no hole")
    empty = graph(width, _left([*blocks, *after], height), sizes, up)
    yield from (*blocks, empty, *after)


# --- 2: size ----------------------------------------------------------------------------


def _size(found: Stills, width: float, height: float) -> Iterator[Block]:
    first, second = _sizes(found)
    low, high = (one.frequency["full"] for one in (found.first, found.second))
    moved = float(cents(high, low))
    words = (
        f"From {first} to {second} the note goes from {pitch_words(low)} to {pitch_words(high)}: "
        f"{moved_words(moved)}. The curve is steep at first and flat at the end, as it runs "
        "between two limits: no hole, and the pipe cut off at the hole."
    )
    before = [_say(words, width, bold=True)]
    after = [
        *_size_table(found.table, width),
        _say(
            "A simple rule of thumb (dashed; its formula is on page 4) is right for one size, and "
            "wrong on either side of it.",
            width,
        ),
        _say("Draw your own readings as dots: hole taped, hole open, usual breath.", width),
        caution("mouth", width),
        caution("breath", width),
        _source(width),
    ]
    yield from (*before, size_chart(found.sweep, width, _left([*before, *after], height)), *after)


def _size_table(sweep: HoleSweep, width: float) -> list[Block]:
    names = ("hole", "model", "up from no hole", "rule of thumb", "rule beside model")
    parts = zip(sweep.diameter, sweep.frequency, sweep.rule, sweep.error, strict=True)
    rows = [
        [
            size_words(size),
            pitch_words(model),
            f"{cents(model, sweep.no_hole):.0f} cents",
            f"{rule:.1f} Hz",
            moved_words(off),
        ]
        for size, model, rule, off in parts
    ]
    wide = (0.1, 0.34, 0.19, 0.17, 0.2)
    return table(names, rows, [width * part for part in wide])


# --- 3: waves ---------------------------------------------------------------------------


def _waves(found: Stills, width: float, height: float) -> Iterator[Block]:
    words = (
        "The curves say how large pressure and flow are at each place along the pipe: they are not "
        "the path of the air, which swings a little to and fro along the pipe, and in and out at "
        "every opening."
    )
    before = [_say(words, width)]
    after = [
        paragraph(
            "Percentages: each opening's share of the flow that leaves. The flow jumps at the hole "
            "because part of it leaves there. Below a small hole the wave goes on to the foot; a "
            "wide hole lets little of it pass.",
            width,
        ),
        _say("Where does the wave end: at the hole, before it, or beyond it?", width, bold=True),
        writing_lines(1, width),
        _source(width),
    ]
    each = _left([*before, *after], height) / len(found.waves) - 2.0
    yield from (*before, *(wave_chart(one, width, each) for one in found.waves), *after)


# --- 4: levels --------------------------------------------------------------------------


def _levels(found: Stills, width: float, height: float) -> Iterator[Block]:
    one = found.second
    first, second = _sizes(found)
    yield _say(
        f"Three levels of theory for the hole of {second}. {rule_error_words(one)}",
        width,
        bold=True,
    )
    for name, of in LEVELS.items():
        yield heading(f"{name}: {pitch_words(one.frequency[of])}")
        yield _say(formula_line(replace(one, level=of)), width)
        yield lengths_chart(half_wave_parts(one, of), one, width)
    yield _say(
        "f is the note, c the speed of sound, L or x the pipe from the edge to the hole's centre, "
        "h what the window adds, d what the hole adds, D from the hole to the foot with its end; "
        "w is the wall, a and b are the radii of bore and hole. The boxes are half a wave to "
        "scale, in mm, above the pipe.",
        width,
    )
    yield _say(
        f"Work out the second level for {first}: b is half of that. How far from "
        f"{one.start['full']:.1f} Hz, the full model's note, does it come?",
        width,
        bold=True,
    )
    yield writing_lines(2, width)
    yield _source(width)


# --- 5: doubt ---------------------------------------------------------------------------


def _doubt(found: Stills, width: float, height: float) -> Iterator[Block]:
    judged = found.judged
    low, high = judged.both
    _, second = _sizes(found)
    plain = moved_words(judged.plain)
    before = [
        _say(
            f"The hole of {second}: the model says {pitch_words(judged.note.frequency['full'])}. "
            "Before a reading says that the theory is wrong, it must lie farther off than breath "
            "and warmth can move the note.",
            width,
            bold=True,
        ),
    ]
    after = [
        _say(
            "Bars: predicted. Dots: measured, for you to draw in the empty row. Bands: soft to "
            f"hard breath ({SOFT:.0f} to {HARD:.0f} Pa in the mouth) and a room 2 °C colder to "
            f"warmer. Without end corrections the note is {plain}: off this axis.",
            width,
        ),
        heading("Read your own"),
        _say("Three readings with usual breath; sit, and rest between them.", width),
        caution("mouth", width),
        caution("breath", width),
        *_readings_table(judged.note.frequency["full"], width),
        heading("Complete the sentence"),
        _say(
            "Our readings are on average ............ cents (up / down) from the model, and soft "
            f"or hard breath and 2 °C alone move the note by {low:+.0f} to {high:+.0f} cents: so "
            "they (show / do not show) that the theory is wrong.",
            width,
        ),
        _say("If they lie outside, look first at: a wrong size, the room's temperature, the "
             "fingering, a leak.", width),
        _source(width),
    ]  # fmt: skip
    tall = min(_left([*before, *after], height), 105.0)
    yield from (*before, doubt_chart(judged, width, tall), *after)


def _readings_table(model: float, width: float) -> list[Block]:
    names = ("reading 1, Hz", "reading 2, Hz", "reading 3, Hz", "mean, Hz", "cents from the model")
    blank = table(names, [[""] * len(names)], [width / len(names)] * len(names), least=11.0)
    words = f"cents = 1200 × log2(mean / {model:.1f} Hz)"
    return [*blank, paragraph(words, width)]


# --- 6: length --------------------------------------------------------------------------


def _length(found: Stills, width: float, height: float) -> Iterator[Block]:
    lesson = found.pipes
    before = [
        _say(f"{lesson_sentence(lesson)} {lesson_compared(lesson)}", width),
        *([_say(_mended_words(found), width, bold=True)] if found.mended else []),
    ]
    after = [
        *_length_table(lesson, width),
        _say(
            "An open tube holds half a wave: c/4f would have slope one half. A negative intercept "
            "cannot be, as no wave ends inside its pipe: look for a length in cm, an octave, a "
            "stopped pipe, a wrong temperature.",
            width,
        ),
        _say("Tap your own pipe on the palm, and add it as a dot.", width),
        caution("hearing", width),
        paragraph(
            "Invented rows of the demo data: no such class or pipes exist. Dots: readings. Lines: "
            "fitted. Right: what c/2f is more than the pipe's length, drawn larger.",
            width,
            size=SMALL,
        ),
    ]
    tall = min(_left([*before, *after], height), 140.0)
    yield from (*before, length_charts(found, width, tall), *after)


def _mended_words(found: Stills) -> str:
    line, names = found.mended.found.line, " and ".join(found.odd)
    slope, reach, error = line.slope, millimetres(line.intercept), millimetres(line.intercept_error)
    return (
        f"Without group {names}: slope {slope:.3f} ± {line.slope_error:.3f}, intercept {reach:.1f} "
        f"± {error:.1f} mm (dashed)."
    )


def _length_table(lesson: Lesson, width: float) -> list[Block]:
    names = ("group", *lesson.table.group)
    got = lesson.found
    rows = [
        ["length, mm", *(f"{millimetres(one):.0f}" for one in got.length)],
        ["mean, Hz", *(f"{one:.1f}" for one in got.frequency)],
        ["c/2f, mm", *(f"{millimetres(one):.1f}" for one in got.column)],
    ]
    first = 26.0
    each = (width - first) / len(got.length)
    return table(names, rows, [first, *[each] * len(got.length)])


_PAGES: tuple[tuple[str, Callable[[Stills, float, float], Iterator[Block]]], ...] = (
    ("What does a hole do to the note?", _question),
    ("The note against the hole's size", _size),
    ("The standing wave", _waves),
    ("Three levels of theory", _levels),
    ("Is the theory wrong?", _doubt),
    ("Length and pitch", _length),
)
