"""Budgets, profiles, bootstraps and sweeps as tables and sentences: true numbers, plain words."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from made_notes import AIR, CROSSED, SCALE, SIX, notes_of

from flutelab import Corrections, calibrate, rows
from flutelab.files.uncertainty_words import (
    bootstrap_table,
    bootstrap_words,
    budget_table,
    budget_words,
    parts_table,
    profiles_table,
    profiles_words,
    what_if_table,
)
from flutelab.fitting.budget import PARTS, budget
from flutelab.fitting.profiles import profiles
from flutelab.fitting.resampling import bootstrap
from flutelab.fitting.sweep import Sweep, sweep
from flutelab.fitting.what_if import grid, what_if
from flutelab.model.flute import Uncertainty

FLUTE = replace(SIX, uncertainty=Uncertainty(hole_diameter=1e-4, length=3e-4))
WORDS = [*SCALE, *CROSSED]


@cache
def fitted(freedom=None):
    off = np.random.default_rng(2).normal(0, 3.0, len(WORDS))
    behind = None if freedom is None else np.full(len(WORDS), freedom)
    return calibrate(notes_of(FLUTE, WORDS, Corrections(window=1.08), off=off, freedom=behind))


def test_budget_table_is_the_budget():
    told = budget(fitted(), "window")
    frame = budget_table(told)
    assert frame.share_percent.sum() == pytest.approx(100.0)
    assert np.sqrt((frame.contribution**2).sum()) == pytest.approx(told.sd[0])
    named = frame[~frame.quantity.str.endswith("others")]
    assert np.all(np.diff(named.share_percent) <= 0)
    assert (named.sd * named.sensitivity).to_numpy() == pytest.approx(named.contribution)
    length = frame[frame.quantity == "caliper, length"].iloc[0]
    assert (length.sd, length.unit) == (pytest.approx(0.3), "mm")
    readings = frame[frame.part == "reading"].iloc[0]
    assert readings.quantity == "readings of session all (12)"
    assert readings.cents_per_sd == pytest.approx(3.0)
    parts = parts_table(told).iloc[0]
    assert np.sqrt(sum(parts[f"{part}_sd"] ** 2 for part in PARTS)) == pytest.approx(parts.sd)


def test_budget_of_notes_has_a_row_for_each_note():
    told = budget(fitted(), rows(FLUTE, ["xxxxxx", "oxoxox"], air=AIR))
    frame = budget_table(told)
    for word in ("xxxxxx", "oxoxox"):
        assert frame[frame.of == word].share_percent.sum() == pytest.approx(100.0)
    first, second = budget_words(told)
    assert first.startswith(f"xxxxxx: {told.value[0]:.1f} Hz ± {told.sd[0]:.1f} cents on another")
    assert "breath and tuner of another day" in first
    assert "model for a note not fitted" not in first
    assert second.startswith("oxoxox: ")


def test_budget_words():
    told = budget(fitted(), "window")
    (words,) = budget_words(told)
    assert words.startswith(f"window: {told.value[0]:.3f} ± {told.sd[0]:.3f} times the formula. ")
    share = 100 * (told.part_sd("reading")[0] / told.sd[0]) ** 2
    assert f"{share:.0f} % the scatter of the readings" in words
    largest = int(np.argmax(told.contribution[:, 0]))
    assert f"What adds most: {told.quantity[largest]} (" in words
    assert "degrees of freedom" not in words
    (few,) = budget_words(budget(fitted(1.0), "window"))
    freedom = budget(fitted(1.0), "window").freedom[0]
    assert f"({freedom:.0f} effective degrees of freedom): 95 % lies within" in few


def test_profiles():
    found = profiles(fitted(), ["window", "pad_depth"])
    frame = profiles_table(found)
    assert list(frame.columns) == [
        "name", "value", "sd", "lower_68", "upper_68", "lower_95", "upper_95", "cut",
    ]  # fmt: skip
    assert frame.lower_95[0] == found.limits[0, 1, 0]
    window, pad = profiles_words(found)
    low, high = found.limits[0, 0]
    assert f"window: {found.best[0]:.3f}; between {low:.3f} and {high:.3f} two times" in window
    assert "no farther" not in window
    assert frame.cut.tolist() == ["", "lower 95 %"]
    assert "may go no farther than that (lower 95 %); the notes would let it" in pad
    lost = replace(found, limits=np.full_like(found.limits, np.nan))
    assert "between (not found) and (not found)" in profiles_words(lost)[0]


def test_bootstrap():
    result = fitted()
    found = bootstrap(result, 60)
    frame = bootstrap_table(found, result)
    window = frame[frame.name == "window"].iloc[0]
    index = found.names.index("window")
    assert window.bootstrap_sd == found.sd[index]
    assert window.sd == pytest.approx(result.covariance[index, index] ** 0.5)
    assert not frame.name.str.startswith("model").any()
    words = bootstrap_words(found, result)
    assert words[0].startswith("60 refits to 12 notes, drawn with replacement")
    assert len(words) == 2
    assert f"window ± {window.bootstrap_sd:.3f} (by the fit ± {window.sd:.3f})" in words[1]
    stopped = bootstrap_words(replace(found, asked=1000, lost=3), result)
    assert "Interrupted: 1000 were asked for." in stopped
    assert "3 of them lost a note on the way and do not count." in stopped


def test_what_if():
    asked = rows(FLUTE, ["xxxxxx", "xxxxxx"], air=AIR, register=[1, 2])
    cases = [*grid(temperature=[0.0, 2.0]), {"hole_1_diameter": 1e-4}]
    found = sweep(lambda case: what_if(FLUTE, asked, case), cases, workers=0)
    frame = what_if_table(asked, cases, found)
    assert list(frame.columns) == [
        "temperature", "hole_1_diameter", "xxxxxx_hz", "xxxxxx_register_2_hz",
    ]  # fmt: skip
    assert frame.temperature.tolist() == [0.0, 2.0, 0.0]
    assert frame.xxxxxx_hz[1] == found.results[1][0] > frame.xxxxxx_hz[0]
    short = what_if_table(asked, cases, Sweep(results=found.results[:1], asked=3))
    assert len(short) == 1
