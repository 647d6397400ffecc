"""Pictures of doubts show the numbers that were found."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from made_notes import AIR, CROSSED, SCALE, SIX, notes_of
from matplotlib import pyplot as plt

from flutelab import Corrections, calibrate, rows
from flutelab.fitting.budget import PARTS, budget
from flutelab.fitting.profiles import RISES, profiles
from flutelab.fitting.resampling import bootstrap
from flutelab.model.flute import Uncertainty
from flutelab.view.plots.uncertainty import plot_bootstrap, plot_budget, plot_profiles
from flutelab.view.style import draw_without_windows, picture_files


@pytest.fixture(autouse=True)
def _closed():
    draw_without_windows()
    yield
    plt.close("all")


@cache
def fitted():
    words = [*SCALE, *CROSSED]
    off = np.random.default_rng(2).normal(0, 3.0, len(words))
    flute = replace(SIX, uncertainty=Uncertainty(hole_diameter=1e-4, length=3e-4))
    return calibrate(notes_of(flute, words, Corrections(window=1.08), off=off))


def test_budget_of_a_correction():
    told = budget(fitted(), "window")
    ax = plot_budget(told)
    widths = np.array([bar.get_width() for bar in ax.patches])
    assert np.sum(widths) == pytest.approx(100.0, abs=0.05)
    assert widths[0] == pytest.approx(100 * np.max(told.share))
    names = [label.get_text() for label in ax.get_yticklabels()]
    assert names[0] == told.quantity[int(np.argmax(told.share))].replace("_", " ")
    assert names[-1] == f"{len(told.quantity) - 12} others"
    assert f"window {told.value[0]:.3f} ± {told.sd[0]:.3f} times the formula" in ax.get_title(
        "left"
    )
    assert all(picture_files(ax.figure).values())


def test_budget_of_notes():
    told = budget(fitted(), rows(SIX, ["xxxxxx", "xxxooo", "oxoxox"], air=AIR))
    ax = plot_budget(told)
    tops = np.zeros(3)
    for bar in ax.patches:
        note = round(bar.get_x() + bar.get_width() / 2)
        tops[note] = max(tops[note], bar.get_y() + bar.get_height())
    assert tops == pytest.approx(told.sd**2)
    assert len(ax.patches) == 3 * len(PARTS)
    assert f"± {told.sd[1]:.1f}" in [text.get_text() for text in ax.texts]
    one = plot_budget(budget(fitted(), rows(SIX, ["xxxooo"], air=AIR)))
    assert "xxxooo" in one.get_title("left")
    assert "Hz" in one.get_title("left")


def test_profiles():
    found = profiles(fitted(), ["window", "foot", "pad_depth"])
    ax = plot_profiles(found)
    curves = [line for line in ax.lines if len(line.get_xdata()) == found.value.shape[1]]
    for k, curve in enumerate(curves):
        assert curve.get_ydata() == pytest.approx(found.rise[k])
        assert curve.get_xdata() == pytest.approx((found.value[k] - found.best[k]) / found.sd[k])
    dots = {
        (round(x, 6), round(y, 6))
        for line in ax.lines if line.get_marker() == "o"
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    }  # fmt: skip
    upper = (found.limits[0, 1, 1] - found.best[0]) / found.sd[0]
    assert (round(upper, 6), round(RISES[1], 6)) in dots
    crosses = [line for line in ax.lines if line.get_marker() == "x" and len(line.get_xdata())]
    assert len(crosses) == np.sum(np.any(found.cut, axis=-1))
    assert {"68 %", "95 %"} <= {text.get_text() for text in ax.texts}
    few = plot_profiles(replace(found, reached=1.5 * found.reached))
    assert {"68 % of many readings", "95 % of many readings"} <= {t.get_text() for t in few.texts}
    with pytest.raises(ValueError, match="7 profiles in one picture; choose at most 6"):
        plot_profiles(replace(found, names=("window",) * 7))


def test_bootstrap():
    result = fitted()
    found = bootstrap(result, 80)
    ax = plot_bootstrap(found, result)
    assert [label.get_text() for label in ax.get_yticklabels()] == ["window", "foot", "wall"]
    dots = [line for line in ax.lines if line.get_marker() == "."]
    sd = np.sqrt(result.covariance[0, 0])
    assert dots[0].get_xdata() == pytest.approx((found.theta[:, 0] - result.value[0]) / sd)
    assert ax.get_title("left") == "Bootstrap: 80 refits to 12 drawn notes"
    stopped = plot_bootstrap(replace(found, asked=500), result)
    assert "80 of 500 asked for refits" in stopped.get_title("left")
