"""Where a chain leaves what its formulas hold for: holes off the line, frequencies too high."""

from __future__ import annotations

import warnings

import numpy as np

from flutelab.errors import ValidityWarning
from flutelab.model.chain import Chain
from flutelab.physics import ends, window
from flutelab.physics.hole import warn_of_wave_number
from flutelab.physics.tube import stokes_number, warn_of_stokes


def off_the_line(chain: Chain) -> str:
    """Return which holes' coupling is left out, in words; "" where none is that matters.

    Parameters
    ----------
    chain : Chain
    """
    left_out = np.any(chain.unheard, axis=tuple(range(chain.unheard.ndim - 1)))
    off = [str(i) for i in np.flatnonzero(left_out & ~chain.on_line)]  # node 0 is the head
    if not off or not np.any(chain.coupling):
        return ""
    which = f"hole {off[0]} does" if len(off) == 1 else f"holes {', '.join(off)} do"
    return (
        f"{which} not lie on the line of the window (counted from the window): what such a hole "
        "and the other openings do to each other through the air outside is left out"
    )


def warn_of_unheard(chain: Chain, stacklevel: int) -> None:
    """Warn of holes whose coupling is left out.

    Parameters
    ----------
    chain : Chain
    stacklevel : int
        Of `warnings.warn`.
    """
    if told := off_the_line(chain):
        words = f"{told}; `modes` says by how many cents"
        warnings.warn(words, ValidityWarning, stacklevel=stacklevel)


def bore_radii(chain: Chain) -> tuple[np.ndarray, ...]:
    """Return the radii of the bore's pieces, near and far ends [m].

    Parameters
    ----------
    chain : Chain
    """
    return (chain.radius,) if chain.cones is None else (chain.cones.near, chain.cones.far)


def warn_of_frequencies(chain: Chain, lowest: float, highest: float) -> None:
    """Warn where frequencies are beyond what ends, holes and wall losses hold for.

    Parameters
    ----------
    chain : Chain
    lowest, highest : float
        [Hz]
    """
    air = chain.air.openings
    k = 2 * np.pi * highest / np.min(air.sound_speed)
    plain = [end for end in (chain.head, chain.foot) if end.kind in ("open", "flanged")]
    if plain:
        widest = max(np.max(end.radius) for end in plain)
        ends.warn_of_range(k * widest, np.concatenate([np.ravel(end.lip_ratio) for end in plain]))
    if chain.head.kind == "window":
        window.warn_of_wave_number(k, np.max(chain.head.radius))
    narrowest = min(np.min(radius) for radius in bore_radii(chain))
    if chain.is_open.shape[-1]:
        warn_of_wave_number(k, np.max(chain.bore_radius))
        narrowest = min(narrowest, np.min(chain.mouth), np.min(chain.hole_radius))
    if np.any(chain.loss) and lowest > 0:
        warn_of_stokes(np.min(stokes_number(lowest, narrowest, air)))
