"""Looking inside a flute's notes: sections, sentences, what is left out and what is refused."""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from made_notes import DEMO, PIPE, SCALE, SIX, STOPPED, WIDE, notes_of

from flutelab import (
    Corrections,
    DataError,
    End,
    calibrate,
    moist_air,
    octaves,
    read_constants,
    read_flute,
    rows,
    table,
    write_constants,
)
from flutelab.files.look import look
from flutelab.files.look_text import sentences
from flutelab.physics.breath import AirAlong, air_at
from flutelab.units import celsius
from flutelab.view.plots import drawings_of

WORDS = [SCALE[0], SCALE[3]]
pytestmark = pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")
TITLES = (
    "Where each note comes from",
    "What leaves by each opening [% of the radiated power/% of the flow]",
    "Modes [Hz], Q, strength",
    "How far up the open holes hold the sound",
    "How wide the octaves are, and why [cents]",
    "What rules of thumb would say [cents off the model]",
    "What one air for the whole bore would do [cents]",
    "The jet",
    "What a small change does [cents]",
)


@cache
def looked_into(*words, **given):
    return look(SIX, list(words), **given)


def titles_of(found):
    return [title for title in TITLES if title in found.text.splitlines()]


def test_a_blown_flute_has_every_section():
    found = looked_into(*WORDS, room=celsius(22.0), pressure=520.0)
    assert titles_of(found) == list(TITLES)
    assert set(found.results) == {
        "spectrum", "standing_wave", "octaves", "small_changes", "cutoff", "rules", "warmth",
        "jet", "air",
    }  # fmt: skip
    assert "room air 22.0 C" in found.text
    # Bernoulli, in the air at the window
    speed = np.sqrt(2 * 520.0 / air_at(AirAlong(room_temperature=celsius(22.0)), 0.0).density)
    assert f"(53 mm of water) make a jet of {speed:.1f} m/s" in found.text


def test_numbers_are_those_of_the_records():
    found = looked_into(*WORDS, room=celsius(22.0))
    wave = found.results["standing_wave"]
    line = next(line for line in found.text.splitlines() if line.startswith(f"  {SCALE[3]} "))
    assert f"{wave.frequency[1]:9.2f} Hz" in line
    assert f"column {1e3 * wave.effective_head[1]:.0f} to {1e3 * wave.effective_end[1]:.0f}" in line
    loudest = int(np.argmax(wave.power_share[1]))
    assert f"sounds from {wave.opening[loudest]} {100 * wave.power_share[1, loudest]:.0f} %" in line
    air = AirAlong(room_temperature=celsius(22.0))
    expected = octaves(SIX, rows(SIX, WORDS, air=air))
    assert found.results["octaves"].stretch == pytest.approx(expected.stretch)


def test_the_sentences_name_the_worst_octave_and_the_strongest_size():
    found = looked_into(*SCALE, bore=celsius(25.0))
    first, second = found.text.splitlines()[1:3]
    seen = found.results["octaves"]
    plain = [abs(cents) * (not said) for cents, said in zip(seen.stretch, seen.remark, strict=True)]
    worst = int(np.argmax(plain))
    cents = seen.stretch[worst]
    told = f"{abs(cents):.0f} cents {'wide' if cents > 0 else 'narrow'}, most of it by: "
    marked = sum(map(bool, seen.remark))
    assert first.startswith(
        f"Of the octaves without a remark, that of {SCALE[worst]} is farthest off: {told}"
    )
    assert first.endswith(f"({marked} of {len(SCALE)} have a remark).")
    # worked out anew, 0.1 mm for sizes and 0.5 mm for places: 0.1 mm of hole or bore moves most
    changes = found.results["small_changes"]
    error = np.array([{"places": 5e-4}.get(group, 1e-4) for group in changes.group])
    error[[name == "foot_position" for name in changes.names]] = 5e-4
    metres = np.array([unit == "m" for unit in changes.unit])
    size = np.nanmax(np.abs(changes.gradient[:, metres] * error[metres]))
    assert f"moves a note most: {size:.0f} cents on " in second
    assert "(usual errors: sizes 0.1 mm, places 0.5 mm; common practice, no source)" in second


def test_a_measured_bore_has_one_air():
    found = looked_into(*WORDS, bore=celsius(25.0))
    assert TITLES[6] not in found.text
    assert "warmth" not in found.results


