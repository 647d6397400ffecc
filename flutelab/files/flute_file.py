"""The flute file: TOML in the shop's units, read to a `Flute`; written by `flute_text`.

Every fault of a file is told at once, with its place, the value as typed and the mend.
"""

from __future__ import annotations

from hashlib import sha256
from itertools import pairwise
from pathlib import Path

import numpy as np

from flutelab.errors import DataError, Fault
from flutelab.files.flute_text import FOOT_KINDS
from flutelab.files.safely import read_bytes, read_text
from flutelab.files.stated_errors import SPREADS, read_uncertainty
from flutelab.files.toml_help import parse_toml
from flutelab.files.toml_section import Report, Section, said
from flutelab.model.flute import (
    Bore,
    End,
    Flute,
    Hole,
    Target,
    Window,
    bore_diameter,
    geometry_faults,
)
from flutelab.model.rows import fingering_word
from flutelab.pitch import note_frequency, parse_note

_HEAD_KINDS = ("window", "open", "flanged", "stopped", "node")
_KEYS = {
    "": ("name", "unit", "bore", "head", "window", "foot", "hole", "uncertainty", "target"),
    "bore": ("diameter", "stations", "wall"),
    "head": ("kind", "outer_diameter"),
    "window": (
        "along", "across", "plug_to_window", "wall", "ramp_degrees", "block_height",
    ),
    "foot": ("from_edge", "outer_diameter", "kind"),
    "hole": (
        "from_edge", "from_foot", "diameter", "along", "across", "inner_diameter",
        "outer_rounding", "inner_rounding", "around_degrees", "wall", "label",
    ),
    "uncertainty": SPREADS,
    "target": ("fingering", "note", "frequency_hz", "a4_hz", "label"),
}  # fmt: skip
_MEASURE_BORE = (
    "Measure the inside with calipers, in two directions (nominal half-inch pipe measures "
    "about 0.600 to 0.622 in)"
)
_STATION_MEND = "Write [[place, diameter], ...], places from the sounding edge, with decimal points"
_MEASURE_WALL = "Measure the pipe's wall with calipers"
_MEASURE_LENGTH = "Measure the sound chamber from the sounding edge, or the head's end, to the foot"
_MEASURE_PLACE = "Measure the hole's centre: from_edge, or from_foot in every hole"
# Stand in for what is at fault, so that the rest of the file is still checked.
_UNREAD_WALL = 0.002
_UNREAD_DIAMETER = 0.001
_OTHER_UNIT = {"mm": "in", "in": "mm"}
_FEW_HOLES = 2  # in whose order one fault tells all


def read_flute(path: str | Path) -> Flute:
    """Read a flute file.

    Parameters
    ----------
    path : str or Path
        TOML, UTF-8.

    Returns
    -------
    Flute
        SI; positions from the sounding edge, or from the end of a plain head. A wall
        that the file leaves out is the bore's; an open end without an outer diameter
        has the bore's at that end plus two walls. Bore and length have no default.
        ``stations`` always run from the sounding edge, also where holes run from the foot.
        ``around_degrees`` counts from the line through the window (180 is a thumb hole),
        positive to the right when looking from the window to the foot, window on top.

    Raises
    ------
    DataError
        The file cannot be read, is not TOML, or does not describe a flute; with
        every fault found.
    """
    source = str(path)
    table = parse_toml(read_text(path), source)
    fields, faults = _read(table, Path(path).stem)
    other = _OTHER_UNIT.get(str(table.get("unit")))
    if len(faults) > 1 and other and not _read({**table, "unit": other}, "")[1]:
        faults = [_other_unit(table["unit"], other, len(faults))]
    if faults:
        raise DataError(source, faults)
    return Flute(source=source, fingerprint=sha256(read_bytes(path)).hexdigest(), **fields)


def _read(table: dict, stem: str) -> tuple[dict, list[Fault]]:
    """Return the fields of a Flute, and every fault."""
    report = Report()
    top = Section(table, "", "", _KEYS, report)
    report.unit = top.choice("unit", ("mm", "in"), None)
    parts = _read_parts(top)
    name = top.text("name", stem)
    if report.bare and "unit" not in top:
        found = ", ".join(report.bare[:3]) + (", ..." if len(report.bare) > 3 else "")
        mend = 'Write unit = "mm" or unit = "in" at the top, or a unit with each value'
        top.missing("unit", mend, f"it is missing, but bare numbers appear ({found})")
    return {"name": name, "unit": report.unit or "mm", **parts}, report.faults


def _other_unit(unit: str, other: str, faults: int) -> Fault:
    """The one fault of a file whose numbers are all likely in the other unit only."""
    words = {"mm": "millimetres", "in": "inches"}
    return Fault(
        place="unit",
        typed=unit,
        problem=f"in {words[unit]} the sizes give {faults} faults, in {words[other]} none",
        mend=f'Write unit = "{other}", if the numbers are {words[other]}',
    )


