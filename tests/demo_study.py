"""The demo generator as a study: many invented workshops, each calibrated."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from flutelab import calibrate, read_flute, read_measurements
from flutelab.pitch import cents

ROOT = Path(__file__).resolve().parent.parent
PIPES = ("plain-pipe-220", "plain-pipe-300", "plain-pipe-380", "plain-pipe-460")


def generator():
    """Return data-demo/make_demo.py as a module."""
    spec = importlib.util.spec_from_file_location("make_demo", ROOT / "data-demo" / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_demo"] = module
    spec.loader.exec_module(module)
    return module


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """One seed: z of corrections by instrument, errors of left-out notes, calibrations."""

    z: dict[tuple[str, str], float]
    check_errors: np.ndarray
    calibrations: dict
    truth: dict


def run_seed(make_demo, seed, folder, *, mistakes=False, pipes=True) -> Outcome:
    """Make a seed's files, read them, calibrate, and compare with the truth."""
    files, truth = make_demo.make(seed, mistakes=mistakes)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")
    tables = {
        name: read_measurements(folder / f"{name}.csv", read_flute(folder / f"{name}.toml"))
        for name in truth
        if f"{name}.csv" in files
    }
    found = {name: calibrate(tables[name]) for name in ("half-inch-six", "three-quarter-five")}
    if pipes:
        found["plain-pipes"] = calibrate(*(tables[name] for name in PIPES), free=("foot",))
    z = {}
    for name, calibration in found.items():
        true = truth[PIPES[0] if name == "plain-pipes" else name]["corrections"]
        for correction in calibration.free:
            index = calibration.spread.names.index(correction)
            sd = np.sqrt(calibration.spread.covariance[index, index])
            value = getattr(calibration.corrections, correction)
            z[name, correction] = float((value - true[correction]) / sd)
    return Outcome(z=z, check_errors=_check_errors(found, truth), calibrations=found, truth=truth)


def _check_errors(found, truth):
    """Cents of predicted over the same session's noise-free pitch, check rows."""
    part = found["three-quarter-five"].tables[0]
    true_hz = np.array(truth["three-quarter-five"]["true_hz"])
    checked = np.array(part.fate) == "checked"
    return cents(part.predicted[checked], true_hz[checked])
