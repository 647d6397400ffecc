"""Why the notes of a flute are where they are, as text and tables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from flutelab.errors import DataError, Fault
from flutelab.files.constants_file import Constants
from flutelab.files.foretell import OPTIONS, air_of, another_flute, checked_words
from flutelab.files.tables import note_name, shop_changes, table
from flutelab.model.byhand import RULES, by_hand, jet_readout
from flutelab.model.corrections import Corrections
from flutelab.model.cutoff import lattice_cutoff
from flutelab.model.flute import End, Flute, Window
from flutelab.model.inside import standing_wave
from flutelab.model.notes import predict_notes
from flutelab.model.octaves import CAUSES, octaves
from flutelab.model.rows import rows
from flutelab.model.sensitivities import sensitivities
from flutelab.model.spectrum import spectrum
from flutelab.model.warmth import single_temperature_error
from flutelab.physics.breath import AirAlong
from flutelab.physics.jet import CAUTION, USUAL
from flutelab.units import millimetres, to_mm_water

COLUMNS = 8  # notes side by side in the text; the tables hold all


@dataclass(frozen=True, kw_only=True, eq=False)
class Looked:
    """What was found: records by name, and all as text."""

    results: dict[str, object]
    text: str

    def __post_init__(self) -> None:
        for name in self.results:
            if not name.isidentifier():
                msg = f"result {name!r} is no name for a file"
                raise ValueError(msg)


def look(
    flute: Flute,
    fingerings: Sequence[str],
    *,
    constants: Constants | None = None,
    room: float | None = None,
    bore: float | None = None,
    humidity: float | None = None,
    register: int = 1,
    pressure: float | None = None,
    a4: float = 440.0,
) -> Looked:
    """Look inside the notes of a flute.

    Parameters
    ----------
    flute : Flute
    fingerings : sequence of str
    constants : Constants, optional
        Default: the formulas as they stand. The calibration's air offset is not applied.
    room, bore, humidity : float, optional
        As in `flutelab.files.foretell.foretell`.
    register : int
        Whose spectrum, standing wave and sensitivities; octaves and rules are of the first.
    pressure : float, optional
        Blowing pressure [Pa], for the jet.
    a4 : float
        Reference pitch of the note names [Hz].

    Returns
    -------
    Looked
        Results `spectrum`, `standing_wave`, `cutoff`, `octaves`, `rules`, `air` and `warmth`
        (where the air changes along the bore), `jet` (with a pressure), `small_changes`.

    Raises
    ------
    DataError
        Fingerings that do not fit the flute, a temperature that is not one of air, or a
        pressure for a flute without a window.
    """
    if pressure is not None and not isinstance(flute.head, Window):
        fault = Fault(
            place="--breath", problem="the flute has no window, so there is no jet to speak of",
            mend="Leave it out",
        )  # fmt: skip
        raise DataError(OPTIONS, [fault])
    air, said = air_of(constants, room, bore, humidity)
    corrections = Corrections()
    if constants is not None:
        corrections = replace(constants.corrections, air_offset=0.0)
        said += another_flute(constants, flute)
    asked = rows(flute, checked_words(flute, fingerings), air=air, register=register)
    results = _results(flute, asked, corrections, pressure)
    if isinstance(air, AirAlong):
        results["air"] = air
    notes = predict_notes(flute, asked, corrections)
    text = [flute.name, *_sentences(results), *(f"  {line}" for line in said)]
    for title, lines in _sections(notes, results, a4):
        text += ["", title, *(f"  {line}" for line in lines)]
    return Looked(results=results, text="\n".join(text))


def _results(flute, asked, corrections, pressure):
    """The records, by name; what a flute does not have is left out."""
    ends = {end.kind for end in (flute.head, flute.foot) if isinstance(end, End)}
    found = {
        "spectrum": spectrum(flute, asked, corrections),
        "standing_wave": standing_wave(flute, asked, corrections),
        "octaves": octaves(flute, asked, corrections),
        "small_changes": sensitivities(flute, asked, corrections),
    }
    if flute.holes:
        found["cutoff"] = lattice_cutoff(flute, asked, corrections)
    if "stopped" not in ends:
        found["rules"] = by_hand(flute, asked, corrections)
    if isinstance(asked.air, AirAlong):
        found["warmth"] = single_temperature_error(flute, asked, corrections)
    if pressure is not None:
        found["jet"] = jet_readout(flute, asked, pressure, corrections)
    return found


def _sentences(results) -> Iterator[str]:
    """What stands out, in plain words."""
    found = results["octaves"]
    if np.any(np.isfinite(found.stretch)):
        worst = int(np.nanargmax(np.abs(found.stretch)))
        cents = found.stretch[worst]
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


def _sections(notes, results, a4) -> Iterator[tuple[str, list[str]]]:
    """Title and lines of each section."""
    yield "Where each note comes from", _wave_lines(notes, results["standing_wave"], a4)
    if "cutoff" in results:
        yield "How far up the open holes hold the sound", _cutoff_lines(results["cutoff"])
    yield "How wide the octaves are, and why [cents]", _octave_lines(results["octaves"])
    if "rules" in results:
        yield "What rules of thumb would say [cents off the model]", _rule_lines(results["rules"])
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

    if "fingering" in frame:
        frame = frame.assign(fingering=[word or "bare" for word in frame["fingering"]])
    text = frame.to_string(index=False, float_format=number, na_rep="-")
    return [line.rstrip() for line in text.splitlines()]


def _wave_lines(notes, wave, a4):
    """A line a note: pitch, the column's ends, and the opening that sounds loudest."""
    lines = []
    for n, name in enumerate(word or "bare" for word in wave.label):
        if wave.reason[n]:
            lines.append(f"{name:<8} -  {wave.reason[n]}")
            continue
        loudest = np.argsort(wave.power_share[n])[::-1][:3]
        shares = ", ".join(
            f"{wave.opening[i]} {100 * wave.power_share[n, i]:.0f} %"
            for i in loudest
            if wave.power_share[n, i] > 0.005
        )
        begin, end = millimetres(wave.effective_head[n]), millimetres(wave.effective_end[n])
        column = f"column {begin:.0f} to {end:.0f} mm" if np.isfinite([begin, end]).all() else ""
        pitch = notes.frequency[n]
        status = "" if notes.status[n] == "ok" else f"  ({notes.status[n]})"
        lines.append(
            f"{name:<8}{pitch:9.2f} Hz  {note_name(pitch, a4):<8} Q {notes.q[n]:4.0f}  "
            f"{column:<24}  sounds from {shares}{status}"
        )
    return [
        *lines,
        "column: where the wave ends, counted from the sounding edge (or plain head) to the foot",
    ]


