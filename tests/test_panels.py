"""The parts that every panel is made of: controls, live pictures, the frame."""

import io
import threading
import time
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from flutelab.view.panels.frame import STILL, Panel, View, still_of, still_of_svg
from flutelab.view.panels.kit import Choice, Grid, Number, Press, Save, texts
from flutelab.view.panels.live import Live


def root(x, scale=1.0):
    if x < 0:
        msg = f"x is {x:g}; a root needs 0 or more"
        raise ValueError(msg)
    return scale * np.sqrt(x)


def begin(figure, _):
    ax = figure.subplots()
    ax.set_xlim(0, 1)
    ax.set_ylim(0, 4)
    return ax.plot([], [], "o")


LIVE = Live(begin, lambda artists, y: artists[0].set_data([0.5], [y]), size=(3, 2))


@pytest.fixture
def panel():
    return Panel(
        title="A root",
        controls={
            "x": Number(label="x", unit="m", value=4, low=-1, high=9, step=1),
            "scale": Choice(label="scale", choices={"once": 1.0, "twice": 2.0}),
        },
        ask=root,
        sentence=lambda y: f"The root is {y:.2f}.",
        views=[View(draw=LIVE, words=lambda y: f"A dot at {y:.2f}")],
        table=lambda y: pd.DataFrame({"root_m": [y]}),
        call=lambda x, scale: f"root({x:g}, {scale:g})",
    )


def test_a_control_moves_the_sentence_and_the_picture(panel):
    assert panel.sentence.text == "The root is 2.00."
    before = panel.pictures[0].png
    panel.controls["x"].value = 9
    assert panel.sentence.text == "The root is 3.00."
    assert panel.pictures[0].alt == "A dot at 3.00"
    assert panel.pictures[0].png != before
    panel.controls["scale"].index = 1
    assert panel.sentence.text == "The root is 6.00."


def test_what_cannot_be_is_said_and_the_last_picture_stays(panel):
    before = panel.pictures[0].png
    panel.controls["x"].type_in("-1")
    assert panel.fault.text == "x is -1; a root needs 0 or more"
    assert panel.sentence.text == "The root is 2.00."
    assert panel.pictures[0].png == before
    panel.controls["x"].type_in("1")
    assert (panel.fault.text, panel.sentence.text) == ("", "The root is 1.00.")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("four", "'four' is not a number; write it like 7.5"),
        ("12", "'12': x can be -1.0 to 9.0 m here"),
        ("nan", "'nan': x can be -1.0 to 9.0 m here"),
    ],
)
def test_a_box_keeps_its_value_when_typed_wrong(panel, typed, words):
    x = panel.controls["x"]
    x.type_in(typed)
    assert (x.fault, x.value) == (words, 4)
    x.type_in("2,25")
    assert (x.fault, x.value) == ("", 2.25)


def test_reset_and_several_at_once(panel):
    panel.set(x=1, scale=2.0)
    assert panel.sentence.text == "The root is 2.00."
    panel.again.pressed()
    assert panel.values() == {"x": 4, "scale": 1.0}


def test_table_and_call_on_request(panel):
    assert panel.table.rows == []
    panel.table.unfolded = panel.call.unfolded = True
    assert (panel.table.columns, panel.table.rows) == (["root [m]"], [["2"]])
    panel.controls["x"].value = 9
    assert panel.table.rows == [["3"]]
    assert panel.call.text == "root(9, 1)"
    panel.call.unfolded = False
    panel.controls["x"].value = -1
    panel.call.unfolded = True  # of the last answer, where there is none now
    assert panel.call.text == "root(9, 1)"


def test_more_lines_and_who_else_is_told():
    told = []
    panel = Panel(
        title="A root",
        controls={"x": Number(label="x", unit="m", value=4, low=-1, high=9, step=1)},
        ask=root,
        sentence="{:.2f}".format,
        lines=["twice {:.2f}".format],
        then=told.append,
    )
    panel.controls["x"].value = 9
    assert [line.text for line in panel.lines] == ["twice 3.00"]
    panel.controls["x"].value = -1
    assert told == [2.0, 3.0]  # nothing where there is no answer
    assert panel.lines[0] in panel.box.children


def test_what_fails_behind_the_answer_is_told_too(panel):
    def then(y):
        if y > 2:
            raise ValueError(f"{y:g} is too much for what follows")

    panel._then = then
    panel.controls["x"].value = 9
    assert panel.sentence.text == "The root is 3.00."
    assert panel.fault.text == "3 is too much for what follows"
    panel.controls["x"].value = 1
    assert panel.fault.text == ""


def test_a_choice_refuses_what_it_does_not_offer(panel):
    with pytest.raises(ValueError, match="scale: 3 is no choice"):
        panel.controls["scale"].value = 3


