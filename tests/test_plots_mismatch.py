"""Picture of why notes do not match: a panel a cause, and what it shows is what was found."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import SCALE, SIX, changed, demo, notes_of
from matplotlib import pyplot as plt
from matplotlib.collections import LineCollection

from flutelab import Corrections
from flutelab.fitting.mismatch import why_not_matching
from flutelab.view.plots.mismatch import plot_causes
from flutelab.view.style import draw_without_windows, picture_files


@pytest.fixture(autouse=True)
def _closed():
    draw_without_windows()
    yield
    plt.close("all")


def dots(ax):
    drawn = [line.get_ydata() for line in ax.lines if line.get_marker() == "o"]
    return np.sort(np.concatenate(drawn))


def lines(ax):
    (drawn,) = [c for c in ax.collections if isinstance(c, LineCollection)]
    return np.array([segment[0, 1] for segment in drawn.get_segments()])


@pytest.fixture(scope="module")
def found():
    truth = Corrections(window=1.3)
    return why_not_matching(notes_of(SIX, SCALE, truth, off=-4.0))


def test_each_panel_shows_dots_the_usual_error_and_the_best_amount(found):
    page = plot_causes(found)
    first = page.axes[0]
    assert found.causes[0] == "window"
    assert dots(first) == pytest.approx(np.sort(found.cents))
    order = np.argsort(found.measurements.frequency)
    heights = [bar.get_height() for bar in first.patches]
    # one usual error to either side
    assert np.abs(heights) == pytest.approx(2 * np.abs(found.effect[0, order]))
    best = found.amount[0] * found.effect[0] + found.beside[0]
    assert np.sort(lines(first)) == pytest.approx(np.sort(best))
    title = first.get_title(loc="left")
    assert title.startswith("The window correction, usually ± ")
    assert "longer than the formula says" in title


def test_causes_stand_in_the_order_of_likelihood_and_unheard_ones_are_left_out(found):
    page = plot_causes(found)
    titles = [ax.get_title(loc="left") for ax in page.axes]
    assert 2 <= len(titles) <= 8
    assert not any(title.startswith("Friction") for title in titles)  # 1.5 cents
    assert any(title.startswith("The air in the bore, usually ± 1.5 C") for title in titles)
    assert any(title.startswith("Breath and tuner, usually ± 5 cents") for title in titles)


def test_notes_are_named_lowest_first_and_axes_have_units(found):
    page = plot_causes(found)
    assert [tick.get_text() for tick in page.axes[-1].get_xticklabels()] == SCALE
    assert page.axes[0].get_ylabel() == "over book [cents]"
    told = [text.get_text() for text in page.legends[0].get_texts()]
    assert "not counted" not in told
    assert len(told) == 3


def test_rows_that_do_not_count_are_hollow_and_far_ones_stand_at_the_edge():
    use = ("no", *["fit"] * 6)
    slipped = changed(notes_of(SIX, SCALE, use=use), 0, 250.0)
    page = plot_causes(why_not_matching(slipped))
    ax = page.axes[0]
    hollow = [line for line in ax.lines if line.get_markerfacecolor() == "white"]
    assert [len(line.get_ydata()) for line in hollow] == [1]
    assert [text.get_text() for text in ax.texts] == ["+250"]
    assert ax.get_ylim()[1] < 250
    told = [text.get_text() for text in page.legends[0].get_texts()]
    assert "not counted" in told


@pytest.mark.parametrize("name", ["half-inch-six", "plain-pipe-300"])
def test_words_stay_inside_the_picture(name):
    page = plot_causes(why_not_matching(demo(name)))
    page.canvas.draw()
    width, height = page.canvas.get_width_height()
    for n, ax in enumerate(page.axes):
        box = ax._left_title.get_window_extent()
        assert 0 <= box.x0 < box.x1 <= width
        assert 0 <= box.y0 < box.y1 <= height
        if n % 2 == 0 and n + 1 < len(page.axes):
            assert box.x1 < page.axes[n + 1].get_window_extent().x0
    assert set(picture_files(page)) == {"png", "svg"}


def test_a_long_name_is_wrapped():
    long = replace(SIX, name="a very long name of a flute that somebody gave it " * 3)
    page = plot_causes(why_not_matching(notes_of(long, SCALE, off=10.0)))
    assert "\n" in page.get_suptitle()


def test_each_session_has_its_own_line():
    off = np.where(np.arange(14) < 7, 9.0, -7.0)
    days = ("monday",) * 7 + ("tuesday",) * 7
    measured = replace(notes_of(SIX, SCALE * 2, Corrections(window=1.3), off=off), session=days)
    found = why_not_matching(measured)
    best = found.amount[0] * found.effect[0] + found.beside[0]
    page = plot_causes(found)
    drawn = lines(page.axes[0])
    assert np.sort(drawn) == pytest.approx(np.sort(best))
    told = [text.get_text() for text in page.legends[0].get_texts()]
    assert "what the amount above the panel does, by session" in told
    # the dots' order: monday's line on the left of its column
    (some,) = [c for c in page.axes[0].collections if isinstance(c, LineCollection)]
    lowest = [s for s in some.get_segments() if s[0, 0] < 0.5]
    assert [s[0, 0] < -0.1 for s in sorted(lowest, key=lambda s: -s[0, 1])] == [True, False]
    assert np.ptp(found.beside[0]) > 8  # the mean of both would be nobody's
