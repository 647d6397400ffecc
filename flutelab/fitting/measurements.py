"""Measured notes on a flute."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from flutelab.model.flute import Flute
from flutelab.model.rows import Rows

USES = ("fit", "check", "no")
_COLUMNS = ("frequency", "sd", "use", "session", "remark", "apart", "place", "from_room")
_AT_WILL = ("humidity", "freedom")
# Common practice, no source:
FLOOR = 1.5  # cents; no reading of a blown note is better
ASSUMED_FIRST, ASSUMED_ABOVE = 3.0, 10.0  # cents, first register and above
HALF_HOLE = 20.0  # cents: how a finger lies on a half-covered hole (estimate)
LEAST_FREEDOM = 4  # degrees of freedom from which a pooled scatter is believed
_SLIP = 50.0  # cents from its group's median: another note, not a scattered reading
_BY_CHANCE = 0.01  # of good sessions lose a group, by Cochran's test


@dataclass(frozen=True, kw_only=True, eq=False)
class Measurements:
    """N measured notes and the flute they belong to.

    Parameters
    ----------
    flute : Flute
    rows : Rows
        Fingering, air of the bore, register and breath of each note.
    frequency : (N,)
        Measured frequency [Hz].
    sd : (N,)
        Standard deviation of one reading [cents].
    use : tuple of str
        ``fit``, ``check`` (never fitted, predicted afterwards) or ``no``.
    session : tuple of str
        Rows of one session share an error of breath and tuner.
    remark : tuple of str
        The user's own words.
    apart : tuple of str
        Why a row is kept apart from the fit (not usual breath), else "".
    place : tuple of str
        Where the row stands, as "row 3".
    from_room : (N,) bool
        True where the bore's temperature was inferred from the room's.
    humidity : (N,) or None
        Relative humidity that the rows' air was made with, 0 to 1.
    reading : tuple of str
        What the reader inferred and the report must say.
    source : str
        The note table's name; `fingerprint` its SHA-256.
    freedom : (N,) or None
        Degrees of freedom behind each sd; inf, and None = all inf, where it was stated,
        assumed or is the least one.
    """

    flute: Flute
    rows: Rows
    frequency: np.ndarray
    sd: np.ndarray
    use: tuple[str, ...]
    session: tuple[str, ...]
    remark: tuple[str, ...]
    apart: tuple[str, ...]
    place: tuple[str, ...]
    from_room: np.ndarray
    humidity: np.ndarray | None = None
    reading: tuple[str, ...] = ()
    source: str = ""
    fingerprint: str = ""
    freedom: np.ndarray | None = None

    def __post_init__(self) -> None:
        count = len(self.rows)
        given = [name for name in _AT_WILL if getattr(self, name) is not None]
        for name in (*_COLUMNS, *given):
            length = len(getattr(self, name))
            if length != count:
                msg = f"measurements: {name} has {length} entries for {count} rows"
                raise ValueError(msg)
        if not np.all((self.frequency > 0) & (self.sd > 0)):
            msg = "measurements: every frequency and sd must be greater than 0"
            raise ValueError(msg)
        if self.freedom is not None and not np.all(self.freedom > 0):
            msg = (
                "measurements: degrees of freedom must be greater than 0; inf where none are known"
            )
            raise ValueError(msg)
        unknown = sorted(set(self.use) - set(USES))
        if unknown:
            msg = f"measurements: use is {unknown[0]!r}; write fit, check or no"
            raise ValueError(msg)


def outlying_groups(pitch: np.ndarray, group: Sequence[Hashable]) -> tuple[Hashable, ...]:
    """Return the groups whose readings lie farther apart than chance allows beside the others.

    Parameters
    ----------
    pitch, group
        As for `pooled_scatter`.

    Returns
    -------
    tuple
        The worst first.

    Notes
    -----
    Cochran's C test for outlying variances, one-sided, at 1 %, done again on what is left: the
    share C = nu s^2/sum(nu_i s_i^2) of the group with the least likely share is outlying above ::

        C = 1/(1 + (sum(nu_i)/nu - 1)/F),

    F being exceeded by 1 % / (number of groups) of F distributions of nu and sum(nu_i) - nu
    degrees of freedom. The others' scatter is taken to be 1.5 cents at least, as no reading is
    better: what rounding has made alike makes no group outlying.

    References
    ----------
    W. G. Cochran, Annals of Eugenics 11, 47 (1941); ISO 5725-2 (both from memory); the critical
    value from the F distribution is exact for groups of unequal size but for the division of
    1 % among them (Bonferroni).
    """
    squares, freedom = _squares_within(pitch, group)
    found = []
    while len(squares) > 1:
        names, sums = list(squares), np.array(list(squares.values()))
        nu = np.array([freedom[name] for name in names])
        rest = nu.sum() - nu
        others = np.maximum(sums.sum() - sums, rest * FLOOR**2)
        chance = fdtrc(nu, rest, (sums / nu) / (others / rest))
        worst = int(np.argmin(chance))
        if chance[worst] >= _BY_CHANCE / len(names):
            break
        found.append(names[worst])
        del squares[names[worst]]
    return tuple(found)


def _squares_within(pitch, group):
    """Sum of squares about the mean, and degrees of freedom, of each group, slips left out."""
    members = defaultdict(list)
    for value, name in zip(pitch, group, strict=True):
        if name is not None:
            members[name].append(value)
    squares, freedom = {}, {}
    for name, values in members.items():
        near = np.abs(values - np.median(values)) < _SLIP
        kept = np.array(values)[near]
        if len(kept) > 1:
            squares[name] = float(np.sum((kept - kept.mean()) ** 2))
            freedom[name] = len(kept) - 1
    return squares, freedom


def pooled_scatter(pitch: np.ndarray, group: Sequence[Hashable]) -> tuple[float, int]:
    """Return the scatter of repeated readings about the mean of their group.

    Parameters
    ----------
    pitch : (N,)
        Readings on a scale of cents.
    group : sequence of N
        Readings of one group repeat each other; None = no repeat of any.

    Returns
    -------
    (float, int)
        Pooled standard deviation [cents] (nan without repeats) and its degrees of
        freedom, the sum of (readings - 1) over the groups.

    Notes
    -----
    s^2 = sum (x - group mean)^2 / sum (n - 1), the usual pooled variance, without
    `outlying_groups`. A reading 50 cents or more from its group's median is another note, a
    slip, and is left out (of two readings 100 cents apart, both).

    Examples
    --------
    >>> pooled_scatter(np.array([0.0, 2.0, 10.0, 14.0]), ["a", "a", "b", "b"])
    (2.2360680, 2)
    """
    squares, freedoms = _squares_within(pitch, group)
    believed = set(squares) - set(outlying_groups(pitch, group))
    total = sum(square for name, square in squares.items() if name in believed)
    freedom = sum(freedoms[name] for name in believed)
    return (total / freedom) ** 0.5 if freedom else float("nan"), freedom


def reading_sd(
    pitch: np.ndarray,
    *,
    group: Sequence[Hashable],
    session: Sequence[str],
    register: np.ndarray,
    step: np.ndarray,
    stated: np.ndarray,
    half: np.ndarray | bool = False,
) -> tuple[np.ndarray, np.ndarray, tuple[str, ...]]:
    """Return the standard deviation of each reading, its freedom, and where it comes from.

    Parameters
    ----------
    pitch : (N,)
        Readings on a scale of cents, freed of the air's changes.
    group : sequence of N
        Repeats within a session, as for `pooled_scatter`.
    session : sequence of N str
    register : (N,)
        0 = not stated, counted as the first.
    step : (N,)
        Smallest step of each reading [cents].
    stated : (N,)
        The user's own sd [cents], which replaces all; nan = none.
    half : (N,) bool
        Readings with a half-covered hole: 20 cents more, as the finger lies (estimate).

    Returns
    -------
    sd : (N,)
        [cents]
    freedom : (N,)
        Effective degrees of freedom of sd^2; inf where it is assumed, stated or the least.
    words : tuple of str
        One sentence a session that needed one.

    Notes
    -----
    sd^2 = max(1.5^2, s^2 + step^2/12): s pooled over the session's repeats if they have 4
    degrees of freedom or more, else assumed 3 cents in the first register and 10 above;
    step^2/12 is the variance of a rounding. Floor and assumed values: common practice,
    no source. Freedom by Welch and Satterthwaite, JCGM 100:2008 (the GUM), Eq. (G.2b), of the
    pooled part alone: nu (sd^2/s^2)^2.
    """
    names = np.array(session, dtype=object)
    scatter = np.where(np.asarray(register) > 1, ASSUMED_ABOVE, ASSUMED_FIRST)
    behind, words = np.full(len(names), np.inf), []
    for name in dict.fromkeys(session):
        here = names == name
        mine = np.asarray(pitch)[here], [g for g, h in zip(group, here, strict=True) if h]
        pooled, count = pooled_scatter(*mine)
        if count >= LEAST_FREEDOM:
            scatter[here], behind[here] = pooled, count
        if np.any(np.isnan(stated[here])):
            words.append(_scatter_words(name, pooled, count))
            words += _outlying_words(name, *mine, np.flatnonzero(here))
    sd = np.sqrt(scatter**2 + np.asarray(step) ** 2 / 12)
    known = np.isnan(stated) & (scatter > 0) & (sd > FLOOR)
    sd = np.hypot(np.maximum(FLOOR, sd), np.where(half, HALF_HOLE, 0.0))
    freedom = np.full(len(names), np.inf)
    freedom[known] = behind[known] * (sd[known] / scatter[known]) ** 4
    if np.any(half & np.isnan(stated)):
        words.append(
            f"half-covered holes: {HALF_HOLE:g} cents more, as no two fingers lie alike (estimate)"
        )
    return np.where(np.isnan(stated), sd, stated), freedom, tuple(words)


def _scatter_words(session, pooled, freedom):
    if freedom >= LEAST_FREEDOM:
        return (
            f"session {session}: repeated readings scatter by {pooled:.1f} cents "
            f"({freedom} degrees of freedom; at least {FLOOR:g} cents is used)"
        )
    return (
        f"session {session}: too few repeated readings to tell their scatter; assumed "
        f"{ASSUMED_FIRST:g} cents in the first register and {ASSUMED_ABOVE:g} above "
        "(common practice, no source)"
    )


def _outlying_words(session, pitch, group, index):
    """A sentence for each group that is left out of the scatter, with the rows to look at."""
    for one in outlying_groups(pitch, group):
        mine = [n for n, name in enumerate(group) if name == one]
        rows = ", ".join(str(index[n] + 1) for n in mine)
        yield (
            f"session {session}: rows {rows} repeat one another, but lie {np.ptp(pitch[mine]):.0f} "
            "cents apart, farther than the other repeats let expect (Cochran's C test, 1 %); they "
            "are left out of the scatter, not out of the fit: look at them"
        )
