"""Corrections that the notes do not see, and the one more note that would help most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from flutelab.errors import already_warned
from flutelab.fitting.measurements import ASSUMED_ABOVE, ASSUMED_FIRST
from flutelab.fitting.phrases import name_of, noun_of
from flutelab.fitting.problem import Problem
from flutelab.fitting.unknowns import by_geometry
from flutelab.model.flute import Flute
from flutelab.model.notes import predict_notes
from flutelab.model.rows import Rows, rows

BLIND = 0.8  # sd after over before, above which the notes do not see
HELPS = 0.99  # of the sd: an added note that leaves more is no help
UNHEARD = 1e-9  # cents a prior sd
_BARE = {True: "the bare pipe before any hole is drilled", False: "the pipe"}
# What it takes for a correction to be in the fit at all.
_ASKS = {
    "breath": "no fitted note has a blowing pressure (column breath_pa or breath_mm_water)",
    "jet": "no fitted note was read without breath (column how = driven)",
}


class Fitted(Protocol):
    """What is asked of a `Calibration`."""

    held: tuple[str, ...]
    problem: Problem
    value: np.ndarray
    covariance: np.ndarray
    free: tuple[str, ...]
    widened: float


@dataclass(frozen=True, kw_only=True)
class Unseen:
    """A reported correction that the notes do not see, and the note that would help most.

    ``sd_left``, and ``sd_then`` with one more reading of ``note`` in ``register`` on
    ``flute``: sd over the prior's. ``note`` is None where no single reading helps. What a
    flute does not have (a window, holes) is never in it. ``widened``: the fit found readings to
    scatter more than their sd.
    """

    correction: str
    said: str
    sd_left: float
    note: str | None
    register: int
    flute: str
    sd_then: float
    widened: bool = False


def unseen_words(unseen: Unseen) -> str:
    """Return in a sentence what the notes leave of a correction's doubt, and what would help."""
    percent = f"{100 * unseen.sd_left:.0f} %"
    told = f"the notes leave {percent} of its doubt"
    if unseen.sd_left > 1 and unseen.widened:
        told = f"the notes scatter so much that its doubt has grown to {percent}"
    elif unseen.sd_left > 1:
        told = f"its doubt is {percent} of what it was before these notes"
    left = f"{unseen.said}: {told}"
    if unseen.note is None:
        return f"{left}; no single further note would help"
    word = unseen.note if set(unseen.note) - {"n"} else _BARE[bool(unseen.note)]
    overblown = " (overblown)" if unseen.register > 1 else ""
    return (
        f"{left}; one more reading, of {word}{overblown} on {unseen.flute!r}, would leave "
        f"{100 * unseen.sd_then:.0f} %"
    )


def crossings(flute: Flute) -> list[str]:
    """Return the bare pipe, then every fingering with at most one closed row below open holes.

    Examples
    --------
    >>> from flutelab.model.flute import Bore, End, Hole
    >>> pipe = Flute(
    ...     name="two", bore=Bore(stations=((0.0, 0.016),)),
    ...     holes=tuple(Hole(position=x, diameter=0.006, wall=0.003) for x in (0.1, 0.2)),
    ...     head=End(position=0.0), foot=End(position=0.3),
    ... )
    >>> crossings(pipe)
    ['nn', 'xx', 'xo', 'oo', 'ox']
    """
    count = len(flute.holes)
    words = ["n" * count]
    for gap in range(count):
        for closed in range(count, -1, -1):
            for opened in range(1 if gap else 0, count - closed - gap + 1):
                below = count - closed - opened - gap
                if gap or not opened:
                    words.append("x" * closed + "o" * opened + "x" * gap + "o" * below)
    return list(dict.fromkeys(words))


def unseen_of(calibration: Fitted) -> list[Unseen]:
    """Return the reported corrections that the notes do not see, as in `what_data_tell`."""
    problem, theta = calibration.problem, np.asarray(calibration.value)
    covariance = calibration.covariance / np.outer(problem.unit, problem.unit)
    sd = np.sqrt(np.diag(covariance))
    blind = [
        i
        for i, p in enumerate(problem.parameters)
        if p.is_correction and p.name in calibration.free and sd[i] > BLIND
    ]
    tables = range(len(problem.tables)) if blind else ()
    added = [note for table in tables for note in _added(problem, theta, table)]
    gradient = np.array([g for *_, g in added]).reshape(len(added), len(sd))
    noise = calibration.widened * np.array([s for *_, s, _ in added])
    shared = gradient @ covariance
    fall = shared**2 / (noise**2 + np.einsum("kp,kp->k", shared, gradient))[:, None]
    has_it = np.any(np.abs(gradient) > UNHEARD, axis=0)
    found = [_helped(problem, i, sd[i], added, fall[:, i]) for i in blind if has_it[i]]
    return [replace(one, widened=calibration.widened > 1) for one in found]


