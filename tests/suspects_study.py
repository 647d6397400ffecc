"""Tables with one planted mistake each: is it named first? And is a clean one left alone?

Run as ``python tests/suspects_study.py [first seed] [seeds] [workers] [mistakes...]``
(``--help`` names them).
The truth of all corrections, of the bore and of the air is drawn from the priors, so is the
model's own error for each note; air measured in the bore; readings scatter by 3 cents and
a session by 5. Limits were tuned on seeds from 1000 on; 0 to 99 are reported.
"""

from __future__ import annotations

import argparse
import warnings
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache, partial

import numpy as np
from made_notes import CENT, SIX, changed, demo, notes_of

from flutelab import Corrections, calibrate, moist_air, suspects
from flutelab.fitting.causes import A4, Cause, mended
from flutelab.fitting.dimensions import INCH, USUAL, dimensions, resized
from flutelab.fitting.problem import FitError
from flutelab.fitting.suspects import suspects_unfitted
from flutelab.fitting.unknowns import MODEL_SD, SESSION_SD, usual_priors
from flutelab.model.flute import RecordError, Uncertainty

READING = 3.0  # cents
DIAMETER, PLACE = 0.6e-3, 3e-3  # m
APART = 60.0  # cents, at least, from the fingering written to the one played
KELVIN = 10.0
WRITTEN = 298.15  # K


@dataclass(frozen=True, kw_only=True)
class Planted:
    """A table as written, and what to find: causes that count, index and name (None = any)."""

    measured: object
    causes: tuple[str, ...]
    index: int | None = None
    name: str | None = None

    def is_named(self, suspect) -> bool:
        """Whether a suspect names it; a hole's diameter and place are told as one mistake."""
        return any(map(self.is_right, suspect.of_one_hole or (suspect,)))

    def is_right(self, suspect) -> bool:
        """Whether that very cause is right."""
        here = self.index in (None, suspect.index) and self.name in (None, suspect.name)
        return suspect.cause in self.causes and here


@cache
def flutes():
    """Flutes to plant mistakes in; invented, like all of the demo."""
    names = ("half-inch-six", "three-quarter-five", "tapered-wood-six")
    found = (SIX, *(demo(name).flute for name in names))
    return tuple(replace(flute, uncertainty=Uncertainty()) for flute in found)


def words_of(holes):
    """(fingering, register): the scale twice, four forks, three overblown notes."""
    scale = ["x" * (holes - n) + "o" * n for n in range(holes + 1)]
    forks = ["x" * n + "ox" + "o" * (holes - n - 2) for n in range(4)]
    return [(w, 1) for w in scale * 2 + forks] + [(w, 2) for w in scale[:3]]


def drawn(flute, rng, *, kelvin=0.0, words=words_of):
    """What is measured on a flute as it truly is."""
    words, register = zip(*words(len(flute.holes)), strict=True)
    air = moist_air(WRITTEN)
    book = notes_of(flute, words, register=register, air=air)
    leaves = {}
    for name, prior in usual_priors([book]).items():
        value = rng.normal(prior.mean, prior.sd)
        while not prior.lower <= value <= prior.upper:
            value = rng.normal(prior.mean, prior.sd)
        leaves[name] = value
    notes = list(zip(words, register, strict=True))
    of_model = {note: rng.normal(0, MODEL_SD) for note in dict.fromkeys(notes)}
    off = rng.normal(0, READING, len(words)) + rng.normal(0, SESSION_SD)
    off = off + [of_model[note] for note in notes]
    true_air = moist_air(WRITTEN + kelvin)
    truth = Corrections(**leaves)
    heard = notes_of(flute, words, truth, register=register, air=true_air, off=off, sd=READING)
    rows = replace(heard.rows, air=air)
    return replace(heard, rows=rows)


def _flute_of(seed, rng, makes):
    """The first flute from the seed's on of which `makes` gives something."""
    for number in range(len(flutes())):
        flute = flutes()[(seed + number) % len(flutes())]
        if made := list(makes(flute)):
            return flute, made[rng.integers(len(made))]
    raise AssertionError


