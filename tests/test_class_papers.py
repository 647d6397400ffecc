"""Class papers: one side a period, cautions at the steps, numbers that the model computes."""

import io
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from test_paper import assert_set_well, cells, texts

import flutelab as fl
from flutelab.files.class_expected import (
    DRILLS,
    LENGTHS,
    ROOMS,
    demo_material,
    expected,
    sound_speeds,
)
from flutelab.files.still_facts import stills
from flutelab.making.cautions import CAUTIONS
from flutelab.view.paper import class_papers
from flutelab.view.paper.class_papers import pupil_pages, teacher_pages
from flutelab.view.paper.graph_paper import SQUARE, square_worth
from flutelab.view.paper.lessons import FLUTE, GROUPS, HOLE, LESSONS, LONG, PIPES, WINDOW
from flutelab.view.paper.page import CELL, PAPERS
from flutelab.view.paper.stills import still_pages

DEMO = Path(__file__).resolve().parent.parent / "data-demo"


@pytest.fixture(scope="module")
def material():
    return demo_material(DEMO)


@pytest.fixture(scope="module")
def found(material):
    return expected(material)


@pytest.fixture(scope="module")
def sides(found):
    return {
        (kind, paper): make(found, paper)
        for paper in PAPERS
        for kind, make in (("pupils", pupil_pages), ("teacher", teacher_pages))
    }


def said(page):
    """The words of a page in reading order, wrapped lines joined."""
    lines = sorted(texts(page), key=lambda text: (round(text.at[1], 1), text.at[0]))
    return " ".join(text.text for text in lines)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("kind", ["pupils", "teacher"])
def test_each_period_is_one_side(sides, kind, paper):
    pages = sides[kind, paper]
    assert len(pages) == len(LESSONS) == 4
    for number, (page, lesson) in enumerate(zip(pages, LESSONS, strict=True), 1):
        assert (page.width, page.height) == PAPERS[paper]
        assert_set_well(page)
        words = said(page)
        assert lesson.name in words
        assert f"page {number} of 4" in words
        assert "{" not in words


@pytest.mark.parametrize("kind", ["pupils", "teacher"])
def test_local_rules_stand_before_everything_else(sides, kind):
    for page in sides[kind, "a4"]:
        ordered = said(page).replace(" ! ", " ")
        title, _, rest = ordered.partition(CAUTIONS["local"])
        assert rest
        assert len(title) < 40
        assert title.startswith("Period")


def test_cautions_stand_at_their_steps(sides):
    for page, lesson in zip(sides["teacher", "a4"], LESSONS, strict=True):
        words = said(page).replace(" ! ", " ")
        for step, after in zip(lesson.steps, [*lesson.steps[1:], None], strict=True):
            start = words.index(step.words[:30])
            end = words.index(after.words[:30]) if after else len(words)
            for key in step.cautions:
                assert CAUTIONS[key][:40] in words[start:end], key
        for key in lesson.material_cautions:
            assert CAUTIONS[key][:40] in words
    pupils = said(sides["pupils", "a4"][1])
    assert CAUTIONS["mouth"][:40] in pupils
    assert CAUTIONS["breath"][:40] in pupils


def test_a_period_is_forty_minutes_for_seven_groups(sides):
    for lesson, page in zip(LESSONS, sides["teacher", "a4"], strict=True):
        assert sum(step.minutes for step in lesson.steps) == LONG == 40
        assert f"{GROUPS} groups" in said(page)
        for part in ("Material", "Expected numbers", "Likely wrong answers", "Exit question"):
            assert part in said(page)
        for route in ("Drilled pipe and tape", "Data only"):
            assert route in said(page)
    hole = said(sides["teacher", "a4"][2])
    assert "4, 6, 8, 10, 4, 6, 8 mm" in hole
    assert GROUPS == len(LENGTHS) == 7
    # the lengths that the page on pipes asks for
    assert (min(LENGTHS), max(LENGTHS)) == (0.180, 0.420)
    assert "from 180 to 420 mm" in said(sides["teacher", "a4"][0])
    assert "it would sound lower still" in hole


def test_the_pupils_flute_is_marked_invented_and_every_line_has_a_question(sides):
    flute = said(sides["pupils", "a4"][3])
    assert "An invented flute" in flute
    assert FLUTE.own_words in flute


