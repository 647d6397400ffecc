"""The window of the duct: its end correction and the cavity behind it, from its centre.

`along` is the cut-up along the pipe, `across` the width, `wall` the thickness at the window,
`ramp` the angle of the sounding edge's slope to the pipe's axis (pi/2 = a straight wall),
`block` the height of a block behind the flue (0 = none), `plug_to_window` the way from the
plug's face to the window's nearer edge [m, rad]. A real instrument lies within about 10 %.
"""

from __future__ import annotations

import numpy as np

from flutelab.physics.ends import FLANGED_LIMIT
from flutelab.physics.hole import inner_length_lefebvre, matching_height, outer_length_dalmont
from flutelab.physics.ranges import outside, warn
from flutelab.physics.shapes import elongation

PLUG, NEAR = 0.413, 3.05  # the plug's face beside the window; over its distance in bore radii
SPRING = 0.21  # of t_w: depth of the window's own air as a cavity
BLOCK = 0.18  # a tall block behind the flue, over the equal radius
THIN = 2 * FLANGED_LIMIT - np.pi / 2  # two ends of an opening without wall, too long by this
CROSS = 3.83  # first radial mode of a round opening: how fast two ends forget each other
SHAPE = 1.06  # published rule: rectangular window over the round hole of equal area

# What the finite elements covered: across/along, area over the bore's section, wall over the
# equal radius, ramp. (These bound the plug's distance too: from 0.18 bore radii.)
ASPECT, AREA = (0.6, 2.5), (0.1, 0.33)
THINNEST = 0.1
FARTHEST, TALLEST = 2.3, 2.1  # plug behind the centre over a; block over r
HIGHEST = 0.3  # ka
SHALLOWEST = np.radians(20)


def equal_radius(along: float, across: float) -> float:
    """Return the radius of the circle with the window's area [m]."""
    return np.sqrt(along * across / np.pi)


def ramp_height(along: float, wall: float, ramp: float) -> float:
    """Return the straight wall as heavy as one cut back at an angle on one side [m].

    Raises
    ------
    ValueError
        A ramp outside 0 < ramp <= pi/2.

    Notes
    -----
    The channel widens outwards: integral of dz along/(along + z cot(ramp)). Derived;
    two finite-element windows with 30 degrees are met within 0.9 % of Delta L_w; other
    angles not checked (2 % from 20 degrees up, estimate).
    """
    bad = np.ravel(ramp)[~((np.ravel(ramp) > 0) & (np.ravel(ramp) <= np.pi / 2 + 1e-9))]
    if bad.size:
        msg = f"the window's ramp is {bad[0]:.4g} rad; it must lie above 0 and up to pi/2"
        raise ValueError(msg)
    slope = along * np.tan(np.minimum(ramp, np.pi / 2))
    return slope * np.log1p(wall / slope)


def block_height(radius: float, block: float) -> float:
    """Return what a block behind the flue adds to t_w at an equal radius [m].

    0.18 r (1 - exp(-block/r)): from one finite-element window (8 mm high, twice as wide as
    the window: +7.5 % of Delta L_w) and the limit of no block; +-0.06 r.
    """
    return -BLOCK * radius * np.expm1(-block / radius)


def window_height(
    along: float,
    across: float,
    wall: float,
    bore_radius: float,
    *,
    plug_to_window: float = 0.0,
    ramp: float = np.pi / 2,
    block: float = 0.0,
) -> float:
    """Return t_w of Z = j k t_w rho c/(along * across) at k -> 0 [m].

    Parameters
    ----------
    along, across, wall, bore_radius, plug_to_window, ramp, block : float or array
        See the module [m, rad].

    Raises
    ------
    ValueError
        A ramp outside 0 < ramp <= pi/2.

    Notes
    -----
    With r the equal radius and d = along/2 + plug_to_window the plug's distance,
    t_w = w + t_m + (t_i + t_r) (1 - 0.08 ln(across/along)^2) + 0.413 r exp(-3.05 d/a)
    - 0.0724 r exp(-3.83 w/r), w by `ramp_height`, the block added. Own: 0.413 and 3.05
    fitted to four finite-element windows (flush plug, straight walls), met within 0.5 %;
    0.08 chosen to suit fourteen more (rms 0.3 %, worst 0.8 %, walls of 0.5-2.8 mm); the
    thin-wall and ramp terms derived. A plug 5 and 15 mm behind, not fitted: 1.5 % and
    0.9 % long.
    """
    radius = equal_radius(along, across)
    inner, outer = _round_ends(radius, wall, bore_radius)
    distance = along / 2 + plug_to_window
    return (
        ramp_height(along, wall, ramp)
        + matching_height(radius, bore_radius)
        + (inner + outer) * elongation(across / along)
        + PLUG * radius * np.exp(-NEAR * distance / bore_radius)
        - THIN * radius * np.exp(-CROSS * wall / radius)
        + block_height(radius, block)
    )


def _round_ends(radius, wall, bore_radius):
    return (
        inner_length_lefebvre(radius, bore_radius),
        outer_length_dalmont(radius, bore_radius + wall),
    )


