"""Make the demo data: an invented workshop, its pipes, and note tables as it might keep them.

    python data-demo/make_demo.py [FOLDER] [--seed N] [--overwrite]

Nothing here was measured. Each seed draws true corrections from the usual priors, a
temperature up to 1.5 C off the written one, 5 cents of breath and tuner common to a
session and 3 cents a reading; the tuner shows whole cents. On the half-inch flute one
hole is drilled 0.6 mm off its written size and one reading is written down wrong. Of the
class of seven groups each saws a pipe, 0.4 mm off what it writes down, beside a thermometer
0.3 C off; one group of those with open pipes reads its rule 4 mm wrong.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from flutelab import (
    Bore,
    Corrections,
    End,
    Flute,
    moist_air,
    predict_notes,
    read_flute,
    rows,
)
from flutelab.errors import DataError
from flutelab.files.class_table import ClassFile, class_file_bytes
from flutelab.files.safely import write_all
from flutelab.model.corrections import default_priors
from flutelab.pitch import nearest_note, shift
from flutelab.units import celsius, from_mm, from_mm_water

TEMPERATURE_OFF = 1.5  # C, at most
SESSION_SD, READING_SD = 5.0, 3.0  # cents
MISDRILLED = 0.6e-3  # m on the diameter
SLIP = 30  # cents: one wrong digit
DRAWN = ("window", "foot", "wall", "hole_end", "bore", "breath", "second_register", "pad_depth",
         "loss")  # fmt: skip

HALF_INCH_SIX = """\
# INVENTED demo data: no such flute exists. See README.md here.
name = "Half-inch six-hole, before tuning"
unit = "in"                     # bare numbers are inches

[bore]
diameter = 0.604                # caliper, mean of two directions
wall = 0.118

[window]
along = "1/4 in"                # cut-up: windway's end to sounding edge
across = "9/32 in"

[foot]
from_edge = "11 1/4 in"         # sounding edge to foot

[[hole]]                        # nearest the window
from_foot = "6 3/4 in"
diameter = "13/64 in"

[[hole]]
from_foot = "5 7/8 in"
diameter = "13/64 in"

[[hole]]
from_foot = 5.0
diameter = "13/64 in"

[[hole]]
from_foot = "3 7/8 in"
diameter = "13/64 in"

[[hole]]
from_foot = 3.0
diameter = "13/64 in"

[[hole]]                        # nearest the foot
from_foot = "2 1/8 in"
diameter = "13/64 in"
"""

THREE_QUARTER_FIVE = """\
# INVENTED demo data: no such flute exists. See README.md here.
name = "Three-quarter-inch five-hole, tuned"
unit = "mm"

[bore]
diameter = 20.4
wall = 3.0

[window]
along = 6.5
across = 9.0

[foot]
from_edge = 358

[[hole]]                        # nearest the window
from_edge = 126
diameter = 6.7

[[hole]]
from_edge = 154
diameter = 8.7

[[hole]]
from_edge = 197
diameter = 7.8

[[hole]]
from_edge = 229
diameter = 7.8

[[hole]]                        # nearest the foot
from_edge = 264
diameter = 8.4

[[target]]
fingering = "xxxxx"
note = "G#4"

[[target]]
fingering = "ooooo"
note = "G#5"
"""

TAPERED_WOOD_SIX = """\
# INVENTED demo data: no such flute exists. See README.md here.
name = "Tapered wooden six-hole, reamed and voiced"
unit = "mm"

[bore]                          # reamed: place from the sounding edge, diameter there
stations = [[60, 19.0], [180, 17.5], [332, 15.6]]
wall = 4.2

[window]
along = 5.5                     # cut-up
across = 9.0
wall = 3.0                      # thinned under the block
plug_to_window = 2.0
ramp_degrees = 30
block_height = 6.0

[foot]
from_edge = 332
outer_diameter = 25.0

[[hole]]                        # nearest the window
from_edge = 146
diameter = 6.4
outer_rounding = 0.5

[[hole]]
from_edge = 170
diameter = 6.8
outer_rounding = 0.5

[[hole]]
from_edge = 196
along = 7.4                     # an oval
across = 6.2
outer_rounding = 0.5

[[hole]]
from_edge = 226
diameter = 6.6
outer_rounding = 0.5

[[hole]]
from_edge = 250
diameter = 7.2
outer_rounding = 0.5

