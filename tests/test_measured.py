"""The measuring form below its boxes: texts to a flute, nothing lost, every fault at its box."""

import re
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from flutelab import read_flute
from flutelab.files.flute_text import flute_text
from flutelab.files.form import Form, box_keys, filled_form, in_other_unit, plain_length, turned
from flutelab.files.measured import left_out, measured
from flutelab.files.size_words import understood
from flutelab.files.typed import read_as, read_flute_text
from flutelab.model.flute import Target

DEMO = Path(__file__).resolve().parent.parent / "data-demo"
NAMES = sorted(path.stem for path in DEMO.glob("*.toml"))
SMALL = {
    "bore": "15.8", "wall": "2.8", "window_along": "6", "window_across": "8", "foot": "300",
    "place 1": "120", "diameter 1": "6", "place 2": "150", "diameter 2": "5.5",
}  # fmt: skip


def flute_of(name):
    return read_flute(DEMO / f"{name}.toml")


def form_of(**changes):
    return Form(texts=SMALL | changes, holes=2, name="Small")


@pytest.mark.parametrize("name", NAMES)
def test_an_opened_flute_comes_back(name):
    flute = flute_of(name)
    for unit in ("mm", "in"):
        for from_foot in (False, True):
            result = measured(filled_form(flute, unit=unit, from_foot=from_foot))
            assert result.missing == result.faults == ()
            places = [hole.position for hole in flute.holes]
            assert [hole.position for hole in result.flute.holes] == pytest.approx(places, abs=1e-9)
            # all else digit for digit
            put_back = zip(result.flute.holes, places, strict=True)
            holes = tuple(replace(hole, position=place) for hole, place in put_back)
            assert replace(result.flute, holes=holes) == flute


def test_places_counted_from_the_foot_are_written_as_round_numbers():
    text = flute_text(measured(filled_form(flute_of("half-inch-six"), from_foot=True)).flute)
    assert [line for line in text.splitlines() if "from_edge" in line] == [
        f"from_edge = {place}" for place in (11.25, 4.5, 5.375, 6.25, 7.375, 8.25, 9.125)
    ]


def test_what_the_form_does_not_show_outlives_a_change():
    flute = replace(
        flute_of("tapered-wood-six"), targets=(Target(fingering="xxxxxx", frequency=440.0),)
    )
    form = filled_form(flute)
    changed = measured(replace(form, texts=form.texts | {"diameter 6": "6.4", "wall": "4"}))
    told = " / ".join(changed.kept)
    for words in (
        "3 diameters",
        "ramp",
        "block",
        "hole 3: oval",
        "hole 6: an undercut",
        "1 wanted",
    ):
        assert words in told
    sixth = changed.flute.holes[5]
    assert (sixth.diameter, sixth.inner_diameter) == (0.0064, 0.0076)
    assert sixth.wall == 0.004
    assert changed.flute.head.wall == 0.003  # its own, thinned under the block
    assert changed.flute.foot.outer_diameter == 0.025
    assert changed.flute.bore == flute.bore
    assert changed.flute.targets == flute.targets
    assert measured(replace(form, texts=form.texts | {"bore": "17"})).flute.bore.stations == (
        (0.0, 0.017),
    )


def test_a_rim_that_is_the_pipes_wall_follows_it():
    form = filled_form(flute_of("three-quarter-five"))
    thin = measured(replace(form, texts=form.texts | {"wall": "2.5"})).flute
    assert thin.foot.outer_diameter == pytest.approx(0.0204 + 2 * 0.0025, abs=1e-12)
    assert {hole.wall for hole in thin.holes} == {thin.head.wall} == {0.0025}


def test_fewer_holes_are_told_of():
    flute = flute_of("three-quarter-five")
    form = replace(filled_form(flute), holes=4)
    assert left_out(form) == ("Not in the new file: hole 5, 2 wanted notes, which are for 5 holes.")
    assert measured(form).flute.targets == ()
    assert left_out(filled_form(flute)) == ""


def test_a_form_of_its_own_becomes_a_flute():
    result = measured(form_of())
    assert result.entries["bore"].note == "15.80 mm = 0.622 in, about 5/8 in"
    flute = result.flute
    assert [hole.position for hole in flute.holes] == [0.12, 0.15]
    assert flute.head.plug_to_window == 0
    assert flute.foot.outer_diameter == pytest.approx(0.0214)
    assert measured(form_of(plug_to_window="abc")).flute is None


def test_an_incomplete_form_says_what_is_missing_without_a_fault():
    result = measured(form_of(foot="", wall=" "))
    assert result.missing == ("wall", "foot")
    assert result.flute is None
    assert not any(entry.fault for entry in result.entries.values())
    # a stopped pipe without holes or window has no use for its wall
    stopped = Form(texts={"bore": "15", "foot": "300"}, head="stopped", foot_kind="flanged")
    assert measured(stopped).flute is not None


FAULTS = {
    "not a length": ({"bore": "wide"}, "bore", "'wide': it is not a length"),
    "no length": ({"wall": "0"}, "wall", "'0': a length must be greater than 0"),
    "order": ({"place 2": "110"}, "place 2", "'110': it does not come after the hole before it"),
    "outside": ({"place 2": "310"}, "place 2", "does not lie inside the sound chamber of 300 mm"),
    "overlap": ({"place 2": "122"}, "place 2", "it overlaps hole 1 (nearest the window)"),
    "too wide": ({"diameter 1": "16 mm"}, "diameter 1", "wider than the bore of 15.8 mm"),
    "window": ({"window_across": "20"}, "window_across", "the window is wider than the bore"),
    "slip": ({"bore": "15.8 in"}, "bore", "401 mm is no likely size here"),
    "mend": ({"bore": "0.622"}, "bore", "Is it in inches? Then write '0.622 in'."),
    "unit": ({"diameter 1": "3/16"}, "diameter 1", "a fraction without a unit"),
}