def _read_parts(top: Section) -> dict:
    """Return the fields of a Flute; None where a part is at fault."""
    bore, wall = _read_bore(top.sub("bore"), _lacks_wall(top.table))
    head, head_section = _read_head(top, bore, wall)
    foot_section = top.sub("foot")
    foot = _read_foot(foot_section, bore, wall)
    sections = top.each("hole")
    _check_one_end(sections)
    holes = tuple(_read_hole(section, foot, wall) for section in sections)
    holes, order = _in_order(holes, sections)
    places = {part.place: part for part in (head_section, foot_section)}
    places |= {part.place: own for part, own in zip(sections, order, strict=True)}
    for fault in geometry_faults(bore, holes, head, foot):
        places[fault.place.rpartition(", ")[0]].adopt(fault)
    known = [hole for hole in holes if hole is not None and hole.diameter != _UNREAD_DIAMETER]
    walls = _walls(top, wall, known, head)
    spreads = read_uncertainty(top.sub("uncertainty"), bore, known, head, foot, walls)
    return {
        "bore": bore,
        "holes": holes,
        "head": head,
        "foot": foot,
        "uncertainty": spreads,
        "targets": tuple(_read_target(section, len(holes)) for section in top.each("target")),
    }


def _in_order(
    holes: tuple[Hole | None, ...], sections: list[Section]
) -> tuple[tuple[Hole | None, ...], list[Section]]:
    """Return holes and their sections from the window; report once that all run from the foot."""
    places = [hole.position for hole in holes if hole is not None]
    known = len(places) == len(holes) > _FEW_HOLES
    if not known or any(a <= b for a, b in pairwise(places)):
        return holes, sections
    sections[0].report.add(
        "holes",
        "they stand in the wrong order, written from the foot",
        "List the hole nearest the window first, and turn the order about",
    )
    return holes[::-1], sections[::-1]


def _walls(top: Section, wall: float, holes: list[Hole], head: Window | End | None) -> list[float]:
    """Return the walls that were read; none where the pipe's own is at fault."""
    if any(fault.place == "bore, wall" for fault in top.report.faults):
        return []
    bore = top.table.get("bore")
    own = [wall] if isinstance(bore, dict) and "wall" in bore else []
    return [*own, *(part.wall for part in (*holes, head) if isinstance(part, Hole | Window))]


def _lacks_wall(table: dict) -> bool:
    """Return whether some part leaves its wall to the bore's."""
    holes = table.get("hole", [])
    head, foot, window = (table.get(key, {}) for key in ("head", "foot", "window"))
    parts = [*(holes if isinstance(holes, list) else [holes])]
    if not isinstance(head, dict) or head.get("kind", "window") == "window":
        parts.append(window)
    ends = [
        end
        for end, usual in ((head, "window"), (foot, "open"))
        if isinstance(end, dict) and end.get("kind", usual) == "open"
    ]
    return any("wall" not in part for part in parts if isinstance(part, dict)) or any(
        "outer_diameter" not in end for end in ends
    )


def _read_bore(section: Section, wall_wanted: bool) -> tuple[Bore | None, float]:
    stations = None
    if "stations" in section:
        if "diameter" in section:
            section.fault("diameter", "stations stands beside it", "Keep one of the two")
        stations = section.stations("stations", _STATION_MEND)
    elif "stations" not in section.misspelt:
        diameter = section.length("diameter", mend=_MEASURE_BORE)
        stations = None if diameter is None else ((0.0, diameter),)
    wall = section.length("wall", mend=_MEASURE_WALL if wall_wanted else "")
    if wall is not None and wall <= 0:
        section.fault("wall", "it must be greater than 0", "Measure it again")
        wall = None
    bore = section.record(Bore, stations=stations)
    return bore, wall or _UNREAD_WALL


def _read_head(top: Section, bore: Bore | None, wall: float) -> tuple[Window | End | None, Section]:
    section = top.sub("head")
    kind = section.choice("kind", _HEAD_KINDS, "window")
    if kind != "window":
        if kind and "window" in top:
            mend = "Leave out [window], or leave out [head] if the flute has a window"
            top.fault("window", f'a head of kind "{kind}" has no window', mend)
        return _read_end(section, kind, 0.0, bore, wall), section
    if "outer_diameter" in section:
        section.fault("outer_diameter", "a head with a window has none", "Leave it out")
    window = top.sub("window")
    mend = "Measure the window {} the pipe"
    if "window" not in top and "window" not in top.misspelt:
        top.missing("window", 'Measure it, or write [head] and kind = "open" for a plain pipe')
        return None, window
    return window.record(
        Window,
        along=window.length("along", mend=mend.format("along")),
        across=window.length("across", mend=mend.format("across")),
        wall=window.length("wall", default=wall),
        plug_to_window=window.length("plug_to_window", default=0.0),
        ramp=window.angle("ramp_degrees", 90.0, 1.0, 90.0),
        block=window.length("block_height", default=0.0),
    ), window


