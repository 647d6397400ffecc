"""Worked examples of text books, pitch standards, and plain pipes as measured."""

import numpy as np
import pytest
from reference.published import check, name_of, published

from flutelab import (
    Air,
    Bore,
    Corrections,
    End,
    Flute,
    ValidityWarning,
    moist_air,
    playing_frequencies,
    read_flute,
)
from flutelab.physics.air import warmer
from flutelab.physics.rules import (
    resonance_lengths,
    square_root_speed,
    square_root_temperature,
    two_length_speed,
)
from flutelab.pitch import cents, note_frequency, shift

IDEAL = Corrections(loss=0.0, foot=0.0, coupling=0.0)  # no losses, no end corrections


def _air(speed, temperature=293.15):
    return Air(
        sound_speed=speed,
        density=1.2,
        viscosity=1.8e-5,
        heat_ratio=1.4,
        prandtl=0.71,
        temperature=temperature,
    )


def pipe(length, air, head="node", foot="stopped"):
    """Frequency of an ideal pipe through the flute, lattice and mode search."""
    flute = Flute(
        name="pipe",
        bore=Bore(stations=((0.0, 0.01),)),
        holes=(),
        head=End(position=0.0, kind=head),
        foot=End(position=length, kind=foot),
    )
    return playing_frequencies(flute, "", air=air, corrections=IDEAL)[0]


def _tuned_at_18():
    return _air(square_root_speed(291.15), 291.15)


def _warmed(low, high):
    cold = moist_air(low)
    length = cold.sound_speed / (4 * 440.0)
    return cents(pipe(length, warmer(cold, high - low)), pipe(length, cold))


BIN = 48000 / 8192
E4 = note_frequency(4, 4)
READ = BIN * round(E4 / BIN)

EXAMPLES = {
    "stopped tube 0.240 m at 310 K": lambda: pipe(0.240, _air(square_root_speed(310.0))),
    "sound speed from 256 Hz at 0.336 m stopped": lambda: 343.0 * 256 / pipe(0.336, _air(343.0)),
    "temperature from 256 Hz at 0.336 m stopped": lambda: (
        square_root_temperature(343.0 * 256 / pipe(0.336, _air(343.0))) - 273
    ),
    "half wave from 24.1 and 74.1 cm": lambda: 100 * resonance_lengths(0.241, 0.741)[0],
    "end correction from 24.1 and 74.1 cm": lambda: 100 * resonance_lengths(0.241, 0.741)[1],
    "sound speed from 50.7 and 83.9 cm at 500 Hz": lambda: two_length_speed(0.507, 0.839, 500.0),
    "wavelength from 50.7 and 83.9 cm": lambda: 100 * two_length_speed(0.507, 0.839, 500.0) / 500,
    "A 440 of 18 C at 21 C": lambda: pipe(
        _tuned_at_18().sound_speed / (4 * 440), warmer(_tuned_at_18(), 3.0)
    ),
    "cents from 18 to 21 C": lambda: _warmed(291.15, 294.15),
    "cents from 20 to 21 C": lambda: _warmed(293.15, 294.15),
    "spectrum bin at 48 kHz and 8192 samples": lambda: BIN,
    "E4": lambda: E4,
    "E4 read from the nearest bin": lambda: READ,
    "E4 read from the nearest bin in cents": lambda: cents(READ, E4),
    "semitone of the schema": lambda: cents(
        pipe(0.670 / shift(1, 100), _air(345.0), foot="node"),
        pipe(0.670, _air(345.0), foot="node"),
    ),
}
IMPOSSIBLE = "end correction from 50.7 and 83.9 cm"
POSSIBLE = [row for row in published("worked_examples") if row["quantity"] != IMPOSSIBLE]


@pytest.mark.parametrize("row", POSSIBLE, ids=name_of)
def test_worked_example(row):
    check(row, EXAMPLES[row["quantity"]]())


def test_an_impossible_example_warns_and_gives_nothing():
    (row,) = published("worked_examples", IMPOSSIBLE)
    with pytest.warns(ValidityWarning, match="impossible: negative") as caught:
        half_wave, correction = resonance_lengths(0.507, 0.839, order=2)
    assert half_wave == pytest.approx(0.332)
    assert np.isnan(correction)
    said = float(str(caught[0].message).split(" of ")[1].split(" m")[0])
    check(row, 100 * said)


@pytest.mark.parametrize(("lengths", "order"), [((0.3, 0.2), 1), ((0.0, 0.2), 1), ((0.1, 0.3), 0)])
def test_lengths_that_cannot_be_are_refused(lengths, order):
    with pytest.raises(ValueError, match=r"lengths are|order is 0"):
        resonance_lengths(*lengths, order=order)


PITCH = {
    "minor pentatonic ratio": lambda steps: shift(1.0, 100 * steps),
    "note frequency": lambda number: note_frequency(number % 12, number // 12 - 1),
    "standard pitch in cents of 440": lambda a4: cents(note_frequency(9, 4, a4), 440),
}


@pytest.mark.parametrize("row", published("pitch"), ids=name_of)
def test_pitch(row):
    check(row, PITCH[row["quantity"]](row["of"]))


PIPE = """
name = "plastic pipe"
unit = "mm"

[bore]
diameter = {diameter}

[head]
kind = "open"
outer_diameter = {diameter}

[foot]
kind = "open"
outer_diameter = {diameter}
from_edge = {length}
"""


def test_plain_pipes_from_flute_files(tmp_path, capsys):
    """Five pipes of Boelkes and Hoffmann (2011), dry air of 20 C, sharp rims: within 20 cents."""
    lines = []
    for row in published("plain_pipes"):
        path = tmp_path / f"pipe-{row['diameter']}.toml"
        path.write_text(PIPE.format(diameter=row["diameter"], length=1000 * row["length"]))
        flute = read_flute(path)
        found = playing_frequencies(flute, "", air=moist_air(293.15, humidity=0.0))[0]
        rule = 343.2 / (2 * (row["length"] + 2 * 0.33 * row["diameter"] * 1e-3))
        check(row, rule)
        off = cents(found, row["value"])
        lines.append(
            f"{row['diameter']:5} mm {row['value']:8.1f} {found:8.1f} Hz {off:+6.1f} cents"
        )
        assert abs(off) < 20
    with capsys.disabled():
        print("\nplain pipes: bore, measured rule 0.33 D, this library, difference")
        print("\n".join(lines))
