"""The panel that looks inside a flute: any fingering, register and room."""

import io
import re
from pathlib import Path

import numpy as np
import pytest
from made_notes import WIDE
from matplotlib.text import Text
from PIL import Image

import flutelab
from flutelab.units import celsius
from flutelab.view.panels.lattice import lattice_panel

DEMO = Path(__file__).resolve().parent.parent / "data-demo"


@pytest.fixture(scope="module")
def panel():
    return lattice_panel(flutelab.read_flute(DEMO / "half-inch-six.toml"))


@pytest.fixture(autouse=True)
def _as_at_first(panel):
    panel.reset()


def test_it_says_what_sounds_and_where_it_leaves(panel):
    flute = flutelab.read_flute(DEMO / "half-inch-six.toml")
    air = flutelab.AirAlong(room_temperature=celsius(22))
    notes = flutelab.rows(flute, ["xxxooo"], air=air)
    wave = flutelab.standing_wave(flute, notes)
    share = round(100 * wave.power_share[0, 0])
    assert panel.sentence.text.startswith(f"xxxooo: {wave.frequency[0]:.1f} Hz, F5 ")
    assert f"{share} % of the sound leaves at the window." in panel.sentence.text
    assert f"window {share} %, hole 4" in panel.pictures[1].alt
    assert "The cutoff of its open holes is 1509 Hz." in panel.pictures[0].alt


@pytest.mark.parametrize(
    ("control", "value", "words"),
    [
        ("fingering", "xoxoho", "xoxoho: "),
        ("fingering", "oooooo", "oooooo: 9"),
        ("register", 2, "trusted less"),
        ("room", 30.0, "xxxooo: 6"),
    ],
)
def test_each_control_moves_both_pictures(panel, control, value, words):
    before = [picture.png for picture in panel.pictures]
    said = panel.sentence.text
    panel.controls[control].value = value
    assert words in panel.sentence.text
    assert panel.sentence.text != said
    assert all(p.png != old for p, old in zip(panel.pictures, before, strict=True))


@pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")
def test_a_pipe_without_a_third_register_has_a_panel():
    wide = lattice_panel(WIDE)
    assert wide.sentence.text.startswith("The bare pipe: 5")
    wide.controls["register"].value = 3
    assert "nothing sounds" in wide.sentence.text
    for view in wide.views:  # and nothing is written of it
        view.draw(wide.answer)
        texts = [text.get_text() for text in view.draw.figure.findobj(Text)]
        assert not any("nan" in text for text in texts)


def test_a_warm_room_raises_the_note(panel):
    cool = panel.answer.wave.frequency[0]
    panel.controls["room"].value = 32.0
    # sound speed of the room's part of the air alone would give 29 cents
    assert 10 < flutelab.pitch.cents(panel.answer.wave.frequency[0], cool) < 29


def test_a_wrong_room_is_told_and_mended(panel):
    room, before = panel.controls["room"], panel.pictures[0].png
    room.type_in("60")
    assert room.fault == "'60': Room can be 10.0 to 35.0 °C here"
    assert panel.pictures[0].png == before
    room.type_in("24,5")
    assert (room.fault, room.value) == ("", 24.5)
    assert panel.pictures[0].png != before


def test_a_register_that_does_not_speak_is_told(panel):
    panel.set(fingering="xxxxox", register=3)
    if panel.answer.wave.reason[0]:
        assert "nothing sounds" in panel.sentence.text
        assert panel.pictures[1].alt.startswith("No standing wave")
    panel.set(fingering="oooooo", register=2)
    assert re.search(r"trusted less\. Below it: a weak mode at 1\d{3} Hz passed over\.$",
                     panel.sentence.text)  # fmt: skip
    panel.set(fingering="xxxxxx", register=1)
    assert "passed over" not in panel.sentence.text
    assert np.isnan(panel.answer.cutoff[0])
    assert "cutoff" not in panel.pictures[0].alt


@pytest.mark.filterwarnings("ignore:window")  # of the whole spectrum's highest frequency
def test_table_call_and_still(panel, capsys, monkeypatch):
    panel.table.unfolded = panel.call.unfolded = True
    openings = ["window", *(f"hole {n}" for n in range(1, 7)), "foot"]
    heads = [row[0] for row in panel.table.rows]
    assert heads == openings
    monkeypatch.chdir(DEMO.parent.parent)  # the call reads the file wherever it is run
    names = {}
    exec(panel.call.text, names)
    capsys.readouterr()
    assert f"{names['wave'].frequency[0]:.1f} Hz" in panel.sentence.text
    still = Image.open(io.BytesIO(panel._repr_mimebundle_()["image/png"]))
    assert still.size == (900, 34 + 290 + 340)


def test_each_curve_is_read_as_a_table_while_it_is_seen(panel):
    heard, spectrum, bore = panel.curves
    assert (heard.rows, spectrum.rows, bore.rows) == ([], [], [])
    heard.unfolded = spectrum.unfolded = bore.unfolded = panel.table.unfolded = True
    assert (heard.rows[0][:2], heard.rows[0][-1]) == (["1", "685.8"], "yes")
    strength = float(panel.answer.modes.strength[0, 0])
    assert float(heard.rows[0][3]) == pytest.approx(strength, abs=1e-3)
    assert panel.table.rows[0][1] == bore.rows[0][0]  # in one unit
    seen, flute = panel.answer, flutelab.read_flute(DEMO / "half-inch-six.toml")
    steps = {row[0]: row for row in spectrum.rows}
    assert len(steps) == len(spectrum.rows) < 250
    assert steps["685.8"] == ["685.8", "14.093", "mode 1, Q 55"]
    # the library's own way to it
    air = flutelab.AirAlong(room_temperature=celsius(22))
    head = flutelab.input_impedance(flute, flutelab.rows(flute, ["xxxooo"], air=air), [700.0])
    assert float(steps["700.0"][1]) == pytest.approx(1e6 / abs(head[0, 0]), rel=1e-3)
    places = [row[3] for row in bore.rows]
    assert [name for name in places if "hole 4" in name] == ["before hole 4", "after hole 4"]
    before, after = (float(row[2]) for row in bore.rows if "hole 4" in row[3])
    largest = np.max(np.abs(seen.wave.flow[0].imag))
    assert before - after == pytest.approx(seen.wave.outflow[0, 4].imag / largest, abs=2e-3)
    assert (places[0], places[-1]) == ("window", "foot")
    room = spectrum.rows
    panel.controls["room"].value = 30.0
    assert spectrum.rows != room
    heard.unfolded = spectrum.unfolded = bore.unfolded = False


def test_the_call_tells_corrections_that_are_not_the_usual_ones():
    flute = flutelab.read_flute(DEMO / "plain-pipe-300.toml")
    bare = lattice_panel(flute, flutelab.Corrections(loss=0.0, foot=1.1))
    bare.call.unfolded = True
    assert "corrections = flutelab.Corrections(foot=1.1, loss=0.0)" in bare.call.text


def test_plain_pipes_and_pipes_without_a_window(panel):
    bare = lattice_panel(flutelab.read_flute(DEMO / "plain-pipe-300.toml"))
    assert bare.sentence.text.startswith("The bare pipe: ")
    assert "head 50 %, foot 50 %" in bare.pictures[1].alt
