"""Several flutes: what they share, how they scatter, what the next one will have."""

import re
from dataclasses import replace

import numpy as np
import pytest
from made_notes import AIR, CROSSED, SCALE, SIX, STOPPED, notes_of

from flutelab import Corrections, calibrate, predict_notes, report, rows
from flutelab.fitting.flutes import SCATTER, by_session, next_flute
from flutelab.model.corrections import NAMES as CORRECTIONS
from flutelab.model.corrections import default_priors
from flutelab.model.flute import Uncertainty

WORDS = [*SCALE, *CROSSED[:2]]
OWN = ("window", "bore", "air_offset")
NAMES = [f"flute {n}" for n in range(8)]


def flutes_of(windows, seed=0, sd=2.0, **truth):
    """Tables of flutes alike but for their windows, each with noise and a day's breath."""
    random = np.random.default_rng(seed)
    tables = []
    for name, window in zip(NAMES, windows, strict=False):
        off = random.normal(0, sd, len(WORDS)) + random.normal(0, 5.0)
        flute = replace(SIX, name=name)
        tables.append(
            notes_of(flute, WORDS, Corrections(window=window, **truth), off=off, sd=max(sd, 0.5))
        )
    return tables


def test_each_flute_has_its_own_and_tables_of_one_share_it():
    first, second = flutes_of([1.02, 1.10])
    again = flutes_of([1.02], seed=5)[0]
    result = calibrate(first, second, again, own=OWN)
    windows = [p.tables for p in result.parameters if p.name == "window"]
    air = [p.tables for p in result.parameters if p.name == "air_offset"]
    assert windows == [(0, 2), (1,)]
    assert air == [(0,), (1,), (2,)]
    assert result.tables[0].corrections.window == result.tables[2].corrections.window
    assert result.tables[1].corrections.window > result.tables[0].corrections.window


def test_flutes_alike_foretell_the_next_better_than_flutes_that_differ():
    alike = next_flute(calibrate(*flutes_of([1.06] * 5), own=OWN))
    unlike = next_flute(calibrate(*flutes_of([0.9, 1.2, 1.0, 1.14, 1.05]), own=OWN))
    index = alike.spread.names.index("window")
    sd = [np.sqrt(found.spread.covariance[index, index]) for found in (alike, unlike)]
    assert alike.flutes == unlike.flutes == 5
    assert sd[0] < 0.75 * sd[1]
    assert alike.scatter["window"][1] < 0.06 < unlike.scatter["window"][1]
    assert unlike.scatter["window"][0] < np.std([0.9, 1.2, 1.0, 1.14, 1.05], ddof=1)
    assert unlike.scatter["window"][2] > np.std([0.9, 1.2, 1.0, 1.14, 1.05], ddof=1)


def exact(tables, **truth):
    """The tables without any error of their notes, one value of each flute's own."""
    ((name, values),) = truth.items()
    tables = [replace(t, sd=np.full(len(WORDS), 1e-3), session=("s",) * len(WORDS)) for t in tables]
    return [
        replace(t, frequency=predict_notes(t.flute, t.rows, Corrections(**{name: v})).frequency)
        for t, v in zip(tables, values, strict=True)
    ]


def one_way_layout(x):
    """Mean and sd of the next value beside exact ones, all from the prior's mean in its sd."""
    # Textbook, exact values x_k: given the scatter t, mu is normal about the mean shrunk to its
    # prior, precision K/t^2 + 1, and the next is mu's variance + t^2; averaged over t with
    # the weights of the K values (normal, covariance t^2 I + 1) and a half-normal prior.
    count = len(x)
    likely, mean, variance = [], [], []
    for t in SCATTER:
        cover = t**2 * np.eye(count) + 1.0
        likely.append(np.exp(-0.5 * x @ np.linalg.solve(cover, x) - 0.5 * t**2)
                      / np.sqrt(np.linalg.det(cover)))  # fmt: skip
        precision = count / t**2 + 1.0
        mean.append(np.sum(x) / t**2 / precision)
        variance.append(1 / precision + t**2)
    weight = np.array(likely) * np.gradient(SCATTER)
    weight /= weight.sum()
    middle = weight @ mean
    return middle, np.sqrt(weight @ (np.array(variance) + (np.array(mean) - middle) ** 2))


def sd_of(found, name):
    index = found.spread.names.index(name)
    return np.sqrt(found.spread.covariance[index, index])


