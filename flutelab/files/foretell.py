"""Foretold notes of a flute as a table and as text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import pandas as pd

from flutelab.errors import DataError, Fault, already_warned
from flutelab.files.cause_words import length_words
from flutelab.files.constants_file import Constants
from flutelab.files.tables import table
from flutelab.fitting.calibrate import another_day
from flutelab.fitting.measurements import HALF_HOLE
from flutelab.fitting.unknowns import BORE_AIR_SD, MODEL_SD, ROOM_AIR_SD, SESSION_SD
from flutelab.model.corrections import Corrections, Spread, default_priors
from flutelab.model.flute import Flute, Window, bore_diameter
from flutelab.model.notes import CENT, predict_notes
from flutelab.model.rows import Rows, fingering_word, half_covered, rows
from flutelab.physics.air import Air, moist_air
from flutelab.physics.breath import BREATH_WORDS, AirAlong, single_air
from flutelab.units import celsius, from_mm, millimetres, to_celsius, to_fahrenheit

OPTIONS = "options"
NEAR_CUTOFF = (
    "near cutoff: so high that the sound runs past the first open holes; trust these notes less"
)
UNSURE = "not to be relied on until what does not fit is mended"
USUAL_HUMIDITY = 0.5  # common practice, no source
USUAL_ROOM = 20.0  # C, where neither option nor calibration says (common practice, no source)


@dataclass(frozen=True, kw_only=True, eq=False)
class Foretold:
    """A table of foretold notes, what to know about it, and both as text."""

    frame: pd.DataFrame
    remarks: tuple[str, ...]
    text: str


def usual_fingerings(flute: Flute) -> tuple[str, ...]:
    """Return the holes opened one by one from the foot, then the targets' other fingerings."""
    count = len(flute.holes)
    words = ["x" * (count - n) + "o" * n for n in range(count + 1)]
    return tuple(dict.fromkeys(words + [target.fingering for target in flute.targets]))


def all_fingerings(flute: Flute) -> tuple[str, ...]:
    """Return every fingering of x and o."""
    return tuple("".join(word) for word in product("xo", repeat=len(flute.holes)))


def foretell(
    flute: Flute,
    fingerings: Sequence[str],
    *,
    constants: Constants | None = None,
    with_offset: bool = False,
    room: float | None = None,
    bore: float | None = None,
    humidity: float | None = None,
    register: int = 1,
    a4: float = 440.0,
) -> Foretold:
    """Foretell notes, with +- from the corrections' spread and another day's breath.

    Parameters
    ----------
    flute : Flute
    fingerings : sequence of str
    constants : Constants, optional
        Default: the formulas as they stand, with the usual priors as spread. Where they say
        that something is to be mended first, no note has an error.
    with_offset : bool
        Apply the calibration's air offset; else the air is as written.
    room, bore : float, optional
        Temperature of the room, from which the bore's air follows (`AirAlong`), or of the
        air in the bore [K].
    humidity : float, optional
        0 to 1. Default: the calibration's where the temperature is the calibration's too,
        else 0.5.
    register : int
    a4 : float
        Reference pitch of the note names [Hz].

    Raises
    ------
    DataError
        Fingerings that do not fit the flute, all of them, or a temperature that is
        not one of air.
    """
    air, said = air_of(flute, constants, room, bore, humidity)
    corrections, spread = _knowledge(constants, with_offset, _air_sd(constants, room, bore))
    wanted = rows(flute, checked_words(flute, fingerings), air=air, register=register)
    frame = table(predict_notes(flute, wanted, corrections, spread), a4=a4)
    half = half_covered(wanted)
    finger = np.where(half, HALF_HOLE, 0.0)
    frame.insert(
        5,
        "sd_cents",
        np.sqrt(frame["sd_corrections_cents"] ** 2 + SESSION_SD**2 + MODEL_SD**2 + finger**2),
    )
    to_mend = to_mend_words(constants)
    if to_mend:  # no +- holds what a mistake has bent
        frame[["sd_corrections_cents", "sd_cents"]] = np.nan
        frame["remark"] = [f"{said}; {UNSURE}".removeprefix("; ") for said in frame["remark"]]
    if flute.targets and register == 1:
        frame.insert(4, "over_target_cents", _over_targets(flute, wanted.label, frame))
    if constants is not None and not with_offset:
        said += offset_words(constants, flute, wanted, "; --with-offset does")
    remarks = (*to_mend, *said, *_remarks(flute, constants, corrections, register))
    if not to_mend:
        remarks += tuple(_doubt_words(half))
    if "near cutoff" in set(frame["status"]):
        remarks += (NEAR_CUTOFF,)
    return Foretold(frame=frame, remarks=remarks, text=_text(flute, frame, remarks))


