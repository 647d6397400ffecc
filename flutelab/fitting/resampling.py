"""The fit done anew on notes, or sessions, drawn from those that were measured: a bootstrap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.many import Many
from flutelab.fitting.phrases import name_of
from flutelab.fitting.progress import Progress
from flutelab.fitting.unknowns import notes_of, tables_by_flute

LEAST = 3  # groups, of which fewer tell nothing of their scatter
BLOCK = 200  # refits done together


@dataclass(frozen=True, kw_only=True, eq=False)
class Bootstrap:
    """Refits to drawn notes or sessions.

    Parameters
    ----------
    names : tuple of P str
        All unknowns of the fit.
    theta : (B, P)
        The refits that were done and lost no note.
    by : str
        What was drawn: ``note`` or ``session``; of `groups` different ones.
    asked : int
        How many refits were asked for; more than `done` where it was interrupted.
    done : int
    lost : int
        How many of those done lost a note on the way.
    seed : int
    """

    names: tuple[str, ...]
    theta: np.ndarray
    by: str
    groups: int
    asked: int
    done: int
    lost: int
    seed: int

    @property
    def sd(self) -> np.ndarray:
        """Standard deviation of each unknown, (P,)."""
        return np.std(self.theta, axis=0, ddof=1)


def bootstrap(
    calibration: Calibration,
    count: int = 1000,
    *,
    by: str = "note",
    seed: int = 1,
    progress: Progress | None = None,
    many: Many | None = None,
) -> Bootstrap:
    """Refit to notes or sessions drawn, with replacement, from those measured.

    Parameters
    ----------
    calibration : Calibration
    count : int
        How many refits.
    by : {"note", "session"}
        ``note``: a fingering in a register with all its readings is drawn, or not, as one;
        ``session``: a session with all its rows.
    seed : int
        The same seed gives the same bits.
    progress : callable, optional
        Called with how many are done, and how many were asked for.
    many : Many, optional
        The calibration made ready for refits, where it is at hand.

    Returns
    -------
    Bootstrap
        If interrupted (KeyboardInterrupt) what was done until then; `asked` tells of the rest.

    Raises
    ------
    ValueError
        Fewer than three notes or sessions, or fewer than two refits.
    KeyboardInterrupt
        Before any refit was done.

    Notes
    -----
    As many groups are drawn as there are. A group drawn twice stands for two that happened to
    read alike: both its readings and the prior of its own error (the model's of the note, or
    the session's offset) count twice, as two notes that err each for itself would; with one
    error for both, a note drawn often could never pull more than that error lets it. Within a
    group the readings share it. Doubts that no drawing of notes can show are drawn from their
    priors: each refit has prior means of its own for all unknowns but those whose errors differ
    from group to group and so are drawn with them: the model's own error of each note and, by
    session, the sessions' offsets. The result so compares with the calibration's covariance,
    without its belief in the readings' sd.

    References
    ----------
    B. Efron, Ann. Statist. 7, 1 (1979), doi:10.1214/aos/1176344552 (from memory). Draws of the
    prior means: D. S. Oliver, N. He, A. C. Reynolds, Proc. ECMOR V, Leoben 1996 (from memory).
    """
    if count < 2:
        msg = f"bootstrap: count is {count}; ask for 2 refits or more, 1000 are usual"
        raise ValueError(msg)
    keys = _keys(calibration, by)
    number = {key: n for n, key in enumerate(dict.fromkeys(keys))}
    _refuse_few(number, by)
    group = np.array([number[key] for key in keys])
    random = np.random.default_rng(seed)
    many = many or Many(calibration.problem, calibration.value)
    kinds = len(number)
    drawn = random.multinomial(kinds, np.full(kinds, 1 / kinds), size=count)
    mean = _prior_means(many.problem, by, random.normal(size=(count, len(many.theta))))
    firm = _prior_weights(many.problem, number, drawn)
    done, theta = 0, []
    try:
        for begin in range(0, count, BLOCK):
            block = slice(begin, min(begin + BLOCK, count))
            found = many.refit(
                weight=drawn[block][:, group].astype(float),
                mean=mean[block],
                prior_weight=firm[block],
            )
            theta.append(found.theta)
            done = block.stop
            if progress is not None:
                progress(done, count)
    except KeyboardInterrupt:
        if not done:
            raise
    kept = np.concatenate([some[np.all(np.isfinite(some), axis=1)] for some in theta])
    return Bootstrap(
        names=tuple(name_of(many.problem, p) for p in many.problem.parameters),
        theta=kept,
        by=by,
        groups=kinds,
        asked=count,
        done=done,
        lost=done - len(kept),
        seed=seed,
    )


def bootstrap_limits(result: Bootstrap, level: float = 0.68) -> np.ndarray:
    """Return the limits that hold the middle share `level` of the refits, (P, 2)."""
    ends = 0.5 + level * np.array([-0.5, 0.5])
    return np.quantile(result.theta, ends, axis=0).T


def _keys(calibration, by):
    """What each fitted reading is drawn with: its note and flute, or its session and table."""
    problem, keys = calibration.problem, []
    flute_of = {
        table: together[0]
        for together in tables_by_flute([part.measurements for part in problem.tables])
        for table in together
    }
    for table, part in enumerate(problem.tables):
        rows, session = part.measurements.rows, part.measurements.session
        notes = notes_of(rows, part.assigned.register)
        for row in np.flatnonzero(part.kept):
            key = {"note": (flute_of[table], notes[row]), "session": (table, session[row])}
            if by not in key:
                msg = f"bootstrap: by is {by!r}; use 'note' or 'session'"
                raise ValueError(msg)
            keys.append(key[by])
    return keys


def _refuse_few(number, by):
    if len(number) < LEAST:
        what = by if len(number) == 1 else f"{by}s"
        mend = " (or by='note')" if by == "session" else ""
        msg = (
            f"bootstrap by {by}: {len(number)} {what} cannot show how they scatter; "
            f"measure at least {LEAST}{mend}"
        )
        raise ValueError(msg)


def _prior_weights(problem, number, drawn):
    """How often the prior of each unknown counts in each refit, (B, P)."""
    weights = np.ones((len(drawn), len(problem.parameters)))
    for i, p in enumerate(problem.parameters):
        key = (p.tables[0], p.note) if p.note is not None else (p.table, p.session)
        if key in number:
            weights[:, i] = np.maximum(drawn[:, number[key]], 1)  # none of its readings: nothing
    return weights


def _prior_means(problem, by, normal):
    """Prior means of each refit (B, P), kept within the limits."""
    with_group = [
        p.note is not None or (by == "session" and p.session is not None)
        for p in problem.parameters
    ]
    limits = np.array([(p.prior.lower, p.prior.upper) for p in problem.parameters]).T
    drawn = problem.mean + np.where(with_group, 0.0, normal) * problem.unit
    return np.clip(drawn, *limits)
