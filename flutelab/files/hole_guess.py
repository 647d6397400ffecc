"""Predict first: what a class guesses another hole size does, and afterwards how near it came."""

from __future__ import annotations

import re
from dataclasses import dataclass

from flutelab.files.hole_lesson import SAME, changed_sizes
from flutelab.model.flute import Flute
from flutelab.pitch import cents
from flutelab.units import millimetres, parse_number, to_celsius

MOST = 10  # groups
GUESSES = (-300.0, 900.0)  # cents, whatever the pipe
ANSWERS = {  # letter: its words, and above how many cents it begins
    "A": ("it stays or falls", -float("inf")),
    "B": ("up, under one semitone", 5.0),
    "C": ("up, one to two semitones", 100.0),
    "D": ("up, over two semitones", 200.0),
}
_HANDS = 200
_GUESS = re.compile(r"(?P<number>[^\s;]+?)\s*(?P<unit>hz|cents?|ct)?(?=[\s;]|$)", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True)
class Board:
    """A question, what was guessed, and the answer once it is shown.

    ``before`` [Hz] is the note at the first diameter, None while that is not told, diameters in
    m; ``where`` says in what room; ``kind`` is ``one``, ``groups`` or ``hands``; ``guesses``
    [cents up from `before`] in the groups' order; ``hands`` one count for each of `ANSWERS`;
    ``answer`` [cents], None while it is hidden.
    """

    hole: int
    first: float
    second: float
    where: str
    before: float | None
    kind: str
    guesses: tuple[float, ...] = ()
    hands: tuple[int, ...] = (0, 0, 0, 0)
    answer: float | None = None


def read_guesses(text: str, before: float | None, most: int = MOST) -> tuple[float, ...]:
    """Read guesses parted by blanks, semicolons or lines [cents up from a note].

    Parameters
    ----------
    text : str
        Each a number of cents (``40``, ``-10 cents``), or the note itself (``612 Hz``).
    before : float or None
        The note that is moved [Hz]; None where it is not told: then a guess cannot be a note.
    most : int

    Raises
    ------
    ValueError
        With every guess that cannot be read or cannot be meant, and too many.

    Examples
    --------
    >>> read_guesses("40; -10 cents 600 Hz", 600.0)
    (40.0, -10.0, 0.0)
    """
    found, faults = [], []
    matches = list(_GUESS.finditer(text.strip()))
    if matches and not any(any(map(str.isdigit, match["number"])) for match in matches):
        msg = f"{text.strip()!r} is no guess; write cents, such as 40, or the note, such as 612 Hz"
        raise ValueError(msg)
    for match in matches:
        try:
            found.append(_one_guess(match["number"], (match["unit"] or "").lower(), before))
        except ValueError as error:
            faults.append(str(error))
    if len(found) > most:
        faults.append(f"{len(found)} guesses; there is room for {most}")
    if faults:
        raise ValueError("; ".join(faults))
    return tuple(found)


def _one_guess(number, unit, before):
    try:
        value = parse_number(number.rstrip(","))
    except ValueError:
        msg = f"{number!r} is no guess; write cents, such as 40, or the note, such as 612 Hz"
        raise ValueError(msg) from None
    low, high = GUESSES
    if unit != "hz":
        if not low <= value <= high:
            msg = f"{number!r}: a guess can be {low:.0f} to {high:.0f} cents; with Hz it is a note"
            raise ValueError(msg)
        return value
    if before is None:
        msg = f"{number!r} Hz: the first size's note is not told yet; guess in cents, such as 40"
        raise ValueError(msg)
    moved = float(cents(value, before)) if value > 0 else float("nan")
    if not low <= moved <= high:
        msg = f"{number!r} Hz is too far from {before:.1f} Hz: {low:.0f} to {high:.0f} cents"
        raise ValueError(msg)
    return moved


