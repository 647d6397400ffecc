"""Why measured notes do not match the book, in tables and in plain sentences."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flutelab.fitting.mismatch import (
    SESSION,
    UNUSUAL,
    USUAL,
    Mismatch,
    alike,
    farthest,
    plausible,
)
from flutelab.model.corrections import META, Corrections
from flutelab.model.equivalents import equivalents
from flutelab.units import inches, millimetres

# Each cause, and what more and less of it is.
_SAID = {
    "window": ("the window's end correction", "longer", "shorter"),
    "foot": ("the end correction of an open end", "longer", "shorter"),
    "wall": ("the wall at the holes", "thicker", "thinner"),
    "hole_end": ("the end correction of the open holes", "longer", "shorter"),
    "bore": ("the bore", "wider", "narrower"),
    "pad_depth": ("fingers in the holes", "deeper", "less deep"),
    "air_offset": ("the air in the bore", "warmer", "colder"),
    "loss": ("friction at the bore's wall", "more", "less"),
    "breath": ("what the breath's pressure does", "more", "less"),
    "second_register": ("overblowing", "sharper", "flatter"),
    "jet": ("the jet's pull", "sharper", "flatter"),
    "coupling": ("the openings hearing one another", "more", "less"),
    SESSION: ("breath and tuner", "sharp", "flat"),
}
_THAN = {
    "window": "than the formula says",
    "foot": "than the formula says",
    "hole_end": "than the formula says",
    "pad_depth": "than usual",
    "loss": "than the formula says",
    "coupling": "than the formula says",
    "breath": "for double the pressure than usual",
    "second_register": "than usual",
    "jet": "than usual",
    SESSION: "in all notes",
}
_FAHRENHEIT = 1.8  # degrees F in a kelvin
_MOST = 3  # causes that the sentences name as looking the same
_HALF = 0.5  # of the mismatch


def cause_words(mismatch: Mismatch, cause: int) -> str:
    """Return what a cause is called."""
    name = mismatch.causes[cause]
    return _SAID[name][0] if name in _SAID else name


def amount_words(mismatch: Mismatch, cause: int, tolerances: float) -> str:
    """Return an amount of a cause in the shop's words: '0.30 mm wider than written'."""
    name = mismatch.causes[cause]
    _, more, less = _SAID.get(name, (name, "more", "less"))
    size = _size(mismatch, cause, abs(tolerances))
    words = f"{size} {more if tolerances > 0 else less} {_THAN.get(name, 'than written')}"
    if name != SESSION:
        return words
    doublings = tolerances * mismatch.tolerance[cause] / Corrections().breath
    harder = "harder" if tolerances > 0 else "softer"
    return f"{words}, as if blown {100 * abs(2**doublings - 1):.0f} % {harder}"


def tolerance_words(mismatch: Mismatch, cause: int) -> str:
    """Return the usual error of a cause in the shop's unit: '± 0.15 mm'."""
    return f"± {_size(mismatch, cause, 1.0)}"


def _size(mismatch, cause, tolerances):
    """An amount without its sign, in the shop's unit."""
    name, flute = mismatch.causes[cause], mismatch.measurements.flute
    value = tolerances * mismatch.tolerance[cause]
    if name == "air_offset":
        return f"{value:.1f} C ({_FAHRENHEIT * value:.1f} F)"
    if name in ("breath", "second_register", "jet", SESSION):
        return f"{value:.0f} cents"
    if name not in META:
        return _length(value, flute.unit)
    for e in equivalents(flute, Corrections()):
        if e.name == name:
            return _length(value * e.per_unit, flute.unit)
    return f"{100 * value:.0f} %"


def _length(metres, unit):
    return f"{inches(metres):.3f} in" if unit == "in" else f"{millimetres(metres):.2f} mm"


def mismatch_table(mismatch: Mismatch) -> pd.DataFrame:
    """Return a row for each cause, likeliest first.

    Its usual error and what that does to the notes; the amount that fits best alone, how many
    usual errors that is, the shift of breath and tuner beside it, whether both are plausible,
    how much they leave; and how many usual errors of it serve best when all act together.
    """
    each = range(len(mismatch.causes))
    effect = mismatch.effect[:, mismatch.counted]
    share_left = mismatch.left / (mismatch.rms or 1.0)  # notes right on the book: nothing to take
    return pd.DataFrame(
        {
            "cause": [cause_words(mismatch, k) for k in each],
            "usual_error": [tolerance_words(mismatch, k) for k in each],
            "does_from_cents": effect.min(axis=1),
            "does_to_cents": effect.max(axis=1),
            "alone": [amount_words(mismatch, k, mismatch.amount[k]) for k in each],
            "alone_usual_errors": mismatch.amount,
            "sd_usual_errors": mismatch.doubt,
            "session_beside_cents": mismatch.shift,
            "plausible": [plausible(size) for size in farthest(mismatch)],
            "leaves_cents": mismatch.left,
            "takes_percent": 100 * np.maximum(1 - share_left, 0.0) * (mismatch.rms > 0),
            "together_usual_errors": mismatch.share,
        }
    )


