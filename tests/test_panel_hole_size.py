"""The lesson's panels: nothing tells the answer before it is shown; every control moves."""

import asyncio
import base64
import io
import json
import wave
from dataclasses import replace
from pathlib import Path

import ipywidgets
import numpy as np
import pytest
from notebook_tools import lighter
from PIL import Image

from flutelab import read_flute
from flutelab.files import hole_lesson
from flutelab.files.hole_guess import Board
from flutelab.files.hole_lesson import LEVELS
from flutelab.making.cautions import CAUTIONS
from flutelab.pitch import nearest_note, shift
from flutelab.units import celsius
from flutelab.view.drawing.pipe import pipe_drawing
from flutelab.view.panels import guess as guess_module
from flutelab.view.panels import hole_look
from flutelab.view.panels.curtain import forget
from flutelab.view.panels.guess_picture import guess_picture
from flutelab.view.panels.hole_size import hole_size_panels
from flutelab.view.panels.kit import Press, Sound
from flutelab.view.panels.later import Later

ROOT = Path(__file__).resolve().parent.parent
PIPE = read_flute(ROOT / "data-demo" / "one-hole-pipe.toml")
NOTEBOOK = ROOT / "notebooks" / "hole-size-and-pitch.ipynb"
PANELS = ("guess", "look", "sound", "theory")


# Building all pictures takes half a second, and so does opening the curtain: once for all.
@pytest.fixture(scope="module")
def closed_once():
    return hole_size_panels(PIPE)


@pytest.fixture(scope="module")
def open_once():
    lesson = hole_size_panels(PIPE)
    button(lesson).pressed()
    return lesson


def as_at_first(lesson, is_open):
    for name in PANELS:
        panel = getattr(lesson, name)
        for folded in filter(None, (panel.table, panel.call)):
            folded.unfolded = False
        forget(panel)
        panel.again.pressed()
    if (button(lesson).label != "Reveal") != is_open:
        button(lesson).pressed()
    return lesson


@pytest.fixture
def hidden(closed_once):
    """The answer never was shown."""
    return as_at_first(closed_once, is_open=False)


@pytest.fixture
def lesson(open_once):
    """The answer is shown."""
    as_at_first(open_once, is_open=True).look.controls["diameter"].value = 8.0
    return open_once


def widgets_of(widget):
    """Every widget that a page holds of a panel."""
    yield widget
    for child in getattr(widget, "children", ()):
        yield from widgets_of(child)


def button(lesson):
    return next(
        one for one in lesson.guess.box.children if isinstance(one, Press) and one is not
        lesson.guess.again
    )  # fmt: skip


def sounds(lesson):
    return next(one for one in lesson.sound.box.children if isinstance(one, Sound))


def page(lesson):
    """Every trait of every widget, synced or not, and what each cell would store."""
    held = []
    for name in PANELS:
        panel = getattr(lesson, name)
        for widget in widgets_of(panel.box):
            traits = {
                key: value
                for key, value in widget.trait_values().items()
                if not key.startswith("_") and key not in ("children", "comm", "layout", "style",
                                                           "keys", "log", "tabbable", "tooltip")
            }  # fmt: skip
            held.append((name, type(widget).__name__, traits))
        held.append((name, "still", panel.still()))
        held.append((name, "text", panel._repr_mimebundle_()["text/plain"]))
    return held


def teach(lesson):
    """What a teacher may do before the answer is shown, and more."""
    for name in PANELS:
        panel = getattr(lesson, name)
        for folded in filter(None, (panel.table, panel.call)):
            folded.unfolded = True
    lesson.guess.controls["kind"].value = "groups"
    lesson.guess.controls["groups"].value = "40 120; -5"
    for size in (8.0, 1.0, 15.4, 12.3):  # the question turned round, and any other
        lesson.guess.set(first=size, second=4.0)
    lesson.guess.controls["groups"].value = "40 700 Hz"
    lesson.guess.controls["groups"].value = "40"
    for name, size in {"diameter": 8.0, "place": 190.0, "wall": 2.0, "bore": 16.0, "room": 20.0,
                       }.items():  # fmt: skip
        lesson.look.controls[name].value = size
    lesson.look.set(diameter=9.0, place=180.0, wall=4.0, bore=14.0, room=30.0)
    lesson.look.controls["fingering"].value = "x"
    lesson.look.controls["fingering"].value = "o"
    for level in LEVELS.values():
        lesson.look.controls["level"].value = level
    lesson.sound.controls["before"].value = "length"
    press_invented(lesson)
    lesson.theory.controls["readings"].value = "590 601; nonsense"
    lesson.theory.controls["readings"].value = "590 601"
    return lesson


