"""What each cause of a mismatch is called, and an amount of it in the shop's words."""

from __future__ import annotations

from flutelab.fitting.mismatch import SESSION
from flutelab.model.corrections import META, Corrections
from flutelab.model.equivalents import equivalents
from flutelab.model.flute import Flute
from flutelab.units import half_up, inches, millimetres

_FORMULA, _WRITTEN, _USUAL = "than the formula says", "than written", "than usual"
# Each cause as a noun, what more and less of it is, and than what.
_CAUSES = {
    "window": ("the window correction", "longer", "shorter", _FORMULA),
    "foot": ("the foot correction", "longer", "shorter", _FORMULA),
    "wall": ("the wall at the holes", "thicker", "thinner", _WRITTEN),
    "hole_end": ("the end correction of the open holes", "longer", "shorter", _FORMULA),
    "bore": ("the bore", "wider", "narrower", _WRITTEN),
    "pad_depth": ("the fingers in the holes", "deeper", "less deep", _USUAL),
    "air_offset": ("the air in the bore", "warmer", "colder", _WRITTEN),
    "loss": ("friction at the bore's wall", "more", "less", _FORMULA),
    "breath": ("the pull of the breath", "more", "less", "for double the pressure than usual"),
    "second_register": ("overblowing", "sharper", "flatter", _USUAL),
    "jet": ("the jet's pull", "sharper", "flatter", _USUAL),
    "coupling": ("the openings hearing one another outside", "more", "less", _FORMULA),
    SESSION: ("breath and tuner", "sharp", "flat", "in all notes"),
}
_IN_CENTS = ("breath", "second_register", "jet", SESSION)
_FAHRENHEIT = 1.8  # degrees F in a kelvin


def cause_noun(name: str) -> str:
    """Return what a correction, the session, or an error of the geometry is called."""
    return _CAUSES[name][0] if name in _CAUSES else name


def cause_size(flute: Flute, name: str, amount: float) -> str:
    """Return an amount of a cause, in its own unit, without its sign: '0.30 mm'."""
    amount = abs(amount)
    if name == "air_offset":
        return f"{amount:.1f} C ({_FAHRENHEIT * amount:.1f} F)"
    if name in _IN_CENTS:
        return cents_words(amount)
    if name not in META:
        return length_words(amount, flute.unit)
    for e in equivalents(flute, Corrections()):
        if e.name == name:
            return length_words(amount * e.per_unit, flute.unit)
    return f"{100 * amount:.0f} %"


def cause_amount(flute: Flute, name: str, amount: float) -> str:
    """Return an amount of a cause and which way: '0.30 mm wider than written'."""
    _, more, less, than = _CAUSES.get(name, (name, "more", "less", _WRITTEN))
    words = f"{cause_size(flute, name, amount)} {more if amount > 0 else less} {than}"
    if name != SESSION:
        return words
    harder = "harder" if amount > 0 else "softer"
    share = abs(2 ** (amount / Corrections().breath) - 1)
    return f"{words}, as if blown {100 * share:.0f} % {harder}"


def acts_as(flute: Flute, name: str, amount: float) -> str:
    """Return `cause_amount` of what may be otherwise than it seems: 'as if 0.30 mm wider ...'."""
    than = _CAUSES[name][3] if name in _CAUSES else _WRITTEN
    seems = "as if " if than in (_WRITTEN, _USUAL) and name not in _IN_CENTS else ""
    return f"{seems}{cause_amount(flute, name, amount)}"


def length_words(metres: float, unit: str, decimals: int = 2) -> str:
    """Return a length without its sign in the unit of a flute's owner; inches to 0.001."""
    metres = abs(metres)
    if unit == "in":
        return f"{half_up(inches(metres), 3)} in"
    return f"{half_up(millimetres(metres), decimals)} mm"


def cents_words(size: float) -> str:
    """Return whole cents without their sign: '1 cent', '12 cents'."""
    whole = round(abs(float(size)))
    return "1 cent" if whole == 1 else f"{whole} cents"


def way_words(cents: float) -> str:
    """Return cents, and which way: '12 cents flat'."""
    return f"{cents_words(cents)} {'sharp' if cents > 0 else 'flat'}"
