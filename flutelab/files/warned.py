"""Warnings of the formulas, as notes for people: each once, in a workshop's words."""

from __future__ import annotations

import re
from collections.abc import Iterable

_SHORT_WAVE = re.compile(r"(.+): ka is (\S+) at the highest frequency \(compared up to (\S+)\)")


def plain_notes(messages: Iterable[str]) -> list[str]:
    """Return what to tell of warnings.

    Parameters
    ----------
    messages : iterable of str
        In the order they came, with repeats.

    Returns
    -------
    list of str
        Each message once; of those on short waves one for each part of the flute, with the
        highest value.
    """
    told, highest = [], {}
    for message in dict.fromkeys(messages):
        if short := _SHORT_WAVE.fullmatch(message):
            part = short[1], short[3]
            highest[part] = max(highest.get(part, 0.0), float(short[2]))
        else:
            told.append(message)
    return told + [
        f"{what}: its formula was compared up to ka {limit} (the bore's girth over the length of "
        f"the sound's wave), and the highest sound worked out here has {_beyond(ka, limit)}. Trust "
        "the highest notes and modes less; this says nothing against low ones"
        for (what, limit), ka in highest.items()
    ]


def _beyond(ka, limit):
    """The value with so many digits that it differs from the limit, which it is above."""
    written = (f"{ka:.{digits}g}" for digits in (2, 3))
    return next((text for text in written if text != limit), "a little more")
