"""Published values beside what the library gives: the rows of published/*.csv."""

import csv
from pathlib import Path

FOLDER = Path(__file__).parent.parent / "published"


def published(name, *quantities):
    """Return the rows of a table as dicts, numbers read where a cell is one."""
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        lines = (line for line in file if not line.startswith("#"))
        rows = [{key: _cell(cell) for key, cell in row.items()} for row in csv.DictReader(lines)]
    known = {row["quantity"] for row in rows}
    assert set(quantities) <= known, f"{name}.csv has no {set(quantities) - known}"
    return [row for row in rows if not quantities or row["quantity"] in quantities]


def tolerance(row):
    """Half a unit of the last printed digit, unless the row states another."""
    stated = row.get("tolerance", "")
    return 0.5001 * 10.0 ** -row["decimals"] if stated == "" else stated


def name_of(row):
    """Name a test after its row."""
    return " ".join(
        f"{key}={cell}" if key != "quantity" else str(cell)
        for key, cell in row.items()
        if key not in ("value", "decimals", "unit", "tolerance", "source", "locator") and cell != ""
    )


def check(row, computed):
    """Fail, naming row and source, where a computed value is not the published one."""
    off = abs(computed - row["value"])
    assert off <= tolerance(row), (
        f"{name_of(row)}: {computed:.9g} {row['unit']} is not {row['value']} "
        f"+- {tolerance(row):.3g} of {row['source']}, {row['locator']}"
    )


def _cell(text):
    try:
        return int(text)
    except ValueError:
        pass
    try:
        return float(text)
    except ValueError:
        return text
