"""The picture of what to measure next: the bars are the plan's, and none is lost."""

import itertools

import numpy as np
import pytest
from made_notes import PIPE, SCALE, SIX, demo, notes_of
from matplotlib import pyplot as plt

from flutelab import calibrate
from flutelab.files.next_words import cost_words, idea_words, ideas, shop_scale, two_digits
from flutelab.fitting.next_measurement import next_measurement
from flutelab.view.plots.next_measurement import PER_KIND, plot_next_measurement
from flutelab.view.style import draw_without_windows


@pytest.fixture(scope="module", autouse=True)
def pictures():
    draw_without_windows()
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def plan():
    return next_measurement(calibrate(notes_of(SIX, SCALE)))


def bars(ax):
    """Length of each bar by its name."""
    labels = zip(ax.get_yticks(), ax.get_yticklabels(), strict=True)
    names = {round(tick, 6): label.get_text() for tick, label in labels}
    patches = [patch for patch in ax.patches if patch.get_width() > 0]
    return {names[round(p.get_y() + p.get_height() / 2, 6)]: p.get_width() for p in patches}


def test_each_bar_is_what_is_left(plan):
    ax = plot_next_measurement(plan)
    scale, unit = shop_scale(plan)
    left = dict(zip([c.name for c in plan.candidates], scale * plan.sd_left, strict=True))
    drawn = bars(ax)
    assert drawn == pytest.approx({name: left[name] for name in drawn})
    assert f"[{unit}]" in ax.get_xlabel()
    assert "the window correction" in ax.get_title(loc="left")
    assert max(left.values()) < ax.get_xlim()[1]


def test_the_best_of_every_kind_is_drawn_best_at_the_top(plan):
    drawn = bars(plot_next_measurement(plan))
    kinds = {}
    for candidate in plan.candidates:
        kinds.setdefault(candidate.kind, []).append(candidate.name)
    wanted = {name for names in kinds.values() for name in names[:PER_KIND]}
    assert set(drawn) == wanted
    assert list(drawn) == [c.name for c in plan.candidates if c.name in wanted]
    ax = plot_next_measurement(plan)
    low, high = ax.get_ylim()
    assert low > high  # the first line at the top


def test_costs_and_what_is_known_now_stand_beside(plan):
    ax = plot_next_measurement(plan)
    said = [text.get_text() for text in ax.texts]
    scale, _ = shop_scale(plan)
    apart = plan.sd_before[plan.without_jet][0]
    for now in (plan.sd_now, apart):
        assert f"now {two_digits(scale * now)}" in said
        assert any(np.allclose(line.get_xdata(), scale * now) for line in ax.lines)
    assert any("jet's pull unknown: the window alone" in text for text in said)
    costs = [cost_words(c) for c in plan.candidates if c.name in bars(ax)]
    assert sorted(text for text in said if text.endswith(("reading", "readings"))) == sorted(costs)
    legend = [text.get_text() for text in ax.figure.legends[0].get_texts()]
    assert len(legend) == 3


def test_one_group_where_the_jet_is_no_question(plan):
    pipe = next_measurement(calibrate(notes_of(PIPE, [""] * 3), free=("foot",)), of="foot")
    apart = next_measurement(calibrate(notes_of(SIX, SCALE)), without_jet=True)
    for one in (pipe, apart):
        ax = plot_next_measurement(one)
        assert len(ax.lines) == 1
        assert not any("jet" in text.get_text() for text in ax.texts)


def test_on_axes_of_ones_own_and_with_nothing_to_draw():
    calibration = calibrate(notes_of(SIX, SCALE))
    _, own = plt.subplots()
    assert plot_next_measurement(next_measurement(calibration), ax=own) is own
    none = next_measurement(calibration, candidates=[])
    ax = plot_next_measurement(none)
    assert not bars(ax)
    ax.figure.canvas.draw()


@pytest.fixture(scope="module")
def pooled():
    return next_measurement(calibrate(demo("half-inch-six"), demo("tapered-wood-six")))


def test_an_idea_is_drawn_once_with_the_flutes_that_it_is_for(pooled):
    every = ideas(pooled, range(len(pooled.candidates)))
    keys = [(pooled.candidates[i.number].kind, i.name, pooled.without_jet[i.number]) for i in every]
    assert len(set(keys)) == len(keys) < len(pooled.candidates)
    again = next(i for i in every if i.name == "every note again, on another day")
    assert len(again.flutes) == 2
    assert idea_words(again) == (
        f"every note again, on another day ({again.flutes[0]}, or 1 other flute)"
    )
    # the one that is told is the best of them
    same = [n for n, c in enumerate(pooled.candidates) if c.name.endswith(again.name)]
    assert again.number == min(same, key=lambda n: pooled.sd_left[n])
    assert all(not i.flutes for i in every if not pooled.candidates[i.number].readings)


def test_long_names_are_wrapped_and_stay_inside(pooled):
    ax = plot_next_measurement(pooled)
    ax.figure.canvas.draw()
    width, height = ax.figure.canvas.get_width_height()
    labels = ax.get_yticklabels()
    boxes = [label.get_window_extent() for label in labels]
    assert any("\n" in label.get_text() for label in labels)
    assert all(0 <= box.x0 < box.x1 <= width and 0 <= box.y0 < box.y1 <= height for box in boxes)
    for above, below in itertools.pairwise(sorted(boxes, key=lambda box: -box.y0)):
        assert below.y1 <= above.y0 + 1
    # at least a third of the picture is left for the bars
    assert ax.get_window_extent().width > width / 3
