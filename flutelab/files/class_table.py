"""A class's table of plain pipes: cells as typed, what they say, and the files to keep them in."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from flutelab import pitch
from flutelab.errors import DataError, Fault
from flutelab.files.csv_text import (
    column_names,
    decode,
    delimiter_of,
    marked,
    read_records,
    read_rows,
)
from flutelab.files.flute_text import flute_text
from flutelab.files.note_cells import PITCHES
from flutelab.files.safely import read_bytes
from flutelab.files.zipped import zip_bytes
from flutelab.fitting.pipe_lengths import HELD
from flutelab.model.flute import Bore, End, Flute
from flutelab.units import celsius, parse_length, parse_number, parse_temperature

READINGS = 3
COLUMNS = ("group", "length_mm", "room_temperature_c", "reading_1_hz", "reading_2_hz",
           "reading_3_hz")  # fmt: skip
SHARED = ("pipe", "bore_mm", "wall_mm")  # the same in every row
NAMES = ("Group", "Length, mm", "Room, °C", "Reading 1, Hz", "Reading 2, Hz", "Reading 3, Hz")
MOST = 20  # groups
# What a class can mean; beyond it a cell is a slip (common practice, no source).
LENGTHS = (0.04, 3.0)  # m
ROOMS = (0.0, 45.0)  # C
_APART = 300.0  # cents between readings of one pipe: one of them is of another note
_OCTAVE = 60.0  # cents within which two readings are an octave apart
_NOTE = re.compile(r"(?P<note>[A-Ga-g][^\d\s]*\s?\d)\s*(?P<cents>[+\-\u2212]?\s?\d+(?:[.,]\d+)?)?"
                   r"\s*(?:c|ct|cents?)?")  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class ClassTable:
    """What G sound rows of a class's table say, and what is wrong with the others.

    ``row`` (G,) their places in the table, from 0; ``group`` (G,) their names; ``length`` (G,)
    [m]; ``temperature`` (G,) [K]; ``frequency`` (G, 3) [Hz], nan where a reading is missing;
    ``faults`` words by (row, column), from 0, of every cell that cannot be used.
    """

    row: tuple[int, ...]
    group: tuple[str, ...]
    length: np.ndarray
    temperature: np.ndarray
    frequency: np.ndarray
    faults: dict[tuple[int, int], str]


def read_class_table(rows: Sequence[Sequence[str]]) -> ClassTable:
    """Read a class's table as it was typed.

    Parameters
    ----------
    rows : sequence of (group, length, room temperature, reading, reading, reading)
        Texts. A bare length is in mm, a bare temperature in C, a bare reading in Hz; each may
        carry its own unit ("30 cm", "11 3/4 in", "68 F", "C#5 -22"). Rows without length,
        temperature and readings are passed over.

    Returns
    -------
    ClassTable
        A row counts once its length, its temperature and one reading are sound. A reading more
    than 300 cents from both others is left out; where none can be told from the others, as
    of two that are so far apart, all are (common practice, no source).

    Examples
    --------
    >>> told = read_class_table([["1", "30 cm", "21,5", "548,1", "", "5x1"]])
    >>> told.length, float(told.frequency[0, 0]), sorted(told.faults)
    (array([0.3]), 548.1, [(0, 4), (0, 5)])
    """
    sound, faults = [], {}
    for number, cells in enumerate(rows):
        if not any(cell.strip() for cell in cells[1:]):
            continue
        name = cells[0].strip() or f"row {number + 1}"
        read, found = _read_row(cells)
        faults |= {(number, column): words for column, words in found.items()}
        length, temperature, *readings = read
        if not np.isnan([length, temperature]).any() and not np.isnan(readings).all():
            sound.append((number, name, length, temperature, readings))
    parts = list(zip(*sound, strict=True)) or [()] * 5
    return ClassTable(
        row=tuple(parts[0]),
        group=tuple(parts[1]),
        length=np.array(parts[2], dtype=float),
        temperature=np.array(parts[3], dtype=float),
        frequency=np.array(parts[4], dtype=float).reshape(-1, READINGS),
        faults=faults,
    )


def _read_row(cells):
    """Numbers of a row's cells, nan where there is none, and the words of what is wrong."""
    values, faults = [], {}
    for column, (cell, read) in enumerate(zip(cells[1:], _READ, strict=True), 1):
        text = cell.strip()
        try:
            values.append(read(text) if text else np.nan)
            if not text:
                faults[column] = f"{NAMES[column].partition(',')[0].lower()} is missing"
        except ValueError as error:
            values.append(np.nan)
            faults[column] = str(error)
    first = len(values) - READINGS
    for place, words in _other_notes(values[first:], cells[1 + first :]).items():
        values[first + place] = np.nan
        faults[1 + first + place] = words
    return values, faults


