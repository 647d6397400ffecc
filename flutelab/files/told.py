"""What the notes tell, in plain sentences and as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from flutelab.fitting.further_note import unseen_words
from flutelab.fitting.identifiability import SEEN, Blind, WhatDataTell
from flutelab.fitting.twins import Twin
from flutelab.units import from_degrees, millimetres

MOST = 4  # blind directions told
PARTS = 3  # unknowns of one that are told each with its size


def told_words(result: WhatDataTell) -> list[str]:
    """Return what the notes tell, and what they cannot, in plain sentences.

    Parameters
    ----------
    result : WhatDataTell

    Returns
    -------
    list of str
        How many directions are seen; what no note moves with; changes of several things at
        once that would look the same (those of reported corrections first, at most four);
        what is never told apart; reported corrections that stay blind, and the note that
        would help most; those of which no note of these flutes can tell, and why.
    """
    if not result.names:
        return ["All corrections are held: the notes were not asked about any."]
    if result.notes < 2:
        many = "No note was" if result.notes == 0 else "One note was"
        return [f"{many} fitted: nothing can be told apart by it."]
    lines = [_how_much(result)]
    reported = {n for n, r in zip(result.names, result.reported, strict=True) if r}
    silent = [
        said for name, said in zip(result.names, result.said, strict=True)
        if name in result.unheard
    ]  # fmt: skip
    if silent:
        lines.append(f"No note that was fitted moves with {_listed(silent, ' or ')}.")
    blind = sorted(result.blind, key=lambda b: not reported.intersection(b.parts))
    said = dict(zip(result.names, result.said, strict=True))
    lines += [_blind_words(one, said) for one in blind[:MOST]]
    if len(blind) > MOST:
        more = len(blind) - MOST
        lines.append(f"So would {more} more such change{'s' if more > 1 else ''}.")
    lines += _twin_words(result.twins)
    lines += [_capital(unseen_words(unseen)) + "." for unseen in result.unseen]
    return lines + [_capital(line) + "." for line in result.untold]


def told_table(result: WhatDataTell) -> pd.DataFrame:
    """Return a row for each correction.

    Parameters
    ----------
    result : WhatDataTell

    Returns
    -------
    DataFrame
        ``correction``, ``reported``, ``sd_before`` and ``sd_after`` in the correction's own
        unit, ``sd_left_percent``; ``one_more_note`` with ``register`` and the
        ``then_left_percent`` where a reported correction stays blind; ``correlation_...`` with
        each correction.
    """
    unseen = {one.correction: one for one in result.unseen if one.note is not None}
    helped = [unseen.get(name) for name in result.names]
    columns = {
        "correction": result.names,
        "reported": np.where(result.reported, "yes", "no"),
        "sd_before": result.prior_sd,
        "sd_after": result.prior_sd * result.sd_left,
        "sd_left_percent": 100 * result.sd_left,
        "one_more_note": ["" if one is None else one.note for one in helped],
        "register": pd.array([None if one is None else one.register for one in helped], "Int64"),
        "then_left_percent": [np.nan if one is None else 100 * one.sd_then for one in helped],
    }
    for name, column in zip(result.names, result.correlation.T, strict=True):
        columns[f"correlation_{name}"] = column
    return pd.DataFrame(columns)


def _how_much(result):
    strong = int(np.sum(result.singular_values > SEEN))
    count = len(result.names)
    return (
        f"Of {count} corrections fitted together, {result.notes} different notes see "
        f"{'1 combination' if strong == 1 else f'{strong} combinations'} well; of the rest they "
        "leave what was known before."
    )


def _blind_words(blind: Blind, said: Mapping[str, str]):
    words = blind.words[:-1] if len(blind.parts) <= PARTS else _shortened(blind, said)
    return f"{words} (no note moves by more than {max(blind.cents, 0.05):.1f} cents)."


def _shortened(blind, said):
    """A change of many unknowns by the three that do most to the notes; the rest by name."""
    nouns = [
        f"{said.get(name, name)}{f' ({amount:+.2f} sd)' if n < PARTS else ''}"
        for n, (name, amount) in enumerate(blind.parts.items())
    ]
    most = _capital(_listed(nouns[:PARTS]))
    return f"{most}, with smaller parts of {_listed(nouns[PARTS:])}, would look the same"


def _twin_words(twins: Sequence[Twin]):
    """One sentence a correction, all that it cannot be told from together."""
    for correction in dict.fromkeys(twin.correction for twin in twins):
        mine = [twin for twin in twins if twin.correction == correction]
        others = _listed([f"{twin.other} ({_amount(twin)})" for twin in mine], " or ")
        yield f"These notes cannot tell one sd of {mine[0].said} from {others}."


def _amount(twin: Twin):
    if twin.unit == "m":
        return f"{millimetres(twin.amount):+.2f} mm"
    if twin.unit == "rad":
        return f"{twin.amount / from_degrees(1.0):+.1f} degrees"
    if twin.unit == "cents":
        return f"{twin.amount:+.1f} cents"
    return f"{twin.amount:+.1f} sd"


def _listed(words: Sequence[str], last: str = " and "):
    return last.join(filter(None, [", ".join(words[:-1]), words[-1]]))


def _capital(words):
    return words[0].upper() + words[1:]
