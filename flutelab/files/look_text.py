"""What `look` found, as text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from flutelab.files.tables import fingering_name, note_name, overblown, shop_changes, table
from flutelab.model.byhand import STOPPED
from flutelab.model.flute import Flute, Window
from flutelab.model.modes import (
    JUDGED_BY,
    LOW_Q,
    NEAR_CUTOFF,
    WEAK,
    Modes,
    passed_over,
    register_roots,
)
from flutelab.model.notes import Notes
from flutelab.model.octaves import CAUSES, INTERVALS, REST, interval_names
from flutelab.physics.jet import CAUTION, USUAL
from flutelab.units import from_mm, inches, millimetres, to_mm_water

MODES = 4  # of a note told in the text
COLUMNS = 8  # notes side by side in the text; the tables hold all
ALWAYS = "{}, whichever --register asks for"
_MARKS = {"ok": "", "near cutoff": "near", "weak": "weak"}  # of modes
DRIVEN = (
    "power below 0: the other openings' sound drives that opening; it takes power in, so the "
    "others add up to more than 100 %"
)
DRIVEN_BELOW = -0.005  # a share of the power that shows as less than nothing
_PEAKS = {  # what the strength of a mode is the peak of
    "window": "the admittance at the window times frequency squared",
    "stopped": "the impedance at the stopped head",
}
# What a ruler errs in places, a caliper or drill in sizes (common practice, no source)
PLACE_ERROR, SIZE_ERROR = from_mm(0.5), from_mm(0.1)


def sentences(results: Mapping[str, object]) -> Iterator[str]:
    """Yield what stands out, in plain words."""
    yield from _farthest_octave(results["octaves"])
    yield from _strongest_size(results["small_changes"])


def _farthest_octave(found):
    there = np.isfinite(found.stretch)
    remarked = there & [bool(remark) for remark in found.remark]
    plain = there & ~remarked
    if np.any(there) and not np.any(plain):
        yield f"No {interval_names(found)} is without a remark, so none is called farthest off."
    if not np.any(plain):
        return
    worst = int(np.argmax(np.where(plain, np.abs(found.stretch), -1.0)))
    cents, name = found.stretch[worst], found.label[worst] or "the bare pipe"
    cause = CAUSES[found.causes[int(np.argmax(np.abs(found.parts[:, worst])))]]
    word = INTERVALS[int(found.interval[worst])]
    which, more = f"The {word} of {name}", ""
    if np.any(remarked):
        names = interval_names(found, several=True)
        which = f"Of the {names} without a remark, that of {name}"
        more = f" ({remarked.sum()} of {there.sum()} have a remark)"
    yield (
        f"{which} is farthest off: {abs(cents):.0f} cents {'wide' if cents > 0 else 'narrow'}, "
        f"most of it by: {cause}{more}."
    )


def _strongest_size(changes):
    """The size of which the usual error in measuring moves a note most."""
    errors = np.array([_usual_error(*q) for q in zip(changes.names, changes.unit, strict=True)])
    cents = np.abs(changes.gradient) * errors
    if not np.any(cents > 0):
        return
    note, at = np.unravel_index(np.nanargmax(cents), cents.shape)
    part, _, key = changes.what[at].partition(": ")
    size, small, large = (
        _length(error, changes.unit_shown) for error in (errors[at], SIZE_ERROR, PLACE_ERROR)
    )
    yield (
        f"An error of {size} in the {key} of {'' if part.startswith('hole ') else 'the '}{part} "
        f"moves a note most: {cents[note, at]:.0f} cents on "
        f"{changes.label[note] or 'the bare pipe'} (usual errors: sizes {small}, places "
        f"{large}; common practice, no source)."
    )


def _usual_error(name, unit):
    """How far a size [m] is usually off; 0 for what is not measured with a rule."""
    if unit != "m" or name == "bore_diameter_alone":
        return 0.0
    return PLACE_ERROR if name.endswith("_position") else SIZE_ERROR


def _length(metres, unit):
    return f"{inches(metres):.3f} inch" if unit == "in" else f"{millimetres(metres):g} mm"


def strength_words(head: str, *, holes: bool) -> str:
    """Return what the strength of a mode is; `head` is "window", "stopped" or another."""
    peak = _PEAKS.get(head, "the admittance at the head")
    weak = f"; with a hole open, a mode below {WEAK:g} does not speak" if holes else ""
    return (
        f"strength: the mode's peak of {peak}, with the walls' usual losses, over that of the "
        f"strongest of the first {JUDGED_BY} modes; higher ones may have more than 1{weak}"
    )


def sections(
    flute: Flute, notes: Notes, found: Modes, results: Mapping[str, object], a4: float
) -> Iterator[tuple[str, list[str]]]:
    """Yield title and lines of each section.

    Parameters
    ----------
    flute : Flute
    notes : Notes
        Of the register that was asked for.
    found : Modes
        Of the same rows, all up to that register.
    results : mapping of str to records
        As `flutelab.files.look.look` has them.
    a4 : float
        Reference pitch of the note names [Hz].
    """
    above = np.any(notes.register > 1)
    first = [ALWAYS.format("of the first register")] if above else []
    both = [ALWAYS.format("from the first register to the second")] if above else []
    wave = results["standing_wave"]
    yield "Where each note comes from", _wave_lines(flute, notes, found, wave, a4)
    if np.any(np.isfinite(wave.power_share)):
        title = "What leaves by each opening [% of the radiated power/% of the flow]"
        yield title, _share_lines(wave)
    yield "Modes [Hz], Q, strength", _mode_lines(flute, notes, found)
    if "cutoff" in results:
        title = "How far up the open holes hold the sound"
        yield title, [*_cutoff_lines(results["cutoff"]), *first]
    names = interval_names(results["octaves"], several=True)
    title = f"How wide the {names} are, and why [cents]"
    yield title, [*_octave_lines(results["octaves"]), *both]
    title = "What rules of thumb would say [cents off the model]"
    if "rules" in results:
        yield title, [*_rule_lines(results["rules"]), *first]
    else:
        yield title, [f"nothing: {STOPPED}"]
    if "warmth" in results:
        yield "What one air for the whole bore would do [cents]", _warmth_lines(results["warmth"])
    if "jet" in results:
        yield "The jet", _jet_lines(results["jet"])
    yield "What a small change does [cents]", _change_lines(results["small_changes"])


def _frame_lines(frame: pd.DataFrame, digits: int | None = None) -> list[str]:
    """Lines of a table; with `digits`, numbers are signed cents and "0" where they round to it."""

    def number(value):
        if not np.isfinite(value):
            return "-"
        if digits is None:
            return f"{value:.0f}"
        return f"{value:+.{digits}f}" if round(abs(value), digits) else "0"

    text = frame.to_string(index=False, float_format=number, na_rep="-")
    return [line.rstrip() for line in text.splitlines()]


def _wave_lines(flute, notes, found, wave, a4):
    """A line a note: pitch, the column's ends, and the opening that sounds loudest."""
    lines, near = [], notes.status == "near cutoff"
    column = register_roots(found, notes.register)
    for n, name in enumerate(map(fingering_name, wave.label)):
        if wave.reason[n]:
            lines.append(f"{name:<8} -  {wave.reason[n]}")
            continue
        pitch = notes.frequency[n]
        told = ["near cutoff" * bool(near[n]), passed_over(found, n, column[n])]
        remark = "; ".join(filter(None, told))
        lines.append(
            f"{name:<8}{pitch:9.2f} Hz  {note_name(pitch, a4):<8} Q {notes.q[n]:4.0f}  "
            f"{_column(wave, n):<24}  {_loudest(wave, n)}{f'  ({remark})' if remark else ''}"
        )
    edge = "sounding edge" if isinstance(flute.head, Window) else "head"
    lines.append(
        f"column: where a plain pipe with this note would begin and end, counted from the {edge} "
        "to the foot"
    )
    if np.any(near):
        lines.append(
            "near cutoff: the sound runs on past the first open holes, and the column is only "
            "that of a plain pipe with this note"
        )
    return lines


