"""The measuring form: its boxes, switches, drawing, files in and out."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from flutelab import read_flute
from flutelab.files.flute_text import flute_text
from flutelab.files.form import filled_form
from flutelab.files.typed import read_as
from flutelab.making.cautions import CAUTIONS
from flutelab.model.flute import Target
from flutelab.view.panels.given import Given
from flutelab.view.panels.measuring import lengths_table, measuring_form

DAY = datetime(2026, 1, 1, tzinfo=UTC)
DEMO = Path(__file__).resolve().parent.parent / "data-demo"
SMALL = {
    "name": "Small", "holes": 1, "bore": "15.8", "wall": "2.8", "window_along": "6",
    "window_across": "8", "foot": "300", "place 1": "200", "diameter 1": "6",
}  # fmt: skip


@pytest.fixture
def form():
    panel = measuring_form()
    panel.set(**SMALL)
    return panel


@pytest.fixture(scope="module")
def wooden():
    return read_flute(DEMO / "tapered-wood-six.toml")


def shown(form):
    return [key for key, box in form.boxes.items() if box.layout.display != "none"]


def test_a_blank_form_draws_and_says_what_to_measure():
    form = measuring_form()
    assert form.flute is None
    assert form.sentence.text.startswith("To measure: A, B, C, E, G, H1, D1,")
    assert form.sentence.text.endswith("(17 of 18).")
    assert form.fault.text == ""
    assert form.pictures[0].svg.startswith("<svg")
    assert "Letters: A bore: inside diameter" in form.pictures[0].alt


def test_typing_moves_the_note_the_drawing_and_the_flute(form):
    assert form.sentence.text == "Complete: Small, 1 hole, 300.00 mm to the foot."
    before = form.pictures[0].svg
    form.boxes["diameter 1"].value = '1/4"'
    assert form.boxes["diameter 1"].note == "6.35 mm = 0.250 in; drills 1/4 in, 6.3 mm (-0.05 mm)"
    assert form.flute.holes[0].diameter == pytest.approx(0.00635, abs=1e-12)
    assert form.pictures[0].svg != before
    assert ">6.35<" in form.pictures[0].svg


def test_every_box_has_the_letter_of_the_drawing_and_a_unit(form):
    for key in shown(form):
        box = form.boxes[key]
        letter = box.label.partition(":")[0]
        assert f">{letter}<" in form.pictures[0].svg
        assert box.unit == "mm"


def test_a_wrong_entry_stands_at_its_box_and_in_words_and_is_mended(form):
    form.set(**{"window_across": "20", "diameter 1": "wide", "wall": ""})
    assert "wider than the bore of 15.8 mm" in form.boxes["window_across"].fault
    assert "'wide': it is not a length" in form.boxes["diameter 1"].fault
    assert form.sentence.text == "To mend: E, D1. To measure: B (1 of 8)."
    first, second = form.fault.text.splitlines()
    assert first.startswith("E, window across the pipe: '20'")
    assert second.startswith("D1, hole 1: diameter: 'wide'")
    assert form.flute is None
    form.set(**SMALL)
    assert (form.fault.text, form.boxes["diameter 1"].fault) == ("", "")
    assert form.flute is not None


def test_the_number_of_holes_shows_boxes_and_hides_them(form):
    assert shown(form)[-2:] == ["place 1", "diameter 1"]
    form.controls["holes"].value = 10
    assert shown(form)[-1] == "diameter 10"
    form.controls["holes"].type_in("0")
    assert shown(form)[-1] == "foot"
    assert form.flute.holes == ()
    form.controls["holes"].type_in("2.5")
    assert "no part of a hole" in form.controls["holes"].fault
    assert form.controls["holes"].value == 0
    form.controls["holes"].type_in("11")
    assert "can be 0 to 10" in form.controls["holes"].fault


def test_a_plain_head_has_no_window(form):
    form.controls["head"].value = "stopped"
    assert "window_along" not in shown(form)
    assert form.flute.head.kind == "stopped"
    assert form.boxes["foot"].label == "G: head's end to foot"
    form.controls["foot_kind"].value = "flanged"
    assert form.flute.foot.kind == "flanged"


def test_switching_the_unit_moves_nothing(form):
    flute = form.flute
    form.controls["unit"].value = "in"
    assert form.boxes["bore"].value == "15.8 mm"
    assert form.flute == flute
    assert form.boxes["bore"].unit == "in"
    form.boxes["wall"].value = "1/8"
    assert form.boxes["wall"].note == "3.18 mm = 1/8 in"  # 3.175, halves up
    assert form.flute.holes[0].wall == pytest.approx(0.003175, abs=1e-12)


def test_counting_from_the_foot_moves_nothing_and_needs_the_length(form):
    flute = form.flute
    form.controls["from_foot"].value = True
    assert form.boxes["place 1"].value == "100"
    assert form.boxes["place 1"].label == "H1: foot to centre of hole 1"
    assert form.flute == flute
    form.boxes["foot"].value = ""
    form.controls["from_foot"].value = False
    assert "not the length to the foot" in form.trouble.text
    assert form.controls["from_foot"].value is True
    assert form.boxes["place 1"].value == "100"
    form.boxes["foot"].value = "300"
    form.controls["from_foot"].value = False
    assert (form.trouble.text, form.boxes["place 1"].value) == ("", "200")


def test_save_hands_out_the_file_or_says_what_is_missing(form):
    sent = []
    form.save.send = lambda content, buffers: sent.append((content["name"], buffers[0]))
    form.boxes["bore"].value = ""
    form.save.press()
    assert form.trouble.text == "Not saved. To measure: A (1 of 8)."
    form.boxes["bore"].value = "15.8"
    form.save.press()
    ((name, text),) = sent
    assert (name, form.trouble.text) == ("small.toml", "")
    assert read_as(name, text, read_flute) == form.flute
    assert form.saved.text.startswith("Saved as small.toml; ")
    form.boxes["bore"].value = "15.9"
    assert form.saved.text == ""


def test_hardly_any_wall_between_two_holes_is_asked_about_and_can_be_saved(form):
    # 10 mm apart, of 6 mm and 13 mm: 0.5 mm are left between them
    form.set(holes=2, **{"place 2": "210", "diameter 2": "13"})
    assert form.asked.text.startswith("Between holes 1 and 2 only 0.50 mm of wall are left: is")
    assert form.sentence.text.startswith("Complete")
    assert form.save.make()[0] == "small.toml"
    form.boxes["place 2"].value = "211.1"
    assert form.asked.text == ""


def test_what_an_opened_file_holds_beside_is_kept_and_told(form, wooden):
    flute = replace(wooden, targets=(Target(fingering="xxxxxx", frequency=440.0, label="root"),))
    form.open("wood.toml", flute_text(flute).encode())
    assert form.flute == flute
    for words in (
        "Opened: wood.toml",
        "3 diameters along",
        "ramp",
        "hole 6: an undercut",
        "1 wanted notes",
    ):
        assert words in form.kept.text
    form.boxes["diameter 6"].value = "6.3"
    name, text = form.save.make()
    assert name == "tapered-wooden-six-hole-reamed-and-voiced.toml"
    again = read_as(name, text, read_flute)
    assert again.targets == flute.targets
    assert (again.holes[5].diameter, again.holes[5].inner_diameter) == (0.0063, 0.0076)
    form.controls["holes"].value = 5
    assert "Not in the new file: hole 6, 1 wanted notes" in form.kept.text


def test_a_file_at_fault_changes_nothing(form):
    flute = form.flute
    form.open("bad.toml", b'unit = "mm"\n[bore]\ndiameter = -3\n')
    assert form.trouble.text.startswith("bad.toml: ")
    assert "bore, 1st diameter" in form.trouble.text
    assert form.flute == flute


def test_reset_is_as_at_first_in_every_unit(wooden):
    form = measuring_form(wooden)
    first = {key: box.value for key, box in form.boxes.items()}
    form.set(unit="in", from_foot=True, holes=2, bore="3")
    form.again.pressed()
    assert {key: box.value for key, box in form.boxes.items()} == first
    assert form.flute == wooden
    assert measuring_form().flute is None


def everything(form):
    return {name: control.value for name, control in form.controls.items()}, form.flute


def test_what_was_typed_comes_back_after_a_file_or_a_reset(form, wooden):
    form.set(unit="in", wall="1/8")
    form.boxes["foot"].value = "wide"  # what is wrong is typed too
    typed, content = everything(form), flute_text(wooden).encode()
    assert form.back.disabled is True
    form.open("wood.toml", content)
    assert form.flute == wooden
    form.open("wood.toml", content)
    form.again.pressed()  # nothing was typed since: what was typed first is still kept
    assert everything(form)[0]["foot"] == ""
    form.back.pressed()
    assert everything(form) == typed
    assert "'wide'" in form.boxes["foot"].fault
    form.again.pressed()
    form.again.pressed()
    form.back.pressed()
    assert everything(form) == typed


def test_a_file_that_was_typed_into_comes_back_with_what_it_keeps(form, wooden):
    form.open("wood.toml", flute_text(wooden).encode())
    form.boxes["diameter 6"].value = "6.3"
    changed = form.flute
    form.again.pressed()
    assert form.flute is None
    form.back.pressed()
    assert form.flute == changed
    assert form.flute.holes[5].inner_diameter == wooden.holes[5].inner_diameter
    form.open("bad.toml", b"?")  # a file at fault takes nothing away
    assert form.flute == changed


def test_those_who_watch_are_told(form):
    told = []
    form.watch(told.append)
    form.boxes["wall"].value = ""
    assert [flute is None for flute in told] == [False, True]


def test_the_call_makes_the_same_flute(form, wooden):
    for flute in (form.flute, wooden):
        panel = measuring_form(flute)
        panel.call.unfolded = True
        made = {}
        exec(panel.call.text, made)
        assert made["flute"] == panel.flute == flute
    panel.boxes["wall"].value = ""
    assert panel.call.text == "# not complete yet"


def test_the_table_has_what_the_boxes_say(form, wooden):
    form.table.unfolded = True
    assert form.table.rows[0] == ["A", "bore: inside diameter", "15.8", "0.622", ""]
    assert form.table.rows[-1][0::4] == ["D1", "6.0 mm"]
    form.controls["unit"].value = "in"
    assert form.table.rows[-1][0::4] == ["D1", "letter B"]
    assert lengths_table(filled_form(wooden))["letter"].tolist()[:6] == list("ABCEFG")


def test_cautions_stand_in_the_form_and_the_local_rules_close_it(form):
    texts = [getattr(part, "text", "") for part in form.box.children]
    at = texts.index(CAUTIONS["drill"])
    assert texts[at + 1 : at + 3] == [CAUTIONS["pvc-dust"], CAUTIONS["pvc-heat"]]
    assert texts[-1] == CAUTIONS["local"]


NOTEBOOKS = DEMO.parent / "notebooks"


@pytest.mark.parametrize(
    ("name", "start", "end", "keys"),
    [
        ("measure-your-flute", "take it off first", "Sounding edge", "dust pvc-dust knife"),
        (
            "constants-to-take-away", "file up to it", "The lowest note",
            "local dust pvc-dust pvc-heat knife",
        ),
    ],
)  # fmt: skip
def test_cautions_stand_in_the_text_where_pipes_are_cut(name, start, end, keys):
    cells = json.loads((NOTEBOOKS / f"{name}.ipynb").read_text(encoding="utf-8"))["cells"]
    words = " ".join("".join("".join(cell["source"]) for cell in cells).split())
    step = words[words.index(start) :]
    step = step[: step.index(end)]
    assert [key for key in keys.split() if CAUTIONS[key] not in step] == []


def test_sheets_for_as_many_holes_come_as_pdf(form):
    for sheet, name in zip(form.sheets, ("measuring-sheet.pdf", "note-sheet.pdf"), strict=True):
        made, content = sheet.make()
        assert made == name
        assert content.startswith(b"%PDF")
    a4 = form.sheets[0].make()[1]
    form.paper.value = "letter"
    assert form.sheets[0].make()[1] != a4


def test_a_still_shows_the_drawing(form):
    shown = form._repr_mimebundle_()
    assert shown["text/plain"] == f"Measure the flute. {form.sentence.text}"
    assert "<svg" in shown["image/svg+xml"]


def test_a_file_by_its_path(tmp_path):
    given, told = Given(what="a flute file", ending=".toml"), []
    given.observe(lambda change: told.append(change["new"]), "value")
    given.path.value = str(tmp_path / "none.toml")
    assert "there is no such file" in given.path.fault
    (tmp_path / "a.toml").write_bytes(b"x")
    given.path.value = f'"{tmp_path / "a.toml"}"'
    assert (given.path.fault, told) == ("", [(str(tmp_path / "a.toml"), b"x")])
    given.upload.value = (
        {
            "name": "b.toml",
            "type": "",
            "size": 1,
            "content": memoryview(b"y"),
            "last_modified": DAY,
        },
    )
    assert given.value == ("b.toml", b"y")
    assert given.upload.value == ()


def test_the_same_file_can_be_opened_again(form, wooden):
    path = str(DEMO / "tapered-wood-six.toml")
    for _ in range(2):
        form.boxes["foot"].value = "500"
        form.given.path.value = path
        assert form.flute == wooden
        assert (form.given.value, form.given.path.value) == (None, "")