def _cutoff_lines(cutoff):
    frame = table(cutoff)[["fingering", "exact_hz", "own_hz", "near"]]
    frame.columns = ["fingering", "regular row [Hz]", "half the power lost [Hz]", "note near it"]
    return _frame_lines(frame)


def _octave_lines(found):
    frame = table(found)[
        ["fingering", "stretch_cents", *(f"{name}_cents" for name in found.causes),
         "remainder_cents"]
    ]  # fmt: skip
    frame.columns = ["fingering", "whole", *found.causes, "rest"]
    told = [f"{name}: {CAUSES[name]}" for name in found.causes]
    why = [f"{w or 'bare'}: {r}" for w, r in zip(found.label, found.reason, strict=True) if r]
    blown = (
        [f"in playing, {found.blowing:+.0f} cents of overblowing come on top"]
        if found.blowing
        else []
    )
    return [*_frame_lines(frame, 0), *why, *told, *blown]


def _rule_lines(found):
    columns = {"fingering": found.label}
    spoken = [n for n, error in enumerate(found.error) if np.any(np.isfinite(error))]
    columns |= {found.rules[n]: found.error[n] for n in spoken}
    lines = _frame_lines(pd.DataFrame(columns), 0)
    return [*lines, *(f"{found.rules[n]}: {RULES[found.rules[n]]}" for n in spoken)]


def _warmth_lines(found):
    frame = table(found)[["fingering", "halfway_air_off_cents", "room_air_off_cents"]]
    frame.columns = ["fingering", "air halfway to the foot", "the room's air"]
    return _frame_lines(frame, 1)


def _jet_lines(found):
    pressure = float(found.pressure.flat[0])
    frame = pd.DataFrame(
        {"fingering": found.label, "reduced velocity": found.reduced,
         "usual": np.where(found.usual, "yes", "no")}
    ).round(1)  # fmt: skip
    return [
        f"{pressure:.0f} Pa ({to_mm_water(pressure):.0f} mm of water) make a jet of "
        f"{float(found.speed.flat[0]):.1f} m/s",
        *frame.to_string(index=False).splitlines(),
        f"reduced velocity: cut-ups flown in one period; usual are {USUAL[0]:g} to {USUAL[1]:g}",
        CAUTION,
    ]


def _change_lines(found):
    """A line a quantity, a column a note; notes beyond those that fit are in the table."""
    columns = {"": found.what, "per": [words for words, _ in shop_changes(found)]}
    sizes = np.array([size for _, size in shop_changes(found)])
    for n, word in enumerate(found.label[:COLUMNS]):
        columns[word or "bare"] = found.gradient[n] * sizes
    frame = pd.DataFrame(columns)
    frame[""] = frame[""].str.ljust(frame[""].str.len().max())
    lines = _frame_lines(frame, 1)
    more = len(found.label) - COLUMNS
    return lines + ([f"{more} more notes are in the table that --out writes"] if more > 0 else [])
