"""A measuring form read to a flute, as far as it goes: what is known, missing and wrong."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from flutelab.errors import Fault
from flutelab.files.form import (
    SAME,
    WINDOW_KEYS,
    Form,
    box_keys,
    common_wall,
    hole_of,
    is_tapered,
    own_size,
    rim_wall,
    typed,
    window_field,
)
from flutelab.files.size_words import understood
from flutelab.files.toml_section import Report, Section
from flutelab.model.flute import (
    Bore,
    End,
    Flute,
    Hole,
    RecordError,
    Uncertainty,
    Window,
    along_pipe,
    bore_diameter,
    geometry_faults,
)
from flutelab.units import decimal_length, show_length

_HOLE = re.compile(r"hole (\d+)(?: \(.*\))?, (\w+)")
_HOLE_KEYS = {"position": "place", "diameter": "diameter"}
_OTHER_KEYS = {f"window, {window_field(key)}": key for key in WINDOW_KEYS}
_OTHER_KEYS["foot, position"] = "foot"
# Stand in for what is not known yet, so that a hole's place is checked all the same.
_UNREAD_DIAMETER, _UNREAD_WALL = 0.001, 0.002
# m of wall between two holes, and no more than a quarter of the smaller one, below which it is
# asked whether that is so (common practice, no source)
BRIDGE = 0.0015
_PLACES = 9  # of a sum in metres: what floats leave beyond them nobody has measured
_FILE_KEYS = {
    "bore": ("bore", "diameter"),
    "wall": ("bore", "wall"),
    **{key: ("window", window_field(key)) for key in WINDOW_KEYS},
    "foot": ("foot", "from_edge"),
    "place": ("hole", "from_edge"),
    "diameter": ("hole", "diameter"),
}
_SHAPES = {
    "inner_diameter": "an undercut",
    "outer_rounding": "a rounded edge outside",
    "inner_rounding": "a rounded edge at the bore",
    "angle": "a place around the pipe",
    "label": "a label",
}


@dataclass(frozen=True, kw_only=True)
class Entry:
    """A box as it was understood: its length [m] or None, words on it, and what is wrong."""

    size: float | None = None
    note: str = ""
    fault: str = ""


@dataclass(frozen=True, kw_only=True)
class Measured:
    """What a form comes to.

    Parameters
    ----------
    flute : Flute or None
        None while something is missing or wrong.
    entries : dict of str to Entry
        By the boxes' keys, in the order of the form.
    missing : tuple of str
        Keys of the boxes that must be filled in yet.
    faults : tuple of str
        Faults that belong to no box.
    kept : tuple of str
        What the opened flute holds that the form does not show, in words.
    asked : tuple of str
        What is allowed, but so seldom so that it is asked whether it was read rightly.
    """

    flute: Flute | None
    entries: dict[str, Entry]
    missing: tuple[str, ...]
    faults: tuple[str, ...]
    kept: tuple[str, ...]
    asked: tuple[str, ...] = ()


def measured(form: Form) -> Measured:
    """Read a form: every box, what is missing, every fault at its box, and the flute.

    Parameters
    ----------
    form : Form

    Returns
    -------
    Measured
        An incomplete form has no faults by being so. Faults are those of a flute file: of
        `parse_length`, of sizes that no duct flute has, and of the records of a `Flute`.
    """
    entries = {key: _entry(form, key) for key in box_keys(form.holes, form.head)}
    missing = tuple(key for key in entries if _is_missing(form, key))
    parts, faults = _parts(form, {key: entry.size for key, entry in entries.items()})
    unplaced = []
    for fault in (*faults, *geometry_faults(**parts)):
        key = _key_of(fault.place)
        if key in entries and entries[key].size is None:
            continue  # a stand-in's, not what is typed
        if key in entries:
            entries[key] = _with_fault(entries[key], key, fault, form)
        else:
            unplaced.append(str(fault))
    wrong = unplaced or any(entry.fault for entry in entries.values())
    return Measured(
        flute=None if missing or wrong else _flute(form, parts),
        entries=entries,
        missing=missing,
        faults=tuple(unplaced),
        kept=tuple(_kept(form)),
        asked=tuple(_thin_bridges(parts["holes"], form.unit)),
    )


def _thin_bridges(holes: Sequence[Hole | None], unit: str) -> Iterator[str]:
    """Ask about holes between which next to nothing of the pipe is left."""
    for number, (one, other) in enumerate(pairwise(holes), 1):
        if one is None or other is None or one.angle != other.angle:
            continue
        reach = [along_pipe(hole.diameter, hole.aspect) / 2 for hole in (one, other)]
        left = other.position - one.position - sum(reach)
        if 0 < left < min(BRIDGE, min(reach) / 2):
            size = decimal_length(left, unit)
            yield (
                f"Between holes {number} and {number + 1} only {size} of wall are left: is that "
                "so? It can be saved as it is."
            )


def _entry(form: Form, key: str) -> Entry:
    text = typed(form, key)
    if not text:
        return Entry(note=_blank_note(form, key))
    size, fault = _read_size(form.unit, key, text)
    if size is None:
        return Entry(fault=fault)
    if not (size > 0 or (size == 0 and key == "plug_to_window")):
        return Entry(fault=f"{text!r}: a length must be greater than 0. Measure it again.")
    note = understood(size, drilled=key.startswith("diameter")) + _oval_note(form, key)
    return Entry(size=_own_digits(form, key, size), note=note)


def _read_size(unit: str, key: str, text: str) -> tuple[float | None, str]:
    """Read a length as the flute file's reader does, with its likely sizes: (size, fault)."""
    kind, field = _FILE_KEYS[key.partition(" ")[0]]
    report = Report(unit=unit)
    size = Section({field: text}, kind, "", {kind: (field,)}, report).length(field)
    said = (f"{text!r}: {fault.problem}. {fault.mend}." for fault in report.faults)
    return size, " ".join(said)


