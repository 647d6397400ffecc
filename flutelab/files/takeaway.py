"""Constants to take away: corrections as lengths first, and the same pipe cut to another length."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from flutelab.errors import DataError, FitWarning, ValidityWarning, already_warned
from flutelab.files.constants_file import Constants, constants_of, read_constants
from flutelab.files.flute_file import read_flute
from flutelab.files.foretell import air_of, another_flute, mended_first, usual_fingerings
from flutelab.files.note_table import read_measurements
from flutelab.files.sentences import mismatches_of, sentences
from flutelab.files.tables import fingering_name, note_name
from flutelab.files.to_mend import is_to_mend
from flutelab.files.typed import read_as
from flutelab.files.warned import plain_notes
from flutelab.fitting.calibrate import another_day, calibrate
from flutelab.fitting.measurements import HALF_HOLE
from flutelab.fitting.suspects import suspects
from flutelab.fitting.unknowns import MODEL_SD, SESSION_SD
from flutelab.model.corrections import META, NAMES
from flutelab.model.equivalents import equivalents
from flutelab.model.flute import Flute, Window, along_pipe, bore_diameter, bore_side_diameter
from flutelab.model.notes import CENT, predict_notes
from flutelab.model.rows import half_covered, rows
from flutelab.units import decimal_length, from_mm, inches, millimetres

# Whether a correction holds for another length of the same pipe, and on what condition.
CARRIES_OVER = {
    "window": "yes, with this window and block, at this breath",
    "foot": "yes, with a foot cut square like this one",
    "wall": "yes",
    "hole_end": "yes, with holes drilled and finished like these",
    "bore": "yes, for a piece of the same pipe",
    "air_offset": "no: it is of the days of these notes",
    "breath": "yes, with this player",
    "second_register": "with care: overblowing depends on the voicing",
    "jet": "with care: only at this breath and voicing",
    "pad_depth": "yes, with these fingers",
    "loss": "yes, for the same pipe",
    "coupling": "yes",
}
_UNITS = ("mm", "in")  # of the shop
USUAL_BORES = (15.0, 25.0)  # length over bore of duct flutes (common practice, no source)
_LONGEST, _SHORTEST = 1.5, 0.4  # of the flute's length, asked of
_RIM = 0.001  # m left beyond the last hole


@dataclass(frozen=True, kw_only=True, eq=False)
class Known:
    """What is known of a flute: corrections, sentences, and what to be warned of.

    ``opening`` = the sentences by the unit of their lengths, 'mm' and 'in'; ``is_to_mend``
    where they say that no note is to be relied on before something is mended.
    """

    constants: Constants
    opening: Mapping[str, tuple[str, ...]]
    warned: tuple[str, ...] = ()
    flute: Flute | None = None
    is_to_mend: bool = False


def pairs_of(folder: str | Path) -> dict[str, tuple[Path, Path]]:
    """Return the flute files of a folder that have a note table of the same name, by flute."""
    found = {}
    for flute_path in sorted(Path(folder).glob("*.toml")):
        notes = flute_path.with_suffix(".csv")
        try:
            with already_warned():
                flute = read_flute(flute_path)
                read_measurements(notes, flute)
        except DataError:
            continue  # a table of something else, or none
        found[flute.name] = flute_path, notes
    return found


def known_from_notes(flute_file: tuple[str, bytes], note_table: tuple[str, bytes]) -> Known:
    """Calibrate a flute from its files, each a name and its bytes.

    Raises
    ------
    DataError
        A file is at fault.
    FitError
        The notes cannot be fitted.
    """
    flute = _flute(flute_file)
    name, raw = note_table
    measurements = read_as(name, raw, lambda path: read_measurements(path, flute))
    with warnings.catch_warnings(record=True) as heard:
        for kind in (ValidityWarning, FitWarning):
            warnings.simplefilter("always", kind)
        calibration = calibrate(measurements)
        odd = suspects(calibration)
        told = odd, mismatches_of(calibration)
        opening = {unit: tuple(sentences(calibration, *told, unit)) for unit in _UNITS}
    return Known(
        constants=constants_of(calibration, odd),
        opening=opening,
        warned=tuple(plain_notes([str(one.message) for one in heard])),
        flute=flute,
        is_to_mend=is_to_mend(calibration, odd),
    )


def known_from_constants(
    constants_file: tuple[str, bytes], flute_file: tuple[str, bytes] | None = None
) -> Known:
    """Read constants, and the flute to use them on, each a file's name and its bytes.

    Raises
    ------
    DataError
        A file is at fault.
    """
    name, raw = constants_file
    constants = read_as(name, raw, read_constants)
    flute = None if flute_file is None else _flute(flute_file)
    opening = {unit: tuple(_of_constants(constants, flute, unit)) for unit in _UNITS}
    return Known(
        constants=constants,
        opening=opening,
        flute=flute,
        is_to_mend=bool(constants.document.get("to_mend")),
    )


def _of_constants(constants: Constants, flute: Flute | None, unit: str) -> Iterator[str]:
    document = constants.document
    flutes = ", ".join(repr(known["name"]) for known in document["flutes"])
    rows = document["provenance"]["rows_fitted"]
    yield (
        f"Constants of {flutes}, fitted to {rows} notes (written by {document['written_by']}). "
        + _did_not_fit(document.get("to_mend"))
    )
    if flute is None:
        yield "Give a flute file too, and its notes are foretold with them."
    else:
        yield from (f"Take care: {words}." for words in another_flute(constants, flute, unit))


def _did_not_fit(said: str | None) -> str:
    if said is None:  # a file of before it was written down
        return "What does not fit stands in the report of that calibration."
    return mended_first(said) if said else "No row and no hole stood out."


def _flute(file: tuple[str, bytes]) -> Flute:
    name, raw = file
    return replace(read_as(name, raw, read_flute), source=name)


def corrections_table(constants: Constants, flute: Flute | None = None) -> pd.DataFrame:
    """Return corrections as lengths first, then as times the formula, with errors and meaning.

    Parameters
    ----------
    constants : Constants
    flute : Flute, optional
        Whose lengths. Default: those that the constants' file holds, of its own flutes.

    Returns
    -------
    DataFrame
        A row for each place that a correction's length is counted from; corrections that are
        no length come last, without lengths. ``longer_mm`` is with the correction less by
        the formula; ``sd_`` one standard deviation; ``value`` in its unit, where ``times`` is
        times the formula that ``definition`` words; lengths are those at low frequency.
    """
    lengths = list(_lengths(constants, flute))
    others = [name for name in NAMES if name not in {row["correction"] for row in lengths}]
    lengths += [{"flute": "", "correction": name, "where": ""} for name in others]
    frame = pd.DataFrame([row | _value(constants, row["correction"]) for row in lengths])
    at = list(frame.columns).index("sd_mm") + 1
    for more, column in enumerate(("by_formula", "with_correction", "longer", "sd")):
        frame.insert(at + more, f"{column}_in", inches(from_mm(frame[f"{column}_mm"])))
    return frame


def _lengths(constants: Constants, flute: Flute | None) -> Iterator[dict]:
    entries = constants.document["corrections"]
    if flute is not None:
        for one in equivalents(flute, constants.corrections):
            sd = abs(one.per_unit) * entries[one.name]["sd"]
            sizes = map(millimetres, (one.formula, one.corrected, sd))
            yield _length(flute.name, one.name, one.where, *sizes)
        return
    for known in constants.document["flutes"]:
        for one in known["equivalents"]:
            sizes = (one["by_formula_mm"], one["corrected_mm"], one["sd_mm"])
            yield _length(known["name"], one["correction"], one["where"], *sizes)


def _length(flute, correction, where, formula, corrected, sd):
    return {
        "flute": flute,
        "correction": correction,
        "where": where,
        "by_formula_mm": formula,
        "with_correction_mm": corrected,
        "longer_mm": corrected - formula,
        "sd_mm": sd,
    }


def _value(constants: Constants, name: str) -> dict:
    entry = constants.document["corrections"][name]
    return {
        "value": entry["value"],
        "value_sd": entry["sd"],
        "value_unit": META[name]["unit"],
        "holds_for_another_length": CARRIES_OVER[name],
        "meaning": META[name]["meaning"],
        "learned": entry["remark"],
        "definition": entry["definition"],
    }


def same_pipe(flute: Flute, length: float) -> Flute:
    """Return the same pipe, its foot at another place.

    Parameters
    ----------
    flute : Flute
    length : float
        From the sounding edge, or a plain head's end, to the foot [m].

    Raises
    ------
    ValueError
        No room for the last hole.

    Notes
    -----
    Holes stay where they are; a bore that is not straight goes on as it does at the flute's
    foot, and its open end keeps the thickness of its rim.
    """
    low, _ = lengths_to_ask(flute)
    if length < low:
        msg = (
            f"{decimal_length(length, flute.unit)} is too short: the last hole needs "
            f"{decimal_length(low, flute.unit)} to the foot"
        )
        raise ValueError(msg)
    rim = flute.foot.outer_diameter
    if rim is not None:
        inside = [bore_diameter(flute.bore, at) for at in (flute.foot.position, length)]
        rim = max(rim, inside[1]) if len(flute.bore.stations) > 1 else rim
    return replace(flute, foot=replace(flute.foot, position=length, outer_diameter=rim))


def lengths_to_ask(flute: Flute) -> tuple[float, float]:
    """Return the shortest and the longest length [m] that `same_pipe` is asked for."""
    length = flute.foot.position
    ends = [
        hole.position
        + along_pipe(max(hole.diameter, bore_side_diameter(hole)), hole.aspect) / 2
        + _RIM
        for hole in flute.holes
    ]
    return float(max([_SHORTEST * length, *ends])), _LONGEST * length


def notes_now(flute: Flute, constants: Constants) -> pd.DataFrame:
    """Return the notes of a flute as it is, a row for each usual fingering.

    Air as `foretell` takes it, without the calibration's air offset; ``sd_cents`` with another
    day's breath and tuner; nan where the constants say that something is to be mended first.
    """
    words = usual_fingerings(flute)
    frequency, sd = _foretold(flute, words, constants)
    return pd.DataFrame(
        {
            "fingering": [fingering_name(word) for word in words],
            "hz": frequency,
            "note": [note_name(f) for f in frequency],
            "sd_cents": sd,
        }
    )


def two_lengths(
    flute: Flute, constants: Constants, length: float, now: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Return the notes of a flute, and of the same pipe cut to another length.

    Parameters
    ----------
    flute : Flute
    constants : Constants
    length : float
        As of `same_pipe` [m].
    now : DataFrame, optional
        From `notes_now` of the same flute and constants, where it is known already.

    Returns
    -------
    DataFrame
        A row for each usual fingering: ``this_hz`` with its note and sd, ``other_hz`` likewise,
        and ``shift_cents`` from the one to the other, all as `notes_now` has them.

    Raises
    ------
    ValueError
        As `same_pipe`.
    """
    other = notes_now(same_pipe(flute, length), constants)
    this = notes_now(flute, constants) if now is None else now
    frame = this[["fingering"]].copy()
    for name, notes in (("this", this), ("other", other)):
        for column in ("hz", "note", "sd_cents"):
            frame[f"{name}_{column}"] = notes[column]
    frame["shift_cents"] = np.log(frame["other_hz"] / frame["this_hz"]) / CENT
    return frame


