"""What is wrong with a class's table, in words, and what is no fault but should be known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flutelab.files.class_table import NAMES, READINGS, ClassTable
from flutelab.pitch import cents

_TOO_WIDE = 50.0  # cents between readings of one pipe: more than scatter


def few_readings(table: ClassTable) -> str:
    """Return which rows count with fewer readings than there is room for; "" where none does."""
    read = np.sum(~np.isnan(table.frequency), axis=1)
    missing = {at for at, words in table.faults.items() if words.endswith("is missing")}
    parts = []
    for count in range(1, READINGS):
        rows = [
            row
            for row, here in zip(table.row, read, strict=True)
            if here == count and any(at == row for at, _ in missing)
        ]
        if rows:
            verb, each = ("have", " each") if rows[1:] else ("has", "")
            readings = "one reading" if count == 1 else f"{count} readings"
            parts.append(f"{row_names(rows)} {verb} {readings}{each}")
    said = "; ".join(parts)
    return f"{said[0].upper()}{said[1:]}; {READINGS} tell their scatter." if said else ""


def table_faults(table: ClassTable) -> str:
    """Return what is wrong with the table's cells, a line each; "" where nothing is."""
    lines = list(_wrong_cells(table))
    lines += _missing_cells(table)
    for pipe, readings in enumerate(table.frequency):
        apart = cents(np.nanmax(readings), np.nanmin(readings))
        if apart > _TOO_WIDE:
            lines.append(
                f"Row {table.row[pipe] + 1}: its readings are {apart:.0f} cents apart, more than "
                "scatter: read again. Until then their mean counts."
            )
    return "\n".join(lines)


def _wrong_cells(table):
    """A line for each cell that cannot be used, or for a row's whose words are the same."""
    cells: dict[tuple[int, str], list[str]] = {}
    for (row, column), words in sorted(table.faults.items()):
        if not words.endswith("is missing"):
            cells.setdefault((row, words), []).append(NAMES[column].partition(",")[0].lower())
    for (row, words), names in cells.items():
        yield f"Row {row + 1}: {words}." if names[1:] else f"Row {row + 1}, {names[0]}: {words}."


def _missing_cells(table):
    """A line for each row that waits; fewer readings than there is room for are no fault."""
    missing = {row for (row, _), words in table.faults.items() if words.endswith("is missing")}
    rows = sorted(missing - set(table.row))
    for row in rows:
        missing = [
            NAMES[column].partition(",")[0].lower()
            for (at, column), words in sorted(table.faults.items())
            if at == row and words.endswith("is missing")
        ]
        yield f"Row {row + 1}: {' and '.join(missing)} missing; the row waits for it."


def row_names(rows: Sequence[int]) -> str:
    """Name rows, counted from 0, as people count them.

    Examples
    --------
    >>> row_names([0, 1, 2, 4])
    'rows 1 to 3 and 5'
    """
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    parts = []
    for run in runs:
        numbers = [str(row + 1) for row in run]
        parts += numbers if len(run) < 3 else [f"{numbers[0]} to {numbers[-1]}"]
    *first, last = parts
    words = f"{', '.join(first)} and {last}" if first else last
    return f"row{'s' * (len(rows) > 1)} {words}"