def _column(wave, n):
    """From where to where the wave stands; at a stopped end it ends there."""
    show, digits = (inches, 2) if wave.unit_shown == "in" else (millimetres, 0)
    head, end = wave.effective_head[n], wave.effective_end[n]
    begin, stop = (f"{show(x):z.{digits}f}" if np.isfinite(x) else "stopper" for x in (head, end))
    return f"column {begin} to {stop}{f' {wave.unit_shown}' if np.isfinite(end) else ''}"


def _loudest(wave, n):
    """The three openings that sound loudest, those that are driven, and the others together."""
    power = wave.power_share[n]
    order = np.argsort(power)[::-1]
    loud = [i for i in order[:3] if power[i] > 0.005]
    named = [*loud, *(i for i in order if power[i] < DRIVEN_BELOW)]
    if not named:
        return "nothing is open: no sound leaves"
    shares = [f"{wave.opening[i]} {100 * power[i]:.0f} %" for i in named]
    others = 1.0 - np.sum(power[named])
    if others > 0.005:
        shares.append(f"others {100 * others:.0f} %")
    return f"sounds from {', '.join(shares)}"


def _share_lines(wave):
    """A line a note, a column an opening; a dash where it is closed."""
    columns = {"fingering": [fingering_name(word) for word in wave.label]}
    for i, opening in enumerate(wave.opening):
        shares = zip(wave.power_share[:, i], wave.flow_share[:, i], strict=True)
        columns[opening] = [
            f"{100 * power:z.0f}/{100 * flow:.0f}" if flow > 0 else "-" for power, flow in shares
        ]
    lines = pd.DataFrame(columns).to_string(index=False).splitlines()
    if np.any(wave.power_share < DRIVEN_BELOW):
        lines.append(DRIVEN)
    return lines


