"""What to measure next: how well each measurement would leave a correction or a note known."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.candidate import KINDS, Candidate
from flutelab.fitting.candidates import candidates_of
from flutelab.fitting.foreseen import JET, Foreseen, parted, some_of
from flutelab.fitting.information import Lines, spread, with_lines
from flutelab.fitting.phrases import name_of, noun_of, noun_of_all
from flutelab.fitting.unknowns import JET_SD
from flutelab.model.corrections import META
from flutelab.model.flute import Flute
from flutelab.model.rows import Rows, checked

FEW = 3  # of each kind of fingering are kept
TOGETHER = 3  # measurements chosen one after the other
_MANY = ("fingering", "cross-fingering")


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan:
    """C measurements that could be made next, best first.

    Parameters
    ----------
    of : str
        The correction; "" where notes are foretold.
    said : str
        What is to be known better, as a noun.
    unit : str
        Of all sd: the correction's own, or ``cents``.
    sd_now : float
        Its sd as the calibration leaves it; of several the root mean square.
    candidates : tuple of C Candidate
        First those of the window as played, then those that part the jet from it.
    sd_left : (C,)
        What each would leave.
    sd_before : (C,)
        `sd_now`, or where the jet is parted the sd now if its pull is not known.
    without_jet : (C,) bool
        Whether the jet's pull is an unknown of its own.
    together : tuple of Candidate
        At most three, none of more than one reading and all on flutes as they are, each the
        best once those before it are made.
    together_left : (K,)
        What is left after each.
    flute : Flute
        The one that it is about.
    widened : float
        Factor by which the fit found readings to scatter more than their sd.
    """

    of: str
    said: str
    unit: str
    sd_now: float
    candidates: tuple[Candidate, ...]
    sd_left: np.ndarray
    sd_before: np.ndarray
    without_jet: np.ndarray
    together: tuple[Candidate, ...]
    together_left: np.ndarray
    flute: Flute
    widened: float


def next_measurement(
    calibration: Calibration,
    *,
    of: str | Rows = "window",
    candidates: Sequence[str | Candidate] | None = None,
    table: int = 0,
    new_day: bool = False,
    without_jet: bool = False,
) -> Plan:
    """Rank what could be measured next by the sd that it would leave.

    Parameters
    ----------
    calibration : Calibration
    of : str or Rows
        A correction of the fit; where several flutes have it for themselves, all of theirs
        (root mean square), or with ", " and a flute's name that one's. Or notes to foretell
        on a calibrated flute, at that very air and usual breath: another day's errors of both
        cannot be made smaller.
    candidates : sequence, optional
        Kinds (of `flutelab.fitting.candidate.KINDS`) or measurements of your own. Default:
        `flutelab.fitting.candidates.candidates_of`.
    table : int
        The table whose flute the notes `of` belong to.
    new_day : bool
        As in `candidates_of`.
    without_jet : bool
        Take the jet's pull for an unknown that every blown note has, so that the window is
        the window's alone and not "as played".

    Returns
    -------
    Plan

    Raises
    ------
    ValueError
        A correction that the fit does not have, an unknown kind, or notes that do not sound.

    Notes
    -----
    Linear about the calibration. In units of the prior sd the information is
    sum J'J/sd^2 + 1; a reading adds its row, a better instrument replaces a 1 by
    (sd before/sd after)^2, and where the fit widened its errors, so will the next. Gradients
    are taken at the modes of each new note. New unknowns come with their priors: an offset of
    a new session, the model's error of a note not read before, all that another flute has for
    itself. A reading is as good as the median of those of its note, else of its kind of
    register, else assumed (3 cents, above the first register 10). Notes without a mode, weak
    or near the cutoff are left out. Of fingerings the best few of each kind are kept.

    The scatter of true corrections from flute to flute is taken to be none, but for those that
    the calibration has for each flute: a second flute shares the window with the first.
    """
    foreseen = Foreseen(calibration)
    target = _of_correction(foreseen, of) if isinstance(of, str) else _of_notes(foreseen, of, table)
    apart = foreseen.known_apart is not None and (without_jet or of == "jet")
    asked = _asked(calibration, candidates, new_day)
    left = _Left(foreseen, target, apart)
    made = sorted(
        ((left.of(lines, c), c, lines) for c, lines in _sounding(foreseen, asked)),
        key=lambda one: (left.parts(one[1]), one[0], len(one[1].readings)),
    )
    together, after = left.one_after_the_other(made)
    made = _few_of_a_kind(made)
    return Plan(
        of=of if isinstance(of, str) else "",
        said=target.said,
        unit=target.unit,
        sd_now=left.now(apart),
        candidates=tuple(c for _, c, _ in made),
        sd_left=np.array([sd for sd, _, _ in made]),
        sd_before=np.array([left.now(left.parts(c)) for _, c, _ in made]),
        without_jet=np.array([left.parts(c) for _, c, _ in made], dtype=bool),
        together=together,
        together_left=np.array(after),
        flute=foreseen.problem.tables[target.table].measurements.flute,
        widened=calibration.widened,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Target:
    """What is to be known: its lines in cents or in prior sd, and the size of that unit."""

    lines: Lines
    said: str
    unit: str
    size: float
    table: int = 0


def _of_correction(foreseen, name):
    problem, size = foreseen.problem, len(foreseen.theta)
    if name == "jet" and foreseen.known_apart is not None:
        lines = Lines(gradient=np.zeros((1, size)), more={JET: np.ones(1)}, sd=np.ones(1))
        return _Target(lines=lines, said="the pull of the jet", unit="cents", size=JET_SD)
    corrections = [(i, p) for i, p in enumerate(problem.parameters) if p.is_correction]
    names = {name_of(problem, p): [i] for i, p in corrections}
    every = [i for i, p in corrections if p.name == name]
    mine = names.get(name, every)
    if not mine:
        msg = f"the fit has no correction {name!r}; it has {', '.join(map(repr, names))}"
        raise ValueError(msg)
    p = problem.parameters[mine[0]]
    gradient = np.eye(size)[mine] * (problem.unit[mine] / p.prior.sd)[:, None]
    return _Target(
        lines=Lines(gradient=gradient, more={}, sd=np.ones(len(mine))),
        said=noun_of(problem, p) if len(mine) == 1 else noun_of_all(name),
        unit=META[p.name]["unit"],
        size=p.prior.sd,
        table=p.table or 0,
    )


def _of_notes(foreseen, notes, table):
    lines, sounds = foreseen.of_notes(checked(notes), table)
    if not len(notes) or not np.all(sounds):
        silent = [word for word, is_heard in zip(notes.label, sounds, strict=True) if not is_heard]
        msg = f"of: {', '.join(silent) or 'no note'} does not sound clearly; ask for other notes"
        raise ValueError(msg)
    words = ", ".join(dict.fromkeys(word or "the pipe's note" for word in notes.label))
    return _Target(lines=lines, said=f"the pitch of {words}", unit="cents", size=1.0, table=table)


def _asked(calibration, wanted, new_day):
    """The candidates of the kinds that are wanted, then one's own."""
    kinds = KINDS if wanted is None else [kind for kind in wanted if isinstance(kind, str)]
    unknown = [kind for kind in kinds if kind not in KINDS]
    if unknown:
        msg = f"unknown kind of measurement {unknown[0]!r}; the kinds are {', '.join(KINDS)}"
        raise ValueError(msg)
    usual = candidates_of(calibration, new_day=new_day) if kinds else ()
    own = [] if wanted is None else [c for c in wanted if not isinstance(c, str)]
    return [*(c for c in usual if c.kind in kinds), *own]


