"""What `look` found, as text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from flutelab.files.tables import fingering_name, note_name, shop_changes, table
from flutelab.model.byhand import RULES
from flutelab.model.flute import Flute, Window
from flutelab.model.notes import Notes
from flutelab.model.octaves import CAUSES
from flutelab.physics.jet import CAUTION, USUAL
from flutelab.units import millimetres, to_mm_water

COLUMNS = 8  # notes side by side in the text; the tables hold all
ALWAYS = "{}, whichever --register asks for"


def sentences(results: Mapping[str, object]) -> Iterator[str]:
    """Yield what stands out, in plain words."""
    found = results["octaves"]
    told = np.where([bool(remark) for remark in found.remark], np.nan, found.stretch)
    if np.any(np.isfinite(told)):
        worst = int(np.nanargmax(np.abs(told)))
        cents = told[worst]
        cause = CAUSES[found.causes[int(np.argmax(np.abs(found.parts[:, worst])))]]
        yield (
            f"The octave of {found.label[worst] or 'the bare pipe'} is farthest off: "
            f"{abs(cents):.0f} cents {'wide' if cents > 0 else 'narrow'}, most of it by: {cause}."
        )
    changes = results["small_changes"]
    shop = shop_changes(changes)
    cents = np.abs(changes.gradient) * [size for _, size in shop]
    cents[:, [unit != "m" for unit in changes.unit]] = 0.0
    if np.any(np.isfinite(cents)):
        note, what = np.unravel_index(np.nanargmax(cents), cents.shape)
        yield (
            f"Of all sizes, this one moves a note most: {changes.what[what]}, "
            f"{cents[note, what]:.0f} cents per {shop[what][0]} on "
            f"{changes.label[note] or 'the bare pipe'}."
        )


def sections(
    flute: Flute, notes: Notes, results: Mapping[str, object], a4: float
) -> Iterator[tuple[str, list[str]]]:
    """Yield title and lines of each section.

    Parameters
    ----------
    flute : Flute
    notes : Notes
        Of the register that was asked for.
    results : mapping of str to records
        As `flutelab.files.look.look` has them.
    a4 : float
        Reference pitch of the note names [Hz].
    """
    above = np.any(notes.register > 1)
    first = [ALWAYS.format("of the first register")] if above else []
    both = [ALWAYS.format("from the first register to the second")] if above else []
    yield "Where each note comes from", _wave_lines(notes, results, a4)
    if "cutoff" in results:
        title = "How far up the open holes hold the sound"
        yield title, [*_cutoff_lines(results["cutoff"]), *first]
    title = "How wide the octaves are, and why [cents]"
    yield title, [*_octave_lines(results["octaves"]), *both]
    title = "What rules of thumb would say [cents off the model]"
    if "rules" in results:
        yield title, [*_rule_lines(flute, results["rules"]), *first]
    else:
        yield title, ["nothing: they are of pipes open at both ends, and this one is stopped"]
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


def _wave_lines(notes, results, a4):
    """A line a note: pitch, the column's ends, and the opening that sounds loudest."""
    wave, lines, beyond = results["standing_wave"], [], False
    for n, name in enumerate(map(fingering_name, wave.label)):
        if wave.reason[n]:
            lines.append(f"{name:<8} -  {wave.reason[n]}")
            continue
        opened = results["cutoff"].place[n] if "cutoff" in results else np.nan
        past = notes.status[n] == "near cutoff" or wave.effective_end[n] < opened
        beyond |= past
        column = "column -" if past else _column(wave.effective_head[n], wave.effective_end[n])
        pitch = notes.frequency[n]
        status = "" if notes.status[n] == "ok" else f"  ({notes.status[n]})"
        lines.append(
            f"{name:<8}{pitch:9.2f} Hz  {note_name(pitch, a4):<8} Q {notes.q[n]:4.0f}  "
            f"{column:<24}  {_loudest(wave, n)}{status}"
        )
    lines.append(
        "column: where the wave ends, counted from the sounding edge (or plain head) to the foot"
    )
    if beyond:
        lines.append("column -: the sound runs on past open holes, so no one length stands for it")
    return lines


def _column(head, end):
    """From where to where the wave stands; at a stopped end it ends there."""
    begin, stop = (f"{millimetres(x):z.0f}" if np.isfinite(x) else "stopper" for x in (head, end))
    return f"column {begin} to {stop}{' mm' if np.isfinite(end) else ''}"


def _loudest(wave, n):
    loudest = np.argsort(wave.power_share[n])[::-1]
    shares = [
        f"{wave.opening[i]} {100 * wave.power_share[n, i]:.0f} %"
        for i in loudest
        if wave.power_share[n, i] > 0.005
    ]
    return f"sounds from {', '.join(shares[:3])}" if shares else "nothing is open: no sound leaves"


def _cutoff_lines(cutoff):
    frame = table(cutoff)[
        ["fingering", "regular_row_hz", "half_power_lost_hz", "first_register_near"]
    ]
    frame.columns = [
        "fingering", "regular row [Hz]", "half power lost [Hz]", "first register near it",
    ]  # fmt: skip
    return _frame_lines(frame)


def _octave_lines(found):
    frame = table(found)[
        ["fingering", "stretch_cents", *(f"{name}_cents" for name in found.causes),
         "remainder_cents"]
    ]  # fmt: skip
    frame.columns = ["fingering", "whole", *found.causes, "rest"]
    remarked = table(found)[["fingering", "remark"]].itertuples(index=False)
    why = [f"{word}: {remark}" for word, remark in remarked if remark]
    told = [f"{name}: {CAUSES[name]}" for name in found.causes]
    blown = (
        [f"in playing, {found.blowing:+.0f} cents of overblowing come on top"]
        if found.blowing
        else []
    )
    return [*_frame_lines(frame, 0), *why, *told, *blown]


def _rule_lines(flute, found):
    words = RULES if flute.holes else _bare_rules(flute)
    spoken = {
        name: error for name, error in zip(found.rules, found.error, strict=True)
        if name in words and np.any(np.isfinite(error))
    }  # fmt: skip
    frame = pd.DataFrame({"fingering": [fingering_name(word) for word in found.label]} | spoken)
    return [*_frame_lines(frame, 0), *(f"{name}: {words[name]}" for name in spoken)]


def _bare_rules(flute):
    """The rules in words for a pipe without holes."""
    window = isinstance(flute.head, Window)
    edge = "the sounding edge" if window else "the head"
    ends = "beyond each open end"
    if window:
        ends = "beyond an open foot, and the window's correction"
    return {
        "straight": f"c/2L, L from {edge} to the foot",
        "corrected": f"c/2L, with 0.6 bore radii {ends}",
    }


def _warmth_lines(found):
    frame = table(found)[["fingering", "halfway_air_off_cents", "room_air_off_cents"]]
    frame.columns = ["fingering", "air halfway to the foot", "the room's air"]
    return _frame_lines(frame, 1)


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
    columns = {"": found.what, "per": [words for words, _ in shop_changes(found)]}
    sizes = np.array([size for _, size in shop_changes(found)])
    for n, word in enumerate(found.label[:COLUMNS]):
        columns[fingering_name(word)] = found.gradient[n] * sizes
    frame = pd.DataFrame(columns)
    frame[""] = frame[""].str.ljust(frame[""].str.len().max())
    lines = _frame_lines(frame, 1)
    more = len(found.label) - COLUMNS
    return lines + ([f"{more} more notes are in the table that --out writes"] if more > 0 else [])
