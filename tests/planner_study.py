"""Does a measurement leave the sd that was foretold? Many invented truths, each calibrated.

    python tests/planner_study.py [COUNT] [--seed N] [--of CORRECTION] [--whole]

For each kind of measurement the best of its kind is foretold from seven notes of an invented
flute. Then COUNT (default 200) true flutes are drawn from the priors: corrections within
their limits, the air's error, sessions, the model's own errors, readings. Each is measured
with the new readings, fitted anew, and the error of the correction noted. ``--whole`` makes note
tables and calibrates each from the start; else many refits are done at once.
"""

from __future__ import annotations

import argparse
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from made_notes import CENT, SCALE, SIX, notes_of

from flutelab import Measurements, calibrate
from flutelab.errors import FitWarning
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.candidate import Candidate
from flutelab.fitting.many import Many
from flutelab.fitting.next_measurement import Plan, next_measurement
from flutelab.fitting.unknowns import usual_priors

KINDS = (
    "cross-fingering", "overblown", "another day", "driven", "thermometer", "caliper", "stage",
    "second flute", "plain pipes",
)  # fmt: skip
NEW = "another day"


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What was foretold and what came out, in the correction's unit."""

    name: str
    foretold: float
    errors: np.ndarray

    @property
    def ratio(self) -> float:
        """The obtained sd over the foretold one."""
        return float(np.std(self.errors) / self.foretold)


def best_of(plan: Plan, kind: str) -> tuple[Candidate, float]:
    """Return the best candidate of a kind and what it leaves."""
    n = min(
        (n for n, c in enumerate(plan.candidates) if c.kind == kind),
        key=lambda n: plan.sd_left[n],
    )
    return plan.candidates[n], float(plan.sd_left[n])


def tables_with(measured: Measurements, candidate: Candidate) -> tuple[Measurements, ...]:
    """Return the tables with a candidate's readings, at the book's pitches."""
    own = [r for r in candidate.readings if r.flute == measured.flute]
    words = [*measured.rows.label, *(r.word for r in own)]
    sd = _like(measured, own)
    first = notes_of(
        measured.flute, words, register=[*measured.rows.register, *(r.register for r in own)],
        sd=[*measured.sd, *sd], air=measured.rows.air,
        session=(*measured.session, *(r.session or NEW for r in own)),
    )  # fmt: skip
    tables = [_as_read(first, [False] * len(measured.rows) + [r.driven for r in own])]
    for flute in dict.fromkeys(r.flute for r in candidate.readings if r not in own):
        some = [r for r in candidate.readings if r.flute == flute]
        other = notes_of(
            flute,
            [r.word for r in some],
            register=[r.register for r in some],
            sd=_like(measured, some),
            air=measured.rows.air,
            session=(NEW,) * len(some),
        )
        tables.append(_as_read(other, [r.driven for r in some]))
    return tuple(tables)


def _as_read(measured, driven):
    """Measurements of which some rows were driven without breath."""
    if not any(driven):
        return measured
    return replace(measured, rows=replace(measured.rows, driven=np.array(driven)))


def _like(measured, readings):
    return [np.median(measured.sd) if r.register == 1 else 10.0 for r in readings]


def options_of(calibration: Calibration, candidate: Candidate, tables) -> dict:
    """Return how tables with a candidate's readings are to be calibrated."""
    usual, names = usual_priors(tables), [p.name for p in calibration.parameters]
    tightened = {names[i]: sd for i, sd in candidate.tightened.items() if names[i] in usual}
    options = {"priors": {name: replace(usual[name], sd=sd) for name, sd in tightened.items()}}
    if any(r.same_pipe for r in candidate.readings):
        options["own"] = ("air_offset",)
    return options


def obtained(
    measured: Measurements,
    calibration: Calibration,
    candidate: Candidate,
    of: str,
    *,
    count: int,
    seed: int,
    whole: bool,
) -> np.ndarray:
    """Return the errors of a correction, fitted with a candidate's readings, (count,)."""
    random = np.random.default_rng(seed)
    tables = tables_with(measured, candidate)
    options = options_of(calibration, candidate, tables)
    like = calibrate(*tables, **options)
    problem = like.problem
    index = [p.name for p in problem.parameters].index(of)
    theta, shift = np.empty((count, len(like.value))), np.empty((count, len(problem.measured)))
    for n in range(count):
        shift[n] = np.nan
        while not np.all(np.isfinite(shift[n])):
            theta[n] = _drawn(problem, random)
            shift[n] = random.normal(0, problem.sd) - problem.cents(theta[n])
    if whole:
        fits = [calibrate(*_moved(tables, cents), **options).value for cents in shift]
    else:
        fits = Many(problem, like.value).refit(shift=shift).theta
    return np.array(fits)[:, index] - theta[:, index]


def _drawn(problem, random):
    """Unknowns from their priors, within their limits."""
    theta = np.empty(len(problem.parameters))
    for i, p in enumerate(problem.parameters):
        theta[i] = np.nan
        while not p.prior.lower <= theta[i] <= p.prior.upper:
            theta[i] = random.normal(p.prior.mean, p.prior.sd)
    return theta


def _moved(tables: Sequence[Measurements], cents):
    ends = np.cumsum([len(m.rows) for m in tables])[:-1]
    for m, own in zip(tables, np.split(cents, ends), strict=True):
        yield replace(m, frequency=m.frequency * np.exp(CENT * own))


def study(
    kinds: Sequence[str],
    *,
    of: str = "window",
    count: int = 200,
    seed: int = 0,
    whole: bool = False,
):
    """Yield the outcome of the best measurement of each kind."""
    measured = notes_of(SIX, SCALE)
    calibration = calibrate(measured)
    plan = next_measurement(calibration, of=of)
    for kind in kinds:
        candidate, foretold = best_of(plan, kind)
        errors = obtained(measured, calibration, candidate, of, count=count, seed=seed, whole=whole)
        yield Outcome(name=candidate.name, foretold=foretold, errors=errors)


def main() -> None:
    """Print a line for each kind."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("count", nargs="?", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--of", default="window")
    parser.add_argument("--whole", action="store_true")
    given = parser.parse_args()
    warnings.simplefilter("ignore", FitWarning)
    for found in study(KINDS, of=given.of, count=given.count, seed=given.seed, whole=given.whole):
        print(
            f"{found.name:40s} foretold {found.foretold:.4f}  obtained {np.std(found.errors):.4f}"
            f"  ratio {found.ratio:.2f}  mean {np.mean(found.errors):+.4f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
