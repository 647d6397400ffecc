"""The flute as frozen records: a bore, its two ends and the holes between.

Positions run from the sounding edge (x = 0) towards the foot [m]; where the
head is a plain end they run from that end. A numeric leaf is a float or an array
of shape (batch, 1, 1).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from flutelab.errors import Fault

END_KINDS = ("open", "flanged", "stopped", "node")


def hole_name(index: int, count: int) -> str:
    """Name hole `index` (from 0) of `count` with the end it is counted from."""
    if index == 0:
        return "hole 1 (nearest the window)"
    if index == count - 1:
        return f"hole {count} (nearest the foot)"
    return f"hole {index + 1} (counted from the window)"


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


def _millimetres(value: object) -> str:
    return f"{np.ravel(value)[0] * 1000:.4g} mm"


def _refuse(record: str, faults: list[Fault]) -> None:
    """Raise a RecordError if there are faults."""
    if faults:
        raise RecordError(record, faults)


def _check_positive(record: str, **sizes: object) -> None:
    faults = [
        Fault(
            place=name,
            typed=_millimetres(value),
            problem="must be greater than 0",
            mend="Measure it again",
        )
        for name, value in sizes.items()
        if not np.all(np.isfinite(value) & (np.asarray(value) > 0))
    ]
    _refuse(record, faults)


@dataclass(frozen=True, kw_only=True)
class Bore:
    """The inside of the pipe: ((position, diameter), ...) [m]; one pair is a cylinder."""

    stations: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        if len(self.stations) != 1:
            msg = f"bore has {len(self.stations)} stations; only one (a cylinder) is modelled yet"
            raise ValueError(msg)
        _check_positive("bore", diameter=self.stations[0][1])


@dataclass(frozen=True, kw_only=True)
class Hole:
    """A round, straight finger hole: centre's position, diameter and the wall there [m]."""

    position: float
    diameter: float
    wall: float
    label: str = ""

    def __post_init__(self) -> None:
        _check_positive("hole", position=self.position, diameter=self.diameter, wall=self.wall)


@dataclass(frozen=True, kw_only=True)
class Window:
    """The window: cut-up `along` the pipe, width `across` it, its wall, and the plug.

    `plug_to_window` is measured from the window's windway-side edge back to the
    plug's face (0 = flush) [m]. Its centre lies at -along/2.
    """

    along: float
    across: float
    wall: float
    plug_to_window: float = 0.0

    def __post_init__(self) -> None:
        _check_positive("window", along=self.along, across=self.across, wall=self.wall)
        if not np.all(np.asarray(self.plug_to_window) >= 0):
            fault = Fault(
                place="plug_to_window",
                typed=_millimetres(self.plug_to_window),
                problem="must be 0 (flush) or more",
                mend="A plug that reaches into the window shortens `along` instead",
            )
            _refuse("window", [fault])


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
            fault = Fault(
                place="kind",
                typed=str(self.kind),
                problem="no such end",
                mend=f"Use one of {', '.join(END_KINDS)}",
            )
            _refuse("end", [fault])
        if self.outer_diameter is not None:
            _check_positive("end", outer_diameter=self.outer_diameter)


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
        _check_positive("uncertainty", **stated)


@dataclass(frozen=True, kw_only=True)
class Target:
    """A note that the maker wants from a fingering [Hz]."""

    fingering: str
    frequency: float
    label: str = ""

    def __post_init__(self) -> None:
        if not 0 < self.frequency < np.inf:
            fault = Fault(
                place="frequency",
                typed=f"{self.frequency:g} Hz",
                problem="must be greater than 0",
                mend="Write the wanted note again",
            )
            _refuse("target", [fault])


@dataclass(frozen=True, kw_only=True)
class Flute:
    """A flute, or a plain pipe: bore, holes from the head to the foot, and two ends.

    Raises
    ------
    RecordError
        With every fault found: holes out of order, overlapping, outside the pipe
        or wider than the bore, a window wider than the bore, a foot before the head.

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
    inside = np.inf if bore is None else bore.stations[0][1]
    length = np.inf if foot is None else foot.position
    faults = [*_end_faults(head, "head", inside), *_end_faults(foot, "foot", inside)]
    if not np.all(np.asarray(length) > 0):
        faults.append(
            Fault(
                place="foot, position",
                typed=_millimetres(length),
                problem="the foot must lie beyond the head",
                mend="Measure the sound chamber from the sounding edge to the foot",
            )
        )
        length = np.inf
    for index, hole in enumerate(holes):
        if hole is not None:
            before = holes[index - 1] if index else None
            faults += _hole_faults(hole_name(index, len(holes)), hole, before, inside, length)
    return faults


def _end_faults(end: Window | End | None, name: str, inside: object) -> Iterator[Fault]:
    if isinstance(end, Window) and np.any(end.across > inside * (1 + 1e-9)):
        yield Fault(
            place="window, across",
            typed=_millimetres(end.across),
            problem=f"the window is wider than the bore of {_millimetres(inside)}",
            mend="Check both and their units; `along` is measured along the pipe",
        )
    # Without a bore to compare with there is nothing to say about the rim.
    outer = getattr(end, "outer_diameter", None)
    if outer is not None and np.any((outer < inside * (1 - 1e-9)) & np.isfinite(inside)):
        yield Fault(
            place=f"{name}, outer_diameter",
            typed=_millimetres(outer),
            problem=f"this is less than the bore of {_millimetres(inside)}",
            mend="Measure both again; equal to the bore means a sharp rim",
        )


def _hole_faults(
    name: str, hole: Hole, before: Hole | None, inside: object, length: object
) -> Iterator[Fault]:
    radius = np.asarray(hole.diameter) / 2
    if np.any(hole.diameter > inside * (1 + 1e-9)):
        yield Fault(
            place=f"{name}, diameter",
            typed=_millimetres(hole.diameter),
            problem=f"the hole is wider than the bore of {_millimetres(inside)}",
            mend="Check both diameters and their units",
        )
    if np.any(hole.position - radius < 0) or np.any(hole.position + radius > length):
        chamber = "" if np.all(np.isinf(length)) else f" of {_millimetres(length)}"
        yield Fault(
            place=f"{name}, position",
            typed=_millimetres(hole.position),
            problem=f"the hole does not lie inside the sound chamber{chamber}",
            mend="Check its place, and whether it was measured from the edge or from the foot",
        )
    if before is None:
        return
    gap = np.min(np.asarray(hole.position) - np.asarray(before.position))
    needed = np.max(before.diameter / 2 + radius)
    if gap <= 0:
        yield Fault(
            place=f"{name}, position",
            typed=_millimetres(hole.position),
            problem="it does not come after the hole before it, "
            f"at {_millimetres(before.position)}",
            mend="Write the holes in order from the window to the foot",
        )
    elif gap < needed:
        yield Fault(
            place=f"{name}, position",
            typed=_millimetres(hole.position),
            problem=f"it overlaps the hole before it: {_millimetres(gap)} between their centres, "
            f"at least {_millimetres(needed)} needed",
            mend="Check both places and both diameters",
        )
