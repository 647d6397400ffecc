"""Flute files and note tables typed on a page: texts and cells, with every fault at its cell."""

from __future__ import annotations

import csv
import io
import re
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from flutelab.errors import DataError, Fault
from flutelab.files.csv_text import decode, delimiter_of, marked, read_records, read_rows
from flutelab.files.flute_file import read_flute
from flutelab.files.note_columns import not_a_table
from flutelab.files.note_table import read_measurements
from flutelab.fitting.measurements import Measurements
from flutelab.model.flute import Flute

_Read = TypeVar("_Read")
_PLACE = re.compile(r"(?:row \d+|header) \(line (\d+)\)(?:, (.+))?")
_NUMBERED = re.compile(r"column (\d+)")
_NO_FILE_NAME = re.compile(r'[<>:"/\\|?*\x00-\x1f]')
_PITCH = ("frequency_hz", "note", "cents", "remark")  # of a reading alone
HEAD = -1  # the row of a fault in the names of the columns


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A note table as it is written: texts in rows under the names of their columns.

    ``raw`` holds the bytes of the file as long as nothing was changed, else it is empty.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    raw: bytes = b""


def sheet_of(raw: bytes, name: str) -> Sheet:
    """Return a note table's cells.

    Parameters
    ----------
    raw : bytes
        A CSV file, as `flutelab.files.note_table.read_measurements` takes it.
    name : str
        Of the file.

    Raises
    ------
    DataError
        It is no CSV in UTF-8, is empty, or has rows with more or fewer cells than the header.
    """
    text = decode(raw, name)
    records = read_records(text, name)
    if not records:
        mend = "Write the names of the columns in the first line and one note in each line below"
        raise DataError(name, [Fault(place="file", problem="it is empty", mend=mend)])
    rows, faults = read_rows(records, delimiter_of(text))
    if len(rows) + 1 < len(records):
        raise DataError(name, not_a_table(records, 0) or faults)
    cells = tuple(tuple(" ".join(c.split()) for c in record.cells) for record in records)
    return Sheet(name=name, columns=cells[0], rows=cells[1:], raw=raw)


def changed(sheet: Sheet, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> Sheet:
    """Return a sheet with other cells; the same one if they are the same.

    Examples
    --------
    >>> sheet = sheet_of(b"note,cents", "a.csv")
    >>> changed(sheet, ["note"], [["A4"]])
    Sheet(name='a.csv', columns=('note',), rows=(('A4',),), raw=b'')
    """
    columns, rows = tuple(columns), tuple(tuple(row) for row in rows)
    if (columns, rows) == (sheet.columns, sheet.rows):
        return sheet
    return Sheet(name=sheet.name, columns=columns, rows=rows)


def next_row(sheet: Sheet, row: int) -> Sheet:
    """Return a sheet with one more row: like a row, below it, without that one's reading."""
    like = sheet.rows[row] if sheet.rows else ("",) * len(sheet.columns)
    pairs = zip(sheet.columns, like, strict=True)
    more = tuple("" if name.lower() in _PITCH else cell for name, cell in pairs)
    at = row + 1 if sheet.rows else 0
    return changed(sheet, sheet.columns, [*sheet.rows[:at], more, *sheet.rows[at:]])


def sheet_bytes(sheet: Sheet) -> bytes:
    """Return a sheet as the bytes of a CSV file; of an unchanged one they are the file's own."""
    if sheet.raw:
        return sheet.raw
    stream = io.StringIO()
    lines = ([*map(marked, cells)] for cells in (sheet.columns, *sheet.rows))
    csv.writer(stream, lineterminator="\n").writerows(lines)
    return stream.getvalue().encode()


def cell_faults(sheet: Sheet, faults: Sequence[Fault]) -> dict[tuple[int, int], str]:
    """Return where faults of a sheet's reading stand: (row, column) from 0, to words.

    Those of the columns' names have the row `HEAD`; those of a whole row stand in its first
    cell, those of the whole table nowhere.
    """
    lines = {line: row for row, line in enumerate(_lines(sheet))}
    names = [name.lower() for name in sheet.columns]
    found: dict[tuple[int, int], str] = {}
    for fault in faults:
        place = _PLACE.fullmatch(fault.place)
        if place is None or int(place[1]) not in lines:
            continue
        row, where = lines[int(place[1])] - 1, place[2] or ""
        if row == HEAD and not where:
            continue
        numbered = _NUMBERED.fullmatch(where)
        column = int(numbered[1]) - 1 if numbered else names.index(where) if where in names else 0
        words = f"{fault.problem}. {fault.mend}."
        found[row, column] = " ".join(filter(None, [found.get((row, column)), words]))
    return found


def _lines(sheet):
    """The line of the header and of each row in the file."""
    if sheet.raw:
        return [record.line for record in read_records(decode(sheet.raw, sheet.name), sheet.name)]
    return range(1, len(sheet.rows) + 2)


def read_sheet(sheet: Sheet, flute: Flute) -> Measurements:
    """Read a sheet's notes.

    Raises
    ------
    DataError
        As `flutelab.files.note_table.read_measurements`, under the sheet's name.
    """
    return read_as(sheet.name, sheet_bytes(sheet), lambda path: read_measurements(path, flute))


def read_flute_text(text: str, name: str) -> Flute:
    """Read a flute file's text.

    Raises
    ------
    DataError
        As `flutelab.files.flute_file.read_flute`, under the name.
    """
    return replace(read_as(name, text.encode(), read_flute), source=name)


def read_as(name: str, content: bytes, read: Callable[[Path], _Read]) -> _Read:
    """Read bytes by a function that takes a file's path.

    Raises
    ------
    DataError
        What `read` finds, told under the name.
    """
    try:
        with _as_file(name, content) as path:
            return read(path)
    except DataError as error:
        raise DataError(name, error.faults) from None


@contextmanager
def _as_file(name: str, content: bytes) -> Iterator[Path]:
    """A file for as long as it is read: files are what the readers take."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / _NO_FILE_NAME.sub("_", Path(name).name or "typed")
        path.write_bytes(content)
        yield path