def _other_notes(readings, cells):
    """Why readings of one pipe cannot count beside the others, by their place."""
    level = pitch.cents(np.array(readings), 1.0)
    there = np.flatnonzero(~np.isnan(level))
    if len(there) < 2 or np.ptp(level[there]) <= _APART:
        return {}
    for place in there:
        others = level[there[there != place]]
        if len(others) > 1 and np.ptp(others) <= _APART < np.min(np.abs(level[place] - others)):
            off = _interval(level[place] - np.mean(others))
            return {int(place): f"{cells[place].strip()!r} is {off} the row's other readings, "
                                "another note; it is left out until it is mended"}  # fmt: skip
    words = (
        f"readings are up to {np.ptp(level[there]):.0f} cents apart, and nothing tells which is "
        "of another note; the row is left out until one is mended"
    )
    return dict.fromkeys(map(int, there), words)


def _interval(cents):
    side = "above" if cents > 0 else "below"
    octave = abs(abs(cents) - 1200) < _OCTAVE
    return f"an octave {side}" if octave else f"{abs(cents):.0f} cents {side}"


def read_pipe_length(text: str) -> float:
    """Read a pipe's length [m]; a bare number is in mm.

    Raises
    ------
    ValueError
        Not a length, or none that a pipe here has.

    Examples
    --------
    >>> read_pipe_length("30 cm")
    0.3
    """
    length = parse_length(text, "mm")
    low, high = LENGTHS
    if not low <= length <= high:
        mend = "write the unit, as in 30 cm or 12 in" if length < low else "bare numbers are mm"
        msg = f"{text!r} is {length * 1000:.4g} mm; a pipe here has 40 mm to 3 m: {mend}"
        raise ValueError(msg)
    return length


def read_room(text: str) -> float:
    """Read a room's temperature [K]; a bare number is in C.

    Raises
    ------
    ValueError
        Not a temperature, or none of a room.
    """
    bare = re.fullmatch(r"[\d.,+\-\u2212\s]+", text)
    kelvin = celsius(parse_number(text)) if bare else parse_temperature(text)
    low, high = (celsius(limit) for limit in ROOMS)
    if not low <= kelvin <= high:
        mend = _room_mend(text.strip()) if bare else "read it again"
        msg = f"{text!r} is no room's temperature ({ROOMS[0]:g} to {ROOMS[1]:g} °C): {mend}"
        raise ValueError(msg)
    return kelvin


def _room_mend(text):
    """What a bare number that is no room's temperature may be."""
    low, high = (celsius(limit) for limit in ROOMS)
    if low <= parse_temperature(f"{text}F") <= high:
        return f"if it is Fahrenheit write {text}F"
    frequency = PITCHES[0] <= parse_number(text) <= PITCHES[1]
    return "it looks like a reading in Hz" if frequency else "read it again"


def read_pitch(text: str) -> float:
    """Read what a tuner shows [Hz]: hertz, or a note with its octave and cents.

    Raises
    ------
    ValueError
        Neither, or not a pitch that a pipe here has.

    Examples
    --------
    >>> read_pitch("587,3 Hz"), round(read_pitch("A4 +50"), 2)
    (587.3, 452.89)
    """
    match = _NOTE.fullmatch(text.strip())
    if match:
        semitone, octave = pitch.parse_note(match["note"])
        cents = parse_number((match["cents"] or "0").replace(" ", ""))
        hertz = float(pitch.shift(pitch.note_frequency(semitone, octave), cents))
    else:
        number = re.sub(r"\s*hz$", "", text.strip(), flags=re.IGNORECASE)
        try:
            hertz = parse_number(number)
        except ValueError:
            msg = f"{text!r} is not a reading; write hertz, 587.3, or note and cents, D5 -8"
            raise ValueError(msg) from None
    low, high = PITCHES
    if not low <= hertz <= high:
        msg = f"{text!r} is {hertz:.6g} Hz; a reading here has {low:g} to {high:g} Hz"
        raise ValueError(msg)
    return hertz


_READ = (read_pipe_length, read_room, *[read_pitch] * READINGS)

# --- files ------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class ClassFile:
    """A class's table as it was typed: ``rows`` of texts, and what all its pipes share.

    ``kind`` is ``open``, ``stopped`` or "" where it is not said; ``bore`` and ``wall`` are texts.
    """

    rows: tuple[tuple[str, ...], ...]
    kind: str = ""
    bore: str = ""
    wall: str = ""


