"""Pictures of octaves, rules of thumb and air: what they show is what was computed."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from made_notes import PIPE, SCALE, SIX, WIDE
from matplotlib import pyplot as plt
from matplotlib.colors import to_rgba

from flutelab import AirAlong, rows
from flutelab.model.byhand import by_hand
from flutelab.model.octaves import CAUSES, octaves
from flutelab.model.warmth import single_temperature_error
from flutelab.units import celsius
from flutelab.view.plots import plot_air, plot_breath, plot_by_hand, plot_octaves, plot_warmth
from flutelab.view.style import BLACK, SKY, draw_without_windows

ROOT = Path(__file__).resolve().parent.parent
AIR = AirAlong(room_temperature=celsius(20.0))
ROWS = rows(SIX, [SCALE[0], SCALE[3], SCALE[-1]], air=AIR)


@pytest.fixture(autouse=True)
def _closed():
    draw_without_windows()
    yield
    plt.close("all")


def columns_of(ax):
    return [label.get_text() for label in ax.get_xticklabels()]


def words_of(ax):
    return [text.get_text() for text in ax.texts]


def wholes_of(ax):
    return [float(line.get_ydata()[0]) for line in ax.lines if line.get_marker() in set("ov^")]


def below(ax):
    return ax.figure.legends[0].get_title().get_text().splitlines()


def test_octaves_stack_to_the_whole():
    result = octaves(SIX, ROWS)
    ax = plot_octaves(result)
    stacks = np.array([[bar.get_height() for bar in layer] for layer in ax.containers])
    assert stacks.sum(axis=0) == pytest.approx(result.stretch)
    assert wholes_of(ax) == pytest.approx(result.stretch)
    assert words_of(ax) == [
        f"{cents:+.0f}{'*' * bool(remark)}"
        for cents, remark in zip(result.stretch, result.remark, strict=True)
    ]
    assert columns_of(ax) == list(ROWS.label)
    hatches = [layer[0].get_hatch() for layer in ax.containers]
    colours = [layer[0].get_facecolor() for layer in ax.containers]
    assert len(set(zip(hatches, colours, strict=True))) == len(hatches)
    assert ax.get_ylabel().endswith("[cents]")


def test_the_twelfths_of_a_stopped_pipe_are_called_so():
    pipe = replace(PIPE, foot=replace(PIPE.foot, kind="stopped"))
    ax = plot_octaves(octaves(pipe, rows(pipe, "", air=AIR)))
    assert ax.get_title(loc="left") == "How wide the twelfths are, and why"
    assert ax.get_ylabel() == "second register over a twelfth [cents]"


@pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")
def test_a_note_without_octave_is_a_dash_and_says_why():
    result = octaves(WIDE, rows(WIDE, "", air=AIR))
    ax = plot_octaves(result)
    assert words_of(ax) == ["no octave can be told\n* bare pipe: no mode of register 2 speaks"]
    assert wholes_of(ax) == []
    ax.figure.canvas.draw()
    assert ax.get_window_extent().height > 0.5 * ax.figure.bbox.height
    assert inside(ax)


def inside(ax):
    """Whether all that is drawn is on the page."""
    page, box = ax.figure.bbox, ax.figure.get_tightbbox().transformed(ax.figure.dpi_scale_trans)
    return page.x0 <= box.x0 and page.y0 <= box.y0 and box.x1 <= page.x1 and box.y1 <= page.y1


def test_a_note_with_a_remark_is_pale_and_told():
    result = replace(octaves(SIX, ROWS), remark=("", "told", "told"))
    ax = plot_octaves(result)
    assert [word.endswith("*") for word in words_of(ax)] == [False, True, True]
    assert below(ax) == [f"* {SCALE[3]}, {SCALE[-1]}: told"]
    faces = [line.get_markerfacecolor() for line in ax.lines if line.get_marker() == "o"]
    assert faces == [BLACK, "white", "white"]
    for layer in ax.containers:
        opacity = [bar.get_alpha() for bar in layer]
        assert opacity[0] is None
        assert max(opacity[1:]) < 0.5


def test_a_very_wide_octave_does_not_squash_the_others():
    true = octaves(SIX, ROWS)
    parts = np.array(true.parts)
    parts[true.causes.index("lattice")] += [0.0, -1000.0, 1000.0]
    result = replace(true, parts=parts, stretch=true.stretch + [0.0, -1000.0, 1000.0])
    ax = plot_octaves(result)
    low, high = ax.get_ylim()
    assert -400 < low < 0 < high < 400
    # the arrow lies within the picture, near its edge
    first, bottom, top = wholes_of(ax)
    assert first == pytest.approx(true.stretch[0])
    assert low < bottom < 0.9 * low
    assert 0.9 * high < top < high
    assert [line.get_marker() for line in ax.lines[:3]] == ["o", "v", "^"]
    words = words_of(ax)
    for cents in result.stretch:
        assert any(word.startswith(f"{cents:+.0f}") for word in words)
    ax.figure.canvas.draw()
    assert inside(ax)


@pytest.mark.parametrize("flute", [PIPE, SIX], ids=["pipe", "six"])
def test_a_cause_has_one_look_in_all_pictures(flute):
    result = octaves(flute, rows(flute, ["x" * len(flute.holes)], air=AIR))
    ax = plot_octaves(result)
    (losses,) = [layer for layer in ax.containers if layer.get_label() == CAUSES["losses"]]
    assert losses[0].get_facecolor() == pytest.approx(to_rgba(SKY))
    assert losses[0].get_hatch() == ".."
    said = [text.get_text() for text in ax.figure.legends[0].get_texts()]
    assert (CAUSES["lattice"] in said) == bool(flute.holes)


def test_rules_are_told_apart_by_mark():
    result = by_hand(SIX, ROWS)
    ax = plot_by_hand(result)
    lines = ax.lines[: len(result.rules)]
    for line, error in zip(lines, result.error, strict=True):
        assert line.get_ydata() == pytest.approx(error, nan_ok=True)
    assert len({line.get_marker() for line in lines}) == len(lines)
    ax.figure.canvas.draw()
    box = ax.get_window_extent()
    for error in result.error:
        for column, cents in enumerate(error[np.isfinite(error)]):
            y = ax.transData.transform((column, cents))[1]
            assert box.y0 + 5 < y < box.y1 - 5  # half a mark
    ticks = ax.get_yticks()
    assert len(ticks) == len(set(ticks))
    assert "logarithmic beyond ±30, linear within" in ax.get_ylabel()


def test_rules_of_a_bare_pipe_speak_of_no_hole():
    result = by_hand(PIPE, rows(PIPE, "", air=AIR))
    ax = plot_by_hand(result)
    said = [text.get_text() for text in ax.figure.legends[0].get_texts()]
    assert [words.partition(":")[0] for words in said] == ["straight", "corrected"]
    assert not any("hole" in words for words in said)
    assert columns_of(ax) == ["bare pipe"]


def recorded(path):
    return pd.read_csv(path, comment="#")


def test_recordings_of_a_recorder_over_those_at_50_pa():
    table = recorded(ROOT / "data-demo" / "recorder-breath.csv")
    ax = plot_breath(table, one=41.2)
    common = next(line for line in ax.lines if "41.2 cents per doubling" in str(line.get_label()))
    assert common.get_ydata()[common.get_xdata() == 200] == pytest.approx(2 * 41.2)
    for line, (note, rows_) in zip(ax.lines, table.groupby("note", sort=False), strict=False):
        slope = rows_["cents_per_doubling"].iloc[0]
        assert line.get_label().startswith(
            f"{note}: {slope} cents per doubling, recordings scatter by "
        )
        assert line.get_xdata() == pytest.approx(rows_["pressure_pa"])
        at_50 = line.get_ydata()[list(line.get_xdata()).index(50.0)]
        assert at_50 == 0
    # own arithmetic: 1200 log2(816.9/807.5), G5 at 100 over that at 50 Pa
    assert ax.lines[2].get_ydata()[3] == pytest.approx(20.04, abs=0.01)
    # own arithmetic: 44 and 34 cents per doubling from 50 to 200 Pa
    (fan,) = ax.collections
    assert fan.get_paths()[0].vertices[:, 1].max() == pytest.approx(88)
    assert {68.0, 88.0} <= set(np.round(fan.get_paths()[0].vertices[:, 1], 6))
    assert ax.get_xlabel() == "blowing pressure [Pa]"
    assert ax.get_ylabel().endswith("[cents]")


def test_the_demo_recordings_are_the_published_ones():
    demo = recorded(ROOT / "data-demo" / "recorder-breath.csv")
    published = recorded(ROOT / "tests" / "published" / "recorder_breath.csv")
    pd.testing.assert_frame_equal(demo[published.columns], published)
    slopes = recorded(ROOT / "tests" / "published" / "recorder_slopes.csv")
    wanted = slopes.pivot_table(index="note", columns="quantity", values="value")
    found = demo.groupby("note")[["cents_per_doubling", "scatter_cents"]].agg(["min", "max"])
    for column, name in (("cents_per_doubling", "slope"), ("scatter_cents", "scatter")):
        for edge in ("min", "max"):
            assert found[column, edge].to_dict() == wanted[name].to_dict()


def test_warmth_shows_both_shortcuts():
    result = single_temperature_error(SIX, ROWS)
    ax = plot_warmth(result)
    assert ax.lines[0].get_ydata() == pytest.approx(result.halfway)
    assert ax.lines[1].get_ydata() == pytest.approx(result.room)


def test_air_is_written_at_three_places():
    ax = plot_air(AIR)
    said = [text.get_text() for text in ax.texts]
    assert said[0].startswith("29.6 °C, ")
    assert said[1].startswith("24.8 °C, ")
    assert said[2].startswith("20.0 °C, ")
    assert "3.21 % CO2" in said[0]
    # by hand: 400 ppm are 0.04 %
    assert "0.04 % CO2" in said[2]
    assert "from the window or head (0)" in ax.get_xlabel()
    assert "from the head (0)" in plot_air(AIR, head="head").get_xlabel()


def test_bars_that_are_cut_off_say_how_far_they_go():
    true = octaves(SIX, ROWS)
    parts = np.array(true.parts)
    parts[true.causes.index("lattice")] += [0.0, -1000.0, 1000.0]
    ax = plot_octaves(replace(true, parts=parts, stretch=true.stretch + [0.0, -1000.0, 1000.0]))
    layers = np.vstack([parts, true.remainder])
    down, up = (np.sum(np.clip(layers, *limits), axis=0) for limits in ((None, 0), (0, None)))
    words = "\n".join(words_of(ax))
    assert f"bar ↓ {down[1]:+.0f}" in words
    assert f"bar ↑ {up[2]:+.0f}" in words
    assert words.count("bar ") == 2
    ax.figure.canvas.draw()
    axes = ax.get_window_extent()
    marks = [line for line in ax.lines if line.get_marker() in set("v^")]
    boxes = [text.get_window_extent() for text in ax.texts if "bar" in text.get_text()]
    for line in marks:
        _, y = ax.transData.transform((line.get_xdata()[0], line.get_ydata()[0]))
        size = line.get_markersize() * ax.figure.dpi / 72 / 2
        assert axes.y0 <= y - size
        assert y + size <= axes.y1
        assert not any(box.x0 < line.get_window_extent().x0 < box.x1
                       and box.y0 < y < box.y1 for box in boxes)  # fmt: skip
    names = [text.get_text() for text in ax.figure.legends[0].get_texts()]
    assert "whole, beyond the picture" in names


def test_words_at_the_edge_leave_a_marker_near_it_free():
    true = octaves(SIX, ROWS)
    parts = np.array(true.parts)
    parts[true.causes.index("lattice")] += [0.0, -700.0, 700.0]
    near = np.array([true.stretch[0], -320.0, 320.0])
    ax = plot_octaves(replace(true, parts=parts, stretch=near))
    ax.figure.canvas.draw()
    boxes = [text.get_window_extent() for text in ax.texts if "bar" in text.get_text()]
    marks = [line for line in ax.lines if line.get_marker() == "o"]
    assert (len(boxes), len(marks)) == (2, 3)
    assert not any(line.get_window_extent().overlaps(box) for line in marks for box in boxes)


def test_octaves_are_drawn_of_octaves_only():
    with pytest.raises(TypeError, match="of a result of octaves, not of a Rows"):
        plot_octaves(ROWS)
