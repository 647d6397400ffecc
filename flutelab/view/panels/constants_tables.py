"""Tables and sentences of the panel of constants, in the shop's units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from flutelab.files.foretell import UNSURE
from flutelab.files.size_words import drill_words
from flutelab.files.takeaway import Known
from flutelab.model.flute import Flute, Window
from flutelab.units import decimal_length, from_inch

_DRILLS = {"mm": ("metric",), "in": ("fraction", "number", "letter")}
_NO_BREAK = "\N{NO-BREAK SPACE}"  # between a whole inch and its fraction
_PLAINLY = {"K": "°C", "hole radii": "of a hole's radius"}
_LEARNED = {
    "prior only": ("*", "the notes say next to nothing: this is what was assumed before them"),
    "at limit": ("!", "at its limit: take it with care"),
}
_LENGTHS = ("window", "foot", "wall", "hole_end", "pad_depth", "bore")
_SAID = {
    "window": "window",
    "foot": "open end",
    "wall": "wall at the holes",
    "hole_end": "ends of open holes",
    "pad_depth": "fingers in the holes",
    "bore": "bore",
    "air_offset": "warmth of the air",
    "breath": "breath",
    "second_register": "overblown notes",
    "jet": "jet",
    "loss": "friction at the walls",
    "coupling": "coupling of openings",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Taken:
    """What the panel shows: what is known, the length asked for [m], and both lengths' notes."""

    known: Known
    unit: str
    length: float
    notes: pd.DataFrame | None


def long(taken: Taken) -> str:
    """Return the length asked for, in words."""
    return decimal_length(taken.length, taken.unit)


def far_end(flute: Flute) -> str:
    """Return what lengths are counted from."""
    return "Sounding edge" if isinstance(flute.head, Window) else "Head's end"


def sentence(taken: Taken) -> str:
    """Return the one live sentence: what the longest fingering sounds at this length."""
    if taken.notes is None:
        return "With a flute file too, its notes are foretold here."
    root = taken.notes.iloc[0]
    if taken.length == taken.known.flute.foot.position:
        return f"As it is, {long(taken)} to the foot: {_sounds(taken, root, 'this')}."
    said = _sounds(taken, root, "other")
    return f"Cut to {long(taken)}: {said}; {_moved(root['shift_cents'])}."


def _sounds(taken: Taken, row: pd.Series, which: str) -> str:
    doubt = UNSURE if taken.known.is_to_mend else f"± {row[f'{which}_sd_cents']:.0f}"
    note = row[f"{which}_note"]
    return f"{row['fingering']} {row[f'{which}_hz']:.1f} Hz, {note} cents, {doubt}"


def caption(taken: Taken) -> str:
    """Return what stands over the notes of both lengths."""
    unsure = f": {UNSURE}" if taken.known.is_to_mend else ""
    return f"This flute, and cut to {long(taken)}{unsure}"


def _moved(cents: float) -> str:
    return f"{abs(cents):.0f} cents {'higher' if cents > 0 else 'lower'} than now"


def _shown(frame: pd.DataFrame) -> pd.DataFrame:
    """Leave out what is held, and corrections of parts that the flute does not have."""
    lacking = frame["correction"].isin(_LENGTHS) & frame["with_correction_mm"].isna()
    return frame[(frame["learned"] != "held") & ~lacking]


def in_shop_units(frame: pd.DataFrame, unit: str) -> pd.DataFrame:
    """Return the corrections in the shop's unit, lengths first; those that are held left out."""
    shown = _shown(frame)
    sizes = {
        f"{head}, {unit}": [_size(x, unit) for x in shown[f"{column}_{unit}"]]
        for head, column in (("by formula", "by_formula"), ("corrected", "with_correction"))
    }
    return pd.DataFrame(
        {
            "correction": [_named(row) for row in shown.to_dict("records")],
            "counted": shown["where"],
            **sizes,
            f"±, {unit}": [_size(x, unit, plain=True) for x in shown[f"sd_{unit}"]],
            "times the formula": [_digits(row, "value") for row in shown.to_dict("records")],
            "±": [_digits(row, "value_sd") for row in shown.to_dict("records")],
        }
    )


