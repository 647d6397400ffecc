"""The report of a calibration: plain sentences first, figures after."""

from __future__ import annotations

import numpy as np

from flutelab.files.constants_file import learned
from flutelab.files.tables import note_name
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.problem import SESSION_SD
from flutelab.fitting.suspects import Suspect, suspects
from flutelab.making.cautions import CAUTIONS
from flutelab.model.corrections import META, NAMES
from flutelab.model.equivalents import equivalents
from flutelab.model.flute import hole_name
from flutelab.model.notes import CENT
from flutelab.units import inches, millimetres, to_celsius

_SAID = {
    "window": "the window",
    "foot": "the end correction of the open pipe end",
    "wall": "the wall at the holes",
    "hole_end": "the air just inside and outside the open holes",
    "bore": "the bore",
    "air_offset": "the air in the bore",
    "breath": "the breath",
    "second_register": "overblowing",
    "pad_depth": "how far the fingers reach into the holes",
    "loss": "friction at the bore's wall",
    "coupling": "the openings hearing one another outside",
}
_ADVICE = {
    "window": "play the bare pipe or the second register too",
    "foot": "take readings of the bare pipe, before any hole is drilled",
    "wall": "add overblown or cross-fingered notes, or measure the wall at the holes again",
    "hole_end": "add cross-fingered notes",
    "bore": "measure the bore again",
    "air_offset": "measure the air inside the bore right after playing",
    "breath": "note the breath's pressure with some soft and some hard readings",
    "second_register": "add overblown notes",
    "pad_depth": "add notes with many closed holes",
    "loss": "leave the friction as it is",
    "coupling": "leave the coupling as it is",
}


