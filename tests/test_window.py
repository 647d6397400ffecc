"""The duct's window: finite elements, limits, signs and warnings."""

import csv
import warnings
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from flutelab import ValidityWarning, read_flute
from flutelab.physics import ends, hole, shapes, window

ROOT = Path(__file__).parent.parent
BORE, WALL, ALONG, ACROSS = 7.9e-3, 2.8e-3, 6e-3, 8e-3
SOUND_SPEED = 345.0
FUNCTIONS = [window.window_length, window.published_window_length]
both = pytest.mark.parametrize("length", FUNCTIONS)


# --- against finite elements ------------------------------------------------------------


def _rows(name):
    path = ROOT / "tests" / "reference" / "finite_elements" / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _stored(**sizes):
    """Return the window length of shapes.csv that has these sizes and no others [mm]."""
    asked = {key: f"{size:g}" for key, size in sizes.items()}
    (value,) = [
        float(row["value"])
        for row in _rows("shapes")
        if row["quantity"] == "window length"
        and {key: row[key] for key in list(row)[1:-4] if row[key]} == asked
    ]
    return value


@cache
def table():
    """Finite elements of four windows at four frequencies, lengths in m."""
    rows = _rows("windows")
    scale = {name: 1e-3 if name.endswith("_mm") else 1.0 for name in rows[0]}
    return {
        name.removesuffix("_mm"): np.array([factor * float(row[name]) for row in rows])
        for name, factor in scale.items()
    }


def _from_plug_face(length_of, stub_of):
    """Z(x = 0) over Zc and k: half a window of tube, then cavity and window side by side."""
    t = table()
    sizes = t["along"], t["across"], t["wall"], t["bore_radius"]
    k = 2 * np.pi * t["frequency_hz"] / SOUND_SPEED
    mass = 1j * k * length_of(*sizes) + window.radiation_resistance(k, t["bore_radius"])
    centre = 1 / (1 / mass + window.stub_admittance(k, stub_of(*sizes)))
    back = -1j * np.tan(k * t["along"] / 2)
    return (centre + back) / (1 + centre * back), k


@pytest.mark.parametrize(
    ("length_of", "stub_of", "limit"),
    [
        (window.window_length, window.stub_length, 0.005),
        (window.published_window_length, window.published_stub_length, 0.013),
    ],
)
def test_four_windows_to_1500_hz(length_of, stub_of, limit):
    """D of Z(x = 0) = j Zc tan(k D).

    Ours within 0.5 % (three of its constants were fitted here); the published rule 1.3 %.
    """
    z, k = _from_plug_face(length_of, stub_of)
    off = np.abs(np.arctan(z.imag) / k / table()["plug_face_length"] - 1)
    worst = off.argmax()
    assert off.max() < limit, f"{off.max():.4f} at {table()['frequency_hz'][worst]:g} Hz, {worst}"


def test_the_resistance_of_four_windows():
    """(ka)^2/4 of a source in full space, seen through the cavity; 4 % at 1500 Hz."""
    z, _ = _from_plug_face(window.window_length, window.stub_length)
    assert z.real == pytest.approx(table()["resistance_over_zc"], rel=0.04)


def test_the_cavity_leaves_one_length_at_every_frequency():
    """With the window's own air the length does not drift: 0.2 % from 300 to 1500 Hz.

    Without it 0.8 to 1.6 %.
    """
    t = table()
    sizes = t["along"], t["across"], t["wall"], t["bore_radius"]
    k = 2 * np.pi * t["frequency_hz"] / SOUND_SPEED
    centre = np.tan(k * (t["plug_face_length"] + t["along"] / 2))
    drifts = []
    for stub_of in (window.stub_length, window.published_stub_length):
        seen = 1 / (1 / centre + np.tan(k * stub_of(*sizes))) / k
        drifts.append(np.ptp(seen.reshape(4, 4), axis=1) / seen.reshape(4, 4)[:, 0])
    assert drifts[0].max() < 0.002
    assert drifts[1].min() > 0.007


@pytest.mark.parametrize(
    ("bore", "shape", "limit"),
    [
        (7.9, {"ramp_degrees": 30}, 0.01),  # not fitted
        (10.45, {"ramp_degrees": 30}, 0.01),  # not fitted
        (7.9, {"block_mm": 8}, 0.005),  # what the block was fitted to
        (7.9, {"plug_to_window_mm": 5}, 0.016),  # not fitted
        (7.9, {"plug_to_window_mm": 15}, 0.01),  # not fitted
    ],
)
def test_ramp_block_and_recessed_plug(bore, shape, limit):
    """Own finite elements (shapes.csv), +-1 %: window 6 mm by 8 mm across, wall 2.8 mm."""
    stored = _stored(bore_radius_mm=bore, wall_mm=2.8, across_mm=8, along_mm=6, **shape)
    length = window.window_length(
        ALONG, ACROSS, WALL, 1e-3 * bore,
        ramp=np.radians(shape.get("ramp_degrees", 90)),
        block=1e-3 * shape.get("block_mm", 0),
        plug_to_window=1e-3 * shape.get("plug_to_window_mm", 0),
    )  # fmt: skip
    assert 1e3 * length == pytest.approx(stored, rel=limit)