def untold(monkeypatch, cents=0.0):
    """Change the model's answer, or let nobody ask for it."""
    true = hole_lesson.note_at_size

    def other(flute, hole, diameter, room):
        moved = cents if abs(diameter - PIPE.holes[0].diameter) > 1e-6 else 0.0
        return float(shift(true(flute, hole, diameter, room), moved))

    def asked(*_, **__):
        raise AssertionError("the model was asked for what is hidden")

    monkeypatch.setattr(guess_module, "note_at_size", other)
    monkeypatch.setattr(hole_look, "hole_note", asked)


def test_a_page_is_the_same_whatever_the_answer(monkeypatch, hidden, lesson):
    pages = []
    for cents in (0.0, -77.0):
        untold(monkeypatch, cents)
        as_at_first(hidden, is_open=False)
        fresh = page(hidden)
        pages.append((fresh, page(teach(hidden))))
        monkeypatch.undo()
    assert pages[0][0] == pages[1][0]
    assert pages[0][1] == pages[1][1]
    button(teach(lesson)).pressed()  # another question had hidden it
    assert page(lesson) != pages[0][1]  # the comparison can fail


def test_no_trait_holds_the_answers_numbers(hidden, lesson):
    before = json.dumps(page(teach(hidden)), default=str)
    assert [one for one in answers() if one in before] == []
    shown = json.dumps(page(lesson), default=str)
    assert [one for one in answers() if one not in shown] == []  # the comparison can fail


@pytest.mark.parametrize("size", [8.0, 1.0, 15.4])
def test_another_first_size_does_not_tell_its_note(monkeypatch, hidden, lesson, size):
    own = hidden.guess.sentence.text
    assert "At 4.0 mm it sounds" in own
    with monkeypatch.context() as patched:
        patched.setattr(guess_module, "note_at_size", lambda *_: 1 / 0)
        hidden.guess.controls["first"].value = size
        assert "it sounds" not in hidden.guess.sentence.text
        hidden.guess.controls["one"].value = "700 Hz"  # else its diamond would tell the note
        assert "the first size's note is not told yet" in hidden.guess.fault.text
        hidden.guess.controls["one"].value = "30"
        assert hidden.guess.fault.text == ""
    hidden.guess.controls["first"].value = 4.0
    assert hidden.guess.sentence.text == own
    button(lesson).pressed()
    lesson.guess.set(first=size, second=6.0)
    assert "it sounds" not in lesson.guess.sentence.text
    button(lesson).pressed()
    assert "the model says" in lesson.guess.sentence.text


def test_the_guess_axis_holds_what_is_shown_and_tells_nothing_before():
    picture = guess_picture()

    def limits(**kw):
        picture(
            Board(hole=1, first=1e-3, second=0.015, where="here", before=500.0, kind="one", **kw)
        )
        (ax,) = picture.figure.axes
        return ax.get_xlim()

    closed = limits()
    assert limits(answer=206.0) == closed == limits(guesses=(900.0,))
    for answer in (1387.0, 950.0, -420.0):
        low, high = limits(answer=answer)
        assert low < answer < high
        (told,) = [one for one in picture.figure.axes[0].texts if "cents" in one.get_text()]
        assert told.get_window_extent().x1 < picture.figure.bbox.x1
    assert limits() == closed


def test_hidden_again_nothing_is_left(monkeypatch, hidden, lesson):
    again = []
    for hide in (lambda: button(lesson).pressed(), lambda: second(lesson, 9.0)):
        spoil(lesson)
        hide()
        again.append(page(lesson))
        button(lesson).pressed()
    untold(monkeypatch)
    hidden.theory.controls["readings"].value = "nonsense"
    hidden.look.controls["bore"].value = 10.0  # as it was spoilt: that stays
    for found, size in zip(again, (8.0, 9.0), strict=True):
        second(hidden, size)
        assert found == page(hidden)
    monkeypatch.undo()
    lesson.look.again.pressed()
    for _ in range(2):  # the question is again of the pipe as it was
        button(lesson).pressed()


