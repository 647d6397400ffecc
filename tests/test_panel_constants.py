"""The maker's panel of constants: its controls, tables, files in and out."""

import io
import json
import re
import shutil
from pathlib import Path

import pandas as pd
import pytest

from flutelab.files.constants_file import KIND
from flutelab.files.takeaway import two_lengths
from flutelab.making.cautions import CAUTIONS
from flutelab.view.panels import constants as constants_module
from flutelab.view.panels.constants import STAYS, constants_panel
from flutelab.view.panels.constants_tables import UNSURE

DEMO = Path(__file__).resolve().parent.parent / "data-demo"


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    """A folder of two flutes with their notes."""
    folder = tmp_path_factory.mktemp("two")
    for name in ("three-quarter-five", "plain-pipe-300"):
        for ending in (".toml", ".csv"):
            shutil.copy(DEMO / f"{name}{ending}", folder)
    return folder


def word(taken):
    """In place of a picture."""
    return repr((taken.unit, taken.length)).encode()


@pytest.fixture(scope="module")
def made(two):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(constants_module, "ShiftPicture", lambda: word)
        return constants_panel(two)


@pytest.fixture
def panel(made):
    made.reset()
    return made


def file(name):
    return name, (DEMO / name).read_bytes()


def test_it_opens_with_the_reports_sentences_and_lengths_first(panel):
    assert len(panel.opening.text.splitlines()) == 5
    assert panel.corrections.columns[:5] == [
        "correction", "counted", "by formula, mm", "corrected, mm", "±, mm"
    ]  # fmt: skip
    assert panel.corrections.columns[5:] == ["times the formula", "±"]
    edge = panel.corrections.rows[1]
    assert edge == ["window", "from the sounding edge", "54.78", "60.14", "1.89", "1.104", "0.037"]
    assert panel.sentence.text == (
        "As it is, 358.00 mm to the foot: xxxxx 408.0 Hz, G#4 -31 cents, ± 9."
    )
    assert "factor" not in str([(grid.columns, grid.rows) for grid in grids(panel)])


def told_on(panel):
    """All that the page says in words and tables, save the choice of units itself."""
    words = [getattr(part, "text", "") for part in panel.box.children if part is not panel.call]
    tables = [(grid.caption, grid.columns, grid.rows) for grid in grids(panel)]
    length = panel.controls["length"]
    return str((words, tables, length.label, length.unit, panel.pictures[0].alt))


def grids(panel):
    return panel.corrections, panel.meanings, panel.holes, panel.both


def test_every_correction_has_a_meaning_and_says_whether_it_carries_over(panel):
    named = [row[0].split(",")[0].rstrip(" *") for row in panel.corrections.rows]
    assert [row[0] for row in panel.meanings.rows] == list(dict.fromkeys(named))
    said = {row[0]: row[2] for row in panel.meanings.rows}
    assert said["warmth of the air"].startswith("no")
    assert said["window"].startswith("yes, with this window")
    assert panel.marks.text.startswith("* the notes say next to nothing")


def test_the_length_moves_notes_picture_and_words(panel):
    before = panel.pictures[0].png
    panel.controls["length"].value = 338
    assert panel.pictures[0].png != before
    assert panel.sentence.text.startswith("Cut to 338.00 mm: xxxxx 428.7 Hz, A4 -45 cents, ± 9; ")
    assert panel.sentence.text.endswith("cents higher than now.")
    assert "cannot be mended" in panel.cut.text
    assert panel.both.caption == "This flute, and cut to 338.00 mm"
    shifts = two_lengths(panel.answer.known.flute, panel.answer.known.constants, 0.338)
    assert panel.both.rows[0][-1] == f"{shifts['shift_cents'][0]:+.1f}"
    assert f"xxxxx {shifts['shift_cents'][0]:+.0f} cents" in panel.pictures[0].alt
    panel.controls["length"].value = 380
    assert "lower than now" in panel.sentence.text
    assert "new piece of the same pipe" in panel.cut.text


def test_a_length_is_read_as_people_write_it_and_kept_when_wrong(panel):
    length = panel.controls["length"]
    length.type_in('13 1/2"')
    assert (length.value, length.fault) == (pytest.approx(342.9), "")
    length.type_in("100")
    assert "can be 269.5 to 537.0 mm here" in length.fault
    length.type_in("short")
    assert "'short' is not a length" in length.fault
    assert length.value == pytest.approx(342.9)
    length.type_in("340")
    assert (length.fault, length.value) == ("", 340)


