"""What the pictures of the panel that looks inside show, as tables to be read."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd

from flutelab.files.tables import table
from flutelab.model.modes import JUDGED_BY
from flutelab.model.within import Within
from flutelab.view.panels.lattice_pictures import Axes, modes_seen

STRENGTH = f"strength [of the strongest of the first {JUDGED_BY}]"


def openings(axes: Axes, seen: Within) -> pd.DataFrame:
    """Return the openings with what leaves there."""
    found = table(seen.wave)[["opening", "flow_share_percent", "power_share_percent"]]
    found.insert(1, f"place_{axes.unit}", axes.place(seen.wave.place))
    return found


def modes_heard(seen: Within) -> pd.DataFrame:
    """Return the modes on the axis of the spectrum; that of the wanted register is marked."""
    heard = pd.DataFrame(modes_seen(seen), columns=["frequency_hz", "q", STRENGTH, "status"])
    heard.insert(0, "mode", range(1, len(heard) + 1))
    here = heard["frequency_hz"] == seen.wave.frequency[0]
    heard["this register"] = np.where(here, "yes", "")
    return heard


def spectrum_rows(axes: Axes, seen: Within) -> pd.DataFrame:
    """Return the spectrum in the steps of its axis, and at each mode.

    ``admittance`` [1e-6 m3/(Pa s)]; ``mode`` is empty between modes.
    """
    modes = {f: f"mode {n}, Q {q:.0f}" for n, (f, q, *_) in enumerate(modes_seen(seen), start=1)}
    read = np.isin(seen.frequency, [*axes.frequency, *modes])
    frequency = seen.frequency[read]
    return pd.DataFrame(
        {
            "frequency_hz": frequency,
            "admittance [1e-6 m³/(Pa s)]": 1e6 * np.abs(seen.admittance[0, read]),
            "mode": [modes.get(f, "") for f in frequency],
        }
    )


def along_bore(axes: Axes, seen: Within) -> pd.DataFrame:
    """Return pressure and flow along the bore as they are drawn.

    A hole has two rows, before it and after it, as the flow jumps there.
    """
    wave = seen.wave
    flow = wave.flow[0].imag
    names = dict(zip(wave.place, wave.opening, strict=True))
    at = [names.get(place, "") for place in wave.position]
    jumps = ["before" if a == b else "after" for a, b in pairwise([*at, ""])]
    return pd.DataFrame(
        {
            f"place_{axes.unit}": axes.place(wave.position),
            "pressure_over_its_largest": wave.pressure[0].real,
            "flow_over_its_largest": flow / max(np.max(np.abs(flow)), np.finfo(float).tiny),
            "opening": [
                f"{jump} {name}" if name.startswith("hole") else name
                for name, jump in zip(at, jumps, strict=True)
            ],
        }
    )
