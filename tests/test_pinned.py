"""Our own frozen numbers: they move only knowingly.

pinned/notes.csv holds the demo flutes' predicted notes with the version that made them, and
pinned/formulas.csv a value for each formula that a correction multiplies or adds to, with the
number of the formula's version. ``python tests/test_pinned.py notes`` (or ``formulas``) prints
the table as it would be now.
"""

import csv
import sys
from pathlib import Path

import numpy as np
import pytest

import flutelab
from flutelab import Bore, Corrections, End, Flute, Hole, Window, moist_air, predict_notes, rows
from flutelab.files.constants_file import FORMULAS
from flutelab.files.foretell import all_fingerings
from flutelab.model.chain import chain
from flutelab.model.corrections import NAMES
from flutelab.model.notes import played_cents
from flutelab.physics import coupling, ends, hole, tube, window
from flutelab.physics.air import warmer

ROOT = Path(__file__).resolve().parent.parent
PINNED = Path(__file__).resolve().parent / "pinned"
FLUTES = (
    "half-inch-six",
    "three-quarter-five",
    "tapered-wood-six",
    "plain-pipe-220",
    "plain-pipe-460",
)
MOVED_CENTS = 0.1
AIR = moist_air(298.15)


def read(name):
    with (PINNED / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# --- notes -----------------------------------------------------------------------------


def notes_now():
    """Every fingering of the demo flutes, two registers, by the formulas as they stand, 25 C."""
    for name in FLUTES:
        flute = flutelab.read_flute(ROOT / "data-demo" / f"{name}.toml")
        for register in (1, 2):
            asked = rows(flute, list(all_fingerings(flute)), air=AIR, register=register)
            notes = predict_notes(flute, asked)
            for word, frequency in zip(notes.label, notes.frequency, strict=True):
                yield {
                    "version": flutelab.__version__,
                    "flute": name,
                    "fingering": word,
                    "register": register,
                    "frequency_hz": "" if np.isnan(frequency) else f"{frequency:.4f}",
                }


def test_predicted_notes_move_only_knowingly():
    pinned, now = read("notes"), list(notes_now())
    keys = "flute", "fingering", "register"
    assert [[str(row[k]) for k in keys] for row in pinned] == [
        [str(row[k]) for k in keys] for row in now
    ]
    moved = []
    for before, after in zip(pinned, now, strict=True):
        was, is_now = before["frequency_hz"], after["frequency_hz"]
        both = bool(was) and bool(is_now)
        cents = 1200 * np.log2(float(is_now) / float(was)) if both else np.inf
        if was != is_now and abs(cents) > MOVED_CENTS:
            moved.append(f"{[before[k] for k in keys]}: {was} -> {is_now} ({cents:+.2f} cents)")
    assert not moved, (
        f"{len(moved)} notes moved by more than {MOVED_CENTS} cents: give docs/changes.md a line "
        f"and freeze them anew. {moved[:5]}"
    )


# --- formulas --------------------------------------------------------------------------

B, A, W = 3.1e-3, 7.6e-3, 2.9e-3  # hole radius, bore radius, wall [m]
FLUTE = Flute(
    name="pinned",
    bore=Bore(stations=((0.0, 2 * A),)),
    holes=(Hole(position=0.2, diameter=2 * B, wall=W),),
    head=Window(along=0.006, across=0.008, wall=0.003),
    foot=End(position=0.3, outer_diameter=2 * (A + W)),
)


def numbers(**changes):
    return chain(FLUTE, rows(FLUTE, ["x"], air=AIR), Corrections(**changes))


def added(register, **changes):
    blown = rows(FLUTE, ["x"], air=AIR, register=register, breath=[1000.0])
    usual = {"reference_pressure": 400.0, "overblown_pressure": 700.0}
    return played_cents(blown, Corrections(**usual, **changes))[0]


def _air(name):
    return lambda: getattr(warmer(AIR, 2.0), name)


QUANTITIES = {
    "window": {
        "window_length": lambda: window.window_length(6e-3, 8e-3, 3e-3, A),
        "stub_length": lambda: window.stub_length(6e-3, 8e-3, 3e-3, A),
        "recessed_ramped_length": lambda: window.window_length(
            6e-3, 8e-3, 3e-3, A, plug_to_window=5e-3, ramp=0.6, block=4e-3
        ),
    },
    "foot": {
        "rim_length": lambda: ends.own_end(0.3, A / (A + W))[0],
        "rim_decay": lambda: ends.own_end(0.3, A / (A + W))[1],
        "sharp_length": lambda: ends.own_end(0.3, 1.0)[0],
        "flanged_length": lambda: ends.own_end(0.3, 0.0)[0],
    },
    "wall": {
        "height": lambda: numbers(wall=1.2).height.item() - numbers().height.item(),
        "series": lambda: numbers(wall=1.2).after.flat[0],
        "outer": lambda: numbers(wall=1.2).outer.item(),
    },
    "hole_end": {
        "inner_length": lambda: hole.inner_length_lefebvre(B, A),
        "outer_length": lambda: hole.outer_length(B, A + W),
        "thin_wall_loss": lambda: hole.thin_wall_loss(B, W / 6),
    },
    "bore": {"radius": lambda: numbers(bore=1.01).radius.item()},
    "air_offset": {
        "sound_speed": _air("sound_speed"),
        "density": _air("density"),
        "viscosity": _air("viscosity"),
    },
    "breath": {
        "cents": lambda: added(1, breath=37.0),
        "overblown": lambda: added(2, breath=37.0),
    },
    "second_register": {"cents": lambda: added(2, breath=0.0, second_register=-6.0)},
    "jet": {
        "blown": lambda: added(1, breath=0.0, jet=-8.0),
        "driven": lambda: played_cents(
            rows(FLUTE, ["x"], air=AIR, register=2, breath=[1000.0], driven=[True]),
            Corrections(jet=-8.0, breath=37.0, reference_pressure=400.0),
        )[0],
    },
    "pad_depth": {
        "closed": lambda: numbers(pad_depth=0.5).closed.item(),
        "closed_inner": lambda: numbers(pad_depth=0.5).closed_inner.item(),
    },
    "loss": {
        "propagation_real": lambda: tube.propagation(500.0, A, AIR)[0].real,
        "propagation_imaginary": lambda: tube.propagation(500.0, A, AIR)[0].imag,
        "impedance_imaginary": lambda: tube.propagation(500.0, A, AIR)[1].imag,
    },
    "coupling": {
        "reactance": lambda: coupling.mutual_impedance(9.0, 0.03, 1.29, A, 1e-3, 2e-3).imag,
        "resistance": lambda: coupling.mutual_impedance(9.0, 0.03, 1.29, A, 1e-3, 2e-3).real,
        "along_pipe": lambda: coupling.ALONG_PIPE,
        "to_foot": lambda: coupling.TO_FOOT,
    },
}  # fmt: skip


def formulas_now():
    for name, quantities in QUANTITIES.items():
        for quantity, compute in quantities.items():
            yield {
                "correction": name,
                "formula_version": FORMULAS[name][1],
                "quantity": quantity,
                "value": f"{float(compute()):.10g}",
            }


def test_every_correction_has_its_formula_pinned():
    assert tuple(QUANTITIES) == NAMES
    assert tuple(FORMULAS) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_changed_formula_has_a_new_version(name):
    # A constants file multiplies these: with other numbers it would mean something else.
    version = FORMULAS[name][1]
    pinned = {
        row["quantity"]: float(row["value"])
        for row in read("formulas")
        if row["correction"] == name and int(row["formula_version"]) == version
    }
    assert set(pinned) == set(QUANTITIES[name]), f"pin version {version} of {name}"
    for quantity, value in pinned.items():
        assert float(QUANTITIES[name][quantity]()) == pytest.approx(value, rel=1e-7), (
            f"{quantity} of {name} has changed: give it a new version in "
            "files/constants_file.FORMULAS, and add its values here under that number"
        )


def test_versions_are_never_taken_back():
    highest = dict.fromkeys(NAMES, 0)
    for row in read("formulas"):
        highest[row["correction"]] = max(highest[row["correction"]], int(row["formula_version"]))
    assert highest == {name: FORMULAS[name][1] for name in NAMES}


if __name__ == "__main__":
    now = list({"notes": notes_now, "formulas": formulas_now}[sys.argv[1]]())
    writer = csv.DictWriter(sys.stdout, now[0].keys(), lineterminator="\n")
    writer.writeheader()
    writer.writerows(now)