def to_mend_words(constants: Constants | None) -> tuple[str, ...]:
    """Return what did not fit when constants were fitted, and what to do; nothing if all did."""
    did_not_fit = constants.document.get("to_mend") if constants is not None else ""
    return (mended_first(did_not_fit),) if did_not_fit else ()


def mended_first(did_not_fit: str) -> str:
    """Return what to do where something, said in a sentence, did not fit."""
    first, then = did_not_fit[0], did_not_fit[1:]
    return (
        "These constants are not to be relied on yet: when they were fitted, "
        f"{first.lower() if then[:1].islower() else first}{then} Mend that first, then calibrate "
        "again; until then no note has a plus-minus."
    )


def _air_sd(constants, room, bore):
    """How well the bore's air is known [K]: measured there, or inferred from the room's."""
    if bore is None and room is None and constants is not None:
        return constants.priors["air_offset"].sd
    return ROOM_AIR_SD if bore is None else BORE_AIR_SD


def _knowledge(constants, with_offset, air_sd):
    """Corrections and their spread for another day."""
    if constants is None:
        variance = {n: p.sd**2 for n, p in default_priors().items() if p.sd > 0 and n != "breath"}
        variance["air_offset"] = air_sd**2
        return Corrections(), Spread(
            names=tuple(variance), covariance=np.diag([*variance.values()])
        )
    if with_offset:
        return constants.corrections, constants.spread
    return replace(constants.corrections, air_offset=0.0), another_day(constants.spread, air_sd)


def air_of(
    flute: Flute,
    constants: Constants | None,
    room: float | None,
    bore: float | None,
    humidity: float | None,
) -> tuple[Air | AirAlong, list[str]]:
    """Return the bore's air and what was taken for it, in sentences.

    Parameters and errors as of `foretell`.
    """
    said = []
    known = None
    option = "--room" if bore is None else "--bore"
    if bore is None and room is None and constants is not None:
        conditions = constants.document["conditions"]
        room, bore, known = _as_calibrated(conditions)
        said.append(f"{_which_temperature(conditions)}; --room or --bore says another")
    elif bore is None and room is None:
        room = celsius(USUAL_ROOM)
        said.append(f"temperature: {USUAL_ROOM:.0f} C in the room is assumed")
    if humidity is None:
        humidity = USUAL_HUMIDITY if known is None else float(np.mean(known)) / 100
    given = room if bore is None else bore
    typed = f"{to_celsius(given):.1f} C ({to_fahrenheit(given):.1f} F)"
    where = "bore" if bore is not None else "room"
    said.append(f"{where} air {typed}, {100 * humidity:.0f} % humidity, 400 ppm CO2, 101325 Pa")
    try:
        if bore is not None:
            return moist_air(bore, humidity=humidity), said
        air = AirAlong(room_temperature=room, humidity=humidity)
    except ValueError as error:
        fault = Fault(place=option, typed=typed, problem=str(error), mend="Check the unit, C or F")
        raise DataError(OPTIONS, [fault]) from None
    halfway = to_celsius(single_air(air).temperature)
    head = "window" if isinstance(flute.head, Window) else "head"
    said.append(
        f"bore air from it: at the {head} {BREATH_WORDS}, evenly less of it towards the foot; "
        f"{halfway:.1f} C halfway (common practice, no source)"
    )
    return air, said


def _as_calibrated(conditions):
    """Room and bore temperature [K], one of them None, and humidity of a calibration."""
    room, humidity = conditions.get("room_temperature_c"), conditions["humidity_percent"]
    if room:
        return celsius(float(np.mean(room))), None, humidity
    return None, celsius(float(np.mean(conditions["bore_temperature_c"]))), humidity


def _which_temperature(conditions):
    """Which of a calibration's temperatures is taken."""
    mixed = conditions.get("temperature_measured_in") == "room and bore"
    rooms = conditions.get("room_temperature_c")
    low, high = rooms or conditions["bore_temperature_c"]
    words = "temperature: as in the calibration"
    if high - low >= 0.1:
        words += f", whose rows have {low:.1f} to {high:.1f} C: halfway between"
    if mixed:
        words += " (in the room; rows with a temperature in the bore do not count here)"
    return words