def _foretold(flute, words, constants):
    """Frequencies [Hz] and their sd [cents], as `foretell` has them."""
    air, _ = air_of(flute, constants, None, None, None)
    wanted = rows(flute, list(words), air=air)
    corrections = replace(constants.corrections, air_offset=0.0)
    spread = another_day(constants.spread, constants.priors["air_offset"].sd)
    with already_warned():
        notes = predict_notes(flute, wanted, corrections, spread)
    if constants.document.get("to_mend"):  # no error holds what a mistake has bent
        return notes.frequency, np.full_like(notes.frequency, np.nan)
    finger = np.where(half_covered(wanted), HALF_HOLE, 0.0)
    return notes.frequency, np.sqrt(notes.sd**2 + SESSION_SD**2 + MODEL_SD**2 + finger**2)


def cutting_words(flute: Flute, length: float, unit: str = "mm") -> list[str]:
    """Return what to know before a pipe is cut to a length [m]."""
    more = length - flute.foot.position
    size = decimal_length(abs(more), unit)
    said = []
    if abs(more) < 0.5 * from_mm(0.1):
        said.append("This is the flute's own length.")
    elif more < 0:
        said.append(
            f"{size} shorter than this flute. A pipe that is cut too short cannot be mended: mark "
            "this length, cut a little beyond the mark, play, and file up to it."
        )
    else:
        said.append(
            f"{size} longer than this flute: that takes a new piece of the same pipe. Measure its "
            "bore before you trust these notes, and cut it last."
        )
    if flute.holes:
        said.append("The holes stay where they are, counted from the head.")
    bores = length / bore_diameter(flute.bore, 0.0)
    low, high = USUAL_BORES
    if isinstance(flute.head, Window) and not low <= bores <= high:
        said.append(
            f"It is {bores:.0f} bores long; duct flutes are usually {low:.0f} to {high:.0f} "
            "(common practice, no source)."
        )
    return said
