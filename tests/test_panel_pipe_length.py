"""The panel of the lesson on pipe length and pitch: every control, table, files and words."""

import io
import json
import re
import zipfile
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from flutelab.errors import DataError
from flutelab.files.class_table import class_file
from flutelab.files.pipe_lesson import pipe_lesson
from flutelab.making.cautions import CAUTIONS
from flutelab.view.panels import pipe_length as module
from flutelab.view.panels import pipe_length_panel
from flutelab.view.panels.pipe_length_picture import pipe_length_picture

ROOT = Path(__file__).resolve().parent.parent
DEMOS = {kind: ROOT / "data-demo" / f"class-{kind}-pipes.csv" for kind in ("open", "stopped")}
NOTEBOOK = ROOT / "notebooks" / "pipe-length-and-pitch.ipynb"


def parts(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from parts(child)


def button(panel, label):
    return next(one for one in parts(panel.box) if getattr(one, "label", "").startswith(label))


def alerts(panel):
    kinds = (one for one in parts(panel.box) if getattr(one, "kind", "") == "alert")
    return "\n".join(one.text for one in kinds if one.text)


def type_in(panel, row, column, text):
    rows = [list(one) for one in panel.controls["rows"].rows]
    rows[row][column] = text
    panel.controls["rows"].rows = rows


@pytest.fixture
def panel(monkeypatch):
    """A panel whose picture is only a byte that changes: drawing is what takes long."""
    drawn = iter(range(256))
    monkeypatch.setattr(module, "pipe_length_picture", lambda: lambda _: bytes([next(drawn)]))
    return pipe_length_panel(DEMOS)


@pytest.fixture
def filled(panel):
    button(panel, "Fill in").pressed()
    return panel


def test_it_opens_empty_and_gives_no_answer_away(panel):
    assert panel.sentence.text.startswith("No pipe yet: type 3 groups'")
    assert panel.controls["formulas"].value is False
    assert not re.search(r"\d mm beyond|0\.6|slope", panel.pictures[0].alt)
    assert [row[1:] for row in panel.controls["rows"].rows] == [[""] * 5] * 7


def test_the_line_grows_as_rows_are_typed(panel):
    pictures = []
    for row, (length, reading) in enumerate(
        (("200", "780"), ("30 cm", "530,5"), ("400", "G4 +40"))
    ):
        for column, text in ((1, length), (2, "21"), (3, reading), (4, reading), (5, reading)):
            type_in(panel, row, column, text)
        pictures.append(panel.pictures[0].png)
    assert panel.sentence.text.startswith("3 groups: slope ")
    assert len(set(pictures)) == 3
    assert alerts(panel) == ""


def test_faults_stand_at_their_cells_and_in_words_and_go_away(filled):
    type_in(filled, 2, 1, "2x")
    type_in(filled, 4, 2, "")
    assert set(filled.controls["rows"].faults) == {"2,1", "4,2"}
    assert "Row 3, length: '2x'" in alerts(filled)
    assert "Row 5: room missing; the row waits for it." in alerts(filled)
    assert filled.sentence.text.startswith("5 groups (without rows 3 and 5): slope")
    type_in(filled, 2, 1, "26O")
    assert "'26O' has the unit 'O'; use mm, cm, m, in or thou; or is it a letter O for" in (
        alerts(filled)
    )
    type_in(filled, 2, 1, "258")
    type_in(filled, 4, 2, "21.5")
    assert (filled.controls["rows"].faults, alerts(filled)) == ({}, "")
    assert filled.sentence.text.startswith("7 groups: slope")


@pytest.mark.parametrize(
    ("control", "value", "words"),
    [
        ("wave", "quarter", "c/4f is the wrong part of a wave"),
        ("kind", "stopped", "sound as if open at both ends"),
        ("off", 10.0, "slope 1.028 "),
        ("off", -10.0, "slope 0.991"),
        ("speed", 343.0, "slope 1.001 "),
        ("bore", "15.4", "1.61 bore radii"),
    ],
)
def test_a_control_moves_the_sentence_and_reset_brings_it_back(filled, control, value, words):
    # a stopped pipe holds a quarter wave: only then do open pipes look halved
    if control == "kind":
        filled.controls["wave"].value = "quarter"
    filled.set(bore="", wall="")
    before = filled.sentence.text
    assert words not in before
    filled.controls[control].value = value
    assert words in filled.sentence.text
    filled.set(bore="")
    filled.again.pressed()
    assert filled.sentence.text.startswith("7 groups: slope 1.009")  # the rows are kept


def test_formulas_and_guess_are_shown_when_asked_for(filled):
    line = filled.lines[0]
    assert line.text == ""
    filled.controls["guess"].value = "0"
    assert line.text == "The guess was 0.0 mm."
    before = filled.pictures[0].png
    filled.controls["formulas"].value = True
    assert line.text == "The formulas say 9.3 ± 2.2 mm for this bore. The guess was 0.0 mm."
    assert filled.pictures[0].png != before
    filled.controls["how"].value = "blown"
    assert "say at least 9.3" in line.text
    filled.controls["wall"].value = ""
    assert "formulas" not in line.text


def test_a_length_typed_wrong_is_told_at_its_box(filled):
    bore = filled.controls["bore"]
    bore.value = "0.604 in"
    assert (bore.note, bore.fault) == ("15.34 mm, 0.604 in", "")
    bore.value = "0"
    assert bore.fault == "'0' is 0 mm; here it is 1 to 100 mm"
    bore.value = "wide"
    assert bore.fault.startswith("'wide' is not a length")
    assert "bore radii" not in filled.sentence.text
    bore.value = ""
    assert (bore.note, bore.fault) == ("", "")


def test_the_slider_has_limits(panel):
    off = panel.controls["off"]
    off.type_in("11")
    assert off.fault == "'11': If thermometers read low by can be -10.0 to 10.0 °C here"
    off.type_in("2,5")
    assert (off.fault, off.value) == ("", 2.5)


def test_stopped_pipes_have_their_own_demo(panel):
    panel.set(kind="stopped", wave="quarter")
    button(panel, "Fill in").pressed()
    assert panel.sentence.text.startswith("7 groups: slope 1.020")
    assert panel.sentence.text.endswith("0.50 bore radii at its open end.")


def test_rows_that_are_replaced_can_be_brought_back(panel):
    type_in(panel, 0, 1, "333")
    button(panel, "Fill in").pressed()
    assert panel.controls["rows"].rows[0][1] == "179"
    back = button(panel, "Bring back")
    back.pressed()
    assert panel.controls["rows"].rows[0][1] == "333"
    button(panel, "Empty").pressed()
    assert panel.controls["rows"].rows[0][1] == ""
    back.pressed()
    assert panel.controls["rows"].rows[0][1] == "333"


def test_the_table_is_saved_as_typed_and_opened_again(filled):
    type_in(filled, 2, 1, "2x")
    save = button(filled, "Save the table")
    name, content = save.make()
    assert class_file(content, name).rows[2][1] == "2x"
    again = pipe_length_panel()
    upload = next(one for one in parts(again.box) if hasattr(one, "accept"))
    given = {"type": "text/csv", "size": 1, "last_modified": datetime.now(UTC)}
    upload.value = [{"name": name, "content": content, **given}]
    assert again.controls["rows"].rows == filled.controls["rows"].rows
    assert again.controls["bore"].value == "15.4"
    assert again.sentence.text == filled.sentence.text
    upload.value = [{"name": "x.csv", "content": b"a,b\n1,2\n", **given}]
    assert "x.csv: 1 fault" in alerts(again)
    assert again.controls["rows"].rows == filled.controls["rows"].rows


def test_pipes_for_a_fit_are_saved_only_where_the_line_can_be(filled):
    save, sent = button(filled, "Save flute files"), []
    save.send = lambda content, buffers: sent.append((content, buffers))
    filled.controls["wave"].value = "quarter"
    save.press()
    assert sent == []
    assert "Nothing is stored for a fit. 7 groups: slope 0.505" in alerts(filled)
    filled.set(wave="half", wall="")
    assert alerts(filled) == ""  # said of what was there before
    save.press()
    assert alerts(filled) == "Type the pipes' bore and wall first: a flute file needs both."
    filled.set(wall="2.9")
    assert alerts(filled) == ""
    save.press()
    assert alerts(filled) == ""
    (named, (content,)) = sent[0]
    assert named == {"name": "class-pipes-open.zip"}
    assert len(zipfile.ZipFile(io.BytesIO(content)).namelist()) == 14


def test_an_impossible_intercept_stores_nothing(filled):
    filled.controls["rows"].rows = [
        [row[0], str(float(row[1]) + 20), *row[2:]] for row in filled.controls["rows"].rows
    ]
    assert "Impossible" in filled.sentence.text
    with pytest.raises(ValueError, match="Nothing is stored for a fit"):
        button(filled, "Save flute files").make()


def test_table_and_call_make_the_same_result(filled):
    filled.table.unfolded = filled.call.unfolded = True
    assert len(filled.table.rows) == 7
    assert filled.table.columns[-1] == "cents off"
    found = {}
    exec(filled.call.text, found)
    line = found["found"].line
    assert f"slope {line.slope:.3f}" in filled.sentence.text
    assert f"intercept {1000 * line.intercept:.1f} ±" in filled.sentence.text


def test_what_the_picture_shows_is_said(filled):
    alt = filled.pictures[0].alt
    assert "group 3 254 mm, c/2f 272.3 mm, -23 cents off the line" in alt
    assert "7 groups: slope" in alt


def test_a_live_picture_is_what_drawing_it_anew_gives():
    panel, fresh = pipe_length_panel(DEMOS), pipe_length_panel(DEMOS)
    empty = panel._repr_mimebundle_()["image/png"]
    assert Image.open(io.BytesIO(empty)).size == (425, 34 + 490)
    button(panel, "Fill in").pressed()
    panel.controls["off"].value = 3.0
    fresh.set(off=3.0, rows=panel.controls["rows"].rows, bore="15.4", wall="2.9")
    one, other = (
        np.asarray(Image.open(io.BytesIO(each.pictures[0].png))).astype(int)
        for each in (panel, fresh)
    )
    assert np.abs(one - other).max() == 0
    assert len(np.unique(one.reshape(-1, one.shape[-1]), axis=0)) > 100  # there is something on it


def test_table_and_answer_stand_beside_the_picture(panel):
    boxes = list(parts(panel.box))
    beside = next(one for one in boxes if "flutelab-beside" in getattr(one, "_dom_classes", ()))
    side, pictures = beside.children
    assert {panel.controls["rows"], panel.sentence, panel.fault} <= set(side.children)
    assert pictures.children == panel.pictures
    for one in (*panel.controls.values(), *panel.lines, panel.notes, panel.again, panel.call):
        assert boxes.count(one) == 1  # none is lost, none is shown twice


def test_an_octave_slip_marks_its_cell_and_leaves_the_line(filled):
    before = filled.sentence.text
    type_in(filled, 5, 3, "219.1")
    assert set(filled.controls["rows"].faults) == {"5,3"}
    assert "Row 6, reading 1: '219.1' is an octave below the row's other" in alerts(filled)
    assert filled.sentence.text.startswith("7 groups: slope 1.00")
    assert "Impossible" not in filled.sentence.text
    type_in(filled, 5, 3, "438.3")
    assert (filled.sentence.text, alerts(filled)) == (before, "")


@pytest.mark.parametrize("count", [0, 7, 20])
def test_names_of_many_groups_do_not_run_into_each_other(count):
    rows = [[f"G{k}", str(150 + 15 * k), "20", str(170000 / (160 + 15 * k)), "", ""]
            for k in range(count)]  # fmt: skip
    draw = pipe_length_picture()
    draw(pipe_lesson(rows))
    labels = draw.figure.axes[1].get_yticklabels()
    boxes = [one.get_window_extent() for one in labels]
    assert len(labels) == {0: 0, 7: 7, 20: 7}[count]
    assert all(a.y0 > b.y0 + 8 for a, b in pairwise(boxes))


def test_a_demo_that_cannot_be_read_is_told(tmp_path):
    with pytest.raises(DataError, match="there is no such file"):
        pipe_length_panel({"open": tmp_path / "none.csv"})


def test_cautions_stand_where_pipes_are_cut():
    cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    step = next("".join(c["source"]) for c in cells if "## 2. Cut" in "".join(c["source"]))
    for key in ("local", "pvc-dust", "pvc-heat", "pipe"):
        assert CAUTIONS[key] in step, key
