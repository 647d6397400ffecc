"""One table of a flute file: values read in the shop's units, every fault gathered."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from flutelab.errors import Fault
from flutelab.model.flute import NOT_POSITIVE, RecordError, hole_name, ordinal, station_faults
from flutelab.units import from_degrees, inches, millimetres, parse_length

# Sizes outside these are taken for slips [m]; wide of any duct flute (common practice, no source).
_LIMITS = {
    "diameter": (0.001, 0.03),
    "outer_diameter": (0.005, 0.15),
    "wall": (0.0002, 0.025),
    "along": (0.001, 0.04),
    "across": (0.001, 0.06),
    "plug_to_window": (0.0, 0.2),
    "block_height": (0.0, 0.05),
    "inner_diameter": (0.001, 0.03),
    "outer_rounding": (0.0, 0.01),
    "inner_rounding": (0.0, 0.01),
    "from_edge": (0.001, 3.0),
    "from_foot": (0.001, 3.0),
}
_TABLE_LIMITS = {
    ("bore", "diameter"): (0.005, 0.1),
    ("foot", "from_edge"): (0.03, 3.0),
    ("hole", "along"): (0.0005, 0.06),
    ("hole", "across"): (0.0005, 0.03),
}
_STATION_PLACES = (-0.3, 3.0)
_SPREAD_LIMITS = (0.0, 0.02)
# Keys of the file for fields of a record that are named otherwise.
_FIELD_KEYS = {"ramp": "ramp_degrees", "block": "block_height", "angle": "around_degrees"}
_REPEATED = ("hole", "target")
_SHOWN = 60  # characters of a value quoted in a fault


@dataclass
class Report:
    """What reading one file gathers: the unit of bare numbers, faults, bare numbers without it."""

    unit: str | None = None
    faults: list[Fault] = field(default_factory=list)
    bare: list[str] = field(default_factory=list)

    def add(self, place: str, problem: str, mend: str, value: object = None) -> None:
        """Add one fault; `value` is quoted as typed."""
        typed = None if value is None else _show(value)
        self.faults.append(Fault(place=place, typed=typed, problem=problem, mend=mend))


class Section:
    """One table of the file.

    Parameters
    ----------
    table : mapping
        As read.
    kind : str
        The table's name, such as ``hole``; "" for the top of the file.
    place : str
        What people call it, such as ``hole 1 (nearest the window)``.
    known : mapping of str to tuple of str
        The keys of every kind of table.
    report : Report
        Gathers the faults.
    broken : bool
        It was no table; what it lacks is not reported again.
    """

    def __init__(
        self,
        table: Mapping,
        kind: str,
        place: str,
        known: Mapping[str, tuple[str, ...]],
        report: Report,
        *,
        broken: bool = False,
    ) -> None:
        self.table, self.kind, self.place = table, kind, place
        self.known, self.report, self.broken = known, report, broken
        self.misspelt: set[str] = set()
        for key in table:
            if key not in known[kind]:
                self._unknown(key)

    def __contains__(self, key: str) -> bool:
        return key in self.table

    def at(self, key: str) -> str:
        """Return the place of a key."""
        return f"{self.place}, {key}" if self.place else key

    def fault(self, key: str, problem: str, mend: str) -> None:
        """Report a fault of a key, with its value as typed."""
        value = self.table.get(key)
        self.report.add(self.at(key), problem, mend, None if _is_table(value) else value)

    def missing(self, key: str, mend: str, problem: str = "it is missing") -> None:
        """Report a key that must be there, unless it is there misspelt."""
        if not self.broken and key not in self.misspelt:
            self.report.add(self.at(key), problem, mend)

    def adopt(self, fault: Fault) -> None:
        """Report a record's fault under the key it comes from, with the value as typed."""
        name = fault.place.rpartition(", ")[2]
        from_foot = name == "position" and "from_foot" in self
        key = ("from_foot" if from_foot else "from_edge") if name == "position" else name
        key = _FIELD_KEYS.get(key, key)
        if key in ("diameter", "aspect") and "along" in self:
            key = "across" if key == "diameter" else "along"  # an oval's
        typed = _show(self.table[key]) if key in self else fault.typed
        if from_foot and fault.problem == NOT_POSITIVE:  # of the distance from the other end
            problem = "so far from the foot it lies beyond the other end"
            fault = replace(fault, problem=problem, mend="Measure it again, and the foot")
        self.report.faults.append(replace(fault, place=self.at(key), typed=typed))

    def _unknown(self, key: str) -> None:
        near = difflib.get_close_matches(key.lower(), self.known[self.kind], n=1)
        owners = [kind for kind, keys in self.known.items() if key in keys]
        if owners == [""]:
            mend = "Move it to the top, above every [table]"
        elif owners and not near:
            mend = f"Move it under {' or '.join(_written(kind) for kind in owners)}"
        elif near:
            self.misspelt.add(near[0])
            mend = f"The nearest known key is {near[0]!r}"
        else:
            mend = f"Known here: {', '.join(self.known[self.kind])}"
        self.fault(key, "unknown key", mend)

    # --- tables inside it

    def sub(self, kind: str) -> Section:
        """Return the table ``[kind]``, an empty one where it is missing."""
        value = self.table.get(kind, {})
        broken = kind in self.misspelt
        if not isinstance(value, Mapping):
            broken, mend = True, f"Write [{kind}] on a line of its own, and its values below it"
            self.fault(kind, "this is not one table", mend)
            value = {}
        return Section(value, kind, kind, self.known, self.report, broken=broken)

    def each(self, kind: str) -> list[Section]:
        """Return the tables ``[[kind]]`` in their order."""
        value = self.table.get(kind, [])
        if isinstance(value, Mapping) or not isinstance(value, list):
            self.fault(
                kind,
                f"[{kind}] stands in single brackets" if _is_table(value) else "this is no table",
                f"Write [[{kind}]] with two square brackets, once for each {kind}",
            )
            value = [value]
        return [self._item(kind, index, value) for index in range(len(value))]

    def _item(self, kind: str, index: int, items: list) -> Section:
        name = hole_name(index, len(items)) if kind == "hole" else f"{kind} {index + 1}"
        item, broken = items[index], not isinstance(items[index], Mapping)
        if broken:
            mend = f"Write [[{kind}]] on a line of its own, and its values below it"
            self.report.add(name, "this is not a table", mend, item)
        return Section({} if broken else item, kind, name, self.known, self.report, broken=broken)

    # --- values

    def length(self, key: str, *, default: float | None = None, mend: str = "") -> float | None:
        """Return a length [m], None where it cannot be read.

        A missing key gives the default; with a `mend` and no default it is a fault.
        """
        if key not in self:
            if default is None and mend:
                self.missing(key, mend)
            return default
        usual = _SPREAD_LIMITS if self.kind == "uncertainty" else _LIMITS[key]
        limits = _TABLE_LIMITS.get((self.kind, key), usual)
        return self._length_at(self.at(key), self.table[key], *limits)

    def _length_at(self, place: str, value: object, low: float, high: float) -> float | None:
        """Return a length; sizes of 0 and less are the records' matter."""
        unit = self.report.unit
        if unit is None and _is_bare(value):
            self.report.bare.append(f"{place} = {_show(value)}")
            if low >= 0 and parse_length(value, "mm") < 0:  # so in any unit
                self.report.add(place, NOT_POSITIVE, "Measure it again", value)
            return None
        try:
            size = parse_length(value, unit)
        except ValueError as error:
            self.report.add(place, *said(error, value), None if _is_table(value) else value)
            return None
        if low <= size <= high or size <= 0 <= low:
            return size
        other = _other_reading(value, unit, low, high)
        mend = f"Is it in {other}" if other else "Measure it again, and check its unit"
        found = _plainly(size, unit)
        least, most = (_plainly(x, unit, rough=unit == "in") for x in (low, high))
        problem = f"{found} is no likely size here ({least} to {most} is)"
        self.report.add(place, problem, mend, value)
        return None

    def stations(self, key: str, mend: str) -> tuple[tuple[float, float], ...] | None:
        """Return pairs of place and diameter [m], None where one cannot be read."""
        value = self.table[key]
        if not isinstance(value, list) or not value:
            self.fault(key, "this is not a list of stations", mend)
            return None
        numbered = [(ordinal(number), one) for number, one in enumerate(value, 1)]
        pairs = tuple(self._station(f"{self.at(key)}, {nth}", one, mend) for nth, one in numbered)
        written = {
            f"{nth} {part}": _show(entry)
            for nth, one in numbered
            if isinstance(one, list)
            for part, entry in zip(("place", "diameter"), one, strict=False)
        }
        faults = station_faults(pairs)
        for fault in faults:
            name = fault.place.rpartition(", ")[2]
            place = f"{self.at(key)}, {name}"
            self.report.faults.append(replace(fault, place=place, typed=written[name]))
        read = all(size is not None for pair in pairs for size in pair)
        return pairs if read and not faults else None

    def _station(self, place: str, value: object, mend: str) -> tuple[float | None, float | None]:
        if not isinstance(value, list) or len(value) != 2:
            self.report.add(place, "this is not a pair", mend, value)
            return None, None
        sizes = _TABLE_LIMITS["bore", "diameter"]
        return (
            self._length_at(f"{place} place", value[0], *_STATION_PLACES),
            self._length_at(f"{place} diameter", value[1], *sizes),
        )

    def angle(self, key: str, default: float, low: float, high: float) -> float | None:
        """Return an angle written in degrees [rad], None where it cannot be read."""
        degrees = self._figure(key, low, high) if key in self else default
        return None if degrees is None else from_degrees(degrees)

    def text(self, key: str, default: str = "") -> str:
        """Return a text."""
        value = self.table.get(key, default)
        if isinstance(value, str):
            return value
        self.fault(key, "this is not text", "Put it in quotes")
        return default

    def choice(self, key: str, options: tuple[str, ...], default: str | None) -> str | None:
        """Return one of some words, None where it is none of them."""
        value = self.table.get(key, default)
        if key not in self or (isinstance(value, str) and value in options):
            return value
        near = difflib.get_close_matches(str(value).lower(), options, n=1, cutoff=0.5)
        words = ", ".join(f'"{word}"' for word in options)
        mend = f'Write {key} = "{near[0]}"' if near else f"Use one of {words}"
        self.fault(key, f"{key} must be one of {words}", mend)
        return None

    def number(self, key: str, low: float, high: float) -> float | None:
        """Return a plain number within limits, None where it is missing or at fault."""
        value = self._figure(key, low, high)
        return None if value is None else float(value)

    def _figure(self, key: str, low: float, high: float) -> int | float | Decimal | None:
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
            self.fault(key, "this is not a number", "Write a plain number without quotes")
        elif not low <= value <= high:
            self.fault(key, "it is out of range", f"Write a number from {low:g} to {high:g}")
        else:
            return value
        return None

    def record(self, make: type, **fields: object):
        """Return a record, or None where a field could not be read or is refused."""
        if any(value is None for value in fields.values()):
            return None
        try:
            return make(**fields)
        except RecordError as error:
            for fault in error.faults:
                self.adopt(fault)
        return None