def _clean(seed, rng):
    return Planted(measured=drawn(flutes()[seed % len(flutes())], rng), causes=())


def _row(measured, rng):
    return int(rng.integers(len(measured.rows)))


def _octave(seed, rng):
    measured = _clean(seed, rng).measured
    row = _row(measured, rng)
    way = rng.choice([-1200.0, 1200.0])
    return Planted(measured=changed(measured, row, way), causes=("octave", "register"), index=row)


def _register(seed, rng):
    measured = _clean(seed, rng).measured
    row = _row(measured, rng)
    other = 3 - int(measured.rows.register[row])
    written = mended(measured, Cause(what="register", tables=(0,), index=row, value=other))
    return Planted(measured=written, causes=("octave", "register"), index=row)


def scale_of(holes):
    """(fingering, register) of the scale alone, each note once."""
    return [("x" * (holes - n) + "o" * n, 1) for n in range(holes + 1)]


def _fingering(seed, rng, words=words_of):
    measured = drawn(flutes()[seed % len(flutes())], rng, words=words)
    while True:
        row = _row(measured, rng)
        word = measured.rows.label[row]
        hole = int(rng.integers(len(word)))
        other = word[:hole] + ("x" if word[hole] == "o" else "o") + word[hole + 1 :]
        pair = notes_of(measured.flute, [word, other], register=int(measured.rows.register[row]))
        apart = abs(np.diff(np.log(pair.frequency)))[0] / CENT
        if apart >= APART:
            break
    written = mended(measured, Cause(what="fingering", tables=(0,), index=row, name=other))
    return Planted(measured=written, causes=("fingering",), index=row)


def _whole(what, seed, rng):
    cause = Cause(what=what, tables=(0,))

    def makes(flute):
        sizes = [replace(hole, position=1.0) for hole in flute.holes]
        yield from [True] if what != "sizes" or sizes != sizes[::-1] else []

    flute, _ = _flute_of(seed, rng, makes)
    return Planted(measured=mended(drawn(flute, rng), cause), causes=(what,))


def _hole(what, size, seed, rng):
    def makes(flute):
        for hole in range(len(flute.holes)):
            for way in (-size, size):
                cause = Cause(what=what, tables=(0,), index=hole, value=way)
                try:
                    mended(notes_of(flute, ["x" * len(flute.holes)]), cause)
                except RecordError:
                    continue
                yield cause

    flute, cause = _flute_of(seed, rng, makes)
    true = mended(notes_of(flute, ["x" * len(flute.holes)]), cause).flute
    measured = replace(drawn(true, rng), flute=flute)
    return Planted(measured=measured, causes=(what,), index=cause.index)


def _inch(seed, rng):
    """One dimension as written is another unit's number; the reader still takes the flute."""

    def makes(flute):
        for dimension in dimensions(flute):
            for factor in (INCH, 1 / INCH):
                low, high = USUAL[dimension.usual]
                try:
                    written = resized(flute, dimension.name, factor)
                except RecordError:
                    continue
                if low <= dimension.value <= high:
                    yield dimension.name, written

    flute, (name, written) = _flute_of(seed, rng, makes)
    measured = replace(drawn(flute, rng), flute=written)
    return Planted(measured=measured, causes=("inch",), name=name)


def _a4(seed, rng):
    measured = _clean(seed, rng).measured
    stood = rng.choice([415.0, 432.0])
    assert stood in A4
    frequency = measured.frequency * 440.0 / stood
    return Planted(measured=replace(measured, frequency=frequency), causes=("a4", "temperature"))


def _temperature(seed, rng):
    flute, kelvin = flutes()[seed % len(flutes())], rng.choice([-KELVIN, KELVIN])
    return Planted(measured=drawn(flute, rng, kelvin=kelvin), causes=("a4", "temperature"))


