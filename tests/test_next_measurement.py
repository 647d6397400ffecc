"""What to measure next: what is foretold is what the calibration then says, and what comes out."""

import warnings
from dataclasses import replace

import numpy as np
import pytest
from made_notes import AIR, CROSSED, PIPE, SCALE, SIX, STOPPED, demo, notes_of
from planner_study import KINDS, best_of, options_of, study, tables_with

from flutelab import AirAlong, Corrections, FitWarning, calibrate, rows
from flutelab.files.next_words import cost_words, plan_table, plan_words, sd_words, shop_scale
from flutelab.fitting.calibrate import another_day
from flutelab.fitting.candidate import Candidate, Reading
from flutelab.fitting.candidates import candidates_of
from flutelab.fitting.information import Lines, covariance, informed, spread, with_lines
from flutelab.fitting.next_measurement import next_measurement
from flutelab.fitting.unknowns import JET_SD
from flutelab.model.equivalents import equivalents
from flutelab.model.flute import Uncertainty
from flutelab.model.notes import predict_notes

CALIPERED = replace(
    SIX,
    uncertainty=Uncertainty(
        bore=1e-4, wall=1e-4, window=1e-4, hole_place=2e-4, hole_diameter=1e-4, length=5e-4
    ),
)


@pytest.fixture(scope="module")
def seven():
    measured = notes_of(SIX, SCALE)
    return measured, calibrate(measured)


@pytest.fixture(scope="module")
def calipered():
    measured = notes_of(CALIPERED, SCALE)
    return measured, calibrate(measured)


def sd_of(calibration, name):
    index = [p.name for p in calibration.parameters].index(name)
    return np.sqrt(calibration.covariance[index, index])


def names_of(plan):
    return [c.name for c in plan.candidates]


# --- what is foretold is what the calibration says once the notes are read ---------------


@pytest.mark.parametrize("of", ["window", "foot"])
@pytest.mark.parametrize("kind", [k for k in (*KINDS, "repeat", "bare pipe") if k != "caliper"])
def test_foretold_is_what_the_calibration_then_says(calipered, kind, of):
    # Reference: a whole calibration of tables that hold the new readings, at the same truth,
    # so that the corrections found are the same and only the spread changes.
    measured, calibration = calipered
    plan = next_measurement(calibration, of=of, candidates=[kind])
    candidate, foretold = best_of(plan, kind)
    tables = tables_with(measured, candidate)
    then = calibrate(*tables, **options_of(calibration, candidate, tables))
    assert then.value[:4] == pytest.approx(calibration.value[:4], abs=1e-6)
    assert foretold == pytest.approx(sd_of(then, of), rel=1e-5)


def test_the_sd_now_is_the_calibrations(seven):
    _, calibration = seven
    for of in ("window", "foot", "loss", "air_offset"):
        plan = next_measurement(calibration, of=of, candidates=["repeat"])
        assert plan.sd_now == pytest.approx(sd_of(calibration, of), rel=1e-9)
        assert plan.sd_before == pytest.approx(plan.sd_now)


def test_what_each_flute_has_for_itself_is_asked_for_of_all_or_of_one(seven):
    measured, _ = seven
    other = notes_of(replace(SIX, name="other"), SCALE[:4])
    own = ("window", "bore", "air_offset")
    both = calibrate(measured, other, own=own)
    names = [p.name for p in both.parameters]
    mine = np.flatnonzero(np.array(names) == "window")
    assert len(mine) == 2
    each = np.sqrt(np.diag(both.covariance))[mine]
    for_all = next_measurement(both)
    assert for_all.said == "the window correction of each flute"
    assert for_all.sd_now == pytest.approx(np.sqrt(np.mean(each**2)), rel=1e-9)
    for flute, sd in zip(("six", "other"), each, strict=True):
        one = next_measurement(both, of=f"window, {flute}", candidates=["repeat"])
        assert one.sd_now == pytest.approx(sd, rel=1e-9)
    # the air is each table's own by default: each has its prior
    air = next_measurement(both, of="air_offset", candidates=["repeat"])
    assert air.said == "the temperature of the air of each table"


