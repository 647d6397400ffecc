"""What is to be mended before a calibration is trusted: suspects, rows left out, days apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from scipy.special import ndtri

from flutelab.files.cause_words import cents_words
from flutelab.files.mismatch_words import how_known
from flutelab.files.suspected import ONE_SESSION, row_name, suspect_words
from flutelab.fitting.calibrate import Calibration, TableResult
from flutelab.fitting.suspects import Suspect
from flutelab.fitting.unknowns import Parameter

TOLD = 3  # suspects that a sentence names
TOLD_ASIDE = 2  # rows left out that it names
BY_CHANCE = 0.05  # of good tables have days that lie as far apart as is told


def each_row(calibration: Calibration) -> Iterator[tuple[int, int, TableResult]]:
    """Yield every row as (table, row, the table's result)."""
    for table, part in enumerate(calibration.tables):
        for row in range(len(part.fate)):
            yield table, row, part


def session_name(calibration: Calibration, parameter: Parameter) -> str:
    """Return what a session's offset is called, with its table where several are pooled."""
    several = ""
    if len(calibration.tables) > 1:
        several = f" of {calibration.tables[parameter.table].measurements.source}"
    if parameter.session == ONE_SESSION:
        return f"the session{several}"
    return f"the session {parameter.session!r}{several}"


def is_to_mend(calibration: Calibration, odd: Sequence[Suspect]) -> bool:
    """Return whether anything is named, or left out, that is to be mended before all else."""
    return bool(odd or _aside(calibration, odd) or days_apart(calibration))


def what_does_not_fit(
    calibration: Calibration, odd: Sequence[Suspect], *, whole: bool = False
) -> str:
    """Return in a sentence what does not fit and what to look at.

    Parameters
    ----------
    calibration : Calibration
    odd : sequence of Suspect
    whole : bool
        Name every suspect and row; else refer to a report below for more than a few.
    """
    told_of, told_aside = (None, None) if whole else (TOLD, TOLD_ASIDE)
    gone = {(table, row) for table, row, part in each_row(calibration) if part.why[row]}
    out = [s for s in odd if s.kind == "row" and (s.table, s.index) in gone]
    seen = [s for s in odd if s not in out]
    told = [suspect_words(calibration, s) for s in seen[:told_of]]
    if more := seen[len(told) :]:
        told.append(f"{len(more)} more do not fit, see below")
    told += filter(None, [days_apart(calibration)])
    told += _left_out(calibration, odd, out, told_aside)
    if not told:
        return "No row and no hole stands out."
    text = f"{_scattered(calibration, odd)}{'; '.join(told)}"
    return f"{text[0].upper()}{text[1:]}."


def mends(calibration: Calibration, odd: Sequence[Suspect]) -> Iterator[str]:
    """Yield what to do about what does not fit, by its kinds."""
    kinds = {suspect.kind for suspect in odd}
    if _scatter_wide(calibration, odd):
        yield (
            "take every reading again, two or three times each with the same breath, or write in "
            "a column `sd_cents` how far they really scatter"
        )
    if kinds & {"hole", "flute"}:
        yield "write what you measure into the flute file"
    if "table" in kinds:
        yield "mend the note table"
    elif days_apart(calibration):
        yield "mend the A4 or the temperature of the day that is wrong in the note table"
    if "row" in kinds or (_aside(calibration, odd) and not _of_the_whole(odd)):
        yield "mend the row, or write `no` under its use if nobody knows any more"


def is_consequence(calibration: Calibration, odd: Sequence[Suspect], table: int, row: int) -> bool:
    """Return whether a row was left out only as another mistake, named in `odd`, made it misfit."""
    return _of_the_whole(odd) and any(
        (table, row) == (other, number) for other, number, _ in _aside(calibration, odd)
    )


def days_apart(calibration: Calibration) -> str:
    """Return in words that two sessions lie farther apart than chance lets them, or nothing.

    Notes
    -----
    The offsets of k sessions with the same prior sd s: two of them differ by more than
    s sqrt(2) z in 5 % of good tables at most, z the normal deviate of 0.05 by the k(k - 1)/2
    pairs (Bonferroni, textbook statistics); 14 cents for two sessions of 5 cents.
    """
    found = [
        (float(value), p)
        for p, value in zip(calibration.parameters, calibration.value, strict=True)
        if p.session is not None
    ]
    if len(found) < 2:
        return ""
    (low, first), (high, second) = (f(found, key=lambda one: one[0]) for f in (min, max))
    pairs = len(found) * (len(found) - 1) / 2
    chance = np.hypot(first.prior.sd, second.prior.sd) * -ndtri(BY_CHANCE / 2 / pairs)
    if high - low <= chance:
        return ""
    names = " and ".join(session_name(calibration, p) for p in (second, first))
    return (
        f"{names} lie {cents_words(high - low)} apart: look at the tuner (A4) and the thermometer "
        "of each before you trust either"
    )


def _of_the_whole(odd):
    """Whether a hole, a flute or a whole table is named, which may make rows misfit."""
    return any(suspect.kind != "row" for suspect in odd)


def _aside(calibration, odd):
    """Rows that were left out, or not checked, against the user's wish and not yet told of."""
    known = {(s.table, s.index) for s in odd if s.kind == "row"}
    return [
        (table, row, part)
        for table, row, part in each_row(calibration)
        if part.why[row]
        and part.measurements.use[row] != "no"
        and part.fate[row] != "apart"
        and (table, row) not in known
    ]


def _left_out(calibration, odd, out, most):
    """Each row that was left out; those that are no more than consequences by their number."""
    told = [suspect_words(calibration, s) for s in out]
    aside = _aside(calibration, odd)
    if not _of_the_whole(odd):
        told += [
            f"{row_name(calibration, row, part)} was left out, {part.why[row]}"
            for _, row, part in aside
        ]
    yield from told[:most]
    if more := told[len(told[:most]) :]:
        yield f"{len(more)} more rows were left out, see below"
    if aside and _of_the_whole(odd):
        one = len(aside) == 1
        names = ", ".join(part.measurements.place[row] for _, row, part in aside)
        yield (
            f"{names} {'was' if one else 'were'} left out only because of this, and "
            f"{'needs' if one else 'need'} no mending"
        )


def _scattered(calibration, odd):
    """That readings scatter more than was said of them, where so many stand out."""
    if not _scatter_wide(calibration, odd):
        return ""
    parts = [part.measurements for part in calibration.tables if "fitted" in part.fate]
    how = {"assumed": "assumed", "taken": "stated"}[how_known(parts[0])]
    size = cents_words(np.median(calibration.problem.sd))
    return f"the readings scatter far more than the {size} {how} for them; farthest out are: "


def _scatter_wide(calibration, odd):
    return calibration.widened > 1 and sum(s.kind == "row" for s in odd) > TOLD
