"""The bootstrap draws what it says, agrees with what is known, and can be stopped."""

import io
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from made_notes import CROSSED, PIPE, SCALE, SIX, STOPPED, notes_of

from flutelab import Corrections, calibrate
from flutelab.fitting.many import Many
from flutelab.fitting.progress import text_progress
from flutelab.fitting.resampling import BLOCK, bootstrap, bootstrap_limits

TRUTH = Corrections(window=1.08, foot=1.05, wall=0.93)
WORDS = [*SCALE, *SCALE[:6], *CROSSED, "xxxxxx", "xxxooo"]
REGISTERS = [1] * 7 + [2] * 6 + [1] * 7


def noisy(sd=3.0, seed=1, **options):
    off = np.random.default_rng(seed).normal(0, sd, len(WORDS))
    return notes_of(SIX, WORDS, TRUTH, off=off, register=REGISTERS, **options)


@cache
def ready():
    result = calibrate(noisy())
    return result, Many(result.problem, result.value)


def test_a_seed_is_a_result_whatever_the_progress():
    result, many = ready()
    told = []
    first = bootstrap(result, 250, seed=5, progress=lambda *state: told.append(state), many=many)
    second = bootstrap(result, 250, seed=5)
    assert np.array_equal(first.theta, second.theta)
    assert told == [(200, 250), (250, 250)]
    other = bootstrap(result, 250, seed=6, many=many)
    assert not np.array_equal(first.theta, other.theta)
    assert first.done == first.asked == 250
    assert first.lost == 0
    assert first.theta.shape == (250, len(result.parameters))


def test_spread_of_unrelated_notes_is_that_of_the_mean():
    # By hand: one unknown, the session's offset, as good as free; G readings of different notes.
    # The bootstrap variance of their mean is sum (x - mean)^2/G^2 (Efron 1979, from memory).
    measured = notes_of(SIX, SCALE, off=np.array([3.0, -1, 4, -1, 5, -9, 2]), sd=0.5)
    held = [name for name in vars(Corrections()) if not name.endswith("_pressure")]
    result = calibrate(measured, hold=held, free=(), model_sd=0.0)
    assert [p.name for p in result.parameters] == ["session all"]
    problem = result.problem
    wide = [replace(p, prior=replace(p.prior, sd=1e4)) for p in problem.parameters]
    problem = type(problem)(problem.tables, tuple(wide), problem.start)
    found = bootstrap(replace(result, problem=problem), 4000)
    x = problem.cents(np.zeros(1))
    assert found.sd[0] == pytest.approx(np.sqrt(np.sum((x - x.mean()) ** 2)) / 7, rel=0.04)
    assert np.mean(found.theta) == pytest.approx(x.mean(), abs=0.1)


def test_a_note_drawn_twice_counts_as_two_notes():
    # By hand: one unknown, the session's offset, as good as free, and each note's own error,
    # 5 cents, beside readings of 0.5: the mean of what was drawn, each as often as it was, and not
    # less for being the same note (one error for both would make it that: 1/(0.5^2/k + 5^2)).
    measured = notes_of(SIX, SCALE, off=np.array([3.0, -1, 4, -1, 5, -9, 2]), sd=0.5)
    held = [name for name in vars(Corrections()) if not name.endswith("_pressure")]
    result = calibrate(measured, hold=held, free=(), model_sd=5.0)
    problem = result.problem
    wide = [p if p.note else replace(p, prior=replace(p.prior, sd=1e4)) for p in problem.parameters]
    problem = type(problem)(problem.tables, tuple(wide), problem.start)
    found = bootstrap(replace(result, problem=problem), 50, seed=7)
    x = problem.cents(np.zeros(len(wide)))
    drawn = np.random.default_rng(7).multinomial(7, np.full(7, 1 / 7), size=50)
    session = found.names.index("session all")
    assert found.theta[:, session] == pytest.approx(drawn @ x / 7, abs=1e-3)


