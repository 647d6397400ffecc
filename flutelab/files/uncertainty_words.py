"""Where doubts come from, limits and bootstraps, as tables and in plain sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from flutelab.fitting.budget import PARTS, Budget, coverage_factor
from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.profiles import LEVELS, Profiles
from flutelab.fitting.resampling import Bootstrap, bootstrap_limits
from flutelab.fitting.sweep import Sweep
from flutelab.model.corrections import META
from flutelab.model.rows import Rows
from flutelab.units import millimetres

PART_WORDS = {
    "reading": "the scatter of the readings",
    "session": "breath, tuner and air, common to a session",
    "geometry": "bore and caliper, common to the flute",
    "model": "the model's own error",
    "assumed": "what was assumed of the corrections before the notes",
}
_UNITS = {"times": "times the formula"}
_LEAST = 0.001  # share of the variance from which a quantity is told by itself
_TOLD = 3  # quantities that a sentence names
_FEW = 30  # degrees of freedom from which Student's t is the normal curve
_ENDS = ("lower", "upper")


def budget_table(budget: Budget) -> pd.DataFrame:
    """Return a row for each output and quantity, the largest contribution first.

    In the order of table H.1 of JCGM 100:2008: standard uncertainty of the quantity, source,
    sensitivity, contribution; and how far one sd moves the notes [cents]. Lengths in mm.
    Quantities with less than 0.1 % of the variance are put together.
    """
    frames = [_one_budget(budget, output) for output in range(len(budget.of))]
    return pd.concat(frames, ignore_index=True)


def _one_budget(budget, output):
    share = budget.share[:, output]
    lengths = np.array([unit == "m" for unit in budget.quantity_unit])
    scale = np.where(lengths, millimetres(1.0), 1.0)
    frame = pd.DataFrame(
        {
            "of": budget.of[output],
            "quantity": budget.quantity,
            "part": budget.part,
            "kind": budget.kind,
            "sd": budget.quantity_sd * scale,
            "unit": np.where(lengths, "mm", budget.quantity_unit),
            "sensitivity": budget.sensitivity[:, output] / scale,
            "cents_per_sd": budget.cents * budget.quantity_sd,
            "contribution": budget.contribution[:, output],
            "contribution_unit": budget.unit,
            "share_percent": 100 * share,
        }
    )
    small = share < _LEAST
    told = frame[~small].sort_values("share_percent", ascending=False, kind="stable")
    if not np.any(small):
        return told
    rest = pd.DataFrame(
        {
            "of": [budget.of[output]],
            "quantity": [f"{np.sum(small)} others"],
            "contribution": [np.sqrt(np.sum(budget.contribution[small, output] ** 2))],
            "contribution_unit": [budget.unit],
            "share_percent": [100 * np.sum(share[small])],
        }
    )
    return pd.concat([told, rest.reindex(columns=told.columns)], ignore_index=True).fillna(
        {"part": "", "kind": "", "unit": ""}
    )


def parts_table(budget: Budget) -> pd.DataFrame:
    """Return a row for each output: its sd, and what each part adds, in the output's unit."""
    columns = {"of": budget.of, "value": budget.value, "unit": budget.unit, "sd": budget.sd}
    columns |= {f"{part}_sd": budget.part_sd(part) for part in PARTS}
    return pd.DataFrame(columns | {"freedom": budget.freedom})


def budget_words(budget: Budget) -> list[str]:
    """Return for each output a sentence or two: how well it is known, and why no better."""
    return [_budget_words(budget, output) for output in range(len(budget.of))]


def _budget_words(budget, output):
    sd, freedom = budget.sd[output], budget.freedom[output]
    shares = {part: (budget.part_sd(part)[output] / sd) ** 2 for part in PARTS}
    told = [
        f"{100 * share:.0f} % {PART_WORDS[part]}"
        for part, share in sorted(shares.items(), key=lambda item: -item[1])
        if share > 10 * _LEAST
    ]
    order = np.argsort(-budget.share[:, output], kind="stable")[:_TOLD]
    most = [f"{budget.quantity[i]} ({100 * budget.share[i, output]:.0f} %)" for i in order]
    words = (
        f"{_output_words(budget, output)}. Of the variance, {_listed(told)}. "
        f"What adds most: {_listed(most)}."
    )
    if freedom < _FEW:
        words += (
            f" Few readings stand behind it ({freedom:.0f} effective degrees of freedom): 95 % "
            f"lies within {coverage_factor(0.95, freedom):.1f} times the ±."
        )
    return words


def _output_words(budget, output):
    """What is told of, with its +-: 'window: 1.07 ± 0.03 times the formula'."""
    name, value, sd = budget.of[output], budget.value[output], budget.sd[output]
    if budget.notes:
        return f"{name or 'the bare pipe'}: {value:.1f} Hz ± {sd:.1f} cents on another day"
    unit = _UNITS.get(budget.unit, budget.unit)
    if budget.unit == "m":
        value, sd, unit = millimetres(value), millimetres(sd), "mm"
    return f"{name.replace('_', ' ')}: {_with_spread(value, sd)} {unit}"


def _with_spread(value, sd):
    digits = _digits(sd)
    return f"{value:.{digits}f} ± {sd:.{digits}f}"


def _digits(sd):
    """Decimals that show two figures of a spread."""
    return max(0, 1 - int(np.floor(np.log10(sd))))