def test_a_better_caliper_tightens_bore_and_stated_sizes(calipered):
    _, calibration = calipered
    plan = next_measurement(calibration, candidates=["caliper"])
    (candidate,) = plan.candidates
    assert candidate.name == "all sizes to 0.02 mm"
    finer = Uncertainty(**dict.fromkeys(vars(Uncertainty()), 2e-5))
    then = calibrate(notes_of(replace(SIX, uncertainty=finer), SCALE))
    assert plan.sd_left[0] == pytest.approx(sd_of(then, "window"), rel=1e-6)
    assert sum(calibration.parameters[i].name == "bore" for i in candidate.tightened) == 1
    assert len(candidate.tightened) == 1 + sum(bool(p.quantities) for p in calibration.parameters)


def test_a_caliper_as_good_as_stated_is_not_proposed():
    stated = replace(SIX, uncertainty=Uncertainty(bore=2e-5, hole_place=2e-5))
    kinds = {c.kind for c in candidates_of(calibrate(notes_of(stated, SCALE)))}
    assert "caliper" not in kinds
    assert "thermometer" in kinds


def test_widened_errors_are_foretold_widened():
    # Twelve notes that scatter 12 cents though each is said to be good to 3.
    off = 12.0 * np.resize([1.0, -1.0, -1.0, 1.0], 12)
    measured = notes_of(SIX, [*SCALE, *CROSSED], off=off)
    calibration = calibrate(measured)
    assert calibration.widened > 2
    plan = next_measurement(calibration, candidates=["repeat"])
    assert plan.sd_now == pytest.approx(sd_of(calibration, "window"), rel=1e-9)
    foretold = dict(zip(names_of(plan), plan.sd_left, strict=True))
    # the same note read again where the fit says it lies: chi2 stays, so that the next
    # fit widens by sqrt(12/13) of what this one did
    part = calibration.tables[0]
    again = notes_of(SIX, [*SCALE, *CROSSED, "xxxxxx"])
    frequency = np.append(measured.frequency, part.predicted[0])
    then = calibrate(replace(again, frequency=frequency))
    index = [p.name for p in then.parameters].index("window")
    known = then.problem.jacobian((then.value - then.problem.mean) / then.problem.unit)[:13]
    wide = replace(informed(known, calibration.widened))
    expected = np.sqrt(covariance(wide)[index, index]) * then.problem.unit[index]
    assert foretold["xxxxxx again"] == pytest.approx(expected, rel=1e-3)


def test_notes_are_foretold_at_that_very_air():
    # Reference: the calibration's spread with the day's air known exactly, model error apart.
    measured = notes_of(SIX, SCALE)
    calibration = calibrate(measured, model_sd=0.0)
    asked = rows(SIX, ["xxoxxx", "xxxxxx"], air=AIR, register=[1, 2])
    spread_then = another_day(calibration.spread, 0.0)
    sd = predict_notes(SIX, asked, calibration.corrections, spread_then).sd
    plan = next_measurement(calibration, of=asked, candidates=["repeat"])
    assert (plan.unit, plan.of) == ("cents", "")
    assert plan.sd_now == pytest.approx(np.sqrt(np.mean(sd**2)), rel=1e-6)


def test_the_models_own_error_of_a_note_falls_once_it_is_read(seven):
    # Every correction known: only the model's own 0.6 cents and readings of 3 are left.
    measured, _ = seven
    held = [name for name in vars(Corrections()) if not name.endswith("_pressure")]
    calibration = calibrate(measured, free=(), hold=held)
    asked = rows(SIX, ["xxoxxx"], air=AIR)
    reading = Reading(flute=SIX, table=0, word="xxoxxx", session="all")
    own = Candidate(name="it", kind="cross-fingering", words="read it", readings=(reading,))
    plan = next_measurement(calibration, of=asked, candidates=[own])
    assert plan.sd_now == pytest.approx(0.6)
    # by hand: the offset of the session is known from seven readings (each 3 and 0.6 cents),
    # its prior sd 5; the new reading is off by that and by 3
    session = 1 / (7 / (3**2 + 0.6**2) + 1 / 5**2)
    variance = 1 / (1 / 0.6**2 + 1 / (3**2 + session))
    assert plan.sd_left[0] == pytest.approx(np.sqrt(variance), rel=1e-6)


