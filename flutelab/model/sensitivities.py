"""What a note gains when one number of the flute, of its air or of its corrections changes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.axes import join
from flutelab.model.chain import Chain, Formulas, chain
from flutelab.model.corrections import META, Corrections
from flutelab.model.flute import Bore, End, Flute, Window, bore_diameter, hole_name
from flutelab.model.notes import ACOUSTIC, CENT, both_sides, predict_notes, root_gradient
from flutelab.model.rows import Rows, distinct, take

STEP = 1e-6  # m or rad to either side
ONE_SIDED = 1e-9  # where there is but one side: its error goes as the step, not as its square
SHARP = 1e-4  # m, of a rim over its bore, below which its slope is that over as much more
GROUPS = ("places", "diameters", "window", "pipe", "air", "corrections")


@dataclass(frozen=True, kw_only=True, eq=False)
class Sensitivities:
    """How far each of N notes moves with each of P quantities.

    Parameters
    ----------
    names : tuple of P str
        ``hole_1_position``, ``window_along``, ``correction_wall``, ...
    what : tuple of P str
        The same in words.
    group : tuple of P str
        One of `GROUPS`.
    unit : tuple of P str
        ``m``, ``rad``, ``K`` or ``1``.
    gradient : (N, P)
        Cents per unit of the quantity; nan where the row has no note, or the quantity can
        be moved neither way.
    frequency : (N,)
        Of the notes themselves [Hz]; nan where none.
    label : tuple of N str
        Fingering words.
    register : (N,)
    unit_shown : str
        "mm" or "in", the unit of the flute's owner; for showing only.
    """

    names: tuple[str, ...]
    what: tuple[str, ...]
    group: tuple[str, ...]
    unit: tuple[str, ...]
    gradient: np.ndarray
    frequency: np.ndarray
    label: tuple[str, ...]
    register: np.ndarray
    unit_shown: str = "mm"


@dataclass(frozen=True, kw_only=True)
class _Quantity:
    """A quantity, the numbers that move with it, and how far it is moved each way.

    A number is (part, field): a hole's index, "bore", "head", "foot" or "corrections". It
    moves by its weight times the quantity.
    """

    name: str
    what: str
    group: str
    weights: Mapping[tuple, float]
    unit: str = "m"
    down: float = STEP
    up: float = STEP


def sensitivities(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    *,
    formulas: Formulas | None = None,
) -> Sensitivities:
    """Return what each note gains from a small change of every number, one at a time.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows; register 0 counts as 1. Where the rows have hole diameters of their own, those
        are what is changed.
    corrections : Corrections, optional
        Without a batch axis.
    formulas : Formulas, optional

    Returns
    -------
    Sensitivities
        Holes' places (towards the foot) and outside diameters (an undercut keeps its own);
        the foot's place; the window with its sounding edge where it is; outer diameters of
        plain ends; the bore, walls kept, the window's end correction following it or held;
        the walls at all finger holes together; the temperature inside; corrections.

    Warns
    -----
    ValidityWarning
        As `predict_notes`.

    Notes
    -----
    Implicit function theorem at the solved notes, every number moved by 1e-6 m or rad to
    either side (where the other is no flute, by 1e-9 to one side; a rim of less than 0.1 mm by
    0.1 mm outwards, as its slope grows without limit) in one batched evaluation; see
    `flutelab.model.notes.root_gradient`.

    Examples
    --------
    >>> import flutelab
    >>> pipe = flutelab.Flute(
    ...     name="pipe", bore=flutelab.Bore(stations=((0.0, 0.016),)), holes=(),
    ...     head=flutelab.End(position=0.0, kind="open"),
    ...     foot=flutelab.End(position=0.3, kind="open"),
    ... )
    >>> found = sensitivities(pipe, flutelab.rows(pipe, "", air=flutelab.moist_air(293.15)))
    >>> per_metre = found.gradient[0, found.names.index("foot_position")]
    >>> round(float(per_metre) / 1000, 1)
    -5.6
    """
    corrections, formulas = corrections or Corrections(), formulas or Formulas()
    notes = predict_notes(flute, fingerings, corrections, formulas=formulas)
    given = _Given(flute=flute, rows=fingerings, corrections=corrections, formulas=formulas)
    with already_warned():
        quantities = tuple(_quantities(flute, corrections, formulas))
        gradient = _cents(given, quantities, notes.root)
    return Sensitivities(
        **{name: tuple(getattr(q, name) for q in quantities) for name in ("what", "group", "unit")},
        names=tuple(q.name for q in quantities),
        gradient=gradient,
        frequency=notes.frequency,
        label=notes.label,
        register=notes.register,
        unit_shown=flute.unit,
    )


def quantity_gradient(
    flute: Flute,
    fingerings: Rows,
    root: np.ndarray,
    corrections: Corrections,
    names: Sequence[str],
    *,
    formulas: Formulas | None = None,
) -> np.ndarray:
    """Return cents per unit of some of the quantities of `sensitivities`, (N, P).

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
    root : (N,) complex
        Eigenfrequencies of these rows under `corrections` [Hz]; nan gives nan.
    corrections : Corrections
        Without a batch axis.
    names : sequence of P str
    formulas : Formulas, optional

    Raises
    ------
    KeyError
        A quantity that the flute does not have.
    """
    formulas = formulas or Formulas()
    given = _Given(flute=flute, rows=fingerings, corrections=corrections, formulas=formulas)
    with already_warned():
        known = {q.name: q for q in _quantities(flute, corrections, formulas)}
        return _cents(given, [known[name] for name in names], np.asarray(root))


def _cents(given, quantities, root):
    """Cents per unit of each quantity at the roots (N,), (N, P); rows alike are done once."""
    index, inverse = distinct(given.rows, root.real, root.imag)
    some = replace(given, rows=take(given.rows, index))
    hertz = _gradient(some, quantities, root[index])
    return hertz.T[inverse] / (CENT * root.real[:, None])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Given:
    """Everything that a chain is made of."""

    flute: Flute
    rows: Rows
    corrections: Corrections
    formulas: Formulas

    def chain(self) -> Chain:
        return chain(self.flute, self.rows, self.corrections, self.formulas)


def _quantities(flute, corrections, formulas) -> Iterator[_Quantity]:
    """Every quantity of a flute, in the order of `GROUPS`."""
    count = len(flute.holes)
    for group, key in (("places", "position"), ("diameters", "diameter")):
        for i, hole in enumerate(flute.holes):
            name = hole_name(i, count, head="window" if isinstance(flute.head, Window) else "head")
            shaped = key == "diameter" and hole.inner_diameter is not None
            words = "place" if key == "position" else key
            what = f"{name}: {words}{' outside' if shaped else ''}"
            yield _length(f"hole_{i + 1}_{key}", what, group, (i, key))
    if isinstance(flute.head, Window):
        yield from _of_window(flute.head)
    yield from _of_pipe(flute, corrections, formulas)
    for name in ("air_offset", *(name for name in ACOUSTIC if name != "air_offset")):
        yield _of_correction(name, corrections)


def _length(name, what, group, *together):
    return _Quantity(name=name, what=what, group=group, weights=dict.fromkeys(together, 1.0))


def _of_window(window):
    yield _length("window_along", "window: cut-up along the pipe", "window", ("head", "along"))
    yield _length("window_across", "window: width across", "window", ("head", "across"))
    yield _length("window_wall", "window: wall", "window", ("head", "wall"))
    plug = _length(
        "window_plug_to_window", "window: plug's face to window", "window",
        ("head", "plug_to_window"),
    )  # fmt: skip
    flush = window.plug_to_window < STEP
    yield replace(plug, down=0.0, up=ONE_SIDED) if flush else plug
    if window.block:
        yield _length("window_block", "window: block's height", "window", ("head", "block"))
    if window.ramp < np.pi / 2:
        ramp = _length("window_ramp", "window: ramp's angle", "window", ("head", "ramp"))
        yield replace(ramp, unit="rad")


def _of_pipe(flute, corrections, formulas):
    yield _length("foot_position", "foot: place", "pipe", ("foot", "position"))
    lips = [
        (name, "outer_diameter")
        for name, end in (("foot", flute.foot), ("head", flute.head))
        if isinstance(end, End) and end.kind == "open" and end.outer_diameter is not None
    ]
    for name, key in lips:
        lip = _length(f"{name}_{key}", f"{name}: outer diameter", "pipe", (name, key))
        end = getattr(flute, name)
        # towards a sharp rim the end's length goes as s ln s, whose slope has no limit
        sharp = end.outer_diameter - bore_diameter(flute.bore, end.position) < SHARP
        yield replace(lip, down=0.0, up=SHARP) if sharp else lip
    bore = _length("bore_diameter", "bore: diameter", "pipe", ("bore", "diameter"), *lips)
    yield bore
    if isinstance(flute.head, Window):
        held = -corrections.window * _window_growth(flute, corrections, formulas)
        yield replace(
            bore, name="bore_diameter_alone", what="bore: window correction held",
            weights={**bore.weights, ("corrections", "window"): held},
        )  # fmt: skip
    if flute.holes:
        walls = [(i, "wall") for i in range(len(flute.holes))]
        yield _length("hole_walls", "finger holes: wall", "pipe", *walls)


def _window_growth(flute, corrections, formulas):
    """d(ln Delta L_w)/d(bore diameter) [1/m]."""
    head = flute.head
    sizes = head.along, head.across, head.wall
    shape = {"plug_to_window": head.plug_to_window, "ramp": head.ramp, "block": head.block}
    diameter = bore_diameter(flute.bore, -head.along / 2) + np.array([-STEP, STEP])
    length = formulas.window(*sizes, corrections.bore * diameter / 2, **shape)
    return np.diff(np.log(length))[0] / (2 * STEP)


def _of_correction(name, corrections):
    low, high = both_sides(corrections, name)
    value, is_air = getattr(corrections, name), name == "air_offset"
    unit = META[name]["unit"]
    words = name.replace("_", " ") + ("" if unit == "times" else f" [{unit}]")
    return _Quantity(
        name="temperature" if is_air else f"correction_{name}",
        what="air: temperature inside" if is_air else f"correction: {words}",
        group="air" if is_air else "corrections",
        weights={("corrections", name): 1.0},
        unit="K" if is_air else "1",
        down=value - low,
        up=high - value,
    )


def _gradient(given, quantities, root):
    """df/d(quantity) at the roots [Hz per unit], (P, N)."""
    try:
        moved = _moved(given, quantities)
    except ValueError:  # some step leads out of what can be
        ways = _all_possible(given, quantities)
        there = np.array([q.down + q.up > 0 for q in ways])
        result = np.full((len(ways), len(root)), np.nan)
        if np.any(there):
            known = [q for q, is_there in zip(ways, there, strict=True) if is_there]
            result[there] = _gradient(given, known, root)
        return result
    return root_gradient(moved.chain(), given.chain(), root, _width(given, quantities))


def _all_possible(given, quantities):
    """The quantities, with no steps that lead out of what can be a flute."""
    if len(quantities) == 1:
        return [_possible(given, quantities[0])]
    ways = []
    for some in (quantities[: len(quantities) // 2], quantities[len(quantities) // 2 :]):
        try:
            _moved(given, some)
            ways += some
        except ValueError:
            ways += _all_possible(given, some)
    return ways


def _possible(given, quantity):
    """A quantity with no step to the side where there is no such flute."""
    still = replace(quantity, down=0.0, up=0.0)
    ways = {}
    for way in ("down", "up"):
        try:
            _moved(given, [replace(still, **{way: getattr(quantity, way)})])
        except ValueError:
            continue
        ways[way] = getattr(quantity, way)
    if len(ways) == 1:
        ways = {way: min(step, ONE_SIDED) for way, step in ways.items()}
    return replace(still, **ways)


def _width(given, quantities):
    """How far apart the two sides are, (P, N)."""
    rows = given.rows
    width = np.array([[q.down + q.up] for q in quantities]) * np.ones(len(rows))
    if rows.diameter is not None:
        for line, q in enumerate(quantities):
            if q.group == "diameters":
                ((hole, _),) = q.weights
                width[line] *= rows.diameter[:, hole] / given.flute.holes[hole].diameter
    return width


def _moved(given, quantities):
    """2 P flutes on the batch axis: each quantity moved down, then each moved up."""
    off = _offsets(quantities)
    flute, rows = given.flute, given.rows
    widened = off.get(("bore", "diameter"), 0.0)
    stations = tuple((place, diameter + widened) for place, diameter in flute.bore.stations)
    moved = replace(
        flute,
        bore=Bore(stations=stations),
        holes=tuple(_with(hole, i, off) for i, hole in enumerate(flute.holes)),
        head=_with(flute.head, "head", off),
        foot=_with(flute.foot, "foot", off),
    )
    if rows.diameter is not None:
        pairs = zip(moved.holes, flute.holes, strict=True)
        ratio = join([now.diameter / written.diameter for now, written in pairs])
        rows = replace(rows, diameter=rows.diameter * ratio)
    corrections = _with(given.corrections, "corrections", off)
    return replace(given, flute=moved, rows=rows, corrections=corrections)


def _offsets(quantities: Sequence[_Quantity]):
    """What is added to each number, by (part, field), (2 P, 1, 1)."""
    off = {}
    for line, q in enumerate(quantities):
        for where, weight in q.weights.items():
            added = off.setdefault(where, np.zeros((2 * len(quantities), 1, 1)))
            added[line] -= weight * q.down
            added[len(quantities) + line] += weight * q.up
    return off


def _with(record, part, off):
    """A record with its own offsets added."""
    own = {
        key: getattr(record, key) + added for (where, key), added in off.items() if where == part
    }
    return replace(record, **own)
