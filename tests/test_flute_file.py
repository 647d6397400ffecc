"""Flute files: what they say is read exactly; what is wrong is told with place and mend."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_notes import DEMO

from flutelab.errors import DataError
from flutelab.files.flute_file import read_flute
from flutelab.files.flute_text import write_flute
from flutelab.model.flute import (
    Bore,
    End,
    Flute,
    Hole,
    RecordError,
    Target,
    Uncertainty,
    Window,
)

# An invented flute.
GOOD = """
name = "Riverbend"
unit = "mm"

[bore]
diameter = 15.6
wall = 2.9

[window]
along = 5.5
across = 8

[foot]
from_edge = 300

[[hole]]
from_edge = 160.5
diameter = '#7'

[[hole]]
from_edge = 200
diameter = "3/16 in"
label = "left ring"

[[hole]]
from_edge = 240
diameter = "6,5 mm"
wall = 2.5

[uncertainty]
bore = 0.05
hole_place = 0.3

[[target]]
fingering = "XXO"
note = "F#4"
a4_hz = 442

[[target]]
fingering = "xoo"
frequency_hz = 466.2
"""


@pytest.fixture
def read(tmp_path):
    """Return a function that writes a text to a file and reads it as a flute."""

    def reader(text):
        path = tmp_path / "flute.toml"
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        before = {item.name: item.read_bytes() for item in tmp_path.iterdir()}
        try:
            return replace(read_flute(path), source="")
        finally:
            assert {item.name: item.read_bytes() for item in tmp_path.iterdir()} == before

    return reader


def changed(old, new):
    assert GOOD.count(old) >= 1
    return GOOD.replace(old, new, 1)


def test_every_key_is_read(read):
    flute = read(GOOD)
    assert flute == Flute(
        name="Riverbend",
        bore=Bore(stations=((0.0, 0.0156),)),
        holes=(
            Hole(position=0.1605, diameter=0.0051054, wall=0.0029),
            Hole(position=0.2, diameter=0.0047625, wall=0.0029, label="left ring"),
            Hole(position=0.24, diameter=0.0065, wall=0.0025),
        ),
        head=Window(along=0.0055, across=0.008, wall=0.0029),
        foot=End(position=0.3, kind="open", outer_diameter=flute.foot.outer_diameter),
        uncertainty=Uncertainty(bore=0.00005, hole_place=0.0003),
        targets=(
            Target(fingering="xxo", frequency=flute.targets[0].frequency, label="F#4"),
            Target(fingering="xoo", frequency=466.2),
        ),
    )
    assert flute.foot.outer_diameter == pytest.approx(0.0214, rel=1e-12)
    # F#4 is 369.994 Hz at A4 = 440 Hz (equal temperament), 7.85 cents lower than at 442.
    assert flute.targets[0].frequency == pytest.approx(369.9944 * 442 / 440, abs=1e-4)


SHAPED = """
unit = "mm"
[bore]
stations = [[-5, "0.75 in"], [180, 17.5], ["13 in", 15.6]]
wall = 4.2
[window]
along = 5.5
across = 9
plug_to_window = 2
ramp_degrees = 30
block_height = 6
[foot]
from_edge = 332
[[hole]]
from_edge = 150
along = 7.4
across = 6.2
[[hole]]
from_edge = 196
diameter = 6.5
inner_diameter = 7.8
outer_rounding = 0.5
inner_rounding = 0.3
[[hole]]
from_edge = 240
diameter = "1/4 in"
around_degrees = 180
"""


def test_the_keys_of_shapes_are_read(read):
    flute = read(SHAPED)
    stations = ((-0.005, 0.01905), (0.18, 0.0175), (0.3302, 0.0156))
    assert flute.bore.stations == pytest.approx(np.array(stations), rel=1e-12)
    window = flute.head
    assert window.ramp == pytest.approx(np.pi / 6, rel=1e-15)
    assert (window.block, window.plug_to_window) == (0.006, 0.002)
    oval, undercut, thumb = flute.holes
    assert oval.diameter == pytest.approx(np.sqrt(7.4 * 6.2) / 1000)
    assert oval.aspect == pytest.approx(7.4 / 6.2)
    assert (undercut.inner_diameter, undercut.outer_rounding) == (0.0078, 0.0005)
    assert undercut.inner_rounding == 0.0003
    assert (thumb.angle, thumb.diameter) == (np.pi, 0.00635)
    # beyond the last station the bore stays as wide as there
    assert flute.foot.outer_diameter == pytest.approx(0.0156 + 2 * 0.0042)


BAD_SHAPES = {
    "two ways to say the bore": ("wall = 4.2", "wall = 4.2\ndiameter = 17", "bore, diameter",
                                 "Keep one of the two"),
    "no stations": ('[[-5, "0.75 in"], [180, 17.5], ["13 in", 15.6]]', "[]", "bore, stations",
                    "places from the sounding edge"),
    "a station alone": ("[180, 17.5]", "[180]", "bore, stations, 2nd", "this is not a pair"),
    "a diameter that is none": ("[180, 17.5]", '[180, "wide"]', "bore, stations, 2nd diameter",
                                "'wide'"),
    "a diameter in inches": ("[180, 17.5]", "[180, 0.7]", "bore, stations, 2nd diameter",
                             "Then write '0.7 in'"),
    "stations out of order": ("[180, 17.5]", "[400, 17.5]", "bore, stations, 3rd place",
                              "in order from the window to the foot"),
    "a bore without size": ("[180, 17.5]", "[180, 0]", "bore, stations, 2nd diameter",
                            "greater than 0"),
    "a ramp of nothing": ("= 30", "= 0", "window, ramp_degrees", "from 1 to 90"),
    "a block below the pipe": ("= 6\n", "= -6\n", "window, block_height", "must be 0 or more"),
    "half an oval": ("across = 6.2", "", "hole 1 (nearest the window), across", "An oval has"),
    "an oval and round": ("across = 6.2", "across = 6.2\ndiameter = 7",
                          "hole 1 (nearest the window), diameter", "Keep the one or the other"),
    "a slot": ("along = 7.4", "along = 39", "hole 1 (nearest the window), along", "1/4 and 4"),
    "an oval without width": ("across = 6.2", "across = 0", "hole 1 (nearest the window), across",
                              "greater than 0"),
    "undercut beyond the bore": ("= 7.8", "= 18.5", "hole 2 (counted from the window), "
                                 "inner_diameter", "wider than the bore of 17.3 mm"),
    "too round an edge": ("outer_rounding = 0.5", "outer_rounding = 4",
                          "hole 2 (counted from the window), outer_rounding", "half the hole"),
    "around twice": ("= 180\n", "= 270\n", "hole 3 (nearest the foot), around_degrees",
                     "from -180 to 180"),
    "a decimal comma in a station": ("[180, 17.5]", "[180, 17,5]", "bore, stations, 2nd",
                                     "'[180, 17, 5]': this is not a pair"),
    "one station without its pair": ('[[-5, "0.75 in"], [180, 17.5], ["13 in", 15.6]]', "17",
                                     "bore, stations", "'17': this is not a list of stations"),
    "a station far behind the edge": ("[[-5,", "[[-5000,", "bore, stations, 1st place",
                                      "(-300 mm to 3000 mm is)"),
    "a negative diameter in its own unit": ("[180, 17.5]", '["7 in", "-3 mm"]',
                                            "bore, stations, 2nd diameter", "'-3 mm': must be"),
    "a unit that is none": ("[180, 17.5]", '[180, "17 ct"]', "bore, stations, 2nd diameter",
                              "'17 ct'"),
    "misspelt stations": ("stations", "staions", "bore, staions", "known key is 'stations'"),
    "an oval wider than the bore": ("along = 7.4\nacross = 6.2", "along = 19\nacross = 18.5",
                                    "hole 1 (nearest the window), across",
                                    "'18.5': the hole is wider than the bore of 17.75 mm"),
    "a hole in a narrow place": ('"1/4 in"', "16.8", "hole 3 (nearest the foot), diameter",
                                 "'16.8': the hole is wider than the bore of 16.74 mm"),
    "a window wider than its place": ("across = 9", "across = 19.1", "window, across",
                                      "'19.1': the window is wider than the bore of 19.03 mm"),
    "a rim inside the bore at the foot": ("from_edge = 332", "from_edge = 332\nouter_diameter = 15",
                                          "foot, outer_diameter", "less than the bore of 15.6 mm"),
    "an edge of more than the wall": ("inner_rounding = 0.3", "inner_rounding = 3.8",
                                      "hole 2 (counted from the window), outer_rounding",
                                      "'0.5': both edges' roundings are more than the wall"),
    "a negative edge": ("inner_rounding = 0.3", "inner_rounding = -0.3",
                        "hole 2 (counted from the window), inner_rounding", "'-0.3': must lie"),
    "an undercut of nothing": ("= 7.8", "= 0", "hole 2 (counted from the window), inner_diameter",
                               "'0': must be greater than 0"),
    "an undercut in inches": ("= 7.8", "= 0.3", "hole 2 (counted from the window), inner_diameter",
                              "Then write '0.3 in'"),
    "an angle as text": ("= 180\n", '= "180"\n', "hole 3 (nearest the foot), around_degrees",
                         "Write a plain number without quotes"),
    "a ramp on a hole": ("= 180\n", "= 180\nblock_height = 3\n",
                         "hole 3 (nearest the foot), block_height", "Move it under [window]"),
    "an oval window's key on the bore": ("wall = 4.2", "wall = 4.2\nalong = 3", "bore, along",
                                         "Move it under [window] or [[hole]]"),
    "an unquoted fraction": ('"0.75 in"', "3/4 in", "line 4", "Put each size with a unit in"),
    "an unquoted unit": ("17.5]", "17.5 mm]", "line 4", "Put each size with a unit in quotes"),
    "an open bracket": ("15.6]]", "15.6]", "line 5", "Close the square brackets here or above"),
    "a misspelt key": ("ramp_degrees", "ramp_degres", "window, ramp_degres",
                       "nearest known key is 'ramp_degrees'"),
}  # fmt: skip


@pytest.mark.parametrize("title", BAD_SHAPES)
def test_each_fault_of_a_shape_is_told(read, title):
    old, new, place, words = BAD_SHAPES[title]
    assert SHAPED.count(old) == 1
    with pytest.raises(DataError) as error:
        read(SHAPED.replace(old, new))
    told = [str(fault) for fault in error.value.faults]
    assert len(told) == 1, told
    assert told[0].startswith(f"{place}:")
    assert words in told[0]


def test_all_faults_of_a_shape_are_told_at_once(read):
    text = SHAPED
    for old, new in (
        ("[180, 17.5]", '[180, "wide"]'),
        ('["13 in", 15.6]', "[-9, 0]"),
        ("= 30", "= 91"),
        ("from_edge = 196\ndiameter = 6.5", 'from_edge = 96\ndiameter = "#99"'),
        ("inner_diameter = 7.8", "inner_diameter = 'x'"),
        ("outer_rounding = 0.5", "outer_rounding = 'y'"),
        ("from_edge = 240", "from_edge = 96"),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    with pytest.raises(DataError) as error:
        read(text)
    second, third = "hole 2 (counted from the window)", "hole 3 (nearest the foot)"
    assert [fault.place for fault in error.value.faults] == [
        "bore, stations, 2nd diameter",
        "bore, stations, 3rd place",
        "bore, stations, 3rd diameter",
        "window, ramp_degrees",
        f"{second}, diameter",
        f"{second}, inner_diameter",
        f"{second}, outer_rounding",
        f"{second}, from_edge",
        f"{third}, from_edge",
    ]


def test_stations_without_a_unit_are_told(read):
    with pytest.raises(DataError, match=r"appear \(bore, stations, 1st place = -5, "):
        read(SHAPED.replace('unit = "mm"', ""))


def test_stations_run_from_the_edge_where_holes_run_from_the_foot(read):
    text = SHAPED
    for edge, foot in (("150", "182"), ("196", "136"), ("240", "92")):
        text = text.replace(f"from_edge = {edge}", f"from_foot = {foot}")
    assert read(text).bore == read(SHAPED).bore


def test_holes_apart_around_the_pipe_may_lie_side_by_side(read):
    near = SHAPED.replace("from_edge = 240", "from_edge = 198")
    assert len(read(near).holes) == 3
    with pytest.raises(DataError, match="it overlaps hole 2"):
        read(near.replace("around_degrees = 180\n", ""))


def test_a_flute_without_a_window_is_asked_for_one(read):
    text = SHAPED.replace("[window]\nalong = 5.5\nacross = 9\nplug_to_window = 2\n", "")
    text = text.replace("ramp_degrees = 30\nblock_height = 6\n", "")
    with pytest.raises(DataError, match=r'write \[head\] and kind = "open"'):
        read(text)


def test_inches_and_millimetres_say_the_same(read):
    inches = """
