"""What a calibration means, in plain sentences without a word of statistics."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from flutelab.files.constants_file import learned
from flutelab.files.suspected import ONE_SESSION, row_name, size, suspect_words
from flutelab.fitting.calibrate import Calibration, TableResult, another_day
from flutelab.fitting.suspects import Suspect
from flutelab.fitting.unknowns import MODEL_SD, SESSION_SD, Parameter
from flutelab.model.corrections import META
from flutelab.model.equivalents import equivalents
from flutelab.model.notes import CENT

_SAID = {
    "window": "the window correction",
    "foot": "the foot correction (the end correction of an open end)",
    "wall": "the wall at the holes",
    "hole_end": "the end correction of the open holes",
    "bore": "the bore",
    "air_offset": "the air in the bore",
    "breath": "the breath",
    "second_register": "overblowing",
    "jet": "the jet's pull",
    "pad_depth": "the fingers in the holes",
    "loss": "friction at the bore's wall",
    "coupling": "the openings hearing one another outside",
}
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
_WAYS = {
    "bore": "as if {} {} than written",
    "wall": "as if {} {} than written",
    "pad_depth": "as if they reached {} {} than usual",
}
_LONGER = {
    "bore": ("wider", "narrower"),
    "wall": ("thicker", "thinner"),
    "pad_depth": ("deeper", "less deep"),
}
FAR = 2.5  # usual errors from which an unknown is more likely a slip (estimate)
CLEAR = 1.5  # sd from which a cause is more than its own doubt
ON_THE_BOOK = 2  # cents
CLOSE_TO_BOOK = 10  # cents between a flute's notes, seen against the book
TOLD_ASIDE = 2  # rows left out that the sentences name


def sentences(calibration: Calibration, odd: tuple[Suspect, ...]) -> list[str]:
    """Return at most five plain sentences, without a word of statistics."""
    return [
        _how_far_off(calibration, odd),
        _largest_cause(calibration, odd),
        _how_well(calibration),
        _what_does_not_fit(calibration, odd),
        _what_next(calibration, odd),
    ]


def each_row(calibration: Calibration) -> Iterator[tuple[int, int, TableResult]]:
    """Yield every row as (table, row, the table's result)."""
    for table, part in enumerate(calibration.tables):
        for row in range(len(part.fate)):
            yield table, row, part


def _fitted(calibration):
    return [entry for entry in each_row(calibration) if entry[2].fate[entry[1]] == "fitted"]


def _off_book(calibration, odd):
    """Cents of measured against the book, fitted rows that fit (all, if none does)."""
    strange = {(s.table, s.index) for s in odd if s.kind == "row"}
    fitted = _fitted(calibration)
    fitting = [entry for entry in fitted if entry[:2] not in strange]
    return np.array(
        [
            np.log(part.measurements.frequency[row] / part.book[row]) / CENT
            for _, row, part in fitting or fitted
        ]
    )


def _how_far_off(calibration, odd):
    off = _off_book(calibration, odd)
    middle, low, high = (round(float(f(off))) for f in (np.median, np.min, np.max))
    subject = "The flute sounds" if len(calibration.tables) == 1 else "The flutes sound"
    single = f"single notes from {_way(low)} to {_way(high)}" if high > low else ""
    if abs(middle) >= ON_THE_BOOK:
        way = "sharp" if middle > 0 else "flat"
        told = f"about {abs(middle)} cents {way} of what the book's formulas say"
    elif high - low > CLOSE_TO_BOOK:
        return f"{subject} neither sharp nor flat of the book's formulas as a whole, but {single}."
    else:
        told = "as the book's formulas say"
    return f"{subject} {told} ({single})." if single else f"{subject} {told}."


def _way(cents):
    if cents == 0:
        return "just on it"
    return f"{abs(cents)} {'sharp' if cents > 0 else 'flat'}"


def _largest_cause(calibration, odd):
    """The unknown that moved the notes most, in the shop's unit."""
    moved = calibration.value - np.array([p.prior.mean for p in calibration.parameters])
    shifts = np.array([part.gradient[row] for _, row, part in _fitted(calibration)]) * moved
    named = [p.is_correction or p.session is not None for p in calibration.parameters]
    size = np.mean(np.abs(shifts), axis=0) * named
    best = int(np.argmax(size))
    if round(size[best]) == 0:
        return "No cause stands out: none moves the notes by as much as a cent."
    parameter = calibration.parameters[best]
    if parameter.session is not None:
        what = f"{session_name(calibration, parameter)} as a whole, breath and tuner together"
    else:
        what = _cause(calibration, parameter, float(calibration.value[best]), moved[best])
    told = f"{what}: {_moved(shifts[:, best])}"
    if odd:
        return (
            f"As the notes stand, the largest cause would be {told}; what does not fit (below) may "
            "have bent this."
        )
    sd = float(np.sqrt(calibration.covariance[best, best]))
    if abs(moved[best]) < CLEAR * sd:
        return f"No single cause stands out; the likeliest is {told}."
    return f"The largest cause is probably {told}."


def _moved(cents):
    """How a cause moved the notes, in words."""
    low, high = float(np.min(cents)), float(np.max(cents))
    if low < -0.5 and high > 0.5:
        return f"some notes up to {_cents(high)} sharper, others up to {_cents(low)} flatter"
    middle = float(np.mean(cents))
    way = "sharper" if middle > 0 else "flatter"
    return f"about {_cents(middle)} {way}"


def _cents(size):
    whole = round(abs(size))
    return "1 cent" if whole == 1 else f"{whole} cents"


def session_name(calibration: Calibration, parameter: Parameter) -> str:
    """Return what a session's offset is called, with its table where several are pooled."""
    several = ""
    if len(calibration.tables) > 1:
        several = f" of {calibration.tables[parameter.table].measurements.source}"
    if parameter.session == ONE_SESSION:
        return f"the session{several}"
    return f"the session {parameter.session!r}{several}"


def _cause(calibration, parameter, value, moved):
    name = parameter.name
    whose = ""
    if parameter.table is not None:
        whose = f" of {calibration.tables[parameter.table].measurements.source}"
    if name == "air_offset":
        way, size = "warmer" if moved > 0 else "colder", abs(moved)
        return f"{_SAID[name]}{whose}, as if {size:.1f} C ({1.8 * size:.1f} F) {way} than written"
    first = parameter.table or 0
    for part in (*calibration.tables[first:], *calibration.tables[:first]):
        for e in equivalents(part.measurements.flute, part.corrections):
            if e.name == name:
                unit = part.measurements.flute.unit
                way = _amount(e.corrected - e.formula, unit, name)
                times = f" ({value:.3f} times)" if META[name]["unit"] == "times" else ""
                return f"{_SAID[name]}{whose}, {way}{times}"
    return f"{_SAID[name]} ({value:.3g} {META[name]['unit']})"


def _amount(metres, unit, name):
    """A length more or less, in the shop's unit, against what was written or the formula."""
    way = _LONGER.get(name, ("longer", "shorter"))[0 if metres > 0 else 1]
    digits = 2 if name == "bore" else 1
    return _WAYS.get(name, "{} {} than the formula says").format(size(metres, unit, digits), way)


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


def _how_well(calibration):
    checked = [
        abs(part.residual[row])
        for _, row, part in each_row(calibration)
        if part.fate[row] == "checked" and not part.why[row]
    ]
    foretold = (
        "With the corrections flutelab should foretell another day's notes to about "
        f"{foretold_cents(calibration):.0f} cents, two times in three"
    )
    if not checked:
        return foretold + "."
    rows = "the check row" if len(checked) == 1 else f"the {len(checked)} check rows"
    worst = _cents(np.ceil(max(checked)))
    return f"{foretold}; {rows}, which it had not seen, came within {worst}."


def _set_aside(calibration, odd):
    """Rows that were left out, or not checked, against the user's wish and not yet told of."""
    known = {(s.table, s.index) for s in odd if s.kind == "row"}
    return [
        (row, part)
        for table, row, part in each_row(calibration)
        if part.why[row]
        and part.measurements.use[row] != "no"
        and part.fate[row] != "apart"
        and (table, row) not in known
    ]


def _what_does_not_fit(calibration, odd):
    gone = {(table, row) for table, row, part in each_row(calibration) if part.why[row]}
    out = [s for s in odd if s.kind == "row" and (s.table, s.index) in gone]
    told = [suspect_words(calibration, s) for s in odd if s not in out]
    aside = [suspect_words(calibration, s) for s in out]
    aside += [
        f"{row_name(calibration, row, part)} was left out, {part.why[row]}"
        for row, part in _set_aside(calibration, odd)
    ]
    told += aside[:TOLD_ASIDE]
    if len(aside) > TOLD_ASIDE:
        told.append(f"{len(aside) - TOLD_ASIDE} more rows were left out, see below")
    if not told:
        return "No row and no hole stands out."
    text = "; ".join(told)
    return f"{text[0].upper()}{text[1:]}."


def _what_next(calibration, odd):
    kinds = {suspect.kind for suspect in odd}
    mends = []
    if kinds & {"hole", "flute"}:
        mends.append("write what you measure into the flute file")
    if "table" in kinds:
        mends.append("mend the note table")
    if "row" in kinds or _set_aside(calibration, odd):
        mends.append("mend the row, or write `no` under its use if nobody knows any more")
    if mends:
        text = "; ".join([*mends, "then calibrate again"])
        return f"{text[0].upper()}{text[1:]}."
    touched = np.any([part.gradient[row] for _, row, part in _fitted(calibration)], axis=0)
    asked = {p.name for p, is_in in zip(calibration.parameters, touched, strict=True) if is_in}
    unseen = [
        name for name in calibration.free
        if name in asked and learned(calibration, name)[1] == "prior only"
    ]  # fmt: skip
    if unseen:
        several = " and ".join(_SAID[name] for name in unseen)
        known = _ADVICE | ({"foot": _MORE_PIPES} if _has_bare_row(calibration) else {})
        advice = "; ".join(dict.fromkeys(known[name] for name in unseen))
        return f"These notes say next to nothing about {several}: {advice}."
    far = np.abs(calibration.value - [p.prior.mean for p in calibration.parameters])
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


def _has_bare_row(calibration):
    return any(
        not np.any(part.measurements.rows.drilled[row]) for _, row, part in _fitted(calibration)
    )
