"""Pages for paper: blocks set one below the other between a title and a closing line.

Lengths are millimetres. A block is a list of the drawings' own primitives; nothing here knows
what kind of file a page becomes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from flutelab.making.cautions import CAUTIONS
from flutelab.view.drawing.primitives import (
    Drawing,
    Item,
    Line,
    Polygon,
    Text,
    moved,
    rectangle,
    text_width,
    wrapped,
)
from flutelab.view.style import BLACK, DARK

PAPERS = {
    "a4": (210.0, 297.0),  # ISO 216
    "letter": (215.9, 279.4),  # ANSI/ASME Y14.1, size A: 8.5 x 11 in
}
POINT = 25.4 / 72  # mm
TITLE, HEADING, BODY, SMALL = 16 * POINT, 12 * POINT, 10 * POINT, 8.5 * POINT
CELL = 9.0  # height of a box to write in
_SIDE, _TOP, _BOTTOM = 15.0, 12.0, 10.0
_LEADING = 1.28  # from line to line, in sizes
_PAD = 1.4  # between a box and its text
_THIN, THICK = 0.2, 0.45
_TRIANGLE = 5.4  # height of the sign beside a caution
_ROUNDING = 1e-6


@dataclass(frozen=True, kw_only=True)
class Page:
    """One side of paper, its title, and all that stands on it."""

    width: float
    height: float
    title: str
    items: tuple[Item, ...]


@dataclass(frozen=True, kw_only=True)
class Block:
    """Something `height` high, its items from (0, 0); `after` is the space below it.

    ``keep``: it stands on the same page as the block after it.
    """

    height: float
    items: tuple[Item, ...]
    after: float = 2.0
    keep: bool = False


def column_width(paper: str) -> float:
    """Return how wide a page's column is.

    Raises
    ------
    ValueError
        A paper that is not known.
    """
    return _size(paper)[0] - 2 * _SIDE


def _size(paper: str) -> tuple[float, float]:
    if paper not in PAPERS:
        msg = f"paper {paper!r} is not known; use {' or '.join(map(repr, PAPERS))}"
        raise ValueError(msg)
    return PAPERS[paper]


# --- setting pages ----------------------------------------------------------------------


def set_pages(
    blocks: Iterable[Block],
    *,
    paper: str,
    title: str,
    caution_first: bool = False,
    numbers: tuple[int, int] | None = None,
) -> tuple[Page, ...]:
    """Set blocks on as many pages as they need.

    Parameters
    ----------
    blocks : iterable of Block
    paper : {'a4', 'letter'}
    title : str
        Stands at the top of every page.
    caution_first : bool
        The sentence about local rules stands below the title, not at the foot of the page.
    numbers : (first, count), optional
        Of pages, where these are some of a longer paper. Default: all of it.

    Raises
    ------
    ValueError
        A paper that is not known, or blocks kept together that fit on no page.
    """
    top, fits = first_top(paper, caution_first), room(paper, caution_first=caution_first)
    y, sheets = top, [[]]
    for group in _kept_together(blocks):
        tall = sum(block.height + block.after for block in group) - group[-1].after
        if tall > fits + _ROUNDING:
            msg = f"{title}: {tall:.0f} mm do not fit on one side of {paper}; there is room for "
            msg += f"{fits:.0f} mm"
            raise ValueError(msg)
        if y > top and y + tall > top + fits + _ROUNDING:
            sheets.append([])
            y = top
        for block in group:
            sheets[-1] += moved(block.items, left=_SIDE, top=y, scale=1.0)
            y += block.height + block.after
    first, count = numbers or (1, len(sheets))
    return tuple(
        _page(items, paper, title, (number, count), caution_first)
        for number, items in enumerate(sheets, first)
    )


def sides(titled: Sequence[tuple[str, Sequence[Block]]], paper: str) -> tuple[Page, ...]:
    """Return one side for each title and its blocks, the caution first on each."""
    pages: list[Page] = []
    for number, (title, blocks) in enumerate(titled, 1):
        where = {"paper": paper, "caution_first": True, "numbers": (number, len(titled))}
        pages += set_pages(one_side(blocks), title=title, **where)
    return tuple(pages)


def first_top(paper: str, caution_first: bool) -> float:
    """Return where the first block stands [mm from the top]."""
    lines = len(_local_rules(paper)) if caution_first else 0
    return _TOP + 1.5 * TITLE + (lines * _LEADING * BODY + 4.0 if lines else 0.0)


def foot_height(paper: str, caution_first: bool) -> float:
    """Return how much room a page's closing lines take [mm]."""
    lines = 0 if caution_first else len(_closing(paper))
    return _BOTTOM + (1 + lines) * _LEADING * SMALL + 3.0


