"""Several flutes of a kind: how their own corrections scatter, and what the next will have."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag

from flutelab.fitting.calibrate import OWN, Calibration, least_seen
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.problem import Problem
from flutelab.fitting.unknowns import OF_A_DAY
from flutelab.model.corrections import Corrections, Spread
from flutelab.model.rows import take

SCATTER = np.geomspace(0.02, 4.0, 60)  # of the flutes about their mean, in prior sd
HELD = 1e6  # precision, in prior sd, of what is at a limit
ROUNDS = 4  # of finding each correction's scatter beside the others'


@dataclass(frozen=True, kw_only=True)
class NextFlute:
    """The corrections of a flute of the same kind, not measured yet.

    ``corrections`` and ``spread`` hold what is shared, and for what each flute has for
    itself the mean of a next one with the flutes' scatter in the spread; that day's air errs
    anew. ``scatter`` = for each own correction its scatter from flute to flute, in its own
    unit: (16 %, 50 %, 84 %) of what is believed after the notes. ``flutes`` = how many there
    were.
    """

    corrections: Corrections
    spread: Spread
    scatter: Mapping[str, tuple[float, float, float]]
    flutes: int


def next_flute(calibration: Calibration) -> NextFlute:
    """Return what is known of the next flute's corrections.

    Parameters
    ----------
    calibration : Calibration
        Of two flutes or more that have corrections of their own, as
        ``calibrate(first, second, own=("window", "bore", "air_offset"))``.

    Returns
    -------
    NextFlute

    Raises
    ------
    ValueError
        No correction belongs to each flute for itself.

    Notes
    -----
    Each own correction of flute k is mu + d_k with d_k normal about 0, its sd (the scatter)
    unknown. mu has the correction's prior, the scatter a half-normal one of the same sd: of the
    bore the widest of the flutes', the usual 1 % where one states nothing (`usual_priors`).
    What a flute states more closely of its own bore counts as a reading of that one. The
    fit is taken as linear about its optimum, readings as far widened as it widened them, and what
    is at a limit as held there. mu and d_k are integrated exactly, the scatter
    over 60 values, one correction's at a time beside the likeliest of the others'. The
    model is that of the one-way layout with random effects (A. Gelman and others, Bayesian
    Data Analysis, section 5.4; from memory).
    """
    problem = calibration.problem
    own = _own(problem)
    if not own:
        msg = (
            "next_flute: no correction belongs to each flute for itself; calibrate two or more "
            "flutes with own=('window', 'bore', 'air_offset'), say"
        )
        raise ValueError(msg)
    data = _Data(calibration, own)
    likeliest = dict.fromkeys(own, 1.0)
    for _ in range(ROUNDS):
        for name in own:
            evidence = [data.evidence(likeliest | {name: t}) for t in SCATTER]
            likeliest[name] = float(SCATTER[np.argmax(evidence)])
    mixtures = {name: data.weights(name, likeliest) for name in own}
    mean, covariance = data.next_of_all(likeliest, mixtures)
    return NextFlute(
        **_known(calibration, own, mean, covariance),
        scatter={
            name: tuple(_quantiles(mixtures[name]) * calibration.priors[name].sd) for name in own
        },
        flutes=max(len(members) for members in own.values()),
    )


def for_next_flute(calibration: Calibration, own: Sequence[str]) -> Calibration:
    """Return a calibration whose corrections and spread are those of the next flute.

    Parameters
    ----------
    calibration : Calibration
    own : sequence of str
        What each flute has for itself. Where that is no more than the bore and the air, or
        there is one flute only, the calibration is returned as it is: those are measured
        anew on the next.
    """
    if set(own) <= set(OWN) or not _own(calibration.problem):
        return calibration
    found = next_flute(calibration)
    blind, doubt = least_seen(found.spread, calibration.priors, calibration.free)
    return replace(
        calibration,
        corrections=found.corrections, spread=found.spread, blind=blind, doubt_left=doubt,
    )  # fmt: skip


def at_limit(calibration: Calibration) -> np.ndarray:
    """Return which unknowns are at a limit of theirs (P,)."""
    limits = [(p.prior.lower, p.prior.upper) for p in calibration.parameters]
    low, high = np.transpose(limits)
    return (calibration.value <= low) | (calibration.value >= high)


def _own(problem: Problem) -> dict[str, list[int]]:
    """The unknowns of each correction that several flutes have for themselves."""
    members: dict[str, list[int]] = {}
    for index, p in enumerate(problem.parameters):
        if p.is_correction and p.table is not None and p.name not in OF_A_DAY:
            members.setdefault(p.name, []).append(index)
    return members


class _Data:
    """What the notes alone say of all unknowns, in prior sd, and of the next flute's."""

    def __init__(self, calibration, own):
        problem, own_count = calibration.problem, len(own)
        x = (calibration.value - problem.mean) / problem.unit
        rows = len(problem.measured)
        slope, off = problem.jacobian(x)[:rows], problem.residuals(x)[:rows]
        # readings that scatter more than their sd count as much less as in the fit's own errors
        weight = 1 / calibration.widened**2
        held = HELD * at_limit(calibration)
        self.own, self.count = own, len(x)
        # of the prior sd that all flutes' scatter is counted in: what each unknown's own is
        self.part = {n: problem.unit[some] / calibration.priors[n].sd for n, some in own.items()}
        closer = np.zeros(self.count)  # precision stated beyond that common prior
        for name, members in own.items():
            closer[members] = 1 - self.part[name] ** 2
        size = self.count + own_count  # the next flute's own come last
        self.notes = np.zeros((size, size))
        self.notes[: self.count, : self.count] = weight * slope.T @ slope + np.diag(held + closer)
        self.pull = np.zeros(size)
        self.pull[: self.count] = weight * slope.T @ (slope @ x - off) + held * x

    def _prior(self, scatter):
        """Prior covariance, mu integrated out: scatter^2 I + 1, in the common prior's sd."""
        size = len(self.pull)
        prior = np.eye(size)
        for line, (name, members) in enumerate(self.own.items()):
            some = [*members, self.count + line]
            own_sd = np.append(self.part[name], 1.0)
            alike = scatter[name] ** 2 * np.eye(len(some)) + 1.0
            prior[np.ix_(some, some)] = alike / np.outer(own_sd, own_sd)
        return prior

    def posterior(self, scatter):
        """Mean and covariance of all unknowns for given scatters."""
        covariance = np.linalg.inv(self.notes + np.linalg.inv(self._prior(scatter)))
        return covariance @ self.pull, covariance

    def evidence(self, scatter):
        """Logarithm of the probability of the notes for given scatters, and of these."""
        mean, _ = self.posterior(scatter)
        prior = self._prior(scatter)
        _, spread = np.linalg.slogdet(np.eye(len(prior)) + prior @ self.notes)
        half_normal = -0.5 * sum(t**2 for t in scatter.values())
        return 0.5 * (self.pull @ mean - spread) + half_normal

    def weights(self, name, likeliest):
        """How likely each value of `SCATTER` is."""
        evidence = np.array([self.evidence(likeliest | {name: t}) for t in SCATTER])
        weight = np.exp(evidence - np.max(evidence)) * np.gradient(SCATTER)
        return weight / np.sum(weight)

    def next_of_all(self, likeliest, mixtures):
        """Mean and covariance, each own correction's scatter averaged over what is likely."""
        mean, covariance = self.posterior(likeliest)
        moved, more = np.zeros_like(mean), np.zeros_like(covariance)
        for name, weight in mixtures.items():
            each = [self.posterior(likeliest | {name: t}) for t in SCATTER]
            middle = sum(w * m for w, (m, _) in zip(weight, each, strict=True))
            wide = sum(
                w * (c + np.outer(m - middle, m - middle))
                for w, (m, c) in zip(weight, each, strict=True)
            )
            moved, more = moved + middle - mean, more + wide - covariance
        return mean + moved, covariance + more