@pytest.mark.parametrize(
    ("across", "along", "wall", "own", "rule"),
    [
        (11.2, 3.1, 0.4, 1.05, 1.10),
        (12.0, 4.0, 0.4, 1.07, 1.11),
        (8.0, 6.0, 0.5, 1.00, 1.00),
    ],
)
def test_thin_wide_windows_as_organ_pipes_have(across, along, wall, own, rule):
    """Own finite elements (shapes.csv): beyond the range the lengths are long, and it is told.

    2.3 a^2/sqrt(WH) of Ingerslev and Frobenius (1947, from memory) is right to 8 %.
    """
    centre = _stored(bore_radius_mm=7.9, wall_mm=wall, across_mm=across, along_mm=along)
    sizes = 1e-3 * along, 1e-3 * across, 1e-3 * wall, BORE
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        found = [1e3 * length(*sizes) / centre for length in FUNCTIONS]
    assert found == pytest.approx([own, rule], abs=0.005)
    assert len(told) == (2 if across / along > 2.5 else 0)
    assert 2.3 * 7.9**2 / np.sqrt(across * along) == pytest.approx(centre, rel=0.08)


# --- limits and signs -------------------------------------------------------------------


def test_equal_area():
    assert np.pi * window.equal_radius(ALONG, ACROSS) ** 2 == pytest.approx(ALONG * ACROSS)


def test_a_long_opening_either_way_is_the_same():
    assert shapes.elongation(1.0) == 1.0
    assert shapes.elongation(0.5) == pytest.approx(shapes.elongation(2.0))
    assert shapes.elongation(2.0) < shapes.elongation(1.5) < 1


@both
def test_a_bigger_window_and_a_thinner_wall_correct_less(length):
    base = length(ALONG, ACROSS, WALL, BORE)
    assert length(1.1 * ALONG, ACROSS, WALL, BORE) < base
    assert length(ALONG, 1.1 * ACROSS, WALL, BORE) < base
    assert length(ALONG, ACROSS, 0.8 * WALL, BORE) < base


@both
@pytest.mark.filterwarnings("ignore:window. the published rule knows neither")
def test_lengths_scale_with_the_drawing(length):
    shape = {"plug_to_window": 0.002, "ramp": 0.6, "block": 0.004}
    scaled = {"plug_to_window": 0.004, "ramp": 0.6, "block": 0.008}
    sizes = np.array([ALONG, ACROSS, WALL, BORE])
    assert length(*(2 * sizes), **scaled) == pytest.approx(2 * length(*sizes, **shape))
    assert window.stub_length(*(2 * sizes), **scaled) == pytest.approx(
        2 * window.stub_length(*sizes, **shape)
    )


def test_a_small_window_without_wall_is_an_aperture():
    """Equal circle in a plane without thickness: both ends together pi r/2 (Lord Rayleigh).

    Far from the plug, in a wide bore, the inner and outer cylinders are planes.
    """
    side, bore = 1e-6, 1.0
    height = window.window_height(side, side, 1e-12, bore, plug_to_window=5.0)
    assert height / window.equal_radius(side, side) == pytest.approx(np.pi / 2, rel=1e-3)


def test_a_thick_wall_has_two_flanged_ends():
    side, bore, wall = 1e-6, 1.0, 1e-5
    height = window.window_height(side, side, wall, bore, plug_to_window=5.0)
    both_ends = 2 * ends.FLANGED_LIMIT * window.equal_radius(side, side)
    assert height - wall == pytest.approx(both_ends, rel=2e-3)


def test_shapes_that_do_nothing():
    """A straight wall, no block, a far plug."""
    base = window.window_height(ALONG, ACROSS, WALL, BORE)
    assert window.ramp_height(ALONG, WALL, np.pi / 2) == pytest.approx(WALL, rel=1e-12)
    assert window.ramp_height(ALONG, WALL, np.radians(89.9)) == pytest.approx(WALL, rel=1e-3)
    assert window.window_height(ALONG, ACROSS, WALL, BORE, block=1e-9) == pytest.approx(base)
    near, far, farther = (
        window.window_height(ALONG, ACROSS, WALL, BORE, plug_to_window=d) for d in (0, 0.05, 0.06)
    )
    assert near > far
    assert far == pytest.approx(farther, rel=1e-6)


def test_a_ramp_against_slices_of_channel():
    """The midpoint rule over thin slices, each as long as the channel is there."""
    ramp, count = 0.5, 2000
    z = (np.arange(count) + 0.5) / count * WALL
    slices = np.sum(ALONG / (ALONG + z / np.tan(ramp))) * WALL / count
    assert window.ramp_height(ALONG, WALL, ramp) == pytest.approx(slices, rel=1e-7)


