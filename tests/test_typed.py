"""Flute files and note tables typed on a page."""

from pathlib import Path

import numpy as np
import pytest

import flutelab
from flutelab.errors import DataError
from flutelab.files.typed import (
    HEAD,
    cell_faults,
    changed,
    next_row,
    read_flute_text,
    read_sheet,
    sheet_bytes,
    sheet_of,
)

DEMO = Path(__file__).resolve().parent.parent / "data-demo"
FLUTE = DEMO / "half-inch-six.toml"
NOTES = DEMO / "half-inch-six.csv"
SHORT = b"""fingering,frequency_hz,room_temperature_c,remark
xxxxxx,525,22,"two
lines"

xxxxxo,580,22,
xxxxoo,632,22,
"""


@pytest.fixture(scope="module")
def flute():
    return read_flute_text(FLUTE.read_text(encoding="utf-8"), "mine.toml")


def with_cell(sheet, row, column, text):
    rows = [list(one) for one in sheet.rows]
    rows[row][sheet.columns.index(column)] = text
    return changed(sheet, sheet.columns, rows)


def faults_of(sheet, flute):
    with pytest.raises(DataError) as caught:
        read_sheet(sheet, flute)
    assert caught.value.source == sheet.name
    return cell_faults(sheet, caught.value.faults)


def test_a_typed_flute_is_that_of_its_file(flute):
    read = flutelab.read_flute(FLUTE)
    assert flute == read
    assert (flute.source, flute.fingerprint) == ("mine.toml", read.fingerprint)


def test_a_flutes_faults_are_told_under_its_name():
    with pytest.raises(DataError, match=r"(?s)mine\.toml: 2 faults.*bore, diameter.*foot"):
        read_flute_text("unit = 'mm'\n[bore]\nwall = 3\n[head]\nkind = 'open'", "mine.toml")


def test_an_unchanged_sheet_is_its_file(flute):
    sheet = sheet_of(NOTES.read_bytes(), "half-inch-six.csv")
    read, typed = flutelab.read_measurements(NOTES, flute), read_sheet(sheet, flute)
    assert changed(sheet, list(sheet.columns), [list(row) for row in sheet.rows]) is sheet
    assert (typed.source, typed.fingerprint) == (read.source, read.fingerprint)
    np.testing.assert_array_equal(typed.frequency, read.frequency)


def test_a_changed_sheet_is_written_and_read_back(flute):
    sheet = with_cell(sheet_of(SHORT, "a.csv"), 1, "remark", 'a 1/4" drill, "soft"')
    again = sheet_of(sheet_bytes(sheet), "a.csv")
    assert (again.columns, again.rows) == (sheet.columns, sheet.rows)
    assert read_sheet(sheet, flute).remark[1] == 'a 1/4" drill, "soft"'


@pytest.mark.parametrize("edited", [False, True])
def test_faults_stand_at_their_cells_whatever_line_they_have(flute, edited):
    sheet = sheet_of(SHORT.replace(b"xxxxoo,632", b"xxxoo,6320.5"), "a.csv")
    if edited:
        sheet = with_cell(sheet, 0, "remark", "changed")
    found = faults_of(sheet, flute)
    assert set(found) == {(2, 0), (2, 1)}
    assert "5 letters" in found[2, 0]
    assert "50 to 6000 Hz" in found[2, 1]


def test_a_wrong_unit_a_typo_and_a_missing_column(flute):
    good = sheet_of(SHORT, "a.csv")
    warm = with_cell(good, 1, "room_temperature_c", "72")
    assert "Is this Fahrenheit?" in faults_of(warm, flute)[1, 2]
    typo = changed(good, ("fingering", "freqency_hz", *good.columns[2:]), good.rows)
    assert "The nearest name is frequency_hz" in faults_of(typo, flute)[HEAD, 1]
    less = changed(good, good.columns[:2], [row[:2] for row in good.rows])
    assert faults_of(less, flute) == {}  # of the whole table: no cell to mark


def test_a_row_without_a_reading_is_marked_in_its_first_cell(flute):
    more = next_row(sheet_of(SHORT, "a.csv"), 0)
    assert more.rows[1] == ("xxxxxx", "", "22", "")
    assert "there is no reading" in faults_of(more, flute)[1, 0]
    assert next_row(changed(more, more.columns, []), 0).rows == (("", "", "", ""),)


def test_a_formula_in_a_cell_is_written_as_text_and_comes_back():
    sheet = changed(sheet_of(b"note,cents,remark\n", "a.csv"), ("note", "cents", "remark"),
                    [["A4", "-31", "=1+1"]])  # fmt: skip
    written = sheet_bytes(sheet)
    assert written.endswith(b"A4,-31,'=1+1\n")
    assert sheet_of(written, "a.csv").rows == sheet.rows


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "it is empty"),
        (b"note,cents\nA4\n", "it has 1 cells where the header has 2"),
        (b"PK\x03\x04", "a spreadsheet program's own file"),
    ],
)
def test_what_is_no_table_is_refused_in_words(raw, words):
    with pytest.raises(DataError, match=words):
        sheet_of(raw, "a.csv")


def test_a_table_of_something_else_is_one_fault():
    raw = b"Class 9b\ngroup,length,f\n1,300,520\n2,320,490\n"
    with pytest.raises(DataError, match="this is no note table") as told:
        sheet_of(raw, "class.csv")
    assert len(told.value.faults) == 1
