"""Measured notes on a flute."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

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
    s^2 = sum (x - group mean)^2 / sum (n - 1), the usual pooled variance. A reading 50
    cents or more from its group's median is another note, a slip, and is left out (of
    two readings 100 cents apart, both).

    Examples
    --------
    >>> pooled_scatter(np.array([0.0, 2.0, 10.0, 14.0]), ["a", "a", "b", "b"])
    (2.2360680, 2)
    """
    members = defaultdict(list)
    for value, name in zip(pitch, group, strict=True):
        if name is not None:
            members[name].append(value)
    total, freedom = 0.0, 0
    for values in map(np.array, members.values()):
        kept = values[np.abs(values - np.median(values)) < _SLIP]
        if len(kept) > 1:
            total += float(np.sum((kept - kept.mean()) ** 2))
            freedom += len(kept) - 1
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
        pooled, count = pooled_scatter(
            np.asarray(pitch)[here], [g for g, inside in zip(group, here, strict=True) if inside]
        )
        if count >= LEAST_FREEDOM:
            scatter[here], behind[here] = pooled, count
        if np.any(np.isnan(stated[here])):
            words.append(_scatter_words(name, pooled, count))
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