def test_boxes_to_write_in_are_high_enough(sides):
    for (kind, _), pages in sides.items():
        if kind == "pupils":
            for page in pages:
                heights = [height for _, height in cells(page)]
                boxes = [h for h in heights if h > 6]  # the printed speeds of sound are lower
                assert len(boxes) >= 24
                assert min(boxes) >= CELL


# --- what pupils must not read ----------------------------------------------------------


def test_pupils_pages_hold_none_of_the_expected_numbers(sides, found):
    hertz = [line.frequency for line in (*found.plain, *found.window)]
    hertz += [sweep.frequency for sweep in found.sweep]
    numbers = {f"{value:.1f}" for value in np.concatenate(hertz)}
    for page in sides["pupils", "a4"]:
        assert not numbers & set(said(page).split())
        assert not any(lesson.answer in said(page) for lesson in LESSONS)


# --- squared paper ----------------------------------------------------------------------


def squares(page):
    """Places of a page's squares, and its numbers along and up them: {number: place}."""
    grid = [item for item in page.items if getattr(item, "part", "") == "grid"]
    across = sorted({line.start[0] for line in grid if line.start[0] == line.end[0]})
    up = sorted({line.start[1] for line in grid if line.start[1] == line.end[1]}, reverse=True)
    numbers = [text for text in texts(page) if re.fullmatch(r"[\d.]+", text.text)]
    low = {float(t.text): t.at[0] for t in numbers if abs(t.at[1] - up[0] - 4.0) < 1e-9}
    left = {float(t.text): t.at[1] - 1.0 for t in numbers if abs(t.at[0] - across[0] + 1.5) < 1e-9}
    return (across, low), (up, left)


def a_square(places, numbers):
    """What a square stands for, all numbers having been found at the edge of a square."""
    assert np.abs(np.diff(places)) == pytest.approx(SQUARE)
    edges = {}
    for number, at in numbers.items():
        off = np.abs(np.array(places) - at)
        assert off.min() < 1e-9, number
        edges[number] = int(off.argmin())
    worth = {number / n for number, n in edges.items() if n}
    assert edges[0] == 0
    assert max(worth) == pytest.approx(min(worth))
    return worth.pop()


@pytest.mark.parametrize("paper", PAPERS)
def test_what_pupils_read_off_is_three_squares_and_lies_on_the_paper(sides, found, paper):
    for page, lines in zip(sides["pupils", paper], (found.plain, found.window), strict=False):
        (across, low), (up, left) = squares(page)
        length, over = a_square(across, low), a_square(up, left)
        assert len(low) > 4
        assert len(left) > 2
        for line in lines:
            assert 1000 * line.length.max() < length * (len(across) - 1)
            assert 1000 * (line.column - line.length).max() < over * (len(up) - 1)
            assert 1000 * line.line.intercept >= 3 * over
        assert SQUARE * (len(up) - 1) >= 60  # mm to draw on
    # a square of 5 mm stands for 20 mm of length: they are easily counted
    assert length == 20


@pytest.mark.parametrize("paper", PAPERS)
def test_sizes_of_a_hole_stand_at_squares(sides, found, paper):
    for page in (sides["pupils", paper][2], still_pages(stills(DEMO), paper)[0]):
        (across, low), (up, left) = squares(page)
        assert not left  # how far it goes up is for pupils to guess
        assert 2 / a_square(across, low) == 4  # squares between two drills
        assert max(low) >= 16
        assert len(up) > 8


@given(reach=st.floats(1e-3, 1e4), count=st.integers(5, 40))
@settings(max_examples=50)
def test_a_square_is_worth_the_least_that_reaches(reach, count):
    worth, apart = square_worth(reach, count)
    assert reach <= worth * count * (1 + 1e-6)
    assert worth * count <= 2 * reach * (1 + 1e-6)  # the next smaller is half or more of it
    first = f"{worth * apart:.0e}"
    assert float(first) == pytest.approx(worth * apart)  # one digit
    assert first[0] in "125"


# --- numbers ----------------------------------------------------------------------------


def table_numbers(page):
    return set(re.findall(r"\d+\.\d", said(page)))


