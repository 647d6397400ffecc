"""The bore between openings: cylinders, or cones end to end, as two-ports.

Shapes (batch, note, frequency), a last axis over tubes or over their cones. Impedances are
relative to rho c/(pi r^2) of a reference radius r, that of the bore at the head.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from flutelab.errors import ValidityWarning
from flutelab.model.axes import join
from flutelab.physics.air import Air
from flutelab.physics.tube import cone, propagation

WIDEST_FLARE = 0.2  # the curved wave front is then 1 % larger than the plane section
STEEPEST = 0.1  # of a cone's narrow end, its change of radius: losses are those of the mean radius


@dataclass(frozen=True, kw_only=True, eq=False)
class Cones:
    """The cones of all tubes in a row; tube i has those from ``first[i]`` to ``first[i + 1]``.

    Where the air changes along the bore, ``near_scale`` and ``far_scale`` are the square roots
    of rho c halfway over that at either end (None in one air): a wave meets the same change of
    impedance in a tube of one air whose radius is the bore's times these.
    """

    length: np.ndarray
    near: np.ndarray  # radius at the head's side [m]
    far: np.ndarray
    flare: np.ndarray  # how fast the radius grows
    middle: np.ndarray  # its place along the bore
    first: tuple[int, ...]
    near_scale: np.ndarray | None = None
    far_scale: np.ndarray | None = None

    def in_one_air(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return near and far radius and flare of cones of one air with the same impedance."""
        if self.near_scale is None:
            return self.near, self.far, self.flare
        near, far = self.near * self.near_scale, self.far * self.far_scale
        there = self.length > 0  # in a batch a cone may have no length in one of its flutes
        return near, far, np.where(there, far - near, 0.0) / np.where(there, self.length, 1.0)


def cones(
    stations: Sequence[tuple[float, float]],
    places: Sequence[float],
    scale: float,
    longest: float | None = None,
) -> Cones | None:
    """Return the cones between openings; None where the bore is a cylinder.

    Parameters
    ----------
    stations : ((position, diameter), ...)
        Cylinders beyond the first and the last [m].
    places : sequence of n
        Of the openings, head to foot, leaves [m].
    scale : float or leaf
        Multiplies the diameters.
    longest : float, optional
        Cut cones, and a cylinder too, into pieces of at most this length [m].

    Notes
    -----
    How finely a batch is cut is that of its steepest flute: losses of the others may differ
    in the fourth digit from those of each alone.
    """
    cylinder = all(np.all(diameter == stations[0][1]) for _, diameter in stations)
    if cylinder and longest is None:
        return None
    ends = [-np.inf, *(place for place, _ in stations), np.inf]
    radii = [scale * diameter / 2 for _, diameter in stations]
    radii = [radii[0], *radii, radii[-1]]
    parts, first = [], [0]
    steepest = max(
        np.max(np.abs((far - near) / (end - begin)))
        for (begin, end), (near, far) in zip(pairwise(ends), pairwise(radii), strict=True)
    )
    if steepest > WIDEST_FLARE:
        warnings.warn(
            f"bore: its radius changes by {steepest:.3g} of the length (compared up to "
            f"{WIDEST_FLARE:g}); waves in so wide a cone are not those of its axis",
            ValidityWarning,
            stacklevel=3,
        )
    for tube in pairwise(places):
        for (begin, end), (near, far) in zip(pairwise(ends), pairwise(radii), strict=True):
            parts += _within(tube, begin, end, near, far, longest or np.inf)
        first.append(len(parts))
    return Cones(
        **{
            name: join([part[i] for part in parts])
            for i, name in enumerate(("length", "near", "far", "flare", "middle"))
        },
        first=tuple(first),
    )


def _within(tube, begin, end, near, far, longest):
    """The part of a tube between two stations: (length, near, far, flare, middle) of each cone."""
    low, high = np.maximum(tube[0], begin), np.minimum(tube[1], end)
    if not np.any(high > low):
        return []
    high = np.maximum(high, low)
    flare = (far - near) / (end - begin)  # 0 beyond the last station: infinite length
    start = near + flare * (low - begin) if np.all(np.isfinite(begin)) else near
    stop = start + flare * (high - low)
    change = np.max(np.abs(stop - start) / np.minimum(start, stop))
    pieces = np.maximum(change / STEEPEST, np.max(high - low) / longest)
    count = max(1, int(np.ceil(pieces)))
    length = (high - low) / count
    edges = [start + flare * length * i for i in range(count + 1)]
    middles = [low + length * (i + 0.5) for i in range(count)]
    return [
        (length, *edge, flare, middle)
        for edge, middle in zip(pairwise(edges), middles, strict=True)
    ]


def cone_elements(
    bore: Cones, frequency: np.ndarray, air: Air, loss: float, reference: float
) -> tuple[np.ndarray, ...]:
    """Return (a, b, c, d) of each cone, last axis cones.

    Impedances are relative to rho c/(pi r^2) at the head; `reference` = r^2 there, times the
    cones' rho c over the head's [m2].
    """
    gamma, relative = propagation(frequency, 0.5 * (bore.near + bore.far), air, loss)
    near, far, flare = bore.in_one_air()
    return cone(gamma, relative * reference / (near * far), bore.length, near, far, flare)


def end_to_end(bore: Cones, each: tuple[np.ndarray, ...]) -> tuple[np.ndarray, ...]:
    """Return (a, b, c, d) of each tube from those of its cones, last axis tubes."""
    tubes = []
    for begin, end in pairwise(bore.first):
        whole = tuple(part[..., begin] for part in each)
        for i in range(begin + 1, end):
            whole = product(whole, tuple(part[..., i] for part in each))
        tubes.append(whole)
    return tuple(np.stack(part, axis=-1) for part in zip(*tubes, strict=True))


def product(one: tuple[np.ndarray, ...], other: tuple[np.ndarray, ...]) -> tuple[np.ndarray, ...]:
    """Return the two-port of one after the other, head side first."""
    a, b, c, d = one
    e, f, g, h = other
    return a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h


def clamped_between(
    k: np.ndarray, bore: Cones, before: np.ndarray, after: np.ndarray, reference: float
) -> np.ndarray:
    """Return how many lossless modes of all tubes, closed by p = 0 at both ends, lie lower (...).

    Parameters
    ----------
    k : (..., cones) or (..., 1) real
    bore : Cones
    before, after : (..., tubes)
        Series reactances at each tube's ends, 0 or less.
    reference : float or (..., cones)
        As in `cone_elements`.

    Notes
    -----
    Each cone alone has floor(kL/pi). Joining one to those before it adds one where
    B_joined/(B_before B_next) is negative (the pivot of the node between them; Wittrick and
    Williams, see `modes.mode_count`); a negative series mass alone counts as -1.
    """
    near, far, flare = bore.in_one_air()
    each = cone(1j * k, reference / (near * far), bore.length, near, far, flare)
    total = np.sum(np.floor(k * bore.length / np.pi), axis=-1)
    for tube, (begin, end) in enumerate(pairwise(bore.first)):
        chained = [tuple(part[..., i] for part in each) for i in range(begin, end)]
        arms = [_arm(side[..., tube]) for side in (before, after)]
        total = total - sum(np.asarray(arm[1].imag < 0) for arm in arms)
        whole = arms[0]
        for part in [*chained, arms[1]]:
            joined = product(whole, part)
            turned = (1j * joined[1] * whole[1] * part[1]).real
            total = total + (turned < 0)
            whole = joined
    return total


def _arm(reactance):
    one = np.ones(np.shape(reactance), dtype=complex)
    return one, 1j * reactance * one, 0 * one, one