def _listed(words):
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def profiles_table(profiles: Profiles) -> pd.DataFrame:
    """Return a row for each unknown: value, sd, and its limits at 68 and 95 %.

    ``cut``: the limits that are the unknown's own, as the notes would let it go on.
    """
    columns = {"name": profiles.names, "value": profiles.best, "sd": profiles.sd}
    for level, share in enumerate(LEVELS):
        for side, end in enumerate(_ENDS):
            columns[f"{end}_{100 * share:.0f}"] = profiles.limits[:, level, side]
    columns["cut"] = ["; ".join(_cut_words(cut)) for cut in profiles.cut]
    return pd.DataFrame(columns)


def _cut_words(cut):
    return [
        f"{end} {100 * share:.0f} %"
        for level, share in enumerate(LEVELS)
        for side, end in enumerate(_ENDS)
        if cut[level, side]
    ]


def profiles_words(profiles: Profiles) -> list[str]:
    """Return a sentence for each unknown: where it lies two times in three, 19 in 20."""
    words = []
    for k, name in enumerate(profiles.names):
        digits = _digits(profiles.sd[k])
        (low, high), (lowest, highest) = (
            [_limit(value, digits) for value in pair] for pair in profiles.limits[k]
        )
        text = (
            f"{name.replace('_', ' ')}: {profiles.best[k]:.{digits}f}; between {low} and {high} "
            f"two times in three, between {lowest} and {highest} nineteen times in twenty."
        )
        cut = _cut_words(profiles.cut[k])
        if cut:
            text += f" It may go no farther than that ({_listed(cut)}); the notes would let it."
        words.append(text)
    return words


def _limit(value, digits):
    return f"{value:.{digits}f}" if np.isfinite(value) else "(not found)"


def bootstrap_table(result: Bootstrap, calibration: Calibration) -> pd.DataFrame:
    """Return a row for each correction and session: the fit, and the refits' spread."""
    shown = [p.is_correction or p.session is not None for p in calibration.parameters]
    columns = {
        "name": result.names,
        "value": calibration.value,
        "sd": np.sqrt(np.diag(calibration.covariance)),
        "bootstrap_mean": np.mean(result.theta, axis=0),
        "bootstrap_sd": result.sd,
    }
    for share in LEVELS:
        for end, limit in zip(_ENDS, bootstrap_limits(result, share).T, strict=True):
            columns[f"{end}_{100 * share:.0f}"] = limit
    return pd.DataFrame(columns)[shown].reset_index(drop=True)


def refits_table(result: Bootstrap) -> pd.DataFrame:
    """Return a row for each unknown: mean, sd and limits of the refits, in its own unit.

    Corrections in the unit of `flutelab.model.corrections.META`, shifts of sessions in cents,
    errors of sizes in mm. The model's error of each note is left out.
    """
    unit = [_unit_of(name) for name in result.names]
    scale = np.where(np.array(unit) == "mm", millimetres(1.0), 1.0)
    columns = {
        "unknown": result.names,
        "unit": unit,
        "mean": scale * np.mean(result.theta, axis=0),
        "sd": scale * result.sd,
    }
    for share in LEVELS:
        for end, limit in zip(_ENDS, bootstrap_limits(result, share).T, strict=True):
            columns[f"{end}_{100 * share:.0f}_percent"] = scale * limit
    told = [not name.startswith("model for ") for name in result.names]
    return pd.DataFrame(columns)[told].reset_index(drop=True)


def _unit_of(name):
    """The unit of an unknown by its name, which for one of several flutes ends in the flute's."""
    if name.partition(", ")[0] in META:
        return META[name.partition(", ")[0]]["unit"]
    return "mm" if name.startswith("caliper, ") else "cents"


def bootstrap_words(result: Bootstrap, calibration: Calibration) -> list[str]:
    """Return in sentences what was drawn, whether all was done, and what came of it."""
    words = [
        f"{result.done} refits to {result.groups} {result.by}s, drawn with replacement from those "
        f"measured (seed {result.seed})."
    ]
    if result.done < result.asked:
        words.append(f"Interrupted: {result.asked} were asked for.")
    if result.lost:
        words.append(f"{result.lost} of them lost a note on the way and do not count.")
    frame = bootstrap_table(result, calibration).set_index("name")
    told = [name for name in calibration.free if name in frame.index]
    beside = [
        f"{name.replace('_', ' ')} ± {_figures(frame.bootstrap_sd[name])} "
        f"(by the fit ± {_figures(frame.sd[name])})"
        for name in told
    ]
    return words + ([f"They scatter by: {_listed(beside)}."] if beside else [])


def _figures(sd):
    return f"{sd:.{_digits(sd)}f}"


def what_if_table(
    fingerings: Rows, cases: Sequence[Mapping[str, float]], found: Sweep
) -> pd.DataFrame:
    """Return a row for each case that was done: what was changed (SI), and each note [Hz].

    Parameters
    ----------
    fingerings : Rows
        The notes asked for.
    cases : sequence of mappings
        As given to `flutelab.fitting.what_if.what_if`.
    found : Sweep
        Of them.
    """
    names = list(dict.fromkeys(name for case in cases for name in case))
    done = cases[: len(found.results)]
    columns = {name: [case.get(name, 0.0) for case in done] for name in names}
    notes = np.reshape(np.array(found.results), (len(done), len(fingerings)))
    for note, (word, register) in enumerate(
        zip(fingerings.label, fingerings.register, strict=True)
    ):
        above = f"_register_{register}" if register > 1 else ""
        columns[f"{word or 'bare'}{above}_hz"] = notes[:, note]
    return pd.DataFrame(columns)
