"""What a calibration means, in plain sentences without a word of statistics."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.files.cause_words import acts_as, cause_noun, cents_words
from flutelab.files.learned import PRIOR_ONLY, learned, sd_on
from flutelab.files.mismatch_words import LEAST_NOTES, how_far_words, notes_counted, within_chance
from flutelab.files.to_mend import (
    each_row,
    is_to_mend,
    mends,
    session_name,
    what_does_not_fit,
)
from flutelab.fitting.calibrate import Calibration, another_day
from flutelab.fitting.mismatch import Mismatch, why_not_matching
from flutelab.fitting.suspects import Suspect
from flutelab.fitting.unknowns import MODEL_SD, OF_A_DAY, SESSION_SD
from flutelab.model.corrections import META, NAMES

_ADVICE = {
    "window": "play the bare pipe or the second register too",
    "foot": "on your next pipe, take readings before any hole is drilled",
    "wall": "add overblown or cross-fingered notes, or measure the wall at the holes again",
    "hole_end": "add cross-fingered notes",
    "bore": "measure the bore again",
    "air_offset": "measure the air inside the bore right after playing",
    "breath": "note the breath's pressure with some soft and some hard readings",
    "second_register": "add overblown notes",
    "jet": "measure some notes without blowing, by a loudspeaker or a tap",
    "pad_depth": "add notes with many closed holes",
    "loss": "leave the friction as it is",
    "coupling": "leave the coupling as it is",
}
_MORE_PIPES = "take readings of bare pipes of several lengths"
FAR = 2.5  # usual errors from which an unknown is more likely a slip (estimate)
CLEAR = 1.5  # sd from which a cause is more than its own doubt
LEAST_ROWS = 2  # from which readings show anything of themselves
_MEANING = {"foot": " (the end correction of an open end)"}


def sentences(
    calibration: Calibration,
    odd: tuple[Suspect, ...],
    mismatches: Sequence[Mismatch] | None = None,
    unit: str | None = None,
) -> list[str]:
    """Return at most five plain sentences, without a word of statistics.

    Parameters
    ----------
    calibration : Calibration
    odd : tuple of Suspect
        What does not fit.
    mismatches : sequence of Mismatch, optional
        From `mismatches_of`, where they are known already.
    unit : {'mm', 'in'}, optional
        Of lengths. Default: the one that each flute's owner measures in.
    """
    mismatches = mismatches_of(calibration) if mismatches is None else mismatches
    calibration = calibration if unit is None else _shown_in(calibration, unit)
    return [
        f"{how_far_words(mismatches)}.",
        largest_cause(calibration, mismatches, bent=is_to_mend(calibration, odd)),
        _how_well(calibration, odd),
        what_does_not_fit(calibration, odd),
        _what_next(calibration, odd),
    ]


def _shown_in(calibration, unit):
    """The same calibration, its flutes shown in a unit: all words take it from the flute."""

    def shown(part):
        flute = replace(part.measurements.flute, unit=unit)
        return replace(part, measurements=replace(part.measurements, flute=flute))

    return replace(calibration, tables=tuple(map(shown, calibration.tables)))


def mismatches_of(calibration: Calibration) -> list[Mismatch]:
    """Return the mismatch of each table of which a row was fitted."""
    with already_warned():
        return [
            why_not_matching(part.measurements)
            for part in calibration.tables
            if "fitted" in part.fate
        ]


def _fitted(calibration):
    return [entry for entry in each_row(calibration) if entry[2].fate[entry[1]] == "fitted"]


def largest_cause(
    calibration: Calibration, mismatches: Sequence[Mismatch], *, bent: bool = False
) -> str:
    """Return the unknown that moved the notes most in a fit, in the shop's unit, as a sentence.

    Parameters
    ----------
    calibration : Calibration
    mismatches : sequence of Mismatch
        Of its tables.
    bent : bool
        Something does not fit, and may have moved it.
    """
    if sum(map(notes_counted, mismatches)) < LEAST_NOTES:
        return "One note alone tells no cause from another."
    moved = calibration.value - calibration.problem.mean
    shifts = np.array([part.gradient[row] for _, row, part in _fitted(calibration)]) * moved
    size = np.mean(np.abs(shifts), axis=0) * [p.note is None for p in calibration.parameters]
    best = int(np.argmax(size))
    if round(size[best]) == 0:
        return "No cause stands out: none moves the notes by as much as a cent."
    told = f"{_cause(calibration, best, moved[best])}: {_moved(shifts[:, best])}"
    if bent:
        return (
            f"As the notes stand, the largest cause would be {told}; what does not fit may have "
            "bent this."
        )
    sd = float(np.sqrt(calibration.covariance[best, best]))
    clear = abs(moved[best]) >= CLEAR * sd
    if all(map(within_chance, mismatches)) and not clear:
        return (
            "No cause stands out: the notes lie no farther off than readings, breath and tuner "
            "usually make them."
        )
    if not clear:
        return f"No single cause stands out; the likeliest, with all acting at once, is {told}."
    return f"The largest cause, with all acting at once, is probably {told}."


def _moved(cents):
    """How a cause moved the notes, in words."""
    low, high = float(np.min(cents)), float(np.max(cents))
    if low < -0.5 and high > 0.5:
        return (
            f"some notes up to {cents_words(high)} sharper, others up to {cents_words(low)} flatter"
        )
    middle = float(np.mean(cents))
    way = "sharper" if middle > 0 else "flatter"
    return f"about {cents_words(middle)} {way}"


def _cause(calibration, number, moved):
    """An unknown, how it was moved, and a correction's value where that is so many times."""
    p = calibration.parameters[number]
    if p.session is not None:
        return f"{session_name(calibration, p)} as a whole, breath and tuner together"
    flute = calibration.tables[p.table or 0].measurements.flute
    whose = ""
    if p.table is not None and len(calibration.tables) > 1:
        whose = f" of {calibration.tables[p.table].measurements.source}"
    noun = f"{cause_noun(p.name)}{_MEANING.get(p.name, '')}{whose}"
    times = p.is_correction and META[p.name]["unit"] == "times"
    value = f" ({calibration.value[number]:.3f} times)" if times else ""
    return f"{noun}, {acts_as(flute, p.name, moved)}{value}"