def _blank_note(form: Form, key: str) -> str:
    if key == "bore" and is_tapered(form.opened):
        count = len(form.opened.bore.stations)
        return f"not straight: {count} places in the opened file, kept; a number makes it straight"
    return "blank: flush, 0" if key == "plug_to_window" else ""


def _oval_note(form: Form, key: str) -> str:
    kind, _, number = key.partition(" ")
    hole = hole_of(form.opened, int(number)) if kind == "diameter" else None
    if hole is None or hole.aspect == 1:
        return ""
    return f"; oval, {hole.aspect:.2f} times as long as wide: this is the circle of its area"


def _own_digits(form: Form, key: str, size: float) -> float:
    """Return the opened flute's own size where the box still says it."""
    if form.opened is None or key.startswith("place"):
        return size
    own = own_size(form.opened, key)
    return size if own is None or abs(own - size) > SAME else own


def _is_missing(form: Form, key: str) -> bool:
    if typed(form, key) or key == "plug_to_window":
        return False
    if key == "wall":
        return "open" in (form.head, form.foot_kind) or form.head == "window" or form.holes > 0
    return not (key == "bore" and is_tapered(form.opened))


def _parts(form: Form, known: Mapping[str, float | None]) -> tuple[dict, list[Fault]]:
    """Return bore, holes, head and foot, None where not known yet, and the records' faults."""
    faults: list[Fault] = []
    if known["bore"] is not None:
        bore = Bore(stations=((0.0, known["bore"]),))
    else:
        bore = form.opened.bore if is_tapered(form.opened) and not typed(form, "bore") else None
    foot = _end(form, form.foot_kind, known["foot"], bore, known["wall"], "foot")
    holes = tuple(_hole(form, n, known, faults) for n in range(1, form.holes + 1))
    if form.head == "window":
        head = _window(form, known)
    else:
        head = _end(form, form.head, 0.0, bore, known["wall"], "head")
    return {"bore": bore, "holes": holes, "head": head, "foot": foot}, faults


def _end(
    form: Form, kind: str, position: float | None, bore: Bore | None, wall: float | None, part: str
) -> End | None:
    """Return a plain end; its rim is the pipe's wall where the opened file has no other."""
    if position is None:
        return None
    old = getattr(form.opened, part, None)
    if isinstance(old, End) and old.kind == kind == "open" and _is_apart(form.opened, old):
        return End(position=position, kind=kind, outer_diameter=old.outer_diameter)
    if kind != "open" or bore is None or wall is None:
        return End(position=position, kind=kind)
    outer = round(bore_diameter(bore, position) + 2 * wall, _PLACES)
    if isinstance(old, End) and old.outer_diameter and abs(old.outer_diameter - outer) < SAME:
        outer = old.outer_diameter
    return End(position=position, kind=kind, outer_diameter=outer)


def _is_apart(opened: Flute, end: End) -> bool:
    """Return whether an end's rim is another than the pipe's wall."""
    rim, wall = rim_wall(opened.bore, end), common_wall(opened)
    return rim is None or wall is None or abs(rim - wall) > SAME


def _walled(form: Form, old: Hole | Window | None, wall: float | None) -> float | None:
    """Return a part's own wall where the opened file gives it one, else the pipe's."""
    if old is None:
        return wall
    return wall if abs(old.wall - common_wall(form.opened)) <= SAME else old.wall


