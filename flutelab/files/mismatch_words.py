"""Why measured notes do not match the book, in tables and in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from flutelab.files.cause_words import (
    cause_amount,
    cause_noun,
    cause_size,
    cents_words,
    way_words,
)
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.mismatch import (
    SESSION,
    UNUSUAL,
    USUAL,
    Mismatch,
    alike,
    farthest,
    plausible,
)

_CANNOT = "it would ask for more than there can be"
MEND_FIRST = "Mend first what does not fit; it may have bent what follows, so act on none of it."
LEAST_NOTES = 2  # from which causes are weighed
ONE_NOTE = (
    "One note tells no cause from another: any that moves it would explain all of it. Read more "
    "notes before you blame any."
)
_MOST = 3  # causes that the sentences name as looking the same
ON_THE_BOOK = 2  # cents
CLOSE_TO_BOOK = 10  # cents between a flute's notes, seen against the book


def cause_words(mismatch: Mismatch, cause: int) -> str:
    """Return what a cause is called."""
    return cause_noun(mismatch.causes[cause])


def amount_words(mismatch: Mismatch, cause: int, tolerances: float) -> str:
    """Return an amount of a cause in the shop's words: '0.30 mm wider than written'."""
    amount = tolerances * mismatch.tolerance[cause]
    return cause_amount(mismatch.measurements.flute, mismatch.causes[cause], amount)


def tolerance_words(mismatch: Mismatch, cause: int) -> str:
    """Return the usual error of a cause in the shop's unit: '± 0.15 mm'."""
    size = cause_size(
        mismatch.measurements.flute, mismatch.causes[cause], mismatch.tolerance[cause]
    )
    return f"± {size}"


def far_words(mismatch: Mismatch, cause: int) -> str:
    """Return how far a cause alone leads, and the session beside: '0.6 of its usual tolerance'.

    Where the notes ask for more than there can be, that this is the most.
    """
    own = f"{_share(mismatch.amount[cause])} its usual tolerance"
    if mismatch.limited[cause]:
        own = f"{own}, the most there can be"
    if not round(mismatch.shift[cause]):
        return own
    session = mismatch.tolerance[mismatch.causes.index(SESSION)]
    return f"{own}, and {_share(mismatch.shift[cause] / session)} that of breath and tuner"


def verdict_words(mismatch: Mismatch, cause: int) -> str:
    """Return whether a cause alone is plausible: usual, unusual, not or cannot by itself."""
    if mismatch.limited[cause]:
        return f"cannot by itself, as {_CANNOT}"
    return plausible(farthest(mismatch)[cause])


def _share(tolerances):
    size = f"{abs(tolerances):.1f}"
    return f"{size} {'times' if float(size) > 1 else 'of'}"


