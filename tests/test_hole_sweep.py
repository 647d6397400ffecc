"""A note against one hole's diameter: its limits, the rule worked by hand, the bands."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from flutelab import AirAlong, Corrections, End, moist_air, playing_frequencies, read_flute
from flutelab.errors import already_warned
from flutelab.model.byhand import by_hand
from flutelab.model.hole_sweep import (
    hole_sweep,
    mode_on_sweep,
    note_bands,
    plain_frequency,
    reshaped,
    rule_beyond,
    rule_frequency,
    rule_lengths,
)
from flutelab.model.modes import modes
from flutelab.model.rows import rows
from flutelab.units import celsius

DEMO = Path(__file__).resolve().parent.parent / "data-demo"
PIPE = read_flute(DEMO / "one-hole-pipe.toml")
FIVE = read_flute(DEMO / "three-quarter-five.toml")
AIR = AirAlong(room_temperature=celsius(22))
SIZES = np.array([2e-3, 4e-3, 8e-3, 12e-3])


def test_each_note_is_that_of_a_flute_with_such_a_hole():
    found = hole_sweep(PIPE, "o", SIZES, hole=1, air=AIR)
    for size, frequency in zip(SIZES, found.frequency, strict=True):
        bored = replace(PIPE, holes=(replace(PIPE.holes[0], diameter=size),))
        assert frequency == pytest.approx(playing_frequencies(bored, "o", air=AIR)[0], rel=1e-9)


def test_a_larger_hole_is_higher_from_no_hole_up_to_the_cut_pipe():
    sizes = np.array([0.1e-3, *SIZES, 15.4e-3])
    with already_warned():
        found = hole_sweep(PIPE, "o", sizes, hole=1, air=AIR)
    assert np.all(np.diff([found.no_hole, *found.frequency, found.cut]) > 0)
    assert found.frequency[0] == pytest.approx(found.no_hole, rel=1e-3)
    bare = replace(PIPE, holes=())
    assert found.no_hole == pytest.approx(playing_frequencies(bare, "", air=AIR)[0], rel=1e-8)
    still = moist_air(celsius(22))
    short = replace(bare, foot=replace(PIPE.foot, position=PIPE.holes[0].position))
    cut = hole_sweep(PIPE, "o", SIZES, hole=1, air=still).cut
    assert cut == pytest.approx(playing_frequencies(short, "", air=still)[0], rel=1e-9)


def test_the_rule_by_hand():
    still = moist_air(celsius(22))
    found = hole_sweep(PIPE, "o", np.array([8e-3]), hole=1, air=still)
    own, a, b = found.lengths, 7.7, 4.0  # mm
    hole = (2.9 + 1.5 * b) * (a / b) ** 2
    beyond = hole * (100 + 0.6 * a) / (hole + 100 + 0.6 * a)
    assert float(rule_beyond(own, 8e-3)) == pytest.approx(beyond / 1000, rel=1e-9)
    length = own.head + 0.2 + beyond / 1000
    assert found.rule[0] == pytest.approx(still.sound_speed / (2 * length), rel=1e-9)
    assert found.plain == pytest.approx(still.sound_speed / 0.4, rel=1e-9)
    assert found.error[0] == pytest.approx(1200 * np.log2(found.rule[0] / found.frequency[0]))
    assert float(rule_frequency(own, 8e-3)) == found.rule[0]


@pytest.mark.parametrize(
    ("flute", "word", "hole"), [(PIPE, "o", 1), (PIPE, "x", 1), (FIVE, "xxxoo", 4)]
)
def test_the_sweeps_rules_are_those_by_hand(flute, word, hole):
    corrections = Corrections(window=1.1, jet=7.0)
    found = hole_sweep(flute, word, SIZES[:2], hole=hole, air=AIR, corrections=corrections)
    now = rows(flute, word, air=AIR)
    hand = by_hand(flute, now, corrections)
    rules = dict(zip(hand.rules, hand.frequency[:, 0], strict=True))
    own = found.lengths
    assert found.plain == plain_frequency(own) == pytest.approx(rules["straight"], rel=1e-12)
    corrected = own.sound_speed / (2 * (own.head + own.column + own.end))
    assert corrected == pytest.approx(rules["corrected"], rel=1e-12)
    assert own == rule_lengths(flute, now, corrections)
    if word == "x":
        assert np.isnan(found.cut)
        return
    assert found.cut == pytest.approx(rules["cut"], rel=1e-12)


def test_a_hole_that_is_covered_or_not_the_first_has_no_cut_pipe():
    covered = hole_sweep(PIPE, "x", SIZES, hole=1, air=AIR)
    assert np.isnan(covered.cut)
    assert np.ptp(covered.rule) == 0
    # a larger volume under the finger lowers a note, little
    assert -5 < 1200 * np.log2(covered.frequency[-1] / covered.no_hole) < 0
    second = hole_sweep(FIVE, "xxxoo", SIZES, hole=5, air=AIR)
    first = hole_sweep(FIVE, "xxxoo", SIZES, hole=4, air=AIR)
    assert np.isnan(second.cut)
    assert first.cut > first.frequency.max()
    assert np.ptp(second.rule) == 0 < np.ptp(first.rule)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"hole": 2}, "hole is 2; this flute has 1"),
        ({"diameters": np.array([4e-3, 16e-3])}, "a diameter is 16 mm; it must lie above 0 and up"),
        ({"diameters": np.array([np.nan])}, "a diameter is nan mm"),
        ({"fingering": "oo"}, "has 2 letters but the flute has 1 holes"),
        ({"flute": replace(PIPE, foot=End(position=0.3, kind="stopped"))}, "stopped"),
    ],
)
def test_what_cannot_be_is_said(change, words):
    given = {"flute": PIPE, "fingering": "o", "diameters": SIZES, "hole": 1, "air": AIR} | change
    with pytest.raises(ValueError, match=words):
        hole_sweep(**given)


def test_bands():
    dry = moist_air(celsius(22), humidity=0.0)
    bands = note_bands(PIPE, "o", air=dry)
    kelvin = dry.temperature + np.array([-2.0, 2.0])
    ideal = 600 * np.log2(kelvin / dry.temperature)  # an ideal gas: c goes as the root of T
    lossless = note_bands(PIPE, "o", air=dry, corrections=Corrections(loss=0.0))
    assert lossless.warmth == pytest.approx(ideal, abs=1e-3)
    # warm air drags more at the walls, which slows sound a little
    assert bands.warmth == pytest.approx(ideal, abs=0.1)
    # 30 cents a doubling, 300 and 740 Pa about 520
    assert bands.breath == pytest.approx((30 * np.log2(300 / 520), 30 * np.log2(740 / 520)))
    assert bands.frequency == pytest.approx(playing_frequencies(PIPE, "o", air=dry)[0])
    along = note_bands(PIPE, "o", air=AIR)
    # breath warms the head of the bore whatever the room does
    assert 0 < along.warmth[1] < bands.warmth[1]


@pytest.mark.parametrize("word", ["ooooo", "xxxoo"])
def test_the_mode_that_a_sweep_points_to_is_the_one_found_in_full(word):
    sizes = np.linspace(2e-3, 14e-3, 12)
    sweep = hole_sweep(FIVE, word, sizes, hole=4, air=AIR)
    row = rows(FIVE, word, air=AIR)
    for size in (2.3e-3, 6.9e-3, 13.2e-3):
        bored = reshaped(FIVE, hole=4, diameter=size)
        mode, _ = mode_on_sweep(sweep, bored, row)
        assert mode.root[0, 0] == pytest.approx(modes(bored, row).root[0, 0], rel=1e-7)
    shut = hole_sweep(FIVE, "xxxxx", sizes, hole=4, air=AIR)
    assert mode_on_sweep(shut, FIVE, row)[0] is None  # it points elsewhere
