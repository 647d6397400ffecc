"""Pictures for a paper: as wide as asked, letters embedded and large enough, nothing cut off."""

import re
from functools import cache
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest
from made_notes import PIPE, SIX, demo, notes_of
from matplotlib import pyplot as plt
from matplotlib.text import Text

from flutelab import calibrate
from flutelab.files.archived_results import results_of
from flutelab.files.paper_text import read_me
from flutelab.view import style
from flutelab.view.plots.for_paper import PICTURES, captions, paper_figure, paper_files
from flutelab.view.plots.paper_page import SMALLEST, saved

NAMES = ("half-inch-six", "three-quarter-five", "tapered-wood-six")
CASES = {
    "one flute": lambda: calibrate(demo("half-inch-six")),
    "three flutes, own bores": lambda: calibrate(
        *map(demo, NAMES), free=("window", "foot", "bore")
    ),
    "a bare pipe": lambda: calibrate(notes_of(PIPE, [""] * 2), free=("foot",)),
    "nothing reported": lambda: calibrate(notes_of(SIX, ["xxxxxx", "oooooo"]), free=()),
}
NAMED = ("BLUE", "GREEN", "PURPLE", "VERMILION", "BLACK", "SKY", "ORANGE", "DARK", "GREY", "PALE")
PALETTE = {getattr(style, name).lower() for name in NAMED}


@cache
def results(case):
    return results_of(CASES[case](), draws=2)


@cache
def files():
    return paper_files(results("one flute"))


def shown(axis):
    """Labels of the ticks that are drawn: those within the limits."""
    low, high = sorted(axis.get_view_interval())
    return [
        tick.label1
        for tick in axis.get_major_ticks()
        if tick.label1.get_visible() and tick.label1.get_text() and low <= tick.get_loc() <= high
    ]


def hidden(page):
    """All other ticks' labels."""
    every = {
        t.label1 for ax in page.axes for a in (ax.xaxis, ax.yaxis) for t in a.get_major_ticks()
    }
    return every - {label for ax in page.axes for a in (ax.xaxis, ax.yaxis) for label in shown(a)}


def by_tag(data, tag):
    return list(ElementTree.fromstring(data).iter(f"{{http://www.w3.org/2000/svg}}{tag}"))


def far_apart(boxes, low, high):
    ordered = sorted(boxes, key=lambda box: getattr(box, low))
    return all(getattr(b, low) > getattr(a, high) - 1.0 for a, b in pairwise(ordered))


@pytest.mark.slow
@pytest.mark.parametrize("name", PICTURES)
@pytest.mark.parametrize(
    ("case", "width"),
    [*((case, 85) for case in CASES), ("one flute", 170), ("three flutes, own bores", 170)],
)
def test_letters_are_large_enough_on_the_page_and_apart(case, name, width):
    page = paper_figure(results(case), name, width)
    page.draw_without_rendering()
    whole, unseen = page.bbox.padded(1.0), hidden(page)
    for text in page.findobj(Text):
        if text.get_visible() and text.get_text().strip() and text not in unseen:
            assert text.get_fontsize() >= SMALLEST == 7.0
            box = text.get_window_extent()
            inside = [whole.contains(*corner) for corner in (box.min, box.max)]
            assert all(inside), text
    for ax in page.axes:
        assert ax.get_title(loc="left")
        for axis, ends in ((ax.xaxis, ("x0", "x1")), (ax.yaxis, ("y0", "y1"))):
            boxes = [label.get_window_extent() for label in shown(axis)]
            assert far_apart(boxes, *ends), [label.get_text() for label in shown(axis)]
    plt.close(page)


@pytest.mark.slow
def test_files_are_as_wide_as_they_say():
    assert len(files()) == 2 * 2 * len(PICTURES) + 1
    for name, data in files().items():
        if name == "captions.txt":
            continue
        width = int(re.search(r"-(\d+)mm", name)[1])
        if name.endswith("pdf"):
            box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", data)
            assert float(box[1]) / 72 * 25.4 == pytest.approx(width, abs=0.02)
        else:
            told = ElementTree.fromstring(data).get("width")
            assert told.endswith("pt")
            assert float(told[:-2]) / 72 * 25.4 == pytest.approx(width, abs=0.02)