# --- the jet ----------------------------------------------------------------------------


def test_a_driven_reading_is_ranked_beside_an_unknown_jet(seven):
    measured, calibration = seven
    plan = next_measurement(calibration)
    driven = [any(r.driven for r in c.readings) for c in plan.candidates]
    assert np.array_equal(plan.without_jet, driven)
    assert {c.kind for c in plan.candidates if any(r.driven for r in c.readings)} == {
        "driven", "plain pipes",
    }  # fmt: skip
    assert np.all(np.diff(plan.without_jet.astype(int)) >= 0)  # last
    # Reference: the calibration told that the jet's pull is unknown.
    prior = replace(calibration.priors["jet"], sd=JET_SD)
    unknown = calibrate(measured, priors={"jet": prior})
    before = plan.sd_before[plan.without_jet]
    assert before == pytest.approx(sd_of(unknown, "window"), rel=1e-6)
    assert np.all(before > 1.2 * plan.sd_now)
    apart = next_measurement(calibration, without_jet=True)
    assert apart.sd_now == pytest.approx(before[0])
    assert np.all(apart.without_jet)
    as_fitted = next_measurement(unknown)
    assert not np.any(as_fitted.without_jet)
    assert as_fitted.sd_left == pytest.approx(apart.sd_left, rel=1e-4)
    assert names_of(as_fitted) == names_of(apart)


def test_only_a_driven_reading_tells_of_the_jet(seven):
    measured, calibration = seven
    plan = next_measurement(calibration, of="jet")
    prior = replace(calibration.priors["jet"], sd=JET_SD)
    assert plan.sd_now == pytest.approx(sd_of(calibrate(measured, priors={"jet": prior}), "jet"))
    assert plan.unit == "cents"
    assert plan.candidates[0].kind == "driven"
    # one driven and one blown reading of a note tell the jet to the offsets of their two
    # sessions and their own scatter, or better: by hand
    one = next(n for n, c in enumerate(plan.candidates) if len(c.readings) == 1)
    assert plan.candidates[one].kind == "driven"
    assert plan.sd_left[one] < np.sqrt(2 * 5**2 + 2 * 3**2)
    repeated = [c.kind == "repeat" for c in plan.candidates]
    assert np.all(plan.sd_left[repeated] > 0.95 * plan.sd_now)


def test_a_held_jet_stays_held(seven):
    measured, _ = seven
    plan = next_measurement(calibrate(measured, hold=["jet"]), without_jet=True)
    assert not np.any(plan.without_jet)
    with pytest.raises(ValueError, match="no correction 'jet'"):
        next_measurement(calibrate(measured, hold=["jet"]), of="jet")


# --- which measurements -----------------------------------------------------------------


def test_everything_is_proposed_once(seven):
    _, calibration = seven
    plan = next_measurement(calibration)
    assert {c.kind for c in plan.candidates} == {
        "repeat", "another day", "cross-fingering", "overblown", "driven", "thermometer",
        "caliper", "bare pipe", "stage", "second flute", "plain pipes",
    }  # fmt: skip
    assert len(set(names_of(plan))) == len(plan.candidates)
    kinds = [c.kind for c in plan.candidates]
    assert kinds.count("repeat") == 7
    assert kinds.count("cross-fingering") == 3
    assert kinds.count("stage") == 7  # six stages, and all with the bare pipe
    for parted in (False, True):
        assert np.all(np.diff(plan.sd_left[plan.without_jet == parted]) >= 0)
    assert np.all(plan.sd_left <= plan.sd_before * (1 + 1e-9))


def test_the_best_cross_fingerings_of_all_are_kept(seven):
    # Reference: each of the 64 fingerings asked for by itself.
    _, calibration = seven
    usual = [c for c in candidates_of(calibration) if c.kind == "cross-fingering"]
    assert len(usual) == 64 - 7
    alone = {}
    for candidate in usual:
        plan = next_measurement(calibration, candidates=[candidate])
        alone |= dict(zip(names_of(plan), plan.sd_left, strict=True))
    best = sorted(alone, key=alone.get)[:3]
    plan = next_measurement(calibration, candidates=["cross-fingering"])
    assert names_of(plan) == best
    assert plan.sd_left == pytest.approx([alone[name] for name in best])


