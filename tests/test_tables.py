"""Results as tables: units in the headers, numbers as computed, and back from CSV."""

import csv
import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from made_notes import AIR, CENT, CROSSED, PIPE, SCALE, SIX, STOPPED, changed, notes_of

from flutelab import (
    AirAlong,
    Corrections,
    Spread,
    by_hand,
    calibrate,
    jet_readout,
    lattice_cutoff,
    octaves,
    predict_notes,
    rows,
    single_temperature_error,
    spectrum,
    standing_wave,
    suspects,
    table,
)
from flutelab.files import archived_results
from flutelab.files.csv_text import read_records
from flutelab.files.tables import csv_text, no_formulas, note_name
from flutelab.fitting.flutes import next_flute
from flutelab.fitting.resampling import bootstrap
from flutelab.fitting.suspects import Suspect
from flutelab.model.flute import Uncertainty
from flutelab.model.sensitivities import sensitivities


@pytest.mark.parametrize(("frequency", "name"), [
    # Equal temperament about A4 = 440 Hz (ISO 16:1975); C4 = 261.6256 Hz.
    (440.0, "A4 +0"), (261.6256, "C4 +0"), (466.1638 * 2 ** (12 / 1200), "A#4 +12"),
    (440.0 * 2 ** (-49 / 1200), "A4 -49"), (440.0 * 2 ** (-51 / 1200), "G#4 +49"),
    (float("nan"), ""),
])  # fmt: skip
def test_note_names(frequency, name):
    assert note_name(frequency) == name


def test_note_names_follow_the_reference_pitch():
    assert note_name(440.0, 442.0) == "A4 -8"  # 1200 log2(440/442) = -7.85


def test_predicted_notes():
    notes = predict_notes(SIX, rows(SIX, SCALE, air=AIR))
    frame = table(notes)
    assert list(frame) == ["fingering", "register", "frequency_hz", "note", "q", "status", "remark"]
    assert frame["fingering"].tolist() == SCALE
    assert np.array_equal(frame["frequency_hz"], notes.frequency)
    assert frame["note"][0] == note_name(notes.frequency[0])


def test_predicted_notes_with_their_spread():
    spread = Spread(names=("window",), covariance=np.array([[0.01]]))
    notes = predict_notes(SIX, rows(SIX, SCALE, air=AIR), Corrections(), spread)
    frame = table(notes)
    assert list(frame)[3:5] == ["note", "sd_corrections_cents"]
    slope = notes.gradient[:, 0]
    assert frame["sd_corrections_cents"].to_numpy() == pytest.approx(0.1 * np.abs(slope))


def test_a_calibration_has_a_line_for_every_row_of_every_table():
    use = ("fit",) * 7 + ("check", "no")
    first = notes_of(SIX, SCALE + CROSSED[:2], Corrections(window=1.1), use=use,
                     remark=("", "loud") + ("",) * 7)  # fmt: skip
    result = calibrate(changed(first, 2, 1200.0), notes_of(STOPPED, ["x", "o"]))
    frame = table(result)
    assert len(frame) == 11
    assert frame["table"].tolist() == ["six.csv"] * 9 + ["stopped.csv"] * 2
    assert frame["fate"].tolist() == (
        ["fitted"] * 2 + ["left out"] + ["fitted"] * 4 + ["checked", "left out"] + ["fitted"] * 2
    )
    assert frame["why"][8] == "use = no"
    assert "octave" in frame["why"][2]
    assert frame["remark"][1] == "loud"
    cents = np.log(frame["measured_hz"] / frame["book_hz"]) / CENT
    assert frame["measured_over_book_cents"].to_numpy() == pytest.approx(cents.to_numpy())
    left = np.log(frame["measured_hz"] / frame["predicted_hz"]) / CENT
    assert frame["residual_cents"].to_numpy() == pytest.approx(left.to_numpy())


def test_every_column_with_a_unit_names_it():
    frame = table(calibrate(notes_of(SIX, SCALE)))
    for column in frame.select_dtypes("number"):
        assert column == "register" or column.endswith(("_hz", "_cents")), column