def remarks(frame: pd.DataFrame, *, bent: bool) -> str:
    """Return what the marks in `in_shop_units` say: signs beside names, ±, units.

    ``bent``: something did not fit, and the truth need not lie within any ±.
    """
    shown = _shown(frame)
    said = [f"{sign} {words}" for word, (sign, words) in _LEARNED.items()
            if word in set(shown["learned"])]  # fmt: skip
    units = [unit for unit in shown["value_unit"].drop_duplicates() if unit != "times"]
    within = "±: two times in three the truth lies within it (one standard deviation)"
    said.append(f"{within}, but not before what does not fit is mended" if bent else within)
    if units:
        named = ", ".join(map(_unit, units))
        said.append(f"a number with its unit ({named}) stands by itself, not times a formula")
    return ".\n".join(f"{one[0].upper()}{one[1:]}" for one in said) + "."


def _named(row: dict) -> str:
    sign, _ = _LEARNED.get(row["learned"], ("", ""))
    return f"{_SAID[row['correction']]} {sign}".strip()


def _unit(unit: str) -> str:
    return _PLAINLY.get(unit, unit)


def _digits(row: dict, column: str) -> str:
    coarse = row["value_unit"] in ("cents", "cents per doubling", "K")
    unit = _unit(row["value_unit"]) if column == "value" and row["value_unit"] != "times" else ""
    return f"{row[column]:.{1 if coarse else 3}f} {unit}".strip()


def _size(size: float, unit: str, plain: bool = False) -> str:
    """Return a length in its unit, without naming it: mm to 0.01, inches to 0.001 (1/64)."""
    if pd.isna(size):
        return ""
    if unit == "mm" or plain:
        return f"{size:.{2 if unit == 'mm' else 3}f}"
    number, _, fraction = decimal_length(from_inch(size), unit).partition(" in")
    return number + fraction[:1] + fraction[1:].replace(" ", _NO_BREAK)


def meanings(frame: pd.DataFrame) -> pd.DataFrame:
    """Return what each correction is, and whether it holds for another length."""
    shown = _shown(frame).drop_duplicates("correction")
    return pd.DataFrame(
        {
            "correction": [_SAID[one] for one in shown["correction"]],
            "meaning": shown["meaning"],
            "for another length of this pipe": shown["holds_for_another_length"],
        }
    )


def hole_sizes(flute: Flute, unit: str) -> pd.DataFrame:
    """Return each hole's place and diameter in the shop's unit, and how far a drill is off."""
    drills = [drill_words(hole.diameter, _DRILLS[unit], unit) for hole in flute.holes]
    sizes = [_bare(hole.diameter, unit) for hole in flute.holes]
    return pd.DataFrame(
        {
            "hole, from the window": [str(n) for n in range(1, len(flute.holes) + 1)],
            f"{far_end(flute).lower()} to centre": [
                decimal_length(h.position, unit) for h in flute.holes
            ],
            "diameter": sizes,
            "nearest drill": drills,
        }
    )


def _bare(size: float, unit: str) -> str:
    """Return a length without the nearest 64th, beside which a drill would stand."""
    return decimal_length(size, unit).partition(" (")[0]


def both_lengths(notes: pd.DataFrame) -> pd.DataFrame:
    """Return the notes at both lengths, as they are shown; errors that are nan are left out."""
    table = pd.DataFrame(
        {
            "fingering": notes["fingering"],
            "this, Hz": [f"{f:.2f}" for f in notes["this_hz"]],
            "note and cents": notes["this_note"],
            "± cents": _errors(notes["this_sd_cents"]),
            "cut, Hz": [f"{f:.2f}" for f in notes["other_hz"]],
            "its note and cents": notes["other_note"],
            "its ± cents": _errors(notes["other_sd_cents"]),
            "moved, cents": [f"{cents:+.1f}" for cents in notes["shift_cents"]],
        }
    )
    return table.loc[:, (table != "").any()]


def _errors(sd: pd.Series) -> list[str]:
    return ["" if np.isnan(one) else f"{one:.0f}" for one in sd]
