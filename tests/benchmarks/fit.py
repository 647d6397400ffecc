"""Time fits and what follows them: `python tests/benchmarks/fit.py`. Reported, never asserted.

Each figure is the best of several, as other work on the machine only ever slows it; the ratios
come from one run. `--sweep SECONDS` (0 = none) is what the swept work takes one worker.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from made_notes import CROSSED, SCALE, SIX, notes_of
from sweep_tasks import square, values_of
from timed import best

import flutelab
from flutelab import Corrections, calibrate
from flutelab.fitting.budget import budget
from flutelab.fitting.many import Many
from flutelab.fitting.profiles import profiles
from flutelab.fitting.resampling import bootstrap
from flutelab.fitting.sweep import sweep
from flutelab.model.flute import Uncertainty

FLUTE = replace(
    SIX,
    uncertainty=Uncertainty(
        bore=1e-4, wall=1e-4, length=3e-4, hole_place=2e-4, hole_diameter=1e-4, window=1e-4
    ),
)
TRUTH = Corrections(window=1.08, foot=1.05, wall=0.93, pad_depth=0.4)
NOTES = [(word, 1) for word in SCALE] + [(word, 2) for word in SCALE[:6]]
NOTES += [(word, 1) for word in (*CROSSED, "xxxxxx", "xxxooo")]


def table(count: int, seed: int = 1):
    """Return so many readings: twenty notes, and those again."""
    words, registers = zip(*(NOTES[n % len(NOTES)] for n in range(count)), strict=True)
    pressure = np.where(np.array(registers) > 1, 900.0, 400.0)
    off = np.random.default_rng(seed).normal(0, 3.0, count)
    return notes_of(FLUTE, words, TRUTH, register=registers, off=off, breath=pressure)


def report_fit(tries):
    measured = table(20)
    result = calibrate(measured)
    many = Many(result.problem, result.value)
    kinds = len(result.parameters)
    fit = best(lambda: calibrate(measured), tries)
    print(f"20 notes, {kinds} unknowns: {1e3 * fit:.0f} ms (asked: 100)")
    for name, function, asked in (
        ("made ready for refits", lambda: Many(result.problem, result.value), None),
        ("budget of the window", lambda: budget(result, "window"), None),
        ("profiles of the reported corrections", lambda: profiles(result), 1.5),
        ("1000 bootstrap refits by note", lambda: bootstrap(result), 6.0),
    ):
        taken = best(function, max(1, tries // 3))
        goal = f" (asked: {asked:g})" if asked else ""
        print(f"  {name}: {taken:.2f} s{goal}, {taken / fit:.1f} fits")
    weight = np.ones((1000, 20))
    refits = best(lambda: many.refit(weight=weight), max(1, tries // 3))
    print(f"  one refit among 1000: {refits:.2f} ms, a fit is {1e3 * fit / refits:.0f} of them")


def report_growth(tries):
    times, refits = {}, {}
    for count in (10, 20, 40, 80):
        measured = table(count)
        result = calibrate(measured)
        many = Many(result.problem, result.value)
        weight = np.ones((200, count))
        times[count] = best(lambda m=measured: calibrate(m), tries)
        refits[count] = best(lambda m=many, w=weight: m.refit(weight=w), tries)
    for name, found in (("a fit", times), ("200 refits", refits)):
        power = np.polyfit(np.log(list(found)), np.log(list(found.values())), 1)[0]
        told = ", ".join(f"{n} readings: {1e3 * taken:.0f} ms" for n, taken in found.items())
        print(f"{name}: {told}; grows as the power {power:.2f}")


def report_sweep(seconds):
    if not seconds:
        return
    one = best(lambda: values_of(table(20)), 3)
    tables = [table(20, seed) for seed in range(round(1.25 * seconds / one))]
    taken, found = {}, {}
    for workers in (0, 1, 2):
        begin = time.perf_counter()
        found[workers] = sweep(values_of, tables, workers=workers).results
        whole = time.perf_counter() - begin
        begin = time.perf_counter()
        sweep(square, range(1 + workers), workers=workers)
        taken[workers] = whole, time.perf_counter() - begin
        print(f"{len(tables)} fits, workers {workers}: {whole:.1f} s, start-up "
              f"{taken[workers][1]:.1f} s")  # fmt: skip
    gain = (taken[1][0] - taken[1][1]) / (taken[2][0] - taken[2][1])
    same = found[0] == found[1] == found[2]
    print(f"a second worker gains {gain:.2f} times, start-up apart (asked: 1.6); "
          f"results the same to the last bit: {same}")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tries", type=int, default=9)
    parser.add_argument("--sweep", type=float, default=20.0)
    asked = parser.parse_args()
    print(
        f"flutelab {flutelab.__version__}, numpy {np.__version__}, Python {sys.version.split()[0]}"
    )
    busy = (
        ", ".join(f"{load:.1f}" for load in os.getloadavg()) if hasattr(os, "getloadavg") else "?"
    )
    print(f"{os.cpu_count()} cores; load before (1, 5, 15 minutes): {busy}")
    report_fit(asked.tries)
    report_growth(max(1, asked.tries // 3))
    report_sweep(asked.sweep)


if __name__ == "__main__":
    main()
