"""The flute as frozen records: a bore, its two ends and the holes between.

Positions run from the sounding edge (x = 0) towards the foot [m]; where the
head is a plain end they run from that end. A numeric leaf is a float or an array
of shape (batch, 1, 1).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from flutelab.errors import Fault

NOT_POSITIVE = "must be greater than 0"
END_KINDS = ("open", "flanged", "stopped", "node")
_SLACK = 1e-9  # relative: sizes that are equal but for rounding pass


def hole_name(index: int, count: int, head: str = "window") -> str:
    """Name hole `index` (from 0) of `count` with the end it is counted from."""
    if index == 0:
        return f"hole 1 (nearest the {head})"
    if index == count - 1:
        return f"hole {count} (nearest the foot)"
    return f"hole {index + 1} (counted from the {head})"


class RecordError(ValueError):
    """A record refuses its values.

    Parameters
    ----------
    record : str
        What it describes, such as ``hole``.
    faults : iterable of Fault
        Every fault; `place` is the field's name.
    """

    def __init__(self, record: str, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__(" ".join(f"{record} {fault}" for fault in self.faults))


def ordinal(number: int) -> str:
    """Return 1st, 2nd, 3rd, ..."""
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10)
    return f"{number}{ending or 'th'}"


def _millimetres(value: object) -> str:
    return f"{np.ravel(value)[0] * 1000:.4g} mm"


def _degrees(value: object) -> str:
    return f"{np.degrees(np.ravel(value)[0]):.4g} degrees"


def _refuse(record: str, faults: Iterable[Fault]) -> None:
    """Raise a RecordError if there are faults."""
    if faults := list(faults):
        raise RecordError(record, faults)


def _fault(place: str, typed: str, problem: str, mend: str = "Measure it again") -> Fault:
    return Fault(place=place, typed=typed, problem=problem, mend=mend)


def _not_positive(**sizes: object) -> list[Fault]:
    return [
        _fault(name, _millimetres(value), NOT_POSITIVE)
        for name, value in sizes.items()
        if not np.all(np.isfinite(value) & (np.asarray(value) > 0))
    ]


@dataclass(frozen=True, kw_only=True)
class Bore:
    """The inside of the pipe.

    ``stations`` are pairs (position, diameter) [m], in order from the sounding edge to the
    foot; a negative position lies towards the head. Straight cones run between them,
    cylinders beyond the first and the last; one pair is a cylinder. What the bore does
    behind the window's centre is not in the model.
    """

    stations: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        _refuse("bore", station_faults(self.stations))


def station_faults(stations: tuple[tuple[float | None, float | None], ...]) -> list[Fault]:
    """Return every fault of a bore's stations; None stands for what could not be read.

    Each `place` is such as ``stations, 2nd diameter``.
    """
    if not stations:
        mend = "Write at least one pair of place and diameter"
        return [_fault("stations", "none", "a bore needs a station", mend)]
    faults, before = [], -np.inf
    for number, (position, diameter) in enumerate(stations, 1):
        name = f"stations, {ordinal(number)}"
        if position is not None:
            if not np.all(np.isfinite(position) & (np.asarray(position) > before)):
                problem = f"it does not lie beyond the station before it, at {_millimetres(before)}"
                mend = "Write the stations in order from the window to the foot, each place once"
                if number == 1:
                    problem, mend = "this is no place", "Measure it again"
                faults.append(_fault(f"{name} place", _millimetres(position), problem, mend))
            before = position
        if diameter is not None:
            faults += _not_positive(**{f"{name} diameter": diameter})
    return faults


def bore_diameter(bore: Bore, position: float) -> float:
    """Return the bore's diameter at a position.

    Parameters
    ----------
    bore : Bore
    position : float or array
        From the sounding edge [m]; broadcasts with the bore's leaves.

    Returns
    -------
    float or array
        Diameter [m].

    Examples
    --------
    >>> bore = Bore(stations=((0.0, 0.016), (0.2, 0.012)))
    >>> print(bore_diameter(bore, 0.05), bore_diameter(bore, -1.0))
    0.015 0.016
    """
    diameter = bore.stations[0][1]
    for (near, start), (far, end) in pairwise(bore.stations):
        diameter = diameter + (end - start) * np.clip((position - near) / (far - near), 0.0, 1.0)
    return diameter


@dataclass(frozen=True, kw_only=True)
class Hole:
    """A finger hole, bored straight through the wall at right angles to the pipe.

    Parameters
    ----------
    position : float
        Its centre, from the sounding edge [m].
    diameter : float
        At the outside [m]; of an oval hole, that of the circle with the same area.
    wall : float
        The wall there [m].
    label : str
    inner_diameter : float, optional
        At the bore's side [m]: undercut if larger, a tapered chimney if smaller, of the
        same `aspect`. None = straight.
    aspect : float
        Length along the pipe over width across it, 1/4 to 4.
    outer_rounding, inner_rounding : float
        Radius of the rounded edge outside, and at the bore [m]; 0 = sharp.
    angle : float
        Around the pipe, from the line through the window [rad], -pi to pi; positive to
        the right when looking from the window to the foot with the window on top.
    """

    position: float
    diameter: float
    wall: float
    label: str = ""
    inner_diameter: float | None = None
    aspect: float = 1.0
    outer_rounding: float = 0.0
    inner_rounding: float = 0.0
    angle: float = 0.0

    def __post_init__(self) -> None:
        sizes = {"position": self.position, "diameter": self.diameter, "wall": self.wall}
        if self.inner_diameter is not None:
            sizes["inner_diameter"] = self.inner_diameter
        # without sizes there is nothing to compare a shape with
        _refuse("hole", _not_positive(**sizes) or _shape_faults(self))


def along_pipe(diameter: float, aspect: float) -> float:
    """Return the length along the pipe of a hole of this equal-area diameter [m]."""
    return diameter * np.sqrt(aspect)


def across_pipe(diameter: float, aspect: float) -> float:
    """Return the width across the pipe of a hole of this equal-area diameter [m]."""
    return diameter / np.sqrt(aspect)


def bore_side_diameter(hole: Hole) -> float:
    """Return a hole's diameter at the bore's side [m]."""
    return hole.diameter if hole.inner_diameter is None else hole.inner_diameter


def _shape_faults(hole: Hole) -> Iterator[Fault]:
    aspect, angle = np.asarray(hole.aspect), np.asarray(hole.angle)
    if not np.all((aspect > 0.25 * (1 - _SLACK)) & (aspect < 4 * (1 + _SLACK))):
        mend = "Check its length along the pipe and its width across"
        problem = "length over width must lie between 1/4 and 4"
        yield _fault("aspect", f"{np.ravel(aspect)[0]:.4g}", problem, mend)
    else:
        yield from _rounding_faults(hole)
    if not np.all(np.abs(angle) <= np.pi):
        mend = "Count from the line through the window: 180 degrees is a thumb hole"
        yield _fault("angle", _degrees(angle), "must lie between -180 and 180 degrees", mend)


def _rounding_faults(hole: Hole) -> Iterator[Fault]:
    narrow = np.minimum(np.sqrt(hole.aspect), 1 / np.sqrt(hole.aspect)) / 2
    sides = {"outer_rounding": hole.diameter, "inner_rounding": bore_side_diameter(hole)}
    good = True
    for name, diameter in sides.items():
        rounding, most = np.asarray(getattr(hole, name)), diameter * narrow
        if not np.all((rounding >= 0) & (rounding <= most * (1 + _SLACK))):
            good = False
            problem = f"must lie between 0 (sharp) and half the hole's width, {_millimetres(most)}"
            yield _fault(name, _millimetres(rounding), problem, "Give the radius of the edge")
    both = np.asarray(hole.outer_rounding) + hole.inner_rounding
    if good and np.any(both > hole.wall * (1 + _SLACK)):
        name = "outer_rounding" if np.any(hole.outer_rounding) else "inner_rounding"
        problem = f"both edges' roundings are more than the wall of {_millimetres(hole.wall)}"
        yield _fault(name, _millimetres(getattr(hole, name)), problem, "Give each edge's radius")


@dataclass(frozen=True, kw_only=True)
class Window:
    """The window; its centre lies at -along/2.

    Parameters
    ----------
    along, across : float
        The cut-up along the pipe, and the width across it [m].
    wall : float
        The wall there [m].
    plug_to_window : float
        From the window's windway-side edge back to the plug's face (0 = flush) [m].
    ramp : float
        Angle between the sounding edge's ramp and the pipe's axis [rad], above 0 to
        pi/2 (straight through the wall).
    block : float
        Height of the block on the flue's side above the pipe's outside [m]; 0 = none.
    """

    along: float
    across: float
    wall: float
    plug_to_window: float = 0.0
    ramp: float = np.pi / 2
    block: float = 0.0

    def __post_init__(self) -> None:
        faults = _not_positive(along=self.along, across=self.across, wall=self.wall)
        if not np.all(np.asarray(self.plug_to_window) >= 0):
            mend = "A plug that reaches into the window shortens `along` instead"
            typed = _millimetres(self.plug_to_window)
            faults.append(_fault("plug_to_window", typed, "must be 0 (flush) or more", mend))
        ramp = np.asarray(self.ramp)
        if not np.all((ramp > 0) & (ramp <= np.pi / 2)):
            problem = "must be more than 0 and at most 90 degrees"
            mend = "Give the angle between the ramp and the pipe; 90 is an edge without a ramp"
            faults.append(_fault("ramp", _degrees(ramp), problem, mend))
        if not np.all(np.isfinite(self.block) & (np.asarray(self.block) >= 0)):
            mend = "Measure how far the block stands above the pipe"
            faults.append(_fault("block", _millimetres(self.block), "must be 0 or more", mend))
        _refuse("window", faults)


@dataclass(frozen=True, kw_only=True)
class End:
    """A plain end.

    `kind` is ``open`` (thin, or thick-lipped with an outer diameter [m]), ``flanged``,
    ``stopped`` or ``node`` (ideal, p = 0).
    """

    position: float
    kind: str = "open"
    outer_diameter: float | None = None

    def __post_init__(self) -> None:
        if self.kind not in END_KINDS:
            mend = f"Use one of {', '.join(END_KINDS)}"
            _refuse("end", [_fault("kind", str(self.kind), "no such end", mend)])
        if self.outer_diameter is not None:
            _refuse("end", _not_positive(outer_diameter=self.outer_diameter))


@dataclass(frozen=True, kw_only=True)
class Uncertainty:
    """Standard deviations of the measured geometry [m]; None = not stated."""

    bore: float | None = None
    wall: float | None = None
    window: float | None = None
    hole_place: float | None = None
    hole_diameter: float | None = None
    length: float | None = None

    def __post_init__(self) -> None:
        stated = {name: sd for name, sd in vars(self).items() if sd is not None}
        _refuse("uncertainty", _not_positive(**stated))


@dataclass(frozen=True, kw_only=True)
class Target:
    """A note that the maker wants from a fingering [Hz]."""

    fingering: str
    frequency: float
    label: str = ""

    def __post_init__(self) -> None:
        if not 0 < self.frequency < np.inf:
            typed, mend = f"{self.frequency:g} Hz", "Write the wanted note again"
            _refuse("target", [_fault("frequency", typed, NOT_POSITIVE, mend)])


@dataclass(frozen=True, kw_only=True)
class Flute:
    """A flute, or a plain pipe: bore, holes from the head to the foot, and two ends.

    Raises
    ------
    RecordError
        With every fault found: holes out of order, overlapping, outside the pipe
        or wider than the bore at their place, a window wider than the bore, a foot
        before the head.

    ``unit`` ("mm" or "in") is the one its owner measures in: for showing only;
    ``fingerprint`` is the SHA-256 of its file.
    """

    name: str
    bore: Bore
    holes: tuple[Hole, ...]
    head: Window | End
    foot: End
    uncertainty: Uncertainty = field(default_factory=Uncertainty)
    targets: tuple[Target, ...] = ()
    unit: str = field(default="mm", compare=False)
    source: str = field(default="", compare=False)
    fingerprint: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        _refuse("flute:", geometry_faults(self.bore, self.holes, self.head, self.foot))


def geometry_faults(
    bore: Bore | None,
    holes: tuple[Hole | None, ...],
    head: Window | End | None,
    foot: End | None,
) -> list[Fault]:
    """Return every fault of the assembled geometry.

    None stands for a part that could not be read; what depends on it is not checked.
    Each `place` ends with the field's name: ``hole 2 (nearest the foot), diameter``.
    """
    length = np.inf if foot is None else foot.position
    faults = [*_end_faults(head, "head", bore), *_end_faults(foot, "foot", bore)]
    if not np.all(np.asarray(length) > 0):
        mend = "Measure the sound chamber from the sounding edge to the foot"
        problem = "the foot must lie beyond the head"
        faults.append(_fault("foot, position", _millimetres(length), problem, mend))
        length = np.inf
    for index, hole in enumerate(holes):
        if hole is not None:
            name = hole_name(index, len(holes))
            faults += _hole_faults(name, hole, _inside(bore, hole.position), length)
            faults += _neighbour_faults(holes, index, bore)
    return faults


def _inside(bore: Bore | None, position: object) -> object:
    """Return the bore's diameter somewhere; infinite without a bore to compare with."""
    return np.inf if bore is None else bore_diameter(bore, position)