def room(paper: str, *, caution_first: bool = False) -> float:
    """Return how high the blocks of one page may be together [mm]."""
    feet = foot_height(paper, caution_first)
    return _size(paper)[1] - feet - first_top(paper, caution_first)


def one_side(blocks: Sequence[Block]) -> list[Block]:
    """Return blocks that stand on one page together."""
    return [*(replace(block, keep=True) for block in blocks[:-1]), *blocks[-1:]]


def _kept_together(blocks: Iterable[Block]) -> Iterator[list[Block]]:
    group: list[Block] = []
    for block in blocks:
        group.append(block)
        if not block.keep:
            yield group
            group = []
    if group:
        yield group


def _local_rules(paper: str) -> list[str]:
    return wrapped(CAUTIONS["local"], column_width(paper) - 12.0, BODY, bold=True)


def _closing(paper: str) -> list[str]:
    return wrapped(CAUTIONS["local"], column_width(paper), SMALL)


def _page(
    items: list[Item], paper: str, title: str, number: tuple[int, int], caution_first: bool
) -> Page:
    width, height = _size(paper)
    base = _TOP + 0.8 * TITLE
    furniture: list[Item] = [Text(at=(_SIDE, base), text=title, size=TITLE, bold=True)]
    if caution_first:
        top = _TOP + 1.5 * TITLE
        furniture += moved(_warning(_local_rules(paper), BODY, True), left=_SIDE, top=top, scale=1)
    closing = [] if caution_first else _closing(paper)
    y = height - _BOTTOM - len(closing) * _LEADING * SMALL
    rule = {"start": (_SIDE, y - 4.0), "end": (width - _SIDE, y - 4.0)}
    furniture.append(Line(**rule, stroke=DARK, thick=_THIN))
    for n, line in enumerate(closing):
        furniture.append(Text(at=(_SIDE, y + n * _LEADING * SMALL), text=line, size=SMALL))
    y += len(closing) * _LEADING * SMALL
    furniture.append(Text(at=(_SIDE, y), text=f"flutelab: {title}", size=SMALL))
    where = {"at": (width - _SIDE, y), "anchor": "end"}
    furniture.append(Text(**where, text=f"page {number[0]} of {number[1]}", size=SMALL))
    return Page(width=width, height=height, title=title, items=(*items, *furniture))


# --- blocks -----------------------------------------------------------------------------


def heading(text: str) -> Block:
    """Return a heading that stays with what follows."""
    line = Text(at=(0.0, HEADING + 1.2), text=text, size=HEADING, bold=True)
    return Block(height=_LEADING * HEADING + 1.2, items=(line,), after=0.9, keep=True)


def paragraph(text: str, width: float, *, size: float = BODY, bold: bool = False) -> Block:
    """Return words wrapped to a width."""
    lines = wrapped(text, width, size, bold=bold)
    items = _lines(lines, 0.0, size, bold)
    return Block(height=len(lines) * _LEADING * size, items=tuple(items))


def _lines(lines: Sequence[str], left: float, size: float, bold: bool = False) -> list[Text]:
    return [
        Text(at=(left, (n + 0.88) * _LEADING * size), text=line, size=size, bold=bold)
        for n, line in enumerate(lines)
    ]


def listed(
    entries: Sequence[str], width: float, *, marks: Sequence[str] = (), size: float = BODY
) -> list[Block]:
    """Return a list, each entry with its mark (default a dash) and a hanging indent."""
    marks = tuple(marks) or ("–",) * len(entries)
    indent = max((text_width(mark, size) for mark in marks), default=0.0) + 2.0
    blocks = []
    for mark, entry in zip(marks, entries, strict=True):
        lines = wrapped(entry, width - indent, size)
        items = (*_lines([mark], 0.0, size), *_lines(lines, indent, size))
        blocks.append(Block(height=len(lines) * _LEADING * size, items=items, after=0.8))
    return blocks