def test_hiding_leaves_the_room_the_wall_and_the_bore(lesson):
    look, shared = lesson.look, {"room": 18.0, "wall": 4.0, "bore": 14.0}
    look.set(place=190.0, fingering="x", **shared)
    assert "In a room of 18.0 °C the model says" in lesson.guess.sentence.text
    button(lesson).pressed()
    assert [look.values()[name] for name in ("fingering", *shared)] == ["o", *shared.values()]
    assert [look.values()[name] for name in ("diameter", "place")] == pytest.approx([4.0, 200.0])
    where = "with a bore of 14.0 mm, with a wall of 4.0 mm, in a room of 18.0 °C"
    assert f"from 4.0 mm to 8.0 mm {where}." in lesson.guess.sentence.text
    button(lesson).pressed()
    assert {name: look.values()[name] for name in shared} == shared
    after, moved = look.answer.note.frequency["full"], lesson.guess.answer.answer
    assert f"W{where[1:]} the model says {moved:.0f} cents up: {after:.1f} Hz" in (
        lesson.guess.sentence.text
    )
    assert f"{moved:.0f} cents up from the start (4.0 mm)." in look.sentence.text
    lesson.guess.call.unfolded, made = True, {}
    exec(lesson.guess.call.text, made)
    assert made["after"] == pytest.approx(after)
    look.again.pressed()
    for _ in range(2):
        button(lesson).pressed()
    assert "In a room of 22.0 °C the model says" in lesson.guess.sentence.text


def second(lesson, size):
    lesson.guess.controls["second"].value = size


def spoil(lesson):
    """What is wrong keeps the last picture, what is folded its rows: not so when hidden."""
    for name in ("look", "theory"):
        panel = getattr(lesson, name)
        panel.table.unfolded = panel.call.unfolded = True
        panel.table.unfolded = panel.call.unfolded = False
    lesson.look.set(diameter=15.4, bore=10.0)
    assert lesson.look.fault.text
    lesson.guess.controls["one"].value = "much"
    assert lesson.guess.fault.text
    lesson.theory.controls["readings"].value = "nonsense"
    assert lesson.theory.fault.text


def answers():
    after = hole_lesson.note_at_size(PIPE, 1, 8e-3, celsius(22.0))
    moved = 1200 * np.log2(after / hole_lesson.note_at_size(PIPE, 1, 4e-3, celsius(22.0)))
    return [f"{after:.1f}", f"{moved:.0f} cents", f"{moved:+.0f}", f" {nearest_note(after)[0]} "]


def pixels(still):
    """A still as it is stored."""
    light = lighter(base64.b64encode(still).decode())
    return seen_pixels(light)


def seen_pixels(stored):
    drawn = Image.open(io.BytesIO(base64.b64decode(stored))).convert("RGB")
    return np.asarray(drawn).astype(int)


def share_that_differs(one, other):
    """Not letters' edges alone: another release draws those a little otherwise."""
    return np.mean(np.abs(one - other).max(axis=-1) > 90) if one.shape == other.shape else 1.0


def test_the_stored_notebook_tells_nothing(hidden, lesson):
    cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    outputs = [one for cell in cells for one in cell.get("outputs", [])]
    pictures = [
        one["data"].pop("image/png") for one in outputs if "image/png" in one.get("data", {})
    ]
    stored = json.dumps(cells, ensure_ascii=False)
    assert [one for one in answers() if one in stored] == []
    assert len(pictures) == 3
    for picture, name in zip(pictures, ("guess", "look", "theory"), strict=True):
        closed, shown = (
            pixels(getattr(one, name).still()["image/png"]) for one in (hidden, lesson)
        )
        assert share_that_differs(seen_pixels(picture), closed) < 0.002
        assert share_that_differs(shown, closed) > 0.002