def _end_faults(end: Window | End | None, name: str, bore: Bore | None) -> Iterator[Fault]:
    if end is None:
        return
    if isinstance(end, Window):
        inside = _inside(bore, -0.5 * end.along)
        if np.any(end.across > inside * (1 + _SLACK)):
            problem = f"the window is wider than the bore of {_millimetres(inside)}"
            mend = "Check both and their units; `along` is measured along the pipe"
            yield _fault("window, across", _millimetres(end.across), problem, mend)
        return
    inside, outer = _inside(bore, end.position), end.outer_diameter
    if outer is not None and np.any((outer < inside * (1 - _SLACK)) & np.isfinite(inside)):
        problem = f"this is less than the bore of {_millimetres(inside)}"
        mend = "Measure both again; equal to the bore means a sharp rim"
        yield _fault(f"{name}, outer_diameter", _millimetres(outer), problem, mend)


def _hole_faults(name: str, hole: Hole, inside: object, length: object) -> Iterator[Fault]:
    for key in ("diameter", "inner_diameter"):
        size = getattr(hole, key)
        across = None if size is None else across_pipe(size, hole.aspect)
        if across is not None and np.any(across > inside * (1 + _SLACK)):
            problem = f"the hole is wider than the bore of {_millimetres(inside)}"
            mend = "Check both diameters and their units"
            yield _fault(f"{name}, {key}", _millimetres(across), problem, mend)
    reach = along_pipe(np.maximum(hole.diameter, bore_side_diameter(hole)), hole.aspect) / 2
    if np.any(hole.position - reach < 0) or np.any(hole.position + reach > length):
        chamber = "" if np.all(np.isinf(length)) else f" of {_millimetres(length)}"
        problem = f"the hole does not lie inside the sound chamber{chamber}"
        mend = "Check its place, and whether it was measured from the edge or from the foot"
        yield _fault(f"{name}, position", _millimetres(hole.position), problem, mend)


