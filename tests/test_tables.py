"""Results as tables: units in the headers, numbers as computed, and back from CSV."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from made_notes import AIR, CENT, CROSSED, SCALE, SIX, STOPPED, changed, notes_of

from flutelab import Corrections, Spread, calibrate, predict_notes, rows, table
from flutelab.files.tables import note_name
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


def test_reference_pitch_reaches_the_names():
    result = calibrate(notes_of(SIX, SCALE))
    assert table(result, a4=442.0)["note"][0] == note_name(
        result.tables[0].measurements.frequency[0], 442.0
    )


def test_other_things_have_no_table():
    with pytest.raises(TypeError, match="no table is made of a str; give Notes, a Calibration"):
        table("notes")


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
