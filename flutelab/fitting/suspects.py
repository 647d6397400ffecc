"""Rows, holes and mistakes that do not fit: what each would explain, beside what chance would.

Nothing is left out of a calibration here; this only names what to look at.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.fitting.assign import assign
from flutelab.fitting.calibrate import DEFAULT_FREE, OWN, Calibration
from flutelab.fitting.causes import STANDARD_A4, Cause
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.problem import Problem
from flutelab.fitting.search import Found, Search
from flutelab.fitting.slips import as_written, readings_of
from flutelab.fitting.trimmed import Trimmed, left_over
from flutelab.fitting.unknowns import Table, by_geometry, parameters_of, usual_priors
from flutelab.model.corrections import Corrections
from flutelab.model.notes import CENT

ALIKE = 0.85  # of the best explanation's worth: named beside it
CLOSE = 4.0  # in -2 ln likelihood: the same
_ABOUT = {"ends": "table", "a4": "table", "temperature": "table", "sizes": "flute",
          "mirrored": "flute", "inch": "flute"}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """What does not fit, with its likely cause.

    ``kind``: what it is about, a ``row``, ``hole``, ``table`` or ``flute``. ``cause``: a
    ``slip`` (of a row, unknown) or what `Cause` lists. ``table`` (of a flute's, the first)
    and ``index`` (of the row or hole, else -1) count from 0. ``amount``: a row's measured
    over predicted pitch when it is left out [cents]; what a hole's diameter or place is
    over the written one [m]; how far a table's notes stand too high for its ``a4`` [cents];
    the kelvins that a ``temperature`` is over the written one; the factor from an ``inch``
    dimension as written to the true one. ``name``: the fingering that was played, the
    dimension; ``value``: the register, the factor of an ``octave``, the a4 [Hz] beside
    440.

    ``worth`` = how much chi2 falls when the row is left out or the cause mended; beside
    it ``chance``, what that fall must exceed, as chance alone seldom makes it (see
    `flutelab.fitting.search.CHANCE`). ``or_else`` = others that explain nearly as much; an
    a4 beside a temperature always.
    """

    kind: str
    cause: str
    table: int
    index: int = -1
    amount: float = 0.0
    name: str = ""
    value: float = 0.0
    worth: float
    chance: float
    or_else: tuple[Suspect, ...] = ()

    @property
    def of_one_hole(self) -> tuple[Suspect, ...]:
        """What may be off at a suspicious hole, the likelier first: its diameter, place, or either.

        Either explains about as much by an ``amount`` of its own: one mistake, a hole that is
        not drilled as written, which only a caliper takes apart. Empty of other kinds.
        """
        if self.kind != "hole":
            return ()
        return (self, *(o for o in self.or_else if (o.kind, o.index) == ("hole", self.index)))


def suspects(calibration: Calibration) -> tuple[Suspect, ...]:
    """Return what does not fit, most telling first, each with its likely cause.

    Parameters
    ----------
    calibration : Calibration

    Returns
    -------
    tuple of Suspect
        Empty where chance explains the residuals. Chance alone names a row in 0.5 % of good
        tables, a hole in 0.6 %, a mistake of the whole in 0.3 % at most, and a flat shift in
        7.5 %: ten degrees, or 432 for 440, are hardly more than what session and window may
        hide, so that it is named early, to be looked at.

    Notes
    -----
    The notes are fitted anew with each mistake mended. In every such fit any row may be
    left out at a price, rows too far from any register among them: the fall of chi2 that
    chance alone would give. A mistake has its family's price. The best is taken up while
    that lowers chi2 and prices together, and the search repeated; one that a later find
    makes needless is dropped. Rows still left out are named, each with the reading of
    register, octave or fingering that fits, if one does.
    """
    return _last(suspects_by_steps(calibration))


def suspects_by_steps(calibration: Calibration) -> Generator[None, None, tuple[Suspect, ...]]:
    """Return what `suspects` does, with a pause after each refit.

    Parameters
    ----------
    calibration : Calibration

    Yields
    ------
    None
        For whoever shows how far the search is, or lets others speak, or gives it up.
    """
    return _named(calibration.problem, calibration.free)


def _last(steps):
    """Run steps to their end, and return what that is."""
    while True:
        try:
            next(steps)
        except StopIteration as end:
            return end.value


def suspects_unfitted(
    *measurements: Measurements, free: Sequence[str] = DEFAULT_FREE
) -> tuple[Suspect, ...]:
    """Return what does not fit where `calibrate` finds no row near enough to fit any.

    Parameters
    ----------
    *measurements : Measurements
    free : sequence of str
        As in `calibrate`.

    Returns
    -------
    tuple of Suspect
        As `suspects`.
    """
    priors = usual_priors(measurements)
    start = Corrections(**{name: prior.mean for name, prior in priors.items()})
    with already_warned():
        tables = [_unfitted(m, start) for m in measurements]
    own_priors = [usual_priors((m,)) for m in measurements]
    own = OWN if len(measurements) > 1 else ()
    parameters = parameters_of(tables, priors, own_priors, own, breath_known=False)
    return _last(_named(Problem(tuple(tables), parameters, start), free))


def _unfitted(measured, start):
    assigned = assign(measured, start)
    asked = replace(measured.rows, register=assigned.register)
    return Table(
        measurements=measured,
        assigned=assigned,
        kept=np.zeros(len(asked), bool),
        by_geometry=by_geometry(measured.flute, asked, assigned.root, start),
    )


def _named(problem, free):
    search = Search(problem, free)
    if not search.rows:  # every row is marked as not to be used
        return ()
    found = yield from search.found()
    rows = []
    for number in np.flatnonzero(~found.fit.kept):
        rows.append(_row(search, found, int(number)))
        yield
    every = [*_mistakes(search, found), *rows]
    return tuple(sorted(every, key=lambda s: s.chance - s.worth))


def _mistakes(search, found: Found):
    for cause, without, tried in zip(found.causes, found.without, found.others, strict=True):
        suspect = _suspect(search, cause, found.fit, without)
        others = [_suspect(search, one.cause, one.fit, without) for one in tried]
        others = tuple(o for o in others if _beside(suspect, o))
        yield replace(suspect, or_else=others)


def _beside(suspect, other):
    """Whether another mistake belongs beside one."""
    flat = ("a4", "temperature")
    pair = suspect.cause in flat and other.cause in flat and suspect.table == other.table
    return pair or other.worth > min(ALIKE * suspect.worth, suspect.worth - CLOSE)


def _suspect(search, cause: Cause, fit: Trimmed, without: Trimmed) -> Suspect:
    return Suspect(
        kind="hole" if cause.of_hole else _ABOUT[cause.what],
        cause=cause.what,
        table=cause.tables[0],
        index=cause.index,
        amount=_amount(cause, fit),
        name=cause.name,
        value=cause.value if cause.what == "a4" else 0.0,
        worth=without.total - fit.total,
        chance=search.price_of(cause),
    )


def _amount(cause, fit):
    parameters = fit.problem.parameters
    if cause.of_hole:
        names = [(p.name, p.tables) for p in parameters]
        return cause.value + float(fit.theta[names.index((cause.quantity, cause.tables))])
    if cause.what == "temperature":
        return float(
            sum(
                value
                for p, value in zip(parameters, fit.theta, strict=True)
                if p.name == "air_offset" and p.concerns(cause.tables[0])
            )
        )
    if cause.what == "a4":
        return float(np.log(STANDARD_A4 / cause.value) / CENT)
    return cause.value


def _row(search, found: Found, number) -> Suspect:
    """A row that is left out, with the reading of it that fits best."""
    fit = found.fit
    given = search.problem, search.free, found.causes, fit, search.rows, number
    written = as_written(*given)
    if np.isnan(written):
        written = fit.chi2 + _square_left(fit, number)
    all_ways = [
        _row_suspect(search, fit, number, reading, written) for reading in readings_of(*given)
    ]
    best, against = all_ways[0]
    others = [s for s, other in all_ways[1:] if other < against + CLOSE and s.cause != "slip"]
    for one in found.further:
        if one.fit.kept[number] and one.fit.total < written - ALIKE * best.worth + (
            fit.total - fit.chi2 - search.price["row"]
        ):
            others.append(_suspect(search, one.cause, one.fit, fit))
    return replace(best, or_else=tuple(others))


def _square_left(fit, number):
    """The square of what a row leaves, in sd; its price at least where it has no mode."""
    left = left_over(fit)[number]
    return float(left) if np.isfinite(left) else fit.total - fit.chi2


def _row_suspect(search, fit, number, reading, written):
    table, row = search.rows[number]
    cause = reading.cause
    suspect = Suspect(
        kind="row",
        cause="slip" if cause is None else cause.what,
        table=table,
        index=row,
        amount=float(fit.around.cents[number]),
        name="" if cause is None else cause.name,
        value=0.0 if cause is None else cause.value,
        worth=written - reading.chi2,
        chance=search.price["row"],
    )
    return suspect, reading.against
