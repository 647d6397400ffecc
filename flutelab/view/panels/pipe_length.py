"""The panel of the lesson on pipe length and pitch: a class's table, its line and its meaning."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import ipywidgets
import traitlets

from flutelab.errors import DataError
from flutelab.files.class_faults import few_readings, table_faults
from flutelab.files.class_table import (
    NAMES,
    READINGS,
    ClassFile,
    class_file,
    class_file_bytes,
    pipes_zip,
    read_class_file,
)
from flutelab.files.pipe_lesson import (
    Lesson,
    lesson_call,
    lesson_compared,
    lesson_sentence,
    lesson_table,
    lesson_words,
    pipe_lesson,
)
from flutelab.fitting.pipe_lengths import BOOK_SPEED
from flutelab.units import half_up, inches, millimetres, parse_length
from flutelab.view.panels.frame import Panel, View
from flutelab.view.panels.kit import Box, Choice, Grid, Number, Press, Save, Words
from flutelab.view.panels.pipe_length_picture import pipe_length_picture

GROUPS = 7
_LENGTHS = {"bore": (1.0, 100.0), "wall": (0.0, 20.0), "guess": (-100.0, 100.0)}  # mm
_HOW_TO = (
    "One row a group: the pipe's length, the temperature beside it, three readings. Lengths are "
    "in mm, or carry their unit (12 in); readings are in Hz, or a note and cents (D5 -8)."
)


class _ClassGrid(Grid):
    """The class's table; ``value`` is its rows."""

    value = traitlets.List()

    def __init__(self, **settings) -> None:
        super().__init__(**settings)
        traitlets.link((self, "rows"), (self, "value"))


def pipe_length_panel(demos: Mapping[str, str | Path] | None = None) -> Panel:
    """Return the panel into which seven groups type their plain pipes.

    Parameters
    ----------
    demos : mapping of str to path, optional
        Class tables that a button fills in, of ``open`` and of ``stopped`` pipes.

    Raises
    ------
    DataError
        A demo's file cannot be used.
    """
    read = {kind: read_class_file(path) for kind, path in (demos or {}).items()}
    controls, told = _controls(), Words(kind="alert")

    def then(lesson):
        told.text = table_faults(lesson.table)
        controls["rows"].faults = {
            f"{row},{column}": words
            for (row, column), words in lesson.table.faults.items()
            if row not in lesson.table.row or not words.endswith("is missing")
        }

    panel = Panel(
        title="Plain pipes: length and pitch",
        controls=controls,
        ask=_ask,
        sentence=lesson_sentence,
        views=[View(draw=pipe_length_picture(), words=lesson_words)],
        table=lesson_table,
        call=lambda **values: lesson_call(_ask(**values)),
        kept=["rows", *_LENGTHS],
        lines=[lesson_compared, lambda lesson: few_readings(lesson.table)],
        then=then,
    )
    _lay_out(panel, told, _Files(panel, read).rows)
    return panel


def _lay_out(panel, told, files):
    """Table and answer beside the picture, other controls above, files below.

    A row that is typed and its point are seen at once; what is wrong with the table stands
    under it.
    """
    heading, grid, *_ = panel.box.children
    rows = panel.controls["rows"]
    grid.children = [one for one in grid.children if one is not rows]
    grid.add_class("flutelab-low")
    grid.layout.grid_template_columns = "repeat(auto-fit, minmax(172px, 1fr))"
    compared, few = panel.lines
    side = ipywidgets.VBox([rows, told, few, panel.fault, panel.sentence, compared])
    side.layout.flex, side.layout.min_width = "1 1 370px", "0"
    pictures = ipywidgets.VBox(panel.pictures)
    pictures.layout.flex, pictures.layout.min_width = "0 1 425px", "0"
    beside = ipywidgets.HBox([side, pictures])
    beside.add_class("flutelab-beside")
    how_to = Words(text=_HOW_TO)
    more = [panel.again, panel.table, panel.call]
    panel.box.children = [heading, grid, beside, how_to, panel.notes, *files, *more]


def _blank():
    return [[str(group), *[""] * (READINGS + 2)] for group in range(1, GROUPS + 1)]


def _controls():
    boxes = {
        "bore": Box(label="Bore (calipers)", unit="mm", hint="such as 15.4"),
        "wall": Box(label="Wall", unit="mm", hint="such as 2.9"),
        "guess": Box(label="Our guess of the intercept", unit="mm", hint="before you measure"),
    }
    for name, box in boxes.items():
        box.observe(lambda _, name=name, box=box: _understood(name, box), "value")
    rows = _ClassGrid(
        caption="The class's pipes", columns=list(NAMES), rows=_blank(), editable=True
    )
    rows.add_class("flutelab-close")
    kinds = {"open, both ends": "open", "stopped, one end": "stopped"}
    waves = {"half wave, c/2f": "half", "quarter wave, c/4f": "quarter"}
    speeds = {"by temperature": None, "343 m/s for all": BOOK_SPEED}
    return {
        "kind": Choice(label="The pipes are", choices=kinds),
        "how": Choice(
            label="They were", choices={"tapped at an end": "driven", "blown across": "blown"}
        ),
        **boxes,
        "wave": Choice(label="Reckon", choices=waves),
        "speed": Choice(label="Speed of sound", choices=speeds),
        "off": Number(
            label="If thermometers read low by", unit="°C", value=0, low=-10, high=10, step=0.5
        ),
        "formulas": Choice(label="What the formulas say", choices={"hidden": False, "shown": True}),
        "rows": rows,
    }


