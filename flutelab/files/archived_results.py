"""All that an archive tells of a calibration, as texts and tables."""

from __future__ import annotations

import json
import platform
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version

import numpy as np
import pandas as pd

from flutelab.files.constants_file import FORMULAS, constants_text
from flutelab.files.learned import learned
from flutelab.files.mismatch_words import mismatch_notes_table, mismatch_table, mismatch_words
from flutelab.files.report import report
from flutelab.files.suspected import suspect_words
from flutelab.files.tables import no_formulas, table
from flutelab.files.to_mend import is_to_mend
from flutelab.files.told import told_table, told_words
from flutelab.fitting.budget import Budget, budget, reported_names
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.identifiability import WhatDataTell, what_data_tell
from flutelab.fitting.many import Many
from flutelab.fitting.mismatch import Mismatch, why_not_matching
from flutelab.fitting.phrases import name_of
from flutelab.fitting.profiles import LEVELS, Profiles, profiles
from flutelab.fitting.progress import Progress
from flutelab.fitting.resampling import Bootstrap, bootstrap, bootstrap_limits
from flutelab.fitting.suspects import Suspect, suspects
from flutelab.model.corrections import META
from flutelab.model.equivalents import equivalents
from flutelab.units import millimetres

DRAWS = 1000  # refits of the bootstrap
_INTERVALS = tuple(f"{end}_{100 * level:.0f}" for level in LEVELS for end in ("low", "high"))
_LIBRARIES = ("flutelab", "numpy", "scipy", "pandas", "matplotlib")


@dataclass(frozen=True, kw_only=True, eq=False)
class Results:
    """A calibration and all that is worked out from it for an archive.

    ``mismatches`` of each table of which a row was fitted, by its name; ``budgets`` and
    ``profiles`` of each reported correction; ``drawn``, the bootstrap by notes, of at least
    three notes.
    """

    calibration: Calibration
    suspects: tuple[Suspect, ...]
    told: WhatDataTell
    mismatches: Mapping[str, Mismatch]
    budgets: Mapping[str, Budget]
    profiles: Profiles
    drawn: Bootstrap | None


@dataclass(frozen=True, kw_only=True)
class Text:
    """A file's content, and what it is, in words."""

    content: str
    words: str


def results_of(
    calibration: Calibration,
    odd: tuple[Suspect, ...] | None = None,
    *,
    seed: int = 0,
    draws: int = DRAWS,
    progress: Progress | None = None,
) -> Results:
    """Return all that an archive tells of a calibration.

    Parameters
    ----------
    calibration : Calibration
    odd : tuple of Suspect, optional
        What does not fit, where it is known already.
    seed : int
        Of all that is drawn at random.
    draws : int
        Refits of the bootstrap; 1000 in what the command line writes.
    progress : callable, optional
        Called with how many of them are done, of how many.
    """
    fitted = [part.measurements for part in calibration.tables if "fitted" in part.fate]
    names = reported_names(calibration)
    many = Many(calibration.problem, calibration.value)
    return Results(
        calibration=calibration,
        suspects=suspects(calibration) if odd is None else odd,
        told=what_data_tell(calibration),
        mismatches={m.source: why_not_matching(m) for m in fitted},
        budgets={name: budget(calibration, name) for name in names},
        profiles=profiles(calibration, names, many=many),
        drawn=_drawn(calibration, draws, seed, many, progress),
    )


def _drawn(calibration, draws, seed, many, progress):
    """The bootstrap, whole or none."""
    try:
        found = bootstrap(calibration, draws, seed=seed, many=many, progress=progress)
    except ValueError:  # too few notes to show how they scatter
        return None
    if found.done < found.asked:
        raise KeyboardInterrupt
    return found


def texts_of(results: Results, a4: float = 440.0) -> dict[str, Text]:
    """Return the texts and tables of an archive by the names of their files.

    Parameters
    ----------
    results : Results
    a4 : float
        Reference pitch of the note names [Hz].
    """
    c = results.calibration
    named = is_to_mend(c, results.suspects)
    said = [f"{source}\n  " + "\n  ".join(mismatch_words(one, named=named))
            for source, one in results.mismatches.items()]  # fmt: skip
    odd = [suspect_words(c, suspect) for suspect in results.suspects] or [
        "No row and no hole stands out."
    ]
    files = {
        "report.txt": (report(c, a4=a4, odd=results.suspects), "what flutelab calibrate prints"),
        "constants.json": (
            constants_text(c, results.suspects),
            "the constants file, for flutelab predict",
        ),
        "corrections.csv": (_corrections(results), "the corrections with units and meaning"),
        "lengths.csv": (_lengths(c), "the same as lengths on each flute"),
        "residuals.csv": (table(c, a4=a4), "every reading: by the book, predicted, what is left"),
        "profiles.csv": (_profiles(results.profiles), "rise of chi2 as a correction is moved"),
        "correlations.csv": (_correlations(c), "correlations of all unknowns after the fit"),
        "budget.csv": (_budgets(results.budgets), "what each quantity adds to the doubt"),
        "what-the-data-tell.txt": (_lines(told_words(results.told)), "what the readings can tell"),
        "what-the-data-tell.csv": (told_table(results.told), "the same for each correction"),
        "suspects.txt": (_lines(odd), "readings and dimensions that do not fit"),
        "mismatch.txt": (_lines(said), "why the readings are off the book, before any fit"),
        "mismatch.csv": (_of_tables(results, mismatch_table), "the same for each cause"),
        "mismatch-notes.csv": (_of_tables(results, mismatch_notes_table), "and for each reading"),
        "versions.json": (_versions(), "versions of Python and of the libraries"),
    }
    if results.drawn is not None:
        words = (
            f"the corrections in {results.drawn.asked} refits to drawn notes, beside the fit's own "
            "standard deviation; see TWO STANDARD DEVIATIONS above"
        )
        files["bootstrap.csv"] = _bootstrap(results), words
    return {
        name: Text(content=content if isinstance(content, str) else _csv(content), words=words)
        for name, (content, words) in files.items()
    }