def _read_foot(section: Section, bore: Bore | None, wall: float) -> End | None:
    kind = section.choice("kind", FOOT_KINDS, "open")
    position = section.length("from_edge", mend=_MEASURE_LENGTH)
    return _read_end(section, kind, position, bore, wall)


def _read_end(
    section: Section, kind: str | None, position: float | None, bore: Bore | None, wall: float
) -> End | None:
    if kind == "open":
        known = bore is not None and position is not None
        usual = bore_diameter(bore, position) + 2 * wall if known else None
        outer = section.length("outer_diameter", default=usual)
        rim = {} if outer is None else {"outer_diameter": outer}
        return section.record(End, position=position, kind=kind, **rim)
    if kind and "outer_diameter" in section:
        section.fault("outer_diameter", f'an end of kind "{kind}" has none', "Leave it out")
    return section.record(End, position=position, kind=kind)


def _check_one_end(sections: list[Section]) -> None:
    """Report holes measured from another end than the first one, from both, or from none."""
    keys = ("from_edge", "from_foot")
    used = [key for section in sections for key in keys if key in section]
    for section in sections:
        if not any(key in section for key in keys):
            section.missing("from_edge", _MEASURE_PLACE)
        for key in keys:
            if key in section and key != used[0]:
                problem = f"the first hole is measured {used[0].replace('_', ' the ')}"
                section.fault(key, problem, f"Use {used[0]} in every hole, or {key} in every hole")


def _read_hole(section: Section, foot: End | None, wall: float) -> Hole | None:
    position = section.length("from_edge")
    if position is None and "from_foot" in section:
        distance = section.length("from_foot")
        position = None if distance is None or foot is None else foot.position - distance
    diameter, aspect = _read_size(section)
    undercut = {key: section.length(key) for key in ("inner_diameter",) if key in section}
    hole = section.record(
        Hole,
        position=position,
        diameter=diameter,
        aspect=aspect,
        wall=section.length("wall", default=wall),
        label=section.text("label"),
        outer_rounding=section.length("outer_rounding", default=0.0),
        inner_rounding=section.length("inner_rounding", default=0.0),
        angle=section.angle("around_degrees", 0.0, -180.0, 180.0),
        **undercut,
    )
    if hole is None and position is not None and position > 0:
        return Hole(position=position, diameter=_UNREAD_DIAMETER, wall=_UNREAD_WALL)
    return hole


def _read_size(section: Section) -> tuple[float | None, float | None]:
    """Return a hole's diameter, that of the equal circle for an oval, and its aspect."""
    oval = [key for key in ("along", "across") if key in section]
    if not oval:
        mend = "Measure it, or write its drill: '#7', '3/16 in'"
        return section.length("diameter", mend=mend), 1.0
    if "diameter" in section:
        section.fault("diameter", f"{oval[0]} stands beside it", "Keep the one or the other")
    mend = "An oval has its length along the pipe and its width across it"
    along, across = (section.length(key, mend=mend) for key in ("along", "across"))
    if not along or not across or min(along, across) < 0:
        for key, size in (("along", along), ("across", across)):
            if size is not None and size <= 0:
                section.fault(key, "it must be greater than 0", "Measure it again")
        return None, None
    return float(np.sqrt(along * across)), along / across


def _read_target(section: Section, holes: int) -> Target | None:
    return section.record(
        Target,
        fingering=_read_fingering(section, holes),
        frequency=_read_pitch(section),
        label=section.text("label", str(section.table.get("note", ""))),
    )


def _read_fingering(section: Section, holes: int) -> str | None:
    if "fingering" not in section:
        section.missing("fingering", "Write one letter for each hole: x closed, o open")
        return None
    text = section.table["fingering"]
    if not isinstance(text, str):
        section.fault("fingering", "this is not text", "Put it in quotes")
        return None
    try:
        return fingering_word(text, holes)
    except ValueError as error:
        section.fault("fingering", *said(error, text))
        return None


def _read_pitch(section: Section) -> float | None:
    """Return the frequency of a target's note [Hz]."""
    a4 = section.number("a4_hz", 380, 500)
    if "frequency_hz" in section:
        for key in ("note", "a4_hz"):
            if key in section:
                section.fault(key, "frequency_hz stands beside it", "Keep one of the two")
        return section.number("frequency_hz", 20, 20000)
    if "note" not in section:
        section.missing("note", 'Write note = "A4" or frequency_hz = 440')
        return None
    text = section.table["note"]
    try:
        semitone, octave = parse_note(text)
    except ValueError as error:
        section.fault("note", *said(error, text))
        return None
    if octave is None:
        section.fault("note", "its octave is missing", f"Write it as {text}4, {text}5 or {text}6")
        return None
    return note_frequency(semitone, octave, a4 or 440.0)
