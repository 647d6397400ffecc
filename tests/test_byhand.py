"""Rules of thumb beside the model, worked out again by hand for one flute."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import PIPE, SCALE, SIX

from flutelab import (
    AirAlong,
    Bore,
    Corrections,
    End,
    Flute,
    Hole,
    Window,
    moist_air,
    playing_frequencies,
    rows,
)
from flutelab.model.byhand import RULES, by_hand, cut_frequency, jet_readout
from flutelab.model.chain import Formulas
from flutelab.physics.air import warmer
from flutelab.physics.breath import air_at
from flutelab.physics.hole import open_length
from flutelab.physics.window import window_length
from flutelab.units import celsius

AIR = moist_air(celsius(25.0))
A, B, WALL, H = 7.9e-3, 3.5e-3, 2.8e-3, 6e-3
TWO = Flute(
    name="two", bore=Bore(stations=((0.0, 2 * A),)),
    holes=(Hole(position=0.20, diameter=2 * B, wall=WALL),
           Hole(position=0.22, diameter=2 * B, wall=WALL)),
    head=Window(along=H, across=H, wall=WALL),
    foot=End(position=0.30, outer_diameter=2 * (A + WALL)),
)  # fmt: skip
WORDS = "xx xo ox oo"


def test_every_rule_by_hand():
    found = by_hand(TWO, rows(TWO, WORDS, air=AIR))
    head = H / 2 + window_length(H, H, WALL, A)
    t = open_length(B, A, WALL, A + WALL)
    mass, half = t * (A / B) ** 2, 0.01
    beyond = half * (np.sqrt(1 + 2 * t / half * (A / B) ** 2) - 1)
    tails = {"xo": 0.08 + 0.6 * A, "ox": 0.10 + 0.6 * A, "oo": 0.10 + 0.6 * A}
    ends = {"xx": 0.30, "xo": 0.22, "ox": 0.20, "oo": 0.20}
    for n, word in enumerate(found.label):
        end, c = ends[word], AIR.sound_speed
        alone = 0.6 * A if word == "xx" else mass * tails[word] / (mass + tails[word])
        expected = {
            "straight": c / (2 * end),
            "corrected": c / (2 * (head + end + 0.6 * A)),
            "one hole": c / (2 * (head + end + alone)),
            "row": c / (2 * (head + end + beyond)) if word == "oo" else np.nan,
        }
        for name, value in expected.items():
            got = found.frequency[found.rules.index(name), n]
            assert got == pytest.approx(value, rel=1e-9, nan_ok=True), (word, name)
    assert found.rules == tuple(RULES)
    assert found.error == pytest.approx(1200 * np.log2(found.frequency / found.model), nan_ok=True)


def test_the_pipe_cut_at_the_hole_is_a_pipe_of_that_length():
    found = by_hand(TWO, rows(TWO, WORDS, air=AIR))
    cut = found.frequency[found.rules.index("cut")]
    for n, (end, kept) in enumerate(((0.30, 2), (0.22, 1), (0.20, 0), (0.20, 0))):
        pipe = replace(TWO, holes=TWO.holes[:kept], foot=replace(TWO.foot, position=end))
        assert cut[n] == pytest.approx(
            playing_frequencies(pipe, ["x" * kept], air=AIR)[0], rel=1e-12
        )


def test_the_cut_pipe_bounds_every_note():
    # the limit of a hole as wide as its bore: no open hole sounds higher
    found = by_hand(SIX, rows(SIX, SCALE, air=AIR))
    assert np.all(found.error[found.rules.index("cut")] > -1e-6)


def test_nearer_rules_are_nearer():
    found = by_hand(SIX, rows(SIX, SCALE[2:], air=AIR))
    worst = dict(zip(found.rules, np.abs(found.error).max(axis=1), strict=True))
    assert worst["row"] < worst["one hole"] < worst["corrected"] < worst["straight"]


def test_a_cross_fingering_is_beyond_the_rules():
    crossed, plain = (by_hand(SIX, rows(SIX, word, air=AIR)) for word in ("xxxoxx", "xxxooo"))
    one_hole = plain.rules.index("one hole")
    assert crossed.frequency[one_hole] == pytest.approx(plain.frequency[one_hole])
    assert crossed.model[0] < plain.model[0]


def test_a_plain_pipe_and_an_ideal_one():
    found = by_hand(PIPE, rows(PIPE, "", air=AIR))
    length, radius = PIPE.foot.position, PIPE.bore.stations[0][1] / 2
    corrected = AIR.sound_speed / (2 * (length + 2 * 0.6 * radius))
    assert found.frequency[1, 0] == pytest.approx(corrected, rel=1e-12)
    ends = {"head": End(position=0.0, kind="node"), "foot": End(position=0.3, kind="node")}
    ideal = Flute(name="ideal", bore=Bore(stations=((0.0, 0.016),)), holes=(), **ends)
    lossless = by_hand(ideal, rows(ideal, "", air=AIR), Corrections(loss=0.0))
    assert lossless.error[:4, 0] == pytest.approx(np.zeros(4), abs=1e-9)


def test_rules_take_the_windows_correction():
    row = rows(SIX, "xxxxxx", air=AIR)
    longer = by_hand(SIX, row, Corrections(window=1.2))
    assert longer.frequency[1, 0] < by_hand(SIX, row).frequency[1, 0]


def test_a_stopped_pipe_has_other_rules():
    stopped = replace(PIPE, foot=replace(PIPE.foot, kind="stopped"))
    with pytest.raises(ValueError, match="this one is stopped"):
        by_hand(stopped, rows(stopped, "", air=AIR))


# --- the jet -----------------------------------------------------------------------------


def test_the_jet_of_each_note():
    found = jet_readout(TWO, rows(TWO, "xx oo", air=AIR), [520.0, 60.0])
    speed = np.sqrt(2 * np.array([520.0, 60.0]) / AIR.density)
    assert found.speed == pytest.approx(speed, rel=1e-12)
    assert found.reduced == pytest.approx(speed / (found.frequency * H), rel=1e-12)
    assert found.usual.tolist() == [True, False]  # the second is below 4


def test_a_warm_jet_is_a_little_faster():
    warm = jet_readout(TWO, rows(TWO, "xx", air=AirAlong(room_temperature=celsius(22.0))), 520.0)
    room = jet_readout(TWO, rows(TWO, "xx", air=moist_air(celsius(22.0))), 520.0)
    assert room.speed[0] < warm.speed[0] < 1.02 * room.speed[0]
    at_window = air_at(AirAlong(room_temperature=celsius(22.0)), 0.0)
    assert warm.speed[0] == pytest.approx(np.sqrt(2 * 520.0 / at_window.density), rel=1e-12)


def test_no_window_no_jet():
    with pytest.raises(ValueError, match="'open', not a window"):
        jet_readout(PIPE, rows(PIPE, "", air=AIR), 500.0)


def test_rules_know_no_player():
    # What blowing adds is in none of them, nor in the model that they are held against.
    asked = rows(SIX, ["xxxooo"], air=AIR)
    still = by_hand(SIX, asked, Corrections(window=1.1))
    blown = by_hand(SIX, asked, Corrections(window=1.1, jet=20.0, second_register=9.0))
    assert blown.error == pytest.approx(still.error, nan_ok=True)


@pytest.mark.parametrize("kind", ["node", "flanged"])
def test_a_foot_that_is_no_plain_end_is_cut_open_at_a_hole(kind):
    special = replace(SIX, foot=replace(SIX.foot, kind=kind, outer_diameter=None))
    wall = SIX.holes[3].wall
    plain = replace(SIX, foot=replace(SIX.foot, outer_diameter=0.0152 + 2 * wall))
    whole, cut = (
        by_hand(flute, rows(flute, ["xxxxxx", "xxxooo"], air=AIR)) for flute in (special, plain)
    )
    index = whole.rules.index("cut")
    assert whole.frequency[index, 1] == pytest.approx(cut.frequency[index, 1], rel=1e-9)
    assert whole.frequency[index, 0] != pytest.approx(cut.frequency[index, 0], rel=1e-3)


def test_a_flanged_pipe_is_cut_below_its_holes_too():
    flanged = replace(SIX, foot=replace(SIX.foot, kind="flanged", outer_diameter=None))
    plain = replace(SIX, foot=replace(SIX.foot, outer_diameter=None))
    row = rows(SIX, "xxxxxx", air=AIR)
    notes = [cut_frequency(f, row, 0.28, Corrections(), Formulas()) for f in (flanged, plain)]
    assert notes[0] == pytest.approx(notes[1], rel=1e-12)


def test_rules_are_of_the_air_that_the_model_has():
    corrected = by_hand(SIX, rows(SIX, "xxxxxx xxxooo", air=AIR), Corrections(air_offset=6.0))
    warm = by_hand(SIX, rows(SIX, "xxxxxx xxxooo", air=warmer(AIR, 6.0)))
    assert corrected.error == pytest.approx(warm.error, abs=1e-9, nan_ok=True)


@pytest.mark.parametrize(("pressure", "told"), [
    ([500.0, 600.0, 700.0], r"shape \(3,\) for 2 notes; give one for all"),
    (1e6, r"is 1e\+06 Pa; allowed is 5 to 5000 Pa"), (np.nan, "is nan Pa"), (-20.0, "is -20 Pa"),
])  # fmt: skip
def test_pressures_that_are_none_of_blowing_are_refused(pressure, told):
    with pytest.raises(ValueError, match=told):
        jet_readout(TWO, rows(TWO, "xx oo", air=AIR), pressure)
