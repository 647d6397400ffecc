"""Blank sheets for the workbench: what to measure, and what was played."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from flutelab.files.foretell import usual_fingerings
from flutelab.files.form import MOST_HOLES
from flutelab.files.note_columns import COLUMNS, ROOM
from flutelab.model.flute import Flute
from flutelab.model.rows import fingering_word
from flutelab.view.drawing.fingering import fingering_items, fingering_width
from flutelab.view.drawing.measuring import Measure, measures, measuring_drawing
from flutelab.view.drawing.primitives import Item, Text
from flutelab.view.drawing.sketch import HoleSketch, Sketch
from flutelab.view.paper.page import (
    BODY,
    CELL,
    POINT,
    SMALL,
    Block,
    Page,
    beside,
    caution,
    column_width,
    fields,
    one_side,
    paragraph,
    picture,
    room,
    set_pages,
    table,
)
from flutelab.view.paper.pdf import pdf

READINGS = 3
_UNITS = {"mm": "millimetres", "in": "inches"}
_BREATH = "soft usual hard"
_NAMES = 7.5 * POINT
_TYPE_IN = (
    "Ring one word for the breath. Type it into a note table: every reading is a row of its own "
    "with the same fingering, temperature, breath and remark; the columns stand here in the "
    "table's order. The circles are typed as the letters under them: x closed, o open, h half "
    "covered, n not drilled. A reading in Hz goes into frequency_hz in place of note and "
    "cents. An overblown note has 2 in the column register. Session and humidity stand in "
    "every row."
)
_OTHER_DEGREES = (
    "A room read in °F: write {} over its column, here and in the table.",
    "A room read in °C: write {} over its column, here and in the table.",
)
_CIRCLES = 4.6  # mm, the cell of a circle
_SPLIT = 6  # more holes than these stand in two tables beside each other


def measuring_sheet(
    holes: int = 6, paper: str = "a4", unit: str = "mm", *, from_foot: bool = False
) -> bytes:
    """Return a blank measuring sheet: the lettered drawing, and a box for every letter.

    Parameters
    ----------
    holes : int
        0 to 10.
    paper : {'a4', 'letter'}
    unit : {'mm', 'in'}
        In which the lengths will be written.
    from_foot : bool
        Whether the places of holes are measured from the foot.

    Returns
    -------
    bytes
        PDF, one page.

    Raises
    ------
    ValueError
        Holes, paper or unit that are not known.
    DataError
        The library that writes PDF is not installed.
    """
    pages = measuring_pages(holes, paper, unit, from_foot=from_foot)
    return pdf(pages, title=_measuring_title(holes))


def measuring_pages(
    holes: int = 6, paper: str = "a4", unit: str = "mm", *, from_foot: bool = False
) -> tuple[Page, ...]:
    """Return the page of `measuring_sheet`, which see."""
    _check(holes, unit)
    width = column_width(paper)
    blank = Sketch(holes=(HoleSketch(),) * holes, from_foot=from_foot)
    boxes = _boxes(measures(holes, from_foot=from_foot), width)
    end = "foot" if from_foot else "sounding edge"
    words = (
        f"Write in {_UNITS[unit]}. H1, H2, ...: from the {end} to the middle of each hole, hole 1 "
        "nearest the window. D1, D2, ...: measured across, or the drill's name. Bore: in two "
        "directions, write the mean. The same letters stand in the measuring form."
    )
    blocks = [
        fields([("Flute", width / 2), ("Measured by", width / 2)]),
        fields([("Calipers used", width / 2), ("Drill", width / 4), ("Date", width / 4)]),
        fields([("Remark", width)]),
        paragraph(words, width, size=SMALL),
    ]
    left = room(paper) - sum(block.height + block.after for block in [*blocks, boxes])
    drawing = measuring_drawing(blank, unit=unit)
    sketch = picture(drawing, width, height=left - 2.0)
    return set_pages([*blocks, sketch, boxes], paper=paper, title=_measuring_title(holes))


def _measuring_title(holes: int) -> str:
    return f"Measuring sheet, {_holes(holes)}"


def _holes(count: int) -> str:
    return "no holes" if count == 0 else f"{count} hole{'s' * (count > 1)}"


def _check(holes: int, unit: str) -> None:
    if not 0 <= holes <= MOST_HOLES:
        msg = f"{holes!r} holes: a sheet has room for 0 to {MOST_HOLES}"
        raise ValueError(msg)
    if unit not in _UNITS:
        msg = f"unit {unit!r} is not known; use 'mm' or 'in'"
        raise ValueError(msg)


def _boxes(listed: tuple[Measure, ...], width: float) -> Block:
    """Return a table of the pipe's own letters, and beside it one or two of the holes'."""
    pipe = [m for m in listed if m.letter[0] not in "HD"]
    holes = [m for m in listed if m.letter[0] in "HD"]
    pairs = list(zip(holes[::2], holes[1::2], strict=True))
    parts = [pairs[:5], pairs[5:]] if len(pairs) > _SPLIT else [pairs] if pairs else []
    gap = 4.0
    each = (width - gap * len(parts)) / (1 + len(parts))
    columns = [(0.0, _box_table([[m] for m in pipe], each))]
    for n, part in enumerate(parts, 1):
        columns.append((n * (each + gap), _box_table(part, each)))
    return beside(columns)


def _box_table(rows: Sequence[Sequence[Measure]], width: float) -> list[Block]:
    """Return rows of a letter, and its box to write in; words where there is room for them."""
    if len(rows[0]) == 1:
        cells = [[_letter(m.letter), m.words, ""] for (m,) in rows]
        widths = (10.0, (width - 10.0) * 0.6, (width - 10.0) * 0.4)
    else:
        cells = [[_letter(a.letter), "", _letter(b.letter), ""] for a, b in rows]
        widths = (11.5, width / 2 - 11.5) * 2
    return table((), cells, widths, least=CELL, size=SMALL)


def _letter(letter: str) -> Block:
    text = Text(at=(0.0, BODY), text=letter, size=BODY, bold=True)
    return Block(height=1.25 * BODY, items=(text,))


def note_sheet(
    flute: Flute | int,
    fingerings: Sequence[str] | None = None,
    paper: str = "a4",
    *,
    fahrenheit: bool = False,
) -> bytes:
    """Return a blank note sheet: a row for each fingering, in the order of the note table.

    Parameters
    ----------
    flute : Flute or int
        Or how many holes it has, 0 to 10.
    fingerings : sequence of str, optional
        Default: the holes opened one by one from the foot, and the targets of a flute.
    paper : {'a4', 'letter'}
    fahrenheit : bool
        Whether the room's temperature is read in Fahrenheit.

    Returns
    -------
    bytes
        PDF; more pages where there are more fingerings. What is left of the last page is
        rows without a fingering.

    Raises
    ------
    ValueError
        Holes, paper or fingerings that do not fit.
    DataError
        The library that writes PDF is not installed.
    """
    pages = note_pages(flute, fingerings, paper, fahrenheit=fahrenheit)
    return pdf(pages, title=_note_title(flute))


def note_pages(
    flute: Flute | int,
    fingerings: Sequence[str] | None = None,
    paper: str = "a4",
    *,
    fahrenheit: bool = False,
) -> tuple[Page, ...]:
    """Return the pages of `note_sheet`, which see."""
    holes = flute if isinstance(flute, int) else len(flute.holes)
    _check(holes, "mm")
    words = [fingering_word(text, holes) for text in _wanted(flute, holes, fingerings)]
    width = column_width(paper)
    opening = _note_opening("" if isinstance(flute, int) else flute.name, width)
    head = _note_head(note_columns(fahrenheit), _note_widths(width))
    last = f"{_TYPE_IN} {_OTHER_DEGREES[fahrenheit].format(ROOM[not fahrenheit])}"
    closing = [paragraph(last, width, size=SMALL), caution("breath", width)]
    taken = sum(block.height + block.after for block in [*opening, *head, *closing])
    fits = int((room(paper) - taken - 3.0) / CELL)
    blocks: list[Block] = []
    for start in range(0, max(len(words), 1), fits):
        some = words[start : start + fits]
        rows = [_note_row(word, width) for word in [*some, *[None] * (fits - len(some))]]
        body = table((), rows, _note_widths(width), least=CELL)
        blocks += one_side([*opening, *head, *body, *closing])
    return set_pages(blocks, paper=paper, title=_note_title(flute))


def _note_title(flute: Flute | int) -> str:
    return f"Note sheet, {_holes(flute if isinstance(flute, int) else len(flute.holes))}"


def _wanted(flute: Flute | int, holes: int, fingerings: Sequence[str] | None) -> Sequence[str]:
    if fingerings is not None:
        return fingerings
    return opened_one_by_one(holes) if isinstance(flute, int) else usual_fingerings(flute)


def opened_one_by_one(holes: int) -> tuple[str, ...]:
    """Return the fingerings that open the holes one by one from the foot."""
    return tuple("x" * (holes - n) + "o" * n for n in range(holes + 1))


def note_columns(fahrenheit: bool = False) -> tuple[str, ...]:
    """Return the note table's columns that a note sheet has, in the table's order.

    Examples
    --------
    >>> note_columns()
    ('fingering', 'note', 'cents', 'room_temperature_c', 'breath', 'remark')
    """
    wanted = {"fingering", "note", "cents", ROOM[fahrenheit], "breath", "remark"}
    return tuple(name for name in COLUMNS if name in wanted)


def _note_opening(name: str, width: float) -> list[Block]:
    flute = f"Flute: {name}" if name else "Flute"
    return [
        fields([(flute, 0.5 * width), ("Played by", 0.5 * width)]),
        fields(
            [
                *(("Session", 0.3 * width), ("Date", 0.2 * width)),
                *(("Tuner, A4 =", 0.25 * width), ("Humidity %", 0.25 * width)),
            ]
        ),
        Block(height=0.0, items=(), after=2.0),
    ]


def _note_widths(width: float) -> tuple[float, ...]:
    fixed = (33.0, *(11.5, 11.7) * READINGS, 33.8, 23.0)
    return (*fixed, width - sum(fixed))


def _note_head(columns: Sequence[str], widths: Sequence[float]) -> list[Block]:
    """Return two rows of names: the readings, and under each its columns of the note table."""
    fingering, *reading, temperature, breath, remark = columns
    readings = [f"reading {n}" for n in range(1, READINGS + 1)]
    pairs = [sum(widths[1 + 2 * n : 3 + 2 * n]) for n in range(READINGS)]
    rest = 1 + 2 * READINGS
    above = table(("", *readings, ""), (), (widths[0], *pairs, sum(widths[rest:])), size=_NAMES)
    names = (fingering, *reading * READINGS, temperature, breath, remark)
    return [replace(row, after=0.0) for row in (*above, *table(names, (), widths, size=_NAMES))]


def _note_row(word: str | None, width: float) -> list[str | Block]:
    widths = _note_widths(width)
    fingering = "" if word is None else circles(word, widths[0] - 3.0)
    breath = paragraph(_BREATH, widths[-2] - 2.8, size=_NAMES)
    return [fingering, *[""] * (2 * READINGS + 1), breath, ""]


def circles(word: str, width: float) -> Block:
    """Return a fingering as circles, and below them as it is typed."""
    if not word:
        return paragraph("no holes: leave empty", width, size=_NAMES)
    size = min(_CIRCLES, width / fingering_width(len(word), 1.0))
    circles = fingering_items(word, left=0.0, middle=size / 2, size=size)
    # strokes are pixels in a drawing; here a hair is 0.25 mm
    thin = tuple(
        replace(item, thick=0.25 * bool(item.stroke), dash=_dashed(item)) for item in circles
    )
    below = Text(at=(0.0, size + 0.9 * _NAMES), text=word, size=_NAMES)
    return Block(height=size + 1.1 * _NAMES, items=(*thin, below))


def _dashed(item: Item) -> tuple[float, ...]:
    return (0.25, 0.65) if item.dash else ()
