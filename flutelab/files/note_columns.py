"""The columns of a note table, and what can be wrong with its header."""

from __future__ import annotations

import difflib
import re

from flutelab.errors import Fault
from flutelab.files.csv_text import Record, column_names

BORE = ("bore_temperature_c", "bore_temperature_f")
ROOM = ("room_temperature_c", "room_temperature_f")
PRESSURE = ("breath_pa", "breath_mm_water")
_MOST = 12  # lines that a fault lists
TEXTS = ("session", "remark")
LIKE = 0.7  # share of like letters from which a misspelt column is not missed too (estimate)
A_DEGREE = "1 C is 1 to 2 cents in the room, 3 in the bore"  # by the model, see README.md
COLUMNS = (
    *("fingering", "frequency_hz", "note", "cents", "a4_hz", "register"),
    *(*BORE, *ROOM, "humidity_percent", "how", "breath", *PRESSURE),
    *("sd_cents", "session", "use", "remark"),
)
HOLE_KINDS = ("diameter_mm", "diameter_in", "drill")
_HOLE = re.compile(rf"hole_(\d+)_({'|'.join(HOLE_KINDS)})", re.ASCII)


def hole_columns(number: int) -> tuple[str, ...]:
    """Return the columns that may hold the diameter of a hole, 1 = nearest the window."""
    return tuple(f"hole_{number}_{kind}" for kind in HOLE_KINDS)


def header_faults(header: Record, holes: int) -> list[Fault]:
    """Return what is wrong with the header of a table for a flute of `holes` holes."""
    names = column_names(header)
    known = _known(holes)
    faults = []
    for index, name in enumerate(names):
        place = f"header (line {header.line}), column {index + 1}"
        if name and name in names[:index]:
            faults.append(_duplicate(place, header.cells[index], names.index(name) + 1))
        elif name and name not in known:
            faults.append(_unknown(place, header.cells[index], known, holes))
    unknown = [name for name in names if name and name not in known]
    meant = {near for name in unknown for near in _nearest(name, known, LIKE)}
    return faults + _missing(f"header (line {header.line})", {*names, *meant}, holes)


def _known(holes: int) -> list[str]:
    return [*COLUMNS, *(name for n in range(1, holes + 1) for name in hole_columns(n))]


def not_a_table(records: list[Record], holes: int) -> list[Fault]:
    """Return a fault where the first record names no column: its rows are not read then."""
    header, *below = records
    if set(column_names(header)) & set(_known(holes)):
        return []
    wanted = len(header.cells)
    other = [one for one in below if len(one.cells) != wanted]
    problem = "this is no note table: none of these is the name of a column"
    if other:
        counts = " or ".join(str(n) for n in sorted({len(one.cells) for one in other}))
        lines = ", ".join(str(one.line) for one in other[:_MOST])
        more = ", ..." if len(other) > _MOST else ""
        have = "1 cell" if counts == "1" else f"{counts} cells"
        problem += f" (below it, lines with {have} where it has {wanted}: {lines}{more})"
    return [_no_header(header, problem)]


def _no_header(header: Record, problem: str) -> Fault:
    return Fault(
        place=f"header (line {header.line})",
        typed=", ".join(header.cells)[:60],
        problem=problem,
        mend="Write the names of the columns in the first line, such as "
        "fingering,frequency_hz,room_temperature_c",
    )


def _duplicate(place: str, typed: str, first: int) -> Fault:
    return Fault(
        place=place,
        typed=typed,
        problem=f"column {first} has this name already",
        mend="Rename or delete one of the two",
    )


def _unknown(place: str, typed: str, known: list[str], holes: int) -> Fault:
    name = typed.lower()
    if hole := _HOLE.fullmatch(name):
        return Fault(
            place=place,
            typed=typed,
            problem=f"there is no hole {hole[1]}: the flute file has {holes} holes",
            mend="Count the holes from the window; hole 1 is nearest to it",
        )
    nearest = _nearest(name, known, 0.0)[0]
    if not name.endswith(("_c", "_f")):
        nearest = re.sub("_temperature_[cf]$", "_temperature_c or _f", nearest)
    return Fault(
        place=place,
        typed=typed,
        problem="no such column is known",
        mend=f"The nearest name is {nearest}; rename the column or delete it "
        "(remark takes free words)",
    )


def _nearest(name: str, known: list[str], like: float) -> list[str]:
    """Return the column that a misspelt one is told to be renamed to, if it is so like it."""
    return difflib.get_close_matches(name.lower().replace(" ", "_"), known, 1, like)


def _missing(place: str, names: set[str], holes: int) -> list[Fault]:
    missing = []
    if holes and "fingering" not in names:
        missing.append(
            (
                "the column fingering is missing",
                "Add it, one letter a hole from the window: x closed, o open, n not drilled",
            )
        )
    if not names & {"frequency_hz", "note"}:
        missing.append(
            ("no column holds the pitch", "Add frequency_hz, or note and cents from a tuner")
        )
    if "note" in names and "cents" not in names:
        missing.append(
            (
                "the column cents is missing beside note",
                "Add it with what the tuner shows; write 0 where the note is spot on",
            )
        )
    if "cents" in names and "note" not in names:
        missing.append(
            ("the column note is missing beside cents", "Add the note that the cents count from")
        )
    if not names & {*BORE, *ROOM}:
        missing.append(
            (
                f"no temperature anywhere; {A_DEGREE}",
                "Add room_temperature_c or room_temperature_f (or bore_temperature_c) and fill "
                "it in every row",
            )
        )
    return [Fault(place=place, problem=problem, mend=mend) for problem, mend in missing]