def said(error: ValueError, value: object) -> tuple[str, str]:
    """Part a message "'value' problem; mend" into problem and mend."""
    text = str(error).removeprefix("fingering ").removeprefix("note ")
    for quoted in (repr(value), repr(str(value)), str(value)):
        text = text.removeprefix(f"{quoted} ")
    problem, _, mend = text.partition("; ")
    return f"it {problem}", mend[:1].upper() + mend[1:]


def _show(value: object) -> str:
    if isinstance(value, list):
        text = f"[{', '.join(map(_show, value))}]"
    else:
        text = str(value).lower() if isinstance(value, bool) else str(value)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."


def _plainly(size: float, unit: str | None, *, rough: bool = False) -> str:
    figure = inches(size) if unit == "in" else millimetres(size)
    most = 10 if rough else 1000
    text = f"{figure:.{2 if rough else 3}g}" if abs(figure) < most else f"{figure:.0f}"
    return f"{text} in" if unit == "in" else f"{text} mm"


def _is_table(value: object) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, list) and all(isinstance(item, Mapping) for item in value)
    )


def _written(kind: str) -> str:
    return f"[[{kind}]]" if kind in _REPEATED else f"[{kind}]"


def _reads(value: object, unit: str | None) -> float | None:
    try:
        return parse_length(value, unit)
    except ValueError:
        return None


def _is_bare(value: object) -> bool:
    """Return whether a value lacks nothing but a unit."""
    return _reads(value, None) is None and _reads(value, "in") is not None


def _other_reading(value: object, unit: str | None, low: float, high: float) -> str | None:
    """Return the same figure in the other unit if that gives a likely size."""
    figure = str(value).strip()
    for ending, own in (("mm", "mm"), ("inch", "in"), ("in", "in"), ('"', "in")):
        if figure.lower().endswith(ending):
            figure, unit = figure[: -len(ending)].strip(), own
            break
    other, word = ("in", "inches") if unit == "mm" else ("mm", "millimetres")
    size = _reads(f"{figure} {other}", None)
    return f"{word}? Then write '{figure} {other}'" if size and low <= size <= high else None
