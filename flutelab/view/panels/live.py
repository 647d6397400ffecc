"""Pictures that follow a slider: drawn once, afterwards only what moves is drawn anew."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Hashable, Sequence
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from flutelab.view.style import style

DPI = 100  # a picture of 9 in is 900 pixels wide and is shown at that size


class Live:
    """Draws an answer as PNG bytes.

    Parameters
    ----------
    begin : callable
        ``begin(figure, answer)`` draws axes, titles and all that stays, and returns the
        artists that move (a sequence; they need no data yet).
    move : callable
        ``move(artists, answer)`` gives the artists their data.
    frame : callable, optional
        ``frame(answer)``: for what it did not return lately all is drawn anew. Put limits
        and titles in it.
    size : (float, float)
        Width and height [inches], at `DPI` pixels each.

    Attributes
    ----------
    figure : Figure
        The last one drawn.

    Notes
    -----
    The background is kept with the layout frozen; moving artists are drawn over it. A key
    press costs about a fifth of drawing the figure anew (tests/benchmarks/panels.py).
    """

    def __init__(
        self,
        begin: Callable[[Figure, Any], Sequence[Artist]],
        move: Callable[[Sequence[Artist], Any], None],
        frame: Callable[[Any], Hashable] = lambda _: None,
        size: tuple[float, float] = (9.0, 4.2),
    ) -> None:
        self._begin, self._move, self._frame, self._size = begin, move, frame, size
        self._drawn: dict[Hashable, tuple] = {}

    def __call__(self, answer: Any) -> bytes:
        """Return the picture of an answer as PNG bytes."""
        wanted = self._frame(answer)
        if wanted not in self._drawn:
            if len(self._drawn) == _KEPT:
                del self._drawn[next(iter(self._drawn))]
            self._drawn[wanted] = self._draw_all(answer)
        canvas, artists, background = self._drawn[wanted]
        self.figure = canvas.figure
        self._move(artists, answer)
        canvas.restore_region(background)
        for artist in sorted(artists, key=lambda one: one.get_zorder()):
            artist.axes.draw_artist(artist) if artist.axes else artist.draw(canvas.renderer)
        return _png(canvas)

    def _draw_all(self, answer):
        with style():
            figure = Figure(figsize=self._size, dpi=DPI, layout="constrained", facecolor="white")
            canvas = FigureCanvasAgg(figure)
            artists = tuple(self._begin(figure, answer))
            self._move(artists, answer)  # the layout makes room for them too
            figure.get_layout_engine().execute(figure)
            figure.set_layout_engine("none")
            for artist in artists:
                artist.set_animated(True)
            canvas.draw()
            return canvas, artists, canvas.copy_from_bbox(figure.bbox)


_KEPT = 6  # frames: back at one that was drawn before there is nothing to draw anew


def _png(canvas: FigureCanvasAgg) -> bytes:
    """The picture as PNG (ISO/IEC 15948), lines unfiltered: half the time of a library's."""
    drawn = np.asarray(canvas.buffer_rgba())
    height, width = drawn.shape[:2]
    lines = np.zeros((height, 1 + 4 * width), np.uint8)  # each begins with its filter, none
    lines[:, 1:] = drawn.reshape(height, -1)
    head = struct.pack(">IIBBBBB", width, height, 8, 6, 0, 0, 0)  # 8 bits each of RGBA
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(lines.data, 1)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        for kind, data in parts
    )
