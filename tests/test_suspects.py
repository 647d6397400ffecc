"""Rows and holes that do not fit: the planted ones are named, others are not."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import CROSSED, PIPE, SCALE, SIX, STOPPED, changed, demo, demo_maker, notes_of
from suspects_study import HEAD, MISTAKES, line, outcome, study

from flutelab import Corrections, FitError, calibrate, moist_air, suspects
from flutelab.fitting.dimensions import dimensions, in_the_wrong_unit, resized
from flutelab.fitting.suspects import suspects_unfitted
from flutelab.fitting.trimmed import choose
from flutelab.model.flute import RecordError, Uncertainty

TRUTH = Corrections(window=1.08, foot=1.05, wall=0.93, pad_depth=0.4)


def noisy(seed, words=None, flute=SIX, heard=None):
    """Twenty readings, 3 cents each, that the flute `heard` gave and `flute` was written for."""
    words = words or SCALE * 2 + CROSSED + ["xxxxxx"]
    off = np.random.default_rng(seed).normal(0, 3.0, len(words))
    measured = notes_of(heard or flute, words, TRUTH, off=off)
    return replace(measured, flute=flute)


def named(calibration):
    return [(s.kind, s.table, s.index) for s in suspects(calibration)]


def drilled(hole, metres):
    holes = list(SIX.holes)
    holes[hole] = replace(holes[hole], diameter=holes[hole].diameter + metres)
    return replace(SIX, holes=tuple(holes))


def test_both_planted_mistakes_of_the_demo_are_named():
    # The committed data are seed 1; its truth stands in data-demo/truth.
    _, truth = demo_maker().make(1)
    hidden = truth["half-inch-six"]
    found = {s.kind: s for s in suspects(calibrate(demo("half-inch-six")))}
    assert set(found) == {"hole", "row"}
    assert found["hole"].index + 1 == hidden["misdrilled"]["hole"]
    off = 1000 * found["hole"].amount
    assert off == pytest.approx(hidden["misdrilled"]["diameter_off_mm"], abs=0.2)
    assert found["row"].index + 1 == hidden["slip"]["row"]
    assert found["row"].amount == pytest.approx(hidden["slip"]["cents_off"], abs=8.0)


@pytest.mark.parametrize("seed", [1, *(pytest.param(n, marks=pytest.mark.slow) for n in (2, 3))])
def test_the_demo_without_mistakes_names_no_row_and_no_hole(seed, tmp_path):
    # One good table in 13 is called flat or sharp as a whole by chance.
    files, _ = demo_maker().make(seed, mistakes=False)
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    names = ("half-inch-six", "three-quarter-five")
    found = [suspects(calibrate(demo(name, tmp_path))) for name in names]
    assert {s.kind for some in found for s in some} <= {"table"}
    assert sum(map(bool, found)) <= 1


@pytest.mark.parametrize(("row", "cents"), [(2, 30.0), (5, -30.0), (16, 45.0)])
def test_a_slip_of_the_pen_alone(row, cents):
    found = suspects(calibrate(changed(noisy(1), row, cents)))
    assert [(s.kind, s.index) for s in found] == [("row", row)]
    assert found[0].amount == pytest.approx(cents, abs=12.0)
    assert found[0].worth > 12


@pytest.mark.parametrize(("hole", "metres"), [(0, 0.6e-3), (2, -0.6e-3), (4, 0.8e-3)])
def test_a_mis_drilled_hole_alone(hole, metres):
    # Most notes cannot tell a hole that is wider from one nearer the window: both are named.
    found = suspects(calibrate(noisy(2, heard=drilled(hole, metres))))
    assert [(s.kind, s.index) for s in found] == [("hole", hole)]
    both = {s.cause: s for s in (found[0], *found[0].or_else)}
    assert both["diameter"].amount == pytest.approx(metres, abs=0.2e-3)
    assert found[0].worth - found[0].chance < both["diameter"].worth - both["diameter"].chance + 2
    assert {s.index for s in both.values()} == {hole}


def test_two_slips_and_a_hole_together():
    measured = changed(changed(noisy(3, heard=drilled(1, 0.8e-3)), 3, 40.0), 12, -40.0)
    assert set(named(calibrate(measured))) == {("hole", 0, 1), ("row", 0, 3), ("row", 0, 12)}


def test_good_notes_and_noise_free_notes_name_nothing():
    assert suspects(calibrate(noisy(4))) == ()
    assert suspects(calibrate(notes_of(SIX, SCALE, TRUTH))) == ()


@pytest.mark.slow
def test_chance_names_a_table_of_pure_noise_no_more_often_than_it_may():
    # 15 sets. A row, a hole or a whole flute: at a true rate of 1.4 % two or more come up in
    # 1.8 % of such studies; with a flat shift 8.9 %, five or more in 0.9 % (binomial).
    found = [suspects(calibrate(noisy(seed))) for seed in range(100, 115)]
    assert sum(any(s.kind != "table" for s in some) for some in found) <= 1
    assert sum(bool(some) for some in found) <= 4


def test_nothing_is_left_out_by_naming():
    result = calibrate(changed(noisy(1), 2, 30.0))
    value, kept = result.value.copy(), result.problem.tables[0].kept.copy()
    suspects(result)
    assert np.array_equal(result.value, value)
    assert np.array_equal(result.problem.tables[0].kept, kept)
    assert result.tables[0].fate[2] == "fitted"


def test_worth_is_the_fall_of_chi2_without_the_row():
    # Reference: the whole fit again with that row not used.
    measured = changed(noisy(1), 2, 30.0)
    found = suspects(calibrate(measured))
    use = ["fit"] * 20
    use[2] = "no"
    without = calibrate(replace(measured, use=tuple(use)))
    assert found[0].worth == pytest.approx(calibrate(measured).chi2 - without.chi2, rel=1e-3)
    assert found[0].amount == pytest.approx(without.tables[0].residual[2], abs=0.05)


def test_of_pooled_tables_the_right_one_is_named():
    slipped = changed(noisy(6), 7, 35.0)
    assert named(calibrate(noisy(5), slipped)) == [("row", 1, 7)]


def test_readings_that_disagree_without_holes():
    measured = notes_of(PIPE, [""] * 6, off=[0, 1, -1, 0, 40, 0], sd=3.0)
    assert named(calibrate(measured)) == [("row", 0, 4)]


def test_a_single_note_far_off_is_named():
    found = suspects(calibrate(notes_of(PIPE, [""] * 3, off=250.0)))
    assert all(s.kind == "row" for s in found)


QUICK = ("register", "diameter", "inch", "a4")  # one of each kind of search


@pytest.mark.parametrize(
    "mistake",
    [
        name if name in QUICK else pytest.param(name, marks=pytest.mark.slow)
        for name in MISTAKES
        if name != "clean"
    ],
)
def test_each_kind_of_mistake_is_named_with_its_twins(mistake):
    # One table of the study, of a seed that its figures do not count.
    told = outcome(mistake, 1100)
    assert told["beside"], told


def test_a_flat_shift_names_temperature_and_a4_both():
    high = notes_of(SIX, SCALE * 2 + CROSSED, TRUTH, off=1200 * np.log2(440 / 415))
    (found,) = suspects(calibrate(high))
    assert (found.kind, found.cause, found.value) == ("table", "a4", 415.0)
    # 1200 log2(440/415) = 101.3 cents; 20 K, the correction's limit, make 57.
    assert found.amount == pytest.approx(101.3, abs=0.1)
    (other,) = found.or_else
    assert other.cause == "temperature"
    assert other.amount == pytest.approx(20.0, abs=0.1)


def test_a_cold_room_is_named_with_its_kelvins():
    # c grows as sqrt(T): 10 K at 298.15 K are 29.3 cents, known to about 10 cents here.
    cold = notes_of(SIX, SCALE * 2 + CROSSED, air=moist_air(284.15))
    flat = replace(cold, rows=notes_of(SIX, SCALE * 2 + CROSSED).rows)
    found = {s.cause: s for one in suspects(calibrate(flat)) for s in (one, *one.or_else)}
    assert set(found) == {"temperature", "a4"}
    assert found["temperature"].amount == pytest.approx(-14.0, abs=2.5)


def test_a_row_left_out_counts_as_evidence_and_is_named():
    words = SCALE * 2 + CROSSED
    off = np.zeros(len(words))
    off[4] = -1200.0
    result = calibrate(notes_of(SIX, words, TRUTH, off=off))
    assert result.tables[0].fate[4] == "left out"
    (found,) = suspects(result)
    assert (found.kind, found.cause, found.index) == ("row", "octave", 4)
    assert found.amount == pytest.approx(-1200, abs=5)
    assert found.value == 2.0


def test_a_register_that_was_not_written_is_named():
    words = [*SCALE, *SCALE, "xxxxxx", "xxxxxo", "xxxxoo"]
    register = np.array([1] * 14 + [2] * 3)
    measured = notes_of(SIX, words, TRUTH, register=register)
    unwritten = np.where(np.arange(17) == 15, 0, register)
    rows = replace(measured.rows, register=unwritten)
    (found,) = suspects(calibrate(replace(measured, rows=rows)))
    both = {s.cause for s in (found, *found.or_else)}
    assert (found.kind, found.index) == ("row", 15)
    assert "register" in both


@pytest.mark.parametrize("stated", [Uncertainty(), Uncertainty(length=1e-3, hole_place=5e-4)])
def test_a_flute_so_wrong_that_no_row_can_be_fitted_names_its_length(stated):
    # 300 mm typed as 300 in.
    written = resized(replace(SIX, uncertainty=stated), "length to the foot", 25.4)
    measured = replace(notes_of(SIX, SCALE * 2 + CROSSED, TRUTH), flute=written)
    with pytest.raises(FitError):
        calibrate(measured)
    found = suspects_unfitted(measured)[0]
    assert (found.kind, found.cause, found.name) == ("flute", "inch", "length to the foot")
    assert found.amount == pytest.approx(1 / 25.4)


def test_one_flute_in_two_tables_has_its_hole_named_once():
    heard = drilled(2, 0.9e-3)
    found = suspects(calibrate(noisy(7, heard=heard), noisy(8, heard=heard)))
    assert [(s.kind, s.table, s.index) for s in found if s.kind == "hole"] == [("hole", 0, 2)]


def test_worth_beside_chance_ranks_the_most_telling_first():
    measured = changed(noisy(3, heard=drilled(1, 0.8e-3)), 3, 40.0)
    found = suspects(calibrate(measured))
    over = [s.worth - s.chance for s in found]
    assert over == sorted(over, reverse=True)
    assert min(over) > 0


@pytest.mark.parametrize("flute", [SIX, PIPE, STOPPED], ids=lambda flute: flute.name)
def test_every_dimension_is_what_it_says(flute):
    # Each resized by 1 % and back is the flute; none twice under one name.
    names = [d.name for d in dimensions(flute)]
    assert len(names) == len(set(names))
    for name in names:
        there = resized(flute, name, 1.001)
        back = {d.name: d.value for d in dimensions(resized(there, name, 1 / 1.001))}
        now = {d.name: d.value for d in dimensions(flute)}
        for other, value in now.items():
            assert back[other] == pytest.approx(value, rel=1e-9, abs=1e-12)


def test_a_sound_flute_has_hardly_a_dimension_in_the_wrong_unit():
    for name in ("half-inch-six", "three-quarter-five", "tapered-wood-six"):
        assert len(in_the_wrong_unit(demo(name).flute)) <= 2
    thin = resized(SIX, "hole 3 wall", 1 / 25.4)
    assert ("hole 3 wall", 25.4) in in_the_wrong_unit(thin)
    with pytest.raises(RecordError):
        resized(SIX, "hole 3 diameter", 25.4)


def test_rows_are_left_out_where_that_lowers_the_total_and_taken_back():
    # Reference: every subset of nine rows tried.
    rng = np.random.default_rng(11)
    slopes = rng.normal(0, 2.0, (9, 3))
    spread = np.eye(9) + slopes @ slopes.T
    off = rng.multivariate_normal(np.zeros(9), spread)
    off[[2, 6]] += [9.0, -7.0]
    best = min(
        _cost(off, spread, np.array([bool(n >> k & 1) for k in range(9)])) for n in range(2**9)
    )
    kept, cost = choose(off, spread, 10.0)
    assert cost == pytest.approx(best, rel=1e-9)
    assert set(np.flatnonzero(~kept)) == {2, 6}
    assert _cost(off, spread, kept) == pytest.approx(cost, rel=1e-9)


def _cost(off, spread, kept):
    left = off[kept]
    return float(left @ np.linalg.solve(spread[np.ix_(kept, kept)], left)) + 10.0 * np.sum(~kept)


@pytest.mark.slow
@pytest.mark.parametrize("mistake", MISTAKES)
def test_twenty_tables_of_each_kind(mistake):
    # The hundred of docs/studies.md are asked for by tests/suspects_study.py: 80 % named, 90 % of
    # clean tables left alone. Of twenty, one in a hundred searches as good as that falls below 12
    # and 15 (binomial).
    outcomes = study(mistake, range(20), 2)
    print(HEAD)
    print(line(mistake, outcomes))
    if mistake == "clean":
        assert sum(o["count"] == 0 for o in outcomes) >= 15
    else:
        assert sum(bool(o["first"]) for o in outcomes) >= 12


def test_a_hole_is_one_mistake_with_all_that_may_be_off():
    found = suspects(calibrate(noisy(1, heard=drilled(4, 0.6e-3))))
    first = found[0]
    assert (first.kind, first.index) == ("hole", 4)
    causes = [one.cause for one in first.of_one_hole]
    assert causes[0] == first.cause
    assert set(causes) == {"diameter", "position"}
    amount = {one.cause: one.amount for one in first.of_one_hole}
    assert amount["diameter"] == pytest.approx(0.6e-3, abs=0.2e-3)
    assert amount["position"] < 0  # wider, or nearer the window
    row = suspects(calibrate(changed(noisy(2), 4, 90.0)))[0]
    assert row.kind == "row"
    assert row.of_one_hole == ()