def _quantiles(weight):
    cumulated = np.cumsum(weight) - 0.5 * weight
    return np.interp((0.16, 0.5, 0.84), cumulated, SCATTER)


def _known(calibration, own, mean, covariance):
    """The next flute's corrections and their spread, that day's air erring anew."""
    problem, priors = calibration.problem, calibration.priors
    shared = [i for i, p in enumerate(problem.parameters) if p.is_correction and p.table is None]
    index = [*shared, *(len(problem.parameters) + line for line in range(len(own)))]
    names = [*(problem.parameters[i].name for i in shared), *own]
    prior_mean = np.array([priors[name].mean for name in names])
    sd = np.array([priors[name].sd for name in names])
    values = prior_mean + sd * mean[index]
    limits = [(priors[name].lower, priors[name].upper) for name in names]
    values = [float(np.clip(v, *limit)) for v, limit in zip(values, limits, strict=True)]
    rest = [n for n in calibration.spread.names if n not in names]
    kept = [calibration.spread.names.index(n) for n in rest]
    block = covariance[np.ix_(index, index)] * np.outer(sd, sd)
    for line, i in enumerate(shared):  # a limit is no knowledge of what lies at it
        if at_limit(calibration)[i]:
            block[line, line] = calibration.covariance[i, i]
    full = block_diag(
        block,
        calibration.spread.covariance[np.ix_(kept, kept)],
    )
    return {
        "corrections": replace(problem.start, **dict(zip(names, values, strict=True))),
        "spread": Spread(names=(*names, *rest), covariance=full),
    }


def by_session(measured: Measurements) -> tuple[Measurements, ...]:
    """Return one table for each session of a table, so that each has air of its own."""
    sessions = np.array(measured.session, dtype=object)
    return tuple(_some(measured, np.flatnonzero(sessions == s)) for s in dict.fromkeys(sessions))


def _some(measured, index):
    """Some rows of a table."""
    count, own = len(measured.rows), {}
    for name, value in vars(measured).items():
        if name in ("flute", "rows", "source", "fingerprint", "reading") or value is None:
            continue
        if isinstance(value, np.ndarray):
            own[name] = value[index]
        elif len(value) == count:
            own[name] = tuple(value[i] for i in index)
    return replace(measured, rows=take(measured.rows, index), **own)
