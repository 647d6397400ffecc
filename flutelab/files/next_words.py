"""What to measure next, as a table and in plain sentences."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flutelab.fitting.candidate import Candidate
from flutelab.fitting.next_measurement import Plan
from flutelab.model.corrections import Corrections
from flutelab.model.equivalents import equivalents
from flutelab.units import inches, millimetres

SENTENCES = 4
WORTH_IT = 0.95  # of the sd now: what leaves more is hardly worth a reading


def shop_scale(plan: Plan) -> tuple[float, str]:
    """Return by what a plan's sd is multiplied for the shop, and the unit it then has.

    A correction that is a length is told in mm or in, whichever the flute is measured in;
    one that is a factor without a length in percent.
    """
    if plan.of:
        for e in equivalents(plan.flute, Corrections()):
            if e.name == plan.of.split(", ")[0]:
                convert = inches if plan.flute.unit == "in" else millimetres
                return float(convert(e.per_unit)), plan.flute.unit
    return {"times": (100.0, "%"), "K": (1.0, "C")}.get(plan.unit, (1.0, plan.unit))


def sd_words(plan: Plan, sd: float) -> str:
    """Return an sd of a plan in the shop's unit, two digits: '± 0.42 mm'."""
    scale, unit = shop_scale(plan)
    return f"± {two_digits(scale * sd)} {unit}"


def two_digits(value: float) -> str:
    """Return a number with two significant digits.

    Examples
    --------
    >>> [two_digits(x) for x in (0.04249, 0.999, 1.23, 12.3, 123.4, 0.0)]
    ['0.042', '1.0', '1.2', '12', '123', '0']
    """
    if value == 0:
        return "0"
    exponent = int(np.floor(np.log10(abs(float(f"{value:.1e}")))))
    return f"{value:.{max(0, 1 - exponent)}f}"


def cost_words(candidate: Candidate) -> str:
    """Return what a measurement costs: '7 readings', or that an instrument is all it takes."""
    count = len(candidate.readings)
    if not count:
        return "no reading"
    return "1 reading" if count == 1 else f"{count} readings"


def plan_table(plan: Plan) -> pd.DataFrame:
    """Return a row for each measurement, best first.

    ``sd_now`` and ``sd_left`` are in ``unit``; ``window`` says whether the window is taken "as
    played" or the jet's pull is an unknown beside it.
    """
    scale, unit = shop_scale(plan)
    return pd.DataFrame(
        {
            "measurement": [c.name for c in plan.candidates],
            "what_to_do": [c.words for c in plan.candidates],
            "kind": [c.kind for c in plan.candidates],
            "readings": [len(c.readings) for c in plan.candidates],
            "needs": [c.needs for c in plan.candidates],
            "sd_now": scale * plan.sd_before,
            "sd_left": scale * plan.sd_left,
            "unit": unit,
            "left_percent": 100 * plan.sd_left / plan.sd_before,
            "window": np.where(plan.without_jet, "without the jet", "as played"),
        }
    )


def plan_words(plan: Plan) -> list[str]:
    """Return at most four plain sentences: what is known now, and what to measure next.

    Where there are several flutes, each is named once, and then again only after another.
    """
    known = f"{plan.said[0].upper()}{plan.said[1:]}: known to {sd_words(plan, plan.sd_now)}"
    said = [f"{known} (standard deviation); {_best(plan)}.", *_small(plan)]
    if plan.widened > 1:
        said.insert(
            0,
            f"Look for mistakes before you measure more: the readings scatter {plan.widened:.1f} "
            "times as far as they should.",
        )
    return _flutes_named_once(plan, [*said, *_jet(plan)][:SENTENCES])


def _flutes_named_once(plan, sentences):
    """The sentences with 'on' a flute where it was not the last one named, else 'the same'."""
    said = {f"; the flute is {name!r}": name for name, _ in map(_parted_name, plan.candidates)}
    if not any(said.values()):
        return sentences
    last = ""

    def naming(match):
        nonlocal last
        name, before = said[match[0]], last
        last = name
        return ", on the same flute" if name == before else f", on {name!r}"

    any_flute = "|".join(re.escape(words) for words, name in said.items() if name)
    return [re.sub(any_flute, naming, sentence) for sentence in sentences]


