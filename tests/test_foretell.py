"""Foretold notes: fingerings, temperatures, constants, targets, and the plus-minus."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import CENT, CROSSED, PIPE, SCALE, SIX, demo, notes_of

from flutelab import (
    Corrections,
    DataError,
    calibrate,
    moist_air,
    playing_frequencies,
    read_constants,
    read_measurements,
    write_constants,
)
from flutelab.files.foretell import all_fingerings, foretell, usual_fingerings
from flutelab.model.flute import Target
from flutelab.physics.breath import AirAlong
from flutelab.units import celsius


def constants_of(tmp_path, measured, **options):
    path = tmp_path / "c.json"
    write_constants(calibrate(measured, **options), path)
    return read_constants(path)


@pytest.fixture
def fitted(tmp_path):
    return constants_of(tmp_path, notes_of(SIX, SCALE + CROSSED, Corrections(window=1.1)))


def with_targets(*targets):
    return replace(SIX, targets=targets)


# --- fingerings ------------------------------------------------------------------------


def test_usual_fingerings_open_hole_by_hole_from_the_foot():
    assert usual_fingerings(SIX) == tuple(SCALE)
    assert usual_fingerings(PIPE) == ("",)
    flute = with_targets(Target(fingering="ooxooo", frequency=1000.0),
                         Target(fingering="xxxxxx", frequency=500.0))  # fmt: skip
    assert usual_fingerings(flute) == (*SCALE, "ooxooo")


def test_all_fingerings():
    words = all_fingerings(SIX)
    assert len(set(words)) == 64
    assert words[0] == "xxxxxx"
    assert words[-1] == "oooooo"
    assert all_fingerings(PIPE) == ("",)


def test_every_wrong_fingering_is_told_at_once():
    with pytest.raises(DataError) as caught:
        foretell(SIX, ["xxxxx", "xxxxxx", "xxyxxx"])
    text = str(caught.value)
    assert "options: 2 faults" in text
    assert "fingering 'xxxxx' has 5 letters but the flute has 6 holes" in text
    assert "fingering 'xxyxxx' holds 'y'" in text
    assert text.count("Write one letter for each hole") == 1


def test_a_wrong_fingering_is_told_once():
    with pytest.raises(DataError, match="options: 1 fault\n"):
        foretell(SIX, ["xxx", "xxx"])


def test_fingerings_are_read_in_every_spelling():
    told = foretell(SIX, ["XXX OOO", "xxx|ooo", "●●●○○○"])
    assert told.frame["fingering"].tolist() == ["xxxooo"] * 3
    assert foretell(PIPE, ["bare"]).text.splitlines()[2].startswith("  bare ")


# --- air -------------------------------------------------------------------------------


def test_the_bores_air_as_given():
    told = foretell(SIX, SCALE, bore=celsius(26.0))
    expected = playing_frequencies(SIX, SCALE, air=moist_air(celsius(26.0), humidity=0.5))
    assert told.frame["frequency_hz"].to_numpy() == pytest.approx(expected, rel=1e-12)
    assert "bore air 26.0 C (78.8 F), 50 % humidity" in told.text
    assert "breath (" not in told.text


@pytest.mark.parametrize(("options", "room", "halfway"), [
    # halfway to the foot 0.4 of the way from the room's temperature to 32 C
    ({"room": celsius(22.0)}, 22.0, 26.0), ({}, 20.0, 24.8), ({"room": celsius(30.0)}, 30.0, 30.8),
])  # fmt: skip
def test_the_bores_air_from_the_rooms(options, room, halfway):
    told = foretell(SIX, SCALE, **options)
    air = AirAlong(room_temperature=celsius(room))
    expected = playing_frequencies(SIX, SCALE, air=air)
    assert told.frame["frequency_hz"].to_numpy() == pytest.approx(expected, rel=1e-12)
    assert f"room air {room:.1f} C ({1.8 * room + 32:.1f} F), 50 % humidity" in told.text
    assert f"{halfway:.1f} C halfway (common practice, no source)" in told.text
    assert ("20 C in the room is assumed" in told.text) == (not options)


def test_air_as_in_a_calibration_from_the_room(fitted):
    fitted.document["conditions"].update(room_temperature_c=[20.0, 22.0])
    told = foretell(SIX, SCALE, constants=fitted)
    assert "temperature: as in the calibration" in told.text
    assert "room air 21.0 C" in told.text


def test_a_calibration_in_rooms_and_bores_says_which_temperature_is_taken(tmp_path):
    table = "fingering,frequency_hz,room_temperature_c,bore_temperature_c\n"
    pitches = playing_frequencies(SIX, SCALE, air=moist_air(celsius(25.0)))
    for n, (word, pitch) in enumerate(zip(SCALE, pitches, strict=True)):
        table += f"{word},{pitch:.2f},{'' if n % 2 else 18 + n},{25 if n % 2 else ''}\n"
    (tmp_path / "notes.csv").write_text(table, encoding="utf-8")
    known = constants_of(tmp_path, read_measurements(tmp_path / "notes.csv", SIX))
    assert known.document["conditions"]["temperature_measured_in"] == "room and bore"
    text = foretell(SIX, SCALE[:1], constants=known).text
    assert (
        "temperature: as in the calibration, whose rows have 18.0 to 24.0 C: halfway between (in "
        "the room; rows with a temperature in the bore do not count here); --room or --bore"
    ) in text
    assert "room air 21.0 C" in text
    assert "others were measured" not in foretell(SIX, SCALE[:1], constants=known, room=295.0).text


def test_half_covered_holes_are_foretold_with_the_fingers_doubt():
    told = foretell(SIX, ["xxxxxo", "xxxxxh"], bore=celsius(25.0))
    half = told.frame["sd_cents"][1]
    assert half > 20 > told.frame["sd_corrections_cents"][1]
    others = np.hypot(np.hypot(5, 0.6), told.frame["sd_corrections_cents"][1])
    assert half == pytest.approx(np.hypot(20, others))
    assert "half-covered holes: 20 cents" in told.text
    assert "half-covered" not in foretell(SIX, ["xxxxxo"], bore=celsius(25.0)).text


def test_air_as_in_the_calibration_has_its_humidity_too(tmp_path):
    known = constants_of(tmp_path, demo("three-quarter-five"))
    known.document["conditions"]["humidity_percent"] = [70.0, 80.0]
    flute = demo("three-quarter-five").flute
    assert "75 % humidity" in foretell(flute, ["xxxxx"], constants=known).text
    assert "50 % humidity" in foretell(flute, ["xxxxx"], constants=known, room=295.0).text


def test_humidity_reaches_the_air():
    dry, wet = (foretell(SIX, SCALE[:1], bore=celsius(25.0), humidity=h) for h in (0.1, 0.9))
    assert wet.frame["frequency_hz"][0] > dry.frame["frequency_hz"][0]  # water vapour is lighter
    assert "90 % humidity" in wet.text


def test_temperatures_that_are_none_are_refused():
    with pytest.raises(DataError, match="Check the unit, C or F"):
        foretell(SIX, SCALE, bore=celsius(800.0))


def test_without_a_temperature_that_of_the_calibration_serves(fitted):
    told = foretell(SIX, SCALE, constants=fitted)
    assert "temperature: as in the calibration" in told.text
    assert "bore air 25.0 C" in told.text


def test_plus_minus_grows_where_the_room_stands_for_the_bore():
    room, bore = (foretell(SIX, SCALE, **{name: celsius(t)}).frame["sd_cents"].to_numpy()
                  for name, t in (("room", 21.0), ("bore", 25.0)))  # fmt: skip
    # By hand: 3 K against 1.5 K at 1200/(2 ln 2 T) cents a kelvin. That is sound speed alone; wall
    # losses of some 15 cents grow with T^0.6 and take 1 % of the slope, 2 % of its square.
    kelvin = 1200 / (2 * np.log(2) * 298.15)
    # Breath at the window moves the other corrections' shares a little too.
    assert room**2 - bore**2 == pytest.approx(0.98 * kelvin**2 * (9 - 2.25), rel=0.04)


# --- constants -------------------------------------------------------------------------


def test_constants_move_the_notes_where_they_were_measured(fitted):
    told = foretell(SIX, SCALE, constants=fitted)
    measured = notes_of(SIX, SCALE, Corrections(window=1.1)).frequency
    off = np.log(told.frame["frequency_hz"].to_numpy() / measured) / CENT
    book = foretell(SIX, SCALE, bore=celsius(25.0))
    before = np.log(book.frame["frequency_hz"].to_numpy() / measured) / CENT
    assert np.max(np.abs(off)) < 0.35 * np.max(np.abs(before))
    assert np.all(told.frame["sd_cents"] < book.frame["sd_cents"])


def test_plus_minus_adds_another_days_breath_and_the_models_error(fitted):
    frame = foretell(SIX, SCALE, constants=fitted).frame
    assert frame["sd_cents"].to_numpy() == pytest.approx(
        np.hypot(frame["sd_corrections_cents"], np.hypot(5.0, 0.6))  # 0.6: of the model
    )


def test_the_air_offset_is_applied_only_when_asked(tmp_path):
    hold = ("window", "foot", "wall", "hole_end", "bore", "loss", "pad_depth")
    warm = constants_of(
        tmp_path, notes_of(SIX, SCALE, Corrections(air_offset=3.0), sd=0.3), hold=hold
    )
    assert warm.corrections.air_offset > 0.2
    without = foretell(SIX, SCALE, constants=warm)
    with_it = foretell(SIX, SCALE, constants=warm, with_offset=True)
    assert np.all(with_it.frame["frequency_hz"] > without.frame["frequency_hz"])
    cents = np.log(with_it.frame["frequency_hz"] / without.frame["frequency_hz"]) / CENT
    size = f"of {warm.corrections.air_offset:+.1f} C ({cents.mean():+.1f} cents on these notes)"
    assert f"air offset {size} is not applied; --with-offset does" in without.text
    assert "not applied" not in with_it.text
    # a new day's air errs anew: its whole prior is in the plus-minus
    assert np.all(without.frame["sd_cents"] > with_it.frame["sd_cents"])


def test_a_held_air_offset_stays_out(tmp_path):
    held = constants_of(tmp_path, notes_of(SIX, SCALE), hold=("air_offset",))
    told = foretell(SIX, SCALE, constants=held)
    assert np.isfinite(told.frame["sd_cents"]).all()


def test_usual_breath_is_told(tmp_path):
    known = constants_of(tmp_path, demo("three-quarter-five"))
    told = foretell(demo("three-quarter-five").flute, ["xxxxx"], constants=known)
    pressure = known.corrections.reference_pressure
    assert f"at the calibration's usual breath, {pressure:.0f} Pa" in told.text


def test_without_constants_it_says_so():
    assert (
        "no constants: the formulas as they stand, with the usual doubt"
        in foretell(SIX, SCALE).text
    )


# --- targets and text ------------------------------------------------------------------


def test_targets_say_how_far_and_which_way():
    air = AirAlong(room_temperature=celsius(20.0))
    pitch = playing_frequencies(SIX, SCALE[:3], air=air)
    wanted = pitch * np.exp(CENT * np.array([12.0, -7.0, 0.1]))
    flute = with_targets(
        *(Target(fingering=w, frequency=f) for w, f in zip(SCALE, wanted, strict=False))
    )
    told = foretell(flute, SCALE)
    assert told.frame["over_target_cents"][:3].tolist() == pytest.approx([-12, 7, -0.1], abs=1e-6)
    assert told.frame["over_target_cents"][3:].isna().all()
    ends = [line.rsplit("  ", 1)[1] for line in told.text.splitlines()[2:5]]
    assert ends == ["12 cents flat", "7 cents sharp", "on target"]


def test_targets_are_for_the_first_register():
    flute = with_targets(Target(fingering="xxxxxx", frequency=520.0))
    assert "over_target_cents" not in foretell(flute, SCALE[:2], register=2).frame


def test_text_has_a_line_for_every_note_and_the_reference_pitch():
    told = foretell(SIX, SCALE, a4=442.0)
    lines = told.text.splitlines()
    assert lines[0] == "six"
    for word, frequency, note, line in zip(
        SCALE, told.frame["frequency_hz"], told.frame["note"], lines[2:9], strict=True
    ):
        assert line.split()[:4] == [word, f"{frequency:.2f}", *note.split()]
    other = foretell(SIX, SCALE).frame["note"]
    assert list(told.frame["note"]) != list(other)


def test_notes_near_cutoff_are_marked_and_explained():
    told = foretell(SIX, ["oooooo"], register=3)
    assert told.frame["status"].tolist() == ["near cutoff"]
    assert "(near cutoff)" in told.text
    assert "trust these notes less" in told.text
    assert "cutoff" not in foretell(SIX, ["xxxxxx"]).text


def test_constants_of_another_flute_are_named(fitted):
    other = replace(SIX, name="another")
    assert not any(
        "constants of" in said for said in foretell(SIX, SCALE, constants=fitted).remarks
    )
    said = " ".join(foretell(other, SCALE, constants=fitted).remarks)
    assert "constants of" in said
    assert "this is 'another' (bore" in said
