"""Six still pages: no answer on the first, every number the library's, black on white."""

import io
import re
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader
from test_class_papers import said
from test_paper import assert_set_well

import flutelab as fl
from flutelab.files.class_table import read_class_file
from flutelab.files.hole_guess import ANSWERS
from flutelab.files.still_facts import stills
from flutelab.making.cautions import CAUTIONS
from flutelab.model.hole_sweep import hole_sweep
from flutelab.model.notes import playing_frequencies
from flutelab.physics.breath import AirAlong
from flutelab.pitch import cents
from flutelab.units import celsius
from flutelab.view.drawing.primitives import Ellipse, Line, Polygon
from flutelab.view.paper import six_still_pages
from flutelab.view.paper.chart import Axes, curve, frame
from flutelab.view.paper.page import PAPERS
from flutelab.view.paper.stills import still_pages

DEMO = Path(__file__).resolve().parent.parent / "data-demo"
AIR = AirAlong(room_temperature=celsius(22))


@pytest.fixture(scope="module")
def found():
    return stills(DEMO)


@pytest.fixture(scope="module")
def pages(found):
    return {paper: still_pages(found, paper) for paper in PAPERS}


@pytest.fixture(scope="module")
def words(pages):
    return [said(page).replace(" ! ", " ") for page in pages["a4"]]


def numbers(text):
    return {float(word) for word in re.findall(r"(?<![\w.])\d+(?:\.\d+)?", text)}


@pytest.mark.parametrize("paper", PAPERS)
def test_six_pages_of_one_side_are_set_well(pages, paper):
    assert len(pages[paper]) == 6
    for number, page in enumerate(pages[paper], 1):
        assert (page.width, page.height) == PAPERS[paper]
        assert_set_well(page)
        assert f"page {number} of 6" in said(page)


def test_nothing_is_drawn_outside_the_paper_or_in_colour(pages):
    for paper in PAPERS:
        for page in pages[paper]:
            for item in page.items:
                for look in ("stroke", "fill", "colour"):
                    ink = getattr(item, look, None)
                    # a grey has the same amount of red, green and blue
                    assert ink is None or ink[1:3] == ink[3:5] == ink[5:7], item
                points = {Line: lambda i: (i.start, i.end), Polygon: lambda i: i.points}
                for x, y in points.get(type(item), lambda _: ())(item):
                    assert 4 <= x <= page.width - 4
                    assert 4 <= y <= page.height - 4


def test_local_rules_stand_first_and_cautions_at_their_steps(words):
    for text in words:
        assert text.index(CAUTIONS["local"]) < 60
    for number, keys in {2: ("mouth", "breath"), 5: ("mouth", "breath"), 6: ("hearing",)}.items():
        for key in keys:
            assert CAUTIONS[key] in words[number - 1]


def test_what_is_invented_is_called_so_on_every_page(words):
    for text in words:
        assert re.search("[Ii]nvented", text)


def test_the_first_page_asks_and_does_not_answer(words, found):
    first = words[0]
    assert "Predict first" in first
    assert "from 4 mm to 8 mm" in first
    for letter, (answer, _) in ANSWERS.items():
        assert f"{letter} {answer}" in first
    pipe = found.first.flute
    no_hole = playing_frequencies(pipe, "n", air=AIR)[0]
    assert f"{no_hole:.1f} Hz" in first
    before, after = (one.frequency["full"] for one in (found.first, found.second))
    answers = [before, after, cents(after, before), cents(after, no_hole), found.sweep.cut]
    answers += [cents(found.sweep.cut, no_hole), *found.table.frequency, *found.table.rule]
    shown = numbers(first)
    for answer in answers:
        assert round(float(answer), 1) not in shown
        assert round(float(answer)) not in shown


def test_the_sizes_are_the_librarys(words, found):
    page = words[1]
    pipe = fl.read_flute(DEMO / "one-hole-pipe.toml")
    sizes = np.array([0.004, 0.006, 0.008, 0.010])
    sweep = hole_sweep(pipe, "o", sizes, hole=1, air=AIR)
    for size, model, rule in zip(sizes, sweep.frequency, sweep.rule, strict=True):
        assert f"{1000 * size:.0f} mm {model:.1f} Hz" in page
        assert f"{rule:.1f} Hz" in page
        assert f"{cents(model, sweep.no_hole):.0f} cents" in page
    assert f"no hole: {sweep.no_hole:.1f} Hz" in page
    assert f"pipe cut off at the hole: {sweep.cut:.1f} Hz" in page
    # "right for one size, and wrong on either side of it"
    assert np.sum(np.diff(np.sign(found.sweep.error)) != 0) == 1
    assert np.all(found.sweep.frequency > sweep.no_hole)
    assert np.all(found.sweep.frequency < sweep.cut)


