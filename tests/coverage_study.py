"""Do the intervals hold what they promise? Truth drawn, notes made, fitted, looked up.

    python tests/coverage_study.py [--part gated|shown|besides|demo|all] [--count 2000]
        [--shown 400] [--besides 500] [--workers 2]

prints the tables of docs/coverage.md. For each of three designs the truth of every unknown
(corrections, air, bore, sessions, the model's own error, errors of the caliper) is drawn from
its prior, notes are made by the fit's own model, readings scatter by 3 cents, and the fit's
intervals are compared with the truth: those of the corrections, and those of notes left out.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import warnings
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from made_notes import CENT, CROSSED, SCALE, SIX, demo_maker, notes_of

from flutelab import FitWarning, calibrate
from flutelab.files.learned import learned
from flutelab.fitting import unknowns as fit_unknowns
from flutelab.fitting.budget import coverage_factor, interval
from flutelab.fitting.measurements import FLOOR, pooled_scatter
from flutelab.fitting.profiles import LEVELS as PROFILED
from flutelab.fitting.profiles import profiles
from flutelab.fitting.progress import text_progress
from flutelab.fitting.sweep import sweep
from flutelab.model.flute import Uncertainty

LEVELS = (0.68, 0.95)
BANDS = ((0.64, 0.73), (0.93, 0.97))
READING_SD = 3.0  # cents
FLUTE = replace(
    SIX,
    uncertainty=Uncertainty(
        bore=1e-4, wall=1e-4, length=3e-4, hole_place=3e-4, hole_diameter=1e-4, window=2e-4
    ),
)
UNSEEN = ["xxoxxo", "oxoxxx", "xooxoo"]
STAGES = ["nnnnno", "nnnnoo", "nnnooo", "nnoooo", "nooooo"]


@dataclass(frozen=True, kw_only=True)
class Design:
    """Which notes are read: (fingering, register, session), the last `left_out` of them not."""

    notes: tuple[tuple[str, int, str], ...]
    left_out: int


def _of(words, register=1, session="all"):
    return tuple((word, register, session) for word in words)


DESIGNS = {
    "seven notes": Design(notes=_of(SCALE) + _of(UNSEEN), left_out=3),
    "scale twice, cross-fingerings, second register": Design(
        notes=_of(SCALE * 2) + _of(CROSSED) + _of(SCALE[:4], 2) + _of(UNSEEN), left_out=3
    ),
    "plain pipe, stages, then holes": Design(
        notes=_of(["nnnnnn"] * 2, 1, "pipe")
        + _of(STAGES, 1, "drilling")
        + _of(SCALE, 1, "whole")
        + _of(UNSEEN, 1, "whole"),
        left_out=3,
    ),
}


@dataclass(frozen=True, kw_only=True)
class Variant:
    """How a study departs from what the fit believes.

    ``at``: every correction's truth so many prior sd from its mean, else drawn from the prior.
    ``unseen``: ``geometry`` or ``session``, whose errors are there but left out of the fit.
    """

    at: float | None = None
    unseen: str = ""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One fit: errors in sd of the reported corrections and of the left-out notes."""

    z: dict[str, float]
    z_unseen: tuple[float, ...]
    cents_unseen: tuple[float, ...]
    mostly_prior: tuple[str, ...]
    widened: bool


@cache
def world(name: str):
    """A design's measurements by the book and the problem in which every row is fitted."""
    design = DESIGNS[name]
    words, registers, sessions = zip(*design.notes, strict=True)
    measured = notes_of(FLUTE, list(words), register=list(registers), session=sessions,
                        sd=READING_SD)  # fmt: skip
    return measured, calibrate(measured).problem


def truth_of(problem, random, variant: Variant) -> np.ndarray:
    """All unknowns drawn from their priors, within their limits."""
    theta = np.empty(len(problem.parameters))
    for i, p in enumerate(problem.parameters):
        prior = p.prior
        while True:
            theta[i] = random.normal(prior.mean, prior.sd)
            if prior.lower <= theta[i] <= prior.upper:
                break
        if variant.at is not None and p.is_correction:
            far = prior.mean + variant.at * prior.sd * random.choice([-1.0, 1.0])
            theta[i] = np.clip(far, prior.lower, prior.upper)
    return theta