def test_notes_that_do_not_sound_clearly_are_not_proposed(seven):
    _, calibration = seven
    told = {r.word for c in next_measurement(calibration).candidates for r in c.readings}
    asked = rows(SIX, SCALE, air=AIR, register=2)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        status = predict_notes(SIX, asked, calibration.corrections).status
    assert "ok" in status
    assert not np.all(status == "ok")
    overblown = next_measurement(calibration, candidates=["overblown"])
    every = next(c for c in overblown.candidates if len(c.readings) > 1)
    assert [r.word for r in every.readings] == [
        word for word, said in zip(SCALE, status, strict=True) if said == "ok"
    ]
    assert told <= {r.word for c in candidates_of(calibration) for r in c.readings}
    silent = rows(SIX, ["oooooo"], air=AIR, register=9)
    with pytest.raises(ValueError, match=r"oooooo does not sound clearly"):
        next_measurement(calibration, of=silent)


def test_an_undrilled_pipe_is_drilled_on():
    words = ["nnnnnn", "nnnnno", "nnnnoo"]
    plan = next_measurement(calibrate(notes_of(SIX, words), free=("window", "foot")))
    stages = {c.name: c for c in plan.candidates if c.kind == "stage"}
    assert set(stages) == {"nnnooo", "nnoooo", "nooooo", "oooooo", "after each hole"}
    assert {r.flute for c in stages.values() for r in c.readings} == {SIX}
    assert "bare pipe" not in {c.kind for c in plan.candidates}
    fingered = [c for c in plan.candidates if c.kind in ("fingering", "cross-fingering")]
    words = {r.word for c in fingered for r in c.readings}
    assert words == {"nnnnxx", "nnnnxo", "nnnnox"}
    repeats = [c.name for c in plan.candidates if c.kind == "repeat"]
    assert repeats == ["nnnnoo again"]  # what was read before the last hole is gone


def test_what_is_drilled_is_not_undrilled():
    # the bare pipe was read last into the table: holes are drilled for all that
    table = notes_of(SIX, [*SCALE, "nnnnnn"])
    plan = next_measurement(calibrate(table))
    before = [c for c in plan.candidates if c.kind in ("bare pipe", "stage")]
    assert before
    assert all(r.flute != SIX for c in before for r in c.readings)
    assert all(c.words.startswith("make another flute of this kind and read") for c in before)
    assert not any("n" in r.word for c in plan.candidates if c.here for r in c.readings)
    # and its length needs no plain pipe with the same window
    lengths = {
        c.name: [r.flute.foot.position for r in c.readings]
        for c in plan.candidates if c.kind == "plain pipes"
    }  # fmt: skip
    assert lengths["3 plain pipes (window as here)"] == pytest.approx([0.165, 0.21, 0.255])
    assert len(lengths["4 plain pipes (two open ends, tapped)"]) == 4


def test_plain_pipes_that_were_read_are_not_cut_again():
    pipes = [
        replace(PIPE, name=f"{x}", foot=replace(PIPE.foot, position=x)) for x in (0.4, 0.28, 0.22)
    ]
    plan = next_measurement(calibrate(*(notes_of(pipe, [""] * 2) for pipe in pipes)), of="foot")
    asked = {
        r.flute.foot.position for c in plan.candidates if c.kind == "plain pipes"
        for r in c.readings
    }  # fmt: skip
    assert asked
    for pipe in pipes:
        assert not any(abs(x / pipe.foot.position - 1) < 0.03 for x in asked)
    words = [c.words for c in plan.candidates if c.kind == "plain pipes"]
    assert any("read plain pipe of" in word or "read plain pipes of" in word for word in words)


