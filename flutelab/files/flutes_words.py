"""What several flutes say of the next one, in plain sentences."""

from __future__ import annotations

import numpy as np
import pandas as pd

from flutelab.fitting.calibrate import Calibration
from flutelab.fitting.flutes import NextFlute, next_flute
from flutelab.fitting.phrases import noun_of
from flutelab.fitting.unknowns import OF_A_DAY
from flutelab.model.corrections import META


def flutes_words(calibration: Calibration) -> list[str]:
    """Return one sentence for each correction that every flute has for itself.

    Parameters
    ----------
    calibration : Calibration
    """
    own = {
        p.name: noun_of(calibration.problem, p)
        for p in calibration.parameters
        if p.is_correction and p.table is not None and p.name not in OF_A_DAY
    }
    if not own:
        return []
    found = next_flute(calibration)
    return [_sentence(calibration, found, name, own[name].partition(" of '")[0]) for name in own]


def next_flute_table(found: NextFlute) -> pd.DataFrame:
    """Return a row for each correction of the next flute: value, sd, and how flutes scatter.

    The scatter, with its limits at 68 %, of what each flute has for itself; blank of the others.
    """
    names = found.spread.names
    sd = np.sqrt(np.diag(found.spread.covariance))
    scatter = [found.scatter.get(name, (np.nan,) * 3) for name in names]
    return pd.DataFrame(
        {
            "correction": names,
            "unit": [META[name]["unit"] for name in names],
            "value": [getattr(found.corrections, name) for name in names],
            "sd": sd,
            "scatter_of_flutes": [middle for _, middle, _ in scatter],
            "scatter_lower_68_percent": [low for low, _, _ in scatter],
            "scatter_upper_68_percent": [high for _, _, high in scatter],
            "flutes": found.flutes,
        }
    )


def _sentence(calibration, found, name, noun):
    low, middle, high = found.scatter[name]
    index = found.spread.names.index(name)
    sd = float(np.sqrt(found.spread.covariance[index, index]))
    unit = "" if META[name]["unit"] == "times" else f" {META[name]['unit']}"
    value = getattr(found.corrections, name)
    return (
        f"{noun[0].upper()}{noun[1:]}: scatters from flute to flute by {middle:.3f}{unit} "
        f"({low:.3f} to {high:.3f}, two times in three; usually {calibration.priors[name].sd:g}), "
        f"from {found.flutes} flutes; the next flute's is {value:.3f} +- {sd:.3f}{unit}."
    )