def ranked(plan: Plan) -> list[int]:
    """Return the numbers of the measurements that are ranked together, best first.

    What parts the jet's pull makes the window another quantity, "as played" no more: those of
    the window are ranked apart (where others are), those of anything else with the others.
    """
    order = np.argsort(plan.sd_left, kind="stable").tolist()
    apart = is_of_window(plan) and not np.all(plan.without_jet)
    return [n for n in order if not (apart and plan.without_jet[n])]


@dataclass(frozen=True, kw_only=True)
class Idea:
    """One thing to do, on whichever flute: the best one's number in the plan.

    ``name`` without a flute's; ``flutes`` that it may be done on, the best first, empty where
    there is one flute only or none is needed.
    """

    number: int
    name: str
    flutes: tuple[str, ...]


def ideas(plan: Plan, numbers: Iterable[int]) -> list[Idea]:
    """Return the measurements of some numbers, each idea once with the flutes that it is for.

    In the order of `numbers`: the first of each idea counts.
    """
    first: dict[tuple[str, str, bool], int] = {}
    flutes: dict[tuple[str, str, bool], list[str]] = {}
    for n in numbers:
        candidate = plan.candidates[n]
        flute, name = _parted_name(candidate)
        key = candidate.kind, name, bool(plan.without_jet[n])
        first.setdefault(key, n)
        flutes.setdefault(key, []).extend([flute] if flute else [])
    return [
        Idea(number=n, name=key[1], flutes=tuple(dict.fromkeys(flutes[key])))
        for key, n in first.items()
    ]


def _parted_name(candidate):
    """The flute that a candidate's name begins with, where there are several, and the rest."""
    parts = candidate.name.split(": ")
    for n in range(1, len(parts)):
        flute = ": ".join(parts[:n])
        if candidate.words.endswith(f"; the flute is {flute!r}"):
            return flute, ": ".join(parts[n:])
    return "", candidate.name


def idea_words(idea: Idea) -> str:
    """Return an idea with the flute that it is best done on, and how many others would do."""
    if not idea.flutes:
        return idea.name
    more = len(idea.flutes) - 1
    others = f", or {more} other flute{'s' if more > 1 else ''}" if more else ""
    return f"{idea.name} ({idea.flutes[0]}{others})"


def is_of_window(plan: Plan) -> bool:
    """Return whether a plan is of the window correction, of all flutes or of one."""
    return plan.of.split(", ")[0] == "window"


def _best(plan):
    best_first = ranked(plan)
    if not best_first or plan.sd_left[best_first[0]] > WORTH_IT * plan.sd_now:
        return "no single measurement would leave much less"
    best = best_first[0]
    return f"best next: {_left(plan, plan.candidates[best], plan.sd_left[best])}"


def _left(plan, candidate, sd):
    return f"{candidate.words} ({cost_words(candidate)}), which would leave {sd_words(plan, sd)}"


def _small(plan):
    """The best that takes one reading at most on the flute as it is; then three together."""
    best_first = ranked(plan)
    here = [n for n in best_first if plan.candidates[n].here]
    small = [n for n in here if len(plan.candidates[n].readings) <= 1]
    if small and small[0] != best_first[0] and plan.sd_left[small[0]] < WORTH_IT * plan.sd_now:
        best = plan.candidates[small[0]]
        yield f"On the flute as it is: {_left(plan, best, plan.sd_left[small[0]])}."
    if len(plan.together) > 1 and plan.together_left[-1] < WORTH_IT * plan.sd_now:
        steps = "; ".join(
            words + (" (twice)" if count == 2 else " (three times)" if count == 3 else "")
            for words, count in Counter(c.words for c in plan.together).items()
        )
        left = sd_words(plan, plan.together_left[-1])
        yield f"{len(plan.together)} small steps together would leave {left}: {steps}."


def _jet(plan):
    """What parts the jet's pull from the window."""
    parted = np.flatnonzero(plan.without_jet)
    if not is_of_window(plan) or not len(parted) or np.all(plan.without_jet):
        return
    best = int(parted[0])
    yield (
        'That is the window "as played"; without the jet it is known to '
        f"{sd_words(plan, plan.sd_before[best])}: "
        f"{_left(plan, plan.candidates[best], plan.sd_left[best])}."
    )