def one(name: str, variant: Variant, seed: int) -> Outcome:
    """Draw a truth, make its notes, fit, compare."""
    random = np.random.default_rng([sum(map(ord, name)), seed])
    measured, problem = world(name)
    theta = truth_of(problem, random, variant)
    fresh = type(problem)(problem.tables, problem.parameters, problem.start)
    true_hz = problem.measured * np.exp(-CENT * fresh.cents(theta))
    read = true_hz * np.exp(CENT * random.normal(0.0, READING_SD, len(true_hz)))
    kept = len(read) - DESIGNS[name].left_out
    use = ("fit",) * kept + ("check",) * DESIGNS[name].left_out
    table = replace(measured, frequency=read, use=use)
    if variant.unseen == "geometry":
        table = replace(table, flute=SIX)
    with believing(variant), warnings.catch_warnings():
        warnings.simplefilter("ignore", FitWarning)
        result = calibrate(table)
    return compared(result, problem, theta, true_hz[kept:])


@contextmanager
def believing(variant: Variant):
    """The fit's own belief in session offsets, as good as none where they are left out."""
    usual = fit_unknowns.SESSION_SD
    fit_unknowns.SESSION_SD = 1e-6 if variant.unseen == "session" else usual
    try:
        yield
    finally:
        fit_unknowns.SESSION_SD = usual


def compared(result, problem, theta, unseen_hz) -> Outcome:
    """The fit's errors beside its sd."""
    true = dict(zip([p.name for p in problem.parameters], theta, strict=True))
    names = [p.name for p in result.parameters]
    sd = np.sqrt(np.diag(result.covariance))
    index = {name: names.index(name) for name in result.free}
    part = result.tables[0]
    left_out = np.array(part.fate) == "checked"
    off = np.log(part.predicted[left_out] / unseen_hz) / CENT
    return Outcome(
        z={name: float((result.value[i] - true[name]) / sd[i]) for name, i in index.items()},
        z_unseen=tuple((off / part.sd[left_out]).tolist()),
        cents_unseen=tuple(off.tolist()),
        mostly_prior=tuple(n for n in result.free if learned(result, n)[1] == "prior only"),
        widened=result.widened > 1,
    )


def outcomes(name, count, *, variant=Variant(), workers=0, progress=None, first=0):
    """The outcomes of seeds `first` and up."""
    seeds = range(first, first + count)
    found = sweep(partial(one, name, variant), seeds, workers=workers, progress=progress)
    return found.results


def shares(found) -> dict[str, tuple[float, ...]]:
    """Share of truths inside the interval at each of LEVELS, for corrections and notes."""
    columns = {name: np.array([o.z[name] for o in found]) for name in found[0].z}
    columns["left-out notes"] = np.concatenate([o.z_unseen for o in found])
    factors = [coverage_factor(level, np.inf) for level in LEVELS]
    return {
        name: tuple(float(np.mean(np.abs(z) <= factor)) for factor in factors)
        for name, z in columns.items()
    }


def line(what, share, *more) -> str:
    cells = [what, *(f"{100 * value:.1f}" for value in share), *more]
    return "| " + " | ".join(cells) + " |"


def verdict(share) -> str:
    inside = all(low <= s <= high for s, (low, high) in zip(share, BANDS, strict=True))
    return "yes" if inside else "NO"


def main_tables(count, workers):
    print(f"| design ({count} fits each) | of | 68 % holds | 95 % holds | in the bands |")
    print("| --- | --- | ---: | ---: | --- |")
    for name in DESIGNS:
        found = outcomes(name, count, workers=workers, progress=text_progress(sys.stderr))
        for what, share in shares(found).items():
            print(line(f"{name} | {what}", share, verdict(share)), flush=True)
        prior = [n for o in found for n in o.mostly_prior]
        told = ", ".join(f"{n} {100 * prior.count(n) / count:.0f} %" for n in dict.fromkeys(prior))
        rms = np.sqrt(np.mean(np.concatenate([o.cents_unseen for o in found]) ** 2))
        wide = np.mean([o.widened for o in found])
        print(
            f"| {name} | | | | left-out notes within {rms:.1f} cents rms; mostly the prior: "
            f"{told or 'none'}; widened: {100 * wide:.1f} % |",
            flush=True,
        )


REPEATS = "scale three times, scatter known from the repeats alone"


