"""Is the model worth it: notes left out, foretold by rules of thumb, book and calibration."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from flutelab.fitting.calibrate import Calibration, calibrate
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.problem import subset
from flutelab.fitting.unknowns import notes_of, tables_by_flute
from flutelab.model.byhand import RULES, by_hand
from flutelab.model.flute import End, Flute
from flutelab.model.notes import CENT
from flutelab.model.rows import Rows, distinct, take

HAND = tuple(name for name in RULES if name != "cut")  # that is the model again
BOOK, CALIBRATED = "book", "calibrated"
FITTED = " + constant"  # ends the name of a way that one constant is fitted to
FREE = 1e4  # cents: a constant with this sd is as good as free
AT_LIMIT = 1e-6  # prior sd
CLEAR = 2.0  # standard errors


@dataclass(frozen=True, kw_only=True, eq=False)
class Worth:
    """How far left-out notes lie from what W ways foretell of them.

    Parameters
    ----------
    ways : tuple of W str
        Rules of thumb (`HAND`: those of `flutelab.model.byhand` that need no model), the
        lattice as the book has it (`BOOK`), each also with a constant fitted (`FITTED`), and
        the lattice calibrated (`CALIBRATED`).
    flutes : tuple of str
        Names of the flutes.
    flute : (G,) int
        Which flute each of the G notes belongs to.
    label : tuple of G str
        Fingering words.
    register : (G,)
    note_out : (W, G)
        Measured over foretold [cents], mean of the note's readings, all of which were left
        out; nan where a way says nothing.
    flute_out : (W, G) or None
        The same with every reading of the flute left out; None for a single flute.
    noise : (G,)
        Standard deviation of the mean of the note's readings [cents].
    """

    ways: tuple[str, ...]
    flutes: tuple[str, ...]
    flute: np.ndarray
    label: tuple[str, ...]
    register: np.ndarray
    note_out: np.ndarray
    flute_out: np.ndarray | None
    noise: np.ndarray


def is_it_worth_it(*measurements: Measurements) -> Worth:
    """Return how well each way foretells notes that it has not been shown.

    Parameters
    ----------
    *measurements : Measurements
        One or several tables; rows that `calibrate` fits are used.

    Returns
    -------
    Worth

    Raises
    ------
    ValueError
        Fewer than two notes: nothing is left to foretell from.
    FitError
        No row can be fitted.

    Notes
    -----
    A note is a fingering and register of a flute; all its readings are left out together.
    With a flute left out, its own bore, air and sessions are at their prior means. A rule
    says n times its first register of register n. A fitted constant [cents] is one for all
    flutes; with it go the offsets of the sessions, each held by its usual 5 cents, as in the
    calibration.

    Leaving out rows g of a linear fit with hat matrix H leaves residuals (I - H_gg)^-1 r_g
    (exact for least squares, textbook statistics). For the calibration that is taken at the
    optimum of all notes; refits differ by 0.3 cents or less, for a note that lies 20 cents
    and more from the others by 5 % of that.
    """
    result = calibrate(*measurements, free=())
    problem = result.problem
    flutes = tables_by_flute(problem.tables)
    of_table = {table: n for n, tables in enumerate(flutes) for table in tables}
    flute = np.concatenate(
        [np.full(np.sum(t.kept), of_table[n]) for n, t in enumerate(problem.tables)]
    )
    note = [(of_table[n], *key) for n, t in enumerate(problem.tables) for key in _notes(t)]
    keys = list(dict.fromkeys(note))
    if len(keys) < 2:
        msg = "one note alone: measure at least two, so that one can be foretold from the other"
        raise ValueError(msg)
    ways = _offs(result)
    several = len(flutes) > 1
    by_note = _each_way(result, ways, note)
    by_flute = _each_way(result, ways, flute.tolist())
    members = np.array([[one == key for one in note] for key in keys], dtype=float)
    mean = members / members.sum(axis=1, keepdims=True)
    return Worth(
        ways=tuple(by_note),
        flutes=tuple(problem.tables[tables[0]].measurements.flute.name for tables in flutes),
        flute=np.array([key[0] for key in keys]),
        label=tuple(key[1] for key in keys),
        register=np.array([key[2] for key in keys]),
        note_out=np.array(list(by_note.values())) @ mean.T,
        flute_out=np.array(list(by_flute.values())) @ mean.T if several else None,
        noise=np.sqrt(mean**2 @ problem.sd**2),
    )


def size_of(error: np.ndarray) -> tuple[float, float, float, int]:
    """Return (rms, median size, worst size) [cents] of errors (G,), and of how many notes.

    Examples
    --------
    >>> size_of(np.array([3.0, -4.0, np.nan]))
    (3.5355339, 3.5, 4.0, 2)
    """
    known = np.abs(error[np.isfinite(error)])
    if not known.size:
        return np.nan, np.nan, np.nan, 0
    rms = float(np.sqrt(np.mean(known**2)))
    return rms, float(np.median(known)), float(np.max(known)), int(known.size)


def rival(ways: Sequence[str], error: np.ndarray) -> tuple[str, float]:
    """Return the best way other than the calibration, and how clearly that betters it.

    Parameters
    ----------
    ways : sequence of W str
    error : (W, G)

    Returns
    -------
    str
        The way with the least rms.
    float
        Mean by which the sizes of its errors exceed the calibration's, in standard errors;
        2 and more is clear, about 0 is no difference, below -2 the calibration is worse.
    """
    sizes = [size_of(row)[0] for row in error]
    others = [n for n, way in enumerate(ways) if way != CALIBRATED and np.isfinite(sizes[n])]
    best = min(others, key=sizes.__getitem__)
    gain = np.abs(error[best]) - np.abs(error[ways.index(CALIBRATED)])
    gain = gain[np.isfinite(gain)]
    if len(gain) < 2 or not np.ptp(gain):
        return ways[best], 0.0
    return ways[best], float(np.mean(gain) / (np.std(gain, ddof=1) / np.sqrt(len(gain))))


def _notes(part):
    """What makes each fitted row of a table the same note."""
    m, kept = part.measurements, part.kept
    rows = subset(m.rows, kept, part.assigned.register)
    return notes_of(rows, rows.register)


def _offs(result: Calibration) -> dict[str, np.ndarray]:
    """Measured over rule and over book [cents] of all fitted rows, by way."""
    said, book = [], []
    for part, table in zip(result.tables, result.problem.tables, strict=True):
        m = part.measurements
        said.append(by_rules(m.flute, subset(m.rows, table.kept, part.register)))
        book.append(part.book[table.kept])
    pitch = np.log(result.problem.measured) / CENT
    return {
        **{
            name: pitch - np.log(line) / CENT
            for name, line in zip(HAND, np.hstack(said), strict=True)
        },
        BOOK: pitch - np.log(np.concatenate(book)) / CENT,
    }


def by_rules(flute: Flute, rows: Rows) -> np.ndarray:
    """Return what each of R rules of thumb, `HAND`, says of N rows [Hz], (R, N).

    nan where the flute is stopped. The endless row says nothing of fewer than two open
    holes: there it is the hole with its tail.
    """
    ends = [end for end in (flute.head, flute.foot) if isinstance(end, End)]
    if any(end.kind == "stopped" for end in ends) or not len(rows):
        return np.full((len(HAND), len(rows)), np.nan)
    index, inverse = distinct(rows)
    said = dict(zip(RULES, by_hand(flute, take(rows, index)).frequency, strict=True))
    said["row"] = np.where(np.isfinite(said["row"]), said["row"], said["one hole"])
    return np.array([said[name] for name in HAND])[:, inverse] * rows.register


def _each_way(result, offs, group):
    """Errors [cents] of all rows with their group left out, by way."""
    problem = result.problem
    sessions = [p.session is not None for p in problem.parameters]
    unit = problem.unit[sessions]
    jacobian = problem.gradients(result.value)
    constant = np.full((len(jacobian), 1), FREE)
    columns = np.hstack([constant, unit * jacobian[:, sessions]])
    found = {}
    for way, off in offs.items():
        found[way] = off
        found[way + FITTED] = _left_out(off, columns, problem.sd, group)
    left, free = problem.cents(result.value), _off_their_limits(result)
    columns = (problem.unit * jacobian)[:, free]
    found[CALIBRATED] = _left_out(left, columns, problem.sd, group, fitted=True)
    return found


def _off_their_limits(result):
    """Which unknowns can move both ways (P,)."""
    limits = np.array([(p.prior.lower, p.prior.upper) for p in result.parameters])
    return np.min(np.abs(limits - result.value[:, None]), axis=1) > AT_LIMIT * result.problem.unit


def _left_out(off, columns, sd, group: Sequence[Hashable], *, fitted=False):
    """Errors of rows (N,) by a linear fit without their group; `columns` (N, P) in prior sd."""
    known = np.isfinite(off)
    scaled = columns[known] / sd[known, None]
    inverse = np.linalg.inv(scaled.T @ scaled + np.eye(columns.shape[1]))
    hat = scaled @ inverse @ scaled.T
    z = off[known] / sd[known]
    z = z if fitted else z - hat @ z
    names = [name for name, has in zip(group, known, strict=True) if has]
    error = np.empty_like(z)
    for name in dict.fromkeys(names):
        here = np.array([one == name for one in names])
        own = hat[np.ix_(here, here)]
        error[here] = np.linalg.solve(np.eye(len(own)) - own, z[here])
    result = np.full(len(off), np.nan)
    result[known] = error * sd[known]
    return result
