"""Scatter of repeated readings and the sd of a row."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from flutelab.fitting.measurements import (
    Measurements,
    outlying_groups,
    pooled_scatter,
    reading_sd,
)
from flutelab.model.flute import Bore, End, Flute
from flutelab.model.rows import rows
from flutelab.physics.air import moist_air

NAN = np.nan


def test_half_covered_notes_are_doubted_for_the_finger():
    sd, freedom, words = reading_sd(
        np.zeros(3),
        group=["a", "b", "c"],
        session=["one"] * 3,
        register=np.ones(3),
        step=np.zeros(3),
        stated=np.array([np.nan, np.nan, 4.0]),
        half=np.array([False, True, True]),
    )
    assert sd == pytest.approx([3.0, np.hypot(3.0, 20.0), 4.0])
    assert np.all(np.isinf(freedom))
    assert any("half-covered holes: 20 cents more" in word for word in words)


def sd_of(pitch, group, *, register=1, step=0.0, stated=NAN, session=None):
    count = len(pitch)
    return reading_sd(
        np.array(pitch, dtype=float),
        group=group,
        session=session or ["all"] * count,
        register=np.broadcast_to(register, count),
        step=np.broadcast_to(step, count),
        stated=np.broadcast_to(np.asarray(stated, dtype=float), count),
    )


# Squares about the group means: 8 + 32 + 2 = 42 over 1 + 2 + 1 = 4 degrees of freedom.
PITCH = [0, 4, 100, 104, 108, 700, 702]
GROUP = ["a", "a", "b", "b", "b", "c", "c"]


def test_pooled_scatter_by_hand():
    scatter, freedom = pooled_scatter(np.array(PITCH), GROUP)
    assert freedom == 4
    assert scatter == pytest.approx(10.5**0.5, rel=1e-12)


def test_pooled_scatter_is_the_mean_square_within_groups():
    # Reference: scipy.stats.f_oneway, whose F is (mean square between) / (within).
    random = np.random.default_rng(7)
    groups = [random.normal(size=n) for n in (3, 5, 4)]
    everything = np.concatenate(groups)
    between = sum(len(g) * (g.mean() - everything.mean()) ** 2 for g in groups) / 2
    within = between / stats.f_oneway(*groups).statistic
    labels = [i for i, g in enumerate(groups) for _ in g]
    scatter, freedom = pooled_scatter(everything, labels)
    assert freedom == 9
    assert scatter**2 == pytest.approx(within, rel=1e-9)


def test_single_readings_and_rows_set_aside_tell_nothing():
    scatter, freedom = pooled_scatter(np.array([1.0, 5.0, 9.0]), ["a", None, None])
    assert freedom == 0
    assert np.isnan(scatter)


def test_a_slip_is_no_scatter():
    assert pooled_scatter(np.array([0.0, 2.0, 1201.0]), "aaa") == (pytest.approx(2**0.5), 1)
    # Of two readings a semitone or an octave apart nobody knows which is right.
    assert pooled_scatter(np.array([0.0, 100.0]), "aa")[1] == 0
    assert pooled_scatter(np.array([0.0, 1200.0]), "aa")[1] == 0


@pytest.mark.parametrize(
    ("groups", "size", "critical"),
    # Cochran's critical values at 1 %, groups of equal size: tables of ISO 5725-2 (from memory)
    [(3, 2, 0.993), (4, 2, 0.968), (6, 2, 0.883), (10, 2, 0.718), (3, 3, 0.942), (5, 3, 0.788)],
)
def test_outlying_groups_are_those_of_cochrans_table(groups, size, critical):
    # one variance has just less, just more than the critical share; the others 4 cents^2 each
    labels = np.repeat(np.arange(groups), size)
    one = np.linspace(-1, 1, size) / np.std(np.linspace(-1, 1, size), ddof=1)
    for share, outlying in ((critical - 0.002, ()), (critical + 0.002, (0,))):
        variance = np.full(groups, 4.0)
        variance[0] = 4.0 * (groups - 1) * share / (1 - share)
        pitch = np.concatenate([one * sd for sd in np.sqrt(variance)])
        assert outlying_groups(pitch, labels) == outlying


def test_a_slip_in_one_of_a_pair_does_not_hide_itself():
    random = np.random.default_rng(5)
    pitch = random.normal(0, 3.0, 20)
    group = np.repeat(np.arange(10), 2)
    clean, freedom = pooled_scatter(pitch, group)
    assert outlying_groups(pitch, group) == ()
    pitch[6] += 45.0
    assert outlying_groups(pitch, group) == (3,)
    spoiled, left = pooled_scatter(pitch, group)
    assert (freedom, left) == (10, 9)
    assert spoiled == pytest.approx(clean, rel=0.15)
    sd, behind, words = sd_of(pitch, group.tolist(), session=["mon"] * 20)
    assert sd == pytest.approx(np.full(20, spoiled))
    assert behind == pytest.approx(np.full(20, 9.0))
    assert words[1].startswith("session mon: rows 7, 8 repeat one another, but lie 4")
    assert "not out of the fit: look at them" in words[1]
    # where few are left, nothing is known of the scatter
    sd, _, words = sd_of(pitch[4:12], group[4:12].tolist())
    assert sd == pytest.approx(np.full(8, 3.0))
    assert "too few repeated readings" in words[0]
    assert "rows 3, 4 repeat" in words[1]


def test_rounding_alike_makes_no_pair_outlying():
    assert outlying_groups(np.array([0.0] * 18 + [0.0, 4.0]), np.repeat(np.arange(10), 2)) == ()


def test_good_repeats_are_seldom_outlying():
    # one in a hundred, within three standard deviations of 2,000 drawings
    random = np.random.default_rng(11)
    group = np.repeat(np.arange(8), [2, 2, 2, 3, 3, 4, 2, 2])
    lost = sum(bool(outlying_groups(random.normal(0, 3, 20), group)) for _ in range(2000))
    assert lost / 2000 == pytest.approx(0.01, abs=3 * (0.01 * 0.99 / 2000) ** 0.5)


def test_enough_repeats_give_the_sd():
    sd, _, words = sd_of(PITCH, GROUP, step=1.0)
    assert sd == pytest.approx(np.full(7, (10.5 + 1 / 12) ** 0.5), rel=1e-12)
    assert "scatter by 3.2 cents (4 degrees of freedom" in words[0]


def test_pooled_scatter_serves_all_registers_of_its_session():
    sd, *_ = sd_of(PITCH, GROUP, register=[1, 1, 1, 1, 1, 2, 2])
    assert sd == pytest.approx(np.full(7, 10.5**0.5))


def test_too_few_repeats_leave_the_assumed_values():
    sd, _, words = sd_of(PITCH[:5], GROUP[:5], register=[0, 1, 1, 2, 3])
    assert sd == pytest.approx([3, 3, 3, 10, 10])
    assert "assumed 3 cents in the first register and 10 above" in words[0]
    assert "common practice, no source" in words[0]


def test_floor():
    sd, *_ = sd_of([5.0] * 5, "aaaaa", step=1.0)
    assert sd == pytest.approx(np.full(5, 1.5))


def test_rounding_alone():
    # JCGM 100:2008 (the GUM), F.2.2.1: a resolution d gives a standard uncertainty 0.29 d.
    sd, *_ = sd_of([5.0] * 5, "aaaaa", step=10.0)
    assert sd / 10 == pytest.approx(np.full(5, 0.29), abs=0.005)


def test_freedom_behind_the_sd():
    # JCGM 100:2008, Eq. (G.2b): u^4 / (s^4/nu), the rounding's variance 1/12 known exactly.
    _, freedom, _ = sd_of(PITCH, GROUP, step=1.0)
    assert freedom == pytest.approx(np.full(7, 4 * ((10.5 + 1 / 12) / 10.5) ** 2), rel=1e-12)
    assert sd_of(PITCH, GROUP)[1] == pytest.approx(np.full(7, 4.0))
    # stated, floored or assumed: nothing is known of its own doubt
    assert sd_of(PITCH, GROUP, stated=[0.5] + [NAN] * 6)[1][:2] == pytest.approx([np.inf, 4.0])
    assert np.all(np.isinf(sd_of([5.0] * 5, "aaaaa", step=1.0)[1]))
    assert np.all(np.isinf(sd_of(PITCH[:5], GROUP[:5])[1]))


def test_stated_sd_replaces_all():
    sd, _, words = sd_of(PITCH, GROUP, stated=[0.5] + [NAN] * 6)
    assert sd[0] == 0.5
    assert sd[1] == pytest.approx(10.5**0.5)
    assert len(words) == 1
    assert sd_of(PITCH, GROUP, stated=0.5)[2] == ()


def test_sessions_do_not_share_their_scatter():
    sd, _, words = sd_of([*PITCH, 0.0], [*GROUP, "d"], session=["mon"] * 7 + ["tue"])
    assert sd[:7] == pytest.approx(np.full(7, 10.5**0.5))
    assert sd[7] == 3
    assert [w.partition(":")[0] for w in words] == ["session mon", "session tue"]


PIPE = Flute(
    name="pipe",
    bore=Bore(stations=((0.0, 0.016),)),
    holes=(),
    head=End(position=0.0),
    foot=End(position=0.4),
)


def measured(**changes):
    record = Measurements(
        flute=PIPE,
        rows=rows(PIPE, [""], air=moist_air(293.15)),
        frequency=np.array([410.0]),
        sd=np.array([3.0]),
        use=("fit",),
        session=("all",),
        remark=("",),
        apart=("",),
        place=("row 1",),
        from_room=np.array([False]),
    )
    return replace(record, **changes)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"sd": np.array([0.0])}, "every frequency and sd must be greater than 0"),
        ({"frequency": np.array([-1.0])}, "every frequency and sd must be greater than 0"),
        ({"use": ("maybe",)}, "use is 'maybe'; write fit, check or no"),
        ({"session": ()}, "session has 0 entries for 1 rows"),
        ({"humidity": np.array([0.5, 0.5])}, "humidity has 2 entries for 1 rows"),
        ({"freedom": np.array([4.0, 4.0])}, "freedom has 2 entries for 1 rows"),
        ({"freedom": np.array([0.0])}, "degrees of freedom must be greater than 0; inf where"),
    ],
)
def test_record_refuses(changes, words):
    with pytest.raises(ValueError, match=words):
        measured(**changes)


def test_record_holds():
    assert measured().humidity is None