def _mode_lines(flute, notes, found):
    """A line a note, a column a mode."""
    columns = {"fingering": [fingering_name(word) for word in notes.label]}
    for mode in range(min(MODES, found.frequency.shape[1])):
        if np.any(np.isfinite(found.frequency[:, mode])):
            title = f"{f'mode {mode + 1}':<24}"
            columns[title] = [_mode(found, n, mode) for n in range(len(notes.label))]
    head = "window" if isinstance(flute.head, Window) else flute.head.kind
    lines = [line.rstrip() for line in pd.DataFrame(columns).to_string(index=False).splitlines()]
    if np.isin(found.status[:, :MODES], list(_MARKS)[1:]).any():
        lines.append("near: near the cutoff of the open holes, or above it; weak: does not speak")
    return [*lines, strength_words(head, holes=bool(flute.holes))]


def _mode(found, row, mode):
    frequency, q, strength = (
        part[row, mode] for part in (found.frequency, found.q, found.strength)
    )
    if not np.isfinite(frequency):
        return f"{'-':>6}{'':<18}"
    return f"{frequency:6.0f}  Q {q:3.0f}  {strength:4.2f} {_MARKS[found.status[row, mode]]:<5}"


def _cutoff_lines(cutoff):
    frame = table(cutoff)[
        ["fingering", "regular_row_hz", "regular_row_long_wave_hz", "half_power_lost_hz",
         "first_register_near"]
    ]  # fmt: skip
    frame.columns = [
        "fingering", "regular row [Hz]", "in long waves [Hz]", "half power lost [Hz]",
        "first register near",
    ]  # fmt: skip
    return [
        *_frame_lines(frame),
        "regular row: above it, sound would run past an endless row like the first two open holes",
        "in long waves: the same, by the usual short formula",
        "half power lost: above it, less than half the power comes back from these very holes",
        "-: no clear cutoff; few holes are open, or none, and the foot sends the sound back",
        f"near: the note lies above {NEAR_CUTOFF:g} of that in long waves, or, with one open hole, "
        f"its Q is below {LOW_Q:g}; trust it less",
    ]