def test_a_still_says_what_it_is(panel):
    shown = panel._repr_mimebundle_()
    still = Image.open(io.BytesIO(shown["image/png"]))
    assert still.size == (300, 234)
    assert "application/vnd.jupyter.widget-view+json" in shown
    assert shown["text/plain"] == "A root. The root is 2.00."
    band = np.asarray(still.convert("L"))[:34]
    assert band[0, 0] == 0x40  # a dark band, with light letters on it
    assert band.max() > 200
    assert "Run All Cells" in STILL


def test_a_live_picture_is_what_drawing_it_anew_gives():
    moved = [LIVE(y) for y in (1.0, 2.0, 3.0)][-1]
    anew = Live(begin, LIVE._move, size=(3, 2))(3.0)
    one, other = (np.asarray(Image.open(io.BytesIO(png))).astype(int) for png in (moved, anew))
    assert np.abs(one - other).max() == 0


def test_a_live_picture_is_drawn_anew_when_its_frame_changes():
    drawn = []

    def counted(figure, y):
        drawn.append(y)
        return begin(figure, y)

    live = Live(counted, LIVE._move, frame=lambda y: y > 2, size=(3, 2))
    for y in (0.5, 1.0, 3.0, 3.5, 0.6):
        seen = live(y)
    assert drawn == [0.5, 3.0]  # back at a frame that was drawn before: not anew
    assert seen == Live(begin, LIVE._move, size=(3, 2))(0.6)


def test_a_file_is_made_when_asked_for_and_its_faults_are_told():
    told, sent = [], []

    def broken():
        msg = "no bore yet; type it first"
        raise ValueError(msg)

    save = Save(label="Save", make=lambda: ("a.csv", b"1"), failed=told.append)
    save.send = lambda content, buffers: sent.append((content, buffers))
    save.press()
    save.make = broken
    save.press()
    assert sent == [({"name": "a.csv"}, [b"1"])]
    assert told == ["no bore yet; type it first"]


def test_a_press_counts_on_the_label_it_was_made_on():
    pressed = []
    press = Press(label="Delete row 2", do=lambda: pressed.append(1))
    press.pressed()
    press._handle_custom_msg({"pressed": "Delete row 2"}, [])
    press.label = "Delete row 3"
    press._handle_custom_msg({"pressed": "Delete row 2"}, [])
    assert pressed == [1, 1]


def test_a_cell_is_taken_as_long_as_its_table_has_its_rows():
    grid = Grid(columns=["a", "b"], rows=[["1", "2"], ["3", "4"]], editable=True)
    grid._handle_custom_msg({"at": "1,0"}, [])
    grid._handle_custom_msg({"cell": [1, 0], "typed": "5", "of": 2}, [])
    assert (grid.at, grid.rows) == ("1,0", [["1", "2"], ["5", "4"]])
    grid.rows = [["1", "2"]]
    grid._handle_custom_msg({"cell": [0, 0], "typed": "9", "of": 2}, [])
    assert grid.rows == [["1", "2"]]


def test_stills_stand_one_above_the_other():
    two = [LIVE(1.0), LIVE(2.0)]
    assert Image.open(io.BytesIO(still_of(two))).size == (300, 34 + 2 * 200)


def test_controls_at_the_side():
    x = Number(label="x", unit="m", value=4, low=-1, high=9, step=1)
    view = View(draw=LIVE, words="{:.1f}".format)
    panel = Panel(
        title="A root", controls={"x": x}, ask=root, sentence="{:.2f}".format, views=[view],
        beside=True,
    )  # fmt: skip
    row = next(one for one in panel.box.children if "flutelab-beside" in one._dom_classes)
    side, pictures = row.children
    assert side.children[0].children == (x,)
    assert side.children[1:] == (panel.fault, panel.sentence)
    assert pictures.children == panel.pictures


def test_threads_take_turns():
    inside, met = [], []

    def slow(x):
        inside.append(x)
        time.sleep(0.003)
        met.append(len(inside))
        inside.remove(x)
        return x

    def press(low):
        for number in range(low, low + 8):
            x.value = number

    x = Number(label="x", unit="m", value=0, low=0, high=99, step=1)
    panel = Panel(title="Slow", controls={"x": x}, ask=slow, sentence="{:.0f}".format)
    threads = [threading.Thread(target=press, args=(low,)) for low in (10, 50)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert set(met) == {1}
    assert panel.sentence.text == f"{x.value:.0f}"


def test_a_drawing_as_a_still_says_so_above_it():
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 90 60.5"><title>x</title></svg>\n'
    )
    tree = ElementTree.fromstring(still_of_svg(drawing))
    assert tree.get("viewBox") == "0 -34 90 94.5"
    assert tree[-1].text == STILL


def test_heads_have_units_in_brackets_and_columns_even_digits():
    frame = pd.DataFrame(
        {
            "c_over_2f_mm": [191.9254, 22.5],
            "from_model_cents": [-0.004, 12.0],
            "room_c": [21.0, np.nan],
            "group": ["a", 3],
        }
    )
    names, rows = texts(frame)
    assert names == ["c/2f [mm]", "from the model [cents]", "room [°C]", "group"]
    assert rows == [["191.93", "-0.004", "21", "a"], ["22.50", "12.000", "", "3"]]