def mismatch_notes_table(mismatch: Mismatch) -> pd.DataFrame:
    """Return a row for each measured note: its mismatch, what one usual error does, the rest."""
    m = mismatch.measurements
    columns = {
        "row": m.place,
        "session": m.session,
        "fingering": m.rows.label,
        "register": mismatch.register,
        "counted": np.where(mismatch.counted, "yes", "no"),
        "measured_over_book_cents": mismatch.cents,
    }
    for name, effect in zip(mismatch.causes, mismatch.effect, strict=True):
        columns[f"{name.replace(': ', '_').replace(' ', '_')}_cents"] = effect
    return pd.DataFrame(columns | {"left_together_cents": mismatch.together})


def mismatch_words(mismatch: Mismatch) -> list[str]:
    """Return at most four plain sentences on why the notes do not match the book."""
    first = _how_far(mismatch)
    if mismatch.rms <= mismatch.chance:
        usual = (
            "That is no more than readings, breath and tuner usually make "
            f"({_cents(mismatch.chance)}): there is nothing to explain."
        )
        return [first, usual]
    return [first, _the_likeliest(mismatch), _the_others(mismatch), _together(mismatch)]


def _how_far(mismatch):
    cents = mismatch.cents[mismatch.counted]
    middle, low, high = (round(float(f(cents))) for f in (np.median, np.min, np.max))
    way = f"{_cents(abs(middle))} {'sharp' if middle > 0 else 'flat'}" if middle else "just"
    told = f"about {way} of" if middle else "as a whole on"
    single = f" (single notes from {_way(low)} to {_way(high)})" if high > low else ""
    return (
        f"The notes are {told} what the book's formulas say{single}; readings scatter by "
        f"{_cents(mismatch.noise)}."
    )


def _way(cents):
    return f"{abs(cents)} {'sharp' if cents > 0 else 'flat'}" if cents else "just on it"


def _cents(size):
    whole = round(float(size))
    return "1 cent" if whole == 1 else f"{whole} cents"


def _the_likeliest(mismatch):
    words, left = cause_words(mismatch, 0), mismatch.left[0]
    part = "most of it" if left < _HALF * mismatch.rms else "some of it"
    beside = ""
    if round(mismatch.shift[0]):
        way = "sharp" if mismatch.shift[0] > 0 else "flat"
        beside = f" (and breath and tuner {_cents(abs(mismatch.shift[0]))} {way})"
    return (
        f"{words[0].upper()}{words[1:]}, {amount_words(mismatch, 0, mismatch.amount[0])}{beside}, "
        f"would explain {part} and leave {_cents(left)} of {round(mismatch.rms)}: "
        f"{_how_usual(farthest(mismatch)[0])}."
    )


def _how_usual(size):
    if size <= USUAL:
        return "that is within the usual error"
    told = f"that is {size:.1f} times the usual error"
    return told if plausible(size) == "unusual" else f"{told}, hardly by itself"


def _the_others(mismatch):
    size = farthest(mismatch)
    same = sorted(alike(mismatch), key=size.__getitem__)[:_MOST]
    usual = [k for k in range(1, len(size)) if size[k] <= UNUSUAL and k not in same]
    told = []
    if same:
        named = "; ".join(
            f"{_named(mismatch, k)} ({size[k]:.1f} times the usual error)" for k in same
        )
        told.append(f"the notes fit as well with {named}")
    elif len(size) > 1:
        told.append(f"no other cause alone would leave less than {_cents(mismatch.left[1:].min())}")
    if min(size[[0, *same]]) > UNUSUAL and usual:
        best = min(usual, key=mismatch.left.__getitem__)
        told.append(
            f"of what is not far out, {_named(mismatch, best)}, leaves least: "
            f"{_cents(mismatch.left[best])}"
        )
    text = "; ".join(told) or "no other cause moves these notes"
    return f"{text[0].upper()}{text[1:]}."


def _named(mismatch, k):
    return f"{cause_words(mismatch, k)}, {amount_words(mismatch, k, mismatch.amount[k])}"


def _together(mismatch):
    left = _cents(mismatch.together_rms)
    if not mismatch.enough:
        return (
            f"Even all causes together leave {left}: something else is wrong, such as a row, a "
            "fingering, or a hole that is not as written."
        )
    worst = int(np.argmax(np.abs(mismatch.share)))
    size = abs(mismatch.share[worst])
    if plausible(size) == "not by itself":
        return (
            f"All causes together leave {left}, but only with {cause_words(mismatch, worst)} "
            f"{amount_words(mismatch, worst, mismatch.share[worst])}, {size:.1f} times the usual "
            "error: check that first."
        )
    return (
        f"All causes together, none beyond {max(USUAL, size):.1f} times its usual error, leave "
        f"{left}: nothing else need be wrong."
    )