def _ask(*, rows, bore, wall, guess, speed, off, **chosen) -> Lesson:
    """Return the lesson; a box that cannot be read counts as blank, and says so itself."""
    lengths = {"bore": bore, "wall": wall, "guess": guess}
    return pipe_lesson(
        rows,
        **{name: _length(name, text) for name, text in lengths.items()},
        sound_speed=speed,
        temperature_off=off,
        **chosen,
    )


def _length(name, text):
    try:
        return _read(name, text)
    except ValueError:
        return None


def _read(name, text):
    if not text.strip():
        return None
    length = parse_length(text, "mm")
    low, high = _LENGTHS[name]
    if not low <= millimetres(length) <= high:
        msg = f"{text!r} is {millimetres(length):.4g} mm; here it is {low:g} to {high:g} mm"
        raise ValueError(msg)
    return length


def _understood(name, box):
    """Say beside a box what was read in it, or what is wrong."""
    box.fault = box.note = ""
    try:
        length = _read(name, box.value)
    except ValueError as error:
        box.fault = str(error)
        return
    if length is not None:
        box.note = f"{half_up(millimetres(length), 2)} mm, {half_up(inches(length), 3)} in"


class _Files:
    """Buttons that fill, empty, open and save the table; what they replace can be brought back."""

    def __init__(self, panel: Panel, demos: Mapping[str, ClassFile]) -> None:
        self._panel, self._demos = panel, demos
        self._before: dict[str, Any] | None = None
        self._said = Words(kind="alert")
        for control in panel.controls.values():  # what was said is not of what is there now
            control.observe(lambda _: self._tell(""), "value")
        fill = Press(label="Fill in the demo's rows (invented)", do=self._fill)
        empty = Press(label="Empty the table", do=lambda: self._put(rows=_blank()))
        self._back = Press(label="Bring back the rows before", do=self._bring, disabled=True)
        self._upload = ipywidgets.FileUpload(accept=".csv", description="Open a table (CSV)")
        self._upload.observe(lambda _: self._open(), "value")
        saves = [
            self._saver("Save the table as typed (CSV)", self._table),
            self._saver("Save flute files and note tables (zip)", self._pipes),
        ]
        self.rows = [
            _row([*[fill] * bool(demos), empty, self._back]),
            _row([self._upload, *saves]),
            self._said,
        ]

    def _saver(self, label: str, make: Callable[[], tuple[str, bytes]]) -> Save:
        def made():
            self._said.text = ""
            return make()

        return Save(label=label, make=made, failed=self._tell)

    def _tell(self, words):
        self._said.text = words

    def _put(self, **values):
        """Fill controls, and keep what they held before."""
        self._said.text = ""
        controls = self._panel.controls
        self._before = {name: controls[name].value for name in values}
        self._back.disabled = False
        self._panel.set(**values)

    def _bring(self):
        if self._before is not None:
            self._put(**self._before)

    def _fill(self):
        self._put_file(self._demos[self._panel.controls["kind"].value])

    def _open(self):
        for one in self._upload.value:
            try:
                self._put_file(class_file(bytes(one["content"]), one["name"]))
            except DataError as error:
                self._tell(str(error))
        self._upload.value = ()

    def _put_file(self, table):
        rows = [list(row) for row in table.rows]
        rows += _blank()[len(rows) :]
        shared = {"kind": table.kind, "bore": table.bore, "wall": table.wall}
        self._put(rows=rows, **{name: text for name, text in shared.items() if text})

    def _table(self):
        values = self._panel.values()
        table = ClassFile(
            rows=tuple(map(tuple, values["rows"])),
            kind=values["kind"],
            bore=values["bore"],
            wall=values["wall"],
        )
        return "class-pipes.csv", class_file_bytes(table)

    def _pipes(self):
        values, lesson = self._panel.values(), self._panel.answer
        wall = _length("wall", values["wall"])
        _check_savable(lesson, wall)
        content = pipes_zip(
            lesson.table, kind=values["kind"], how=values["how"], bore=lesson.bore, wall=wall
        )
        return f"class-pipes-{values['kind']}.zip", content


def _check_savable(lesson, wall):
    found = lesson.found
    if lesson.bore is None or wall is None:
        msg = "Type the pipes' bore and wall first: a flute file needs both."
        raise ValueError(msg)
    if not found.sound:
        why = lesson_sentence(lesson)
        msg = f"Nothing is stored for a fit. {why} The table as typed can be saved."
        raise ValueError(msg)


def _row(widgets):
    row = ipywidgets.HBox(widgets)
    row.add_class("flutelab-row")
    row.layout.margin = "2px 2px 8px"  # the ring of what has the keyboard covers nothing
    return row