def test_csv_gives_every_number_back():
    frame = table(calibrate(notes_of(SIX, SCALE, off=np.linspace(-3, 3, 7))))
    back = list(csv.DictReader(io.StringIO(frame.to_csv(index=False))))
    assert list(back[0]) == list(frame)
    for column in frame.select_dtypes("float"):
        assert [float(row[column]) for row in back] == frame[column].tolist(), column
    assert [row["fingering"] for row in back] == SCALE


@pytest.mark.parametrize(("name", "typed", "written"), [
    ("frequency_hz", 440.12349, "440.123"), ("stretch_cents", -0.126, "-0.13"),
    ("power_share_percent", 12.3456, "12.35"), ("place_mm", 12.00049, "12.0"),
    ("hole_1_position_cents_per_mm", 0.00123, "0.001"), ("strength", 0.123449, "0.1234"),
    ("pressure_mm_water", 53.0255, "53.03"), ("q", 55.049, "55.0"), ("jet_m_s", 29.7123, "29.71"),
])  # fmt: skip
def test_written_numbers_have_the_digits_that_mean_something(name, typed, written):
    assert csv_text(pd.DataFrame({name: [typed]})).splitlines() == [name, written]


def test_words_and_holes_without_a_number_are_written_as_they_are():
    frame = pd.DataFrame({"fingering": ["xx", "xo"], "frequency_hz": [440.0, np.nan]})
    assert csv_text(frame) == "fingering,frequency_hz\nxx,440.0\nxo,\n"
    frame = pd.DataFrame({"off_cents": [-0.004, 1e-13, np.nan]})
    assert csv_text(frame) == 'off_cents\n0.0\n0.0\n""\n'


@pytest.mark.parametrize("written", [csv_text, archived_results._csv])
def test_no_text_of_a_user_is_a_formula_to_a_spreadsheet(written):
    """Texts that begin so are worked out by spreadsheet programs (common practice, no source)."""
    danger = ["=1+1", "+A1", "-A1", "@SUM(A1)", "-1 +cmd|x!A0", "\t=1"]
    plain = ["-31", "+2.3 mm", "-", "Ann", "D5 -14", ""]
    cells = [*danger, *plain]
    frame = pd.DataFrame(
        {"=remark": cells, "off_cents": [-1.25] * len(cells), "number": [-2] * len(cells)}
    )
    header, *rows = csv.reader(io.StringIO(written(frame)))
    assert header == ["'=remark", "off_cents", "number"]
    assert [row[0] for row in rows] == [*(f"'{cell}" for cell in danger), *plain]
    assert {tuple(row[1:]) for row in rows} == {("-1.25", "-2")}
    assert frame["=remark"].tolist() == cells  # the table itself is as it was
    again = read_records(written(frame), "table.csv")
    assert [record.cells[0] for record in again[1:]] == [cell.strip() for cell in cells]


@pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")
def test_a_pipe_without_holes_is_called_bare_everywhere():
    asked = rows(PIPE, "", air=AIR)
    results = [predict_notes(PIPE, asked), octaves(PIPE, asked), by_hand(PIPE, asked),
               spectrum(PIPE, asked), standing_wave(PIPE, asked), sensitivities(PIPE, asked),
               calibrate(notes_of(PIPE, [""] * 3))]  # fmt: skip
    for result in results:
        assert set(table(result)["fingering"]) == {"bare"}


def test_a_rule_that_says_nothing_has_no_column():
    assert not [name for name in table(by_hand(PIPE, rows(PIPE, "", air=AIR))) if "row" in name]


def test_what_is_odd_about_an_octave_is_in_its_table():
    found = octaves(SIX, BLOWN)
    odd = replace(found, reason=("no such mode", ""), remark=("", "a weak mode passed over"))
    assert table(odd)["remark"].tolist() == ["no such mode", "a weak mode passed over"]


