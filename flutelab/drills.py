"""Twist drills: the size of a named drill, and the drill nearest to a size."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from flutelab.units import INCH, NAMED_DRILLS, named_drill, parse_length

DRILL_KINDS = ("fraction", "number", "letter", "metric")


def drill_diameter(name: str) -> float:
    """Return the nominal diameter of a drill.

    Parameters
    ----------
    name : str
        ``'#1'`` to ``'#60'`` (also ``'no 7'``), ``'letter A'`` to ``'letter Z'``, or
        a fraction of an inch with its mark, ``'3/16"'`` or ``'3/16 in'``.

    Returns
    -------
    float
        Diameter [m].

    Raises
    ------
    ValueError
        Not such a name.

    Notes
    -----
    Sizes of ASME B94.11M; most number and letter sizes are from memory (see
    `units.NAMED_DRILLS`). A drilled hole differs from its drill: measure it.

    Examples
    --------
    >>> drill_diameter('letter F')
    0.0065278
    """
    if named_drill(name) is None and "/" not in name:
        msg = f"{name!r} is not the name of a drill; write '#7', 'letter F' or '3/16 in'"
        raise ValueError(msg)
    return parse_length(name)


def _fraction_name(size: Fraction) -> str:
    whole, part = divmod(size, 1)
    return " ".join(str(piece) for piece in (whole, part) if piece) + " in"


def _listed() -> dict[str, dict[str, float]]:
    sixty_fourths = [Fraction(n, 64) for n in range(1, 65)]
    tenths = [Fraction(n, 10) for n in range(10, 140)]  # mm; 3.0-13.9 are stock sizes in BS 328
    named = {name: float(size) for name, size in NAMED_DRILLS.items()}
    return {
        "fraction": {_fraction_name(size): float(size * INCH) for size in sixty_fourths},
        "number": {name: size for name, size in named.items() if name[0] == "#"},
        "letter": {name: size for name, size in named.items() if name[0] == "l"},
        "metric": {f"{float(size):.1f} mm": float(size / 1000) for size in tenths},
    }


_SIZES = _listed()


def nearest_drill(diameter: float, kinds: Iterable[str] = DRILL_KINDS) -> tuple[str, float]:
    """Return the drill whose size is nearest to a diameter.

    Parameters
    ----------
    diameter : float
        Wanted diameter [m].
    kinds : iterable of {'fraction', 'number', 'letter', 'metric'}
        The sets at hand; on a tie the set named first wins.

    Returns
    -------
    (str, float)
        Name and nominal diameter [m]. Fractions go to 1 in by 1/64, metric sizes
        from 1.0 to 13.9 mm by 0.1 mm.

    Raises
    ------
    ValueError
        A diameter that is not positive, an unknown set, or none.

    Examples
    --------
    >>> nearest_drill(0.0051)
    ('5.1 mm', 0.0051)
    >>> nearest_drill(0.0048, kinds=["fraction"])
    ('3/16 in', 0.0047625)
    """
    kinds = tuple(kinds)
    unknown = [kind for kind in kinds if kind not in DRILL_KINDS]
    if unknown or not kinds:
        msg = f"drill kinds {kinds!r}: use some of {', '.join(DRILL_KINDS)}"
        raise ValueError(msg)
    if not 0 < diameter < float("inf"):
        msg = f"drill diameter is {diameter!r} m; it must be greater than 0"
        raise ValueError(msg)
    sizes = [item for kind in kinds for item in _SIZES[kind].items()]
    return min(sizes, key=lambda item: abs(item[1] - diameter))