def _sounding(foreseen, candidates) -> Iterator[tuple[Candidate, Lines]]:
    """Candidates with the lines of their readings that sound, all worked out together."""
    lines, sounds = foreseen.of_readings([r for c in candidates for r in c.readings])
    begin, units, done = 0, foreseen.problem.unit, set()
    for candidate in candidates:
        index = np.arange(begin, begin + len(candidate.readings))
        begin += len(index)
        heard = index[sounds[index]]
        kept = tuple(r for r, n in zip(candidate.readings, index, strict=True) if sounds[n])
        if kept in done or not (kept or candidate.tightened):
            continue
        if kept:
            done.add(kept)
        tightened = {i: sd / units[i] for i, sd in candidate.tightened.items()}
        yield (
            replace(candidate, readings=kept),
            replace(some_of(lines, heard), tightened=tightened),
        )


def _few_of_a_kind(ordered):
    """Without all but the best few of each flute's kinds of fingering."""
    seen, kept = Counter(), []
    for sd, candidate, lines in ordered:
        if candidate.kind in _MANY:
            key = candidate.kind, candidate.readings[0].flute.name
            seen[key] += 1
            if seen[key] > FEW:
                continue
        kept.append((sd, candidate, lines))
    return kept


class _Left:
    """The sd of a target, now and once something is measured."""

    def __init__(self, foreseen, target, apart):
        self.foreseen, self.target, self.apart = foreseen, target, apart

    def parts(self, candidate):
        """Whether the jet's pull is an unknown: always, or with a reading that parts it."""
        if self.foreseen.known_apart is None:
            return False
        return self.apart or any(reading.driven for reading in candidate.readings)

    def known(self, apart):
        return self.foreseen.known_apart if apart else self.foreseen.known

    def now(self, apart):
        return self._sd(self.known(apart), apart)

    def _sd(self, known, apart):
        return self.target.size * spread(known, parted(self.target.lines, apart))

    def of(self, lines, candidate):
        apart = self.parts(candidate)
        return self._sd(with_lines(self.known(apart), parted(lines, apart)), apart)

    def one_after_the_other(self, made):
        """The best small measurements on flutes as they are, each added to those before."""
        small = [
            (candidate, parted(lines, self.apart))
            for _, candidate, lines in made
            if candidate.here and len(candidate.readings) <= 1
            and self.parts(candidate) == self.apart
        ]  # fmt: skip
        known, chosen, after = self.known(self.apart), [], []
        for _ in range(TOGETHER if small else 0):
            each = [with_lines(known, lines) for _, lines in small]
            left = [self._sd(one, self.apart) for one in each]
            best = int(np.argmin(left))
            known = each[best]
            chosen.append(small[best][0])
            after.append(left[best])
        return tuple(chosen), after
