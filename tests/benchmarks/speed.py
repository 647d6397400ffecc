"""Time the engine: `python tests/benchmarks/speed.py`. Reported, never asserted.

The machine is noisy, so each figure is the best of several and the ratios to the two
slower ways (one frequency at a time; a general network library) come from one run.
"""

from __future__ import annotations

import argparse
import io
import sys
import tracemalloc
import warnings
from dataclasses import replace
from itertools import islice, product
from pathlib import Path

import numpy as np
from matplotlib import pyplot as plt
from timed import best

import flutelab
from flutelab import (
    AirAlong,
    Bore,
    calibrate,
    input_impedance,
    moist_air,
    octaves,
    read_flute,
    read_measurements,
    rows,
    spectrum,
    standing_wave,
)
from flutelab.model.chain import chain
from flutelab.model.corrections import Corrections
from flutelab.model.lattice import elements, head_impedance
from flutelab.model.notes import predict_notes
from flutelab.model.rows import take
from flutelab.model.sensitivities import sensitivities
from flutelab.view.plots.inside import plot_spectrum
from flutelab.view.style import draw_without_windows

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "data-demo"
SEVEN = ["x" * (6 - n) + "o" * n for n in range(7)]
FREQUENCY = np.linspace(100, 3000, 1024)
sys.path.insert(0, str(ROOT / "tests"))


def best_ms(function, tries: int) -> float:
    """Milliseconds of the fastest of several calls."""
    return 1e3 * best(function, tries)


def peak_megabytes(function) -> float:
    """Largest memory that Python and numpy hold during a call."""
    tracemalloc.start()
    function()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def report_notes(tries):
    flute = read_flute(DATA / "half-inch-six.toml")
    seven = rows(flute, SEVEN, air=moist_air(299.15))
    notes = best_ms(lambda: predict_notes(flute, seven), tries)
    print(f"seven notes, coupling on: {notes:.1f} ms")
    whole = best_ms(lambda: sensitivities(flute, seven), tries)
    count = len(sensitivities(flute, seven).names)
    print(
        f"their sensitivities to {count} quantities, the notes solved on the way: {whole:.1f} ms, "
        f"{whole / notes:.1f} of the notes alone"
    )


def report_fits(tries):
    for name in ("half-inch-six", "three-quarter-five"):
        flute = read_flute(DATA / f"{name}.toml")
        table = read_measurements(DATA / f"{name}.csv", flute)
        count = calibrate(table).rows
        took = best_ms(lambda m=table: calibrate(m), tries)
        print(f"calibrate {name}, {count} notes: {took:.0f} ms")


def report_spectra(tries):
    flute = read_flute(DATA / "half-inch-six.toml")
    every = rows(flute, ["".join(word) for word in product("xo", repeat=6)], air=moist_air(299.15))

    def spectra(corrections=None):
        return input_impedance(flute, every, FREQUENCY, corrections)

    alone = Corrections(coupling=0.0)
    rivals = {
        "the solver, coupling on": best_ms(spectra, tries),
        "the solver, coupling off": best_ms(lambda: spectra(alone), tries),
        "one fingering, one frequency at a time (scaled)": pointwise(flute, every, tries),
    }
    try:
        rivals["the network library, coupling off (scaled)"] = cascade(flute, every, alone)
    except ImportError as error:
        print(f"the network library: not measured ({error})")
    print(f"64 fingerings x 1024 frequencies, peak {peak_megabytes(spectra):.0f} MB:")
    for name, time_taken in rivals.items():
        ratio = time_taken / rivals["the solver, coupling on"]
        print(f"  {name:<48}{time_taken:9.0f} ms{ratio:8.1f} times")


def pointwise(flute, every, tries):
    """Milliseconds for all, from one fingering at every 16th frequency."""
    numbers, few = chain(flute, take(every, [0])), FREQUENCY[::16]

    def one_by_one():
        return [head_impedance(elements(numbers, np.full((1, 1, 1), f))) for f in few]

    return best_ms(one_by_one, tries) * 16 * len(every)


def cascade(flute, every, corrections):
    """Milliseconds for all with scikit-rf, from one fingering."""
    from reference.lengths import numbers
    from reference.network import network, scikit_rf_cascade

    one = numbers(flute, take(every, [0]), corrections)
    return best_ms(lambda: scikit_rf_cascade(network(one, FREQUENCY)), 2) * len(every)


