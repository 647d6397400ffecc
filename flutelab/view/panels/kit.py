"""The controls that panels are made of: native ones of the browser, each with a name and a unit.

Each class is a thin shell about a small script in ``web/``. A slider has a box beside it that
takes what people write; a picture has words; nothing plays and nothing is saved by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import anywidget
import pandas as pd
import traitlets

from flutelab.files.rounding import column_texts

_WEB = Path(__file__).parent / "web"
_STYLE = (_WEB / "panel.css").read_text(encoding="utf-8")


def _script(name: str) -> str:
    return "".join((_WEB / f"{part}.js").read_text(encoding="utf-8") for part in ("common", name))


class Number(anywidget.AnyWidget):
    """A slider and a box for one number, in the unit shown.

    Parameters
    ----------
    label, unit : str
        Together the accessible name.
    value, low, high, step : float
        In the unit shown.
    decimals : int
        Shown in the box.
    read : callable, optional
        Text to a number in the unit shown; raises ValueError with words. Default: a plain
        number with a decimal point or comma.

    Notes
    -----
    What is typed wrong leaves ``value`` as it was; ``fault`` says what, and how to mend it.
    """

    _esm = _script("number")
    _css = _STYLE
    label = traitlets.Unicode().tag(sync=True)
    unit = traitlets.Unicode().tag(sync=True)
    value = traitlets.Float().tag(sync=True)
    low = traitlets.Float().tag(sync=True)
    high = traitlets.Float().tag(sync=True)
    step = traitlets.Float().tag(sync=True)
    decimals = traitlets.Int(1).tag(sync=True)
    disabled = traitlets.Bool(False).tag(sync=True)
    fault = traitlets.Unicode().tag(sync=True)

    def __init__(self, *, read: Callable[[str], float] | None = None, **settings) -> None:
        super().__init__(**settings)
        self._read = read or _plain_number
        self.on_msg(lambda _, content, __: self.type_in(content["typed"]))

    def type_in(self, text: str) -> None:
        """Take what was typed in the box."""
        try:
            value = self._read(text)
            self._check(text, value)
        except ValueError as error:
            self.fault = str(error)
            return
        self.fault = ""
        if value == self.value:
            self.send("as it is")
        self.value = value

    def _check(self, text, value):
        slack = 1e-9 * max(abs(self.low), abs(self.high))
        if not self.low - slack <= value <= self.high + slack:
            low, high = (f"{end:.{self.decimals}f}" for end in (self.low, self.high))
            msg = f"{text.strip()!r}: {self.label} can be {low} to {high} {self.unit} here".strip()
            raise ValueError(msg)


def _plain_number(text: str) -> float:
    from_comma = text.strip().replace(",", ".")
    try:
        return float(from_comma)
    except ValueError:
        msg = f"{text!r} is not a number; write it like 7.5"
        raise ValueError(msg) from None


class Box(anywidget.AnyWidget):
    """A box for one entry as people write it.

    ``value`` is the text; ``note`` shows what was understood, ``fault`` what was not.
    ``under`` is the label (and unit) that it was typed under. ``lines`` above 1 makes it a tall
    box. With a ``fold``, a title, it is seen only while
    ``unfolded``.
    """

    _esm = _script("box")
    _css = _STYLE
    label = traitlets.Unicode().tag(sync=True)
    unit = traitlets.Unicode().tag(sync=True)
    value = traitlets.Unicode().tag(sync=True)
    hint = traitlets.Unicode().tag(sync=True)
    note = traitlets.Unicode().tag(sync=True)
    fault = traitlets.Unicode().tag(sync=True)
    under = traitlets.Unicode().tag(sync=True)
    lines = traitlets.Int(1).tag(sync=True)
    disabled = traitlets.Bool(False).tag(sync=True)
    fold = traitlets.Unicode().tag(sync=True)
    unfolded = traitlets.Bool(False).tag(sync=True)


class Choice(anywidget.AnyWidget):
    """A list to choose one from.

    Parameters
    ----------
    choices : mapping of str to value
        What is shown, and the ``value`` that it stands for.
    value
        The first choice, if not given.
    """

    _esm = _script("choice")
    _css = _STYLE
    label = traitlets.Unicode().tag(sync=True)
    options = traitlets.List(traitlets.Unicode()).tag(sync=True)
    index = traitlets.Int(0).tag(sync=True)
    disabled = traitlets.Bool(False).tag(sync=True)
    value = traitlets.Any()

    def __init__(self, *, choices: Mapping[str, Any], value: Any = None, **settings) -> None:
        self._values = list(choices.values())
        index = 0 if value is None else self._values.index(value)
        super().__init__(options=list(choices), index=index, **settings)
        self.value = self._values[index]

    @traitlets.observe("index")
    def _chosen(self, change):
        self.value = self._values[change["new"]]

    @traitlets.observe("value")
    def _given(self, change):
        if change["new"] not in self._values:
            msg = f"{self.label}: {change['new']!r} is no choice; use one of {self._values}"
            raise ValueError(msg)
        self.index = self._values.index(change["new"])


class Press(anywidget.AnyWidget):
    """A button; ``pressed()`` does what a press does.

    A press on a label that has changed on the way does nothing.
    """

    _esm = _script("press")
    _css = _STYLE
    label = traitlets.Unicode().tag(sync=True)
    disabled = traitlets.Bool(False).tag(sync=True)

    def __init__(self, *, do: Callable[[], None], **settings) -> None:
        super().__init__(**settings)
        self.pressed = do
        self.on_msg(lambda _, content, __: self._heard(content["pressed"]))

    def _heard(self, label):
        if label == self.label:
            self.pressed()


class Busy(anywidget.AnyWidget):
    """What runs, while it does: ``doing`` is read aloud, ``detail`` is not; "" = nothing runs.

    ``stop`` is the label of a button that calls ``stopped()``, "" where there is none.
    """

    _esm = _script("busy")
    _css = _STYLE
    doing = traitlets.Unicode().tag(sync=True)
    detail = traitlets.Unicode().tag(sync=True)
    stop = traitlets.Unicode().tag(sync=True)

    def __init__(self, **settings) -> None:
        super().__init__(**settings)
        self.stopped: Callable[[], None] = lambda: None
        self.on_msg(lambda _, content, __: self.stopped() if content.get("stop") else None)


class Fingering(anywidget.AnyWidget):
    """A button a hole, from the window to the foot; ``value`` is the fingering's word.

    A press takes a hole to the next letter of ``cycle``: closes it or opens it, or half covers it
    on the way ("xho"); other letters can be set from Python only.
    """

    _esm = _script("fingering")
    _css = _STYLE
    label = traitlets.Unicode("Fingering").tag(sync=True)
    value = traitlets.Unicode().tag(sync=True)
    cycle = traitlets.Unicode("xo").tag(sync=True)


class Picture(anywidget.AnyWidget):
    """A picture, ``png`` or ``svg``, with ``alt`` words; ``width`` in pixels, 0 = its own."""

    _esm = _script("picture")
    _css = _STYLE
    png = traitlets.Bytes().tag(sync=True)
    svg = traitlets.Unicode().tag(sync=True)
    alt = traitlets.Unicode().tag(sync=True)
    width = traitlets.Int(0).tag(sync=True)


class Words(anywidget.AnyWidget):
    """A sentence; ``kind`` is ``plain``, ``result`` (read aloud), ``alert`` or ``code``.

    With a ``fold``, a title, it is seen only while ``unfolded``.
    """

    _esm = _script("words")
    _css = _STYLE
    text = traitlets.Unicode().tag(sync=True)
    kind = traitlets.Enum(("plain", "result", "alert", "code"), "plain").tag(sync=True)
    fold = traitlets.Unicode().tag(sync=True)
    unfolded = traitlets.Bool(False).tag(sync=True)


class Grid(anywidget.AnyWidget):
    """A table of texts, to be read, or to be edited in place.

    ``rows`` is a list of rows, each a list of as many texts as ``columns``; ``faults`` maps
    "row,column" (from 0, "head" for the row of names) to words; ``sizes`` are widths of the boxes
    in letters. Where it is ``editable`` the columns whose numbers are ``fixed`` are only read;
    columns or cells in ``choices`` ("column" or "row,column", to texts) are lists to choose from;
    ``at`` is the cell last gone to. With a ``fold``, a title, it is seen only while ``unfolded``.
    """

    _esm = _script("grid")
    _css = _STYLE
    caption = traitlets.Unicode().tag(sync=True)
    columns = traitlets.List(traitlets.Unicode()).tag(sync=True)
    rows = traitlets.List(traitlets.List(traitlets.Unicode())).tag(sync=True)
    faults = traitlets.Dict().tag(sync=True)
    sizes = traitlets.List(traitlets.Int()).tag(sync=True)
    editable = traitlets.Bool(False).tag(sync=True)
    fixed = traitlets.List(traitlets.Int()).tag(sync=True)
    choices = traitlets.Dict().tag(sync=True)
    at = traitlets.Unicode()
    fold = traitlets.Unicode().tag(sync=True)
    unfolded = traitlets.Bool(False).tag(sync=True)

    def __init__(self, **settings) -> None:
        super().__init__(**settings)
        self.on_msg(lambda _, content, __: self._heard(**content))

    def _heard(self, at="", cell=(), typed="", of=0):
        """Take the cell gone to, or what was typed in one while there were `of` rows."""
        self.at = at or self.at
        if cell and of == len(self.rows) and cell[1] < len(self.columns):
            rows = [list(row) for row in self.rows]
            rows[cell[0]][cell[1]] = typed
            self.rows = rows


class Sound(anywidget.AnyWidget):
    """Sounds (WAV bytes) with names; each is started by hand."""

    _esm = _script("sound")
    _css = _STYLE
    names = traitlets.List(traitlets.Unicode()).tag(sync=True)
    sounds = traitlets.List(traitlets.Bytes()).tag(sync=True)


class Save(anywidget.AnyWidget):
    """A button that hands a file to the browser.

    Parameters
    ----------
    label : str
        On the button, with the kind of file.
    make : callable
        Returns (name, bytes) when the button is pressed; a ValueError's words go to `failed`.
    failed : callable, optional
        Takes the words of what went wrong.
    saved : callable, optional
        Takes the words of what was handed out.
    """

    _esm = _script("save")
    _css = _STYLE
    label = traitlets.Unicode().tag(sync=True)
    disabled = traitlets.Bool(False).tag(sync=True)

    def __init__(
        self,
        *,
        make: Callable[[], tuple[str, bytes]],
        failed: Callable[[str], None] = lambda _: None,
        saved: Callable[[str], None] = lambda _: None,
        **settings,
    ) -> None:
        super().__init__(**settings)
        self.make = make
        self._failed, self._saved = failed, saved
        self.on_msg(lambda *_: self.press())

    def press(self) -> None:
        """Make the file and send it."""
        try:
            name, content = self.make()
        except ValueError as error:
            self._failed(str(error))
            return
        self.send({"name": name}, [content])
        self._saved(f"Saved as {name}; the browser puts it in its folder for downloads.")


_UNITS = {
    "m_per_s": "m/s",
    "percent": "%",
    "cents": "cents",
    "hz": "Hz",
    "mm": "mm",
    "in": "in",
    "pa": "Pa",
    "c": "°C",
    "m": "m",
    "k": "K",
}


def head_words(name: str) -> str:
    """Return the name of a column as it is read, its unit in brackets.

    Examples
    --------
    >>> head_words("model_hz"), head_words("c_m_per_s"), head_words("c_over_2f_mm")
    ('model [Hz]', 'c [m/s]', 'c/2f [mm]')
    """
    for ending, unit in _UNITS.items():
        if name == ending and len(name) > 1:
            return unit
        if name.endswith(f"_{ending}"):
            return f"{_words(name.removesuffix(f'_{ending}'))} [{unit}]"
    return _words(name)


def _words(name: str) -> str:
    words = name.replace("c_over_", "c/").replace("_", " ")
    return words.replace("from model", "from the model")


def texts(frame: pd.DataFrame) -> tuple[list[str], list[list[str]]]:
    """Return a table's columns and cells as texts, each column's numbers with as many decimals."""
    columns = [column_texts(list(frame.iloc[:, n])) for n in range(frame.shape[1])]
    rows = [list(row) for row in zip(*columns, strict=True)]
    return [head_words(str(name)) for name in frame.columns], rows


def fill(grid: Grid, frame: pd.DataFrame, caption: str = "") -> None:
    """Show a table in a grid, as one change."""
    with grid.hold_sync():
        grid.caption = caption
        grid.columns, grid.rows = texts(frame)
