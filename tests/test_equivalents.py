"""Corrections as lengths: the arithmetic by hand."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import PIPE, SIX, STOPPED

from flutelab import Bore, Corrections, End, Formulas
from flutelab.model.chain import PUBLISHED
from flutelab.model.equivalents import equivalents
from flutelab.physics import hole


def by_name(flute, corrections=None, **options):
    return {
        (e.name, e.where): e for e in equivalents(flute, corrections or Corrections(), **options)
    }


# SIX by hand: a = 7.6 mm, window 6 x 8 mm in 3 mm wall, plug 2 mm behind the window.
# b = sqrt(48/pi) = 3.90882 mm, d = b/a = 0.514318.
#   t_m = b d/8 (1 + 0.207 d^3)                                          = 0.258372 mm
#   t_i = b (0.822 - 0.095 d - 1.566 d^2 + 2.138 d^3 - 1.640 d^4 + 0.502 d^5) = 2.31316 mm
#   t_r = b (0.822 - 0.47 (b/10.6 mm)^0.8)                                = 2.38793 mm
#   t_w = 3 + t_m + (t_i + t_r)(1 - 0.08 ln(8/6)^2) + 0.413 b e^(-3.05 * 5/7.6)
#         - 0.07239 b e^(-3.83 * 3/b); the plug lies 6/2 + 2 = 5 mm from the centre
#   t_w pi a^2/48 mm^2
def window_by_hand():
    a, wall, along, across = 7.6, 3.0, 6.0, 8.0
    b = (along * across / np.pi) ** 0.5
    d = b / a
    matching = b * d / 8 * (1 + 0.207 * d**3)
    inner = b * (0.822 - 0.095 * d - 1.566 * d**2 + 2.138 * d**3 - 1.640 * d**4 + 0.502 * d**5)
    outer = b * (0.822 - 0.47 * (b / (a + wall)) ** 0.8)
    height = wall + matching + (inner + outer) * (1 - 0.08 * np.log(across / along) ** 2)
    height += 0.413 * b * np.exp(-3.05 * 5 / a)
    height -= (2 * 0.82159 - np.pi / 2) * b * np.exp(-3.83 * wall / b)
    return height * np.pi * a**2 / (along * across) * 1e-3


def test_window_from_centre_edge_and_plug():
    length = window_by_hand()
    found = by_name(SIX, Corrections(window=1.1))
    centre = found["window", "from the window's centre"]
    edge = found["window", "from the sounding edge"]
    plug = found["window", "from the plug's face"]
    assert centre.formula == pytest.approx(length, rel=1e-12)
    assert centre.corrected == pytest.approx(1.1 * length, rel=1e-12)
    # from edge = centre + along/2; from plug = centre - along/2 - plug
    assert edge.formula == pytest.approx(length + 0.003, rel=1e-12)
    assert edge.corrected == pytest.approx(1.1 * length + 0.003, rel=1e-12)
    assert plug.formula == pytest.approx(length - 0.003 - 0.002, rel=1e-12)
    assert plug.corrected == pytest.approx(1.1 * length - 0.005, rel=1e-12)
    assert {e.per_unit for e in (centre, edge, plug)} == {centre.formula}


def test_foot_with_a_thick_lip_by_hand():
    q = 15.2 / 21.2
    s = 1 - q
    relative = 0.82159 - q * (0.82159 - 0.612701 - s * (0.1105 * np.log(1 / s) + 0.0632 * s))
    foot = by_name(SIX, Corrections(foot=0.9))["foot", "at the foot"]
    assert foot.formula == pytest.approx(0.0076 * relative, rel=1e-12)
    assert foot.corrected == pytest.approx(0.9 * 0.0076 * relative, rel=1e-12)


def test_both_ends_of_a_plain_pipe_and_none_of_a_stopped_one():
    found = by_name(PIPE)
    assert found["foot", "at the head"].formula == found["foot", "at the foot"].formula
    assert ("window", "from the sounding edge") not in found
    assert "foot" not in {name for name, _ in by_name(STOPPED)}
    assert {name for name, _ in found} == {"foot", "bore"}


def test_sharp_rim_and_flange():
    # 0.6127 a and 0.82159 a: the exact limits of the unflanged and the flanged end.
    sharp = replace(PIPE, foot=End(position=0.4))
    flanged = replace(PIPE, foot=End(position=0.4, kind="flanged"))
    assert by_name(sharp)["foot", "at the foot"].formula == pytest.approx(0.612701 * 0.0076)
    assert by_name(flanged)["foot", "at the foot"].formula == pytest.approx(0.82159 * 0.0076)


def test_means_over_the_holes():
    found = by_name(SIX, Corrections(wall=0.9, hole_end=1.05, pad_depth=0.5))
    where = "mean of the holes"
    wall = found["wall", where]
    assert wall.formula == pytest.approx(np.mean([3.0, 2.5, 3.0, 3.5, 3.0, 2.8]) * 1e-3)
    assert wall.corrected == pytest.approx(0.9 * wall.formula)
    both = [
        hole.inner_length_lefebvre(h.diameter / 2, 0.0076)
        + hole.outer_length(h.diameter / 2, 0.0076 + h.wall)
        - 2 * hole.thin_wall_loss(h.diameter / 2, h.wall)
        for h in SIX.holes
    ]
    assert found["hole_end", where].corrected == pytest.approx(1.05 * np.mean(both))
    radius = np.mean([5.5, 6.2, 5.8, 6.6, 7.0, 6.4]) / 2 * 1e-3
    pad = found["pad_depth", where]
    assert pad.formula == pytest.approx(0.3 * radius)  # the usual pad, 0.3 hole radii
    assert pad.corrected == pytest.approx(0.5 * radius)
    assert pad.per_unit == pytest.approx(radius)


def test_bore():
    bore = by_name(SIX, Corrections(bore=1.01))["bore", "inner diameter"]
    assert (bore.formula, bore.corrected) == (0.0152, pytest.approx(0.015352))


def test_per_unit_is_the_slope():
    low, high = (by_name(SIX, Corrections(window=w, foot=w, wall=w, hole_end=w, bore=w,
                                          pad_depth=w - 0.5)) for w in (1.0, 1.02))  # fmt: skip
    for key, e in low.items():
        assert (high[key].corrected - e.corrected) / 0.02 == pytest.approx(e.per_unit), key


def test_other_formulas_are_followed():
    other = Formulas(hole=replace(hole.OWN, inner=hole.inner_length_dalmont))
    usual, changed = by_name(SIX), by_name(SIX, formulas=other)
    key = "hole_end", "mean of the holes"
    assert changed[key].formula != usual[key].formula
    assert changed["foot", "at the foot"] == usual["foot", "at the foot"]


@pytest.mark.parametrize("shape", [{"inner_diameter": 0.0072}, {"outer_rounding": 0.001},
                                   {"aspect": 1.5}])  # fmt: skip
def test_shaped_holes_are_told_their_own_lengths(shape):
    """What the notes are computed with: inner end at the bore's side, edges, ovals."""
    one = replace(SIX.holes[1], **shape)
    shaped = replace(SIX, holes=(one,))
    b, a, w = one.diameter / 2, 0.0076, one.wall
    m = shape.get("inner_diameter", one.diameter) / 2
    oval = 1 - 0.08 * np.log(one.aspect) ** 2
    inner = oval * (hole.inner_length_lefebvre(m, a) - hole.thin_wall_loss(m, w)) * (b / m) ** 2
    outer = oval * (hole.outer_length(b, a + w) - hole.thin_wall_loss(b, w))
    outer -= 0.45 * one.outer_rounding ** (4 / 3) / b ** (1 / 3)
    found = by_name(shaped)["hole_end", "mean of the holes"].formula
    assert found == pytest.approx(inner + outer, rel=1e-9)