def test_a_lower_ramp_and_no_block_correct_less():
    heights = [
        window.window_height(ALONG, ACROSS, WALL, BORE, ramp=np.radians(angle))
        for angle in (20, 30, 45, 90)
    ]
    assert np.all(np.diff(heights) > 0)
    blocks = [window.window_height(ALONG, ACROSS, WALL, BORE, block=h) for h in (0, 2e-3, 8e-3)]
    assert np.all(np.diff(blocks) > 0)


def test_the_cavity_reaches_beyond_the_plug():
    sizes = ALONG, ACROSS, WALL, BORE
    plain = window.published_stub_length(*sizes, plug_to_window=0.002)
    assert plain == pytest.approx(ALONG / 2 + 0.002)
    own = window.stub_length(*sizes, plug_to_window=0.002) - plain
    height = window.window_height(*sizes, plug_to_window=0.002)
    assert own == pytest.approx(0.21 * height * ALONG * ACROSS / (np.pi * BORE**2))


def test_the_published_rule_is_the_equal_hole():
    radius = window.equal_radius(ALONG, ACROSS)
    plain = hole.open_length(radius, BORE, WALL, BORE + WALL, hole.PUBLISHED)
    expected = 1.06 * plain * (BORE / radius) ** 2
    shape = {"ramp": 0.6, "block": 0.004, "plug_to_window": 0.003}
    with pytest.warns(ValidityWarning, match="neither ramp nor block; both are left out"):
        found = window.published_window_length(ALONG, ACROSS, WALL, BORE, **shape)
    assert found == pytest.approx(expected)


def test_radiation_into_full_space():
    """R = rho c k^2/(4 pi), over rho c/S of the bore."""
    k = 9.0
    assert window.radiation_resistance(k, BORE) / (np.pi * BORE**2) == pytest.approx(
        k**2 / (4 * np.pi)
    )


def test_a_short_cavity_is_a_volume():
    assert window.stub_admittance(0.01, 0.003) == pytest.approx(1j * 0.01 * 0.003)


# --- refusals and warnings --------------------------------------------------------------


@pytest.mark.parametrize("ramp", [0.0, -0.5, 1.7, np.nan])
@pytest.mark.parametrize("function", [window.window_height, window.stub_length])
def test_a_ramp_that_is_none_is_refused(function, ramp):
    with pytest.raises(ValueError, match=f"ramp is {ramp:g} rad; it must lie above 0"):
        function(ALONG, ACROSS, WALL, BORE, ramp=ramp)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"along": 3e-3}, "its width across the pipe is 2.67 of its length along it"),
        ({"across": 3e-3}, "its width across the pipe is 0.5 of its length along it"),
        ({"bore_radius": 14e-3}, "its area is 0.078 of the bore's"),
        ({"bore_radius": 6e-3}, "its area is 0.424 of the bore's"),
        ({"wall": 0.3e-3}, "its wall is 0.0767 of the equal circle's radius"),
        ({"ramp": np.radians(15)}, r"its ramp rises by 15 degrees \(compared from 20\)"),
    ],
)
def test_ranges_are_warned_of_once_with_the_value(changed, words):
    sizes = {"along": ALONG, "across": ACROSS, "wall": WALL, "bore_radius": BORE} | changed
    with pytest.warns(ValidityWarning, match=words) as told:
        window.window_length(**sizes)
    assert len(told) == 1
    assert told[0].filename == __file__
    assert str(told[0].message).startswith("window: ")


def test_all_faults_of_a_batch_stand_in_one_warning():
    with pytest.warns(ValidityWarning) as told:
        window.window_length(ALONG, np.array([[1e-3], [8e-3], [30e-3]]), WALL, BORE)
    assert len(told) == 1
    for words in ("is 0.167 of", "is 5 of", "is 0.0306 of", "is 0.918 of"):
        assert words in str(told[0].message)


@pytest.mark.parametrize("name", sorted(p.name for p in (ROOT / "data-demo").glob("*.toml")))
def test_the_demo_flutes_lie_inside(name):
    """A warning is an error in these tests."""
    flute = read_flute(ROOT / "data-demo" / name)
    if hasattr(flute.head, "along"):
        _both_lengths(flute.head.along, flute.head.across, flute.head.wall,
                      flute.bore.stations[0][1] / 2)  # fmt: skip


@pytest.mark.parametrize("bore", [0.015, 0.017, 0.019])
def test_ordinary_flutes_lie_inside(bore):
    """A window of 6 by 8 mm in a wall of 2 to 4 mm."""
    for wall in (0.002, 0.003, 0.004):
        _both_lengths(ALONG, ACROSS, wall, bore / 2)


def _both_lengths(*sizes):
    assert all(0.01 < length(*sizes) < 0.1 for length in FUNCTIONS)