[[hole]]                        # nearest the foot
from_edge = 279
diameter = 6.2
inner_diameter = 7.6            # undercut
outer_rounding = 0.5
"""

PLAIN_PIPE = """\
# INVENTED demo data: no such pipe exists. See README.md here.
name = "Plain pipe {length} mm"
unit = "mm"

[bore]
diameter = 15.4
wall = 2.9

[head]
kind = "open"
outer_diameter = 21.2

[foot]
from_edge = {length}
"""


@dataclass(frozen=True, kw_only=True)
class Session:
    """One sitting: bore temperature as written [C], and its rows.

    A row is (fingering, register, use, breath word, breath [mm water] or None, remark).
    """

    name: str
    bore_temperature_c: float
    notes: tuple[tuple, ...]


def _usual(fingerings: str, register: int = 1, use: str = "fit", water: str = "", remark: str = ""):
    words = fingerings.split()
    pressures = [int(w) for w in water.split()] or [None] * len(words)
    return tuple(
        (word, register, use, "usual", pressure, remark)
        for word, pressure in zip(words, pressures, strict=True)
    )


SIX_SESSIONS = (
    Session(
        name="saturday",
        bore_temperature_c=25.5,
        notes=_usual("xxxxxx xxxxxo xxxxoo xxxooo xxoooo xooooo oooooo")
        + _usual("xoxooo ooxooo oxxxxx")
        + _usual("xxxxxx xxxxxo xxxxoo", register=2, remark="overblown"),
    ),
    Session(
        name="sunday",
        bore_temperature_c=27.0,
        notes=_usual("oooooo xooooo xxoooo xxxooo xxxxoo xxxxxo xxxxxx ooxooo xoxooo"),
    ),
)
FIVE_SESSIONS = (
    Session(
        name="bench",
        bore_temperature_c=26.0,
        notes=_usual("xxxxx xxxxo xxxoo xxooo xoooo ooooo", water="46 47 50 52 55 58")
        + _usual("ooooo xoooo xxooo xxxoo xxxxo xxxxx", water="57 56 51 50 48 45")
        + _usual("xxxxx xxxxo", register=2, water="92 95", remark="overblown")
        + _usual("xxoxx xxoxo xoxoo oxooo", use="check", water="51 51 54 57",
                 remark="cross-fingered")
        + (("xxxxx", 1, "fit", "soft", 27, ""), ("xxooo", 1, "fit", "hard", 80, "")),
    ),
)  # fmt: skip
WOOD_SESSIONS = (
    Session(
        name="after voicing",
        bore_temperature_c=26.5,
        notes=_usual("xxxxxx xxxxxo xxxxoo xxxooo xxoooo xooooo oooooo")
        + _usual("oooooo xooooo xxoooo xxxooo xxxxoo xxxxxo xxxxxx")
        + _usual("xxxxxx xxxxxo xxxxoo xxxooo", register=2, remark="overblown")
        + _usual("xxxoxx xxoxxo xxxxxh", use="check", remark="forked or half-holed"),
    ),
)
PIPE_LENGTHS = (220, 300, 380, 460)
PIPE_SESSIONS = (
    Session(
        name="pipes",
        bore_temperature_c=21.5,
        notes=tuple(("", 1, "fit", "", None, "tapped") for _ in range(3)),
    ),
)
MISTAKEN = "half-inch-six"

CLASSES = {"open": range(180, 430, 40), "stopped": range(120, 310, 30)}  # mm, a pipe a group
CLASS_BORE, CLASS_WALL = 15.4, 2.9  # mm
CLASS_ROOM, THERMOMETER_SD = 20.5, 0.3  # C, warmer by 0.5 after every second group
LENGTH_SD, MISREAD = 0.4, 4.0  # mm


def flute_texts() -> dict[str, str]:
    """Return the flute files' texts by name."""
    pipes = {f"plain-pipe-{n}": PLAIN_PIPE.format(length=n) for n in PIPE_LENGTHS}
    return {
        "half-inch-six": HALF_INCH_SIX,
        "three-quarter-five": THREE_QUARTER_FIVE,
        **pipes,
        "tapered-wood-six": TAPERED_WOOD_SIX,
    }


def sessions_of(name: str) -> tuple[Session, ...]:
    """Return the sessions of an instrument."""
    known = {
        "half-inch-six": SIX_SESSIONS,
        "three-quarter-five": FIVE_SESSIONS,
        "tapered-wood-six": WOOD_SESSIONS,
    }
    return known.get(name, PIPE_SESSIONS)