def test_the_teachers_numbers_are_those_of_the_library(sides):
    pages = sides["teacher", "a4"]
    for name in ("plain-pipe-220", "plain-pipe-380"):
        pipe = fl.read_flute(DEMO / f"{name}.toml")
        for room in ROOMS:
            note = fl.playing_frequencies(pipe, "", air=fl.moist_air(273.15 + room))[0]
            assert f"{note:.1f}" in table_numbers(pages[0])
    flute = fl.read_flute(DEMO / "three-quarter-five.toml")
    one = fl.read_flute(DEMO / "one-hole-pipe.toml")
    for room in ROOMS:
        air = fl.AirAlong(room_temperature=273.15 + room)
        for note in fl.playing_frequencies(flute, "xxxxx xxooo ooooo", air=air):
            assert f"{note:.1f}" in table_numbers(pages[3])
        for size in DRILLS:
            drilled = replace(one, holes=(replace(one.holes[0], diameter=size),))
            (note,) = fl.playing_frequencies(drilled, "o", air=air)
            assert f"{note:.1f}" in table_numbers(pages[2])


def test_other_pipes_have_other_numbers(material, sides):
    shorter = tuple(
        replace(pipe, foot=replace(pipe.foot, position=0.9 * pipe.foot.position))
        for pipe in material.pipes
    )
    page = teacher_pages(expected(replace(material, pipes=shorter)))[0]
    assert len(table_numbers(page) & table_numbers(sides["teacher", "a4"][0])) <= 3
    assert "198" in said(page)


def test_open_ends_add_what_theory_says(material, found):
    # thin and flanged ends: 0.6133 and 0.8217 radii (Levine & Schwinger, Phys. Rev. 73, 383,
    # 1948; Nomura, Yamamura & Inawashiro, J. Phys. Soc. Jpn 15, 510, 1960), friction aside; it
    # takes up to 0.25 radii off (its size at 500 Hz in this bore: common practice, no source)
    radius = material.pipes[0].bore.stations[0][1] / 2
    for line in found.plain:
        assert 2 * 0.6133 - 0.25 < line.line.intercept / radius < 2 * 0.8217
        assert 1.0 < line.line.slope < 1.03


def test_the_speed_of_sound_is_that_of_the_school_book():
    # 331 sqrt(T/273): OpenStax College Physics (2012), ch. 17; it leaves moisture out (0.4 %)
    celsius = range(16, 30, 2)
    book = 331 * np.sqrt((np.array(celsius) + 273) / 273)
    assert sound_speeds(celsius) == pytest.approx(book, rel=0.005)


def test_a_blown_pipe_is_warmer_by_about_four_degrees(found):
    # "4 K warmer than a room of 22 C": common practice, no source
    assert found.warmer == pytest.approx(4, abs=0.5)


def test_a_larger_hole_sounds_higher_up_to_the_limit(found):
    for sweep in found.sweep:
        assert sweep.no_hole < sweep.frequency[0]
        assert np.all(np.diff(sweep.frequency) > 0)
        assert np.all(np.diff(sweep.frequency, 2) < 0)  # it flattens
        assert sweep.frequency[-1] < sweep.cut


# --- files ------------------------------------------------------------------------------


def test_class_papers_as_pdf():
    files = class_papers(DEMO, "letter")
    assert list(files) == ["class-pupils.pdf", "class-teacher.pdf"]
    for data in files.values():
        pages = PdfReader(io.BytesIO(data)).pages
        assert len(pages) == 4
        assert (pages[0].mediabox.width, pages[0].mediabox.height) == (612, 792)
        told = PdfReader(io.BytesIO(data))
        assert told.trailer["/Root"]["/Lang"] == "en"
        assert told.metadata.title in ("Pupils' pages", "Teacher's pages")
        entries = [(one.title, told.get_destination_page_number(one)) for one in told.outline]
        suffix = " (teacher)" if "Teacher" in told.metadata.title else ""
        assert entries == [(f"{one.name}{suffix}", n) for n, one in enumerate(LESSONS)]
    teacher = PdfReader(io.BytesIO(files["class-teacher.pdf"])).pages[0].extract_text()
    assert PIPES.question in teacher
    assert WINDOW.question not in teacher
    assert HOLE.question not in teacher


def test_missing_demo_files_are_named(tmp_path):
    with pytest.raises(fl.DataError, match=r"plain-pipe-300\.toml"):
        class_papers(tmp_path)
