"""The constants file: corrections to take away, in JSON, with units and definitions.

Written for other programs: every number has its unit in its key, every correction its
definition in words and the formula that it multiplies.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import numpy as np

from flutelab.errors import DataError, Fault
from flutelab.files.learned import learned, sd_next, sd_on
from flutelab.files.safely import read_text, write_text
from flutelab.files.to_mend import is_to_mend, what_does_not_fit
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.suspects import Suspect, suspects
from flutelab.model.corrections import META, NAMES, Corrections, Prior, Spread
from flutelab.model.equivalents import equivalents
from flutelab.model.flute import bore_diameter
from flutelab.physics.breath import single_air
from flutelab.units import millimetres, to_celsius

KIND = "flutelab constants"
SCHEMA_VERSION = 1
ROUNDING = 1e-9  # of a correlation
_OTHER_VERSION = "Use the flutelab that wrote it (see written_by), or calibrate again with this one"

# What each correction multiplies or adds to; a formula whose numbers change gets a new version.
FORMULAS = {
    "window": (
        "flutelab.physics.window.window_length",
        2,
        "End correction of the window from its centre, as a length of bore: t_w pi a^2/(along "
        "across); with r = sqrt(along across/pi) and d = along/2 + plug_to_window, t_w = w + t_m + "
        "(t_i + t_r)(1 - 0.08 ln(across/along)^2) + 0.413 r exp(-3.05 d/a) - 0.0724 r "
        "exp(-3.83 w/r), the lengths those of the round hole of equal area; a ramp and a block "
        "change it as the docstring says. The closed cavity behind the centre is kept apart: "
        "d + 0.21 t_w along across/(pi a^2).",
    ),
    "foot": (
        "flutelab.physics.ends.own_end",
        2,
        "End correction l of an open pipe of bore radius a and outer radius r, q = a/r, "
        "s = 1 - q, at low frequency: l/a = 0.82159 - q (0.208889 - s (0.1105 ln(1/s) + "
        "0.0632 s)); 0.82159 in a flange; its change with frequency as the docstring says.",
    ),
    "wall": (
        "the wall w at each finger hole",
        2,
        "Thickness of the wall at the holes, in the chimney of open and closed holes, in their "
        "series terms and in what a thin wall takes off their ends; the outer radius a + w stays "
        "as measured.",
    ),
    "hole_end": (
        "flutelab.physics.hole.inner_length_lefebvre, outer_length, thin_wall_loss",
        2,
        "Inner plus outer end correction of an open hole of radius b, d = b/a, at low frequency: "
        "inner b (0.822 - 0.095 d - 1.566 d^2 + 2.138 d^3 - 1.640 d^4 + 0.502 d^5), outer "
        "b (0.822 - 0.44 (b/(a + w))^0.8), each less 0.0366 b exp(-6 w/b).",
    ),
    "bore": ("the bore's inner diameter", 1, "Inner diameter of the pipe; hole places, hole "
             "diameters and walls stay as measured."),
    "air_offset": ("flutelab.physics.air.moist_air", 1, "Kelvin added to the bore's air as "
                   "written, in speed of sound, density and viscosity."),
    "breath": ("cents per doubling of the blowing pressure", 2, "Added as breath times "
               "log2(pressure/reference of the register) to notes with a known pressure."),
    "second_register": ("cents", 1, "Added to notes of the second register and above."),
    "jet": ("cents", 1, "Added to notes that are blown, not to those of a loudspeaker or a tap."),
    "pad_depth": ("flutelab.physics.shapes.closed_height", 2, "A finger or pad fills pad_depth "
                  "hole radii of the chimney from outside; 0 is a lid that follows the pipe."),
    "loss": ("flutelab.physics.tube.propagation", 1, "Multiplies the wall's part of propagation "
             "constant and characteristic impedance (Zwikker and Kosten)."),
    "coupling": ("flutelab.physics.coupling.mutual_impedance", 1, "Multiplies the coupling of "
                 "all openings through the air outside."),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Constants:
    """What a constants file holds: corrections, their spread and where they come from.

    ``document`` is the whole file as plain dictionaries and lists. Its ``to_mend`` says what
    did not fit and is to be mended before these numbers are relied on; empty is nothing, and
    older files do not say.
    """

    corrections: Corrections
    spread: Spread
    priors: dict[str, Prior]
    free: tuple[str, ...]
    document: dict


def constants_of(calibration: Calibration, odd: Sequence[Suspect] | None = None) -> Constants:
    """Return a calibration's constants.

    Parameters
    ----------
    calibration : Calibration
    odd : sequence of Suspect, optional
        Default: from `suspects`.
    """
    odd = suspects(calibration) if odd is None else odd
    document = {
        "kind": KIND,
        "schema_version": SCHEMA_VERSION,
        "written_by": f"flutelab {version('flutelab')}",
        "flutes": [_flute_entry(calibration, table) for table in range(len(calibration.tables))],
        "corrections": {name: _correction_entry(calibration, name) for name in NAMES},
        "spread": {
            "names": list(calibration.spread.names),
            "covariance": calibration.spread.covariance.tolist(),
            "meaning": "joint covariance of the corrections, each in its own unit",
        },
        "conditions": _conditions(calibration),
        "to_mend": _to_mend(calibration, odd),
        "provenance": _provenance(calibration),
    }
    return _constants(document)


def _to_mend(calibration, odd):
    return what_does_not_fit(calibration, odd, whole=True) if is_to_mend(calibration, odd) else ""


def write_constants(
    result: Calibration | Constants,
    path: str | Path,
    *,
    odd: Sequence[Suspect] | None = None,
    overwrite: bool = False,
) -> None:
    """Write a constants file.

    Parameters
    ----------
    result : Calibration or Constants
    path : str or Path
    odd : sequence of Suspect, optional
        Of the calibration; default: from `suspects`.
    overwrite : bool
        Replace a file that is there.

    Raises
    ------
    DataError
        The file is there already, or cannot be written.
    """
    write_text(path, constants_text(result, odd), overwrite=overwrite)


def constants_text(result: Calibration | Constants, odd: Sequence[Suspect] | None = None) -> str:
    """Return a constants file's text; of a calibration as `constants_of`."""
    constants = constants_of(result, odd) if isinstance(result, Calibration) else result
    return json.dumps(constants.document, indent=1, ensure_ascii=False) + "\n"


