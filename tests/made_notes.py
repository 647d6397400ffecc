"""Invented flutes, notes made from known corrections, and the demo's generator."""

import importlib.util
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from flutelab import (
    Bore,
    Corrections,
    End,
    Flute,
    Hole,
    Measurements,
    Window,
    moist_air,
    predict_notes,
    read_flute,
    read_measurements,
    rows,
)

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "data-demo"
AIR = moist_air(298.15)
CENT = np.log(2) / 1200

# Invented: none of these exists.
SIX = Flute(
    name="six",
    bore=Bore(stations=((0.0, 0.0152),)),
    holes=tuple(
        Hole(position=x, diameter=d, wall=w)
        for x, d, w in (
            (0.124, 0.0055, 0.0030),
            (0.148, 0.0062, 0.0025),
            (0.171, 0.0058, 0.0030),
            (0.199, 0.0066, 0.0035),
            (0.222, 0.0070, 0.0030),
            (0.246, 0.0064, 0.0028),
        )
    ),
    head=Window(along=0.006, across=0.008, wall=0.003, plug_to_window=0.002),
    foot=End(position=0.300, outer_diameter=0.0212),
)
PIPE = Flute(
    name="pipe",
    bore=Bore(stations=((0.0, 0.0152),)),
    holes=(),
    head=End(position=0.0, outer_diameter=0.0212),
    foot=End(position=0.4, outer_diameter=0.0212),
)
STOPPED = Flute(
    name="stopped",
    bore=Bore(stations=((0.0, 0.0190),)),
    holes=(Hole(position=0.16, diameter=0.006, wall=0.003),),
    head=Window(along=0.006, across=0.009, wall=0.003),
    foot=End(position=0.2, kind="stopped"),
)
WIDE = Flute(  # its second mode lies beyond plane waves
    name="wide",
    bore=Bore(stations=((0.0, 0.2),)),
    holes=(),
    head=End(position=0.0),
    foot=End(position=0.15),
)
SCALE = ["xxxxxx", "xxxxxo", "xxxxoo", "xxxooo", "xxoooo", "xooooo", "oooooo"]
CROSSED = ["xoxooo", "oxxxxx", "xxoxxx", "ooxooo", "xxoxoo"]


def notes_of(
    flute, words, truth=None, *, register=1, breath=None, off=0.0, sd=3.0, air=AIR, **columns
):
    """Return the measurements that a flute with corrections `truth` gives, `off` cents away."""
    truth = truth or Corrections()
    asked = rows(flute, words, air=air, register=register, breath=breath)
    pitch = predict_notes(flute, asked, truth).frequency * np.exp(CENT * np.asarray(off))
    count = len(asked)
    same = {
        "use": ("fit",) * count,
        "session": ("all",) * count,
        "remark": ("",) * count,
        "apart": ("",) * count,
        "place": tuple(f"row {n + 1}" for n in range(count)),
        "from_room": np.zeros(count, bool),
        "source": f"{flute.name}.csv",
    }
    return Measurements(
        flute=flute,
        rows=asked,
        frequency=pitch,
        sd=np.broadcast_to(np.asarray(sd, dtype=float), (count,)),
        **(same | columns),
    )


def changed(measured, row, cents):
    """Return measurements with one row's reading moved."""
    frequency = measured.frequency.copy()
    frequency[row] *= np.exp(CENT * cents)
    return replace(measured, frequency=frequency)


@cache
def demo_maker():
    """Return data-demo/make_demo.py as a module."""
    spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
    module = sys.modules["make_demo"] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def demo(name, folder=DEMO):
    """Return the measurements of a demo instrument."""
    return read_measurements(folder / f"{name}.csv", read_flute(folder / f"{name}.toml"))


def changed_demo(folder, *changes, name="three-quarter-five"):
    """Write a demo's flute file and note table with some (old, new) texts changed once each."""
    paths = []
    texts = {ending: (DEMO / f"{name}.{ending}").read_text() for ending in ("toml", "csv")}
    for old, new in changes:
        (ending,) = (e for e, text in texts.items() if old in text)
        texts[ending] = texts[ending].replace(old, new, 1)
    for ending, text in texts.items():
        paths.append(folder / f"{name}.{ending}")
        paths[-1].write_text(text)
    return paths