def test_it_agrees_with_the_covariance_where_the_sd_of_readings_is_true():
    result, many = ready()
    found = bootstrap(result, 1000, many=many)
    shown = [p.is_correction or p.session is not None for p in result.parameters]
    sd = np.sqrt(np.diag(result.covariance))
    ratio = (found.sd / sd)[shown]
    assert np.all((ratio > 0.7) & (ratio < 1.3))
    limits = bootstrap_limits(found)
    index = found.names.index("window")
    half = 0.5 * (limits[index, 1] - limits[index, 0])
    assert half == pytest.approx(found.sd[index], rel=0.1)


def test_notes_are_drawn_with_all_their_readings(monkeypatch):
    result, many = ready()
    seen = []
    refit = many.refit

    def watched(**asked):
        seen.append(asked["weight"])
        return refit(**asked)

    monkeypatch.setattr(many, "refit", watched)
    found = bootstrap(result, 20, many=many)
    weight = seen[0]
    names = list(zip(WORDS, REGISTERS, strict=True))
    assert found.groups == len(set(names)) == 18
    for one, name in enumerate(names):
        for other in range(one):
            if names[other] == name:
                assert np.array_equal(weight[:, one], weight[:, other])
    first = [names.index(name) for name in dict.fromkeys(names)]
    assert np.all(weight[:, first].sum(axis=1) == 18)


def test_by_session():
    # Eight sessions, each with an offset of its own and hardly any noise beside.
    session = tuple("abcdefgh"[n % 8] for n in range(len(WORDS)))
    random = np.random.default_rng(3)
    offset = dict(zip("abcdefgh", random.normal(0, 5.0, 8), strict=True))
    off = np.array([offset[name] for name in session])
    measured = notes_of(SIX, WORDS, TRUTH, off=off, register=REGISTERS, session=session)
    result = calibrate(measured)
    many = Many(result.problem, result.value)
    found = bootstrap(result, 400, by="session", many=many)
    assert found.groups == 8
    assert found.by == "session"
    index = found.names.index("bore")
    assert 0.5 < found.sd[index] / np.sqrt(result.covariance[index, index]) < 1.5


def test_too_few_groups_are_refused():
    result, many = ready()
    with pytest.raises(ValueError, match=r"by session: 1 session cannot show .* at least 3 \(or"):
        bootstrap(result, by="session", many=many)
    pipes = calibrate(notes_of(PIPE, [""] * 4, register=[1, 1, 2, 2]), free=("foot",))
    with pytest.raises(ValueError, match="by note: 2 notes cannot show how they scatter"):
        bootstrap(pipes)
    with pytest.raises(ValueError, match="by is 'row'; use 'note' or 'session'"):
        bootstrap(result, by="row", many=many)
    with pytest.raises(ValueError, match="count is 1; ask for 2 refits or more"):
        bootstrap(result, 1, many=many)


def test_one_fingering_of_two_flutes_is_two_notes():
    both = calibrate(
        notes_of(STOPPED, ["x", "o"]), notes_of(replace(STOPPED, name="b"), ["x", "o"])
    )
    assert bootstrap(both, 5).groups == 4


def test_interrupted_it_keeps_what_is_done():
    result, many = ready()

    def stop_after_two(done, count):
        if done == 2 * BLOCK:
            raise KeyboardInterrupt

    found = bootstrap(result, 1000, progress=stop_after_two, many=many)
    assert (found.done, found.asked) == (400, 1000)
    whole = bootstrap(result, 1000, many=many)
    assert np.array_equal(found.theta, whole.theta[:400])


def test_interrupted_at_once_there_is_nothing_to_keep(monkeypatch):
    result, many = ready()

    def stop(**asked):
        raise KeyboardInterrupt

    monkeypatch.setattr(many, "refit", stop)
    with pytest.raises(KeyboardInterrupt):
        bootstrap(result, 1000, many=many)


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_bar_of_text():
    screen, file = Terminal(), io.StringIO()
    for stream in (screen, file):
        progress = text_progress(stream)
        progress(10, 30)
        progress(30, 30)
    assert screen.getvalue().split("\r")[1] == "[##########....................] 10 of 30"
    assert screen.getvalue().endswith("30 of 30\n")
    assert file.getvalue() == f"[{30 * '#'}] 30 of 30\n"
