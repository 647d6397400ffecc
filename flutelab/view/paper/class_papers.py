"""Papers for a class: one side a period for the pupils, and one for the teacher."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from flutelab.files.class_expected import (
    DRILLS,
    ROOMS,
    USUAL,
    Expected,
    demo_material,
    expected,
    sound_speeds,
)
from flutelab.fitting.pipe_lengths import PipeLine
from flutelab.pitch import cents, nearest_note
from flutelab.units import millimetres
from flutelab.view.drawing.pipe import pipe_drawing
from flutelab.view.paper.graph_paper import Scale, graph
from flutelab.view.paper.lessons import FLUTE, GROUPS, HOLE, LESSONS, LONG, PIPES, WINDOW, Lesson
from flutelab.view.paper.page import (
    CELL,
    SMALL,
    Block,
    Page,
    caution,
    column_width,
    fields,
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
from flutelab.view.paper.sheets import circles

READINGS = ("1st, Hz", "2nd, Hz", "3rd, Hz")
_AT_ROOMS = tuple(f"Hz at {room:.0f} °C" for room in ROOMS)
_DRAWN = 48.0  # mm, the height of the flute: its letters are 7 points or more
_LEFT_OVER = {PIPES: 20.0, WINDOW: 50.0}  # mm, to which the axes of c/2f less length reach
_TEMPERATURES = range(16, 30, 2)  # C
_INVENTED = "An invented flute of the demo data; the flute in your hands may have other sizes."
_COMPUTED = (
    "Computed by flutelab's formulas for the invented demo pipes, at half the moisture air can "
    "hold; nobody measured them."
)


def class_papers(demo: Path, paper: str = "a4") -> dict[str, bytes]:
    """Return the papers of the four periods, by file name.

    Parameters
    ----------
    demo : Path
        The folder ``data-demo``, whose pipes the expected numbers are computed for.
    paper : {'a4', 'letter'}

    Raises
    ------
    ValueError
        A paper that is not known.
    DataError
        Demo files missing, or the library that writes PDF.
    """
    column_width(paper)  # refuses an unknown paper before anything is computed
    found = expected(demo_material(demo))
    return {
        "class-pupils.pdf": pdf(pupil_pages(found, paper), title="Pupils' pages"),
        "class-teacher.pdf": pdf(teacher_pages(found, paper), title="Teacher's pages"),
    }


def pupil_pages(found: Expected, paper: str = "a4") -> tuple[Page, ...]:
    """Return the pupils' pages, one side a period; none of them gives an answer away."""
    return _sides(found, paper, _pupil_blocks, "")


def teacher_pages(found: Expected, paper: str = "a4") -> tuple[Page, ...]:
    """Return the teacher's pages, one side a period, with what the model foretells."""
    return _sides(found, paper, _teacher_blocks, " (teacher)")


def _sides(
    found: Expected, paper: str, blocks: Callable[..., list[Block]], suffix: str
) -> tuple[Page, ...]:
    titled = [(f"{lesson.name}{suffix}", blocks(lesson, found, paper)) for lesson in LESSONS]
    return sides(titled, paper)


def _filled(words: str, found: Expected) -> str:
    """Return words with their numbers filled in."""
    low, high = found.band.breath
    sizes = [f"{millimetres(DRILLS[n % len(DRILLS)]):.0f}" for n in range(GROUPS)]
    computed = {"warmer": f"{found.warmer:.0f} °C", "breath": f"{high - low:.0f} cents"}
    return words.format(**computed, drills=", ".join(sizes))


# --- pupils -----------------------------------------------------------------------------


def _pupil_blocks(lesson: Lesson, found: Expected, paper: str) -> list[Block]:
    width = column_width(paper)
    blocks = [
        fields([("Name", 0.5 * width), ("Group", 0.2 * width), ("Date", 0.3 * width)]),
        Block(height=0.0, items=(), after=0.8),
        heading(lesson.question),
        paragraph(f"Predict first: {lesson.predict}.".replace("....", "..."), width, bold=True),
        *([writing_lines(lesson.predict_lines, width)] if lesson.predict_lines else []),
    ]
    for number, (words, keys) in enumerate(lesson.pupils, 1):
        blocks += listed([_filled(words, found)], width, marks=[f"{number}."])
        blocks += [caution(key, width) for key in keys]
    blocks += _PUPIL_TABLES[lesson.name](found, width)
    closing = [
        paragraph(f"Before you leave: {lesson.leave}", width, bold=True),
        writing_lines(1, width),
    ]
    taken = sum(block.height + block.after for block in [*blocks, *closing])
    left = room(paper, caution_first=True) - taken - 2.0
    return [*blocks, *_to_draw_on(lesson, width, left), *closing]


