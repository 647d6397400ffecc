"""Numbers rounded as people round them: halves up, a column with as many decimals throughout."""

from __future__ import annotations

import math
from collections.abc import Sequence

from flutelab.units import half_up

_DIGITS = 5  # of the largest number of a column


def column_texts(values: Sequence[object]) -> list[str]:
    """Return a column's cells; its largest number has at most five digits, nan is empty.

    Examples
    --------
    >>> column_texts([3.175, 20.4, 358.0]), column_texts([1.0, float("nan")])
    (['3.18', '20.40', '358.00'], ['1', ''])
    """
    numbers = [one for one in values if isinstance(one, float) and math.isfinite(one)]
    largest = max(map(abs, numbers), default=0.0)
    most = max(_DIGITS - 1 - math.floor(math.log10(largest)), 0) if largest else 0
    shown = [half_up(one, most) for one in numbers]
    decimals = max((len(one.partition(".")[2].rstrip("0")) for one in shown), default=0)
    return [_cell(value, decimals) for value in values]


def _cell(value: object, decimals: int) -> str:
    if not isinstance(value, float):
        return str(value)
    if not math.isfinite(value):
        return "" if math.isnan(value) else str(value)
    text = half_up(value, decimals)
    # what is too small for the column is not told as nothing
    return text if float(text) or not value else f"{value:.1g}"
