"""Openings that are not plain round holes: ovals, undercuts, rounded edges, part covers.

Lengths are hole lengths as in `flutelab.physics.hole`; `aspect` is an opening's length along
the pipe over its width across.
"""

from __future__ import annotations

import numpy as np

from flutelab.physics.hole import FLANGED, matching_height

ROUNDED = 0.45  # of an edge's radius, see `rounding_gain`
COVERED = 0.91  # fitted; 1 if the chimney were a channel as deep as the hole on average
LONG = 0.08  # of ln(across/along)^2: a long opening radiates more easily than a round one


def elongation(ratio: float) -> float:
    """Return the ends of a long opening over those of the round one of equal area.

    1 - 0.08 ln(ratio)^2, ratio = across/along or its inverse. Chosen for eighteen
    finite-element windows of 0.6 to 2.5; at 3 to 3.6 in a very thin wall 5-7 % long.
    """
    return 1 - LONG * np.log(ratio) ** 2


def rounding_gain(edge_radius: float, hole_radius: float) -> float:
    """Return the length that rounding one edge of a hole takes off [m].

    Notes
    -----
    0.45 r (r/b)^(1/3): near a sharp right-angled edge the flow's energy goes as the 4/3
    power of distance; 0.45 holds for r/b 0.05-0.5 within 0.01 r against finite elements of
    an edge in a plane (own).
    """
    return ROUNDED * edge_radius * np.cbrt(edge_radius / hole_radius)


def series_elongation(aspect: float) -> float:
    """Return by how much an oval's series length exceeds the equal circle's: aspect^0.6.

    `aspect` = length along the pipe over width across. From finite elements at 1.5 and
    1/1.5 in one pipe, met within 2 % (own).
    """
    return aspect**0.6


def closed_height(
    hole_radius: float, inner_radius: float, bore_radius: float, wall: float, depth: float
) -> float:
    """Return the height of the air under a closed hole over its bore-side area [m], >= 0.

    Parameters
    ----------
    hole_radius, inner_radius : float or array
        b_o outside and b_i at the bore; equal where the chimney is straight [m].
    bore_radius, wall : float or array
        [m]
    depth : float or array
        How far finger and lid together lie below the crest plane, on average [m].

    Notes
    -----
    pi b_i^2 times it is the volume of the truncated cone, the matching volume of its mouth
    added, `depth` of the outer area taken off.
    """
    ratio = hole_radius / inner_radius
    cone = wall * (1 + ratio + ratio**2) / 3 - depth * ratio**2
    return np.maximum(cone + matching_height(inner_radius, bore_radius), 0.0)


def cover_length(openness: float, hole_radius: float) -> float:
    """Return the length that a finger over part of an open hole adds between chimney and air [m].

    Parameters
    ----------
    openness : float or array
        Share of the hole's area left open, 0 to 1; infinite length at 0, none at 1.
    hole_radius : float or array
        At the outside [m].

    Notes
    -----
    b [0.822 (1/sqrt(s) - 1) + 0.91 ln(1/sin(pi s/2))]: the flow leaves by a circle of the open
    area, and the chimney is constricted as a channel is by a thin straight lid over part of
    it, whose length is (2/pi) depth ln(1/sin(pi s/2)) on one side; 0.91 is fitted where 1 belongs
    to the mean depth pi b/2. Within 0.01 b of Laplace's equation with a thin straight-edged
    lid on an endless chimney in a plane, s 0.25-0.9 (own). Left out: the finger's thickness and
    softness, the pipe's outer curvature, which side is covered, and that in a short chimney
    the flow does not even out: half open, up to 0.03 b less at a height of 0.8 b, 0.08 b at 0.5 b.

    Outer length and resistance stay those of the open hole: a small opening radiates by its
    flow alone. The flow is the same through both, so both count for the whole hole's area.
    """
    share = np.asarray(openness)
    with np.errstate(divide="ignore"):
        outside = FLANGED * (1 / np.sqrt(share) - 1)
        return hole_radius * (outside - COVERED * np.log(np.sin(np.pi * share / 2)))