def test_what_is_shown_agrees(lesson):
    button(lesson).pressed()
    assert button(lesson).label == "Reveal"
    lesson.guess.controls["one"].value = "150"
    assert "By how many cents" in lesson.guess.sentence.text
    button(lesson).pressed()
    assert button(lesson).label == "Hide, for new guesses"
    first, second = (
        hole_lesson.note_at_size(PIPE, 1, size, celsius(22.0)) for size in (4e-3, 8e-3)
    )
    moved = 1200 * np.log2(second / first)
    assert f"{moved:.0f} cents up: {second:.1f} Hz" in lesson.guess.sentence.text
    assert f"{abs(moved - 150):.0f} cents away" in lesson.guess.sentence.text
    assert lesson.look.controls["diameter"].value == 8.0
    assert f"Hole 1, 8.0 mm: {second:.1f} Hz" in lesson.look.sentence.text
    assert f"{moved:.0f} cents up from the start (4.0 mm)" in lesson.look.sentence.text
    assert f"{first:.1f} Hz, then {second:.1f} Hz" in lesson.sound.sentence.text
    assert len(sounds(lesson).sounds) == len(sounds(lesson).names) == 4


@pytest.mark.parametrize(
    ("name", "value", "up"),
    [("diameter", 9.0, True), ("place", 210.0, False), ("wall", 4.0, False), ("bore", 16.0, False),
     ("room", 25.0, True), ("fingering", "x", False)],
)  # fmt: skip
def test_every_control_moves_the_note(lesson, name, value, up):
    look = lesson.look
    before, seen = look.answer.note.frequency["full"], look.pictures[1].png
    drawn, line = look.pictures[0].svg, look.lines[0].text
    look.controls[name].value = value
    after = look.answer.note.frequency["full"]
    assert (after > before) == up
    assert f"{after:.1f} Hz" in look.sentence.text
    assert f"{after:.1f} Hz" in lesson.sound.sentence.text
    assert look.pictures[1].png != seen
    assert (look.pictures[0].svg != drawn) == (name != "room")
    assert look.lines[0].text != line
    look.again.pressed()
    assert look.controls[name].value != value


def test_levels_and_sounds(lesson):
    heard = []
    for level in LEVELS.values():
        lesson.look.controls["level"].value = level
        assert f"{lesson.look.answer.note.frequency[level]:.1f} Hz" in lesson.look.sentence.text
        lesson.sound.controls["after"].value = level
        heard.append(sounds(lesson).sounds[1])
        with wave.open(io.BytesIO(heard[-1])) as file:
            assert file.getnframes() > 10000
    assert len(set(heard)) == 3
    lesson.sound.set(before="length", after="full")
    assert "together" in lesson.sound.sentence.text
    assert CAUTIONS["hearing"] in {getattr(one, "text", "") for one in lesson.sound.box.children}
    assert CAUTIONS["breath"] in {getattr(one, "text", "") for one in lesson.theory.box.children}


def test_a_note_too_low_to_play_is_said_and_the_theory_goes_on(lesson):
    theory = lesson.theory.pictures[0].png
    long = replace(PIPE, foot=replace(PIPE.foot, position=1.3))
    asked = {"hole": 1, "fingering": "x", "room": celsius(22.0), "level": "full"}
    lesson.look.answer = replace(
        lesson.look.answer, note=hole_lesson.hole_note(long, **asked, start=PIPE)
    )
    for name in ("sound", "theory"):  # as the look panel feeds them
        getattr(lesson, name).refresh()
    said = lesson.sound.sentence.text
    assert "127.1 Hz is too low to be heard well from a laptop's loudspeaker: no sound." in said
    assert sounds(lesson).sounds == sounds(lesson).names == []
    assert lesson.theory.pictures[0].png != theory
    lesson.look.controls["diameter"].value = 6.0
    assert len(sounds(lesson).sounds) == 4
    assert "too low" not in lesson.sound.sentence.text