def test_inches_come_with_fractions_and_drills(panel):
    panel.controls["length"].value = 342.9
    panel.controls["unit"].value = "in"
    assert panel.controls["length"].value == pytest.approx(13.5)
    assert panel.controls["length"].step == 1 / 64
    assert panel.sentence.text.startswith("Cut to 13.500 in (13 1/2): ")
    assert panel.corrections.rows[1][2:5] == ["2.157 (2\xa05/32)", "2.368 (2\xa03/8)", "0.074"]
    # one size and one drill in a row, which add up: letter N is 0.302 in (ASME B94.11M)
    assert panel.holes.rows[3][2:] == ["0.307 in", "letter N (-0.005 in)"]
    assert panel.holes.rows[1][3] == "11/32 in (+0.001 in)"
    lengths = [panel.sentence.text, panel.cut.text, panel.both.caption, *map(str, panel.holes.rows)]
    assert not [text for text in lengths if re.search(r"/\d+ [+-] 0", text)]
    assert "0.594 in (19/32) shorter" in panel.cut.text
    assert "window correction, 0.211 in longer than the formula says" in panel.opening.text
    assert not re.search(r"mm\b|millimet", told_on(panel))
    panel.controls["unit"].value = "mm"
    assert "window correction, 5.37 mm longer than the formula says" in panel.opening.text
    assert not re.search(r"\d in\b|\binch", told_on(panel))
    assert panel.controls["length"].value == pytest.approx(342.9)
    assert panel.holes.rows[0][3] == "6.7 mm"


def test_another_flute_brings_its_own_length_and_plain_pipes_have_no_holes(panel):
    panel.controls["source"].value = "Plain pipe 300 mm"
    assert "two times in three" in panel.marks.text
    assert panel.controls["length"].value == pytest.approx(300)
    assert panel.controls["length"].low == 120
    assert (panel.holes.columns, panel.drilling.text) == ([], "")
    assert panel.sentence.text.startswith("As it is, 300.00 mm to the foot: bare 549.3 Hz")
    assert panel.controls["length"].label == "Head's end to foot"
    # parts that a plain pipe lacks have no correction to take away
    assert {row[0] for row in panel.meanings.rows}.isdisjoint({"window", "wall at the holes"})
    assert panel.corrections.rows[0][:2] == ["open end", "at the head"]


def test_what_the_report_does_not_trust_is_trusted_nowhere(two, panel):
    for ending in (".toml", ".csv"):
        panel.files["flute" if ending == ".toml" else "notes"].value = file(
            f"half-inch-six{ending}"
        )
    assert "no note that you could rely on" in panel.opening.text
    assert panel.sentence.text.endswith(f"cents, {UNSURE}.")
    assert panel.both.caption.endswith(UNSURE)
    assert not [name for name in panel.both.columns if "±" in name]
    assert "may have bent these numbers" in panel.marks.text
    saved = pd.read_csv(io.BytesIO(panel.saves[2].make()[1]))
    assert saved[["this_sd_cents", "other_sd_cents"]].isna().all(axis=None)
    panel.controls["length"].value = 280
    assert UNSURE in panel.sentence.text
    assert "±" not in panel.sentence.text


def test_numbers_with_a_unit_say_so_and_my_files_unfold_when_chosen(panel):
    values = {row[0].rstrip(" *"): row[5] for row in panel.corrections.rows}
    assert values["fingers in the holes"] == "0.303 of a hole's radius"
    assert values["warmth of the air"].endswith(" °C")
    assert "of a hole's radius" in panel.marks.text
    panel.given.selected_index = None
    panel.controls["source"].value = "notes"
    assert panel.given.selected_index == 0


def test_a_save_says_where_the_file_went_until_something_changes(panel):
    sent = []
    panel.saves[0].send = lambda content, buffers: sent.append(content["name"])
    panel.saves[0].press()
    assert panel.saved.text.startswith(f"Saved as {sent[0]}; ")
    panel.controls["length"].value = 338
    assert panel.saved.text == ""


def test_reset_goes_back_to_the_first_flute_at_its_own_length(panel):
    first = panel.sentence.text
    panel.controls["length"].value = 300
    panel.set(unit="in", source="Plain pipe 300 mm")
    panel.again.pressed()
    assert panel.sentence.text == first
    assert panel.controls["unit"].value == "mm"


def test_files_of_ones_own_are_taken_when_both_are_there(panel):
    last = panel.sentence.text
    panel.files["flute"].value = file("plain-pipe-460.toml")
    assert panel.controls["source"].value == "notes"
    assert panel.files["flute"].path.note == "Taken: plain-pipe-460.toml"
    assert panel.fault.text.startswith("Give its note table;")
    assert panel.sentence.text == last  # the last good one stays
    panel.files["notes"].value = file("plain-pipe-460.csv")
    assert panel.fault.text == ""
    assert panel.sentence.text.startswith("As it is, 460.00 mm to the foot: bare")