MISTAKES = {
    "clean": _clean,
    "octave": _octave,
    "register": _register,
    "fingering": _fingering,
    "ends": partial(_whole, "ends"),
    "sizes": partial(_whole, "sizes"),
    "mirrored": partial(_whole, "mirrored"),
    "diameter": partial(_hole, "diameter", DIAMETER),
    "place": partial(_hole, "position", PLACE),
    "inch": _inch,
    "a4": _a4,
    "temperature": _temperature,
    "fingering, scale": partial(_fingering, words=scale_of),
}


def outcome(mistake: str, seed: int) -> dict:
    """Plant one mistake, calibrate, and say what is named."""
    rng = np.random.default_rng([list(MISTAKES).index(mistake), seed])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        planted = MISTAKES[mistake](seed, rng)
        try:
            found = suspects(calibrate(planted.measured))
        except FitError:
            found = suspects_unfitted(planted.measured)
    first = found[0] if found else None
    return {
        "seed": seed,
        "likelier": first is not None and planted.is_right(first),
        "first": first is not None and planted.is_named(first),
        "beside": first is not None and any(map(planted.is_right, (first, *first.or_else))),
        "any": any(map(planted.is_right, found)),
        "said": "nothing" if first is None else f"{first.cause} {first.name}".strip(),
        "count": len(found),
        "planted": (planted.index, planted.name),
        "found": [
            (
                s.cause,
                s.index,
                s.name,
                s.amount,
                s.worth,
                s.chance,
                [(o.cause, o.index, o.amount, o.worth) for o in s.or_else],
            )
            for s in found
        ],
    }


def study(mistake: str, seeds, workers: int = 1) -> list[dict]:
    """Return the outcomes of all seeds."""
    if workers == 1:
        return [outcome(mistake, seed) for seed in seeds]
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(partial(outcome, mistake), seeds, chunksize=2))


KEYS = ("likelier", "first", "beside", "any")


def line(mistake: str, outcomes: list[dict]) -> str:
    """Return one line of the study's table, in percent of the tables.

    ``likelier``: that very cause comes first; ``first``: the mistake is named first, of a hole
    with both its diameter and its place where either may be off; ``beside``: or said with what
    is; ``any``: among all that is named; ``nothing``: nothing is named.
    """
    share = {key: 100 * np.mean([o[key] for o in outcomes]) for key in KEYS}
    quiet = 100 * np.mean([o["count"] == 0 for o in outcomes])
    wrong = Counter(o["said"] for o in outcomes if not o["first"])
    named = ", ".join(f"{name} {count}" for name, count in wrong.most_common(5))
    return (
        f"{mistake:<17}{share['likelier']:9.0f}{share['first']:6.0f}{share['beside']:8.0f}"
        f"{share['any']:6.0f}{quiet:9.0f}   {named}"
    )


HEAD = (
    f"{'planted':<17}{'likelier':>9}{'first':>6}{'beside':>8}{'any':>6}{'nothing':>9}"
    "   else named first"
)


def main() -> None:
    """Print a line for each kind of mistake."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("first", nargs="?", type=int, default=0, help="first seed (0)")
    parser.add_argument("seeds", nargs="?", type=int, default=100, help="how many seeds (100)")
    parser.add_argument("workers", nargs="?", type=int, default=1, help="processes (1)")
    parser.add_argument(
        "mistakes", nargs="*", metavar="mistake", default=[],
        help=f"of {', '.join(map(repr, MISTAKES))} (all)",
    )  # fmt: skip
    given = parser.parse_args()
    if unknown := [name for name in given.mistakes if name not in MISTAKES]:
        parser.error(f"unknown mistake {unknown[0]!r}; use some of {', '.join(MISTAKES)}")
    if given.seeds < 1 or given.workers < 1:
        parser.error(f"{given.seeds} seeds, {given.workers} processes: use 1 or more of each")
    print(HEAD, flush=True)
    for name in given.mistakes or MISTAKES:
        results = study(name, range(given.first, given.first + given.seeds), given.workers)
        print(line(name, results), flush=True)


if __name__ == "__main__":
    main()