def window_length(
    along: float,
    across: float,
    wall: float,
    bore_radius: float,
    *,
    plug_to_window: float = 0.0,
    ramp: float = np.pi / 2,
    block: float = 0.0,
) -> float:
    """Return Delta L_w, the window's end correction from its CENTRE at k -> 0 [m of bore].

    Arguments and errors as `window_height`, whose t_w it turns into bore length:
    t_w pi a^2/(along * across). From the sounding edge add along/2; from the plug's face
    subtract along/2 + plug_to_window.

    Warns
    -----
    ValidityWarning
        Outside what the formula was compared with: across/along 0.6-2.5, area over bore
        section 0.1-0.33, wall from 0.1 equal radii, ramp from 20 degrees, plug up to 2.3 bore
        radii behind the centre, block up to 2.1 equal radii high.
    """
    shape = {"plug_to_window": plug_to_window, "ramp": ramp, "block": block}
    _warn_of_shape(along, across, wall, bore_radius, **shape)
    height = window_height(along, across, wall, bore_radius, **shape)
    return height * np.pi * bore_radius**2 / (along * across)


def stub_length(
    along: float,
    across: float,
    wall: float,
    bore_radius: float,
    *,
    plug_to_window: float = 0.0,
    ramp: float = np.pi / 2,
    block: float = 0.0,
) -> float:
    """Return the length of the closed cavity behind the window's centre [m].

    Arguments and errors as `window_height`; `window_length` warns of its range.

    Notes
    -----
    along/2 + plug_to_window + 0.21 t_w along across/(pi a^2): the last is the spring of
    the air in and about the window itself. 0.21 makes Delta L_w the same from 300 to
    1500 Hz within 0.2 % in four finite-element windows (0.8-1.6 % without).
    """
    height = window_height(
        along, across, wall, bore_radius, plug_to_window=plug_to_window, ramp=ramp, block=block
    )
    own_air = SPRING * height * along * across / (np.pi * bore_radius**2)
    return along / 2 + plug_to_window + own_air


def published_window_length(
    along: float,
    across: float,
    wall: float,
    bore_radius: float,
    *,
    plug_to_window: float = 0.0,
    ramp: float = np.pi / 2,
    block: float = 0.0,
) -> float:
    """Return Delta L_w by the equal-area rule with published lengths of a round hole [m].

    Arguments and warning as `window_length`; `plug_to_window`, `ramp` and `block` do not
    enter: the rule knows flush plugs and straight walls.

    Notes
    -----
    1.06 (w + t_m + t_i + t_r) pi a^2/(along * across), +-2.5 % for flush plugs and straight
    walls of 1 mm and more; 10 % long for wide mouths in thin walls (11 x 3 mm in 0.4 mm).
    """
    flush = {"plug_to_window": 0.0, "ramp": np.pi / 2, "block": 0.0}
    _warn_of_shape(along, across, wall, bore_radius, **flush)
    if np.any(np.asarray(ramp) < np.pi / 2) or np.any(np.asarray(block) > 0):
        warn("window", ["the published rule knows neither ramp nor block; both are left out"])
    radius = equal_radius(along, across)
    height = wall + matching_height(radius, bore_radius)
    height = height + sum(_round_ends(radius, wall, bore_radius))
    return SHAPE * height * np.pi * bore_radius**2 / (along * across)


def published_stub_length(
    along: float,
    across: float,
    wall: float,
    bore_radius: float,
    *,
    plug_to_window: float = 0.0,
    ramp: float = np.pi / 2,
    block: float = 0.0,
) -> float:
    """Return along/2 + plug_to_window, from the window's centre to the plug's face [m].

    Arguments as `stub_length`; the others do not enter.
    """
    return along / 2 + plug_to_window


def warn_of_wave_number(k: float, bore_radius: float) -> None:
    """Warn once where ka is beyond 0.3, up to which windows were compared.

    Warns
    -----
    ValidityWarning
        With the value.
    """
    warn("window", [*outside(k * bore_radius, 0.0, HIGHEST, "ka is {} at the highest frequency")])


def _warn_of_shape(along, across, wall, bore_radius, *, plug_to_window, ramp, block):
    radius = equal_radius(along, across)
    distance = (along / 2 + plug_to_window) / bore_radius
    shallowest, rise = np.degrees(SHALLOWEST), np.degrees(ramp)
    told = [
        *outside(across / along, *ASPECT, "its width across the pipe is {} of its length along it"),
        *outside((radius / bore_radius) ** 2, *AREA, "its area is {} of the bore's"),
        *outside(wall / radius, THINNEST, np.inf, "its wall is {} of the equal circle's radius"),
        *outside(distance, 0.0, FARTHEST, "its plug lies {} bore radii behind its centre"),
        *outside(block / radius, 0.0, TALLEST, "its block is {} of the equal circle's radius high"),
        *outside(rise, shallowest, np.inf, "its ramp rises by {} degrees"),
    ]
    warn("window", told)


def radiation_resistance(k: complex, bore_radius: float) -> complex:
    """Return the window's radiation resistance over rho c/(pi a^2): (ka)^2/4, full space."""
    return (k * bore_radius) ** 2 / 4


def stub_admittance(k: complex, length: float) -> complex:
    """Return the admittance of the closed cavity behind the window's centre, times Zc."""
    return 1j * np.tan(k * length)
