"""The measuring form: a lettered drawing of the pipe, and one box for each letter."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import ipywidgets
import numpy as np
import pandas as pd

from flutelab.drills import DRILL_KINDS, nearest_drill
from flutelab.files.flute_call import flute_call
from flutelab.files.flute_file import read_flute
from flutelab.files.flute_text import flute_text
from flutelab.files.form import (
    MOST_HOLES,
    Form,
    box_keys,
    filled_form,
    hole_of,
    in_other_unit,
    says_the_same,
    turned,
)
from flutelab.files.measured import Measured, left_out, measured
from flutelab.files.typed import read_as
from flutelab.making.cautions import CAUTIONS
from flutelab.model.flute import Flute
from flutelab.units import inches, millimetres, parse_number, show_length
from flutelab.view.drawing.measuring import Measure, measures, measuring_drawing
from flutelab.view.drawing.primitives import Drawing
from flutelab.view.drawing.sketch import HoleSketch, Sketch
from flutelab.view.drawing.svg import svg
from flutelab.view.panels.frame import Panel, View
from flutelab.view.panels.given import Given, heading
from flutelab.view.panels.kit import Box, Choice, Number, Press, Save, Words
from flutelab.view.paper.sheets import measuring_sheet, note_sheet

_DRILLS = {"mm": DRILL_KINDS, "in": ("fraction", "number", "letter")}
_UNITS = {"millimetres": "mm", "inches": "in"}
_ENDS = {"the sounding edge": False, "the foot": True}
_HEADS = {
    "a window (a flute)": "window",
    "an open end (a plain pipe)": "open",
    "an open end in a flange": "flanged",
    "a stopped end": "stopped",
    "an ideal open end (a node)": "node",
}
_FEET = {"open": "open", "open in a flange": "flanged", "stopped": "stopped"}
_WIDTH = 600.0  # pixels: boxes stand at the drawing's side
_HINT = (
    'A bare number counts in the unit chosen; 4.8 mm, 3/16 in, 1 3/16", 12 thou, #7 do anywhere.'
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """What a form shows: the form, what it comes to, and the drawing."""

    form: Form
    result: Measured
    drawing: Drawing


def see(form: Form) -> Seen:
    """Read a form and draw what is known of the pipe."""
    result = measured(form)
    drawing = measuring_drawing(sketch_of_form(form, result), unit=form.unit, width=_WIDTH)
    return Seen(form=form, result=result, drawing=drawing)


def sketch_of_form(form: Form, result: Measured) -> Sketch:
    """Return the sketch of what a form holds so far."""
    sizes = {key: entry.size for key, entry in result.entries.items()}
    plain = {key: size for key, size in sizes.items() if " " not in key}
    stations = ()
    if form.opened is not None and sizes["bore"] is None:
        # drawn, though the box is blank
        stations = form.opened.bore.stations
    return Sketch(
        name=form.name,
        stations=stations,
        holes=tuple(_hole_sketch(form, sizes, n) for n in range(1, form.holes + 1)),
        from_foot=form.from_foot,
        head=form.head,
        foot_kind=form.foot_kind,
        **plain,
    )


def _hole_sketch(form: Form, sizes: Mapping[str, float | None], number: int) -> HoleSketch:
    old = hole_of(form.opened, number)
    shape = {} if old is None else {"aspect": old.aspect, "angle": old.angle}
    return HoleSketch(place=sizes[f"place {number}"], diameter=sizes[f"diameter {number}"], **shape)


class MeasuringForm(Panel):
    """The measuring form; see `measuring_form`."""

    def __init__(self, flute: Flute | None = None) -> None:
        self._first = filled_form(flute) if flute else Form(texts={}, holes=6)
        self._now = self._filled = self._first
        self._before: Form | None = None
        self._watchers: list[Callable[[Flute | None], None]] = []
        self.boxes = {key: Box() for key in box_keys(MOST_HOLES)}
        for key, box in self.boxes.items():
            box.value = self._first.texts.get(key, "")
        self.given = Given(what="a flute file", ending=".toml")
        self.kept, self.asked, self.trouble = Words(), Words(), Words(kind="alert")
        self.saved = Words(kind="result")
        super().__init__(
            title="Measure the flute",
            controls=self._switches(self._first) | self.boxes,
            ask=lambda **values: see(self._form(values)),
            sentence=lambda seen: _sentence(seen.form, seen.result),
            views=[View(draw=lambda s: svg(s.drawing), words=lambda s: s.drawing.description)],
            table=lambda seen: lengths_table(seen.form, seen.result),
            call=lambda **_: flute_call(self.flute),
            then=self._tell,
        )
        self.given.observe(lambda change: self._open_given(change["new"]), "value")

    @staticmethod
    def _switches(form: Form) -> dict[str, ipywidgets.Widget]:
        count = {"low": 0, "high": MOST_HOLES, "step": 1, "decimals": 0, "read": _whole}
        return {
            "name": Box(label="Name of the flute", value=form.name),
            "unit": Choice(label="Unit of bare numbers", choices=_UNITS, value=form.unit),
            "holes": Number(label="Finger holes", value=form.holes, **count),
            "from_foot": Choice(
                label="Places of holes count from", choices=_ENDS, value=form.from_foot
            ),
            "head": Choice(label="At the head", choices=_HEADS, value=form.head),
            "foot_kind": Choice(label="The foot is", choices=_FEET, value=form.foot_kind),
        }

    def _laid_out(self, *_):
        """The drawing beside the boxes; it stays in sight while they are filled."""
        switches = _grid(*(self.controls[name] for name in self.controls if name not in self.boxes))
        plain = _grid(*(box for key, box in self.boxes.items() if " " not in key))
        holes = _grid(*(box for key, box in self.boxes.items() if " " in key))
        boxes = ipywidgets.VBox([self.sentence, Words(text=_HINT), plain, holes])
        drawn = ipywidgets.VBox([ipywidgets.HBox([ipywidgets.VBox(self.pictures), boxes])])
        drawn.add_class("flutelab-sized")
        drawn.children[0].add_class("flutelab-stays")
        told = {"failed": self._tell_saved, "saved": lambda words: self._tell_saved(saved=words)}
        self.save = Save(label="Save the flute file (TOML)", make=self._file, **told)
        self.back = Press(
            label="Bring back what was typed before", do=self.bring_back, disabled=True
        )
        filling = _row(self.back, self.again)  # beside the files: what fills the form anew
        drilling = [Words(text=CAUTIONS[key]) for key in ("drill", "pvc-dust", "pvc-heat")]
        parts = [heading(self.title), self.given, filling, switches, drawn, *drilling, self.fault]
        parts += [self.notes, self.kept, self.asked, _row(self.save), self.trouble, self.saved]
        parts += [self.table, self.call]
        box = ipywidgets.VBox([*parts, *self._printing(), Words(text=CAUTIONS["local"])])
        box.add_class("flutelab-panel")
        return box

    def _printing(self) -> tuple[ipywidgets.Widget, ...]:
        """Blank sheets to fill in at the bench, for as many holes as the form has."""
        self.paper = Choice(label="Paper", choices={"A4": "a4", "US Letter": "letter"})
        self.sheets = tuple(
            Save(label=f"Print a blank {what} sheet (PDF)", make=make, failed=self._tell_saved)
            for what, make in (("measuring", self._measuring_sheet), ("note", self._note_sheet))
        )
        return _row(self.paper, *self.sheets), Words(text=CAUTIONS["breath"])

    def _measuring_sheet(self) -> tuple[str, bytes]:
        form = self._now
        pdf = measuring_sheet(form.holes, self.paper.value, form.unit, from_foot=form.from_foot)
        return "measuring-sheet.pdf", pdf

    def _note_sheet(self) -> tuple[str, bytes]:
        form = self._now
        pdf = note_sheet(
            self.flute or form.holes, paper=self.paper.value, fahrenheit=form.unit == "in"
        )
        return "note-sheet.pdf", pdf

    @property
    def flute(self) -> Flute | None:
        """The flute, or None while something is missing or wrong."""
        return None if self.answer is None else self.answer.result.flute

    def watch(self, told: Callable[[Flute | None], None]) -> None:
        """Call `told` with the flute, or None, now and after every change."""
        self._watchers.append(told)
        told(self.flute)

    def _open_given(self, file: tuple[str, bytes] | None) -> None:
        if file is not None:
            self.open(*file)
            self.given.value = None  # the same file may be opened again

    def open(self, name: str, content: bytes) -> None:
        """Fill the form from a flute file's bytes; one that is at fault changes nothing."""
        try:
            flute = replace(read_as(name, content, read_flute), source=name)
            if len(flute.holes) > MOST_HOLES:
                msg = f"{name}: {len(flute.holes)} holes; the form has room for {MOST_HOLES}"
                raise ValueError(msg)
        except ValueError as error:
            self.trouble.text = str(error)
            return
        self._fill(filled_form(flute))

    def _fill(self, form: Form) -> None:
        """Fill the form from elsewhere; what was typed since it was last filled is kept."""
        now = self._form(self.values())
        if self._filled is None or not says_the_same(now, self._filled):
            self._before, self.back.disabled = now, False
        self._filled = form
        self.show(form)

    def bring_back(self) -> None:
        """Fill the form as it was before a file was opened, or before it was reset."""
        if self._before is not None:
            self._fill(self._before)
            self._filled = None  # typed by hand, so kept once more when a file is opened

    def show(self, form: Form) -> None:
        """Fill the form anew."""
        self._now = form
        blank = dict.fromkeys(self.boxes, "")
        switches = {name: getattr(form, name) for name in self.controls if name not in self.boxes}
        self.set(**blank | dict(form.texts) | switches)

    def reset(self) -> None:
        """All as at first; what was typed can be brought back."""
        for control in self.controls.values():
            if hasattr(control, "fault"):
                control.fault = ""
        self._fill(self._first)

    def refresh(self) -> None:
        """Read the form anew, and tell at each box what was understood."""
        if self._held:
            return
        self._tell_saved()
        self._follow_switches()
        super().refresh()

    def _tell(self, seen: Seen) -> None:
        self._now = seen.form
        self._tell_boxes(seen.form, seen.result)
        for told in self._watchers:
            told(seen.result.flute)

    def _form(self, values: Mapping[str, Any]) -> Form:
        switches = {name: value for name, value in values.items() if name not in self.boxes}
        switches["holes"] = int(switches["holes"])
        texts = {key: values[key] for key in self.boxes}
        return Form(texts=texts, opened=self._now.opened, **switches)

    def _follow_switches(self) -> None:
        """Write the boxes anew where unit or end of counting changed: no length changes."""
        unit, from_foot = (self.controls[name].value for name in ("unit", "from_foot"))
        if (unit, from_foot) == (self._now.unit, self._now.from_foot):
            return
        form = in_other_unit(self._now, unit)
        self._held = True
        try:
            form = turned(form, from_foot)
        except ValueError as error:
            self.trouble.text = str(error)
            self.controls["from_foot"].value = form.from_foot
        for key, box in self.boxes.items():
            box.value = form.texts.get(key, "")
        self._held = False

    def _tell_boxes(self, form: Form, result: Measured) -> None:
        asked = {m.key: m for m in _measures(form)}
        for key, box in self.boxes.items():
            shown, entry = key in asked, result.entries.get(key)
            box.layout.display = None if shown else "none"
            if not shown:
                continue
            with box.hold_sync():
                box.label, box.unit = _label(asked[key], form), form.unit
                box.note, box.fault = entry.note, entry.fault
        self.fault.text = "\n".join(_all_faults(form, result))
        self.kept.text = _kept_words(form, result)
        self.asked.text = "\n".join(result.asked)

    def _file(self) -> tuple[str, bytes]:
        flute = self.flute
        if flute is None:
            seen = self.answer
            msg = f"Not saved. {_sentence(seen.form, seen.result)}"
            raise ValueError(msg)
        text = flute_text(flute).encode()
        name = f"{re.sub(r'[^a-z0-9]+', '-', flute.name.lower()).strip('-') or 'flute'}.toml"
        read_as(name, text, read_flute)  # a file that cannot be read again is not handed out
        return name, text

    def _tell_saved(self, trouble: str = "", saved: str = "") -> None:
        self.trouble.text, self.saved.text = trouble, saved