def _neighbour_faults(
    holes: tuple[Hole | None, ...], index: int, bore: Bore | None
) -> Iterator[Fault]:
    """Say if a hole is out of order, or else which earlier hole it overlaps."""
    hole, place = holes[index], f"{hole_name(index, len(holes))}, position"
    typed = _millimetres(hole.position)
    earlier = [number for number in range(index) if holes[number] is not None]
    for number in reversed(earlier):
        other = holes[number]
        gap = np.min(np.asarray(hole.position) - np.asarray(other.position))
        needed = np.max(_least_gap(hole, other, _inside(bore, hole.position)))
        if gap < 0 or (gap == 0 and number == earlier[-1]):
            near = "does not come after the hole before it"
            told = near if number == earlier[-1] else f"lies before {hole_name(number, len(holes))}"
            mend = "Write the holes in order from the window to the foot"
            yield _fault(place, typed, f"it {told}, at {_millimetres(other.position)}", mend)
            return
        if gap < needed * (1 - _SLACK):
            problem = (
                f"it overlaps {hole_name(number, len(holes))}: {_millimetres(gap)} between "
                f"their centres, at least {_millimetres(needed)} needed"
            )
            yield _fault(place, typed, problem, "Check both places and both diameters")
            return


def _least_gap(hole: Hole, other: Hole, inside: object) -> object:
    """Return how far along the pipe two holes' centres must lie apart [m].

    0 where they lie apart around the pipe, outside and at the bore.
    """
    turn = np.abs((np.asarray(hole.angle) - other.angle + np.pi) % (2 * np.pi) - np.pi)
    outside = inside + 2 * np.minimum(hole.wall, other.wall)
    levels = (
        (hole.diameter, other.diameter, outside),
        (bore_side_diameter(hole), bore_side_diameter(other), inside),
    )
    gaps = []
    for one, two, around in levels:
        along = along_pipe(one, hole.aspect) + along_pipe(two, other.aspect)
        # half the angle that a hole takes up around the pipe
        halves = [
            np.arcsin(np.minimum(across_pipe(size, shape) / around, 1.0))
            for size, shape in ((one, hole.aspect), (two, other.aspect))
        ]
        gaps.append(np.where((turn < sum(halves)) | (turn == 0), along / 2, 0.0))
    return np.maximum(*gaps)