def read_hands(texts: dict[str, str]) -> tuple[int, ...]:
    """Read how many hands went up for each answer; a blank is none.

    Raises
    ------
    ValueError
        With every count that is no whole number from 0 to 200.
    """
    found, faults = [], []
    for letter, text in texts.items():
        plain = text.strip() or "0"
        if plain.isascii() and plain.isdecimal() and int(plain) <= _HANDS:
            found.append(int(plain))
        else:
            faults.append(f"{letter}: {text!r} is no count of hands; write 0 to {_HANDS}")
    if faults:
        raise ValueError("; ".join(faults))
    return tuple(found)


def right_answer(answer: float) -> str:
    """Return the letter of `ANSWERS` in which a shift lies [cents]."""
    return [letter for letter, (_, begin) in ANSWERS.items() if answer >= begin][-1]


def where_words(own: Flute, asked: Flute, hole: int, room: float) -> str:
    """Say what else a note is of: ``in a room of 22.0 °C``, and sizes that are not the pipe's own.

    Parameters
    ----------
    own, asked : Flute
        The pipe, and as it is asked about.
    hole : int
        From 1, nearest the head.
    room : float
        [K]
    """
    others = changed_sizes(own, asked, hole)
    words = "".join(
        f"with a {name} of {millimetres(size):.1f} mm, " for name, size in others.items()
    )
    return f"{words}in a room of {to_celsius(room):.1f} °C"


def same_sizes(board: Board) -> bool:
    """Return whether nothing is asked: the hole goes from a size to itself."""
    return abs(board.second - board.first) < SAME


def question_words(board: Board) -> str:
    """Ask."""
    first, second = (millimetres(size) for size in (board.first, board.second))
    if same_sizes(board):
        return f"Both sizes are {first:.1f} mm: set two different ones."
    known = "" if board.before is None else f"At {first:.1f} mm it sounds {board.before:.1f} Hz. "
    return (
        f"Hole {board.hole} goes from {first:.1f} mm to {second:.1f} mm {board.where}. "
        f"{known}By how many cents does the note move?"
    )


def board_sentence(board: Board) -> str:
    """Ask; once the answer is shown, say it and who came nearest."""
    if board.answer is None or same_sizes(board):
        return question_words(board)
    direction = "up" if board.answer >= 0 else "down"
    after = board.before * 2 ** (board.answer / 1200)
    where = f"{board.where[0].upper()}{board.where[1:]}"
    told = f"{where} the model says {abs(board.answer):.0f} cents {direction}: {after:.1f} Hz."
    return f"{told} {_judged(board)}".strip()


def _judged(board):
    if board.kind == "hands":
        letter = right_answer(board.answer)
        all_hands = sum(board.hands)
        right = board.hands[list(ANSWERS).index(letter)]
        return f"Answer {letter}, {ANSWERS[letter][0]}: {right} of {all_hands} hands."
    if not board.guesses:
        return ""
    off = [abs(guess - board.answer) for guess in board.guesses]
    nearest = min(off)
    if board.kind == "one":
        return f"The guess is {nearest:.0f} cents away."
    groups = [str(number) for number, far in enumerate(off, 1) if far == nearest]
    return f"Nearest: group {' and '.join(groups)}, {nearest:.0f} cents away."


def board_words(board: Board) -> str:
    """Say what the picture of the guesses shows."""
    if board.kind == "hands":
        counts = zip(ANSWERS.items(), board.hands, strict=True)
        said = "; ".join(f"{letter}, {words}: {n}" for (letter, (words, _)), n in counts)
        shown = f"Hands for each answer. {said}."
    else:
        numbers = ", ".join(f"{guess:+.0f}" for guess in board.guesses) or "none yet"
        shown = f"Guesses on an axis of cents, as diamonds: {numbers}."
    if board.answer is None:
        return f"{shown} The answer is hidden."
    return f"{shown} The model's answer, a bar: {board.answer:+.0f} cents."