def test_several_flutes_are_each_asked_about():
    long = replace(SIX, name="long", foot=replace(SIX.foot, position=0.31))
    calibration = calibrate(notes_of(SIX, SCALE), notes_of(long, SCALE[:4]))
    plan = next_measurement(calibration, candidates=["repeat", "cross-fingering", "caliper"])
    assert {"six: xxxxxx again", "long: xxxxxx again"} <= set(names_of(plan))
    kinds = [c.kind for c in plan.candidates]
    assert kinds.count("cross-fingering") == 2 * 3
    with pytest.raises(ValueError, match="'bore, six', 'bore, long'"):
        next_measurement(calibration, of="bore, wide")
    assert next_measurement(calibration, of="bore, long", candidates=["caliper"]).flute == long


def test_a_plain_pipe_asks_for_others():
    plan = next_measurement(calibrate(notes_of(PIPE, [""] * 3), free=("foot",)), of="foot")
    kinds = {c.kind for c in plan.candidates}
    assert kinds == {
        "repeat", "another day", "overblown", "thermometer", "caliper", "plain pipes",
    }  # fmt: skip
    assert plan.candidates[0].kind == "plain pipes"
    # Common practice, no source: two lengths tell the ends apart from the air's temperature.
    assert plan.sd_left[0] < 0.7 * plan.sd_now


def test_a_stopped_flute_a_reamed_one_and_air_that_changes_are_no_trouble():
    stopped = next_measurement(calibrate(notes_of(STOPPED, ["x", "o"]), free=("window",)))
    assert "second flute" in {c.kind for c in stopped.candidates}
    wood = next_measurement(calibrate(demo("tapered-wood-six")))
    assert "plain pipes" not in {c.kind for c in wood.candidates}
    rooms = AirAlong(room_temperature=np.linspace(294.0, 296.0, len(SCALE)))
    plan = next_measurement(calibrate(notes_of(SIX, SCALE, air=rooms)))
    assert {"plain pipes", "driven", "cross-fingering"} <= {c.kind for c in plan.candidates}
    assert np.all(plan.sd_left <= plan.sd_before * (1 + 1e-9))


def test_readings_on_another_day_have_an_offset_of_their_own(seven):
    measured, calibration = seven
    kinds = ["cross-fingering"]
    bench, later = (
        next_measurement(calibration, candidates=kinds, new_day=new) for new in (False, True)
    )
    assert later.sd_left[0] > bench.sd_left[0]
    candidate, foretold = best_of(later, "cross-fingering")
    then = calibrate(*tables_with(measured, candidate))
    assert foretold == pytest.approx(sd_of(then, "window"), rel=1e-5)
    assert "on another day" in candidate.words


def test_unknown_corrections_and_kinds_are_named(seven):
    _, calibration = seven
    with pytest.raises(ValueError, match=r"'windw'; it has 'window', 'foot'"):
        next_measurement(calibration, of="windw")
    with pytest.raises(ValueError, match=r"'fork'; the kinds are repeat, another day"):
        next_measurement(calibration, candidates=["fork"])


# --- together ---------------------------------------------------------------------------


def test_together_each_is_the_best_beside_those_before(seven):
    measured, calibration = seven
    plan = next_measurement(calibration)
    assert len(plan.together) == 3
    assert np.all(np.diff(plan.together_left) < 0)
    small = [
        left
        for c, left, parted in zip(plan.candidates, plan.sd_left, plan.without_jet, strict=True)
        if len(c.readings) <= 1 and c.here and not parted
    ]
    assert plan.together_left[0] == min(small)
    # Reference: the first two notes that were chosen, calibrated together.
    two = next_measurement(calibration, candidates=["cross-fingering", "repeat"])
    readings = tuple(r for c in two.together for r in c.readings)
    both = Candidate(name="all", kind="fingering", words="", readings=readings)
    then = calibrate(*tables_with(measured, both))
    assert len(readings) == 3
    assert two.together_left[2] == pytest.approx(sd_of(then, "window"), rel=1e-5)


