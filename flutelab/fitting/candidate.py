"""A measurement that could be made next: which notes it reads, what it needs, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from flutelab.model.flute import Flute

KINDS = (
    "repeat", "another day", "fingering", "cross-fingering", "overblown", "driven",
    "thermometer", "caliper", "bare pipe", "stage", "second flute", "plain pipes",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One reading of one note.

    It is read on `flute`, with the air and the corrections of table `table`; that flute
    itself, or another, which has a bore of its own unless it is of the `same_pipe`.
    ``session``: one of the table's own; None = a new one. ``driven``: without breath.
    """

    flute: Flute
    table: int
    word: str
    register: int = 1
    driven: bool = False
    session: str | None = None
    same_pipe: bool = False


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A measurement that could be made next.

    Parameters
    ----------
    name : str
        A few words, for a picture.
    kind : str
        One of `KINDS`.
    words : str
        What to do, in a maker's words.
    needs : str
        What it takes beyond flute, tuner and thermometer; "" = nothing.
    readings : tuple of Reading
        Its cost is their number.
    tightened : mapping of int to float
        The sd that the prior of an unknown of the fit, by number, shrinks to.
    here : bool
        Whether it is made on a flute that is measured already, as it is.
    """

    name: str
    kind: str
    words: str
    needs: str = ""
    readings: tuple[Reading, ...] = ()
    tightened: Mapping[int, float] = field(default_factory=dict)
    here: bool = True


def note_words(word: str, register: int = 1) -> str:
    """Return a note in words.

    Examples
    --------
    >>> note_words("xxo"), note_words("xxo", 2), note_words("nnn")
    ('xxo', 'xxo overblown', 'the bare pipe')
    """
    name = word if set(word) - {"n"} else "the bare pipe"
    if register == 1:
        return name
    return f"{name} overblown" + (f" to register {register}" if register > 2 else "")