def checked_words(flute: Flute, fingerings: Sequence[str]) -> list[str]:
    """Return fingering words; a DataError tells of all that do not fit the flute."""
    faults, words = [], []
    for text in fingerings:
        try:
            words.append(fingering_word(text, len(flute.holes)))
        except ValueError as error:
            problem, _, mend = str(error).partition("; ")
            if not flute.holes:
                problem, mend = f"{text!r}: the flute has no holes", "leave --fingering out"
            faults.append(Fault(place="--fingering", problem=problem, mend=mend.capitalize()))
    if faults:
        raise DataError(OPTIONS, dict.fromkeys(faults))
    return words


def _over_targets(flute, words, frame):
    wanted = {target.fingering: target.frequency for target in flute.targets}
    target = np.array([wanted.get(word, np.nan) for word in words])
    return np.log(frame["frequency_hz"].to_numpy() / target) / CENT


def another_flute(constants: Constants, flute: Flute, unit: str = "mm") -> Iterator[str]:
    """Say so where the constants come from another flute, bores in 'mm' or 'in'."""
    known = [(f["name"], f["bore_diameter_mm"]) for f in constants.document["flutes"]]
    own = flute.name, millimetres(bore_diameter(flute.bore, 0.0))
    if own not in known:
        named = [f"{name!r} (bore {length_words(from_mm(bore), unit)})"
                 for name, bore in (*known, own)]  # fmt: skip
        yield f"constants of {', '.join(named[:-1])}; this is {named[-1]}"


def offset_words(constants: Constants, flute: Flute, wanted: Rows, hint: str = "") -> Iterator[str]:
    """Say that the calibration's air offset is left out, and what it would do to these notes."""
    plain = replace(constants.corrections, air_offset=0.0)
    with already_warned():
        without, applied = (
            predict_notes(flute, wanted, given).frequency
            for given in (plain, constants.corrections)
        )
    cents = np.log(applied / without) / CENT
    size = "" if np.all(np.isnan(cents)) else f" ({np.nanmean(cents):+z.1f} cents on these notes)"
    kelvin = constants.corrections.air_offset
    yield f"the calibration's air offset of {kelvin:+z.1f} C{size} is not applied{hint}"


def breath_words(corrections: Corrections, register: int) -> Iterator[str]:
    """Say which breath a calibration's notes are blown with, where it is known."""
    usual = corrections.reference_pressure if register == 1 else corrections.overblown_pressure
    if usual is not None:
        yield f"at the calibration's usual breath, {usual:.0f} Pa"


def _remarks(flute, constants, corrections, register):
    if constants is None:
        yield "no constants: the formulas as they stand, with the usual doubt about each"
    else:
        yield from another_flute(constants, flute)
    yield from breath_words(corrections, register)


def _doubt_words(half):
    """What the +- holds; `half` of the rows with a half-covered hole."""
    yield (
        "+- in cents, two times in three: corrections, temperature, and "
        f"{SESSION_SD:.0f} cents of another day's breath and tuner (common practice, no source), "
        f"{MODEL_SD} of the model itself"
    )
    if np.any(half):
        yield (
            f"half-covered holes: {HALF_HOLE:g} cents in the +- for how the finger lies (estimate)"
        )


def _text(flute, frame, remarks):
    goal = "over_target_cents" in frame
    lines = [
        flute.name,
        f"  {'fingering':<11}{'Hz':>9}  {'note':<9}{'+-':>5}" + ("  to target" if goal else ""),
    ]
    for row in frame.to_dict("records"):
        word = row["fingering"]
        if not np.isfinite(row["frequency_hz"]):
            lines.append(f"  {word:<11}{'-':>9}  {row['remark']}")
            continue
        doubt = f"{row['sd_cents']:5.1f}" if np.isfinite(row["sd_cents"]) else f"{'-':>5}"
        line = f"  {word:<11}{row['frequency_hz']:9.2f}  {row['note']:<9}{doubt}"
        if goal and np.isfinite(row["over_target_cents"]):
            line += f"  {_to_target(row['over_target_cents'])}"
        lines.append(line + ("" if row["status"] == "ok" else f"  ({row['status']})"))
    return "\n".join([*lines, *(f"  {remark}" for remark in remarks)])


def _to_target(cents):
    if abs(cents) < 0.5:
        return "on target"
    return f"{abs(cents):.0f} cents {'sharp' if cents > 0 else 'flat'}"