def test_a_plain_pipe_has_no_cutoff_and_no_empty_rule():
    found = look(PIPE, [""], bore=celsius(22.0))
    assert titles_of(found) == [*TITLES[:3], *TITLES[4:6], TITLES[-1]]
    assert "  bare " in found.text
    assert not re.search(r"\bholes?\b", found.text)
    assert "straight: c/2L, L from the head to the foot" in found.text
    ends = "0.6 bore radii at the head and 0.6 bore radii beyond the foot"
    assert f"corrected: c/2L, with {ends}" in found.text


def test_a_stopped_pipe_has_a_twelfth():
    found = look(STOPPED, ["x" * len(STOPPED.holes)], bore=celsius(22.0))
    assert "The twelfth of x is farthest off: " in found.text
    assert "How wide the twelfths are, and why" in found.text
    assert found.results["octaves"].interval.tolist() == [3]
    assert "nothing: the rules of thumb are those of half a wave" in found.text
    assert re.search(r"to stopper +sounds from window 100 %", found.text)


@pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")
def test_where_nothing_has_an_octave_only_the_reasons_are_told():
    found = look(WIDE, [""], bore=celsius(22.0))
    assert "bare: no mode of register 2 speaks" in found.text
    assert "friction and heat at the walls" not in found.text  # no number, no legend


def test_a_flute_stopped_at_both_ends_lets_no_sound_out():
    head = End(position=0.0, kind="stopped")
    shut = replace(STOPPED, head=head, holes=())
    found = look(shut, [""], bore=celsius(22.0))
    assert "column stopper to stopper" in found.text
    assert "nothing is open: no sound leaves" in found.text
    assert "sounds from" not in found.text


def test_a_plain_head_begins_at_nought():
    node = replace(SIX, head=End(position=0.0, kind="node"))
    found = look(node, SCALE[:1], bore=celsius(22.0))
    assert re.search(r"column 0 to \d+ mm", found.text)


def test_repeated_fingerings_count_once():
    found = look(SIX, [SCALE[3], SCALE[0], SCALE[3].upper()], bore=celsius(22.0))
    assert found.results["octaves"].label == (SCALE[3], SCALE[0])


def test_a_register_above_says_what_is_of_the_first():
    first, third = (looked_into(*WORDS, bore=celsius(22.0), register=n) for n in (1, 3))
    assert "whichever --register" not in first.text
    lines = third.text.splitlines()
    assert lines.count("  of the first register, whichever --register asks for") == 2
    assert "  from the first register to the second, whichever --register asks for" in lines


def test_a_note_near_the_cutoff_has_a_column_and_a_caution():
    found = looked_into(*SCALE, bore=celsius(22.0), register=2)
    lines = [line for line in lines_between(found, TITLES[0]) if " Hz  " in line]
    near = ["near cutoff" in line for line in lines]
    assert any(near)
    assert not all(near)
    assert all(re.search(r" column -?\d+ to \d+ mm ", line) for line in lines)
    caution = "near cutoff: the sound runs on past the first open holes, and the column is only"
    assert caution in found.text
    assert caution not in looked_into(*WORDS, bore=celsius(22.0)).text


def test_a_note_that_passed_over_a_weak_mode_says_so():
    flute = read_flute(DEMO / "half-inch-six.toml")
    found = look(flute, ["oooooo"], bore=celsius(22.0), register=2)
    weak = found.results["octaves"].remark[0].partition(";")[0]
    assert re.fullmatch(r"a weak mode at \d+ Hz passed over", weak)
    assert lines_between(found, TITLES[0])[0].endswith(f"(near cutoff; {weak})")


def test_modes_and_shares_are_those_of_the_records():
    found = looked_into(*WORDS, bore=celsius(22.0))
    m, wave = found.results["spectrum"].modes, found.results["standing_wave"]
    line = next(line for line in lines_between(found, TITLES[2]) if line.split()[0] == SCALE[3])
    assert re.sub(" +", " ", line).startswith(
        f" {SCALE[3]} {m.frequency[1, 0]:.0f} Q {m.q[1, 0]:.0f} {m.strength[1, 0]:.2f}"
    )
    assert "the admittance at the window times frequency squared" in found.text
    told = lines_between(found, TITLES[1])[2].split()[1:]
    assert told == [
        f"{100 * power:.0f}/{100 * flow:.0f}" if out else "-"
        for power, flow, out in zip(
            wave.power_share[1], wave.flow_share[1], wave.outflow[1], strict=True
        )
    ]