def measuring_form(flute: Flute | None = None) -> MeasuringForm:
    """Return a form that takes a flute's measures.

    Parameters
    ----------
    flute : Flute, optional
        To begin with; else the form is blank.

    Returns
    -------
    MeasuringForm
        ``.flute`` is the flute, None while something is missing or wrong; ``.watch(told)`` calls
        back after every change; ``.open(name, content)`` fills it from a file's bytes.
    """
    return MeasuringForm(flute)


def lengths_table(form: Form, result: Measured | None = None) -> pd.DataFrame:
    """Return what a form holds as a table: letter, what it is, length, nearest drill."""
    result = result or measured(form)
    rows = []
    for measure in _measures(form):
        size = result.entries[measure.key].size
        known = {} if size is None else {"mm": millimetres(size), "in": inches(size)}
        drill = measure.letter[0] == "D" and size is not None
        near = nearest_drill(size, _DRILLS[form.unit])[0] if drill else ""
        empty = {"mm": np.nan, "in": np.nan}
        rows.append(
            {"letter": measure.letter, "length": measure.words} | empty | known | {"drill": near}
        )
    return pd.DataFrame(rows)


def _grid(*parts: ipywidgets.Widget) -> ipywidgets.VBox:
    grid = ipywidgets.VBox(parts)
    grid.add_class("flutelab-controls")
    return grid