def untold_words(calibration: Fitted, unheard: Sequence[str]) -> list[str]:
    """Return in a sentence each the reported corrections of which no note can tell, and why.

    Parameters
    ----------
    calibration : Calibration
    unheard : sequence of str
        Those in the fit that move none of its notes; of them only what no further note of
        these flutes would move is told, see `unseen_of` for the others.
    """
    problem = calibration.problem
    fitted = {p.name for p in problem.parameters if p.is_correction}
    helped = {unseen.correction for unseen in unseen_of(calibration)}
    lines = []
    for name in calibration.free:
        mine = [name_of(problem, p) for p in problem.parameters if p.name == name]
        if name not in fitted:
            why = _ASKS.get(name, "it has no usual error to be fitted within: give it a prior")
            why = "it is held" if name in calibration.held else why
            lines.append(f"{name} is asked for but not fitted: {why}; it stays as it was assumed")
        elif all(one in unheard and one not in helped for one in mine):
            lines.append(
                f"{name} is asked for, but these flutes have nothing that it acts on: it stays as "
                "it was assumed"
            )
    return lines


def _helped(problem, i, sd, added, fall):
    """A correction with the added note that takes most from its variance."""
    best = int(np.argmax(fall))
    then = np.sqrt(sd**2 - fall[best])
    note, register, flute, *_ = added[best] if then < HELPS * sd else (None, 1, "")
    p = problem.parameters[i]
    return Unseen(
        correction=name_of(problem, p), said=noun_of(problem, p), sd_left=float(sd),
        note=note, register=register, flute=flute, sd_then=float(then),
    )  # fmt: skip


def _added(problem, theta, table):
    """(note, register, flute, sd [cents], gradient [cents per prior sd]) of further notes."""
    part = problem.tables[table]
    if not np.any(part.kept):
        return
    m = part.measurements
    words, first = crossings(m.flute), int(np.argmax(part.kept))
    asked = rows(
        m.flute, words * 2, air=_air_of(m.rows, first), register=np.repeat([1, 2], len(words))
    )
    corrections = problem.corrections(theta, table)
    with already_warned():
        found = predict_notes(m.flute, asked, corrections)
        geometry = by_geometry(m.flute, asked, found.root, problem.start)
    sessions = [m.session[first]] * len(asked)
    linear = problem.linear_columns(table, asked, sessions, geometry)
    with already_warned():
        gradient = problem.gradient(theta, table, asked, found.root, linear) * problem.unit
    sd = _usual_sd(problem, table, asked)
    for row in np.flatnonzero(found.status == "ok"):
        yield asked.label[row], int(asked.register[row]), m.flute.name, sd[row], gradient[row]


def _air_of(some: Rows, row):
    leaves = {k: v[row] if np.ndim(v) else v for k, v in vars(some.air).items()}
    return type(some.air)(**leaves)


def _usual_sd(problem, table, asked):
    """The sd of readings like those of the table, the model's own error where none was made."""
    part = problem.tables[table]
    result = np.zeros(len(asked))
    for above, assumed in ((False, ASSUMED_FIRST), (True, ASSUMED_ABOVE)):
        alike = part.kept & ((part.assigned.register > 1) == above)
        usual = np.median(part.measurements.sd[alike]) if np.any(alike) else assumed
        result[(asked.register > 1) == above] = usual
    of_the_model = [p for p in problem.parameters if p.note is not None and p.concerns(table)]
    if of_the_model:
        known = {p.note[:2] for p in of_the_model}
        notes = zip(asked.label, asked.register.tolist(), strict=True)
        new = np.array([note not in known for note in notes])
        result = np.hypot(result, np.where(new, of_the_model[0].prior.sd, 0.0))
    return result