unit = "in"
[bore]
diameter = 0.6
wall = "0.12"
[window]
along = "7/32"
across = "5/16 in"
[foot]
from_edge = "11 3/4"
[[hole]]
from_edge = 6.5
diameter = 0.1875
"""
    metric = """
unit = "mm"
[bore]
diameter = 15.24
wall = 3.048
[window]
along = "5,55625"
across = "7.9375 mm"
[foot]
from_edge = 298.45
[[hole]]
from_edge = 165.1
diameter = 4.7625
"""
    assert read(inches) == read(metric)
    assert read(inches).name == "flute"


def test_without_bare_numbers_no_unit_is_needed(read):
    text = """
[bore]
diameter = "0.6 in"
wall = "3 mm"
[window]
along = "5.5 mm"
across = "8 mm"
[foot]
from_edge = "11 3/4 in"
"""
    assert read(text).foot.position == 0.29845


def test_places_may_run_from_the_foot(read):
    text = GOOD
    for edge, foot in (("160.5", "139.5"), ("200", "100"), ("240", "60")):
        text = text.replace(f"from_edge = {edge}", f"from_foot = {foot}")
    for hole, expected in zip(read(text).holes, read(GOOD).holes, strict=True):
        assert hole.position == pytest.approx(expected.position, rel=1e-15)


@pytest.mark.parametrize("kind", ["open", "flanged", "stopped", "node"])
def test_plain_heads(read, kind):
    text = f"""