def _row(*parts: ipywidgets.Widget) -> ipywidgets.HBox:
    row = ipywidgets.HBox(parts)
    row.add_class("flutelab-row")
    return row


def _whole(text: str) -> float:
    number = parse_number(text)
    if number != round(number):
        msg = f"{text.strip()!r}: there is no part of a hole; write a whole number"
        raise ValueError(msg)
    return number


def _measures(form: Form):
    return measures(form.holes, head=form.head, from_foot=form.from_foot)


def _label(measure: Measure, form: Form) -> str:
    """Name a box, shorter than the sheets do: the drawing stands beside."""
    kind, _, number = measure.key.partition(" ")
    if not number:
        return f"{measure.letter}: {measure.words.replace(':', ',')}"
    if kind == "diameter":
        return f"{measure.letter}: diameter of hole {number}"
    return f"{measure.letter}: {'foot' if form.from_foot else 'edge'} to centre of hole {number}"


def _sentence(form: Form, result: Measured) -> str:
    letters = {m.key: m.letter for m in _measures(form)}
    wrong = [letters[key] for key, entry in result.entries.items() if entry.fault]
    missing = [letters[key] for key in result.missing]
    if result.flute is not None:
        length = show_length(result.flute.foot.position, form.unit)
        holes = "1 hole" if form.holes == 1 else f"{form.holes} holes"
        return f"Complete: {result.flute.name}, {holes}, {length} to the foot."
    said = [f"To mend: {', '.join(wrong)}."] if wrong else []
    if missing:
        said.append(f"To measure: {', '.join(missing)} ({len(missing)} of {len(letters)}).")
    return " ".join(said or ["To mend: see below."])


def _all_faults(form: Form, result: Measured) -> list[str]:
    asked = {m.key: m for m in _measures(form)}
    said = [
        f"{asked[key].letter}, {asked[key].words}: {entry.fault}"
        for key, entry in result.entries.items()
        if entry.fault
    ]
    return [*said, *result.faults]


def _kept_words(form: Form, result: Measured) -> str:
    kept = "; ".join(result.kept)
    said = [f"Opened: {form.opened.source}."] if form.opened and form.opened.source else []
    said += [f"Kept from it, though the form does not show it: {kept}."] * bool(kept)
    return " ".join([*said, *filter(None, [left_out(form)])])