def test_information_by_hand():
    # One unknown, prior sd 1, a reading of it good to 1/3: variance 1/(1 + 9).
    known = informed(np.array([[3.0]]), 1.0)
    assert covariance(known)[0, 0] == pytest.approx(0.1)
    # a reading that also holds an unknown of its own, as large: good to sqrt(1 + 1)
    shared = Lines(gradient=np.ones((1, 1)), more={"own": np.ones(1)}, sd=np.ones(1))
    then = with_lines(known, shared)
    assert covariance(then)[0, 0] == pytest.approx(1 / (10 + 1 / 2))
    # a foretold note that holds both, or one unheard of
    both = Lines(gradient=np.ones((1, 1)), more={"own": np.ones(1)}, sd=np.ones(1))
    assert spread(known, both) == pytest.approx(np.sqrt(0.1 + 1))
    assert spread(then, both) < spread(known, both)
    # a prior twice as sharp counts four times, and not the less for a worse one after it
    sharp = Lines(gradient=np.zeros((0, 1)), more={}, sd=np.ones(0), tightened={0: 0.5})
    dull = replace(sharp, tightened={0: 0.8})
    assert covariance(with_lines(with_lines(known, sharp), dull))[0, 0] == pytest.approx(1 / 13)


# --- what comes out ---------------------------------------------------------------------


def test_what_is_foretold_comes_out():
    # 100 truths from the priors, fitted each: the sd of an sd is 7 %.
    for found in study(["cross-fingering"], count=100):
        assert found.ratio == pytest.approx(1.0, abs=0.25)


@pytest.mark.slow
def test_what_is_foretold_comes_out_for_each_kind_of_measurement():
    for found in study(KINDS, count=200):
        print(f"{found.name}: foretold {found.foretold:.4f}, obtained/foretold {found.ratio:.2f}")
        assert found.ratio == pytest.approx(1.0, abs=0.25), found.name


# --- in words ---------------------------------------------------------------------------


def test_table_is_in_the_shops_unit(seven):
    _, calibration = seven
    plan = next_measurement(calibration)
    frame = plan_table(plan)
    scale, unit = shop_scale(plan)
    assert unit == "mm"
    window = next(e for e in equivalents(SIX, Corrections()) if e.name == "window")
    assert scale == pytest.approx(1000 * window.per_unit)
    assert list(frame["sd_left"]) == pytest.approx(list(scale * plan.sd_left))
    assert list(frame["readings"]) == [len(c.readings) for c in plan.candidates]
    assert set(frame["unit"]) == {"mm"}
    assert set(frame.loc[frame["kind"] == "driven", "window"]) == {"without the jet"}
    percent = next_measurement(calibration, of="loss", candidates=["repeat"])
    assert shop_scale(percent) == (100.0, "%")
    kelvin = next_measurement(calibration, of="air_offset", candidates=["repeat"])
    assert shop_scale(kelvin) == (1.0, "C")
    inch = calibrate(notes_of(replace(SIX, unit="in"), SCALE))
    assert shop_scale(next_measurement(inch, candidates=["repeat"])) == (
        pytest.approx(scale / 25.4),
        "in",
    )


def test_at_most_four_sentences_say_what_to_do(seven):
    _, calibration = seven
    plan = next_measurement(calibration)
    said = plan_words(plan)
    assert 2 <= len(said) <= 4
    assert all(sentence.endswith(".") for sentence in said)
    assert said[0].startswith(f"The window correction: known to {sd_words(plan, plan.sd_now)}")
    assert f"{plan.candidates[0].words} ({cost_words(plan.candidates[0])})" in said[0]
    assert "small steps together" in " ".join(said)
    assert "as played" in said[-1]
    air = plan_words(next_measurement(calibration, of="second_register"))
    assert "overblow" in air[0]


def test_nothing_that_helps_is_said_plainly(seven):
    _, calibration = seven
    plan = next_measurement(calibration, candidates=["repeat"])
    assert "no single measurement would leave much less" in plan_words(plan)[0]
    none = next_measurement(calibration, candidates=[])
    assert len(none.candidates) == 0
    assert plan_words(none)[0].endswith("no single measurement would leave much less.")
    assert len(plan_table(none)) == 0


def test_scatter_is_told_before_more_is_measured():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FitWarning)
        plan = next_measurement(calibrate(demo("half-inch-six")))
    assert plan.widened > 1
    said = plan_words(plan)
    assert len(said) <= 4
    assert said[0].startswith("Look for mistakes before you measure more")