def read_constants(path: str | Path) -> Constants:
    """Read a constants file back exactly.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Constants

    Raises
    ------
    DataError
        Not a constants file, of another schema, or damaged.
    """
    source, text = str(path), read_text(path)
    try:
        document = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _refusal(source, "file", f"it is not JSON ({error})") from None
    if not isinstance(document, dict) or document.get("kind") != KIND:
        raise _refusal(source, "kind", f"this is not a constants file (kind must be {KIND!r})")
    found = document.get("schema_version")
    if type(found) is not int or found != SCHEMA_VERSION:
        problem = f"schema version {found!r} is not known; this flutelab reads {SCHEMA_VERSION}"
        raise _refusal(source, "schema_version", problem, _OTHER_VERSION)
    try:
        constants = _constants(document)
        other = _other_formulas(document)
    except KeyError as error:
        raise _refusal(source, "file", f"it is damaged: {error} is missing") from None
    except (TypeError, AttributeError, ValueError, OverflowError) as error:
        raise _refusal(source, "file", f"it is damaged: {error}") from None
    if other:
        problem = f"{', '.join(other)} was fitted to another version of its formula"
        raise _refusal(source, "formula_version", problem, _OTHER_VERSION)
    return constants


def _other_formulas(document):
    """Corrections that multiply another version of their formula than this one's."""
    entries = document["corrections"]
    return [name for name in NAMES if entries[name]["formula_version"] != FORMULAS[name][1]]


def _refusal(source, place, problem, mend="Give the file that flutelab calibrate wrote"):
    return DataError(source, [Fault(place=place, problem=problem, mend=mend)])


def _constants(document):
    entries, conditions = document["corrections"], document["conditions"]
    unknown = sorted(set(entries) ^ set(NAMES))
    if unknown:
        msg = f"correction {unknown[0]!r} is missing or not known"
        raise ValueError(msg)
    room = conditions.get("room_temperature_c") or [0.0, 0.0]  # files before it had none
    low, high, *room = map(float, [*conditions["bore_temperature_c"], *room])
    pressures = [conditions["reference_pressure_pa"], conditions.get("overblown_pressure_pa")]
    if not (
        len(room) == 2
        and np.isfinite([low, high, *room]).all()
        and all(pressure is None or 0 < pressure < np.inf for pressure in pressures)
    ):
        msg = "the conditions hold a temperature or a pressure that is none"
        raise ValueError(msg)
    said = document.get("to_mend", "")  # files before it had none
    if not isinstance(said, str) or said != said.strip():
        msg = f"to_mend is {said!r}, not a sentence"
        raise ValueError(msg)
    return Constants(
        corrections=Corrections(
            **{name: float(entries[name]["value"]) for name in NAMES},
            reference_pressure=pressures[0],
            overblown_pressure=pressures[1],
        ),
        spread=_spread(document["spread"]),
        priors={name: _prior(name, entries[name]["prior"]) for name in NAMES},
        free=tuple(name for name in NAMES if entries[name]["reported"]),
        document=document,
    )


