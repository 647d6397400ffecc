"""Rows: notes to predict or measured, one row a note."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.flute import Flute
from flutelab.physics.air import Air
from flutelab.physics.breath import AirAlong

_LETTERS = {"x": "x", "o": "o", "n": "n", "h": "h", "-": "n", "_": "n", "●": "x", "○": "o"}
_LETTERS |= {"•": "x", "⬤": "x", "◯": "o", "◐": "h", "◑": "h", "◒": "h", "◓": "h", "–": "n"}
_IGNORED = " \t|\u00a0"
_HALF = 0.5  # share of a half-covered hole's area that is left open


@dataclass(frozen=True, kw_only=True, eq=False)
class Rows:
    """N notes on a flute of H holes.

    Parameters
    ----------
    openness : (N, H)
        Share of the hole's area left open: 1 open, 0 closed, 0.5 half covered.
    drilled : (N, H)
        False where the hole is not drilled yet (`n`).
    diameter : (N, H) or None
        Hole diameters of each row [m]; None = the flute's.
    air : Air or AirAlong
        The bore's air, one for all of it or changing along it; leaves are floats or arrays
        of shape (N,).
    register : (N,)
        1, 2, ...; 0 = not stated.
    breath : (N,) or None
        Blowing pressure [Pa]; nan = not measured.
    driven : (N,) bool or None
        True where the air column was set going without a jet, by a loudspeaker or a tap;
        None = all rows were blown.
    label : tuple of str
        The fingering word of each row.
    """

    openness: np.ndarray
    drilled: np.ndarray
    diameter: np.ndarray | None = None
    air: Air | AirAlong
    register: np.ndarray
    breath: np.ndarray | None = None
    driven: np.ndarray | None = None
    label: tuple[str, ...]

    def __post_init__(self) -> None:
        count = len(self.label)
        shapes = {
            "openness": (np.ndim(self.openness) == 2, np.shape(self.openness)[:1]),
            "drilled": (np.shape(self.drilled) == np.shape(self.openness), (count,)),
            "register": (True, np.shape(self.register)),
        }
        for name, (good, shape) in shapes.items():
            if not good or shape != (count,):
                msg = f"rows: {name} does not have {count} rows"
                raise ValueError(msg)

    def __len__(self) -> int:
        return len(self.label)


def fingering_word(text: str, holes: int) -> str:
    """Return a fingering in the letters x, o, h, n.

    Parameters
    ----------
    text : str
        One letter a hole, first = nearest the window. Capitals, ``-`` and ``_``
        (for n) and filled, empty or half circles are read; blanks and ``|`` ignored.
    holes : int
        How many holes the flute has. A flute without holes takes an empty text,
        ``n`` or ``bare``.

    Raises
    ------
    ValueError
        A letter that is none of these, or a wrong number of letters.

    Examples
    --------
    >>> fingering_word("XXX ooo", 6)
    'xxxooo'
    """
    word = "".join(letter for letter in text.lower() if letter not in _IGNORED)
    if holes == 0 and word in ("", "n", "bare"):
        return ""
    if word == "bare":
        return "n" * holes
    unknown = sorted({letter for letter in word if letter not in _LETTERS})
    if unknown:
        msg = (
            f"fingering {text!r} holds {', '.join(map(repr, unknown))}; "
            "use x (closed), o (open), h (half covered) and n (not drilled)"
        )
        raise ValueError(msg)
    if len(word) != holes:
        msg = (
            f"fingering {text!r} has {len(word)} letters but the flute has {holes} holes; "
            "write one letter for each hole, the first for the hole nearest the window"
        )
        raise ValueError(msg)
    return "".join(_LETTERS[letter] for letter in word)


def rows(
    flute: Flute,
    fingerings: str | Sequence[str],
    *,
    air: Air | AirAlong,
    register: int | Sequence[int] = 1,
    breath: Sequence[float] | None = None,
    driven: Sequence[bool] | None = None,
    diameter: np.ndarray | None = None,
) -> Rows:
    """Make rows from fingering text.

    Parameters
    ----------
    flute : Flute
    fingerings : str or sequence of str
        A text of fingerings parted by blanks, or a sequence with one each.
    air : Air or AirAlong
        The bore's air; leaves floats or of shape (N,).
    register : int or (N,)
        1, 2, ...; 0 = not stated.
    breath : (N,), optional
        Blowing pressure [Pa].
    driven : (N,) bool, optional
        True where no jet blew: a loudspeaker or a tap set the air going.
    diameter : (N, H), optional
        Hole diameters [m] where they differ from the flute's.

    Raises
    ------
    ValueError
        No fingering, or one that does not fit the flute.
    """
    if isinstance(fingerings, str):
        fingerings = fingerings.split() or [""]
    if not len(fingerings):
        msg = "no fingering is given; name at least one, such as 'xxxooo'"
        raise ValueError(msg)
    words = [fingering_word(text, len(flute.holes)) for text in fingerings]
    letters = np.array([list(word) for word in words]).reshape(len(words), len(flute.holes))
    openness = np.select([letters == "o", letters == "h"], [1.0, _HALF], 0.0)
    return Rows(
        openness=openness,
        drilled=letters != "n",
        diameter=diameter,
        air=air,
        register=np.broadcast_to(np.asarray(register, dtype=int), (len(words),)),
        breath=None if breath is None else np.asarray(breath, dtype=float),
        driven=None if driven is None else np.asarray(driven, dtype=bool),
        label=tuple(words),
    )


def checked(fingerings: Rows) -> Rows:
    """Return rows; a TypeError says how to make them where something else was given."""
    if not isinstance(fingerings, Rows):
        kind = type(fingerings).__name__
        msg = f"fingerings are a {kind}; make them with rows(flute, words, air=...)"
        raise TypeError(msg)
    return fingerings


def is_open(fingerings: Rows) -> np.ndarray:
    """Return which holes are there and open, if only in part, (N, H)."""
    return (fingerings.openness > 0) & fingerings.drilled


def first_open(fingerings: Rows) -> np.ndarray:
    """Return the number of each row's first open hole (N,), from 0; H where none of H is."""
    foot = np.ones((len(fingerings), 1), bool)
    return np.argmax(np.concatenate([is_open(fingerings), foot], axis=-1), axis=-1)