def test_wrong_entries_and_recovery(lesson):
    diameter, seen = lesson.look.controls["diameter"], lesson.look.pictures[1].png
    diameter.type_in("nine")
    assert "'nine'" in diameter.fault
    diameter.type_in("20")
    assert "can be 1.0 to 15.4 mm" in diameter.fault
    assert lesson.look.pictures[1].png == seen
    diameter.type_in("3/8 in")
    assert (diameter.fault, diameter.value) == ("", pytest.approx(9.525))
    lesson.look.set(diameter=15.4, bore=10.0)
    assert "wider than the bore of 10 mm" in lesson.look.fault.text
    lesson.look.again.pressed()
    assert (lesson.look.fault.text, diameter.value) == ("", 4.0)
    lesson.theory.controls["readings"].value = "flat"
    assert "'flat' is not a reading" in lesson.theory.fault.text
    lesson.theory.controls["readings"].value = "590 600"
    assert lesson.theory.fault.text == ""
    assert "The 2 readings" in lesson.theory.sentence.text
    lesson.guess.controls["one"].value = "quite a lot"
    assert lesson.guess.fault.text.startswith("'quite a lot' is no guess; write cents")
    assert lesson.guess.fault.text.count("no guess") == 1


def test_readings_of_another_pipe_are_told(hidden, lesson):
    readings, line = lesson.theory.controls["readings"], lesson.theory.sentence
    hidden.theory.controls["readings"].value = readings.value = "640"
    verdict = line.text
    assert "the model" in verdict
    lesson.look.controls["diameter"].value = 9.0
    assert "the model" not in line.text
    assert "No verdict: the readings are of another pipe: Hole 1, 8.0 mm, 200 mm" in line.text
    assert "dots: none yet" in lesson.theory.pictures[0].alt
    readings.value = "660"
    assert "the model" in line.text
    lesson.look.controls["place"].value = 190.0
    assert "Hole 1, 9.0 mm" in line.text
    lesson.look.controls["place"].value = 200.0
    assert "the model" in line.text
    assert hidden.theory.sentence.text == "Hidden until Reveal is pressed above."


def test_the_room_is_read_in_fahrenheit_too(lesson):
    room = lesson.look.controls["room"]
    room.type_in("70 °F")
    assert (room.fault, room.value) == ("", pytest.approx((70 - 32) / 1.8))
    room.type_in("70")
    assert room.fault.endswith("if it is Fahrenheit write 70F")


def test_a_closed_hole_is_seen_closed_in_the_cut_and_the_curve_is_smooth(lesson):
    fingers = []
    for state in "oxhn":
        drawing = pipe_drawing(PIPE, state)
        fingers.append([one for one in drawing.items if one.part == "finger"])
    assert [len(some) for some in fingers] == [0, 1, 1, 0]
    assert pipe_drawing(PIPE, "x").description != pipe_drawing(PIPE, "o").description
    picture = hole_look.hole_picture(300.0, 15.0)
    note = lesson.look.answer.note
    picture(note)
    across, heights = picture.figure.axes[0].get_legend_handles_labels()[0][0].get_data()
    known = 1200 * np.log2(note.sweep.frequency / note.sweep.no_hole)
    at_known = np.interp(1000 * note.sweep.diameter, across, heights)
    assert at_known == pytest.approx(known, abs=1.0)
    assert np.all(np.diff(heights) > 0)
    assert np.abs(np.diff(heights, 2)).max() < 0.1 * np.abs(np.diff(known, 2)).max()


def test_the_legend_names_what_is_drawn():
    picture = hole_look.hole_picture(300.0, 15.0)
    for level in LEVELS.values():
        asked = {"hole": 1, "fingering": "o", "room": celsius(22.0), "level": level}
        picture(hole_lesson.hole_note(PIPE, **asked, start=PIPE))
        ax = picture.figure.axes[0]
        drawn = {one.get_label() for one in ax.lines if len(one.get_xdata())}
        named = {one.get_text() for one in ax.get_legend().get_texts()}
        assert named == {one for one in drawn if not one.startswith("_")}
        assert ("c/2L" in named) == (level == "plain")


def press_invented(lesson):
    buttons = [one for one in lesson.theory.box.children if isinstance(one, Press)]
    next(one for one in buttons if one is not lesson.theory.again).pressed()


def test_invented_readings_come_after_the_answer_only(hidden, lesson):
    press_invented(hidden)
    assert hidden.theory.controls["readings"].value == ""
    press_invented(lesson)
    assert "The 5 readings are on average 4 cents down" in lesson.theory.sentence.text