def mismatch_table(mismatch: Mismatch) -> pd.DataFrame:
    """Return a row for each cause, likeliest first.

    Its usual tolerance and what that does to the notes; the amount that fits best alone, how many
    tolerances that is, the shift of breath and tuner beside it, whether both are plausible (or
    whether the notes ask for more of the cause than there can be), how much they leave; and
    how many tolerances of it serve best when all act together. The session's shift is a cause
    of its own too.
    """
    each = range(len(mismatch.causes))
    effect = mismatch.effect[:, mismatch.counted]
    share_left = mismatch.left / (mismatch.rms or 1.0)  # notes right on the book: nothing to take
    return pd.DataFrame(
        {
            "cause": [cause_words(mismatch, k) for k in each],
            "usual_tolerance": [tolerance_words(mismatch, k) for k in each],
            "does_from_cents": effect.min(axis=1),
            "does_to_cents": effect.max(axis=1),
            "alone": [amount_words(mismatch, k, mismatch.amount[k]) for k in each],
            "alone_usual_tolerances": mismatch.amount,
            "sd_usual_tolerances": mismatch.doubt,
            "session_beside_cents": mismatch.shift,
            "plausible": [verdict_words(mismatch, k) for k in each],
            "leaves_cents": mismatch.left,
            "takes_percent": 100 * np.maximum(1 - share_left, 0.0) * (mismatch.rms > 0),
            "together_usual_tolerances": mismatch.share,
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


def mismatch_words(mismatch: Mismatch, *, named: bool | None = None) -> list[str]:
    """Return at most five plain sentences on why the notes do not match the book.

    Parameters
    ----------
    mismatch : Mismatch
    named : bool, optional
        Whether a mistake is named elsewhere, or a row left out: then that is to be mended first,
        and no other advice is given. Not given where none was looked for.
    """
    first = f"{how_far_words([mismatch])}{_scatter(mismatch)}."
    return [first, *alone_words(mismatch, named=named)]


def alone_words(mismatch: Mismatch, *, named: bool | None = None) -> list[str]:
    """Return at most four sentences on what each cause alone, and all together, explain.

    Parameters as of `mismatch_words`.
    """
    if notes_counted(mismatch) < LEAST_NOTES:
        return [*([MEND_FIRST] if named else []), ONE_NOTE]
    if within_chance(mismatch):
        usual = (
            "That is no more than readings, breath and tuner usually make "
            f"({cents_words(mismatch.chance)})"
        )
        return [MEND_FIRST, f"{usual}."] if named else [f"{usual}: nothing need be explained."]
    told = [_the_likeliest(mismatch), _the_others(mismatch)]
    if named:
        left = cents_words(mismatch.together_rms)
        return [MEND_FIRST, *told, f"All causes together leave {left}."]
    return [*told, _together(mismatch, looked=named is not None)]


def notes_counted(mismatch: Mismatch) -> int:
    """Return how many different notes are counted, repeats once."""
    labels = np.array(mismatch.measurements.rows.label, dtype=object)[mismatch.counted]
    return len(set(zip(labels, mismatch.register[mismatch.counted], strict=True)))


def within_chance(mismatch: Mismatch) -> bool:
    """Return whether readings, breath and tuner make as much: nothing is to be explained."""
    return bool(mismatch.rms <= mismatch.chance)


def how_far_words(mismatches: Sequence[Mismatch]) -> str:
    """Return how far the counted notes of one or several tables lie from the book.

    A sentence without its end; reckoned at the usual breath, which is said, where a pressure is
    known.
    """
    off = np.concatenate([one.cents[one.counted] for one in mismatches])
    middle, low, high = (round(float(f(off))) for f in (np.median, np.min, np.max))
    subject = "The flute sounds" if len(mismatches) == 1 else "The flutes sound"
    single = f"single notes from {_way(low)} to {_way(high)}" if high > low else ""
    if abs(middle) >= ON_THE_BOOK:
        way = "sharp" if middle > 0 else "flat"
        told = f"about {abs(middle)} cents {way} of what the book's formulas say{_at(mismatches)}"
    elif high - low > CLOSE_TO_BOOK:
        told = f"neither sharp nor flat of the book's formulas{_at(mismatches)} as a whole"
        return f"{subject} {told}, but {single}"
    else:
        told = f"as the book's formulas say{_at(mismatches)}"
    return f"{subject} {told} ({single})" if single else f"{subject} {told}"


def _at(mismatches):
    """That notes are reckoned at the usual breath, where pressures are known."""
    known = any(
        one.measurements.rows.breath is not None
        and np.any(np.isfinite(one.measurements.rows.breath[one.counted]))
        for one in mismatches
    )
    return " at the usual breath" if known else ""


def _way(cents):
    return f"{abs(cents)} {'sharp' if cents > 0 else 'flat'}" if cents else "just on it"


def how_known(measurements: Measurements) -> str:
    """Return how the sd of readings is known that no repeats tell: assumed or stated."""
    few = any("too few repeated readings" in said for said in measurements.reading)
    return "assumed" if few else "taken"


def _scatter(mismatch):
    """How far readings scatter, and how that is known; nothing of one reading."""
    if np.sum(mismatch.counted) < 2:
        return ""
    m, size = mismatch.measurements, cents_words(mismatch.noise)
    if m.freedom is not None and np.all(np.isfinite(m.freedom[mismatch.counted])):
        return f"; repeated readings scatter by {size}"
    return f"; readings are {how_known(m)} to scatter by {size}"


def _the_likeliest(mismatch):
    return (
        "Were it one cause alone, with breath and tuner beside it, the likeliest would be "
        f"{_named(mismatch, 0)}, which would leave {cents_words(mismatch.left[0])} of "
        f"{round(mismatch.rms)} (root mean square){_hardly(mismatch, 0)}."
    )


def _hardly(mismatch, cause):
    """What it means if a cause would have to be far out of the usual, or cannot be so far."""
    if mismatch.limited[cause]:
        return f": it cannot by itself, as {_CANNOT}"
    return ": hardly by itself" if farthest(mismatch)[cause] > UNUSUAL else ""


def _the_others(mismatch):
    size = farthest(mismatch)
    same = sorted(alike(mismatch), key=size.__getitem__)[:_MOST]
    can = (size <= UNUSUAL) & ~mismatch.limited
    usual = [k for k in range(1, len(size)) if can[k] and k not in same]
    told = []
    if same:
        told.append(f"the notes fit as well with {'; '.join(_named(mismatch, k) for k in same)}")
    elif len(size) > 1:
        least = cents_words(mismatch.left[1:].min())
        told.append(f"no other cause alone would leave less than {least}")
    if not np.any(can[[0, *same]]) and usual:
        best = min(usual, key=mismatch.left.__getitem__)
        told.append(
            f"of what is not far out, {_named(mismatch, best)}, leaves least: "
            f"{cents_words(mismatch.left[best])}"
        )
    text = "; ".join(told) or "no other cause moves these notes"
    return f"{text[0].upper()}{text[1:]}."


def _named(mismatch, k):
    """A cause with the amount that fits best alone, the session's shift, and how usual both are."""
    amount = amount_words(mismatch, k, mismatch.amount[k])
    if round(mismatch.shift[k]):
        amount = f"{amount}, with breath and tuner {way_words(mismatch.shift[k])}"
    return f"{cause_words(mismatch, k)}, {amount} ({far_words(mismatch, k)})"


def _together(mismatch, *, looked):
    left = cents_words(mismatch.together_rms)
    if not mismatch.enough and mismatch.together_rms > mismatch.chance:
        which = (
            "none stands out by itself: measure the flute and read the notes again"
            if looked else "flutelab calibrate names it, where one stands out"
        )  # fmt: skip
        return (
            f"Even all causes together leave {left}: something else is wrong, such as a row, a "
            f"fingering, or a hole that is not as written; {which}."
        )
    worst = int(np.argmax(np.abs(mismatch.share)))
    size = abs(mismatch.share[worst])
    if plausible(size) == "not by itself":
        return (
            f"All causes together leave {left}, but only with {cause_words(mismatch, worst)} "
            f"{amount_words(mismatch, worst, mismatch.share[worst])}, {_share(size)} its "
            "usual tolerance: check that first."
        )
    return (
        f"All causes together, none beyond {_share(max(USUAL, size))} its usual tolerance, leave "
        f"{left}: nothing else need be wrong."
    )
