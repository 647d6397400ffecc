"""Constants to take away, in the shop's units, and the same pipe cut to another length."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

import ipywidgets
import numpy as np

from flutelab.errors import DataError
from flutelab.files.constants_file import Constants, constants_text
from flutelab.files.safely import read_bytes
from flutelab.files.tables import csv_text
from flutelab.files.takeaway import (
    Known,
    corrections_table,
    cutting_words,
    known_from_constants,
    known_from_notes,
    lengths_to_ask,
    notes_now,
    pairs_of,
    two_lengths,
)
from flutelab.fitting.problem import FitError
from flutelab.making.cautions import CAUTIONS
from flutelab.model.flute import Flute
from flutelab.units import from_inch, from_mm, inches, millimetres, parse_length
from flutelab.view.panels.constants_picture import ShiftPicture, picture_words
from flutelab.view.panels.constants_tables import (
    Taken,
    both_lengths,
    caption,
    far_end,
    hole_sizes,
    in_shop_units,
    meanings,
    remarks,
    sentence,
)
from flutelab.view.panels.frame import Panel, View
from flutelab.view.panels.given import Given, heading
from flutelab.view.panels.kit import Choice, Grid, Number, Save, Words, fill

_UNITS = {"millimetres": "mm", "inches and drills": "in"}
_IN_UNIT = {"mm": millimetres, "in": inches}
_FROM_UNIT = {"mm": from_mm, "in": from_inch}
_STEP, _DECIMALS = {"mm": 0.5, "in": 1 / 64}, {"mm": 1, "in": 3}
_MINE = {"my flute file and note table": "notes", "my constants file": "constants"}
_FIRST = "three-quarter-five"
STAYS = "What is shown below is the last good result: {}."
_COMMAND = re.compile(r" \(flutelab \w+\)")  # of the command line, which no panel has
_HAIR = 1e-9
_SAME = 5e-5  # m: the flute's own length, as far as the slider shows it


def _cautions(*keys):
    """Cautions at a step, a line each."""
    return "\n".join(CAUTIONS[key] for key in keys)


class ConstantsPanel(Panel):
    """See `constants_panel`."""

    def __init__(self, demo: str | Path) -> None:
        self._demos = pairs_of(demo)
        self._set_for: tuple[Flute | None, str] = (None, "mm")
        self._told_of: tuple[Known | None, str] = (None, "mm")
        self.files = {
            "flute": Given(what="a flute file", ending=".toml"),
            "notes": Given(what="its note table", ending=".csv"),
            "constants": Given(what="a constants file", ending=".json"),
        }
        super().__init__(
            title="Constants to take away",
            controls=self._controls() | self.files,
            ask=self._ask,
            sentence=sentence,
            views=[View(draw=ShiftPicture(), words=picture_words)],
            call=self._call,
            then=self._tell,
        )
        for name, given in self.files.items():
            given.observe(lambda change, name=name: self._mine(name, change["new"]), "value")

    def _controls(self) -> dict[str, ipywidgets.Widget]:
        choices = {f"{name} (invented)": name for name in self._demos} | _MINE
        start = next((name for name, (f, _) in self._demos.items() if f.stem == _FIRST), "notes")
        span = {"low": 100, "high": 600, "step": 1}
        return {
            "source": Choice(label="Constants of", choices=choices, value=start),
            "unit": Choice(label="Shop units", choices=_UNITS),
            "length": Number(
                label="Sounding edge to foot", unit="mm", value=300, read=self._read, **span
            ),
        }

    def _laid_out(self, *_):
        """Sentences, tables, the cut, the downloads: in the order they are asked for."""
        chosen = ipywidgets.VBox([self.controls[name] for name in ("source", "unit")])
        chosen.add_class("flutelab-controls")
        mine = ipywidgets.VBox([*self.files.values()])
        self.given = ipywidgets.Accordion([mine], titles=["My own files"])
        self.controls["source"].observe(self._unfold, "value")
        self._unfold({"new": self.controls["source"].value})
        self._make_parts()
        length = self.controls["length"]
        length.layout.max_width = "460px"
        saving = ipywidgets.HBox([*self._saves(), self.again])
        saving.add_class("flutelab-row")
        parts = [heading(self.title), chosen, self.given, self.fault, self.opening]
        parts += [self.corrections, self.marks, self.meanings, self.holes, self.drilling]
        parts += [heading("The same pipe cut to another length"), length, self.sentence]
        parts += [
            self.cut,
            Words(text=_cautions("dust", "pvc-dust", "knife")),
            *self.pictures,
            self.both,
            self.notes,
        ]
        parts += [heading("To take away"), saving, self.trouble, self.saved, self.call]
        box = ipywidgets.VBox([*parts, Words(text=CAUTIONS["local"])])
        box.add_class("flutelab-panel")
        return box

    def _make_parts(self) -> None:
        self.opening, self.marks, self.cut = Words(), Words(), Words()
        self.drilling, self.trouble = Words(), Words(kind="alert")
        self.saved = Words(kind="result")
        self.corrections, self.meanings, self.holes, self.both = (Grid() for _ in range(4))
        self.meanings.add_class("flutelab-prose")
        for picture in self.pictures:
            picture.layout.display = "none"  # until there is something to draw
        for numbers in (self.corrections, self.both):
            numbers.add_class("flutelab-wrap")

    def _saves(self) -> tuple[Save, ...]:
        told = {
            "failed": lambda words: self._tell_saved(trouble=words),
            "saved": lambda words: self._tell_saved(saved=words),
        }
        self.saves = (
            Save(label="Save the constants (JSON)", make=self._json, **told),
            Save(label="Save the constants as a table (CSV)", make=self._csv, **told),
            Save(label="Save both lengths' notes (CSV)", make=self._notes_csv, **told),
        )
        return self.saves

    def _tell_saved(self, saved: str = "", trouble: str = "") -> None:
        self.saved.text, self.trouble.text = saved, trouble

    def _unfold(self, change: dict) -> None:
        """Show where to give files once they are chosen."""
        if change["new"] in _MINE.values():
            self.given.selected_index = 0

    # --- asking ----------------------------------------------------------------------------

    def refresh(self) -> None:
        """Ask anew; the length's slider follows the flute and the unit."""
        if self._held:
            return
        try:
            flute = self._known(**self.values()).flute
        except (DataError, FitError, ValueError):
            flute = None  # told of by the panel, which asks again
        if flute is not None:
            self._set_length(flute, self.controls["unit"].value)
        super().refresh()
        if self.fault.text and self.answer is not None:
            self.fault.text += f"\n{STAYS.format(_held(self.answer.known))}"

    def _set_length(self, flute: Flute, unit: str) -> None:
        old, old_unit = self._set_for
        if (old, old_unit) == (flute, unit):
            return
        control, shown = self.controls["length"], _IN_UNIT[unit]
        length = flute.foot.position
        if old == flute:
            length = _FROM_UNIT[old_unit](control.value)
        low, high = lengths_to_ask(flute)
        self._held = True
        with control.hold_sync():
            control.label = f"{far_end(flute)} to foot"
            control.unit, control.step, control.decimals = unit, _STEP[unit], _DECIMALS[unit]
            # on the steps; a hair beside one counts as on it
            control.low = float(np.ceil(shown(low) / _STEP[unit] - _HAIR) * _STEP[unit])
            control.high = float(np.floor(shown(high) / _STEP[unit] + _HAIR) * _STEP[unit])
            control.value, control.fault = float(shown(length)), ""
        self._held, self._set_for = False, (flute, unit)

    def _read(self, text: str) -> float:
        unit = self.controls["unit"].value
        return float(_IN_UNIT[unit](parse_length(text, unit)))

    def reset(self) -> None:
        """All as at first, the flute's own length too."""
        self._set_for = (None, "mm")
        super().reset()

    def _known(self, source, flute, notes, constants, **_) -> Known:
        if source in self._demos:
            flute, notes = ((path.name, read_bytes(path)) for path in self._demos[source])
        if source == "constants":
            if constants is None:
                msg = "Give a constants file (JSON), and the flute file it shall be used on."
                raise ValueError(msg)
            return _of_constants(constants, flute)
        missing = [what for what, file in (("a flute file", flute), ("its note table", notes))
                   if file is None]  # fmt: skip
        if missing:
            msg = f"Give {' and '.join(missing)}; or choose a constants file that you have."
            raise ValueError(msg)
        return _of_notes(flute, notes)

    def _ask(self, source, unit, length, flute, notes, constants) -> Taken:
        known = self._known(source, flute, notes, constants)
        foot = _FROM_UNIT[unit](length)
        both = None
        if known.flute is not None:
            own = known.flute.foot.position
            foot = own if abs(foot - own) < _SAME else foot
            now = _notes_now(known.flute, known.constants)
            both = two_lengths(known.flute, known.constants, foot, now)
        return Taken(known=known, unit=unit, length=foot, notes=both)

    def _mine(self, name: str, value: object) -> None:
        if value is not None and self.controls["source"].value in (*self._demos, *_MINE.values()):
            kept = self.controls["source"].value
            self.controls["source"].value = _after(name, kept)

    # --- telling ---------------------------------------------------------------------------

    def _tell(self, taken: Taken) -> None:
        known, unit = taken.known, taken.unit
        self._tell_saved()
        if (known, unit) != self._told_of:
            self._tell_known(known, unit)
            self._told_of = (known, unit)
        for picture in self.pictures:
            picture.layout.display = "none" if taken.notes is None else None
        if known.flute is None or taken.notes is None:
            self.both.columns, self.cut.text = [], ""
            return
        self.cut.text = " ".join(cutting_words(known.flute, taken.length, unit))
        fill(self.both, both_lengths(taken.notes), caption(taken))

    def _tell_known(self, known: Known, unit: str) -> None:
        """What no length changes."""
        opening = (_COMMAND.sub("", line) for line in known.opening[unit])
        self.opening.text = "\n".join((*opening, *known.warned))
        frame = corrections_table(known.constants, known.flute)
        fill(self.corrections, in_shop_units(frame, unit), "Corrections")
        bent = "What does not fit may have bent these numbers." if known.is_to_mend else ""
        self.marks.text = "\n".join(filter(None, [bent, remarks(frame, bent=known.is_to_mend)]))
        fill(self.meanings, meanings(frame), "What they are, and what holds for another length")
        if known.flute is None or not known.flute.holes:
            self.holes.columns, self.drilling.text = [], ""
        else:
            fill(self.holes, hole_sizes(known.flute, unit), "Holes of this flute")
            self.drilling.text = _cautions("drill", "pvc-dust", "pvc-heat")

    def _good(self) -> Taken:
        """Return what the chosen files say, to be saved."""
        if self.fault.text:
            msg = f"Not saved: what was chosen cannot be used. {self.fault.text}"
            raise ValueError(msg)
        return self.answer

    def _json(self) -> tuple[str, bytes]:
        constants = self._good().known.constants
        name = f"{_slug(_fitted_to(constants))}.constants.json"
        return name, constants_text(constants).encode()

    def _csv(self) -> tuple[str, bytes]:
        known = self._good().known
        name = f"{_slug(_held(known))}.constants.csv"
        return name, csv_text(corrections_table(known.constants, known.flute)).encode()

    def _notes_csv(self) -> tuple[str, bytes]:
        taken = self._good()
        if taken.notes is None:
            msg = "There are no foretold notes yet: give a flute file."
            raise ValueError(msg)
        frame = taken.notes.copy()
        for name, length in (("other", taken.length), ("this", taken.known.flute.foot.position)):
            for unit, shown in reversed(_IN_UNIT.items()):
                frame.insert(1, f"{name}_length_{unit}", shown(length))
        return f"{_slug(_held(taken.known))}.two-lengths.csv", csv_text(frame).encode()

    def _call(self, source, flute, notes, constants, **_) -> str:
        """Return the library lines that make the same table."""
        if self.answer.known.flute is None:
            read = f"constants = read_constants({constants[0]!r})"
            return f"from flutelab import read_constants\n\n{read}"
        if source in self._demos:
            flute, notes = ((str(path), b"") for path in self._demos[source])
        lines = ["import flutelab", "from flutelab.files.takeaway import two_lengths", ""]
        lines += [f"flute = flutelab.read_flute({flute[0]!r})"]
        if source == "constants":
            lines += [f"constants = flutelab.read_constants({constants[0]!r})"]
        else:
            lines.insert(1, "from flutelab.files.constants_file import constants_of")
            lines += [f"notes = flutelab.read_measurements({notes[0]!r}, flute)"]
            lines += ["constants = constants_of(flutelab.calibrate(notes))"]
        return "\n".join([*lines, f"table = two_lengths(flute, constants, {self.answer.length!r})"])


def constants_panel(demo: str | Path) -> ConstantsPanel:
    """Return a panel of a flute's corrections, and of its pipe cut to another length.

    Parameters
    ----------
    demo : str or Path
        Folder of flute files and note tables of the same names, to choose from.
    """
    return ConstantsPanel(demo)


_of_notes = lru_cache(maxsize=8)(known_from_notes)
_of_constants = lru_cache(maxsize=8)(known_from_constants)
_notes_now = lru_cache(maxsize=8)(notes_now)


def _after(given: str, source: str) -> str:
    """Return what to show once a file was given: what it completes."""
    if given == "flute" and source == "constants":
        return source
    return "constants" if given == "constants" else "notes"


def _fitted_to(constants: Constants) -> str:
    return constants.document["flutes"][0]["name"]


def _held(known: Known) -> str:
    """Return the name of the flute whose lengths and notes are shown."""
    return _fitted_to(known.constants) if known.flute is None else known.flute.name


def _slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "flute"
