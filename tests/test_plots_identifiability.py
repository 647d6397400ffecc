"""Picture of what the notes tell: numbers drawn are those found, and all can be read."""

import itertools

import numpy as np
import pytest
from made_notes import SCALE, SIX, demo, notes_of
from matplotlib import pyplot as plt
from matplotlib.colors import to_rgb

from flutelab import calibrate
from flutelab.fitting.identifiability import what_data_tell
from flutelab.model.corrections import NAMES
from flutelab.view.plots.identifiability import plot_what_data_tell
from flutelab.view.style import BLUE, VERMILION, picture_files


@pytest.fixture(autouse=True)
def _closed():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def scale():
    return what_data_tell(calibrate(notes_of(SIX, SCALE)))


@pytest.fixture(scope="module")
def pipes():
    lengths = (220, 300, 380, 460)
    return what_data_tell(calibrate(*(demo(f"plain-pipe-{length}") for length in lengths)))


def bars_of(ax):
    (bars,) = ax.child_axes
    return bars


def numbers(ax):
    """The number in each cell (line, column)."""
    return {
        (round(t.get_position()[1]), round(t.get_position()[0])): t.get_text() for t in ax.texts
    }


def heard(result):
    return [i for i, name in enumerate(result.names) if name not in result.unheard]


@pytest.mark.parametrize("which", ["scale", "pipes"])
def test_cells_hold_the_correlations(which, request):
    result = request.getfixturevalue(which)
    ax, drawn = plot_what_data_tell(result), heard(result)
    found = numbers(ax)
    assert len(found) == len(drawn) * (len(drawn) + 1) // 2
    for (line, column), text in found.items():
        assert column <= line
        value = result.correlation[drawn[line], drawn[column]]
        assert float(text) == pytest.approx(value, abs=0.00501)
    shown = ax.collections[0].get_array()
    lower = np.tri(len(drawn), dtype=bool)
    assert shown[lower].data == pytest.approx(result.correlation[np.ix_(drawn, drawn)][lower])


def test_bars_are_the_doubt_left_in_the_order_of_the_lines(scale):
    ax = plot_what_data_tell(scale)
    bars = bars_of(ax)
    found = {round(bar.get_y() + bar.get_height() / 2): bar for bar in bars.patches}
    left = 100 * scale.sd_left[heard(scale)]
    assert [found[line].get_width() for line in range(len(left))] == pytest.approx(left)
    assert [text.get_text() for text in bars.texts] == [f"{value:.0f} %" for value in left]
    assert bars.get_ylim() == ax.get_ylim()
    for line, value in enumerate(left):
        # colour, and for black and white the hatch, tell seen from hardly seen
        seen = value <= 80
        assert to_rgb(found[line].get_facecolor()) == to_rgb(BLUE if seen else "white")
        assert (found[line].get_hatch() is None) == seen
        if not seen:
            assert to_rgb(found[line].get_edgecolor()) == to_rgb(VERMILION)


def test_lines_and_columns_are_named_and_reported_ones_bold(scale):
    ax = plot_what_data_tell(scale)
    names = [scale.names[i].replace("_", " ") for i in heard(scale)]
    for labels in (ax.get_xticklabels(), ax.get_yticklabels()):
        assert [label.get_text() for label in labels] == names
        bold = {label.get_text() for label in labels if label.get_fontweight() == "bold"}
        assert bold == {"window", "foot", "wall"}
    assert "no fitted note moves with: second register" in ax.get_xlabel()
    assert ax.get_title(loc="left")
    assert "[% of the sd before]" in bars_of(ax).get_xlabel()


@pytest.mark.parametrize("which", ["scale", "pipes"])
def test_all_letters_are_readable_and_apart(which, request):
    ax = plot_what_data_tell(request.getfixturevalue(which))
    ax.figure.canvas.draw()
    page = ax.figure.bbox
    for one in (ax, bars_of(ax)):
        labels = [*one.get_xticklabels(), *one.get_yticklabels(), *one.texts]
        labels += [one.xaxis.label, *(one.get_legend().get_texts() if one.get_legend() else [])]
        for label in labels:
            box = label.get_window_extent()
            assert label.get_fontsize() >= 9
            assert page.x0 <= box.x0
            assert box.x1 <= page.x1
            assert page.y0 <= box.y0
    cells = sorted((t.get_window_extent() for t in ax.texts), key=lambda b: (round(b.y0), b.x0))
    for left, right in itertools.pairwise(cells):
        assert not left.overlaps(right)


def test_axes_of_ones_own_and_nothing_to_draw():
    own = plt.figure().add_subplot()
    empty = what_data_tell(calibrate(notes_of(SIX, SCALE), free=(), hold=NAMES))
    assert plot_what_data_tell(empty, ax=own) is own
    assert [text.get_text() for text in own.texts] == ["no note tells of any correction"]


def test_same_picture_same_bytes(scale):
    files = [picture_files(plot_what_data_tell(scale).figure) for _ in range(2)]
    assert files[0] == files[1]
