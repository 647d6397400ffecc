"""What every panel has: controls, a picture, a sentence, and on request a table and the call."""

from __future__ import annotations

import html
import io
import re
import threading
import warnings
from collections.abc import Callable, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import ipywidgets
import matplotlib as mpl
import pandas as pd
from PIL import Image, ImageDraw, ImageFont

from flutelab.errors import DataError, FitWarning, ValidityWarning
from flutelab.files.warned import plain_notes
from flutelab.fitting.problem import FitError
from flutelab.view.panels.kit import Grid, Picture, Press, Words, fill
from flutelab.view.style import DARK

BAND = 34  # pixels
STILL = "A still picture. To wake the controls: menu Run, Run All Cells."


# JupyterLab hands what comes from different controls to different threads of the kernel. One
# panel answers at a time: drawing is not safe in threads, and panels feed one another.
_TURN = threading.RLock()


@dataclass(frozen=True, kw_only=True, eq=False)
class View:
    """A picture of an answer.

    Parameters
    ----------
    draw : callable
        Takes the answer; returns PNG bytes, or a drawing as SVG text.
    words : callable
        Takes the answer; returns what the picture shows, for those who do not see it.
    """

    draw: Callable[[Any], bytes | str]
    words: Callable[[Any], str]


class Panel:
    """Controls wired to one pure function, and its answer in a sentence and pictures.

    Parameters
    ----------
    title : str
    controls : mapping of str to widget
        By the names of the function's parameters, in reading order; each has a ``value``.
    ask : callable
        ``ask(**values)``: the answer. Its ValueError, DataError or FitError is shown in
        words, and the last good picture stays.
    sentence : callable
        Of the answer: the one live sentence.
    views : sequence of View
    table : callable, optional
        Of the answer: a DataFrame, for "Read as table".
    curves : mapping of str to callable
        By title: of the answer, a DataFrame; each a table more, made only while it is seen.
    call : callable, optional
        ``call(**values)``: the library lines that make the same result.
    kept : sequence of str
        Names of controls that "Reset" leaves as they are: tables that people filled.
    above, below : sequence of widget
        What else the panel holds, over and under the controls and the picture.
    lines : sequence of callable
        Of the answer: each gives one more line of words under the sentence.
    then : callable, optional
        Told of each new answer, last; its errors are shown as those of ``ask``.
    beside : bool
        Whether controls and sentence stand at the side of the pictures: for tall ones.

    Attributes
    ----------
    box : widget
        All of it, to be shown.
    answer
        The last good one.
    """

    def __init__(
        self,
        *,
        title: str,
        controls: Mapping[str, ipywidgets.Widget],
        ask: Callable[..., Any],
        sentence: Callable[[Any], str],
        views: Sequence[View] = (),
        table: Callable[[Any], pd.DataFrame] | None = None,
        curves: Mapping[str, Callable[[Any], pd.DataFrame]] | None = None,
        call: Callable[..., str] | None = None,
        kept: Sequence[str] = (),
        above: Sequence[ipywidgets.Widget] = (),
        below: Sequence[ipywidgets.Widget] = (),
        lines: Sequence[Callable[[Any], str]] = (),
        then: Callable[[Any], None] = lambda _: None,
        beside: bool = False,
    ) -> None:
        self.title, self.controls, self.answer = title, dict(controls), None
        self._ask, self._say, self.views = ask, sentence, tuple(views)
        self._as_call = call
        self._lines, self._then = tuple(lines), then
        self._held, self._answered = False, None
        starts = {name: control.value for name, control in self.controls.items()}
        self._start = {name: value for name, value in starts.items() if name not in kept}
        self.pictures = tuple(Picture() for _ in views)
        self.sentence, self.fault = Words(kind="result"), Words(kind="alert")
        self.lines = tuple(Words() for _ in lines)
        self.notes = Words()
        self.table = Grid(fold="Read as table") if table else None
        self.curves = tuple(Grid(fold=title) for title in curves or {})
        for grid in self.curves:
            grid.add_class("flutelab-tall")
        self._tables = {self.table: table} if table else {}
        self._tables.update(zip(self.curves, (curves or {}).values(), strict=True))
        self.call = Words(kind="code", fold="Show the call") if call else None
        self.again = Press(label="Reset", do=self.reset)
        self.box = self._laid_out(above, below, beside)
        for control in self.controls.values():
            control.observe(lambda _: self.refresh(), "value")
        for folded in filter(None, (*self._tables, self.call)):
            folded.observe(lambda _: self._tell_more(), "unfolded")
        self.refresh()

    def _laid_out(self, above, below, beside):
        heading = ipywidgets.HTML(f"<h3>{html.escape(self.title)}</h3>")
        grid = ipywidgets.VBox([*self.controls.values()])
        grid.add_class("flutelab-controls")
        more = [*self._tables, *filter(None, [self.call])]
        middle = [grid, self.fault, *self.pictures, self.sentence]
        if beside:
            side = ipywidgets.VBox([grid, self.fault, self.sentence])
            middle = [ipywidgets.HBox([side, ipywidgets.VBox(self.pictures)])]
            middle[0].add_class("flutelab-beside")
        parts = [heading, *above, *middle, *self.lines, self.notes, *below]
        box = ipywidgets.VBox([*parts, self.again, *more])
        box.add_class("flutelab-panel")
        return box

    def values(self) -> dict[str, Any]:
        """Return what the controls say."""
        return {name: control.value for name, control in self.controls.items()}

    def set(self, **values: Any) -> None:
        """Move several controls at once; the answer follows once."""
        with _TURN:
            self._held = True
            try:
                for name, value in values.items():
                    self.controls[name].value = value
            finally:
                self._held = False
            self.refresh()

    def reset(self) -> None:
        """All controls as at first, but those that are kept."""
        for name in self._start:
            if hasattr(self.controls[name], "fault"):
                self.controls[name].fault = ""
        self.set(**self._start)

    def refresh(self) -> None:
        """Ask anew, and show the answer or what is wrong."""
        with _TURN:
            if not self._held:
                self._refresh()

    @contextmanager
    def _telling(self):
        """Say inside the panel what goes wrong here."""
        try:
            yield
        except (ValueError, DataError, FitError) as error:
            self.fault.text = str(error)

    def _refresh(self):
        with self._telling():
            values = self.values()
            with warnings.catch_warnings(record=True) as heard:
                for kind in (ValidityWarning, FitWarning):
                    warnings.simplefilter("always", kind)
                answer = self._ask(**values)
                drawn = [view.draw(answer) for view in self.views]
            self.answer, self._answered, self.fault.text = answer, values, ""
            self._show(answer, drawn)
            self.notes.text = " ".join(plain_notes([str(one.message) for one in heard]))
            self._tell_more()
            self._then(answer)

    def _show(self, answer, drawn):
        for view, picture, content in zip(self.views, self.pictures, drawn, strict=True):
            with picture.hold_sync():
                picture.alt = view.words(answer)
                setattr(picture, "svg" if isinstance(content, str) else "png", content)
        self.sentence.text = self._say(answer)
        for line, words in zip(self.lines, self._lines, strict=True):
            line.text = words(answer)

    def _tell_more(self):
        """The table and the call, while they are seen."""
        with _TURN, self._telling():
            if self._answered is None:
                return
            for grid, make in self._tables.items():
                if grid.unfolded:
                    fill(grid, make(self.answer))
            if self.call is not None and self.call.unfolded:
                self.call.text = self._as_call(**self._answered)

    def still(self) -> dict[str, bytes | str]:
        """Return the pictures as they stand, with words across them that say so, by MIME type."""
        drawn = [picture.png for picture in self.pictures if picture.png]
        if drawn:
            return {"image/png": still_of(drawn)}
        svg = next((picture.svg for picture in self.pictures if picture.svg), "")
        return {"image/svg+xml": still_of_svg(svg)} if svg else {}

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        live = self.box._repr_mimebundle_() or {}
        return {**live, **self.still(), "text/plain": f"{self.title}. {self.sentence.text}"}


