"""CSV text as spreadsheet programs write it: from a file's bytes to rows of named cells."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass

from flutelab.errors import DataError, Fault

_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
_DECLARED = re.compile(r'"?sep=(.)"?', re.IGNORECASE)  # a first line that spreadsheets write
# What spreadsheet programs take for a formula, but not a sign alone, nor a signed number with
# words behind it ("-31", "+2.3 mm"); marked by an apostrophe as they themselves mark text:
# behaviour of spreadsheet programs, common practice, no source.
_FORMULA = re.compile(r"'*\s*(?:[=@]|[+\-](?!\s?[\d.,]+(?:\s[\w\s.,%°]*)?\Z|\Z))")
_MARK = "'"
_SHOWN = 60  # characters of a line quoted in a fault


@dataclass(frozen=True, kw_only=True)
class Record:
    """One line's cells, blanks around them removed; a quoted cell may span lines."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class TableRow:
    """A row under the header: its number from 1, its line in the file, cells by column."""

    number: int
    line: int
    cells: dict[str, str]


def place_of(row: TableRow, column: str = "") -> str:
    """Return where a cell stands, as "row 3 (line 4), frequency_hz"."""
    place = f"row {row.number} (line {row.line})"
    return f"{place}, {column}" if column else place


def decode(raw: bytes, source: str) -> str:
    """Return UTF-8 text without its byte order mark.

    Raises
    ------
    DataError
        Another encoding, a spreadsheet's own format, or no text at all.
    """
    if raw[:4] == b"PK\x03\x04" or raw[:4] == b"\xd0\xcf\x11\xe0":
        problem = "this is a spreadsheet program's own file, not CSV"
    elif raw[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\x00" in raw:
        problem = "the text is UTF-16 or not text at all, not UTF-8"
    else:
        try:
            return raw.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise DataError(source, [_encoding_fault(raw, error.start)]) from error
    mend = "Save it again from the spreadsheet program as CSV in UTF-8"
    raise DataError(source, [Fault(place="file", problem=problem, mend=mend)])


def _encoding_fault(raw: bytes, at: int) -> Fault:
    number = len((raw[:at] + b"-").splitlines())
    return Fault(
        place=f"line {number}",
        typed=raw.splitlines()[number - 1].decode("latin-1").strip()[:_SHOWN],
        problem="a letter here is not UTF-8 (the file was saved in an older encoding)",
        mend="Save it again as CSV in UTF-8",
    )


def delimiter_of(text: str) -> str:
    """Return comma, semicolon or tab: whichever parts the first filled line most often."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    return max(_DELIMITERS, key=first.count)


def read_records(text: str, source: str) -> list[Record]:
    """Part text into records; lines of blanks alone are left out.

    Raises
    ------
    DataError
        Quotes that do not close.
    """
    delimiter = delimiter_of(text)
    stream = io.StringIO(text, newline="")
    lines = csv.reader(stream, delimiter=delimiter, skipinitialspace=True, strict=True)
    records, line = [], 1
    try:
        for cells in lines:
            cells = tuple(_unmarked(cell.strip()) for cell in cells)
            if any(cells) and not (line == 1 and _DECLARED.fullmatch(delimiter.join(cells))):
                records.append(Record(line=line, cells=cells))
            line = lines.line_num + 1
    except csv.Error as error:
        fault = Fault(
            place=f"line {line}",
            typed=_line(text, line)[:_SHOWN],
            problem=f"the cells of this line cannot be told apart ({error})",
            mend='Close every double quote; write an inch mark inside quotes twice ("") or as in',
        )
        raise DataError(source, [fault]) from error
    return records


def marked(cell: str) -> str:
    """Return a cell as it is written: text that a spreadsheet would take for a formula, marked.

    `read_records` takes the mark away again.

    Examples
    --------
    >>> marked("=1+1"), marked("-31"), marked("Ann")
    ("'=1+1", '-31', 'Ann')
    """
    return f"{_MARK}{cell}" if _FORMULA.match(cell.lstrip()) else cell


def _unmarked(cell: str) -> str:
    return cell.removeprefix(_MARK).lstrip() if _FORMULA.match(cell) else cell


def _line(text: str, number: int) -> str:
    lines = io.StringIO(text, newline="").readlines()
    return lines[number - 1].strip() if number <= len(lines) else ""


def column_names(header: Record) -> tuple[str, ...]:
    """Return the header's names in small letters."""
    return tuple(name.lower() for name in header.cells)


def read_rows(records: list[Record], delimiter: str) -> tuple[list[TableRow], list[Fault]]:
    """Return the rows under the header, the first record, and what is wrong with their shape."""
    names = column_names(records[0])
    rows, faults = [], []
    for number, record in enumerate(records[1:], 1):
        row = TableRow(
            number=number, line=record.line, cells=dict(zip(names, record.cells, strict=False))
        )
        if len(record.cells) != len(names):
            faults.append(_ragged(row, record, len(names), delimiter))
        else:
            rows.append(row)
            faults += _nameless(row, record, names)
    return rows, faults


def _ragged(row: TableRow, record: Record, wanted: int, delimiter: str) -> Fault:
    name = _DELIMITERS[delimiter]
    if len(record.cells) < wanted:
        mend = f"Write every {name}, also beside a blank cell"
    elif delimiter == ",":
        mend = (
            "If a comma is your decimal mark, part the cells by semicolons; put a text with "
            "commas between double quotes"
        )
    else:
        mend = f"Take out a {name}, or put a text that holds one between double quotes"
    return Fault(
        place=place_of(row),
        typed=delimiter.join(record.cells)[:_SHOWN],
        problem=f"it has {len(record.cells)} cells where the header has {wanted}",
        mend=mend,
    )


def _nameless(row: TableRow, record: Record, names: tuple[str, ...]) -> list[Fault]:
    return [
        Fault(
            place=place_of(row, f"column {index}"),
            typed=cell,
            problem="the header has no name for this column",
            mend="Name the column in the header, or clear the cell",
        )
        for index, (name, cell) in enumerate(zip(names, record.cells, strict=True), 1)
        if cell and not name
    ]