def _spread(entry):
    names = tuple(entry["names"])
    if len(set(names)) < len(names) or not set(names) <= set(NAMES):
        msg = f"the spread's names {', '.join(map(repr, names))} are not those of corrections"
        raise ValueError(msg)
    spread = Spread(names=names, covariance=np.array(entry["covariance"], dtype=float))
    if not np.all(np.isfinite(spread.covariance)):
        msg = "the covariance holds something that is not a number"
        raise ValueError(msg)
    variance = np.diag(spread.covariance)
    scale = np.sqrt(np.where(variance > 0, variance, 1.0))
    correlation = spread.covariance / np.outer(scale, scale)
    symmetric = np.all(np.abs(correlation - correlation.T) < ROUNDING)
    if not (symmetric and np.all(np.linalg.eigvalsh(correlation) > -ROUNDING)):
        msg = "the covariance is not one (it must be symmetric, without a negative variance)"
        raise ValueError(msg)
    return spread


def _prior(name, entry):
    limits = {
        "lower": -np.inf if entry["lower"] is None else entry["lower"],
        "upper": np.inf if entry["upper"] is None else entry["upper"],
    }
    return Prior(name=name, mean=entry["mean"], sd=entry["sd"], **limits)


def _correction_entry(calibration, name):
    prior, meta = calibration.priors[name], META[name]
    sd = sd_next(calibration, name)
    ratio, word = learned(calibration, name)
    formula, number, words = FORMULAS[name]
    return {
        "value": float(getattr(calibration.corrections, name)),
        "sd": sd,
        "unit": meta["unit"],
        "meaning": meta["meaning"],
        "formula": formula,
        "formula_version": number,
        "definition": words,
        "reported": name in calibration.free,
        "sd_over_prior_sd": ratio,
        "remark": word,
        "prior": {
            "mean": prior.mean,
            "sd": prior.sd,
            "lower": None if np.isneginf(prior.lower) else prior.lower,
            "upper": None if np.isposinf(prior.upper) else prior.upper,
        },
    }


def _flute_entry(calibration, table):
    part = calibration.tables[table]
    m = part.measurements
    radius = bore_diameter(m.flute.bore, 0.0) / 2
    return {
        "name": m.flute.name,
        "bore_diameter_mm": millimetres(2 * radius),
        "own_corrections": {
            name: {
                "value": float(getattr(part.corrections, name)),
                "sd": sd_on(calibration, table, name),
            }
            for name in NAMES
        },
        "equivalents": [
            {
                "correction": e.name,
                "where": e.where,
                "by_formula_mm": millimetres(e.formula),
                "corrected_mm": millimetres(e.corrected),
                "sd_mm": millimetres(abs(e.per_unit) * sd_on(calibration, table, e.name)),
                "by_formula_in_bore_radii": e.formula / radius,
                "corrected_in_bore_radii": e.corrected / radius,
            }
            for e in equivalents(m.flute, part.corrections)
        ],
    }


def _conditions(calibration):
    tables = [part.measurements for part in calibration.tables]
    halfway = [np.ravel(single_air(m.rows.air).temperature) for m in tables]
    rooms = [m.rows.air.room_temperature[m.from_room] for m in tables if np.any(m.from_room)]
    humidities = [p.measurements.humidity for p in calibration.tables]
    percent = [100 * np.ravel(h) for h in humidities if h is not None]
    return {
        "bore_temperature_c": _celsius_range(halfway),
        "room_temperature_c": _celsius_range(rooms) if rooms else None,
        "temperature_measured_in": _where_measured(tables),
        "humidity_percent": [float(np.min(np.concatenate(percent))),
                             float(np.max(np.concatenate(percent)))] if percent else None,
        "carbon_dioxide_ppm": 400.0,
        "static_pressure_pa": 101325.0,
        "reference_pressure_pa": calibration.corrections.reference_pressure,
        "overblown_pressure_pa": calibration.corrections.overblown_pressure,
        "as_played": "fitted to blown notes, the window correction holds the jet's pull at the "
        "breath used",
        "errors_widened_by": calibration.widened,
    }  # fmt: skip


def _where_measured(tables):
    from_room = np.concatenate([m.from_room for m in tables])
    if np.all(from_room):
        return "room"
    return "room and bore" if np.any(from_room) else "bore"


def _celsius_range(kelvin):
    celsius = to_celsius(np.concatenate(kelvin))
    return [float(np.min(celsius)), float(np.max(celsius))]


def _provenance(calibration):
    return {
        "chi2": calibration.chi2,
        "rows_fitted": calibration.rows,
        "loss": calibration.problem.loss,
        "seed": None,
        "tables": [_table_entry(part) for part in calibration.tables],
    }


def _table_entry(part):
    m = part.measurements
    return {
        "flute_file": Path(m.flute.source).name,
        "flute_file_sha256": m.flute.fingerprint,
        "note_table": Path(m.source).name,
        "note_table_sha256": m.fingerprint,
        "assumed": list(m.reading),
        "rows": [
            {"row": place, "fate": fate, "why": why}
            for place, fate, why in zip(m.place, part.fate, part.why, strict=True)
        ],
    }