def still_of_svg(drawing: str) -> str:
    """Return a drawing (SVG) under a band of words that it is a still."""
    found = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', drawing)
    width, height = map(float, found.groups())
    band = f'''<rect y="{-BAND}" width="{width:g}" height="{BAND}" fill="{DARK}"/>
<text x="12" y="-11" font-size="17" fill="white">{STILL}</text>
</svg>'''
    taller = drawing.replace(found[0], f'viewBox="0 {-BAND} {width:g} {height + BAND:g}"', 1)
    return taller.rstrip().removesuffix("</svg>") + band


def still_of(pictures: Sequence[bytes]) -> bytes:
    """Return pictures (PNG) one above the other, with words across that they are a still."""
    parts = [Image.open(io.BytesIO(one)).convert("RGB") for one in pictures]
    width = max(part.width for part in parts)
    whole = Image.new("RGB", (width, BAND + sum(part.height for part in parts)), "white")
    draw = ImageDraw.Draw(whole)
    draw.rectangle((0, 0, width, BAND - 1), fill=DARK)
    face = Path(mpl.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
    draw.text((12, 7), STILL, fill="white", font=ImageFont.truetype(str(face), 17))
    top = BAND
    for part in parts:
        whole.paste(part, (0, top))
        top += part.height
    held = io.BytesIO()
    whole.save(held, "PNG", optimize=True)
    return held.getvalue()