def test_the_published_set_gives_its_lengths():
    """0.8216 + q (0.6133 - 0.8216) + 0.057 q (1 - q^5), and 1.06 of the round hole: by hand."""
    found = by_name(SIX, formulas=PUBLISHED)
    q = 15.2 / 21.2
    relative = 0.8216 + q * (0.6133 - 0.8216) + 0.057 * q * (1 - q**5)
    assert found["foot", "at the foot"].formula == pytest.approx(0.0076 * relative, rel=1e-4)
    b = (48 / np.pi) ** 0.5 * 1e-3
    length = hole.open_length(b, 0.0076, 0.003, 0.0106, hole.PUBLISHED)
    centre = found["window", "from the window's centre"].formula
    assert centre == pytest.approx(1.06 * length * np.pi * 0.0076**2 / 48e-6, rel=1e-12)


def test_a_tapered_bore_is_told_where_each_length_lies():
    bore = Bore(stations=((0.0, 0.0160), (0.3, 0.0140)))
    tapered = replace(SIX, bore=bore)
    found = by_name(tapered)
    assert found["bore", "at the head, inner"].formula == pytest.approx(0.0160)
    narrow = by_name(replace(SIX, bore=Bore(stations=((0.0, 0.0140),))))["foot", "at the foot"]
    assert found["foot", "at the foot"].formula == pytest.approx(narrow.formula)