def even_flute(holes: int):
    """Return the half-inch flute with so many equal holes spread along it."""
    flute = read_flute(DATA / "half-inch-six.toml")
    low, high = (flute.holes[i].position for i in (0, -1))
    places = np.linspace(low, high, holes)
    return replace(flute, holes=tuple(replace(flute.holes[0], position=x) for x in places))


def report_growth(tries):
    """How the cost of a spectrum grows with holes, fingerings and frequencies."""
    air = moist_air(299.15)

    def spectra(holes, fingerings, frequencies):
        flute = even_flute(holes)
        words = ["".join(word) for word in islice(product("xo", repeat=holes), fingerings)]
        asked = rows(flute, words, air=air)
        frequency = np.linspace(100, 3000, frequencies)
        return lambda: input_impedance(flute, asked, frequency)

    cases = {
        "holes": {n: (n, 8, 1024) for n in (3, 6, 9, 12)},
        "fingerings": {n: (8, n, 256) for n in (16, 64, 256)},
        "frequencies": {n: (6, 16, n) for n in (256, 1024, 4096)},
    }
    for name, sizes in cases.items():
        times = {n: best_ms(spectra(*case), tries) for n, case in sizes.items()}
        power = np.polyfit(np.log(list(times)), np.log(list(times.values())), 1)[0]
        told = ", ".join(f"{n}: {time:.0f} ms" for n, time in times.items())
        print(f"{name}: {told}; grows as the power {power:.2f}")
    largest = spectra(8, 256, 4096)
    print(f"largest, 8 holes x 256 x 4096: peak {peak_megabytes(largest):.0f} MB")


def report_taper(tries):
    flute = read_flute(DATA / "tapered-wood-six.toml")
    asked = rows(flute, SEVEN, air=moist_air(299.15))
    straight = replace(flute, bore=Bore(stations=flute.bore.stations[:1]))
    both = [best_ms(lambda f=f: predict_notes(f, asked), tries) for f in (flute, straight)]
    ratio = both[0] / both[1]
    print(f"seven notes of a tapered bore: {both[0]:.1f} ms, {ratio:.1f} of a cylinder's")
    blown = rows(flute, SEVEN, air=AirAlong(room_temperature=295.0))
    for name, air in {"one air": asked, "air that changes": blown}.items():
        whole = best_ms(lambda a=air: sensitivities(flute, a), tries)
        print(f"sensitivities of seven notes of a tapered bore, {name}: {whole:.1f} ms")


def report_inside(tries):
    """A note from within, with its picture's bytes; beside seven notes in the same run."""
    draw_without_windows()
    flute = read_flute(DATA / "half-inch-six.toml")
    blown = AirAlong(room_temperature=295.0)
    one, seven = (rows(flute, words, air=blown) for words in (["xxxooo"], SEVEN))
    still = rows(flute, SEVEN, air=moist_air(299.0))

    def picture():
        drawn = plot_spectrum(spectrum(flute, one)).figure
        drawn.savefig(io.BytesIO(), format="png")
        plt.close(drawn)

    notes = best_ms(lambda: predict_notes(flute, still), 5 * tries)
    for name, function in {
        "seven notes in air that changes along the bore": lambda: predict_notes(flute, seven),
        "their sensitivities": lambda: sensitivities(flute, seven),
        "one spectrum": lambda: spectrum(flute, one),
        "one spectrum, drawn as PNG": picture,
        "one standing wave": lambda: standing_wave(flute, one),
        "octaves of seven notes, by cause": lambda: octaves(flute, still),
    }.items():
        taken = best_ms(function, tries)
        print(f"{name}: {taken:.0f} ms, {taken / notes:.1f} times seven notes")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tries", type=int, default=9)
    tries = parser.parse_args().tries
    warnings.simplefilter("ignore", flutelab.ValidityWarning)  # of times, not of what they time
    print(
        f"flutelab {flutelab.__version__}, numpy {np.__version__}, Python {sys.version.split()[0]}"
    )
    report_notes(tries)
    report_fits(tries)
    report_spectra(tries)
    report_growth(max(1, tries // 3))
    report_taper(tries)
    report_inside(tries)


if __name__ == "__main__":
    main()
