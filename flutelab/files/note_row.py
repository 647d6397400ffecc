"""One row of a note table: its cells read together, with every fault of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from flutelab import pitch
from flutelab.errors import Fault
from flutelab.files.csv_text import TableRow, place_of
from flutelab.files.note_cells import PITCHES, CellError, cell_value, last_digit
from flutelab.files.note_columns import A_DEGREE, BORE, PRESSURE, ROOM, hole_columns
from flutelab.model.flute import Flute, RecordError, geometry_faults, hole_name

ASSUMED_A4 = 440.0
_MIDDLE = 4  # the octave a note without one is put into until it is found


@dataclass(frozen=True, kw_only=True)
class NoteRow:
    """What one row says, in SI units; None = blank.

    `frequency` [Hz] of a note without its octave lies in the octave of A4 and
    `octave_known` is False. `step` is the smallest step of the reading [cents].
    `diameter` holds each hole's [m].
    """

    row: TableRow
    word: str
    frequency: float
    octave_known: bool
    step: float
    a4: float | None
    register: int
    bore: float | None
    room: float | None
    humidity: float | None
    how: str
    breath: str
    pressure: float | None
    sd: float | None
    session: str
    use: str
    remark: str
    diameter: tuple[float | None, ...]


@dataclass(kw_only=True)
class _Cells:
    """The cells of a row on their way to values; collects the faults."""

    row: TableRow
    holes: int
    faults: list[Fault] = field(default_factory=list)
    read: dict = field(default_factory=dict)

    def text(self, column):
        return self.row.cells.get(column, "")

    def fault(self, column, problem, mend):
        typed = self.text(column) if column else None
        place = place_of(self.row, column)
        self.faults.append(Fault(place=place, typed=typed, problem=problem, mend=mend))

    def value(self, column, default=None):
        if column not in self.read:
            self.read[column] = self._read(column)
        return default if self.read[column] is None else self.read[column]

    def _read(self, column):
        if not self.text(column):
            return None
        try:
            return cell_value(column, self.text(column), self.holes)
        except CellError as error:
            self.fault(column, error.problem, error.mend)
            return None

    def one_of(self, columns: Sequence[str]):
        filled = [column for column in columns if self.text(column)]
        if len(filled) > 1:
            self.fault(filled[1], f"{filled[0]} is filled as well", "Leave one of the two blank")
        values = [self.value(column) for column in filled]
        return values[0] if values else None


def read_row(row: TableRow, flute: Flute) -> tuple[NoteRow | None, list[Fault]]:
    """Read a row; None in its place if anything is wrong with it."""
    cells = _Cells(row=row, holes=len(flute.holes))
    word = _word(cells)
    frequency, octave_known, step = _reading(cells)
    bore, room = cells.one_of(BORE), cells.one_of(ROOM)
    if not any(cells.text(column) for column in (*BORE, *ROOM)) and _has_temperature(row):
        cells.fault(
            "",
            f"no temperature in this row; {A_DEGREE}",
            "Write it in every row (a spreadsheet program fills it down)",
        )
    note = NoteRow(
        row=row,
        word=word,
        frequency=frequency,
        octave_known=octave_known,
        step=step,
        a4=cells.value("a4_hz"),
        register=int(cells.value("register", 0)),
        bore=bore,
        room=room,
        humidity=cells.value("humidity_percent"),
        how=_how(cells),
        breath=cells.value("breath", "usual"),
        pressure=cells.one_of(PRESSURE),
        sd=cells.value("sd_cents"),
        session=cells.value("session", "all"),
        use=cells.value("use", "fit"),
        remark=cells.text("remark"),
        diameter=_diameters(cells, flute, word),
    )
    return None if cells.faults else note, cells.faults


def _how(cells):
    how = cells.value("how", "blown")
    if how == "driven":
        for column in ("breath", *PRESSURE):
            if cells.text(column):
                cells.fault(
                    column,
                    "this note was driven (column how), without breath",
                    "Clear the cell, or write blown in the column how",
                )
    return how


def _has_temperature(row):
    # A table without any such column is one fault of its header, not one in every row.
    return any(column in row.cells for column in (*BORE, *ROOM))


def _word(cells):
    if cells.text("fingering") or not cells.holes:
        return cells.value("fingering", "")
    if "fingering" in cells.row.cells:
        cells.fault(
            "fingering",
            "the cell is blank",
            f"Write {cells.holes} letters, x or o, the first for the hole nearest the window",
        )
    return ""


def _reading(cells):
    """Return (frequency, octave known, step); (None, True, None) with a fault or a column less."""
    nothing = None, True, None
    has_hertz, has_note = cells.text("frequency_hz"), cells.text("note")
    if has_hertz and has_note:
        cells.fault("note", "frequency_hz is filled as well", "Leave one of the two blank")
        return nothing
    if has_note:
        return _note(cells)
    if cells.text("cents") and "note" in cells.row.cells:
        cells.fault(
            "cents", "no note that these cents count from", "Write the note, or clear the cell"
        )
        return nothing
    if has_hertz:
        value = cells.value("frequency_hz")
        if value is None:
            return nothing
        return value, True, float(pitch.cents(value + last_digit(has_hertz), value))
    if {"frequency_hz", "note"} & set(cells.row.cells):
        cells.fault("", "there is no reading", "Write the pitch, or delete the row")
    return nothing


def _note(cells):
    note, cents, a4 = cells.value("note"), cells.value("cents"), cells.value("a4_hz", ASSUMED_A4)
    if not cells.text("cents") and "cents" in cells.row.cells:
        cells.fault("cents", "the cell is blank", "Write what the tuner showed, 0 if spot on")
    if note is None or cents is None:
        return None, True, None
    octave = _MIDDLE if note.octave is None else note.octave
    frequency = float(pitch.shift(pitch.note_frequency(note.semitone, octave, a4), cents))
    low, high = PITCHES
    if not low <= frequency <= high:
        cells.fault(
            "note",
            f"this is {frequency:.6g} Hz, outside {low:g} to {high:g} Hz",
            "Check the octave; A4 is 440 Hz",
        )
    return frequency, note.octave is not None, last_digit(cells.text("cents"))


def _diameters(cells, flute, word):
    sizes = [cells.one_of(hole_columns(n)) for n in range(1, cells.holes + 1)]
    # n wins: what is not drilled has no diameter.
    sizes = [None if letter == "n" else d for letter, d in zip(word, sizes, strict=False)]
    if any(size is not None for size in sizes):
        _check_holes(cells, flute, sizes)
    return tuple(sizes)


def _check_holes(cells, flute, sizes):
    """Report what the row's diameters break that the flute file's do not."""
    columns = [[c for c in hole_columns(n + 1) if cells.text(c)] for n in range(cells.holes)]
    holes = list(flute.holes)
    for index, size in enumerate(sizes):
        if size is not None:
            try:
                holes[index] = replace(holes[index], diameter=size)
            except RecordError as error:
                name = hole_name(index, cells.holes)
                for fault in error.faults:
                    problem = f"{name}: its {fault.place} of {fault.typed} {fault.problem}"
                    cells.fault(columns[index][0], problem, fault.mend)
    names = [hole_name(index, cells.holes) for index in range(cells.holes)]
    for fault in geometry_faults(flute.bore, tuple(holes), flute.head, flute.foot):
        index = names.index(fault.place.partition(", ")[0])
        # an overlap may come from any hole before
        written = next(columns[i][0] for i in range(index, -1, -1) if columns[i])
        size = "" if fault.typed is None else f" ({fault.typed})"
        cells.fault(written, f"{names[index]}{size}: {fault.problem}", fault.mend)