def class_file_bytes(table: ClassFile) -> bytes:
    """Return a class's table, as typed, as a CSV file; blank rows are left out."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow((*COLUMNS, *SHARED))
    shared = (table.kind, table.bore, table.wall)
    filled = [(*row, *shared) for row in table.rows if any(c.strip() for c in row[1:])]
    writer.writerows(map(marked, row) for row in filled)
    return text.getvalue().encode("utf-8")


def class_file(content: bytes, source: str) -> ClassFile:
    """Return a class's table from the bytes of a CSV file.

    Raises
    ------
    DataError
        No CSV text, another header, rows of another shape or too many, pipes of two kinds. What
        the cells hold is not looked at: see `read_class_table`.

    Notes
    -----
    Columns `COLUMNS`, then those of `SHARED` that are there. Lines that begin with # before the
    header are passed over.
    """
    text = re.sub(r"\A(?:#.*\r?\n)+", "", decode(content, source))
    records = read_records(text, source)
    names = column_names(records[0]) if records else ()
    if names[: len(COLUMNS)] != COLUMNS or set(names[len(COLUMNS) :]) - set(SHARED):
        found = ", ".join(names)[:60]
        mend = f"Write {','.join(COLUMNS)} in the first line"
        problem = "this is not the header of a class's table"
        raise DataError(source, [Fault(place="header", typed=found, problem=problem, mend=mend)])
    rows, faults = read_rows(records, delimiter_of(text))
    if len(rows) > MOST:
        problem, mend = f"it has {len(rows)} rows", f"Give {MOST} groups at most"
        faults.append(Fault(place="file", problem=problem, mend=mend))
    shared = {name: _shared(rows, name, faults) for name in SHARED}
    if faults:
        raise DataError(source, faults)
    return ClassFile(
        rows=tuple(tuple(row.cells[name] for name in COLUMNS) for row in rows),
        kind=shared["pipe"],
        bore=shared["bore_mm"],
        wall=shared["wall_mm"],
    )


def _shared(rows, name, faults):
    """The one text that a column holds, "" if none."""
    found = list(dict.fromkeys(row.cells[name] for row in rows if row.cells.get(name)))
    mend = "Give pipes that differ in this a table of their own"
    if len(found) > 1:
        problem = "the pipes of a class are alike in this"
        faults.append(Fault(place=name, typed=", ".join(found)[:60], problem=problem, mend=mend))
    elif name == "pipe" and found and found[0] not in HELD:
        problem = "this is no kind of pipe"
        faults.append(
            Fault(place=name, typed=found[0], problem=problem, mend="Write open or stopped")
        )
    return found[0] if found else ""


def read_class_file(path: str | Path) -> ClassFile:
    """Return a class's table from a file; see `class_file`."""
    return class_file(read_bytes(path), Path(path).name)


def pipe_files(
    table: ClassTable, *, kind: str, how: str, bore: float, wall: float
) -> dict[str, bytes]:
    """Return a flute file and a note table for each pipe of a class, by name.

    Parameters
    ----------
    table : ClassTable
    kind : {'open', 'stopped'}
    how : {'driven', 'blown'}
    bore, wall : float
        [m]

    Notes
    -----
    Each pair is what ``flutelab calibrate PIPE.toml PIPE.csv ...`` reads: a flute file holds
    one length, so every pipe needs its own.
    """
    files = {}
    for number in range(len(table.row)):
        name = f"pipe-{number + 1}-{table.length[number] * 1000:.0f}-mm"
        files[f"{name}.toml"] = flute_text(_pipe(table, number, kind, bore, wall)).encode()
        files[f"{name}.csv"] = _note_text(table, number, how)
    return files


def pipes_zip(table: ClassTable, **pipes: object) -> bytes:
    """Return `pipe_files` as a zip file."""
    return zip_bytes(pipe_files(table, **pipes))


def _pipe(table, number, kind, bore, wall):
    outer = bore + 2 * wall
    foot = {"kind": "stopped"} if kind == "stopped" else {"outer_diameter": outer}
    return Flute(
        name=f"Plain pipe of {table.group[number]}, {table.length[number] * 1000:.4g} mm, {kind}",
        bore=Bore(stations=((0.0, bore),)),
        holes=(),
        head=End(position=0.0, outer_diameter=outer),
        foot=End(position=float(table.length[number]), **foot),
    )


def _note_text(table, number, how):
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(("fingering", "frequency_hz", "room_temperature_c", "how", "session", "remark"))
    room = f"{table.temperature[number] - celsius(0):.6g}"
    remark = f"plain pipe of {table.length[number] * 1000:.6g} mm"
    for reading in table.frequency[number]:
        if not np.isnan(reading):
            group = marked(table.group[number])
            writer.writerow(("", f"{reading:.7g}", room, how, group, remark))
    return text.getvalue().encode("utf-8")