def shown_one(name: str, seed: int) -> dict[tuple[str, str, float], bool]:
    """Whether what is shown holds the truth: Student's t about the value, the profile's limits."""
    random = np.random.default_rng([7, sum(map(ord, name)), seed])
    words = SCALE * 3 if name == REPEATS else SCALE
    measured = notes_of(FLUTE, words, sd=READING_SD)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FitWarning)
        problem = calibrate(measured).problem
        theta = truth_of(problem, random, Variant())
        true_hz = problem.measured * np.exp(-CENT * problem.cents(theta))
        off = random.normal(0.0, READING_SD, len(words))
        table = replace(measured, frequency=true_hz * np.exp(CENT * off))
        if name == REPEATS:  # as the reader of note tables takes it
            pooled, freedom = pooled_scatter(off, words)
            known = {"sd": np.full(len(words), max(pooled, FLOOR))}
            if pooled > FLOOR:
                known["freedom"] = np.full(len(words), float(freedom))
            table = replace(table, **known)
        result = calibrate(table)
        found = profiles(result)
    true = dict(zip([p.name for p in problem.parameters], theta, strict=True))
    inside = {}
    for k, correction in enumerate(found.names):
        for number, level in enumerate(PROFILED):
            low, high = interval(result, correction, level)
            inside["Student's t", correction, level] = low <= true[correction] <= high
            low, high = found.limits[k, number]
            inside["profile", correction, level] = low <= true[correction] <= high
    return inside


def shown_shares(name, count, *, workers=0, first=0):
    """Share of truths within what is shown, by kind and correction at each level."""
    seeds = range(first, first + count)
    found = sweep(partial(shown_one, name), seeds, workers=workers).results
    kinds = dict.fromkeys((kind, correction) for kind, correction, _ in found[0])
    return {
        key: tuple(float(np.mean([one[*key, level] for one in found])) for level in PROFILED)
        for key in kinds
    }


def shown_tables(count, workers):
    print(f"\n| {count} fits each | shown | of | 68 % holds | 95 % holds |")
    print("| --- | --- | --- | ---: | ---: |")
    for name in ("seven notes", REPEATS):
        for (kind, correction), share in shown_shares(name, count, workers=workers).items():
            print(line(f"{name} | {kind} | {correction}", share), flush=True)


VARIANTS = {
    "truth 1 prior sd off": Variant(at=1.0),
    "truth 2 prior sd off": Variant(at=2.0),
    "truth 3 prior sd off": Variant(at=3.0),
    "geometry errors left out of the fit": Variant(unseen="geometry"),
    "session errors left out of the fit": Variant(unseen="session"),
}


def variant_tables(count, workers):
    print(f"\n| {count} fits each | design | of | 68 % holds | 95 % holds |")
    print("| --- | --- | --- | ---: | ---: |")
    for told, variant in VARIANTS.items():
        for name in DESIGNS:
            found = outcomes(name, count, variant=variant, workers=workers)
            for what, share in shares(found).items():
                print(line(f"{told} | {name} | {what}", share), flush=True)


def demo_seed(seed: int) -> dict[tuple[str, str], float]:
    """Errors in sd of one invented workshop without its planted mistakes."""
    from demo_study import run_seed

    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore", FitWarning)
        return run_seed(demo_maker(), seed, Path(folder)).z


def demo_table(count, workers):
    found = sweep(demo_seed, range(1000, 1000 + count), workers=workers).results
    print(f"\n| demo data ({count} seeds) | of | 68 % holds | 95 % holds |")
    print("| --- | --- | ---: | ---: |")
    factors = [coverage_factor(level, np.inf) for level in LEVELS]
    for key in found[0]:
        z = np.abs([one_seed[key] for one_seed in found])
        print(line(" | ".join(key), [np.mean(z <= factor) for factor in factors]), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--besides", type=int, default=500)
    parser.add_argument("--shown", type=int, default=400)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--part", choices=["gated", "shown", "besides", "demo", "all"], default="all"
    )
    asked = parser.parse_args()
    if asked.part in ("gated", "all"):
        main_tables(asked.count, asked.workers)
    if asked.part in ("shown", "all"):
        shown_tables(asked.shown, asked.workers)
    if asked.part in ("besides", "all"):
        variant_tables(asked.besides, asked.workers)
    if asked.part in ("demo", "all"):
        demo_table(asked.besides, asked.workers)


if __name__ == "__main__":
    main()