def _window(form: Form, known: Mapping[str, float | None]) -> Window | None:
    old = getattr(form.opened, "head", None)
    old = old if isinstance(old, Window) else None
    sizes = {window_field(key): known[key] for key in WINDOW_KEYS}
    if not typed(form, "plug_to_window"):
        sizes["plug_to_window"] = 0.0
    sizes["wall"] = _walled(form, old, known["wall"]) or _UNREAD_WALL
    if any(size is None for size in sizes.values()):
        return None
    return replace(old, **sizes) if old else Window(**sizes)


def _hole(
    form: Form, number: int, known: Mapping[str, float | None], faults: list[Fault]
) -> Hole | None:
    old = hole_of(form.opened, number)
    position = _place(form, number, known)
    if position is None:
        return None
    sizes = {
        "position": position,
        "diameter": known[f"diameter {number}"] or _UNREAD_DIAMETER,
        "wall": _walled(form, old, known["wall"]) or _UNREAD_WALL,
    }
    try:
        whole = old is not None and known[f"diameter {number}"] is not None
        return replace(old, **sizes) if whole else Hole(**sizes)
    except RecordError as error:
        faults += [replace(one, place=f"hole {number}, {one.place}") for one in error.faults]
        return None


def _place(form: Form, number: int, known: Mapping[str, float | None]) -> float | None:
    """Return a hole's place from the edge [m]; None while it or the length is not known."""
    place = known[f"place {number}"]
    if place is None or (form.from_foot and known["foot"] is None):
        return None
    if form.from_foot:
        # what is taken from one another in floats is no round number any more
        place = round(known["foot"] - place, _PLACES)
    return place


def _key_of(place: str) -> str:
    """Return the box that a fault of a record belongs to; '' = none."""
    if hole := _HOLE.fullmatch(place):
        kind = _HOLE_KEYS.get(hole[2])
        return f"{kind} {hole[1]}" if kind else ""
    return _OTHER_KEYS.get(place, "")


def _with_fault(entry: Entry, key: str, fault: Fault, form: Form) -> Entry:
    """Add a fault to a box, with what is typed there."""
    words = f"{typed(form, key)!r}: {fault.problem}. {fault.mend}."
    return replace(entry, fault=" ".join(filter(None, (entry.fault, words))))


def _flute(form: Form, parts: dict) -> Flute:
    old = form.opened
    fits = old is not None and len(old.holes) == form.holes
    return Flute(
        name=form.name.strip() or "Unnamed",
        unit=form.unit,
        uncertainty=old.uncertainty if old else Uncertainty(),
        targets=old.targets if fits else (),
        source=old.source if old else "",
        **parts,
    )


def _kept(form: Form) -> Iterator[str]:
    """Say what the opened flute holds that the form has no box for."""
    old = form.opened
    if old is None:
        return
    if is_tapered(old) and not typed(form, "bore"):
        yield f"the bore's {len(old.bore.stations)} diameters along the pipe"
    if isinstance(old.head, Window) and form.head == "window":
        yield from _kept_of_window(old)
    for number in range(1, form.holes + 1):
        hole = hole_of(old, number)
        if hole is not None and (words := _hole_words(old, hole)):
            yield f"hole {number}: {', '.join(words)}"
    if _is_rim_kept(form):
        yield f"the foot's outer diameter, {show_length(old.foot.outer_diameter, form.unit)}"
    if old.uncertainty != Uncertainty():
        yield "how well the sizes are known (uncertainty)"
    if old.targets and len(old.holes) == form.holes:
        yield f"{len(old.targets)} wanted notes"


def _is_rim_kept(form: Form) -> bool:
    foot = form.opened.foot
    if not foot.kind == form.foot_kind == "open" or foot.outer_diameter is None:
        return False
    return _is_apart(form.opened, foot)


def _kept_of_window(old: Flute) -> Iterator[str]:
    if old.head.ramp != np.pi / 2:
        yield "the ramp's angle"
    if old.head.block:
        yield "the block's height"
    if abs(old.head.wall - common_wall(old)) > SAME:
        yield f"the wall at the window, {show_length(old.head.wall, old.unit)}"


def _hole_words(old: Flute, hole: Hole) -> list[str]:
    words = ["oval"] if hole.aspect != 1 else []
    words += [word for field, word in _SHAPES.items() if getattr(hole, field)]
    if abs(hole.wall - common_wall(old)) > SAME:
        words.append(f"a wall of its own, {show_length(hole.wall, old.unit)}")
    return words


def left_out(form: Form) -> str:
    """Return what the form leaves out of the opened flute, in words; '' = nothing.

    Wanted notes are written for so many holes; with another number they fit no more.
    """
    old = form.opened
    if old is None or len(old.holes) == form.holes:
        return ""
    said = [f"hole {n}" for n in range(form.holes + 1, len(old.holes) + 1)]
    if old.targets:
        said.append(f"{len(old.targets)} wanted notes, which are for {len(old.holes)} holes")
    return f"Not in the new file: {', '.join(said)}." if said else ""