def test_without_demo_flutes_it_asks_for_files(tmp_path, monkeypatch):
    monkeypatch.setattr(constants_module, "ShiftPicture", lambda: word)
    panel = constants_panel(tmp_path)
    assert panel.fault.text.startswith("Give a flute file and its note table;")
    assert panel.pictures[0].layout.display == "none"
    told = []
    panel.saves[0].send = told.append
    panel.saves[0].press()
    assert told == []
    assert "cannot be used. Give a flute file" in panel.trouble.text
    for kind, name in (("flute", "plain-pipe-220.toml"), ("notes", "plain-pipe-220.csv")):
        panel.files[kind].path.value = str(DEMO / name)
    assert panel.sentence.text.startswith("As it is, 220.00 mm")
    assert (panel.trouble.text, panel.pictures[0].layout.display) == ("", None)


def test_a_file_at_fault_is_told_of_and_changes_nothing(panel):
    last, told = panel.opening.text, []
    panel.files["constants"].value = ("bad.json", b"{}")
    assert panel.fault.text.startswith("bad.json: 1 fault")
    assert panel.fault.text.endswith(STAYS.format("Three-quarter-inch five-hole, tuned"))
    for save in panel.saves:
        save.send = told.append
        save.press()
        assert panel.trouble.text.startswith("Not saved: what was chosen cannot be used. bad.json")
    assert (panel.opening.text, told) == (last, [])
    panel.controls["source"].value = "Three-quarter-inch five-hole, tuned"
    assert (panel.fault.text, panel.trouble.text) == ("", "")


def test_constants_come_back_from_their_file_and_want_a_flute(panel):
    name, content = panel.saves[0].make()
    assert name == "three-quarter-inch-five-hole-tuned.constants.json"
    rows = panel.corrections.rows
    panel.files["constants"].value = (name, content)
    assert panel.controls["source"].value == "constants"
    assert panel.corrections.rows == rows
    assert panel.sentence.text == "With a flute file too, its notes are foretold here."
    assert panel.pictures[0].layout.display == "none"
    with pytest.raises(ValueError, match="give a flute file"):
        panel.saves[2].make()
    panel.files["flute"].value = file("three-quarter-five.toml")
    assert panel.controls["source"].value == "constants"
    assert panel.sentence.text.startswith("As it is, 358.00 mm to the foot: xxxxx 408.0 Hz")


def test_downloads_hold_what_is_shown(panel):
    assert "(flutelab" not in panel.opening.text  # no command line here
    panel.controls["length"].value = 338
    files = {name.split(".")[-2]: content for name, content in (s.make() for s in panel.saves)}
    document = json.loads(panel.saves[0].make()[1])
    assert document["kind"] == KIND
    table = pd.read_csv(io.BytesIO(panel.saves[1].make()[1]))
    shown = float(panel.corrections.rows[1][3])
    assert table["with_correction_mm"][1] == pytest.approx(shown, abs=0.006)
    assert table["value_unit"][0] == "times"
    notes = pd.read_csv(io.BytesIO(files["two-lengths"]))
    assert notes["other_length_mm"].unique() == [338.0]
    assert notes["other_length_in"].unique() == [13.3071]  # 338 / 25.4
    assert f"{notes['other_hz'][0]:.2f}" == panel.both.rows[0][4]


def test_the_call_makes_the_same_notes(panel):
    panel.controls["length"].value = 338
    panel.call.unfolded = True
    names = {}
    exec(panel.call.text, names)
    assert f"{names['table']['other_hz'][0]:.2f}" == panel.both.rows[0][4]
    assert f"{names['table']['other_hz'][0]:.1f} Hz" in panel.sentence.text


def test_cautions_stand_at_the_steps_and_the_local_rules_close(panel):
    texts = [getattr(part, "text", "") for part in panel.box.children]
    steps = (("drill", "pvc-dust", "pvc-heat"), ("dust", "pvc-dust", "knife"))
    drilling, cutting = (texts.index("\n".join(CAUTIONS[key] for key in step)) for step in steps)
    assert drilling < texts.index(panel.cut.text) < cutting
    assert texts[-1] == CAUTIONS["local"]


def test_a_still_shows_the_picture_which_moves_with_the_length(two):
    panel = constants_panel(two)
    before = panel.pictures[0].png
    panel.controls["length"].value = 338
    assert panel.pictures[0].png != before
    shown = panel._repr_mimebundle_()
    assert shown["image/png"].startswith(b"\x89PNG")
    assert shown["text/plain"] == f"Constants to take away. {panel.sentence.text}"
