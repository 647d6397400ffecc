"""Why measured notes are not where the book says, and whether calibrating pays: text, records."""

from __future__ import annotations

from collections.abc import Sequence

from flutelab.errors import already_warned
from flutelab.files.cause_words import way_words
from flutelab.files.look import Looked
from flutelab.files.mismatch_words import (
    LEAST_NOTES,
    far_words,
    mismatch_table,
    mismatch_words,
)
from flutelab.files.sentences import largest_cause
from flutelab.files.to_mend import is_to_mend, what_does_not_fit
from flutelab.files.worth_words import worth_table, worth_words
from flutelab.fitting.calibrate import calibrate
from flutelab.fitting.measurements import Measurements
from flutelab.fitting.mismatch import SESSION, why_not_matching
from flutelab.fitting.suspects import suspects
from flutelab.fitting.worth import is_it_worth_it

LIKELIEST = 6  # causes shown


def why(measured: Sequence[Measurements]) -> Looked:
    """Say what each cause could explain of the mismatch, and how well each way foretells.

    Parameters
    ----------
    measured : sequence of Measurements
        Nothing is fitted for good.

    Returns
    -------
    Looked
        Results `causes_1` and so on, one for each table, and `worth` (where two or more notes
        may be fitted).

    Raises
    ------
    FitError
        No row can be fitted.
    """
    results: dict[str, object] = {}
    text = []
    for number, one in enumerate(measured, 1):
        found = results[f"causes_{number}"] = why_not_matching(one)
        text += [f"{one.flute.name} ({one.source})", *_said(one, found), "", *_causes(found)]
        text.append("")
    if len(set(_notes(measured))) < LEAST_NOTES:
        text.append(
            "Is the model worth it? That is told by leaving each note out and foretelling it from "
            "the others: here is one note only."
        )
    else:
        found = results["worth"] = is_it_worth_it(*measured)
        text += ["Is the model worth it?", *worth_words(found), "", *_ways(found)]
    return Looked(results=results, text="\n".join(text).rstrip())


def _notes(measured):
    for table, one in enumerate(measured):
        for word, register, use in zip(one.rows.label, one.rows.register, one.use, strict=True):
            if use == "fit":
                yield table, word, max(int(register), 1)


def _said(measured, found):
    """How far off, what moves the notes most when all causes act at once, what each does alone."""
    with already_warned():
        fitted = calibrate(measured)
        odd = suspects(fitted)
    named = is_to_mend(fitted, odd)
    first, *alone = mismatch_words(found, named=named)
    told = [first, largest_cause(fitted, [found], bent=named or not found.enough), *alone]
    if not named:
        return told
    return [f"{what_does_not_fit(fitted, odd, whole=True)} flutelab calibrate tells more.", *told]


def _causes(found):
    """A line for each of the likeliest causes, and for the session's shift."""
    frame = mismatch_table(found)
    session = frame.index == found.causes.index(SESSION)
    head = f"{'alone, with breath and tuner':<38}{'usual tolerance':>19}{'leaves':>13}"
    lines = [f"  {head}  it would have to be"]
    for k, row in frame[session | (frame.index < LIKELIEST)].iterrows():
        left = f"{row['leaves_cents']:7.1f} cents"
        beside = found.shift[k]
        if round(beside):
            row["alone"] += f"; breath and tuner {way_words(beside)}"
        verdict = f"{far_words(found, k)}: {row['plausible']}"
        lines.append(f"  {row['cause']:<38}{row['usual_tolerance']:>19}{left}  {row['alone']}")
        lines.append(f"{'':74}({verdict})")
    return lines


def _ways(found):
    frame = worth_table(found)
    sizes = {"note_out_rms_cents": "rms", "note_out_worst_cents": "worst"}
    if "flute_out_rms_cents" in frame:
        sizes["flute_out_rms_cents"] = "a flute out"
    head = "".join(f"{name:>13}" for name in sizes.values())
    lines = [f"  {'cents, a note left out, foretold by':<46}{head}"]
    for row in frame.to_dict("records"):
        lines.append(f"  {row['way']:<46}" + "".join(f"{row[name]:13.1f}" for name in sizes))
    return lines