def test_reference_pitch_reaches_the_names():
    result = calibrate(notes_of(SIX, SCALE))
    assert table(result, a4=442.0)["note"][0] == note_name(
        result.tables[0].measurements.frequency[0], 442.0
    )


def test_other_things_have_no_table():
    with pytest.raises(
        TypeError, match="of a str; give one of Bootstrap, Budget, ByHand, Calibration,"
    ):
        table("notes")
    with pytest.raises(TypeError, match=r"pandas\.DataFrame makes one"):
        table(np.zeros((2, 3)))


def test_sensitivities_have_the_shops_units_in_their_columns():
    found = sensitivities(SIX, rows(SIX, SCALE, air=AIR))
    frame = table(found)
    assert frame["fingering"].tolist() == SCALE
    assert list(frame)[:4] == ["fingering", "register", "frequency_hz", "note"]
    assert len(frame.columns) == 4 + len(found.names)
    # 1 mm = 0.001 m; one hundredth is one percent
    for name, ending, size in (
        ("hole_2_position", "mm", 1e-3), ("foot_position", "mm", 1e-3),
        ("bore_diameter", "0.1_mm", 1e-4), ("hole_walls", "0.1_mm", 1e-4),
        ("window_wall", "0.1_mm", 1e-4), ("temperature", "degree_c", 1.0),
        ("correction_wall", "percent", 0.01),
    ):  # fmt: skip
        column = found.gradient[:, found.names.index(name)]
        assert frame[f"{name}_cents_per_{ending}"].to_numpy() == pytest.approx(size * column)


def test_the_ramp_is_told_per_degree():
    window = replace(SIX.head, ramp=np.pi / 4)
    found = sensitivities(replace(SIX, head=window), rows(SIX, SCALE[:1], air=AIR))
    column = found.gradient[:, found.names.index("window_ramp")]
    told = table(found)["window_ramp_cents_per_degree"].to_numpy()
    assert told == pytest.approx(np.pi / 180 * column)


# --- a note from within ------------------------------------------------------------------

BLOWN = rows(SIX, "xxxxxx xxxooo", air=AirAlong(room_temperature=295.15))


def test_a_spectrum_has_a_row_a_mode():
    found = spectrum(SIX, BLOWN, frequency=np.arange(50.0, 2000.0))
    frame = table(found)
    first = frame[frame["fingering"] == "xxxooo"].reset_index()
    modes = found.modes.frequency[1][np.isfinite(found.modes.frequency[1])]
    assert first["frequency_hz"].tolist() == modes.tolist()
    assert first["mode"].tolist() == list(range(1, len(modes) + 1))
    near = np.nanmin(np.abs(found.zeros[1][:, None] - modes), axis=0)
    assert np.abs(first["reactance_zero_hz"] - modes).to_numpy() == pytest.approx(near)


def test_a_mode_without_a_zero_has_an_empty_cell():
    found = spectrum(SIX, BLOWN, frequency=np.arange(50.0, 2000.0))
    frame = table(replace(found, zeros=found.zeros + 500.0))
    assert frame["reactance_zero_hz"].isna().any()


def test_a_wave_has_a_row_an_opening():
    found = standing_wave(SIX, BLOWN)
    frame = table(found)
    assert len(frame) == 2 * len(found.opening)
    assert frame["opening"].tolist() == 2 * list(found.opening)
    assert frame["place_mm"].tolist() == pytest.approx(2 * (1e3 * found.place).tolist())
    shares = frame.groupby("fingering")["power_share_percent"].sum()
    assert shares.tolist() == pytest.approx([100.0, 100.0])
    ends = frame.groupby("fingering", sort=False)["acoustic_end_mm"].first()
    assert ends.tolist() == pytest.approx((1e3 * found.effective_end).tolist())


def test_octaves_and_rules_in_cents():
    found = octaves(SIX, BLOWN)
    frame = table(found)
    parts = frame[[f"{name}_cents" for name in found.causes]].sum(axis=1)
    assert (parts + frame["remainder_cents"]).to_numpy() == pytest.approx(found.stretch)
    rules = table(by_hand(SIX, BLOWN))
    off = np.log(rules["cut_hz"] / rules["model_hz"]) / CENT
    assert rules["cut_off_cents"].to_numpy() == pytest.approx(off.to_numpy())
    assert rules["row_hz"].isna().tolist() == [True, False]