def test_an_opening_that_is_driven_says_so():
    flute = read_flute(DEMO / "finite-element-pipe.toml")
    found = look(flute, ["xoooxx", "xxxxxx"], bore=celsius(20.0), register=2)
    shares = found.results["standing_wave"].power_share[0]
    assert shares[4] < -0.005
    assert f"hole 4 {100 * shares[4]:.0f} %" in lines_between(found, TITLES[0])[0]
    assert re.search(rf" {100 * shares[4]:.0f}/\d", lines_between(found, TITLES[1])[1])
    assert "it takes power in, so the others add up to more than 100 %" in found.text
    assert "takes power in" not in looked_into(*WORDS, bore=celsius(22.0)).text


def test_a_small_hole_that_lets_the_wave_pass_has_a_column():
    flute = read_flute(DEMO / "finite-element-pipe.toml")
    found = look(flute, ["xoxxxx"], bore=celsius(20.0))
    assert "column 0 to 26" in found.text


def test_a_remarked_octave_is_not_the_headline():
    plain = looked_into(*SCALE, bore=celsius(25.0))
    found = plain.results["octaves"]
    worst, *_, least = np.argsort(-np.abs(found.stretch))
    for spared, others in ((worst, ""), (least, "odd")):
        remark = tuple("" if n == spared else others for n in range(len(SCALE)))
        first = next(sentences(plain.results | {"octaves": replace(found, remark=remark)}))
        told = f"that of {SCALE[spared]}" if others else f"octave of {SCALE[spared]}"
        assert f"{told} is farthest off: " in first
        assert ("without a remark" in first) == bool(others)
    every = replace(found, remark=("odd",) * len(SCALE))
    assert next(sentences(plain.results | {"octaves": every})).startswith("No octave is without")


def test_a_note_that_does_not_exist_says_why():
    found = looked_into(*WORDS, bore=celsius(25.0), register=4)
    reasons = found.results["standing_wave"].reason
    for reason in filter(None, reasons):
        assert reason in found.text


def test_constants_are_used_and_named(tmp_path):
    measured = notes_of(SIX, SCALE, Corrections(window=1.1))
    path = tmp_path / "constants.json"
    write_constants(calibrate(measured), path)
    constants = read_constants(path)
    found = looked_into(*WORDS, constants=constants)
    plain = looked_into(*WORDS, bore=celsius(25.0))
    assert "temperature: as in the calibration" in found.text
    lower = found.results["standing_wave"].frequency < plain.results["standing_wave"].frequency
    assert np.all(lower)


def test_no_window_no_jet():
    found = look(PIPE, [""], bore=celsius(22.0), pressure=500.0)
    assert "jet" not in found.results
    assert "no jet: the flute has no window" in found.text
    assert found.caption == f"{PIPE.name}; bore 22 °C"


def test_fingerings_that_do_not_fit_are_told_together():
    with pytest.raises(DataError, match="2 faults"):
        look(SIX, ["xxx", "xxyxxx"], bore=celsius(22.0))


def test_every_result_has_a_table_and_a_picture():
    found = looked_into(*WORDS, room=celsius(22.0), pressure=520.0)
    for name, result in found.results.items():
        if name != "air":
            assert len(table(result))
    names = set(drawings_of(found.results))
    assert {"octaves", "rules", "warmth", "air", "small_changes"} < names
    assert {f"{kind}-{word}" for kind in ("spectrum", "wave") for word in WORDS} < names


def lines_between(found, title):
    lines = found.text.splitlines()
    start = lines.index(title) + 1
    return lines[start : lines.index("", start) if "" in lines[start:] else None]