def test_every_font_of_a_pdf_is_embedded():
    for name, data in files().items():
        if not name.endswith("pdf"):
            continue
        described = re.findall(rb"<<[^<>]*/Type /FontDescriptor[^<>]*>>", data)
        assert described, name
        assert all(b"/FontFile2 " in one for one in described)
        kinds = set(re.findall(rb"/Subtype /(Type3|Type1|Type0|TrueType|CIDFontType\d)", data))
        assert kinds <= {b"Type0", b"CIDFontType2", b"TrueType"}, name
        for key in (b"/CreationDate", b"/Producer", b"/Creator"):
            assert key not in data


def test_an_svg_asks_for_nothing_from_outside():
    for name, data in files().items():
        if not name.endswith("svg"):
            continue
        assert not by_tag(data, "text"), name
        assert not by_tag(data, "image")
        assert b"font-family" not in data
        assert not re.findall(rb"(?:href|src)=\"(?!#)", data)
        assert not re.findall(rb"url\((?!#)", data)


def test_colours_are_those_that_every_eye_tells_apart():
    for name, data in files().items():
        if name.endswith("svg") and not name.startswith("correlations"):
            used = {colour.decode() for colour in re.findall(rb"#[0-9a-f]{6}\b", data)}
            assert used <= PALETTE | {"#ffffff"}, name


def test_the_same_results_give_the_same_bytes():
    for name in ("readings", "correlations"):
        page = paper_figure(results("one flute"), name, 85)
        for ending, data in saved(page).items():
            assert files()[f"{name}-85mm.{ending}"] == data
        plt.close(page)


@pytest.mark.slow
def test_every_picture_has_a_caption():
    told = files()["captions.txt"].decode()
    assert told.startswith("Pictures of Half-inch six-hole, before tuning\n")
    for name in PICTURES:
        assert f"\n\n{name}\n" in told


@pytest.mark.slow
def test_tables_of_several_flutes_are_named_in_the_captions():
    flat = " ".join(captions(results("three flutes, own bores")).split())
    assert "Tables: A half-inch-six.csv, B three-quarter-five.csv, C tapered-wood-six.csv." in flat


def test_limits_are_told_and_drawn_at_students_t():
    r = results_of(calibrate(demo("three-quarter-five")), draws=2)
    assert np.all(r.profiles.reached > [1.0, 3.85])  # six degrees of freedom behind the readings
    page = paper_figure(r, "profiles", 85)
    for ax, reached in zip(page.axes, r.profiles.reached, strict=True):
        assert [line.get_ydata()[0] for line in ax.get_lines()[2:]] == pytest.approx(reached)
        assert ax.get_ylim()[1] > reached[-1]
    plt.close(page)
    assert "Student's t" in captions(r)
    told = read_me(r.calibration, (), None, "", {})
    assert "risen by the square of Student's t" in " ".join(told.split())


def test_what_is_drawn_is_what_was_computed():
    r = results("one flute")
    page = paper_figure(r, "profiles", 170)
    for k, ax in enumerate(page.axes):
        drawn = ax.get_lines()[1].get_xydata().T
        assert drawn[0] == pytest.approx(r.profiles.value[k])
        assert drawn[1] == pytest.approx(r.profiles.rise[k])
        level = [line.get_ydata()[0] for line in ax.get_lines()[2:]]
        assert level == pytest.approx(r.profiles.reached[k])
    plt.close(page)
    page = paper_figure(r, "budget", 85)
    widths = [bar.get_width() for bar in page.axes[0].patches]
    for n, b in enumerate(r.budgets.values()):
        assert sum(widths[5 * n : 5 * n + 5]) == pytest.approx(100.0)
        assert widths[5 * n] == pytest.approx(100 * (b.part_sd("reading")[0] / b.sd[0]) ** 2)
    plt.close(page)
    page = paper_figure(r, "readings", 85)
    part = r.calibration.tables[0]
    below = [line.get_ydata()[0] for line in page.axes[1].get_lines() if len(line.get_xdata()) == 1]
    assert sorted(below) == pytest.approx(sorted(part.residual))
    plt.close(page)