def test_air_jet_and_cutoff():
    warm = single_temperature_error(SIX, BLOWN)
    assert table(warm)["room_air_off_cents"].tolist() == warm.room.tolist()
    jet = table(jet_readout(SIX, BLOWN, 980.665))
    assert jet["pressure_mm_water"].tolist() == pytest.approx([100.0, 100.0])
    assert jet["usual"].tolist() == ["no", "yes"]
    cutoff = table(lattice_cutoff(SIX, BLOWN))
    assert list(cutoff)[2:5] == ["regular_row_hz", "regular_row_long_wave_hz", "half_power_lost_hz"]
    assert cutoff["first_open_mm"].isna().tolist() == [True, False]
    assert cutoff["first_register_near"].tolist() == ["-", "no"]


# --- what several flutes, refits and the search for mistakes give ------------------------


def test_refits_have_a_row_an_unknown_in_its_unit():
    stated = replace(SIX, uncertainty=Uncertainty(wall=2e-4))
    result = calibrate(notes_of(stated, SCALE + CROSSED))
    drawn = bootstrap(result, 20)
    frame = table(drawn).set_index("unknown")
    assert frame.loc["window", "unit"] == "times"
    assert frame.loc["window", "sd"] == pytest.approx(drawn.sd[drawn.names.index("window")])
    assert frame.loc["session all", "unit"] == "cents"
    walls = drawn.theta[:, drawn.names.index("caliper, wall")]
    assert frame.loc["caliper, wall", "unit"] == "mm"
    assert frame.loc["caliper, wall", "mean"] == pytest.approx(1e3 * np.mean(walls))
    assert np.all(frame["lower_95_percent"] <= frame["lower_68_percent"])
    assert not any(name.startswith("model for") for name in frame.index)


def test_the_next_flute_has_a_row_a_correction():
    flutes = [notes_of(replace(SIX, name=name), SCALE, Corrections(window=w))
              for name, w in (("a", 1.0), ("b", 1.2))]  # fmt: skip
    found = next_flute(calibrate(*flutes, own=("window", "bore", "air_offset")))
    frame = table(found).set_index("correction")
    assert frame.loc["window", "value"] == found.corrections.window
    assert frame.loc["window", "scatter_of_flutes"] == found.scatter["window"][1]
    assert np.isnan(frame.loc["foot", "scatter_of_flutes"])
    assert frame.loc["window", "flutes"] == 2
    assert frame.loc["foot", "unit"] == "times"


def test_suspects_have_a_row_each_even_where_there_are_none():
    odd = suspects(calibrate(changed(notes_of(SIX, SCALE * 2), 3, 60.0)))
    frame = table(odd)
    assert frame.loc[0, ["about", "table", "number", "unit"]].tolist() == ["row", 1, 4, "cents"]
    assert frame.loc[0, "amount"] == pytest.approx(60.0, abs=15.0)
    hole = Suspect(
        kind="hole", cause="diameter", table=1, index=2, amount=6e-4, worth=30.0, chance=11.0,
        or_else=(odd[0],),
    )  # fmt: skip
    line = table((hole,)).loc[0]
    assert (line["amount"], line["unit"], line["number"]) == (pytest.approx(0.6), "mm", 3)
    assert line["or_else"].startswith("row ")
    assert table(()).empty
    assert list(table(()).columns) == list(frame.columns)


def test_columns_of_one_name_keep_their_own_cells():
    frame = pd.DataFrame([["a", "=1"], ["-2", "b"]], columns=["x", "x"])
    assert no_formulas(frame).to_numpy().tolist() == [["a", "'=1"], ["-2", "b"]]
    assert no_formulas(pd.DataFrame([["=1", 2.5]])).to_numpy().tolist() == [["'=1", 2.5]]