def draw_corrections(rng: np.random.Generator) -> Corrections:
    """Draw true corrections from the usual priors, within their limits."""
    priors = default_priors()
    drawn = {}
    for name in DRAWN:
        prior = priors[name]
        value = rng.normal(prior.mean, prior.sd)
        while not prior.lower <= value <= prior.upper:
            value = rng.normal(prior.mean, prior.sd)
        drawn[name] = float(value)
    return Corrections(**drawn)


def measure(
    flute: Flute,
    sessions: tuple[Session, ...],
    truth: Corrections,
    rng: np.random.Generator,
    mistakes: bool,
) -> tuple[list[dict], dict]:
    """Return the table's rows as written and what is true of them.

    ``true_hz`` is the session's pitch before the reading's noise and the tuner's rounding.
    """
    played, true = flute, {"corrections": _plain(truth)}
    if mistakes:
        played, true["misdrilled"] = _misdrill(flute, rng)
    truth = replace(truth, **_references(sessions))
    written, true["sessions"] = [], {}
    for session in sessions:
        warm = rng.uniform(-TEMPERATURE_OFF, TEMPERATURE_OFF)
        shared = rng.normal(0, SESSION_SD)
        true["sessions"][session.name] = {"temperature_off_c": warm, "cents": shared}
        pitches = _true_pitches(played, session, truth, warm)
        for note, pitch in zip(session.notes, shift(pitches, shared), strict=True):
            reading = shift(pitch, rng.normal(0, READING_SD))
            written.append(_written(session, note, reading) | {"true_hz": float(pitch)})
    if mistakes:
        true["slip"] = _slip(written, rng)
    return written, true


def _plain(truth):
    return {name: getattr(truth, name) for name in DRAWN}


def _misdrill(flute, rng):
    index = int(rng.integers(len(flute.holes)))
    off = float(rng.choice([-MISDRILLED, MISDRILLED]))
    holes = list(flute.holes)
    holes[index] = replace(holes[index], diameter=holes[index].diameter + off)
    return replace(flute, holes=tuple(holes)), {"hole": index + 1, "diameter_off_mm": off * 1000}


def _references(sessions):
    """The usual pressures of the first register and of those above."""
    notes = [n for s in sessions for n in s.notes if n[4] and n[3] == "usual" and n[2] == "fit"]

    def mean(water):
        return from_mm_water(float(np.exp(np.mean(np.log(water))))) if water else None

    return {
        "reference_pressure": mean([n[4] for n in notes if n[1] < 2]),
        "overblown_pressure": mean([n[4] for n in notes if n[1] >= 2]),
    }


def _true_pitches(flute, session, truth, warm):
    air = moist_air(celsius(session.bore_temperature_c + warm), humidity=0.5)
    breath = [np.nan if n[4] is None else from_mm_water(n[4]) for n in session.notes]
    wanted = rows(
        flute,
        [n[0] for n in session.notes],
        air=air,
        register=[n[1] for n in session.notes],
        breath=breath,
    )
    return predict_notes(flute, wanted, truth).frequency


def _written(session, note, reading):
    fingering, register, use, breath, water, remark = note
    name, cents = nearest_note(reading)
    return {
        "session": session.name,
        "fingering": fingering,
        "register": register,
        "note": name,
        "cents": round(cents),
        "bore_temperature_c": session.bore_temperature_c,
        "humidity_percent": 50,
        "breath": breath,
        "breath_mm_water": "" if water is None else water,
        "use": use,
        "remark": remark,
    }


def _slip(written, rng):
    """Write one first-register reading down with a wrong digit."""
    first = [i for i, row in enumerate(written) if row["register"] == 1]
    index = int(rng.choice(first))
    off = SLIP if written[index]["cents"] < 0 else -SLIP
    written[index]["cents"] += off
    return {"row": index + 1, "cents_off": off}