def test_with_exact_notes_it_is_the_one_way_layout():
    windows = np.array([1.02, 1.10, 0.97, 1.06])
    hold = [name for name in CORRECTIONS if name != "window"]
    tables = exact(flutes_of(windows, sd=0.0), window=windows)
    found = next_flute(calibrate(*tables, own=("window",), hold=hold, model_sd=0.0))
    mean, sd = one_way_layout((windows - 1.0) / 0.1)
    assert found.corrections.window == pytest.approx(1 + 0.1 * mean, abs=2e-4)
    assert sd_of(found, "window") == pytest.approx(0.1 * sd, rel=0.01)


def stating(tables, bores):
    """The tables with what each flute states of its bore [m]."""
    flutes = [replace(t.flute, uncertainty=Uncertainty(bore=b))
              for t, b in zip(tables, bores, strict=True)]  # fmt: skip
    return [replace(t, flute=flute) for t, flute in zip(tables, flutes, strict=True)]


def test_bores_stated_unlike_are_one_layout_in_the_widest_statement():
    # exact notes leave nothing to the statements but the common prior's sd, the usual 1 %
    bores = np.array([1.002, 1.009, 0.996])
    hold = [name for name in CORRECTIONS if name != "bore"]
    tables = stating(exact(flutes_of(bores, sd=0.0), bore=bores), (0.02e-3, None, 0.1e-3))
    found = next_flute(calibrate(*tables, own=("bore",), hold=hold, model_sd=0.0))
    mean, sd = one_way_layout((bores - 1.0) / 0.01)
    assert found.corrections.bore == pytest.approx(1 + 0.01 * mean, abs=2e-5)
    assert sd_of(found, "bore") == pytest.approx(0.01 * sd, rel=0.01)


def test_the_report_tells_what_each_flute_states_of_its_own_bore():
    tables = stating(flutes_of([1.02, 1.10, 0.97]), (0.02e-3, 0.06e-3, None))
    lines = report(calibrate(*tables, own=OWN)).splitlines()
    told = [line.split("+-")[1].split()[0] for line in lines if re.match(r" .bore  .*\+-", line)]
    stated = [
        sd / t.flute.bore.stations[0][1] for t, sd in zip(tables, (0.02e-3, 0.06e-3), strict=False)
    ]
    assert [float(sd) for sd in told] == pytest.approx([*stated, 0.01], rel=0.05)


@pytest.mark.slow
def test_the_less_is_stated_of_bores_the_less_is_known_of_the_next():
    tables, close = flutes_of([1.02, 1.10, 0.97]), 0.02e-3

    def known(*bores):
        return sd_of(next_flute(calibrate(*stating(tables, bores), own=OWN)), "bore")

    best = known(close, close, close)
    for other in (None, 0.06e-3):
        less = known(close, close, other), known(close, other, other), known(other, other, other)
        assert 1.1 * best < less[0] < less[1] < less[2], other


def test_each_flutes_own_jet_where_one_was_not_driven():
    first, second = flutes_of([1.02, 1.10])
    driven = replace(first, rows=replace(first.rows, driven=np.arange(len(WORDS)) < 4))
    result = calibrate(driven, second, own=("jet", *OWN))
    jets = [p for p in result.parameters if p.name == "jet"]
    assert [(p.tables, p.prior.sd) for p in jets] == [((0,), 20.0), ((1,), 20.0)]


@pytest.mark.slow
def test_the_next_flutes_notes_lie_within_their_plus_minus():
    # 30 series of four flutes, windows scattered by 0.05: the fifth's notes, two times in three
    # within one sd and 95 in 100 within two (here with wide bands: a note's errors hang together).
    within = []
    for seed in range(30):
        random = np.random.default_rng(1000 + seed)
        mean = random.normal(1.0, 0.1)
        *windows, fifth = random.normal(mean, 0.05, 5)
        known = {"foot": random.normal(1, 0.1), "wall": random.normal(1, 0.1)}
        found = next_flute(calibrate(*flutes_of(windows, seed, **known), own=OWN))
        asked = flutes_of([1.0])[0].rows
        told = predict_notes(SIX, asked, found.corrections, found.spread)
        truth = predict_notes(SIX, asked, Corrections(window=fifth, **known)).frequency
        within.append(np.abs(1200 * np.log2(truth / told.frequency)) / told.sd)
    within = np.array(within)
    assert 0.55 < np.mean(within < 1) < 0.85
    assert 0.88 < np.mean(within < 2) <= 1.0


def test_nothing_of_its_own_is_refused():
    with pytest.raises(ValueError, match="two or more flutes with own="):
        next_flute(calibrate(flutes_of([1.0])[0]))


