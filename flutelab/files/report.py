"""The report of a calibration: plain sentences first, figures after."""

from __future__ import annotations

import numpy as np

from flutelab.files.constants_file import is_shared, learned, sd_on
from flutelab.files.tables import note_name
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.problem import SESSION_SD
from flutelab.fitting.suspects import Suspect, suspects
from flutelab.making.cautions import CAUTIONS
from flutelab.model.corrections import META, NAMES
from flutelab.model.equivalents import equivalents
from flutelab.model.flute import End, Window, hole_name
from flutelab.model.notes import CENT
from flutelab.units import inches, millimetres, to_celsius

_SAID = {
    "window": "the window correction",
    "foot": "the foot correction (the end correction of an open end)",
    "wall": "the wall at the holes",
    "hole_end": "the end correction of the open holes",
    "bore": "the bore",
    "air_offset": "the air in the bore",
    "breath": "the breath",
    "second_register": "overblowing",
    "pad_depth": "the fingers in the holes",
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
_LEARNED = {
    "prior only": "the notes say next to nothing",
    "at limit": "at its limit: take it with care",
    "held": "held",
    "": "",
}
ON_THE_BOOK = 2  # cents
CLOSE_TO_BOOK = 10  # cents between a flute's notes, seen against the book
TOLD_ASIDE = 2  # rows left out that the sentences name
SMALLEST_SHOWN = 0.01
ONE_SESSION = "all"  # what the note reader calls the session of a table without sessions


def report(
    calibration: Calibration, *, a4: float = 440.0, odd: tuple[Suspect, ...] | None = None
) -> str:
    """Return the report of a calibration as text.

    Parameters
    ----------
    calibration : Calibration
    a4 : float
        Reference pitch of the note names [Hz].
    odd : tuple of Suspect, optional
        What does not fit, where it is known already.

    Returns
    -------
    str
        At most five plain sentences, then check rows, corrections, notes, what the
        notes can tell, and what was assumed.
    """
    odd = suspects(calibration) if odd is None else odd
    parts = [
        "\n".join(sentences(calibration, odd)),
        _check_rows(calibration, a4),
        _corrections(calibration),
        *(_lengths(calibration, table) for table in range(len(calibration.tables))),
        *(_notes(calibration, table, a4) for table in range(len(calibration.tables))),
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
        _largest_cause(calibration, odd),
        _how_well(calibration),
        _what_does_not_fit(calibration, odd),
        _what_next(calibration, odd),
    ]


def _each_row(calibration):
    for table, part in enumerate(calibration.tables):
        for row in range(len(part.fate)):
            yield table, row, part


def _fitted(calibration):
    return [entry for entry in _each_row(calibration) if entry[2].fate[entry[1]] == "fitted"]


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
    size = np.mean(np.abs(shifts), axis=0)
    best = int(np.argmax(size))
    if round(size[best]) == 0:
        return "No cause stands out: none moves the notes by as much as a cent."
    parameter = calibration.parameters[best]
    if parameter.session is not None:
        what = f"{_session(calibration, parameter)} as a whole, breath and tuner together"
    else:
        what = _cause(calibration, parameter, float(calibration.value[best]), moved[best])
    told = f"{what}: {_moved(shifts[:, best])}"
    if odd:
        return (
            f"As the notes stand, the largest cause would be {told}; what does not fit (below) may "
            "have bent this."
        )
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


def _session(calibration, parameter):
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
    return _WAYS.get(name, "{} {} than the formula says").format(_size(metres, unit, digits), way)


def _size(metres, unit, digits=1):
    size = abs(metres)
    return f"{inches(size):.3f} in" if unit == "in" else f"{millimetres(size):.{digits}f} mm"


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
        abs(part.residual[row])
        for _, row, part in _each_row(calibration)
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


def _set_aside(calibration):
    """Rows that were left out, or not checked, against the user's wish."""
    return [
        (row, part)
        for _, row, part in _each_row(calibration)
        if part.why[row] and part.measurements.use[row] != "no" and part.fate[row] != "apart"
    ]


def _what_does_not_fit(calibration, odd):
    aside = _set_aside(calibration)
    told = [_told(calibration, suspect) for suspect in odd]
    told += [f"{_row_name(calibration, *entry)} was left out, {entry[1].why[entry[0]]}"
             for entry in aside[:TOLD_ASIDE]]  # fmt: skip
    if len(aside) > TOLD_ASIDE:
        told.append(f"{len(aside) - TOLD_ASIDE} more rows were left out, see below")
    if not told:
        return "No row and no hole stands out."
    text = "; ".join(told)
    return f"{text[0].upper()}{text[1:]}."


def _row_name(calibration, row, part):
    m = part.measurements
    several = f" of {m.source}" if len(calibration.tables) > 1 else ""
    word = m.rows.label[row] or "the bare pipe"
    session = "" if m.session[row] == ONE_SESSION else f", {m.session[row]}"
    return f"{m.place[row]}{several} ({word}{session})"


def _told(calibration, suspect):
    part = calibration.tables[suspect.table]
    m = part.measurements
    if suspect.kind == "hole":
        several = f" of {m.flute.name!r}" if len(calibration.tables) > 1 else ""
        way = "wider" if suspect.amount > 0 else "narrower"
        name = hole_name(suspect.index, len(m.flute.holes))
        shown = _size(suspect.amount, m.flute.unit)
        return f"{name}{several} acts as if {shown} {way} than written: measure it again"
    way = "above" if suspect.amount > 0 else "below"
    return (
        f"{_row_name(calibration, suspect.index, part)} reads {abs(suspect.amount):.0f} cents "
        f"{way} where the other notes put it: look at what was written"
    )


def _what_next(calibration, odd):
    kinds = {suspect.kind for suspect in odd}
    mends = []
    if "hole" in kinds:
        mends.append("write what you measure into the flute file")
    if "row" in kinds or _set_aside(calibration):
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
        advice = "; ".join(dict.fromkeys(_ADVICE[name] for name in unseen))
        return f"These notes say next to nothing about {several}: {advice}."
    if not any(part.measurements.flute.holes for part in calibration.tables):
        return "Next, measure the flute with its holes, and give both to flutelab calibrate."
    return "Foretell the fingerings you want next (flutelab predict), and file towards them."


def _check_rows(calibration, a4):
    lines = [
        _check_row(calibration, part, row, a4)
        for _, row, part in _each_row(calibration)
        if part.fate[row] == "checked"
    ]
    return "\n".join(["Check rows (not fitted)", *lines]) if lines else ""


def _check_row(calibration, part, row, a4):
    m = part.measurements
    several = f"{m.source}: " if len(calibration.tables) > 1 else ""
    head = f"  {several}{m.place[row]:<8}{m.rows.label[row] or 'bare':<11}"
    if part.why[row]:
        return f"{head}{part.why[row]}"
    foretold, measured = (note_name(f[row], a4) for f in (part.predicted, m.frequency))
    return (
        f"{head}{foretold:>9} foretold{measured:>9} measured{part.residual[row]:+z7.1f} cents "
        f"(+- {np.hypot(part.sd[row], m.sd[row]):.1f})"
    )


def _corrections(calibration):
    lines = [
        "Corrections (1 times = the formula as it stands; +- one standard deviation)",
        f"  {'':<17}{'value':>9}{'+-':>9}  {'unit':<19}{'before':>15}  learned",
    ]
    for name in NAMES:
        prior = calibration.priors[name]
        tables = (
            [None] if is_shared(calibration, name) or prior.sd == 0 else _own(calibration, name)
        )
        lines += [_correction(calibration, name, table) for table in tables or [None]]
    lines.append("  * reported; the others are fitted with it and widen its error")
    return "\n".join(lines)


def _own(calibration, name):
    return [p.table for p in calibration.parameters if p.name == name and p.table is not None]


def _correction(calibration, name, table):
    """One line; of one table where each has its own."""
    prior, sd = calibration.priors[name], sd_on(calibration, table or 0, name)
    whole = calibration if table is None else calibration.tables[table]
    ratio, word = learned(calibration, name)
    if table is not None:
        ratio, word = sd / (prior.sd * calibration.widened), ""
    fraction = "" if prior.sd == 0 else f"{100 * max(0.0, 1 - ratio):3.0f} %"
    remark = _LEARNED[word] if table is None else whole.measurements.source
    value = getattr(whole.corrections, name)
    mark = "*" if name in calibration.free else " "
    return (
        f" {mark}{name:<17}{value:z9.3f}{sd:9.3f}  {META[name]['unit']:<19}"
        f"{prior.mean:6.2f} +-{prior.sd:6.2f}  {fraction:>7}  {remark}".rstrip()
    )


def _lengths(calibration, table):
    part = calibration.tables[table]
    m = part.measurements
    radius = m.flute.bore.stations[0][1] / 2
    lines = [f"As lengths on {m.flute.name!r}"]
    for e in equivalents(m.flute, part.corrections):
        sd = abs(e.per_unit) * sd_on(calibration, table, e.name)
        lines.append(
            f"  {e.name:<10}{e.where:<24}{millimetres(e.formula):7.2f} mm by formula"
            f"{millimetres(e.corrected):8.2f} +-{millimetres(sd):5.2f} mm corrected  "
            f"({inches(e.corrected):.4f} in, {e.corrected / radius:.3f} bore radii)"
        )
    return "\n".join(lines)


def _notes(calibration, table, a4):
    part = calibration.tables[table]
    m = part.measurements
    several = f" of {m.source}" if len(calibration.tables) > 1 else ""
    lines = [
        f"Notes{several} (cents: measured over the book, and over the prediction after the fit)",
        f"  {'':<8}{'fingering':<11}{'reg':>3}{'measured':>10}{'note':>9}{'book':>8}{'left':>8}"
        f"{'+-':>6}  fate",
    ]
    for row in range(len(part.fate)):
        book = np.log(m.frequency[row] / part.book[row]) / CENT
        why = f": {part.why[row]}" if part.why[row] else ""
        lines.append(
            f"  {m.place[row]:<8}{m.rows.label[row] or 'bare':<11}{part.register[row]:>3}"
            f"{m.frequency[row]:10.2f}{note_name(m.frequency[row], a4):>9}{book:+z8.1f}"
            f"{part.residual[row]:+z8.1f}{m.sd[row]:6.1f}  {part.fate[row]}{why}"
        )
    lines += [
        f"  {_session(calibration, p)}: {value:+z.1f} cents common to its rows"
        for p, value in zip(calibration.parameters, calibration.value, strict=True)
        if p.session is not None and p.table == table
    ]
    return "\n".join(lines)


def _odd_ones(calibration, odd):
    if not odd:
        return ""
    lines = [
        "What does not fit (in brackets: how much chi2 falls when it is taken out or refitted)"
    ]
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
    seen = "1 direction is" if strong == 1 else f"{strong} directions are"
    largest = np.argsort(-np.abs(calibration.blind))[:3]
    blind = ", ".join(
        f"{calibration.parameters[i].name} {calibration.blind[i]:+z.2f}" for i in largest
    )
    widened = ""
    if calibration.widened > 1:
        widened = f"; more than chance: all errors widened {calibration.widened:.2f} times"
    shown = " ".join(f"{s:.2g}" if s >= SMALLEST_SHOWN else "0" for s in singular)
    lines = [
        "What the notes can tell",
        f"  chi2 {calibration.chi2:.1f} over {calibration.rows} rows{widened}",
        f"  singular values in prior units: {shown}",
        f"  {seen} seen better than beforehand; least seen: {blind}",
    ]
    flutes = [part.measurements.flute for part in calibration.tables]
    ends = [end for flute in flutes for end in (flute.head, flute.foot)]
    if any(isinstance(end, End) and end.kind in ("open", "flanged") for end in ends):
        lines.append("  never told apart: the foot correction and an error of the length")
    holes = [hole for flute in flutes for hole in flute.holes]
    if len(holes) > 1 and len({(hole.diameter, hole.wall) for hole in holes}) == 1:
        lines.append("  hardly told apart: wall and hole_end, as all holes are alike")
    if any(isinstance(flute.head, Window) for flute in flutes):
        lines.append("  the window correction is as played: it holds the jet's pull at this breath")
    return "\n".join(lines)


def _assumed(calibration):
    lines = ["Assumed"]
    for part in calibration.tables:
        m = part.measurements
        air = [_range(to_celsius(np.ravel(m.rows.air.temperature)), ".1f", "C")]
        if m.humidity is not None:
            air.append(_range(100 * np.ravel(m.humidity), ".0f", "% humidity"))
        air += ["400 ppm CO2", "101325 Pa"]
        lines.append(f"  {m.source}: bore air {', '.join(air)}")
        lines += [f"  {m.source}: {said}" for said in m.reading]
    lines.append(
        f"  {SESSION_SD:.0f} cents of breath and tuner common to a session (common practice, no "
        "source)"
    )
    return "\n".join(lines)


def _range(values, digits, unit):
    low, high = (format(float(f(values)), digits) for f in (np.min, np.max))
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"