def report(calibration: Calibration, *, a4: float = 440.0) -> str:
    """Return the report of a calibration as text.

    Parameters
    ----------
    calibration : Calibration
    a4 : float
        Reference pitch of the note names [Hz].

    Returns
    -------
    str
        At most five plain sentences, then check rows, corrections, notes, what the
        notes can tell, and what was assumed.
    """
    odd = suspects(calibration)
    parts = [
        "\n".join(sentences(calibration, odd)),
        _check_rows(calibration, a4),
        _corrections(calibration),
        *(_lengths(part) for part in calibration.tables),
        _notes(calibration, a4),
        _odd_ones(calibration, odd),
        _what_the_notes_tell(calibration),
        _assumed(calibration),
        f"{CAUTIONS['pvc-dust']}\n{CAUTIONS['local']}",
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def sentences(calibration: Calibration, odd: tuple[Suspect, ...]) -> list[str]:
    """Return at most five plain sentences, without a word of statistics."""
    return [
        _how_far_off(calibration, odd),
        _largest_cause(calibration),
        _how_well(calibration),
        _what_does_not_fit(calibration, odd),
        _what_next(calibration, odd),
    ]


def _each_row(calibration):
    for table, part in enumerate(calibration.tables):
        for row in range(len(part.fate)):
            yield table, row, part


def _off_book(calibration, odd):
    """Cents of measured against the book, fitted rows that fit."""
    strange = {(s.table, s.index) for s in odd if s.kind == "row"}
    return np.array(
        [
            np.log(part.measurements.frequency[row] / part.book[row]) / CENT
            for table, row, part in _each_row(calibration)
            if part.fate[row] == "fitted" and (table, row) not in strange
        ]
    )


def _how_far_off(calibration, odd):
    off = _off_book(calibration, odd)
    middle = float(np.median(off))
    subject = "The flute sounds" if len(calibration.tables) == 1 else "The flutes sound"
    spread = f"(single notes from {_way(np.min(off))} to {_way(np.max(off))})"
    if abs(middle) < 1:
        return f"{subject} as the book says on the whole {spread}."
    way = "sharp" if middle > 0 else "flat"
    return f"{subject} about {abs(middle):.0f} cents {way} of the book {spread}."


def _way(cents):
    if abs(cents) < 0.5:
        return "just on it"
    return f"{abs(cents):.0f} {'sharp' if cents > 0 else 'flat'}"


def _largest_cause(calibration):
    """The unknown that moved the notes most, in the shop's unit."""
    moved = calibration.value - np.array([p.prior.mean for p in calibration.parameters])
    fitted = [
        part.gradient[row] for _, row, part in _each_row(calibration) if part.fate[row] == "fitted"
    ]
    shifts = np.array(fitted) * moved
    best = int(np.argmax(np.mean(np.abs(shifts), axis=0)))
    parameter, cents = calibration.parameters[best], float(np.mean(shifts[:, best]))
    if parameter.session is not None:
        what = f"the sitting {parameter.session!r} as a whole, breath and tuner together"
    else:
        what = _cause(calibration, parameter, float(calibration.value[best]), moved[best])
    return f"The largest cause is probably {what}: about {abs(cents):.0f} cents {_sign(cents)}."


def _sign(cents):
    return "up" if cents > 0 else "down"


def _cause(calibration, parameter, value, moved):
    name = parameter.name
    if name == "air_offset":
        way = "warmer" if moved > 0 else "colder"
        return f"the air in the bore, as if {abs(moved):.1f} C {way} than written"
    part = calibration.tables[parameter.table or 0]
    for e in equivalents(part.measurements.flute, part.corrections):
        if e.name == name:
            unit = part.measurements.flute.unit
            return f"{_SAID[name]}, as if {_amount(e.corrected - e.formula, unit, name)}"
    return f"{_SAID[name]} ({value:.3g} {META[name]['unit']})"


def _amount(metres, unit, name):
    """A length more or less, in the shop's unit."""
    size = abs(metres)
    shown = f"{inches(size):.3f} in" if unit == "in" else f"{millimetres(size):.1f} mm"
    if name == "bore":
        return f"{shown} {'wider' if metres > 0 else 'narrower'} than written"
    if name == "wall":
        return f"{shown} {'thicker' if metres > 0 else 'thinner'} than written"
    return f"{shown} {'longer' if metres > 0 else 'shorter'} than the formula says"


def foretold_cents(calibration: Calibration) -> float:
    """Return how well another day's notes are foretold [cents]: corrections, breath, tuner."""
    names = list(calibration.spread.names)
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
        variance.append(np.einsum("np,pq,nq->n", gradient, calibration.spread.covariance, gradient))
    return float(np.sqrt(np.median(np.concatenate(variance)) + SESSION_SD**2))


def _how_well(calibration):
    checked = [
        (row, part)
        for _, row, part in _each_row(calibration)
        if part.fate[row] == "checked" and np.isfinite(part.residual[row])
    ]
    foretold = (
        f"With the corrections the kit should foretell another day's notes to about "
        f"{foretold_cents(calibration):.0f} cents, two times in three"
    )
    if not checked:
        return foretold + "."
    worst = max(abs(part.residual[row]) for row, part in checked)
    rows = "the check row" if len(checked) == 1 else f"the {len(checked)} check rows"
    return f"{foretold}; {rows}, which it had not seen, came within {worst:.0f} cents."


def _what_does_not_fit(calibration, odd):
    if not odd:
        return "No row and no hole stands out."
    told = "; ".join(_told(calibration, suspect) for suspect in odd)
    return f"{told[0].upper()}{told[1:]}."


def _told(calibration, suspect):
    part = calibration.tables[suspect.table]
    m = part.measurements
    several = f" of {m.source}" if len(calibration.tables) > 1 else ""
    if suspect.kind == "hole":
        size = abs(suspect.amount)
        shown = f"{inches(size):.3f} in" if m.flute.unit == "in" else f"{millimetres(size):.1f} mm"
        way = "wider" if suspect.amount > 0 else "narrower"
        name = hole_name(suspect.index, len(m.flute.holes))
        return f"{name}{several} acts as if {shown} {way} than written: measure it again"
    way = "above" if suspect.amount > 0 else "below"
    word = m.rows.label[suspect.index] or "the bare pipe"
    return (
        f"{m.place[suspect.index]}{several} ({word}, {m.session[suspect.index]}) reads "
        f"{abs(suspect.amount):.0f} cents {way} where the other notes put it: look at what was "
        "written"
    )


def _what_next(calibration, odd):
    left = [
        f"{part.measurements.place[row]} ({part.why[row]})"
        for _, row, part in _each_row(calibration)
        if part.fate[row] == "left out" and part.why[row] != "use = no"
    ]
    if odd:
        return "Mend these first, or write `no` under use for such a row, and calibrate again."
    if left:
        return f"Look at what was left out and calibrate again: {left[0]}."
    unseen = [name for name in calibration.free if learned(calibration, name)[1] == "prior only"]
    if unseen:
        several = " and ".join(_SAID[name] for name in unseen)
        advice = "; ".join(dict.fromkeys(_ADVICE[name] for name in unseen))
        return f"These notes say next to nothing about {several}: {advice}."
    return "Foretell the fingerings you want next (flutelab predict), and file towards them."


def _check_rows(calibration, a4):
    lines = [
        _check_row(part, row, a4)
        for _, row, part in _each_row(calibration)
        if part.fate[row] == "checked"
    ]
    return "\n".join(["Check rows (not fitted)", *lines]) if lines else ""


def _check_row(part, row, a4):
    m = part.measurements
    head = f"  {m.place[row]:<8}{m.rows.label[row] or 'bare':<11}"
    if not np.isfinite(part.residual[row]):
        return f"{head}{part.why[row]}"
    foretold, measured = (note_name(f[row], a4) for f in (part.predicted, m.frequency))
    return (
        f"{head}{foretold:>9} foretold{measured:>9} measured{part.residual[row]:+7.1f} cents "
        f"(+- {np.hypot(part.sd[row], m.sd[row]):.1f})"
    )


def _corrections(calibration):
    lines = [
        "Corrections (1 = the formula as it stands; +- one standard deviation)",
        f"  {'':<17}{'value':>9}{'+-':>8}  {'before':>16}  learned",
    ]
    spread = calibration.spread
    for name in NAMES:
        prior = calibration.priors[name]
        if name in spread.names:
            index = spread.names.index(name)
            sd = float(np.sqrt(spread.covariance[index, index]))
        else:
            sd = prior.sd
        ratio, word = learned(calibration, name)
        mark = "*" if name in calibration.free else " "
        fraction = "" if prior.sd == 0 else f"{100 * max(0.0, 1 - ratio):3.0f} %"
        lines.append(
            f" {mark}{name:<17}{getattr(calibration.corrections, name):9.3f}{sd:8.3f}  "
            f"{prior.mean:7.2f} +- {prior.sd:5.2f}  {fraction:>6}  {word}".rstrip()
        )
    lines.append("  * reported; the others are fitted with it and widen its error")
    return "\n".join(lines)


def _lengths(part):
    m = part.measurements
    radius = m.flute.bore.stations[0][1] / 2
    lines = [f"As lengths on {m.flute.name!r}"]
    for e in equivalents(m.flute, part.corrections):
        lines.append(
            f"  {e.name:<10}{e.where:<26}{millimetres(e.formula):8.2f} mm by formula"
            f"{millimetres(e.corrected):8.2f} mm corrected  ({inches(e.corrected):.4f} in,"
            f" {e.corrected / radius:.3f} bore radii)"
        )
    return "\n".join(lines)


def _notes(calibration, a4):
    lines = [
        "Notes (cents: measured over the book, and over the prediction after the fit)",
        f"  {'':<8}{'fingering':<11}{'reg':>3}{'measured':>10}{'note':>9}{'book':>8}{'left':>8}"
        f"{'+-':>6}  fate",
    ]
    for _, row, part in _each_row(calibration):
        m = part.measurements
        book = np.log(m.frequency[row] / part.book[row]) / CENT
        why = f": {part.why[row]}" if part.why[row] else ""
        lines.append(
            f"  {m.place[row]:<8}{m.rows.label[row] or 'bare':<11}{part.register[row]:>3}"
            f"{m.frequency[row]:10.2f}{note_name(m.frequency[row], a4):>9}{book:+8.1f}"
            f"{part.residual[row]:+8.1f}{m.sd[row]:6.1f}  {part.fate[row]}{why}"
        )
    sessions = [
        f"  sitting {p.session!r}: {value:+.1f} cents common to its rows"
        for p, value in zip(calibration.parameters, calibration.value, strict=True)
        if p.session is not None
    ]
    return "\n".join([*lines, *sessions])


def _odd_ones(calibration, odd):
    if not odd:
        return ""
    lines = ["What does not fit (chi2 falls by at least this much; chance alone: about 12)"]
    for suspect in odd:
        lines.append(f"  {_told(calibration, suspect)} ({suspect.worth:.0f})")
        lines += [f"    or else {_named(calibration, key)}" for key in suspect.or_else]
    return "\n".join(lines)


def _named(calibration, key):
    kind, table, index = key
    m = calibration.tables[table].measurements
    return hole_name(index, len(m.flute.holes)) if kind == "hole" else m.place[index]


def _what_the_notes_tell(calibration):
    singular = calibration.singular_values
    strong = int(np.sum(singular > 1))
    largest = np.argsort(-np.abs(calibration.blind))[:3]
    blind = ", ".join(
        f"{calibration.parameters[i].name} {calibration.blind[i]:+.2f}" for i in largest
    )
    lines = [
        "What the notes can tell",
        f"  chi2 {calibration.chi2:.1f} over {calibration.rows} rows"
        + (f"; all errors widened {calibration.widened:.2f} times" if calibration.widened > 1
           else ""),
        f"  singular values in prior units: {' '.join(f'{s:.2g}' for s in singular)}",
        f"  {strong} directions are seen better than beforehand; least seen: {blind}",
        "  never told apart: the foot's end correction and an error of the length",
    ]  # fmt: skip
    if any(_holes_alike(part.measurements.flute) for part in calibration.tables):
        lines.append("  hardly told apart: wall and hole_end, as all holes are alike")
    lines.append("  the window's correction is as played: it holds the jet's pull at this breath")
    return "\n".join(lines)


def _holes_alike(flute):
    return len(flute.holes) > 1 and len({(h.diameter, h.wall) for h in flute.holes}) == 1


def _assumed(calibration):
    lines = ["Assumed"]
    for part in calibration.tables:
        m = part.measurements
        celsius = to_celsius(np.ravel(m.rows.air.temperature))
        lines.append(
            f"  {m.source}: bore air {np.min(celsius):.1f} to {np.max(celsius):.1f} C, "
            "400 ppm CO2, 101325 Pa"
        )
        lines += [f"  {m.source}: {said}" for said in m.reading]
    lines.append(
        f"  {SESSION_SD:.0f} cents of breath and tuner common to a sitting (common practice, no "
        "source)"
    )
    return "\n".join(lines)