def caution(key: str, width: float) -> Block:
    """Return a caution of `CAUTIONS`, to stand at the step that it concerns."""
    lines = wrapped(CAUTIONS[key], width - 10.0, SMALL)
    items = _warning(lines, SMALL, False)
    height = max(len(lines) * _LEADING * SMALL, _TRIANGLE)
    return Block(height=height, items=items, after=1.4)


def _warning(lines: Sequence[str], size: float, bold: bool) -> tuple[Item, ...]:
    """Return lines beside a triangle with an exclamation mark."""
    tall = _TRIANGLE - 0.2
    triangle = Polygon(points=((0.0, tall), (3.0, 0.2), (6.0, tall)), thick=THICK, fill="#FFFFFF")
    mark = Text(at=(3.0, tall - 0.7), text="!", size=3.6, anchor="middle", bold=True)
    return (triangle, mark, *_lines(lines, 10.0, size, bold))


def picture(drawing: Drawing, width: float, *, height: float | None = None) -> Block:
    """Return a drawing as wide as given, or smaller where it would be higher than `height`."""
    scale = width / drawing.width
    if height is not None:
        scale = min(scale, height / drawing.height)
    left = (width - scale * drawing.width) / 2
    items = moved(drawing.items, left=left, top=0.0, scale=scale)
    return Block(height=scale * drawing.height, items=items)


def fields(labels: Sequence[tuple[str, float]], *, height: float = CELL) -> Block:
    """Return a row of words with a line to write on behind each: (words, width of both)."""
    items: list[Item] = []
    left = 0.0
    for label, width in labels:
        start = left + text_width(label, BODY) + 2.0
        items.append(Text(at=(left, height - 1.5), text=label, size=BODY))
        end = (left + width - 3.0, height - 1.0)
        items.append(Line(start=(start, height - 1.0), end=end, stroke=DARK, thick=_THIN))
        left += width
    return Block(height=height, items=tuple(items), after=0.0)


def writing_lines(count: int, width: float) -> Block:
    """Return empty lines to write on."""
    ends = [(n + 1) * CELL - 1.0 for n in range(count)]
    items = tuple(Line(start=(0, y), end=(width, y), stroke=DARK, thick=_THIN) for y in ends)
    return Block(height=count * CELL, items=items)


def beside(columns: Sequence[tuple[float, Sequence[Block]]]) -> Block:
    """Return columns side by side: (place from the left, blocks)."""
    items: list[Item] = []
    tallest = 0.0
    for left, blocks in columns:
        y = 0.0
        for block in blocks:
            items += moved(block.items, left=left, top=y, scale=1.0)
            y += block.height + block.after
        tallest = max(tallest, y - (blocks[-1].after if blocks else 0.0))
    return Block(height=tallest, items=tuple(items))


def table(
    header: Sequence[str],
    rows: Sequence[Sequence[str | Block]],
    widths: Sequence[float],
    *,
    least: float = 0.0,
    size: float = BODY,
) -> list[Block]:
    """Return a ruled table, a block each row; a cell is words, or a block of its own.

    Parameters
    ----------
    header : sequence of str
        Empty = no row of names.
    rows : sequence of sequence of (str or Block)
    widths : sequence of float
    least : float
        The least height of a row: `CELL` for boxes to write in.
    size : float
        Of the words.
    """
    blocks = [_row(header, widths, 0.0, size, True)] if header else []
    blocks += [_row(row, widths, least, size, False) for row in rows]
    if blocks:
        blocks[-1] = replace(blocks[-1], after=2.5)
    return blocks


def _row(
    cells: Sequence[str | Block], widths: Sequence[float], least: float, size: float, bold: bool
) -> Block:
    filled = [
        cell if isinstance(cell, Block) else paragraph(cell, width - 2 * _PAD, size=size, bold=bold)
        for cell, width in zip(cells, widths, strict=True)
    ]
    height = max(least, *(cell.height + _PAD for cell in filled))
    items: list[Item] = []
    left = 0.0
    for cell, width in zip(filled, widths, strict=True):
        box = (left, 0.0, left + width, height)
        look = {"fill": "#EEEEEE" if bold else None, "stroke": BLACK, "thick": _THIN}
        items.append(rectangle(*box, **look, part="head" if bold else "cell"))
        down = (height - cell.height) / 2
        items += moved(cell.items, left=left + _PAD, top=down, scale=1.0)
        left += width
    return Block(height=height, items=tuple(items), after=0.0, keep=bold)