def test_the_waves_say_what_leaves_where(words, found):
    page = words[2]
    assert "not the path of the air" in page
    for one in found.waves:
        shares = one.wave.flow_share[0]
        assert shares.sum() == pytest.approx(1.0)
        for name, share in zip(one.wave.opening, shares, strict=True):
            assert f"{name}: {100 * share:.0f} %" in page
        assert f"{one.frequency['full']:.1f} Hz" in page


def test_each_level_shows_its_formula_and_reaches_its_own_note(words, found):
    page, one = words[3], found.second
    speed = one.sweep.lengths.sound_speed
    for level, name in {"plain": "No end corrections", "length": "End correction as a"}.items():
        assert f"{name}" in page
        assert f"{one.frequency[level]:.1f} Hz" in page
        assert f"{speed:.1f} m/s" in page
    # the numbers that stand in the formula lines give the notes that stand behind them
    plain = re.search(r"= ([\d.]+) m/s / \(2 × ([\d.]+) mm\) = ([\d.]+) Hz", page)
    c, length, note = map(float, plain.groups())
    assert 1000 * c / (2 * length) == pytest.approx(note, rel=3e-4)
    sums = re.findall(r"= ([\d.]+) m/s / 2\(([\d. +]+) mm\) = ([\d.]+) Hz", page)
    assert len(sums) == 2
    for c, parts, note in sums:
        whole = sum(map(float, parts.split("+")))
        assert 1000 * float(c) / (2 * whole) == pytest.approx(float(note), rel=6e-4)


def test_doubt_has_room_for_readings_and_one_sentence_to_complete(pages, words, found):
    page, judged = words[4], found.judged
    low, high = judged.both
    assert f"{low:+.0f} to {high:+.0f} cents" in page
    assert "our readings" in page
    for band in (judged.bands.breath, judged.bands.warmth):
        assert f"{band[0]:+.0f} to {band[1]:+.0f}" in page
    assert not [i for i in pages["a4"][4].items if isinstance(i, Ellipse)]  # none is measured
    bars = [i for i in pages["a4"][4].items if getattr(i, "part", "") == "bar"]
    assert len(bars) == 4


def test_the_line_of_the_lengths_is_that_of_an_outside_library(pages, words, found):
    rows = read_class_file(DEMO / "class-open-pipes.csv").rows
    length = np.array([float(row[1]) for row in rows]) / 1000
    room = np.array([float(row[2]) for row in rows])
    mean = np.array([[float(f) for f in row[3:6]] for row in rows]).mean(axis=1)
    column = fl.moist_air(celsius(room)).sound_speed / (2 * mean)
    kept = [row[0] not in found.odd for row in rows]
    for take, line in ((slice(None), found.pipes), (kept, found.mended)):
        slope, intercept = np.polyfit(length[take], column[take], 1)  # numpy's least squares
        assert line.found.line.slope == pytest.approx(slope, rel=1e-9)
        assert f"slope {slope:.3f}" in words[5]
        assert f"intercept {1000 * intercept:.1f}" in words[5]
    assert found.odd == ("3",)
    dots = [i for i in pages["a4"][5].items if getattr(i, "part", "") == "dot"]
    assert len(dots) == 2 * len(rows)


def test_dashes_keep_their_length_and_corners():
    axes = Axes(left=0, top=0, right=10, bottom=10, across=(0, 10), up=(0, 10))
    # an L of 3 + 4 mm: dashes of 2 mm, 1 mm apart, one of them round the corner
    drawn = list(curve(axes, (0, 3, 3), (0, 0, 4), dash=(2.0, 1.0)))
    long = [np.hypot(a.end[0] - a.start[0], a.end[1] - a.start[1]) for a in drawn]
    assert long == pytest.approx([2.0, 2.0, 1.0])
    assert (drawn[0].start, drawn[1].start) == ((0.0, 10.0), (3.0, 10.0))


def test_axes_number_where_values_stand():
    axes = Axes(left=10, top=5, right=110, bottom=55, across=(-50, 50), up=(0, 5))
    items = list(frame(axes, marks=((-50, 0, 50), (0, 5)), names=("across", "up")))
    at = {item.text: item.at for item in items if hasattr(item, "text")}
    assert [at[n][0] for n in ("\u221250", "50")] == [10, 110]
    assert at["5"][1] < at["up"][1] + 10


def test_pdf_holds_six_pages_of_one_size_and_the_same_bytes():
    data = six_still_pages(DEMO, "letter")
    read = PdfReader(io.BytesIO(data))
    assert len(read.pages) == 6
    # ANSI/ASME Y14.1, size A: 8.5 x 11 in, from memory
    assert [float(x) for x in read.pages[0].mediabox[2:]] == pytest.approx([612, 792])
    assert "What does a hole do to the note?" in read.pages[0].extract_text()
    assert six_still_pages(DEMO, "letter") == data


def test_what_cannot_be_done_is_said(tmp_path):
    with pytest.raises(ValueError, match="'a5' is not known"):
        six_still_pages(DEMO, "a5")
    with pytest.raises(fl.DataError, match=r"one-hole-pipe\.toml"):
        six_still_pages(tmp_path)
