"""What to measure next, as text and records."""

from __future__ import annotations

from collections.abc import Sequence

from flutelab.errors import DataError, Fault, already_warned
from flutelab.files.foretell import OPTIONS, checked_words
from flutelab.files.look import Looked
from flutelab.files.next_words import (
    cost_words,
    idea_words,
    ideas,
    plan_words,
    ranked,
    sd_words,
)
from flutelab.files.to_mend import is_to_mend, what_does_not_fit
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.next_measurement import Plan, next_measurement
from flutelab.fitting.suspects import suspects
from flutelab.model.flute import Window
from flutelab.model.rows import rows, take

BEST = 12  # ideas shown
NO_WINDOW = (
    "No pipe here has a window, so that there is no window correction to know better; ask for "
    "another one, such as --of foot."
)
PARTED = 3  # and of those that part the jet from the window


def plan(
    calibration: Calibration, of: Sequence[str] = ("window",), fingerings: Sequence[str] = ()
) -> Looked:
    """Rank what to measure next for each correction, or for notes to foretell.

    Parameters
    ----------
    calibration : Calibration
    of : sequence of str
        Corrections of the fit.
    fingerings : sequence of str
        Notes of the first flute, in the place of corrections.

    Returns
    -------
    Looked
        Results `next_window` and so on, or `next_notes`.

    Raises
    ------
    DataError
        A correction that the fit does not have; fingerings that do not fit the flute, or
        that do not sound.
    """
    wanted = {"notes": _notes(calibration, fingerings)} if fingerings else {n: n for n in of}
    results, text, faults = {}, [], []
    for name, target in wanted.items():
        if name == "window" and not _has_window(calibration):
            text += [NO_WINDOW, ""]
            continue
        try:
            found = next_measurement(calibration, of=target)
        except ValueError as error:
            place = "--fingering" if fingerings else "--of"
            problem, _, mend = str(error).removeprefix("of: ").partition("; ")
            faults.append(Fault(place=place, problem=problem, mend=mend.capitalize()))
            continue
        results[f"next_{name}"] = found
        text += [*plan_words(found), "", *_table(found), ""]
    if faults:
        raise DataError(OPTIONS, faults)
    with already_warned():
        odd = suspects(calibration)
    if is_to_mend(calibration, odd):
        named = what_does_not_fit(calibration, odd, whole=True)
        text = [f"Mend this before you measure more. {named}", *text]
    return Looked(results=results, text="\n".join(text).rstrip())


def _has_window(calibration):
    return any(isinstance(t.measurements.flute.head, Window) for t in calibration.tables)


def _notes(calibration, fingerings):
    m = calibration.tables[0].measurements
    words = checked_words(m.flute, fingerings)
    same_air = take(m.rows, [0] * len(words)).air
    return rows(m.flute, words, air=same_air)


def _table(found: Plan):
    """A line an idea, on the flute that it is best done on."""
    order = ranked(found)
    apart = [n for n in range(len(found.candidates)) if n not in order]
    shown, parted = ideas(found, order)[:BEST], ideas(found, apart)[:PARTED]
    width = max([46, *(len(idea_words(idea)) for idea in (*shown, *parted))])
    yield f"  {'best next':<{width}} {'readings':>11}{'would leave':>16}"
    yield from (_line(found, idea, width) for idea in shown)
    if parted:
        yield "  and to know it without the jet's pull"
        yield from (_line(found, idea, width) for idea in parted)


def _line(found, idea, width):
    left = sd_words(found, found.sd_left[idea.number])
    cost = cost_words(found.candidates[idea.number])
    return f"  {idea_words(idea):<{width}} {cost:>11}{left:>16}"