def _to_draw_on(lesson: Lesson, width: float, height: float) -> list[Block]:
    """Return empty axes in what is left of the side; those of holes give no limit away."""
    if lesson in _LEFT_OVER:
        up = Scale(name="c/2f less length, mm", reach=_LEFT_OVER[lesson])
        return [graph(width, height, Scale(name="length, mm", reach=500), up)]
    if lesson is HOLE:
        sizes = Scale(name="diameter of the hole, mm", reach=16)
        return [graph(width, height, sizes, Scale(name="cents up"))]
    words = paragraph(lesson.own_words, width, bold=True)
    lines = int((height - words.height - words.after) / CELL)
    return [words, writing_lines(lines, width)] if lines > 0 else []


def _speed_table(width: float) -> list[Block]:
    """Return the speed of sound: the only number that pupils are given."""
    values = [f"{speed:.1f}" for speed in sound_speeds(_TEMPERATURES)]
    names = ["°C", *[f"{t}" for t in _TEMPERATURES]]
    first = 22.0
    each = (width - first) / len(values)
    return table(names, [["c, m/s", *values]], (first, *[each] * len(values)), size=SMALL)


def _pipe_table(_: Expected, width: float) -> list[Block]:
    """Return one row for the group's own pipe, and a column for each group's result."""
    own = ("length, mm", "room, °C", "c, m/s", *READINGS, "mean, Hz")
    first = 34.0
    each = (width - first) / GROUPS
    groups = ("group", *[f"{n}" for n in range(1, GROUPS + 1)])
    rows = [[name, *[""] * GROUPS] for name in ("length, mm", "c/2f, mm", "less length, mm")]
    look = {"least": CELL, "size": SMALL}
    return [
        *_speed_table(width),
        *table(own, [[""] * len(own)], [width / len(own)] * len(own), **look),
        *table(groups, rows, (first, *[each] * GROUPS), **look),
    ]


def _hole_table(_: Expected, width: float) -> list[Block]:
    taped = [f"taped {n}" for n in (1, 2, 3)]
    opened = [f"open {n}" for n in (1, 2, 3)]
    names = ("diameter, mm", *taped, *opened, "room, °C", "cents up")
    each = width / len(names)
    rows = [[f"{millimetres(size):.0f}", *[""] * (len(names) - 1)] for size in DRILLS]
    words = "Readings in Hz, or note and cents; your group fills one row, the class the others."
    boxes = table(names, rows, [each] * len(names), least=CELL, size=SMALL)
    return [paragraph(words, width, size=SMALL), *boxes]


def _flute_table(found: Expected, width: float) -> list[Block]:
    names = ("fingering", "foretold", "reading 1", "reading 2", "reading 3", "cents off", "filed")
    first = 34.0
    each = (width - first) / (len(names) - 1)
    rows = [[circles(word, first - 3.0), *[""] * (len(names) - 1)] for word in found.words]
    boxes = table(names, rows, (first, *[each] * (len(names) - 1)), least=CELL, size=SMALL)
    extra = fields([("Room, °C", 0.3 * width), ("Breath (soft, usual, hard)", 0.7 * width)])
    drawing = picture(pipe_drawing(found.material.flute), width, height=_DRAWN)
    return [
        drawing,
        paragraph(_INVENTED, width, size=SMALL),
        *boxes,
        extra,
        Block(height=0.0, items=(), after=2.0),
    ]


_PUPIL_TABLES = {
    PIPES.name: _pipe_table,
    WINDOW.name: _pipe_table,
    HOLE.name: _hole_table,
    FLUTE.name: _flute_table,
}

# --- teacher ----------------------------------------------------------------------------


def _teacher_blocks(lesson: Lesson, found: Expected, paper: str) -> list[Block]:
    width = column_width(paper)
    return [
        heading(f"{lesson.question} {LONG} minutes, {GROUPS} groups"),
        *_steps(lesson, width),
        heading("Material"),
        *_small([_filled(words, found) for words in lesson.material], width),
        *(caution(key, width) for key in lesson.material_cautions),
        heading("Expected numbers"),
        *_EXPECTED[lesson.name](found, width),
        paragraph(_COMPUTED, width, size=SMALL),
        heading("Likely wrong answers"),
        *_small([f"“{a}” {_filled(b, found)}" for a, b in lesson.wrong], width),
        heading("Routes"),
        *_small(
            [f"Drilled pipe and tape: {lesson.drilled}", f"Data only: {lesson.data_only}"], width
        ),
        heading("Exit question"),
        paragraph(f"{lesson.leave} ({lesson.answer})", width, size=SMALL),
    ]