def test_cautions_stand_at_the_steps_in_the_kits_words():
    cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    texts = [" ".join("".join(cell["source"]).split()) for cell in cells]
    steps = {"To bore it": ("local", "drill", "pvc-dust"), "Groups blow": ("breath", "mouth")}
    for step, keys in steps.items():
        at_step = next(text for text in texts if step in text)
        assert [key for key in keys if CAUTIONS[key] not in at_step] == []


def test_who_guesses_has_their_boxes(lesson):
    button(lesson).pressed()
    controls = lesson.guess.controls
    for kind, shown in (("one", {"one"}), ("groups", {"groups"}), ("hands", set("ABCD"))):
        controls["kind"].value = kind
        boxes = ("one", "groups", *"ABCD")
        assert {name for name in boxes if controls[name].layout.display != "none"} == shown
    for letter, count in zip("ABCD", ("3", "9", "12", "2"), strict=True):
        controls[letter].value = count
    empty = lesson.guess.pictures[0].png
    button(lesson).pressed()
    assert "12 of 26 hands" in lesson.guess.sentence.text
    assert lesson.guess.pictures[0].png != empty


def test_table_call_and_words(lesson, capsys):
    for panel in (lesson.look, lesson.theory):
        panel.table.unfolded = panel.call.unfolded = True
        assert len(panel.table.rows) > 5
        made = {}
        exec(panel.call.text, made)
        assert f"{made['frequency'][0]:.1f} Hz" in lesson.look.sentence.text
    assert "no hole: 507.0 Hz" in lesson.look.pictures[1].alt
    assert "Band of soft to hard breath" in lesson.theory.pictures[0].alt
    capsys.readouterr()


def test_the_call_of_the_guess_asks_and_tells_nothing(hidden, lesson, capsys):
    asked = []
    for one in (hidden, lesson):
        one.guess.call.unfolded = True
        one.guess.controls["one"].value = "150"
        asked.append(one.guess.call.text)
    assert asked[0] == asked[1]
    made = {}
    exec(asked[0], made)
    said = f"{made['moved']:.0f} cents up: {made['after']:.1f} Hz. The guess is "
    assert f"{said}{made['away'][0]:.0f} cents away" in lesson.guess.sentence.text
    lesson.guess.controls["kind"].value = "hands"
    exec(lesson.guess.call.text, made)
    assert "\nC\n" in capsys.readouterr().out
    assert "Answer C" in lesson.guess.sentence.text


def test_the_call_of_the_sounds_makes_their_files(hidden, lesson):
    hidden.sound.call.unfolded = lesson.sound.call.unfolded = True
    assert hidden.sound.call.text.startswith("# Hidden")
    for before, after in (("start", "full"), ("length", "plain")):
        lesson.sound.set(before=before, after=after)
        made = {}
        exec(lesson.sound.call.text, made)
        for own, shown in zip(made["sounds"], sounds(lesson).sounds, strict=True):
            one, other = (np.frombuffer(wav[44:], "<i2").astype(int) for wav in (own, shown))
            assert np.abs(one - other).max() <= 1  # of 32767


def test_every_picture_has_words_and_every_control_a_name(lesson):
    for name in PANELS:
        panel = getattr(lesson, name)
        assert all(picture.alt for picture in panel.pictures)
        for control in panel.controls.values():
            assert control.label
            assert isinstance(control, ipywidgets.DOMWidget)
    with pytest.raises(ValueError, match="hole is 2; this flute has 1"):
        hole_size_panels(PIPE, hole=2)


def test_what_may_wait_waits_until_the_keys_rest():
    done = []
    ask = Later(lambda: done.append(len(done)), rest=0.01)
    ask()
    assert done == [0]  # no event loop: at once

    async def keys():
        for _ in range(5):
            ask()
        assert done == [0]
        await asyncio.sleep(0.1)

    asyncio.run(keys())
    assert done == [0, 1]


@pytest.mark.slow
def test_a_flute_of_five_holes():
    flute = read_flute(ROOT / "data-demo" / "three-quarter-five.toml")
    lesson = hole_size_panels(flute, hole=5)
    button(lesson).pressed()
    lesson.look.controls["fingering"].value = "xxxxo"
    assert lesson.look.sentence.text.startswith("Hole 5, ")
    assert "pipe cut off" in lesson.look.pictures[1].alt.replace("The pipe", "the pipe")
