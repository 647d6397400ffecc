"""Pages as PDF, with the letters embedded: the same pages give the same bytes.

A file tells its title, its language and an outline, an entry wherever the title of the pages
changes; it has no tags.
"""

from __future__ import annotations

import io
from collections.abc import Sequence

from flutelab.errors import DataError, Fault
from flutelab.view.drawing.primitives import Ellipse, Item, Line, Polygon, Text, font_file
from flutelab.view.paper.page import POINT, Page

_FONTS = {False: "DejaVuSans", True: "DejaVuSans-Bold"}


def pdf(pages: Sequence[Page], *, title: str) -> bytes:
    """Return pages as one PDF.

    Parameters
    ----------
    pages : sequence of Page
    title : str
        Of the document.

    Raises
    ------
    DataError
        The library that writes PDF is not installed.
    """
    try:
        from reportlab.pdfbase import pdfmetrics, ttfonts
        from reportlab.pdfgen.canvas import Canvas
    except ImportError:
        raise DataError(title, [_missing()]) from None
    for bold, name in _FONTS.items():
        pdfmetrics.registerFont(ttfonts.TTFont(name, str(font_file(bold))))
    buffer = io.BytesIO()
    look = {"initialFontName": _FONTS[False], "pageCompression": 1, "lang": "en"}
    canvas = Canvas(buffer, invariant=1, **look)
    canvas.setTitle(title)
    canvas.setAuthor("flutelab")
    canvas.setCreator("flutelab")
    canvas.setSubject(title)
    canvas.setViewerPreference("DisplayDocTitle", "true")  # not the file's name
    for number, page in enumerate(pages):
        if number == 0 or page.title != pages[number - 1].title:
            canvas.bookmarkPage(f"page {number}")
            canvas.addOutlineEntry(page.title, f"page {number}", level=0)
        canvas.setPageSize((page.width / POINT, page.height / POINT))
        canvas.translate(0, page.height / POINT)
        canvas.scale(1 / POINT, 1 / POINT)
        for item in page.items:
            _draw(canvas, item)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _missing() -> Fault:
    return Fault(
        place="sheets for paper",
        problem="the library reportlab, which writes them, is not installed",
        mend="Install the kit with its extra, as the set-up line of README.md does: "
        "pip install -e '.[all]'",
    )


def _draw(canvas: object, item: Item) -> None:
    """Draw an item in millimetres; PDF counts upwards, pages downwards."""
    if isinstance(item, Text):
        _write(canvas, item)
        return
    if item.stroke is not None:
        canvas.setStrokeColor(item.stroke)
        canvas.setLineWidth(item.thick)
        canvas.setDash(list(item.dash))
    if isinstance(item, Line):
        (x1, y1), (x2, y2) = item.start, item.end
        canvas.line(x1, -y1, x2, -y2)
        return
    look = {"stroke": int(item.stroke is not None), "fill": int(item.fill is not None)}
    if item.fill is not None:
        canvas.setFillColor(item.fill)
    if isinstance(item, Polygon):
        path = canvas.beginPath()
        for step, (x, y) in enumerate(item.points):
            (path.lineTo if step else path.moveTo)(x, -y)
        path.close()
        canvas.drawPath(path, **look)
        return
    assert isinstance(item, Ellipse)
    (x, y), (rx, ry) = item.centre, item.radii
    canvas.ellipse(x - rx, -y - ry, x + rx, -y + ry, **look)


def _write(canvas: object, item: Text) -> None:
    canvas.setFillColor(item.colour)
    canvas.setFont(_FONTS[item.bold], item.size)
    write = {
        "start": canvas.drawString,
        "middle": canvas.drawCentredString,
        "end": canvas.drawRightString,
    }[item.anchor]
    write(item.at[0], -item.at[1], item.text)