def test_an_inch_flute_is_told_in_inches():
    inches = look(replace(SIX, unit="in"), WORDS, room=celsius(22.0))
    wave = inches.results["standing_wave"]
    begin, stop = (x[1] / 0.0254 for x in (wave.effective_head, wave.effective_end))
    assert f"column {begin:.2f} to {stop:.2f} in " in inches.text
    assert "0.004 inch in the diameter of the bore moves a note most" in inches.text
    assert not re.search(r"\d mm\b", inches.text.split(TITLES[-1])[0].split(TITLES[0])[1])
    changes = inches.results["small_changes"]
    for name, words, size in (
        ("hole_4_diameter", "hole 4 (counted from the window): diameter  1/64 in", 0.0254 / 64),
        ("bore_diameter", "bore: diameter", 0.000254),
    ):
        line = next(line for line in inches.text.splitlines() if line.startswith(f"  {words}"))
        cents = size * changes.gradient[1, changes.names.index(name)]
        assert line.endswith(f"{cents:+.1f}")
    assert "has changes per mm and 0.1 mm" in inches.text
    assert {"hole_4_diameter_cents_per_mm", "bore_diameter_cents_per_0.1_mm"} <= set(table(changes))


def test_openings_that_are_not_named_are_summed():
    found = look(SIX, SCALE[-1:], room=celsius(22.0))
    power = np.sort(found.results["standing_wave"].power_share[0])[::-1]
    assert f", others {100 * power[3:].sum():.0f} %" in found.text
    assert "others" not in looked_into(*SCALE[:1], room=celsius(22.0)).text


def test_lines_that_move_nothing_are_left_out_and_what_is_left_is_explained():
    found = looked_into(*SCALE[:1], room=celsius(22.0))
    told = lines_between(found, TITLES[-1])
    rows_told = [line for line in told[1:] if re.search(r" [+-]?\d+(\.\d)?$", line)]
    cents = [float(line.split()[-1]) for line in rows_told]
    assert len(cents) > 10
    assert 0.0 not in cents
    assert not any("coupling" in line for line in rows_told)
    assert any("left out: what moves none of these notes by 0.05 cents" in line for line in told)
    assert "place: moved towards the foot" in found.text
    assert "window correction held" not in found.text
    both = looked_into(*WORDS, room=celsius(22.0)).text
    assert "window correction held: it stays as long as it is" in both


def test_a_degree_at_the_same_humidity_is_worth_what_is_said():
    assert "at the same humidity, about 3.1 cents" in looked_into(*WORDS, room=celsius(22.0)).text
    for warm in (18.0, 22.0, 26.0):
        speed = [moist_air(celsius(t), humidity=0.5).sound_speed for t in (warm, warm + 1)]
        assert 1200 * np.log2(speed[1] / speed[0]) == pytest.approx(3.1, abs=0.1)


def test_cutoff_without_enough_open_holes_is_a_dash():
    found = looked_into(*SCALE, room=celsius(22.0))
    cutoff = found.results["cutoff"]
    lines = {line.split()[0]: line.split()[1:] for line in lines_between(found, TITLES[3])[1:8]}
    for word, *values in zip(cutoff.label, cutoff.exact, cutoff.formula, cutoff.own, strict=True):
        values[2] = values[2] if values[2] < 2 * values[0] else np.nan
        assert lines[word][:3] == [f"{value:.0f}" if value > 0 else "-" for value in values]
    assert any(lines[word][2] != "-" for word in lines)
    assert any(own > 2 * row for own, row in zip(cutoff.own, cutoff.exact, strict=True))
    assert lines[SCALE[0]] == ["-", "-", "-", "-"]


@pytest.mark.parametrize("kind", ["open", "node"])
def test_a_flute_without_a_window_is_told_of_none(kind):
    plain = replace(SIX, head=End(position=0.0, kind=kind))
    text = look(plain, WORDS, room=celsius(22.0)).text
    assert "window" not in text
    assert "sounding edge" not in text
    assert "at the head 80 % of it breath" in text
    assert "hole 1 (nearest the head)" in text
    assert ("0.6 bore radii at the head" in text) == (kind == "open")


def test_constants_say_their_breath_and_what_overblowing_adds(tmp_path):
    low = notes_of(SIX, SCALE, breath=[400.0] * len(SCALE))
    path = tmp_path / "constants.json"
    write_constants(calibrate(low), path)
    constants = read_constants(path)
    blown = replace(
        constants, corrections=replace(constants.corrections, second_register=12.0,
                                       reference_pressure=400.0),
    )  # fmt: skip
    found = looked_into(*WORDS, constants=blown)
    assert "at the calibration's usual breath, 400 Pa" in found.text
    assert found.text.count("in playing, +12 cents of overblowing come on top") == 1
    remarks = table(found.results["octaves"])["remark"]
    assert all(remarks.str.endswith("in playing, +12 cents of overblowing come on top"))