def _octave_lines(found):
    remarked = zip(found.label, found.reason, found.remark, strict=True)
    why = [
        f"{fingering_name(word)}: {reason or remark}"
        for word, reason, remark in remarked
        if reason or remark
    ]
    if not np.any(np.isfinite(found.stretch)):
        return why
    frame = table(found)[
        ["fingering", "stretch_cents", *(f"{name}_cents" for name in found.causes),
         "remainder_cents"]
    ]  # fmt: skip
    frame.columns = ["fingering", "whole", *found.causes, "rest"]
    if len(set(found.interval.tolist())) > 1:
        frame.insert(1, "of", [INTERVALS[ratio] for ratio in found.interval.tolist()])
    told = [*(f"{name}: {CAUSES[name]}" for name in found.causes), f"rest: {REST}"]
    if any("strength" in words for words in why):
        told.append("strength: as above, of the modes")
    blown = [overblown(found)] if found.blowing else []
    return [*_frame_lines(frame, 0), *why, *told, *blown]


def _rule_lines(found):
    spoken = {
        name: (words, error)
        for name, words, error in zip(found.rules, found.words, found.error, strict=True)
        if words and np.any(np.isfinite(error))
    }
    columns = {"fingering": [fingering_name(word) for word in found.label]}
    frame = pd.DataFrame(columns | {name: error for name, (_, error) in spoken.items()})
    return [*_frame_lines(frame, 0), *(f"{name}: {words}" for name, (words, _) in spoken.items())]


def _warmth_lines(found):
    frame = table(found)[["fingering", "halfway_air_off_cents", "room_air_off_cents"]]
    frame.columns = ["fingering", "air halfway to the foot", "the room's air"]
    return [
        *_frame_lines(frame, 1),
        "+ too high, - too low, against the note in air that changes along the bore",
    ]


def _jet_lines(found):
    pressure = float(found.pressure.flat[0])
    frame = table(found)[["fingering", "reduced_velocity", "usual"]].round(1)
    frame.columns = ["fingering", "reduced velocity", "usual"]
    return [
        f"{pressure:.0f} Pa ({to_mm_water(pressure):.0f} mm of water) make a jet of "
        f"{float(found.speed.flat[0]):.1f} m/s",
        *frame.to_string(index=False, na_rep="-").splitlines(),
        f"reduced velocity: cut-ups flown in one period; usual are {USUAL[0]:g} to {USUAL[1]:g}",
        CAUTION,
    ]


def _change_lines(found):
    """A line a quantity, a column a note; notes beyond those that fit are in the table."""
    sizes = np.array([size for _, size in shop_changes(found)])
    cents = (found.gradient * sizes)[:COLUMNS]
    moved = np.any(np.round(np.abs(np.nan_to_num(cents)), 1) > 0, axis=0)
    shown = moved if np.any(moved) else np.ones_like(moved)
    columns = {"": found.what, "per": [words for words, _ in shop_changes(found)]}
    columns |= {fingering_name(word): row for word, row in zip(found.label, cents, strict=False)}
    frame = pd.DataFrame(columns)[shown]
    frame[""] = frame[""].str.ljust(frame[""].str.len().max())
    lines = [*_frame_lines(frame, 1), *_change_words(found, shown)]
    more = len(found.label) - COLUMNS
    return lines + ([f"{more} more notes are in the table that --out writes"] if more > 0 else [])


_PERCENT = {  # of what, where it is not of the length that a formula gives
    "correction_bore": "bore: of the diameter",
    "correction_wall": "wall: of that at the finger holes",
    "correction_pad_depth": "pad depth: a hundredth of a hole's radius",
    "correction_foot": "foot: of every plain open end, the head's too",
}


def _change_words(found, shown):
    """What the lines of small changes mean."""
    names = [name for name, kept in zip(found.names, shown, strict=True) if kept]
    if any(name.endswith("_position") for name in names):
        yield "place: moved towards the foot"
    if "bore_diameter_alone" in names:
        yield (
            "bore: diameter: the window's correction follows its formula; window correction held: "
            "it stays as long as it is"
        )
    if any(name.startswith("correction_") for name in names):
        others = [_PERCENT[name] for name in names if name in _PERCENT]
        yield "; ".join(["correction: per percent of what its formula says", *others])
    yield (
        "air: with the vapour in it as it is; where it follows the warmth at the same humidity, "
        "about 3.1 cents"
    )
    if not np.all(shown):
        yield "left out: what moves none of these notes by 0.05 cents"
    if found.unit_shown == "in":
        yield "the table that --out writes has changes per mm and 0.1 mm"
