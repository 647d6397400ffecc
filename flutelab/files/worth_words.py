"""What the model is worth beside rules of thumb, as a table and in two sentences."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flutelab.fitting.worth import BOOK, CALIBRATED, CLEAR, FITTED, HAND, Worth, rival, size_of

# Each rule for any flute, with a window or without; of one flute see flutelab.model.byhand.
_BEYOND = "what is beyond the head (the window's correction, or 0.6 bore radii of an open end)"
_RULES = {
    "straight": "c/2L, L from the sounding edge or the head to the first open hole or the foot",
    "corrected": f"c/2L, with {_BEYOND} and 0.6 bore radii beyond the first open hole or the foot",
    "one hole": f"c/2L, with {_BEYOND} and the first open hole beside its tail",
    "row": f"c/2L, with {_BEYOND} and an endless row of the first two open holes",
}
_LATTICE = {
    BOOK: "the lattice by the book",
    CALIBRATED: "the lattice, calibrated",
}
_SIZES = ("rms_cents", "median_cents", "worst_cents", "notes")


def way_words(way: str) -> str:
    """Return what a way of foretelling is called."""
    name = way.removesuffix(FITTED)
    words = _LATTICE.get(name, f"rule of thumb: {name}")
    return words if name == way else f"{words}, one constant fitted"


def worth_table(worth: Worth) -> pd.DataFrame:
    """Return a row for each way: how far left-out notes lie from what it foretells.

    Root mean square, median and worst size of the errors [cents] with the note left out, and,
    of several flutes, with the whole flute left out; and what a rule of thumb says in words.
    """
    columns = {"way": [way_words(way) for way in worth.ways]}
    for what, error in (("note_out", worth.note_out), ("flute_out", worth.flute_out)):
        if error is not None:
            sizes = zip(*map(size_of, error), strict=True)
            columns |= {
                f"{what}_{name}": values for name, values in zip(_SIZES, sizes, strict=True)
            }
    columns["rule"] = [_RULES.get(way.removesuffix(FITTED), "") for way in worth.ways]
    return pd.DataFrame(columns)


def worth_notes_table(worth: Worth) -> pd.DataFrame:
    """Return a row for each note: how far it lies from what each way foretells of it [cents]."""
    columns = {
        "flute": [worth.flutes[n] for n in worth.flute],
        "fingering": worth.label,
        "register": worth.register,
        "sd_reading_cents": worth.noise,
    }
    for what, errors in (("note_out", worth.note_out), ("flute_out", worth.flute_out)):
        for way, error in zip(worth.ways, () if errors is None else errors, strict=False):
            columns[f"{way.replace(FITTED, '_constant').replace(' ', '_')}_{what}_cents"] = error
    return pd.DataFrame(columns)


def worth_words(worth: Worth) -> list[str]:
    """Return two plain sentences: how well left-out notes are foretold, and is it worth it."""
    sizes = dict(zip(worth.ways, map(size_of, worth.note_out), strict=True))
    rules = [way for way in HAND if np.isfinite(sizes[way][0])]
    told = [
        f"{_cents(sizes[CALIBRATED][0])} by the calibrated lattice",
        f"{_cents(sizes[BOOK][0])} by the book as it stands",
    ]
    if rules:
        best = min(rules, key=lambda way: sizes[way][0])
        told.append(f"{_cents(sizes[best][0])} by the best rule of thumb ({best})")
    count = len(worth.label)
    first = (
        f"Each of {count} notes, left out and foretold from the others, comes within (root mean "
        f"square) {', '.join(told[:-1])} and {told[-1]}."
    )
    verdict = _verdict(*rival(worth.ways, worth.note_out), worth.note_out, worth.ways)
    if worth.flute_out is not None:
        said = _verdict(*rival(worth.ways, worth.flute_out), worth.flute_out, worth.ways)
        verdict = f"{verdict}; for a flute that it has not heard, {said}"
    return [first, f"{verdict[0].upper()}{verdict[1:]}."]


def _verdict(best, clearly, error, ways):
    mine, other = (size_of(error[ways.index(way)])[0] for way in (CALIBRATED, best))
    beside = f"{way_words(best)} ({_cents(other)} against {_cents(mine)})"
    if clearly >= CLEAR:
        return f"calibrating is worth it, better than {beside}"
    if clearly <= -CLEAR:
        return f"calibrating is not worth it: {beside} does better"
    return f"these notes do not show that calibrating is better than {beside}"


def _cents(size):
    digits = 1 if size < 9.95 else 0
    return f"{size:.{digits}f} cents"