def _lines(sentences: Sequence[str]):
    return "\n".join(sentences) + "\n"


def _csv(frame):
    """Six digits that count, and the same line ends on every system."""
    return no_formulas(frame).to_csv(index=False, float_format="%.6g", lineterminator="\n")


def _corrections(results):
    """A row for each correction that was fitted, each flute's own ones apart."""
    calibration, rows = results.calibration, []
    sds = np.sqrt(np.diag(calibration.covariance))
    for p, value, sd in zip(calibration.parameters, calibration.value, sds, strict=True):
        if not p.is_correction:
            continue
        row = {
            "correction": p.name,
            "of": _whose(calibration, p),
            "reported": "yes" if p.name in calibration.free else "no",
            "value": value,
            "sd": sd,
            **_interval(results.profiles, name_of(calibration.problem, p)),
            "unit": META[p.name]["unit"],
            "prior_mean": p.prior.mean,
            "prior_sd": p.prior.sd,
            "lower_limit": p.prior.lower,
            "upper_limit": p.prior.upper,
            "sd_left_percent": 100 * sd / p.prior.sd,
            "remark": learned(calibration, p.name)[1] if p.table is None else "",
            "meaning": META[p.name]["meaning"],
            "definition": FORMULAS[p.name][2],
        }
        rows.append(row)
    return pd.DataFrame(rows)


def _interval(found: Profiles, name):
    """Limits of a correction by its profile; blank for those that are not reported."""
    if name not in found.names:
        return dict.fromkeys(_INTERVALS, np.nan)
    limits = found.limits[found.names.index(name)].ravel()
    return dict(zip(_INTERVALS, limits.tolist(), strict=True))


def _profiles(found: Profiles):
    count = found.value.shape[1]
    return pd.DataFrame(
        {
            "correction": np.repeat(found.names, count),
            "value": found.value.ravel(),
            "chi2_rise": found.rise.ravel(),
        }
    )


def _bootstrap(results):
    """A row for each correction: its scatter in the refits, beside its sd."""
    c, found = results.calibration, results.drawn
    low_high = [bootstrap_limits(found, level) for level in LEVELS]
    rows = []
    for i, p in enumerate(c.parameters):
        if p.is_correction:
            row = {
                "correction": p.name,
                "of": _whose(c, p),
                "sd": np.sqrt(c.covariance[i, i]),
                "sd_of_refits": found.sd[i],
            }
            limits = np.concatenate([limits[i] for limits in low_high])
            rows.append(row | dict(zip(_INTERVALS, limits.tolist(), strict=True)))
    frame = pd.DataFrame(rows)
    return frame.assign(refits=len(found.theta), lost=found.lost, notes=found.groups)


def _whose(calibration, parameter):
    if parameter.table is None:
        return "all"
    tables = parameter.tables or (parameter.table,)
    return "; ".join(calibration.tables[n].measurements.source for n in tables)


def _lengths(calibration):
    rows = []
    for part in calibration.tables:
        m = part.measurements
        sds = {
            p.name: float(np.sqrt(calibration.covariance[i, i]))
            for i, p in enumerate(calibration.parameters)
            if p.is_correction and p.concerns(calibration.tables.index(part))
        }
        rows += [
            {
                "flute": m.flute.name,
                "table": m.source,
                "correction": e.name,
                "where": e.where,
                "by_formula_mm": millimetres(e.formula),
                "corrected_mm": millimetres(e.corrected),
                "sd_mm": millimetres(abs(e.per_unit) * sds.get(e.name, 0.0)),
            }
            for e in equivalents(m.flute, part.corrections)
        ]
    return pd.DataFrame(rows)


def _correlations(calibration):
    sd = np.sqrt(np.diag(calibration.covariance))
    names = [name_of(calibration.problem, p) for p in calibration.parameters]
    frame = pd.DataFrame(calibration.covariance / np.outer(sd, sd), columns=names)
    frame.insert(0, "unknown", names)
    return frame


def _budgets(budgets):
    """A row for each quantity of each output."""
    frames = [
        pd.DataFrame(
            {
                "of": name,
                "unit": b.unit,
                "quantity": b.quantity,
                "part": b.part,
                "kind": b.kind,
                "quantity_unit": ["mm" if unit == "m" else unit for unit in b.quantity_unit],
                "quantity_sd": b.quantity_sd * _scale(b),
                "moves_notes_cents_per_unit": b.cents / _scale(b),
                "contribution": b.contribution[:, 0],
                "share_percent": 100 * b.share[:, 0],
            }
        )
        for name, b in budgets.items()
    ]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame({"of": []})


def _scale(b: Budget):
    """Lengths in millimetres."""
    return np.where(np.array(b.quantity_unit) == "m", millimetres(1.0), 1.0)


def _of_tables(results, make):
    """One kind of table of every note table, one below the other."""
    frames = []
    for source, one in results.mismatches.items():
        frame = make(one)
        frame.insert(0, "table", source)
        frames.append(frame)
    return pd.concat(frames, ignore_index=True)


def _versions():
    told = {"python": platform.python_version(), "system": f"{sys.platform} {platform.machine()}"}
    told |= {name: version(name) for name in _LIBRARIES}
    return json.dumps(told, indent=1) + "\n"
