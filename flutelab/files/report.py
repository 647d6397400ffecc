"""The report of a calibration: plain sentences first, figures after."""

from __future__ import annotations

import numpy as np

from flutelab.files.flutes_words import flutes_words
from flutelab.files.learned import is_shared, learned, prior_on, sd_on
from flutelab.files.mismatch_words import alone_words, mismatch_words, within_chance
from flutelab.files.sentences import mismatches_of, sentences
from flutelab.files.suspected import or_else_words, others, suspect_words
from flutelab.files.tables import fingering_name, note_name
from flutelab.files.to_mend import (
    days_apart,
    each_row,
    is_consequence,
    is_to_mend,
    session_name,
)
from flutelab.files.told import told_words
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.identifiability import what_data_tell
from flutelab.fitting.suspects import Suspect, suspects
from flutelab.fitting.unknowns import MODEL_SD, SESSION_SD
from flutelab.making.cautions import CAUTIONS
from flutelab.model.corrections import META, NAMES
from flutelab.model.equivalents import equivalents
from flutelab.model.flute import Window, bore_diameter
from flutelab.model.notes import CENT
from flutelab.physics.breath import single_air
from flutelab.units import inches, millimetres, to_celsius

_LEARNED = {
    "prior only": "the notes say next to nothing",
    "at limit": "at its limit: take it with care",
    "held": "held",
    "": "",
}
_NOTHING = [
    "no farther off than readings, breath and tuner usually make: nothing need be explained."
]
SMALLEST_SHOWN = 0.01


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
        At most five plain sentences, then what does not fit, check rows, why the notes are not
        where the book says, corrections, notes, what the notes can tell, and what was assumed.
    """
    odd = suspects(calibration) if odd is None else odd
    first = "; mend first what does not fit" if is_to_mend(calibration, odd) else ""
    mismatches = mismatches_of(calibration)
    parts = [
        "\n".join(sentences(calibration, odd, mismatches)),
        _odd_ones(calibration, odd),
        _check_rows(calibration, a4, odd, first),
        _why(mismatches, named=is_to_mend(calibration, odd)),
        _corrections(calibration),
        _lengths(calibration),
        *(_notes(calibration, table, a4, odd) for table in range(len(calibration.tables))),
        _next_flute(calibration, first),
        _what_the_notes_tell(calibration),
        _assumed(calibration),
        f"{CAUTIONS['dust']}\n{CAUTIONS['local']}",
    ]
    return "\n\n".join(part for part in parts if part) + "\n"


def _check_rows(calibration, a4, odd, first):
    lines = [
        _check_row(calibration, table, row, a4, odd)
        for table, row, part in each_row(calibration)
        if part.fate[row] == "checked"
    ]
    return "\n".join([f"Check rows (not fitted{first})", *lines]) if lines else ""


def _fate_words(calibration, table, row, odd):
    """Why a row was left out; without a mend of its own where another mistake made it misfit."""
    why = calibration.tables[table].why[row]
    return why.partition(":")[0] if is_consequence(calibration, odd, table, row) else why


def _check_row(calibration, table, row, a4, odd):
    part = calibration.tables[table]
    m = part.measurements
    several = f"{m.source}: " if len(calibration.tables) > 1 else ""
    head = f"  {several}{m.place[row]:<8}{fingering_name(m.rows.label[row]):<11}"
    if part.why[row]:
        return f"{head}{_fate_words(calibration, table, row, odd)}"
    foretold, measured = (note_name(f[row], a4) for f in (part.predicted, m.frequency))
    return (
        f"{head}{foretold:>9} foretold{measured:>9} measured{part.residual[row]:+z7.1f} cents "
        f"(+- {np.hypot(part.sd[row], m.sd[row]):.1f})"
    )


def _why(mismatches, *, named):
    """What each cause alone would explain; how far off the whole is has been said before."""
    title = "Why the notes are not where the book says"
    if len(mismatches) == 1:
        return "\n".join([title, *_indented(alone_words(mismatches[0], named=named))])
    said = [
        (
            one.measurements.source,
            _NOTHING if within_chance(one) and not named else mismatch_words(one, named=named),
        )
        for one in mismatches
    ]
    return "\n".join([f"{title} (each table by itself, before they are pooled)", *_merged(said)])


def _merged(blocks):
    """Lines of several tables or flutes, each line once with all of whom it is told."""
    owners: dict[str, list[str]] = {}
    for name, lines in blocks:
        for line in lines:
            owners.setdefault(line, []).append(name)
    if len(blocks) == 1:
        return _indented(owners)
    for line, names in owners.items():
        owners[line] = [f"all {len(blocks)}"] if len(names) == len(blocks) else names
    told: dict[str, list[str]] = {}
    for line, names in owners.items():
        told.setdefault(", ".join(names), []).append(line)
    return [
        line
        for who, lines in told.items()
        for line in (_indented([f"{who}: {lines[0]}"]) if len(lines) == 1
                     else [f"  {who}:", *_indented(lines, 4)])
    ]  # fmt: skip


def _indented(lines, by=2):
    return [f"{'':{by}}{line}" for line in lines]


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
    return "\n".join([*lines, *_air_offset(calibration)])


def _air_offset(calibration):
    """What the shared air offset does to the notes, and that predictions leave it out."""
    offset = calibration.corrections.air_offset
    if not (is_shared(calibration, "air_offset") and offset):
        return
    column = next(i for i, p in enumerate(calibration.parameters) if p.name == "air_offset")
    fitted = [part.gradient[row, column] for _, row, part in each_row(calibration)
              if part.fate[row] == "fitted"]  # fmt: skip
    yield (
        f"  air_offset makes {offset * np.mean(fitted):+z.1f} cents here; it is of these days: "
        "flutelab predict leaves it out unless told --with-offset"
    )


def _own(calibration, name):
    return [p.table for p in calibration.parameters if p.name == name and p.table is not None]


def _correction(calibration, name, table):
    """One line; of one table where each has its own."""
    prior, sd = prior_on(calibration, table or 0, name), sd_on(calibration, table or 0, name)
    whole = calibration if table is None else calibration.tables[table]
    ratio, word = learned(calibration, name)
    if table is not None:
        ratio, word = sd / prior.sd, ""
    fraction = "" if prior.sd == 0 else f"{100 * max(0.0, 1 - ratio):3.0f} %"
    remark = _LEARNED[word] if table is None else whole.measurements.source
    value = getattr(whole.corrections, name)
    mark = "*" if name in calibration.free else " "
    after, before = _decimals(sd, 3), _decimals(prior.sd, 2)
    return (
        f" {mark}{name:<17}{value:z9.{after}f}{sd:9.{after}f}  {META[name]['unit']:<19}"
        f"{prior.mean:6.{before}f} +-{prior.sd:6.{before}f}  {fraction:>7}  {remark}".rstrip()
    )


def _decimals(sd, least):
    """Decimals that show two figures of a spread, no fewer than `least` and no more than 5."""
    return min(5, max(least, 1 - int(np.floor(np.log10(sd))))) if sd > 0 else least


def _lengths(calibration):
    blocks = [
        (repr(part.measurements.flute.name), list(_length_lines(calibration, table)))
        for table, part in enumerate(calibration.tables)
    ]
    title = "As lengths" if len(blocks) > 1 else f"As lengths on {blocks[0][0]}"
    return "\n".join([title, *_merged(blocks)])


def _length_lines(calibration, table):
    part = calibration.tables[table]
    m = part.measurements
    radius = bore_diameter(m.flute.bore, 0.0) / 2
    for e in equivalents(m.flute, part.corrections):
        sd = abs(e.per_unit) * sd_on(calibration, table, e.name)
        yield (
            f"{e.name:<10}{e.where:<24}{millimetres(e.formula):7.2f} mm by formula"
            f"{millimetres(e.corrected):8.2f} +-{millimetres(sd):5.2f} mm corrected  "
            f"({inches(e.corrected):.4f} in, {e.corrected / radius:.3f} bore radii)"
        )


def _notes(calibration, table, a4, odd):
    part = calibration.tables[table]
    m = part.measurements
    several = f" of {m.source}" if len(calibration.tables) > 1 else ""
    lines = [
        f"Notes{several} (cents: measured, as it was blown, over the book, and over the prediction "
        "after the fit)",
        f"  {'':<8}{'fingering':<11}{'reg':>3}{'measured':>10}{'note':>9}{'book':>8}{'left':>8}"
        f"{'+-':>6}  fate",
    ]
    for row in range(len(part.fate)):
        book = np.log(m.frequency[row] / part.book[row]) / CENT
        why = f": {_fate_words(calibration, table, row, odd)}" if part.why[row] else ""
        lines.append(
            f"  {m.place[row]:<8}{fingering_name(m.rows.label[row]):<11}{part.register[row]:>3}"
            f"{m.frequency[row]:10.2f}{note_name(m.frequency[row], a4):>9}{book:+z8.1f}"
            f"{part.residual[row]:+z8.1f}{m.sd[row]:6.1f}  {part.fate[row]}{why}"
        )
    lines += [
        f"  {session_name(calibration, p)}: {value:+z.1f} cents common to its rows"
        for p, value in zip(calibration.parameters, calibration.value, strict=True)
        if p.session is not None and p.table == table
    ]
    return "\n".join(lines)


def _odd_ones(calibration, odd):
    apart = days_apart(calibration)
    if not odd:
        return f"What does not fit\n  {apart}" if apart else ""
    lines = [
        "What does not fit (in brackets: how much chi2 falls when it is taken out or mended,",
        "  and how much chance alone may make it fall)",
    ]
    for suspect in odd:
        fall = f"({suspect.worth:.0f}; chance {suspect.chance:.0f})"
        lines.append(f"  {suspect_words(calibration, suspect)} {fall}")
        lines += [
            f"    or else {or_else_words(calibration, other)} ({other.worth:.0f})"
            for other in others(suspect)
        ]
    return "\n".join([*lines, *_indented(filter(None, [apart]))])


def _doubt_left(calibration):
    if calibration.widened > 1 and calibration.doubt_left > 1:
        return "the notes scatter so much that the doubt has grown"
    return f"{100 * calibration.doubt_left:.0f} % of the doubt is left"


def _next_flute(calibration, first):
    said = flutes_words(calibration)
    title = f"The next flute of this kind{first}"
    return "\n".join([title, *_indented(said)]) if said else ""


def _what_the_notes_tell(calibration):
    singular = calibration.singular_values
    strong = int(np.sum(singular > 1))
    seen = "1 direction is" if strong == 1 else f"{strong} directions are"
    blind = ", ".join(f"{name} {part:+z.2f}" for name, part in calibration.blind.items())
    widened = ""
    if calibration.widened > 1:
        widened = (
            f"; more than chance: the readings' errors widened {calibration.widened:.2f} times"
        )
    shown = " ".join(f"{s:.2g}" if s >= SMALLEST_SHOWN else "0" for s in singular)
    lines = [
        "What the notes can tell",
        f"  chi2 {calibration.chi2:.1f} over {calibration.rows} rows{widened}",
        f"  singular values in prior units: {shown}",
        f"  {seen} seen better than beforehand",
        f"  least seen of what is reported: {blind} ({_doubt_left(calibration)})",
    ]
    lines += _indented(told_words(what_data_tell(calibration)))
    flutes = [part.measurements.flute for part in calibration.tables]
    blown = "jet" not in [p.name for p in calibration.parameters]
    if blown and any(isinstance(flute.head, Window) for flute in flutes):
        lines.append("  the window correction is as played: it holds the jet's pull at this breath")
    return "\n".join(lines)


def _assumed(calibration):
    blocks = [(p.measurements.source, _assumed_of(p.measurements)) for p in calibration.tables]
    lines = ["Assumed", *_merged(blocks)]
    lines.append(
        f"  {SESSION_SD:.0f} cents of breath and tuner common to a session (common practice, no "
        "source)"
    )
    lines.append(
        f"  {MODEL_SD} cents of the model's own error in each note (worst note against finite "
        "elements, docs/model.md)"
    )
    return "\n".join(lines)


def _assumed_of(m):
    air = [_range(to_celsius(np.ravel(single_air(m.rows.air).temperature)), ".1f", "C")]
    air[0] += " halfway to the foot" if np.any(m.from_room) else ""
    if m.humidity is not None:
        air.append(_range(100 * np.ravel(m.humidity), ".0f", "% humidity"))
    air += ["400 ppm CO2", "101325 Pa"]
    return [f"bore air {', '.join(air)}", *m.reading]


def _range(values, digits, unit):
    low, high = (format(float(f(values)), digits) for f in (np.min, np.max))
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"