def test_sessions_parted_have_air_of_their_own():
    session = ("cold",) * 5 + ("warm",) * 4
    measured = notes_of(SIX, WORDS, session=session)
    parts = by_session(measured)
    assert [len(part.rows) for part in parts] == [5, 4]
    assert [part.session[0] for part in parts] == ["cold", "warm"]
    assert np.concatenate([p.frequency for p in parts]) == pytest.approx(measured.frequency)
    result = calibrate(*parts)
    assert [p.tables for p in result.parameters if p.name == "air_offset"] == [(0,), (1,)]
    assert [p.table for p in result.parameters if p.name == "bore"] == [None]


def test_what_one_flute_cannot_have_for_each_session_is_refused():
    parts = by_session(notes_of(SIX, WORDS, session=("cold",) * 5 + ("warm",) * 4))
    told = r"own: 'window' belongs to a flute, and all 2 tables are of one flute.*another name"
    with pytest.raises(ValueError, match=told):
        calibrate(*parts, own=("window", "air_offset"))
    with pytest.raises(ValueError, match="the one table is of one flute"):
        calibrate(parts[0], own=("foot",))
    # what it says instead: another name makes it another flute
    changed = replace(parts[1], flute=replace(SIX, name="six, new block"))
    result = calibrate(parts[0], changed, own=("window", "air_offset"))
    assert [p.tables for p in result.parameters if p.name == "window"] == [(0,), (1,)]
    assert [p.table for p in result.parameters if p.name == "bore"] == [None]


def pipe_of(length, readings):
    flute = replace(
        STOPPED, name=f"{length}", holes=(), head=SIX.head, bore=SIX.bore,
        foot=replace(SIX.foot, position=length),
    )  # fmt: skip
    return notes_of(flute, [""] * readings, Corrections(window=1.08, foot=1.1), sd=2.0)


def test_a_length_series_of_plain_pipes_tells_more_than_one_pipe_as_often_read():
    lengths = (0.2, 0.3, 0.4, 0.5)
    free = ("window", "foot")
    series = calibrate(*(pipe_of(length, 3) for length in lengths), own=("air_offset",), free=free)
    alone = [calibrate(pipe_of(length, 12), free=free) for length in lengths]
    index = series.spread.names.index("window")
    left = [result.spread.covariance[index, index] for result in (series, *alone)]
    assert all(left[0] < 0.9 * other for other in left[1:])
    assert abs(series.corrections.window - 1.08) < abs(alone[1].corrections.window - 1.08)


def test_one_hole_enlarged_in_steps_is_rows_with_diameters():
    diameter = np.tile([h.diameter for h in SIX.holes], (6, 1))
    diameter[:, 5] = np.linspace(0.003, 0.008, 6)
    asked = rows(SIX, ["xxxxxo"] * 6, air=AIR, diameter=diameter)
    pitch = predict_notes(SIX, asked, Corrections(wall=0.9)).frequency
    steps = replace(notes_of(SIX, ["xxxxxo"] * 6), rows=asked, frequency=pitch)
    result = calibrate(steps, free=("wall",))
    assert result.rows == 6
    # each step is a note of its own to the model
    assert len([p for p in result.parameters if p.note is not None]) == 6
    assert result.corrections.wall < 1
    assert np.max(np.abs(result.tables[0].residual)) < 1.0


def test_notes_that_scatter_are_worth_as_little_as_readings_of_that_sd():
    random = np.random.default_rng(3)
    tables = []
    for table in flutes_of([1.02, 1.10, 0.97]):
        off = random.normal(0, 12.0, len(WORDS))
        tables.append(replace(table, frequency=table.frequency * 2 ** (off / 1200)))
    result = calibrate(*tables, own=OWN)
    assert result.widened > 2
    honest = calibrate(*(replace(t, sd=t.sd * result.widened) for t in tables), own=OWN)
    assert honest.widened == 1
    found, wanted = next_flute(result), next_flute(honest)
    assert found.spread.names == wanted.spread.names
    sd, wanted_sd = (np.sqrt(np.diag(f.spread.covariance)) for f in (found, wanted))
    assert sd == pytest.approx(wanted_sd, rel=0.05)
    for name, one in zip(wanted.spread.names, wanted_sd, strict=True):
        off = getattr(found.corrections, name) - getattr(wanted.corrections, name)
        assert abs(off) < 0.1 * one, name


def test_windows_at_their_limits_stay_there_for_the_next_flute():
    limits = replace(default_priors()["window"], lower=0.98, upper=1.02)
    result = calibrate(*flutes_of([1.10, 0.90, 1.10], sd=0.5), own=OWN, priors={"window": limits})
    own = [part.corrections.window for part in result.tables]
    assert own == pytest.approx([1.02, 0.98, 1.02])
    found = next_flute(result)
    assert 0.99 < found.corrections.window < 1.02
    assert found.corrections.foot == pytest.approx(result.corrections.foot, abs=0.01)