def half_covered(fingerings: Rows) -> np.ndarray:
    """Return which rows have a partly covered hole (N,)."""
    return np.any(is_open(fingerings) & (fingerings.openness < 1), axis=-1)


def take(fingerings: Rows, index: np.ndarray) -> Rows:
    """Return some rows, by number or by mask (N,)."""
    index = np.arange(len(fingerings))[index]
    leaves = {name: v[index] if np.ndim(v) else v for name, v in vars(fingerings.air).items()}
    with already_warned():
        air = type(fingerings.air)(**leaves)
    return Rows(
        openness=fingerings.openness[index],
        drilled=fingerings.drilled[index],
        diameter=None if fingerings.diameter is None else fingerings.diameter[index],
        air=air,
        register=fingerings.register[index],
        breath=None if fingerings.breath is None else fingerings.breath[index],
        driven=None if fingerings.driven is None else fingerings.driven[index],
        label=tuple(fingerings.label[i] for i in index),
    )


def distinct(fingerings: Rows, *more: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Find rows that are alike to the air column: repeats are solved once.

    Parameters
    ----------
    fingerings : Rows
    *more : (N,) real arrays
        Further numbers by which rows must be alike.

    Returns
    -------
    index : (U,)
        One row of each kind.
    inverse : (N,)
        The kind of each row.
    """
    columns = [fingerings.openness, fingerings.drilled, *more]
    columns += [v for v in vars(fingerings.air).values() if np.ndim(v)]
    if fingerings.diameter is not None:
        columns.append(fingerings.diameter)
    table = np.column_stack([np.asarray(c, dtype=float) for c in columns])
    _, index, inverse = np.unique(table, axis=0, return_index=True, return_inverse=True)
    return index, inverse.reshape(-1)
