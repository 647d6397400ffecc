"""The flute's records: the bore between its stations, and every fault of shapes and places."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flutelab.model.flute import (
    Bore,
    End,
    Flute,
    Hole,
    RecordError,
    Window,
    across_pipe,
    along_pipe,
    bore_diameter,
    geometry_faults,
    ordinal,
)

# 20 mm wide at the edge, 16 mm at the foot, 0.4 m away: 0.01 mm narrower a millimetre.
TAPER = Bore(stations=((0.0, 0.020), (0.4, 0.016)))
NEAR, MIDDLE = "hole 1 (nearest the window)", "hole 2 (counted from the window)"
SECOND, THIRD = "hole 2 (nearest the foot)", "hole 3 (nearest the foot)"


def hole(position=0.2, **sizes):
    return Hole(**{"position": position, "diameter": 0.006, "wall": 0.003, **sizes})


def flute(*holes, bore=TAPER, head=None, foot=None):
    head = head or Window(along=0.005, across=0.008, wall=0.003)
    return Flute(
        name="", bore=bore, holes=holes, head=head, foot=foot or End(position=0.4, kind="flanged")
    )


def faults_of(make):
    with pytest.raises(RecordError) as error:
        make()
    return {fault.place: str(fault) for fault in error.value.faults}


def test_the_bore_is_straight_between_its_stations_and_beyond_them():
    bore = Bore(stations=((-0.01, 0.018), (0.1, 0.016), (0.3, 0.012)))
    places = np.array([-1.0, -0.01, 0.045, 0.1, 0.15, 0.3, 9.0])
    expected = [0.018, 0.018, 0.017, 0.016, 0.015, 0.012, 0.012]
    assert bore_diameter(bore, places) == pytest.approx(np.array(expected), rel=1e-14)
    assert bore_diameter(Bore(stations=((0.0, 0.018),)), 0.3) == 0.018


def test_leaves_of_a_bore_may_be_arrays():
    batch = np.array([0.018, 0.020]).reshape(2, 1, 1)
    bore = Bore(stations=((0.0, batch), (0.2, 0.016)))
    assert bore_diameter(bore, 0.1) == pytest.approx(np.array([0.017, 0.018]).reshape(2, 1, 1))
    assert bore_diameter(bore, np.array([0.0, 0.1, 0.2])).shape == (2, 1, 3)


@given(
    st.lists(st.floats(0.005, 0.05), min_size=1, max_size=5),
    st.floats(-1, 2),
)
def test_the_bore_is_that_of_interpolation(diameters, position):
    """Reference: numpy.interp, a general-purpose linear interpolation."""
    places = np.linspace(-0.1, 0.7, len(diameters)) ** 3
    bore = Bore(stations=tuple(zip(places, diameters, strict=True)))
    expected = np.interp(position, places, diameters)
    assert bore_diameter(bore, position) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("stations", "place", "words"),
    [
        ((), "stations", "a bore needs a station"),
        (((0.0, 0.0),), "stations, 1st diameter", "'0 mm': must be greater than 0"),
        (((np.nan, 0.016),), "stations, 1st place", "this is no place"),
        (((0.0, 0.016), (0.0, 0.015)), "stations, 2nd place", "the station before it, at 0 mm"),
        (((0.1, 0.016), (0.05, 0.015)), "stations, 2nd place", "'50 mm': it does not lie beyond"),
        (((0.0, 0.016), (0.1, -0.015)), "stations, 2nd diameter", "'-15 mm'"),
        (((0.0, 0.016), (0.1, np.inf)), "stations, 2nd diameter", "'inf mm'"),
    ],
)
def test_a_bore_refuses_stations(stations, place, words):
    told = faults_of(lambda: Bore(stations=stations))
    assert list(told) == [place]
    assert words in told[place]


def test_a_bore_tells_all_faults_at_once():
    told = faults_of(lambda: Bore(stations=((0.2, 0.0), (0.1, 0.016), (0.3, -1.0))))
    assert list(told) == [
        "stations, 1st diameter",
        "stations, 2nd place",
        "stations, 3rd diameter",
    ]


def test_ordinals():
    assert [ordinal(n) for n in (1, 2, 3, 4, 11, 12, 13, 21, 22, 103, 111)] == (
        ["1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "22nd", "103rd", "111th"]
    )


@given(st.floats(0.001, 0.03), st.floats(0.25, 4))
def test_an_oval_has_the_area_of_its_circle(diameter, aspect):
    along, across = along_pipe(diameter, aspect), across_pipe(diameter, aspect)
    # the area of an ellipse is pi/4 times both axes
    assert along * across == pytest.approx(diameter**2, rel=1e-14)
    assert along / across == pytest.approx(aspect, rel=1e-14)


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        ({"inner_diameter": 0.0}, "inner_diameter: '0 mm': must be greater than 0"),
        ({"inner_diameter": np.nan}, "inner_diameter: 'nan mm': must be greater than 0"),
        ({"aspect": 4.1}, "aspect: '4.1': length over width must lie between 1/4 and 4"),
        ({"aspect": 0.2}, "aspect: '0.2': length over width"),
        ({"aspect": np.nan}, "aspect: 'nan': length over width"),
        ({"outer_rounding": -0.001}, "outer_rounding: '-1 mm': must lie between 0 (sharp) and"),
        ({"outer_rounding": 0.0031}, "outer_rounding: '3.1 mm'"),
        ({"inner_rounding": 0.0031}, "half the hole's width, 3 mm"),
        ({"inner_rounding": 0.0021, "inner_diameter": 0.004}, "half the hole's width, 2 mm"),
        # an oval of aspect 4 is half as wide as its circle
        ({"outer_rounding": 0.0016, "aspect": 4.0}, "half the hole's width, 1.5 mm"),
        ({"outer_rounding": 0.002, "inner_rounding": 0.0011}, "more than the wall of 3 mm"),
        ({"angle": 3.2}, "angle: '183.3 degrees': must lie between -180 and 180 degrees"),
        ({"angle": np.nan}, "angle: 'nan degrees'"),
    ],
)
def test_a_hole_refuses_shapes(sizes, words):
    (told,) = faults_of(lambda: hole(**sizes)).items()
    assert words in ": ".join((told[0], told[1].partition(": ")[2]))


def test_a_hole_tells_all_faults_at_once():
    assert list(faults_of(lambda: hole(position=-1, diameter=0, inner_diameter=0))) == [
        "position",
        "diameter",
        "inner_diameter",
    ]
    assert list(faults_of(lambda: hole(outer_rounding=1, inner_rounding=-1, angle=9))) == [
        "outer_rounding",
        "inner_rounding",
        "angle",
    ]


def test_shapes_at_their_limits_are_taken():
    assert hole(aspect=4.0, outer_rounding=0.0015, angle=-np.pi).aspect == 4.0
    assert hole(aspect=0.25, inner_rounding=0.0015, angle=np.pi).aspect == 0.25
    assert hole(outer_rounding=0.002, inner_rounding=0.001).inner_rounding == 0.001


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        ({"ramp": 0.0}, "window ramp: '0 degrees': must be more than 0 and at most 90 degrees"),
        ({"ramp": 1.6}, "window ramp: '91.67 degrees'"),
        ({"ramp": np.nan}, "window ramp: 'nan degrees'"),
        ({"block": -0.001}, "window block: '-1 mm': must be 0 or more"),
        ({"block": np.inf}, "window block: 'inf mm'"),
    ],
)
def test_a_window_refuses_shapes(sizes, words):
    with pytest.raises(RecordError) as error:
        Window(along=0.005, across=0.008, wall=0.003, **sizes)
    assert words in str(error.value)


def test_a_hole_is_compared_with_the_bore_at_its_place():
    # at 0.1 m the bore is 19 mm wide, at 0.3 m 17 mm
    assert flute(hole(0.1, diameter=0.018))
    told = faults_of(lambda: flute(hole(0.1), hole(0.3, diameter=0.018)))
    assert told == {
        f"{SECOND}, diameter": f"{SECOND}, diameter: '18 mm': the hole is wider than the bore "
        "of 17 mm. Check both diameters and their units."
    }


def test_an_oval_is_compared_by_its_width():
    # of the same area as an 18 mm circle, but 18/sqrt(2.25) = 12 mm wide
    assert flute(hole(0.3, diameter=0.018, aspect=2.25))
    told = faults_of(lambda: flute(hole(0.3, diameter=0.012, aspect=0.25)))
    assert "'24 mm': the hole is wider than the bore of 17 mm" in told[f"{NEAR}, diameter"]


def test_an_undercut_is_compared_with_the_bore():
    assert flute(hole(0.1, inner_diameter=0.018))
    assert list(faults_of(lambda: flute(hole(0.3, inner_diameter=0.018)))) == [
        f"{NEAR}, inner_diameter"
    ]


def test_window_and_rims_are_compared_with_the_bore_at_their_place():
    wide = Window(along=0.005, across=0.0195, wall=0.003)
    assert flute(head=wide)
    narrowing = Bore(stations=((-0.005, 0.019), (0.0, 0.020)))  # 19.5 mm at the window's centre
    assert flute(head=wide, bore=narrowing)
    told = faults_of(lambda: flute(head=replace(wide, across=0.0196), bore=narrowing))
    assert "'19.6 mm': the window is wider than the bore of 19.5 mm" in told["window, across"]
    assert flute(foot=End(position=0.4, kind="open", outer_diameter=0.016))
    rims = {
        "head": End(position=0.0, kind="open", outer_diameter=0.019),
        "foot": End(position=0.4, kind="open", outer_diameter=0.015),
    }
    told = faults_of(lambda: flute(**rims))
    assert "less than the bore of 20 mm" in told["head, outer_diameter"]
    assert "less than the bore of 16 mm" in told["foot, outer_diameter"]


def test_an_oval_reaches_along_the_pipe():
    # a 6 mm circle's area, 12 mm long: from the edge it needs 6 mm, from the foot as well
    assert flute(hole(0.0061, aspect=4.0, diameter=0.006))
    for place in (0.0059, 0.3941):
        told = faults_of(lambda at=place: flute(hole(at, aspect=4.0, diameter=0.006)))
        assert "does not lie inside" in told[f"{NEAR}, position"]
    assert flute(hole(0.1, aspect=4.0), hole(0.1121, aspect=4.0))
    told = faults_of(lambda: flute(hole(0.1, aspect=4.0), hole(0.1119, aspect=4.0)))
    assert "11.9 mm between their centres, at least 12 mm needed" in told[f"{SECOND}, position"]


def test_undercuts_may_not_meet_in_the_bore():
    assert flute(hole(0.1, inner_diameter=0.009), hole(0.1091, inner_diameter=0.009))
    told = faults_of(
        lambda: flute(hole(0.1, inner_diameter=0.009), hole(0.1089, inner_diameter=0.009))
    )
    assert "at least 9 mm needed" in told[f"{SECOND}, position"]


def test_holes_may_touch():
    # 206 mm less 196 mm is less than 10 mm by rounding
    assert flute(hole(0.196, diameter=0.015), hole(0.206, diameter=0.005))
    told = faults_of(lambda: flute(hole(0.196, diameter=0.015), hole(0.206, diameter=0.00501)))
    assert list(told) == [f"{SECOND}, position"]


def test_holes_apart_around_the_pipe_may_lie_side_by_side():
    cylinder = Bore(stations=((0.0, 0.016),))
    # 6 mm wide in a bore of 16 mm: arcsin(6/16) = 22.02 degrees to each side of the centre
    for degrees, good in ((44.1, True), (-44.1, True), (44.0, False), (0.0, False)):
        pair = (hole(0.1), hole(0.102, angle=np.radians(degrees)))
        told = geometry_faults(cylinder, pair, None, None)
        assert [fault.place for fault in told] == [] if good else [f"{SECOND}, position"]
    # across the seam opposite the window the angles are near again
    seam = (hole(0.1, angle=np.radians(170)), hole(0.102, angle=np.radians(-170)))
    assert len(geometry_faults(cylinder, seam, None, None)) == 1


def test_a_hole_between_does_not_hide_an_overlap():
    thumb = hole(0.102, angle=np.pi)
    told = faults_of(lambda: flute(hole(0.1), thumb, hole(0.104)))
    assert list(told) == [f"{THIRD}, position"]
    assert "it overlaps hole 1 (nearest the window): 4 mm" in told[f"{THIRD}, position"]


def test_a_hole_before_an_earlier_one_is_told_to_lie_before_it():
    told = faults_of(lambda: flute(hole(0.2), hole(0.1), hole(0.124)))
    assert "hole before it, at 200 mm" in told[f"{MIDDLE}, position"]
    assert "it lies before hole 1 (nearest the window), at 200 mm" in told[f"{THIRD}, position"]
    assert "overlaps" not in told[f"{THIRD}, position"]


def test_a_place_is_checked_beside_a_hole_that_could_not_be_read():
    told = geometry_faults(TAPER, (hole(0.2), None, hole(0.1)), None, None)
    assert [fault.place for fault in told] == [f"{THIRD}, position"]
    assert "hole before it, at 200 mm" in told[0].problem
    told = geometry_faults(None, (hole(0.2), None, hole(0.203)), None, None)
    assert "it overlaps hole 1 (nearest the window)" in told[0].problem
