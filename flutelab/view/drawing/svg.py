"""Drawings as SVG text."""

from __future__ import annotations

from html import escape
from zlib import crc32

from flutelab.view.drawing.primitives import Drawing, Ellipse, Item, Line, Polygon, Text

# The metrics that layouts count with are those of DejaVu Sans; the others run no wider.
_FONTS = "DejaVu Sans, Verdana, sans-serif"


def svg(drawing: Drawing) -> str:
    """Return a drawing as SVG: as wide as its box, on white, its text still text.

    The title is the picture's name to a screen reader, the description its content.

    Examples
    --------
    >>> empty = Drawing(width=20, height=10, items=(), title="Nothing", description="White.")
    >>> svg(empty).count("<title")
    1
    """
    words = f"{drawing.title}\n{drawing.description}"
    key = f"{crc32(words.encode()):08x}"  # the same words may share an id: they are the same
    size = f"{_number(drawing.width)} {_number(drawing.height)}"
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size}" width="100%" role="img" '
        f'aria-labelledby="t{key}" aria-describedby="d{key}" font-family="{_FONTS}">',
        f'<title id="t{key}">{_plain(drawing.title)}</title>',
        f'<desc id="d{key}">{_plain(drawing.description)}</desc>',
        '<rect width="100%" height="100%" fill="#ffffff"/>',
    )
    return "\n".join((*head, *map(_element, drawing.items), "</svg>"))


def _element(item: Item) -> str:
    if isinstance(item, Text):
        return _text(item)
    if isinstance(item, Line):
        (x1, y1), (x2, y2) = item.start, item.end
        return _tag("line", item, x1=x1, y1=y1, x2=x2, y2=y2)
    if isinstance(item, Polygon):
        points = " ".join(f"{_number(x)},{_number(y)}" for x, y in item.points)
        return _tag("polygon", item, points=points)
    assert isinstance(item, Ellipse)
    (cx, cy), (rx, ry) = item.centre, item.radii
    return _tag("ellipse", item, cx=cx, cy=cy, rx=rx, ry=ry)


def _tag(name: str, item: Line | Polygon | Ellipse, **geometry: float | str) -> str:
    look = {} if isinstance(item, Line) else {"fill": item.fill or "none"}
    if item.stroke is not None:
        look |= {"stroke": item.stroke, "stroke-width": item.thick}
        if item.dash:
            look["stroke-dasharray"] = " ".join(map(_number, item.dash))
    return f"<{name} {_attributes(geometry | look, item.part)}/>"


def _text(item: Text) -> str:
    look = {"x": item.at[0], "y": item.at[1], "font-size": item.size, "fill": item.colour}
    if item.anchor != "start":
        look["text-anchor"] = item.anchor
    if item.bold:
        look["font-weight"] = "bold"
    return f"<text {_attributes(look, item.part)}>{_plain(item.text)}</text>"


def _attributes(values: dict[str, float | str], part: str) -> str:
    pairs = [f'{k}="{v if isinstance(v, str) else _number(v)}"' for k, v in values.items()]
    return " ".join([*pairs, *([f'data-part="{escape(part)}"'] if part else [])])


def _number(value: float) -> str:
    return f"{round(value, 3) + 0.0:.3f}".rstrip("0").rstrip(".")


def _plain(text: str) -> str:
    """Return text for XML, without the control characters that XML cannot hold."""
    return escape("".join(letter for letter in text if letter >= " " or letter in "\t\n"))