@pytest.mark.parametrize("case", FAULTS)
def test_a_fault_stands_at_its_box(case):
    texts, key, words = FAULTS[case]
    entries = measured(form_of(**texts)).entries
    assert words in entries[key].fault
    assert [name for name, entry in entries.items() if entry.fault] == [key]


def test_all_faults_are_told_at_once_and_a_place_is_checked_before_its_diameter():
    texts = {"diameter 1": "", "place 2": "90", "window_across": "20", "bore": "15", "wall": "-1"}
    entries = measured(form_of(**texts)).entries
    assert {name for name, entry in entries.items() if entry.fault} == {
        "wall", "window_across", "place 2"
    }  # fmt: skip


def test_another_unit_moves_nothing():
    form = in_other_unit(form_of(foot="11 1/4 in", **{"diameter 1": "#7"}), "in")
    assert form.texts["bore"] == "15.8 mm"
    assert form.texts["diameter 1"] == "#7"
    first, second = measured(form_of(foot="11 1/4 in", **{"diameter 1": "#7"})), measured(form)
    assert first.flute == second.flute
    assert in_other_unit(form, "mm").texts == form.texts


def test_turning_round_moves_no_hole_and_needs_the_length():
    form = form_of()
    other = turned(form, True)
    assert (other.texts["place 1"], other.texts["place 2"]) == ("180", "150")
    assert measured(other).flute == measured(form).flute
    assert turned(other, False).texts == form.texts
    with pytest.raises(ValueError, match="not the length to the foot"):
        turned(form_of(foot=""), True)
    assert turned(Form(texts={}, holes=3), True).from_foot


# Exact by definition: 1 in = 25.4 mm (NIST SP 811, 2008, appendix B.8); 13/64 in and #7 =
# 0.2010 in are sizes of ASME B94.11M.
@pytest.mark.parametrize(
    ("size", "drilled", "words"),
    [
        (0.0254, False, "25.40 mm = 1 in"),
        (13 / 64 * 0.0254, True, "5.16 mm = 0.203 in; drills 13/64 in, 5.2 mm (+0.04 mm)"),
        (0.2010 * 0.0254, True, "5.11 mm = 0.201 in; drills #7, 5.1 mm (-0.01 mm)"),
        (0.0158, False, "15.80 mm = 0.622 in, about 5/8 in"),
    ],
)
def test_a_length_is_understood_in_both_units(size, drilled, words):
    assert understood(size, drilled=drilled) == words


def test_a_plain_length_has_no_rounding_noise():
    assert plain_length(0.1 + 0.2 - 0.2999, "mm") == "0.1"
    assert plain_length(0.0) == "0"


# Exact by definition: 1 in = 25.4 mm (NIST SP 811, 2008, appendix B.8).
@pytest.mark.parametrize(
    ("millimetres", "text"),
    [(154, "154 mm"), (-154, "-154 mm"), (285.75, "11.25"), (6.746875, "17/64"), (-1e-9, "0"),
     (204.7875, "8.0625"), (6.7564, "0.266"), (20.4, "20.4 mm"), (332.937485, "13.107775")],
)  # fmt: skip
def test_a_length_in_inches_is_as_a_person_would_write_it(millimetres, text):
    assert plain_length(millimetres / 1000, "in") == text


def test_counting_from_the_foot_in_inches_keeps_every_length_and_the_file_reads_well():
    sizes = {"foot": "358", "bore": "15.2", "wall": "2.6"}
    form = in_other_unit(form_of(**sizes), "in")
    other = turned(form, True)
    assert (other.texts["place 1"], other.texts["place 2"]) == ("238 mm", "208 mm")
    flute = measured(other).flute
    assert flute == measured(form).flute
    assert turned(other, False).texts == form.texts | {"place 1": "120 mm", "place 2": "150 mm"}
    text = flute_text(flute)
    assert 'from_edge = "358 mm"' in text
    assert 'outer_diameter = "20.4 mm"' in text
    assert max(len(figure) for figure in re.findall(r"\.(\d+)", text)) <= 6
    assert read_flute_text(text, "x.toml").holes == flute.holes


def test_whatever_is_typed_is_told_of_or_can_be_saved_and_read_again():
    """Seeded; forms of nonsense and of sizes, blank or filled from a demo flute."""
    random = Random(5)
    typed = ["", "abc", "0", "-3", "16", "300", "1e9 mm", "1/2 in", "3/16", "#7", "6", "8"]
    opened = [None, *map(flute_of, ("tapered-wood-six", "half-inch-six"))]
    whole = 0
    for _ in range(200):
        flute, holes = random.choice(opened), random.randint(0, 6)
        form = Form(texts=SMALL) if flute is None else filled_form(flute)
        keys = [key for key in box_keys(holes) if random.random() < 0.15]
        texts = dict(form.texts) | {key: random.choice(typed) for key in keys}
        form = replace(form, texts=texts, holes=holes, from_foot=random.random() < 0.5)
        result = measured(form)
        wrong = result.faults or any(entry.fault for entry in result.entries.values())
        assert (result.flute is None) == bool(wrong or result.missing)
        if result.flute is not None:
            whole += 1
            again = read_as("again.toml", flute_text(result.flute).encode(), read_flute)
            assert flute_text(again) == flute_text(result.flute)
    assert 20 < whole < 180  # both kinds were met


def test_likely_sizes_in_inches_have_no_more_digits_than_they_mean():
    fault = measured(Form(texts={"foot": "0.1 mm"}, unit="in")).entries["foot"].fault
    assert "(1.2 in to 118 in is)" in fault