def foretold_cents(calibration: Calibration) -> float:
    """Return how well another day's notes are foretold [cents], as `foretell` has it.

    Corrections, that day's air, breath and tuner; no less than what the fit itself leaves
    where notes scatter more than chance lets them.
    """
    air_sd = calibration.priors["air_offset"].sd
    spread = another_day(calibration.spread, air_sd)
    names = list(spread.names)
    variance = []
    for part in calibration.tables:
        columns = [
            next(
                i for i, p in enumerate(calibration.parameters)
                if p.name == name and p.concerns(calibration.tables.index(part))
            )
            for name in names
        ]  # fmt: skip
        fitted = np.array([fate == "fitted" for fate in part.fate])
        gradient = part.gradient[fitted][:, columns]
        variance.append(np.einsum("np,pq,nq->n", gradient, spread.covariance, gradient))
    told = float(np.sqrt(np.median(np.concatenate(variance)) + SESSION_SD**2 + MODEL_SD**2))
    if calibration.widened == 1:
        return told
    left = [part.residual[row] for _, row, part in _fitted(calibration)]
    return max(told, float(np.sqrt(np.mean(np.square(left)))))


def _how_well(calibration, odd):
    if is_to_mend(calibration, odd):
        return (
            "Mend first what does not fit (next sentence): until then these corrections foretell "
            "no note that you could rely on."
        )
    if calibration.rows < LEAST_ROWS:
        return "It shows neither how well it was read nor how the next will fit."
    checked = [
        abs(part.residual[row])
        for _, row, part in each_row(calibration)
        if part.fate[row] == "checked" and not part.why[row]
    ]
    whose = "the next flute's notes" if _has_own(calibration) else "another day's notes"
    foretold = (
        f"With the corrections flutelab should foretell {whose} to about "
        f"{foretold_cents(calibration):.0f} cents, two times in three"
    )
    if not checked:
        return foretold + "."
    rows = "the check row" if len(checked) == 1 else f"the {len(checked)} check rows"
    worst = cents_words(np.ceil(max(checked)))
    return f"{foretold}; {rows}, which it had not seen, came within {worst}{_beside(calibration)}."


def _has_own(calibration):
    """Whether each flute has corrections of its own: what is foretold is then the next flute's."""
    return any(_own_tables(calibration, name) for name in NAMES if name not in OF_A_DAY)


def _own_tables(calibration, name):
    """The first table of each flute that has a correction for itself."""
    return [
        p.table
        for p in calibration.parameters
        if p.name == name and p.is_correction and p.table is not None
    ]


def _beside(calibration):
    """How far single readings scatter, where that is more than what is foretold."""
    scatter = float(np.median(calibration.problem.sd))
    if scatter < foretold_cents(calibration):
        return ""
    return f", single readings scattering by {cents_words(scatter)}"


def _what_next(calibration, odd):
    to_do = list(mends(calibration, odd))
    if to_do:
        text = "; ".join([*to_do, "then calibrate again"])
        return f"{text[0].upper()}{text[1:]}."
    if calibration.rows < LEAST_ROWS:
        return "Read more notes, each two or three times, before you change anything on the flute."
    unseen = _unseen(calibration)
    if unseen:
        several = " and ".join(cause_noun(name) + _MEANING.get(name, "") for name in unseen)
        known = _ADVICE | ({"foot": _MORE_PIPES} if _has_bare_row(calibration) else {})
        advice = "; ".join(dict.fromkeys(known[name] for name in unseen))
        return f"These notes say next to nothing about {several}: {advice}."
    far = np.abs(calibration.value - calibration.problem.mean)
    if calibration.widened > 1 or np.any(far > FAR * calibration.problem.unit):
        return (
            "Something may not be as written: the notes ask for more than sizes and readings "
            "usually err. Measure the flute and read the notes again before you file."
        )
    if not any(part.measurements.flute.holes for part in calibration.tables):
        return "Next, measure the flute with its holes, and give both to flutelab calibrate."
    return (
        "Foretell the fingerings you want next (flutelab predict), and file towards them: filing "
        "only ever raises a note."
    )


def _unseen(calibration):
    """Reported corrections that these flutes have, and the notes say next to nothing of."""
    touched = np.any([part.gradient[row] for _, row, part in _fitted(calibration)], axis=0)
    asked = {p.name for p, is_in in zip(calibration.parameters, touched, strict=True) if is_in}
    return [
        name for name in calibration.free
        if name in asked and _is_unseen(calibration, name)
    ]  # fmt: skip


def _is_unseen(calibration, name):
    """Whether the notes say next to nothing of a correction, of any flute that has its own."""
    tables = _own_tables(calibration, name)
    if not tables:
        return learned(calibration, name)[1] == "prior only"
    least = PRIOR_ONLY * calibration.priors[name].sd
    return calibration.widened == 1 and all(sd_on(calibration, t, name) > least for t in tables)


def _has_bare_row(calibration):
    return any(
        not np.any(part.measurements.rows.drilled[row]) for _, row, part in _fitted(calibration)
    )
