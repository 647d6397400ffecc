"""Pictures of spectra, standing waves and jets: what they show is what was computed."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from made_notes import PIPE, SIX, STOPPED
from matplotlib import pyplot as plt
from matplotlib.text import Text

from flutelab import (
    End,
    admittance,
    jet_readout,
    lattice_cutoff,
    moist_air,
    rows,
    spectrum,
    standing_wave,
)
from flutelab.physics.jet import CAUTION
from flutelab.view.plots import plot_jet, plot_spectrum, plot_standing_wave

AIR = moist_air(298.0)
BOTH = rows(SIX, "xxxxxx xxxooo", air=AIR)
FREQUENCY = np.arange(50.0, 2100.0)
pytestmark = pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")


@pytest.fixture(autouse=True)
def _closed():
    yield
    plt.close("all")


def words_of(ax):
    return [text.get_text() for text in ax.texts]


def test_a_spectrum_is_the_admittance_with_its_modes():
    found = spectrum(SIX, BOTH, frequency=FREQUENCY)
    ax = plot_spectrum(found, row=1, cutoff=lattice_cutoff(SIX, BOTH))
    assert ax.lines[0].get_xdata() == pytest.approx(FREQUENCY)
    assert ax.lines[0].get_ydata() == pytest.approx(np.abs(admittance(found)[1]))
    modes = found.modes
    speaking = np.isfinite(modes.frequency[1]) & (modes.frequency[1] < 2100)
    wanted = [
        f"{f:.0f} Hz\nQ {q:.0f}"
        for f, q in zip(modes.frequency[1, speaking], modes.q[1, speaking], strict=True)
    ]
    assert words_of(ax) == wanted
    assert "xxxooo" in ax.get_title(loc="left")
    assert ax.get_xlabel() == "frequency [Hz]"
    assert ax.get_ylabel() == "admittance at the window [m³/(Pa s)]"
    said = [text.get_text() for text in ax.figure.legends[0].get_texts()]
    assert any(word.startswith("cutoff of a regular row, ") for word in said)


@pytest.mark.parametrize(("status", "marker", "hollow"), [
    ("ok", "o", False), ("near cutoff", "D", False), ("weak", "o", True),
])  # fmt: skip
def test_a_mark_a_status(status, marker, hollow):
    found = spectrum(SIX, BOTH, frequency=FREQUENCY)
    modes = replace(found.modes, status=np.full(found.modes.status.shape, status))
    ax = plot_spectrum(replace(found, modes=modes))
    marks = [line for line in ax.lines if line.get_marker() == marker]
    assert marks
    assert all((line.get_markerfacecolor() == "white") == hollow for line in marks)


def test_zeros_are_short_lines():
    found = spectrum(SIX, BOTH, frequency=FREQUENCY)
    ax = plot_spectrum(found, row=0)
    places = [segment[0][0] for segment in ax.collections[0].get_segments()]
    assert places == pytest.approx(found.zeros[0][np.isfinite(found.zeros[0])])


def test_a_wave_shows_what_leaves():
    found = standing_wave(SIX, BOTH)
    ax = plot_standing_wave(found, row=1)
    pressure, flow = ax.lines[1], ax.lines[2]
    assert pressure.get_ydata() == pytest.approx(found.pressure[1].real)
    assert np.max(np.abs(flow.get_ydata())) == pytest.approx(1.0)
    shares = [int(word.split()[0]) for word in words_of(ax) if word.endswith("%")]
    assert sum(shares) == pytest.approx(100, abs=3)
    marks = {line.get_label(): line for line in ax.lines if line.get_marker() == "o"}
    assert len(marks["closed"].get_xdata()) == 3
    assert len(marks["open"].get_xdata()) == 5
    assert marks["open"].get_markerfacecolor() == "white"
    assert f"{found.frequency[1]:.1f} Hz" in ax.get_title(loc="left")
    ends = [segment[0][0] for lines in ax.collections for segment in lines.get_segments()]
    wanted = [1e3 * found.effective_head[1], 1e3 * found.effective_end[1]]
    assert ends == pytest.approx(wanted)


def test_a_note_without_a_wave_says_why():
    found = standing_wave(SIX, BOTH, register=40)
    ax = plot_standing_wave(found)
    assert words_of(ax) == [found.reason[0]]
    assert found.reason[0]


@pytest.mark.parametrize("flute", [PIPE, STOPPED], ids=["open", "stopped"])
def test_pipes_of_any_end(flute):
    asked = rows(flute, ["x" * len(flute.holes)], air=AIR)
    assert plot_spectrum(spectrum(flute, asked)).lines
    assert plot_standing_wave(standing_wave(flute, asked)).lines


def test_a_jet_and_its_usual_range():
    found = jet_readout(SIX, BOTH, 520.0)
    ax = plot_jet(found)
    assert ax.lines[0].get_ydata() == pytest.approx(found.reduced)
    said = [text.get_text() for text in ax.figure.legends[0].get_texts()]
    assert "usual, 4 to 12" in said
    below = ax.figure.legends[0].get_title().get_text()
    assert below.replace("\n", " ") == CAUTION
    # own arithmetic: 520 Pa/9.80665 m/s2 of water of 1000 kg/m3
    assert "(53 mm of water, 30 m/s)" in ax.get_title(loc="left")


def test_words_of_close_modes_do_not_lie_on_each_other():
    found = spectrum(SIX, BOTH, frequency=FREQUENCY)
    close = np.array([[700.0, 760.0, 800.0, 1700.0]])
    modes = replace(found.modes, frequency=close, q=np.full((1, 4), 50.0),
                    status=np.full((1, 4), "ok"))  # fmt: skip
    ax = plot_spectrum(replace(found, modes=modes))
    ax.figure.canvas.draw()
    boxes = [Text.get_window_extent(words) for words in ax.texts]
    assert len(boxes) == 4
    assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))
    assert all(box.y1 < ax.get_window_extent().y1 for box in boxes)
    page, drawn = ax.figure.bbox, ax.figure.get_tightbbox().transformed(ax.figure.dpi_scale_trans)
    assert page.x0 <= drawn.x0 < drawn.x1 <= page.x1
    assert page.y0 <= drawn.y0 < drawn.y1 <= page.y1
    names = ax.figure.legends[0].get_window_extent()
    assert names.y1 <= ax.get_tightbbox().y0


@pytest.mark.parametrize("head", ["node", "stopped"])
def test_modes_are_peaks_of_what_is_drawn(head):
    pipe = replace(PIPE, head=End(position=0.0, kind=head), foot=replace(PIPE.foot, kind=head))
    found = spectrum(pipe, rows(pipe, "", air=AIR))
    ax = plot_spectrum(found)
    drawn, wanted = ax.lines[0].get_ydata(), np.abs(found.impedance[0])
    assert drawn == pytest.approx(wanted if head == "stopped" else 1 / wanted)
    assert ax.get_ylabel().startswith("impedance" if head == "stopped" else "admittance")
    marks = [line for line in ax.lines if line.get_marker() == "o"]
    assert marks
    for mark in marks:
        (frequency,), (size,) = mark.get_xdata(), mark.get_ydata()
        around = drawn[np.abs(found.frequency / frequency - 1) < 0.2]
        assert size == pytest.approx(np.max(around), rel=1e-3)


def test_a_wave_that_nothing_leaves_says_so():
    found = standing_wave(PIPE, rows(PIPE, "", air=AIR))
    closed = replace(found, outflow=np.zeros_like(found.outflow))
    assert words_of(plot_standing_wave(closed)) == ["nothing leaves: all is closed"]
    power, flow = round(100 * found.power_share[0, 0]), round(100 * found.flow_share[0, 0])
    ax = plot_standing_wave(found)
    assert words_of(ax)[0] == f"{power} %\n{flow} %"
    assert words_of(ax)[-1] == "radiated power\nflow"
    assert not ax.figure.legends[0].get_title().get_text()
    driven = replace(found, power_share=np.array([[1.03, -0.03]]))
    ax = plot_standing_wave(driven)
    assert words_of(ax)[1].startswith("-3 %")
    assert "it takes power in" in ax.figure.legends[0].get_title().get_text()


@pytest.mark.parametrize("row", [7, 2, -3])
def test_a_row_that_is_not_there_is_refused(row):
    for draw, result in (
        (plot_spectrum, spectrum(SIX, BOTH, frequency=FREQUENCY)),
        (plot_standing_wave, standing_wave(SIX, BOTH)),
    ):
        with pytest.raises(ValueError, match=f"row is {row}; write 0 to 1 .*xxxxxx, xxxooo"):
            draw(result, row=row)
        with pytest.raises(TypeError, match="not of a Rows"):
            draw(BOTH)
        assert plt.get_fignums() == []


def test_a_wave_of_an_inch_flute_is_drawn_in_inches():
    wave = standing_wave(SIX, BOTH)
    ours, theirs = (plot_standing_wave(replace(wave, unit_shown=u), row=1) for u in ("mm", "in"))
    assert ours.get_xlabel() == "place in the bore, from the sounding edge [mm]"
    assert theirs.get_xlabel() == "place in the bore, from the sounding edge [in]"
    for a, b in zip(ours.lines, theirs.lines, strict=True):
        if a.get_transform() == ours.transData:
            assert np.asarray(a.get_xdata()) == pytest.approx(25.4 * np.asarray(b.get_xdata()))
