"""Pictures of octaves, rules of thumb and air: what they show is what was computed."""

import numpy as np
import pytest
from made_notes import SCALE, SIX
from matplotlib import pyplot as plt

from flutelab import AirAlong, rows
from flutelab.model.byhand import by_hand
from flutelab.model.octaves import octaves
from flutelab.model.warmth import single_temperature_error
from flutelab.units import celsius
from flutelab.view.plots import plot_air, plot_by_hand, plot_octaves, plot_warmth
from flutelab.view.style import draw_without_windows

AIR = AirAlong(room_temperature=celsius(20.0))
ROWS = rows(SIX, [SCALE[0], SCALE[3], SCALE[-1]], air=AIR)


@pytest.fixture(autouse=True)
def _closed():
    draw_without_windows()
    yield
    plt.close("all")


def columns_of(ax):
    return [label.get_text() for label in ax.get_xticklabels()]


def test_octaves_stack_to_the_whole():
    result = octaves(SIX, ROWS)
    ax = plot_octaves(result)
    stacks = np.array([[bar.get_height() for bar in layer] for layer in ax.containers])
    assert stacks.sum(axis=0) == pytest.approx(result.stretch)
    whole = next(line for line in ax.lines if line.get_marker() == "o")
    assert whole.get_ydata() == pytest.approx(result.stretch)
    said = [text.get_text() for text in ax.texts]
    assert said == [f"{cents:+.0f}" for cents in result.stretch]
    assert columns_of(ax) == list(ROWS.label)
    hatches = [layer[0].get_hatch() for layer in ax.containers]
    colours = [layer[0].get_facecolor() for layer in ax.containers]
    assert len(set(zip(hatches, colours, strict=True))) == len(hatches)
    assert ax.get_ylabel().endswith("[cents]")


def test_a_note_without_octave_says_why():
    result = octaves(SIX, ROWS)
    vars(result)["reason"] = ("no mode of register 2 speaks", "", "")
    assert plot_octaves(result).texts[0].get_text() == "no mode of register 2 speaks"


def test_rules_are_told_apart_by_mark():
    result = by_hand(SIX, ROWS)
    ax = plot_by_hand(result)
    lines = ax.lines[: len(result.rules)]
    for line, error in zip(lines, result.error, strict=True):
        assert line.get_ydata() == pytest.approx(error, nan_ok=True)
    assert len({line.get_marker() for line in lines}) == len(lines)
    low, high = ax.get_ylim()
    assert low <= np.nanmin(result.error)
    assert high >= np.nanmax(result.error)


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
    assert "3.2 % CO2" in said[0]