def _small(entries: Sequence[str], width: float) -> list[Block]:
    return listed(entries, width, size=SMALL)


def _steps(lesson: Lesson, width: float) -> Iterator[Block]:
    """Yield the steps with the minutes they run from and to, each caution at its step."""
    start = 0
    for step in lesson.steps:
        end = start + step.minutes
        yield from listed([step.words], width, marks=[f"{start}–{end} min"], size=SMALL)
        yield from (caution(key, width) for key in step.cautions)
        start = end


def _by_room(first: Sequence[str], rows: Sequence[Sequence[str]], width: float) -> list[Block]:
    each = width / len(first)
    return table(first, rows, [each] * len(first), size=SMALL)


def _line_table(lines: tuple[PipeLine, ...], width: float) -> list[Block]:
    length, rows = lines[USUAL].length, []
    for n, long in enumerate(length):
        hertz = [f"{line.frequency[n]:.1f}" for line in lines]
        reach = f"{millimetres(lines[USUAL].column[n]):.1f}"
        over = f"{millimetres(lines[USUAL].column[n] - long):.1f}"
        rows.append([f"{millimetres(long):.0f}", f"{n + 1}", *hertz, reach, over])
    names = (
        "length, mm",
        "group",
        *_AT_ROOMS,
        f"c/2f, mm at {ROOMS[USUAL]:.0f} °C",
        "less length, mm",
    )
    return _by_room(names, rows, width)


def _line_words(line: PipeLine) -> str:
    slope, reach = line.line.slope, millimetres(line.line.intercept)
    return f"c/2f at {ROOMS[USUAL]:.0f} °C: slope {slope:.3f}, intercept {reach:.1f} mm"


def _expected_pipes(found: Expected, width: float) -> list[Block]:
    words = (
        f"{_line_words(found.plain[USUAL])}. Friction at the walls makes the slope a little more "
        "than 1 (so the line that is drawn rises a little) and takes a little off the intercept."
    )
    return [*_line_table(found.plain, width), paragraph(words, width, size=SMALL)]


def _expected_window(found: Expected, width: float) -> list[Block]:
    plain, both = (lines[USUAL].line.intercept for lines in (found.plain, found.window))
    words = (
        f"{_line_words(found.window[USUAL])}; less half of period 1's {millimetres(plain):.1f} mm "
        f"the window's correction is {millimetres(both - plain / 2):.1f} mm. With the room's own "
        f"c, {found.warmer:.0f} °C too cold, all comes out shorter."
    )
    return [*_line_table(found.window, width), paragraph(words, width, size=SMALL)]


def _expected_hole(found: Expected, width: float) -> list[Block]:
    usual = found.sweep[USUAL]
    rows = [_hole_row("taped", [sweep.no_hole for sweep in found.sweep], usual.no_hole)]
    for n, size in enumerate(DRILLS):
        hertz = [sweep.frequency[n] for sweep in found.sweep]
        rows.append(_hole_row(f"{millimetres(size):.0f} mm", hertz, usual.no_hole))
    cut = [sweep.cut for sweep in found.sweep]
    rows.append(_hole_row("cut at the hole (rule)", cut, usual.no_hole))
    return _by_room(("hole", *_AT_ROOMS, "cents up"), rows, width)


def _hole_row(name: str, hertz: Sequence[float], taped: float) -> list[str]:
    return [name, *[f"{f:.1f}" for f in hertz], f"{cents(hertz[USUAL], taped):.0f}"]


def _expected_flute(found: Expected, width: float) -> list[Block]:
    rows = []
    for word, hertz in zip(found.words, found.notes, strict=True):
        name, off = nearest_note(hertz[USUAL])
        above = cents(hertz[USUAL], found.notes[0, USUAL])
        rows.append([word, *[f"{f:.1f}" for f in hertz], f"{name} {off:+.0f}", f"{above:.0f}"])
    names = ("fingering", *_AT_ROOMS, f"note, {ROOMS[USUAL]:.0f} °C", "cents above")
    return _by_room(names, rows, width)


_EXPECTED = {
    PIPES.name: _expected_pipes,
    WINDOW.name: _expected_window,
    HOLE.name: _expected_hole,
    FLUTE.name: _expected_flute,
}
