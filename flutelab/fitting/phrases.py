"""The unknowns of a fit in words: a name, a noun, and a phrase for more or less of each."""

from __future__ import annotations

from collections.abc import Sequence

from flutelab.fitting.problem import Problem
from flutelab.fitting.unknowns import OF_A_DAY, Parameter

SLIGHT = 0.5  # prior sd

# a phrase of each correction that is more, or less; then its noun
_WORDS = {
    "window": ("a {} window correction", "longer", "shorter", "the window correction"),
    "foot": ("a {} foot correction", "longer", "shorter", "the foot correction"),
    "wall": ("{} walls at the holes", "thicker", "thinner", "the walls at the holes"),
    "hole_end": (
        "{} end corrections of the holes", "longer", "shorter", "the end corrections of the holes",
    ),
    "bore": ("a {} bore", "wider", "narrower", "the bore"),
    "air_offset": ("{} air", "warmer", "cooler", "the temperature of the air"),
    "breath": ("a {} pull of the breath", "stronger", "weaker", "the pull of the breath"),
    "second_register": ("{} overblown notes", "sharper", "flatter", "the pitch of overblowing"),
    "jet": ("a jet that blows {}", "sharper", "flatter", "the pull of the jet"),
    "pad_depth": ("fingers {} in the holes", "deeper", "less deep", "the fingers in the holes"),
    "loss": (
        "{} friction at the bore's wall", "more", "less", "the friction at the bore's wall",
    ),
    "coupling": (
        "openings that hear one another {}", "more", "less", "the coupling of the openings",
    ),
}  # fmt: skip


def _whose(problem, p):
    """The flute of an unknown that belongs to one of several tables, else "".

    Where several tables of one flute have such an unknown each, the table's name too.
    """
    if p.table is None or len(problem.tables) == 1:
        return ""
    m = problem.tables[p.table].measurements
    owners = [
        problem.tables[q.table].measurements.flute.name
        for q in problem.parameters
        if q.name == p.name and q.table is not None
    ]
    if owners.count(m.flute.name) == 1:
        return m.flute.name
    return f"{m.flute.name}, {m.source or 'table'} ({p.table + 1})"


def name_of(problem: Problem, p: Parameter) -> str:
    """Return an unknown's name, with its flute's where each table has its own."""
    whose = _whose(problem, p)
    return f"{p.name}, {whose}" if whose else p.name


def _phrases(problem, p):
    """(phrase, more, less, noun) of any unknown."""
    if p.session is not None:
        several = sum(q.session is not None for q in problem.parameters) > 1
        readings = f"readings of {p.name}" if several else "readings"
        return (readings + " all {}", "sharper", "flatter", f"an offset of all {readings}")
    whose = _whose(problem, p)
    phrase, more, less, noun = _WORDS.get(
        p.name, ("a {} error of " + p.name, "positive", "negative", f"an error of {p.name}")
    )
    of = f" of {whose!r}" if whose else ""
    return phrase + of, more, less, noun + of


def noun_of(problem: Problem, p: Parameter) -> str:
    """Return an unknown as a noun, such as "the bore"."""
    return _phrases(problem, p)[3]


def noun_of_all(name: str) -> str:
    """Return what several flutes, or days, have each for itself as one noun."""
    return f"{_WORDS[name][3]} of each {'table' if name in OF_A_DAY else 'flute'}"


def phrase_of(problem: Problem, p: Parameter, amount: float) -> str:
    """Return what an unknown is like when it is `amount` [prior sd] more: "a wider bore"."""
    phrase, more, less, _ = _phrases(problem, p)
    way = more if amount > 0 else less
    return phrase.format(f"slightly {way}" if abs(amount) < SLIGHT else way)


def looks_the_same(phrases: Sequence[str]) -> str:
    """Return the sentence that some phrases together make no difference to the notes.

    Examples
    --------
    >>> looks_the_same(["thicker walls at the holes", "a shorter window correction"])
    'Thicker walls at the holes with a shorter window correction would look the same.'
    """
    first, *others = phrases
    first = first[0].upper() + first[1:]
    if not others:
        return f"{first} would look the same."
    listed = " and ".join(filter(None, [", ".join(others[:-1]), others[-1]]))
    return f"{first} with {listed} would look the same."