unit = "mm"
[bore]
diameter = 20
wall = 1.5
[head]
kind = "{kind}"
[foot]
kind = "flanged"
from_edge = 402
"""
    outer = pytest.approx(0.023) if kind == "open" else None
    head = read(text).head
    assert (head.position, head.kind, head.outer_diameter) == (0.0, kind, outer)
    assert read(text).foot == End(position=0.402, kind="flanged")


def test_the_wall_is_asked_for_only_where_a_part_needs_it(read):
    text = """
unit = "mm"
[bore]
diameter = 20
[head]
kind = "node"
[foot]
from_edge = 402
outer_diameter = 20
[[hole]]
from_edge = 200
diameter = 5
wall = 1
"""
    assert read(text).foot.outer_diameter == 0.02
    with pytest.raises(DataError, match="bore, wall: it is missing"):
        read(text.replace("wall = 1", ""))
    with pytest.raises(DataError, match="bore, wall: it is missing"):
        read(text.replace("outer_diameter = 20", ""))


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_byte_order_mark_and_line_ends(read, mark, end):
    assert read(mark + GOOD.replace("\n", end).encode()) == read(GOOD)


HOLE_1, HOLE_2 = "hole 1 (nearest the window)", "hole 2 (counted from the window)"
HOLE_3 = "hole 3 (nearest the foot)"
BARS = '"window", "open", "flanged", "stopped", "node"'

# What is changed in the good file; then place, value as typed, and mend.
BAD = {
    "unknown unit": ('unit = "mm"', 'unit = "cm"', "unit", "cm", 'Write unit = "mm"'),
    "bare numbers without a unit": ('unit = "mm"', "", "unit", "15.6", 'Write unit = "mm" or'),
    "misspelt unit": ("unit =", "units =", "units", "mm", "The nearest known key is 'unit'"),
    "bore in inches": ("15.6", "0.622", "bore, diameter", "0.622", "inches? Then write '0.622 in'"),
    "bore in inches, its own unit": (
        "15.6",
        '"0.622 mm"',
        "bore, diameter",
        "0.622 mm",
        "Is it in inches? Then write '0.622 in'",
    ),
    "bore in metres": ("15.6", "15600", "bore, diameter", "15600", "check its unit"),
    "no bore": ("diameter = 15.6", "", "bore, diameter", None, "0.600 to 0.622 in"),
    "no bore table": ("[bore]\ndiameter = 15.6\nwall = 2.9", "", "bore, wall", None, "calipers"),
    "misspelt key": ("diameter", "diametre", "bore, diametre", "15.6", "known key is 'diameter'"),
    "misspelt table": ("[window]", "[windw]", "windw", None, "nearest known key is 'window'"),
    "key with no neighbour": ("wall = 2.9", "wall = 2.9\nzzz = 1", "zzz", "1", "stations, wall"),
    "key of the top below a table": (
        "across = 8",
        'across = 8\nname = "x"',
        "window, name",
        "x",
        "Move it to the top, above every [table]",
    ),
    "key of another table": ("wall = 2.9", "along = 5", "bore, along", "5", "under [window]"),
    "no wall": ("wall = 2.9", "", "bore, wall", None, "Measure the pipe's wall"),
    "wall of nothing": ("wall = 2.9", "wall = 0", "bore, wall", "0", "Measure it again"),
    "truth for a length": ("wall = 2.9", "wall = true", "bore, wall", "true", "Write a number"),
    "date for a length": ("= 200", "= 2024-03-16", HOLE_2, "2024-03-16", "Write a number"),
    "holes out of order": ("= 200", "= 100", f"{HOLE_2}, from_edge", "100", "in order from"),
    "overlapping holes": ("= 200", "= 161", f"{HOLE_2}, from_edge", "161", "both diameters"),
    "hole over the foot's rim": ("= 240", "= 299", f"{HOLE_3}, from_edge", "299", "its place"),
    "hole beyond the foot": ("= 240", "= 340", f"{HOLE_3}, from_edge", "340", "from the foot"),
    "hole over the edge": ("= 160.5", "= 2", f"{HOLE_1}, from_edge", "2", "Check its place"),
    "hole at a negative place": ("= 160.5", "= -20", f"{HOLE_1}, from_edge", "-20", "Measure"),
    "hole wider than the bore": ("'#7'", "18", f"{HOLE_1}, diameter", "18", "Check both diameters"),
    "hole in inches": ("'#7'", "0.201", f"{HOLE_1}, diameter", "0.201", "'0.201 in'"),
    "negative hole": ("'#7'", "-5", f"{HOLE_1}, diameter", "-5", "Measure it again"),
    "hole without diameter": ("diameter = '#7'", "", f"{HOLE_1}, diameter", None, "its drill"),
    "unknown drill": ("'#7'", "'#77'", f"{HOLE_1}, diameter", "#77", "Use '#1' to '#60'"),
    "fraction without unit": ("'#7'", "'3/16'", f"{HOLE_1}, diameter", "3/16", "Write '3/16 in'"),
    "no length at all": ("'#7'", "'wide'", f"{HOLE_1}, diameter", "wide", "Write it like"),
    "not a number": ("'#7'", "nan", f"{HOLE_1}, diameter", "nan", "ordinary size"),
    "number beyond size": ("'#7'", "1e99999999999999999999", HOLE_1, "inf", "ordinary size"),
    "mixed ends": (
        "from_edge = 200",
        "from_foot = 100",
        f"{HOLE_2}, from_foot",
        "100",
        "Use from_edge in every hole",
    ),
    "both ends": (
        "from_edge = 200",
        "from_edge = 200\nfrom_foot = 100",
        f"{HOLE_2}, from_foot",
        "100",
        "Use from_edge in every hole",
    ),
    "hole without a place": ("from_edge = 200", "", f"{HOLE_2}, from_edge", None, "from_foot"),
    "label that is no text": ('"left ring"', "3", f"{HOLE_2}, label", "3", "Put it in quotes"),
    "unknown head": ("[window]", '[head]\nkind = "opne"\n[window]', "head, kind", "opne", '"open"'),
    "head of another kind": (
        "[window]",
        '[head]\nkind = "reed"\n[window]',
        "head, kind",
        "reed",
        f"Use one of {BARS}",
    ),
    "window on a plain head": (
        "[window]",
        '[head]\nkind = "stopped"\n[window]',
        "window",
        None,
        "Leave out [window]",
    ),
    "rim on a stopped head": (
        "[window]\nalong = 5.5\nacross = 8",
        '[head]\nkind = "stopped"\nouter_diameter = 20',
        "head, outer_diameter",
        "20",
        "Leave it out",
    ),
    "window without a cut-up": ("along = 5.5", "", "window, along", None, "along the pipe"),
    "window wider than the bore": ("= 8", "= 17", "window, across", "17", "Check both"),
    "plug in the window": (
        "across = 8",
        "across = 8\nplug_to_window = -3",
        "window, plug_to_window",
        "-3",
        "shortens `along`",
    ),
    "no length": ("from_edge = 300", "", "foot, from_edge", None, "Measure the sound chamber"),
    "length in inches": ("= 300", "= 11.8", "foot, from_edge", "11.8", "Then write '11.8 in'"),
    "negative length": ("= 300", "= -300", "foot, from_edge", "-300", "Measure the sound chamber"),
    "ideal foot": ("= 300", '= 300\nkind = "node"', "foot, kind", "node", 'Write kind = "open"'),
    "rim inside the bore": (
        "= 300",
        "= 300\nouter_diameter = 14",
        "foot, outer_diameter",
        "14",
        "sharp rim",
    ),
    "spread of nothing": ("= 0.05", "= 0", "uncertainty, bore", "0", "Measure it again"),
    "spread as large as a size": ("= 0.05", "= 50", "uncertainty, bore", "50", "Measure it again"),
    "spread in the wrong unit": ("= 0.05", "= 5", "uncertainty, bore", "5", "standard deviation"),
    "spread of a place too large": ("= 0.3", "= 9", "uncertainty, hole_place", "9", "its unit"),
    "target without octave": ('"F#4"', '"F#"', "target 1, note", "F#", "F#5"),
    "German H": ('"F#4"', '"H4"', "target 1, note", "H4", "Write B for H"),
    "no note": ('"F#4"', '"440"', "target 1, note", "440", "Write it like F#5"),
    "target without a note": ('note = "F#4"\na4_hz = 442', "", "target 1, note", None, '"A4"'),
    "note and frequency": ("= 466.2", '= 466.2\nnote = "A4"', "target 2, note", "A4", "Keep one"),
    "absurd tuning note": ("442", "4420", "target 1, a4_hz", "4420", "from 380 to 500"),
    "frequency as text": ("466.2", '"466,2"', "target 2, frequency_hz", "466,2", "without quotes"),
    "fingering too long": ('"XXO"', '"XXOO"', "target 1, fingering", "XXOO", "one letter for each"),
    "fingering with a stray letter": ('"XXO"', '"XXZ"', "target 1, fingering", "XXZ", "Use x"),
    "fingering that is no text": ('"XXO"', "3", "target 1, fingering", "3", "Put it in quotes"),
    "no fingering": ('fingering = "XXO"', "", "target 1, fingering", None, "x closed, o open"),
    "name that is no text": ('"Riverbend"', "7", "name", "7", "Put it in quotes"),
    "table in double brackets": ("[bore]", "[[bore]]", "bore", None, "Write [bore] on a line"),
    "misspelt foot": ("[foot]\nfrom_edge = 300", "[foo]", "foo", None, "known key is 'foot'"),
    "single brackets": (
        '[[target]]\nfingering = "XXO"\nnote = "F#4"\na4_hz = 442\n\n[[target]]',
        "[target]",
        "target",
        None,
        "Write [[target]] with two square brackets",
    ),
    # TOML's own syntax
    "unquoted fraction": ('"3/16 in"', "3/16 in", "line 22", "diameter = 3/16 in", "'3/16 in'"),
    "decimal comma": ('"6,5 mm"', "6,5", "line 27", "diameter = 6,5", "Write a decimal point"),
    "curly quotes": ('"3/16 in"', "“3/16 in”", "line 22", "diameter = “3/16 in”", "straight"),
    "unquoted drill": ("'#7'", "#7", "line 18", "diameter = #7", "goes in quotes: '#7'"),
    "unquoted unit": ("15.6", "15.6 mm", "line 6", "diameter = 15.6 mm", "unit in quotes"),
    "unquoted text": ('"Riverbend"', "Riverbend", "line 2", "name = Riverbend", "text in quotes"),
    "colon": ("diameter =", "diameter:", "line 6", "diameter: 15.6", "Write an equals sign"),
    "no equals sign": ("wall = 2.9", "wall 2.9", "line 7", "wall 2.9", "Write an equals sign"),
    "no leading digit": ("= 0.05", "= .05", "line 31", "bore = .05", "before and after the point"),
    "leading zero": ("15.6", "015.6", "line 6", "diameter = 015.6", "Leave out the leading zero"),
    "open bracket": ("[bore]", "[bore", "line 5", "[bore", "Close the square brackets"),
    "open quote": ('"3/16 in"', '"3/16 in', "line 22", 'diameter = "3/16 in', "closed on the same"),
    "backslash": ('"Riverbend"', '"a\\q"', "line 2", 'name = "a\\\\q"', "backslash twice"),
    "single brackets for a hole": ("[[hole]]", "[hole]", "line 16", "[hole]", "Write [[hole]]"),
    "key twice": ("wall = 2.9", "wall = 2.9\nwall = 3", "line 8", "wall = 3", "stands twice"),
}


@pytest.mark.parametrize("title", BAD)
def test_each_fault_is_told_with_place_value_and_mend(read, title):
    old, new, place, typed, mend = BAD[title]
    with pytest.raises(DataError) as error:
        read(changed(old, new))
    lines = str(error.value).splitlines()
    assert lines[0].endswith(("flute.toml: 1 fault", "flute.toml: 2 faults"))
    told = [line for line in lines[1:] if place in line]
    assert told, lines
    assert any(mend in line and (typed is None or typed in line) for line in told), lines


def test_single_bracketed_table_alone_is_told(read):
    text = GOOD[: GOOD.index("[[hole]]")] + "[hole]\nfrom_edge = 100\ndiameter = 5\n"
    with pytest.raises(DataError, match=r"hole: .*Write \[\[hole\]\] with two square brackets"):
        read(text)


def test_all_faults_are_told_at_once(read):
    text = GOOD
    for old, new in (
        ("15.6", "0.6"),
        ("across = 8", "acros = 8"),
        ("from_edge = 240", "from_edge = 150"),
        ("'#7'", "'#99'"),
        ("bore = 0.05", "bore = -1"),
        ('"F#4"', '"F#"'),
    ):
        text = text.replace(old, new, 1)
    with pytest.raises(DataError) as error:
        read(text)
    assert [fault.place for fault in error.value.faults] == [
        "bore, diameter",
        "window, acros",
        f"{HOLE_1}, diameter",
        f"{HOLE_3}, from_edge",
        "uncertainty, bore",
        "target 1, note",
    ]


def test_spreads_are_held_beside_the_sizes_they_are_of(read):
    # a fifth of: bore 15.6, wall 2.5 at the thinnest hole, window 5.5, the nearest holes 39.5 and
    # 40 apart, the smallest hole 3/16 in = 4.76, the length 300
    most = {
        "bore": 3.12, "wall": 0.5, "window": 1.1, "hole_place": 7.9, "hole_diameter": 0.9525,
    }  # fmt: skip
    head = GOOD[: GOOD.index("[uncertainty]")] + "[uncertainty]\n"
    read(head + "\n".join(f"{key} = {size * 0.999}" for key, size in most.items()))
    with pytest.raises(DataError) as error:
        read(head + "\n".join(f"{key} = {size * 1.001:.4f}" for key, size in most.items()))
    faults = error.value.faults
    assert [fault.place for fault in faults] == [f"uncertainty, {key}" for key in most]
    assert all("more than a fifth of" in fault.problem for fault in faults)
    assert "the smallest hole, 4.76 mm" in faults[-1].problem


def test_a_spread_is_not_held_beside_a_size_that_is_not_there(read):
    text = GOOD.replace("bore = 0.05", "wall = 0.5").replace("wall = 2.9\n", "")
    text = text.replace("across = 8", "across = 8\nwall = 4")
    for old in ("'#7'", '"3/16 in"', "wall = 2.5"):
        text = text.replace(old, old + "\nwall = 4" if "wall" not in old else "wall = 4")
    text = text.replace("from_edge = 300", "from_edge = 300\nouter_diameter = 24")
    assert read(text).uncertainty.wall == pytest.approx(0.0005)
    with pytest.raises(DataError) as error:  # a faulty wall is no size to compare with
        read(GOOD.replace("bore = 0.05", "wall = 0.5").replace("wall = 2.9", "wall = 0.0029"))
    assert [fault.place for fault in error.value.faults] == ["bore, wall"]


def test_every_spread_is_looked_at_beside_other_faults(read):
    text = GOOD.replace("15.6", "0.6").replace("across = 8", "acros = 8")
    text = text.replace("bore = 0.05", "bore = 50\nwall = 3\nwindow = 0\nlength = -1")
    with pytest.raises(DataError) as error:
        read(text)
    assert [fault.place for fault in error.value.faults] == [
        "bore, diameter", "window, acros", "uncertainty, bore", "uncertainty, wall",
        "uncertainty, window", "uncertainty, length",
    ]  # fmt: skip


def test_all_slips_of_syntax_are_told_at_once(read):
    text = GOOD.replace('"3/16 in"', "3/16").replace('"6,5 mm"', "6,5").replace("[bore]", "[bore")
    with pytest.raises(DataError) as error:
        read(text)
    assert [fault.place for fault in error.value.faults] == ["line 5", "line 22", "line 27"]


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ('unit = "mm"\nname = "Flöte"'.encode("latin-1"), "line 2: .*save it again as UTF-8"),
        (GOOD.encode("utf-16"), "line 1: .*save it again as UTF-8"),
        (b"", "bore, diameter: it is missing"),
        (b"\x00\x01\x02", "line 1: .*this is not TOML"),
        (b"x = " + b"[" * 100_000, "line 1|too long to read"),
        (b"x = " + b"9" * 5000, "line 1|too long to read"),
        (b"hole = [1, 2]\nbore = 3\ntarget = 'x'\nwindow = []", "hole 2 .*: this is not a table"),
    ],
)
def test_what_is_no_flute_file(read, content, message):
    with pytest.raises(DataError, match=message):
        read(content)


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(DataError, match=r"none\.toml: there is no such file\. Check the name"):
        read_flute(tmp_path / "none.toml")
    with pytest.raises(DataError, match=r"this is a folder\. Give the name of a file in it"):
        read_flute(tmp_path)


@given(st.data())
def test_a_spoilt_file_ends_in_a_report_or_a_flute(tmp_path_factory, data):
    text = list(GOOD)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text) - 2))
        piece = data.draw(
            st.sampled_from(["", "\n", '"', "'", "[", "=", ",", "#", "1", "½", "e", "\0"])
        )
        text[at : at + data.draw(st.integers(0, 9))] = piece
    path = tmp_path_factory.getbasetemp() / "spoilt.toml"
    path.write_text("".join(text), encoding="utf-8")
    try:
        outcome = read_flute(path)
    except DataError as error:
        outcome = error.faults
    assert isinstance(outcome, Flute) or len(outcome) > 0


# --- writing ---------------------------------------------------------------------------

names = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)
walls = st.floats(0.0005, 0.02)


@st.composite
def shapes(draw, diameter, wall):
    """Of a hole: what is not plain; an oval is left to a test of its own."""
    inner = draw(st.none() | st.floats(0.001, diameter))
    most = min(inner or diameter, wall) / 2
    return {
        "inner_diameter": inner,
        "inner_rounding": draw(st.just(0.0) | st.floats(0, most)),
        "outer_rounding": draw(st.just(0.0) | st.floats(0, most)),
        "angle": draw(st.just(0.0) | st.floats(-np.pi, np.pi)),
    }


@st.composite
def bores(draw, narrowest):
    """A cylinder, or cones that are nowhere narrower than this, nor a fifth wider."""
    places = sorted(draw(st.sets(st.floats(-0.3, 2), min_size=1, max_size=4)))
    widths = [narrowest * draw(st.floats(1, 1.2)) for _ in places]
    cylinder = Bore(stations=((0.0, narrowest),))
    return draw(st.just(cylinder) | st.just(Bore(stations=tuple(zip(places, widths, strict=True)))))


@st.composite
def ends(draw, bore, position, kinds):
    kind = draw(st.sampled_from(kinds))
    outer = 1.2 * bore + 2 * draw(walls) if kind == "open" else None
    return End(position=position, kind=kind, outer_diameter=outer)


@st.composite
def flutes(draw):
    bore = draw(st.floats(0.008, 0.05))
    count = draw(st.integers(0, 7))
    length = draw(st.floats(0.3, 1.5))
    wall = draw(walls)
    holes = tuple(
        Hole(
            position=length * (index + 1 + draw(st.floats(-0.1, 0.1))) / (count + 1),
            diameter=(diameter := draw(st.floats(0.001, min(bore, 0.02)))),
            wall=(own := wall if draw(st.booleans()) else draw(walls)),
            label=draw(names),
            **draw(shapes(diameter, own)),
        )
        for index in range(count)
    )
    window = Window(
        along=draw(st.floats(0.001, 0.04)),
        across=bore * draw(st.floats(0.2, 1)),
        wall=wall,
        plug_to_window=draw(st.sampled_from([0.0, 0.001, 1e-300]) | st.floats(0, 0.02)),
        ramp=draw(st.just(np.pi / 2) | st.floats(0.02, np.pi / 2)),
        block=draw(st.just(0.0) | st.floats(0, 0.02)),
    )
    targets = st.builds(
        Target,
        fingering=st.just("x" * count),
        frequency=st.floats(50, 5000),
        label=names,
    )
    return Flute(
        name=draw(names),
        bore=draw(bores(bore)),
        holes=holes,
        head=draw(st.just(window) | ends(bore, 0.0, ("open", "flanged", "stopped", "node"))),
        foot=draw(ends(bore, length, ("open", "flanged", "stopped"))),
        uncertainty=Uncertainty(
            bore=draw(st.none() | st.floats(1e-6, 0.001)), length=draw(st.none() | st.just(0.0005))
        ),
        targets=tuple(draw(st.lists(targets, max_size=2))),
    )


@given(flutes(), st.sampled_from(["mm", "in"]))
def test_files_round_trip_digit_for_digit(tmp_path_factory, flute, unit):
    path = tmp_path_factory.getbasetemp() / "round.toml"
    write_flute(flute, path, unit=unit, overwrite=True)
    assert replace(read_flute(path), source="") == flute


@given(st.floats(0.002, 0.007), st.floats(0.25, 4), st.sampled_from(["mm", "in"]))
def test_an_oval_round_trips_to_rounding(tmp_path_factory, diameter, aspect, unit):
    flute = Flute(
        name="",
        bore=Bore(stations=((0.0, 0.016),)),
        holes=(Hole(position=0.2, diameter=diameter, wall=0.003, aspect=aspect),),
        head=End(position=0.0, kind="node"),
        foot=End(position=0.4, kind="stopped"),
    )
    path = tmp_path_factory.getbasetemp() / "oval.toml"
    write_flute(flute, path, unit=unit, overwrite=True)
    back = read_flute(path).holes[0]
    # three roundings of half a unit in the last place on each way
    assert (back.diameter, back.aspect) == pytest.approx((diameter, aspect), rel=1e-15)


def test_written_numbers_are_the_shortest(tmp_path, read):
    path = tmp_path / "written.toml"
    write_flute(read(GOOD), path, unit="in")
    text = path.read_text(encoding="utf-8")
    assert "diameter = 0.201\n" in text
    assert "diameter = 0.1875\n" in text
    assert 'label = "left ring"' in text


def test_a_thin_end_is_written_as_a_sharp_rim(tmp_path):
    flute = Flute(
        name="thin",
        bore=Bore(stations=((0.0, 0.02),)),
        holes=(),
        head=End(position=0.0, kind="open"),
        foot=End(position=0.4, kind="open"),
    )
    write_flute(flute, tmp_path / "thin.toml")
    back = read_flute(tmp_path / "thin.toml")
    assert (back.head.outer_diameter, back.foot.outer_diameter) == (0.02, 0.02)


def test_a_flute_file_is_not_overwritten_unasked(tmp_path, read):
    path = tmp_path / "mine.toml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(DataError, match="--overwrite"):
        write_flute(read(GOOD), path)
    assert path.read_text(encoding="utf-8") == "mine"


def test_what_a_flute_file_cannot_say_is_refused(tmp_path, read):
    flute = read(GOOD)
    with pytest.raises(ValueError, match="foot kind is 'node'"):
        write_flute(replace(flute, foot=End(position=0.3, kind="node")), tmp_path / "a.toml")
    with pytest.raises(ValueError, match="unit 'cm'"):
        write_flute(flute, tmp_path / "a.toml", unit="cm")
    angles = replace(flute.holes[0], angle=np.zeros((2, 1, 1)) + 0.1)
    with pytest.raises(ValueError, match="one number for each"):
        write_flute(replace(flute, holes=(angles,)), tmp_path / "a.toml")
    wide = Bore(stations=((0.0, np.array([0.015, 0.016]).reshape(2, 1, 1)),))
    with pytest.raises(ValueError, match="one number for each"):
        write_flute(replace(flute, bore=wide), tmp_path / "a.toml")
    assert not (tmp_path / "a.toml").exists()


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Hole(position=0.1, diameter=0, wall=0.003), "hole diameter: '0 mm': must be"),
        (lambda: Target(fingering="x", frequency=0), "target frequency: '0 Hz': must be"),
        (lambda: Uncertainty(bore=-0.001), "uncertainty bore: '-1 mm': must be"),
        (lambda: End(position=0, kind="reed"), "end kind: 'reed': no such end. Use one of open"),
        (lambda: Window(along=0.005, across=float("nan"), wall=0.003), "window across: 'nan mm'"),
    ],
)
def test_records_name_field_value_and_mend(make, message):
    with pytest.raises(RecordError) as error:
        make()
    assert message in str(error.value)


@pytest.mark.parametrize(
    ("name", "unit", "other"),
    [("three-quarter-five", "mm", "in"), ("half-inch-six", "in", "mm")],
)
def test_a_whole_file_in_the_other_unit_is_one_fault(read, name, unit, other):
    text = (DEMO / f"{name}.toml").read_text()
    with pytest.raises(DataError) as caught:
        read(text.replace(f'unit = "{unit}"', f'unit = "{other}"'))
    (fault,) = caught.value.faults
    assert (fault.place, fault.typed) == ("unit", other)
    assert f'Write unit = "{unit}"' in fault.mend


def test_a_file_that_no_one_unit_mends_keeps_its_faults(read):
    text = (DEMO / "three-quarter-five.toml").read_text()
    with pytest.raises(DataError) as caught:
        read(text.replace("wall = 3.0", "wall = 0.118").replace("358", "14.1"))
    assert "bore, wall" in [fault.place for fault in caught.value.faults]
    assert "unit" not in [fault.place for fault in caught.value.faults]


def test_what_is_wrong_in_any_unit_is_told_beside_the_unit(read):
    text = GOOD.replace('unit = "mm"', 'unit = "cm"').replace("along = 5.5", "along = -5.5")
    with pytest.raises(DataError) as caught:
        read(text)
    assert [fault.place for fault in caught.value.faults] == ["unit", "window, along"]


def test_a_hole_farther_from_the_foot_than_the_other_end_is_told_so(read):
    text = GOOD
    for edge, foot in (("160.5", "500"), ("200", "100"), ("240", "60")):
        text = text.replace(f"from_edge = {edge}", f"from_foot = {foot}")
    with pytest.raises(DataError) as caught:
        read(text.replace('"6,5 mm"', "-6.5"))
    far, thin = caught.value.faults
    assert far.place.endswith(", from_foot")
    assert far.problem == "so far from the foot it lies beyond the other end"
    assert thin.place.endswith(", diameter")


def test_holes_listed_from_the_foot_are_one_fault(read):
    head, *holes = (DEMO / "three-quarter-five.toml").read_text().split("[[hole]]")
    holes[-1], _, rest = holes[-1].partition("[[target]]")
    turned = "[[hole]]".join([head, *(hole + "\n" for hole in holes[::-1])])
    tail = f"[[target]]{rest}"
    with pytest.raises(DataError) as caught:
        read(turned + tail)
    (fault,) = caught.value.faults
    assert fault.place == "holes"
    assert "wrong order, written from the foot" in fault.problem
    # another fault is still told, at the hole as it is counted in the file
    with pytest.raises(DataError) as caught:
        read(turned.replace("from_edge = 264", "from_edge = 357") + tail)
    assert [fault.place for fault in caught.value.faults] == [
        "holes", "hole 1 (nearest the window), from_edge",
    ]  # fmt: skip