def class_of_pipes(
    kind: str, truth: Corrections, rng: np.random.Generator, mistakes: bool
) -> tuple[str, dict]:
    """Return a class's table as CSV text and what is true of it, group by group."""
    written = np.array(CLASSES[kind]) + rng.integers(-3, 4, size=len(CLASSES[kind]))
    lengths = written + rng.normal(0, LENGTH_SD, size=len(written))
    warm = CLASS_ROOM + 0.5 * (np.arange(len(written)) // 2)
    rooms = warm + rng.normal(0, THERMOMETER_SD, size=len(written))
    true = {"corrections": _plain(truth), "length_mm": lengths.tolist(), "room_c": rooms.tolist()}
    if mistakes and kind == "open":
        group = int(rng.integers(len(written)))
        off = int(rng.choice([-MISREAD, MISREAD]))
        written[group] += off
        true["slip"] = {"group": group + 1, "length_off_mm": off}
    pitches = [_class_pitch(kind, *one, truth) for one in zip(lengths, rooms, strict=True)]
    cells = []
    for number, pitch in enumerate(pitches):
        readings = shift(pitch, rng.normal(0, READING_SD, size=3))
        cells.append((str(number + 1), str(written[number]), f"{warm[number]:.1f}",
                      *[f"{reading:.1f}" for reading in readings]))  # fmt: skip
    table = ClassFile(rows=tuple(cells), kind=kind, bore=str(CLASS_BORE), wall=str(CLASS_WALL))
    head = "# INVENTED demo data: no such class or pipe exists. See README.md here.\n"
    return head + class_file_bytes(table).decode(), true | {"true_hz": pitches}


def _class_pitch(kind, length, room, truth):
    outer = from_mm(CLASS_BORE + 2 * CLASS_WALL)
    foot = {"kind": "stopped"} if kind == "stopped" else {"outer_diameter": outer}
    pipe = Flute(
        name="pipe",
        bore=Bore(stations=((0.0, from_mm(CLASS_BORE)),)),
        holes=(),
        head=End(position=0.0, outer_diameter=outer),
        foot=End(position=from_mm(length), **foot),
    )
    wanted = rows(pipe, [""], air=moist_air(celsius(room), humidity=0.5), driven=[True])
    return float(predict_notes(pipe, wanted, truth).frequency[0])


def table_text(written: list[dict]) -> str:
    """Return a note table as CSV text."""
    columns = [name for name in written[0] if name != "true_hz"]
    columns = [name for name in columns if any(row[name] != "" for row in written)]
    if not any(row["fingering"] for row in written):
        columns = ["fingering"] + [name for name in columns if name != "fingering"]
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(written)
    return text.getvalue()


def make(seed: int, mistakes: bool = True) -> tuple[dict[str, str], dict]:
    """Return the files of a seed (name -> text) and the truth behind them."""
    files, truth = {}, {"seed": seed, "invented": True}
    pipes = draw_corrections(np.random.default_rng([seed, 2]))
    with tempfile.TemporaryDirectory() as folder:
        for number, (name, text) in enumerate(flute_texts().items()):
            place = Path(folder) / f"{name}.toml"
            place.write_text(text, encoding="utf-8")
            flute = read_flute(place)
            rng = np.random.default_rng([seed, 10 + number])
            true = pipes if not flute.holes else draw_corrections(rng)
            wrong = mistakes and name == MISTAKEN
            written, behind = measure(flute, sessions_of(name), true, rng, wrong)
            files[f"{name}.toml"] = text
            files[f"{name}.csv"] = table_text(written)
            truth[name] = behind | {"true_hz": [row["true_hz"] for row in written]}
    truth["classes"] = {}
    for number, kind in enumerate(CLASSES):
        rng = np.random.default_rng([seed, 30 + number])
        text, behind = class_of_pipes(kind, pipes, rng, mistakes)
        files[f"class-{kind}-pipes.csv"] = text
        truth["classes"][kind] = behind
    return files, truth


def main(arguments: list[str] | None = None) -> int:
    """Write the demo files of a seed."""
    parser = argparse.ArgumentParser(description="Make the invented demo data.")
    parser.add_argument("folder", nargs="?", default=str(Path(__file__).parent))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--overwrite", action="store_true", help="replace files that are there")
    options = parser.parse_args(arguments)
    files, truth = make(options.seed)
    folder = Path(options.folder)
    contents = {folder / name: text.encode() for name, text in files.items()}
    truth_file = folder / "truth" / f"seed-{options.seed}.json"
    contents[truth_file] = (json.dumps(truth, indent=1) + "\n").encode()
    try:
        truth_file.parent.mkdir(parents=True, exist_ok=True)
        write_all(contents, overwrite=options.overwrite)
    except DataError as error:
        print(error, file=sys.stderr)
        return 2
    print(f"{len(contents)} files of seed {options.seed} written to {folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
