"""The panel that fits a flute: opening, editing, fitting, telling, saving."""

import asyncio
import contextlib
import io
import signal
import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from flutelab.files.note_columns import COLUMNS
from flutelab.files.sentences import sentences
from flutelab.fitting.next_measurement import next_measurement
from flutelab.view.panels import fit as fit_module
from flutelab.view.panels import fit_busy as busy_module
from flutelab.view.panels import fit_more as more_module
from flutelab.view.panels.fit import (
    FITTING,
    LOOKING,
    STAYS,
    STOPPED,
    UNFITTED,
    UNSOUGHT,
    fit_panel,
)
from flutelab.view.panels.fit_busy import Home
from flutelab.view.plots import plot_next_measurement

DEMO = Path(__file__).resolve().parent.parent / "data-demo"
FILES = DEMO / "plain-pipe-300.toml", DEMO / "plain-pipe-300.csv"


def nothing_odd(_):
    yield
    return ()


@pytest.fixture
def panel(monkeypatch, tmp_path):
    """A plain pipe's, of three notes; pictures and opening are a word, no mistakes are sought."""
    monkeypatch.setattr(fit_module, "drawn", lambda one: f"{one.calibration.value}".encode())
    monkeypatch.setattr(fit_module, "suspects_by_steps", nothing_odd)
    monkeypatch.setattr(fit_module, "sentences", lambda *_: ["Said."])
    return fit_panel(*FILES, demo=tmp_path)


def cell(panel, row, column, text):
    """Type in a cell of the note table."""
    grid = panel.desk.grid
    rows = [list(one) for one in grid.rows]
    rows[row][grid.columns.index(column)] = text
    grid.rows = rows


def choose(panel, correction, part):
    rows = [list(one) for one in panel.corrections.rows]
    next(row for row in rows if row[0] == correction)[1] = part
    panel.corrections.rows = rows


def test_it_opens_with_the_reports_sentences_and_rings(tmp_path, monkeypatch):
    monkeypatch.setattr(fit_module, "drawn", lambda _: b"")
    holed = fit_panel(DEMO / "half-inch-six.toml", demo=tmp_path)
    said = sentences(holed.answer.calibration, holed.answer.odd)
    assert holed.opening.text.replace("• ", "").splitlines() == said
    assert "Hole 1 (nearest the window) acts as if" in holed.opening.text
    assert holed.sentence.text.startswith("22 of 22 rows are fitted: ")
    assert len(holed.answer.odd) == 2
    assert "2 suspects are ringed" in holed.pictures[0].alt


def test_every_picture_has_its_own_words(tmp_path, monkeypatch):
    monkeypatch.setattr(fit_module, "suspects_by_steps", nothing_odd)
    monkeypatch.setattr(fit_module, "sentences", lambda *_: ["Said."])
    panel = fit_panel(*FILES, demo=tmp_path)
    seen = {}
    for number, label in enumerate(panel.controls["picture"].options):
        panel.controls["picture"].index = number
        assert Image.open(io.BytesIO(panel.pictures[0].png)).width == 1000
        seen[panel.pictures[0].png] = panel.pictures[0].alt
        assert seen[panel.pictures[0].png], label
    assert len(seen) == len(set(seen.values())) == 5


def test_a_cell_moves_the_fit(panel):
    before, picture = panel.answer.calibration, panel.pictures[0].png
    number = panel.desk.grid.columns.index("cents")
    cell(panel, 0, "cents", str(float(panel.desk.grid.rows[0][number]) + 20))
    after = panel.answer.calibration
    new, old = (one.tables[0].measurements.frequency for one in (after, before))
    np.testing.assert_allclose(1200 * np.log2(new / old), [20, 0, 0], atol=1e-9)
    assert panel.pictures[0].png != picture
    assert panel.desk.saved_name == "plain-pipe-300-edited.csv"


@pytest.mark.parametrize(
    ("column", "typed", "words"),
    [
        ("bore_temperature_c", "80", "Is this Fahrenheit?"),
        ("cents", "+1O", "is not a number"),
        ("use", "maybe", "Write fit, check or no"),
    ],
)
def test_a_wrong_cell_is_marked_told_and_mended(panel, column, typed, words):
    grid, result, picture = panel.desk.grid, panel.answer.calibration, panel.pictures[0].png
    at = grid.columns.index(column)
    good = grid.rows[1][at]
    cell(panel, 1, column, typed)
    assert list(grid.faults) == [f"1,{at}"]
    assert words in grid.faults[f"1,{at}"]
    assert f"row 2 (line 3), {column}: '{typed}'" in panel.fault.text
    assert panel.answer.calibration is result
    assert panel.pictures[0].png == picture
    cell(panel, 1, column, good)
    assert (panel.fault.text, grid.faults) == ("", {})
    assert panel.desk.sheet.rows[1][at] == good


def test_a_missing_column_is_told_and_added(panel):
    desk, result = panel.desk, panel.answer.calibration
    desk.grid.at = f"2,{desk.grid.columns.index('bore_temperature_c')}"
    assert desk.delete_column.label == "Delete column bore_temperature_c"
    desk.delete_column.pressed()
    assert "no temperature anywhere" in panel.fault.text
    assert "Add room_temperature_c" in panel.fault.text
    assert panel.answer.calibration is result
    desk.new_column.index = COLUMNS.index("bore_temperature_c")
    desk.filling.value = "25"
    desk.add_column.pressed()
    assert panel.fault.text == ""
    assert [row[-1] for row in desk.grid.rows] == ["25"] * 3


def test_a_column_is_renamed_and_its_fault_stands_at_its_name(panel):
    desk = panel.desk
    desk.grid.at = "0,4"
    desk.column_name.value = "cent"
    assert list(desk.grid.faults) == ["head,4"]
    assert "The nearest name is cents" in panel.fault.text
    desk.column_name.under = "Column 2 is called"  # typed before another cell was gone to
    desk.column_name.value = "wrong"
    assert desk.column_name.value == "cent"
    desk.column_name.under = desk.column_name.label
    desk.column_name.value = "cents"
    assert (panel.fault.text, desk.grid.faults) == ("", {})


def test_the_first_sentences_say_that_they_are_old_while_something_is_wrong(panel):
    cell(panel, 0, "cents", "-3O")
    assert panel.opening.text == f"{fit_module.OLD}\n• Said."
    cell(panel, 0, "cents", "x")
    assert panel.opening.text.count(fit_module.OLD) == 1
    cell(panel, 0, "cents", "-30")
    assert panel.opening.text == "• Said."


def test_rows_come_and_go(panel):
    desk, fitted = panel.desk, panel.answer.calibration.rows
    desk.grid.at = "1,4"
    desk.add_row.pressed()
    assert len(desk.grid.rows) == 4
    assert "row 3 (line 4): there is no reading" in panel.fault.text
    cell(panel, 2, "note", "C#5")
    cell(panel, 2, "cents", "-20")
    assert panel.answer.calibration.rows == fitted + 1
    cell(panel, 0, "use", "no")
    assert panel.answer.calibration.rows == fitted
    desk.grid.at = "2,0"
    desk.delete_row.pressed()
    assert panel.answer.calibration.rows == fitted - 1
    panel.again.pressed()
    assert panel.answer.calibration.rows == fitted
    assert desk.saved_name == "plain-pipe-300.csv"


def test_what_is_left_out_of_a_table_ends_in_words(panel):
    panel.desk.grid.at = "0,0"
    for _ in range(3):
        panel.desk.delete_row.pressed()
    assert "there are no rows with notes" in panel.fault.text
    assert panel.desk.delete_row.disabled
    panel.desk.add_row.pressed()
    assert len(panel.desk.grid.rows) == 1


def test_corrections_are_freed_and_held_and_far_rows_count_less(panel):
    assert panel.answer.calibration.free == ("window", "foot", "wall")
    choose(panel, "wall", "held")
    choose(panel, "bore", "reported")
    result = panel.answer.calibration
    assert (result.free, result.held) == (("window", "foot", "bore"), ("wall",))
    assert result.corrections.wall == 1.0
    panel.controls["loss"].index = 1
    assert panel.answer.calibration.problem.loss == "robust"
    jet = next(n for n, row in enumerate(panel.corrections.rows) if row[0] == "coupling")
    assert panel.corrections.choices[f"{jet},1"] == ["held"]


def test_the_flute_file_is_edited_too(panel):
    flute = panel.desk.text.value
    panel.desk.text.value = flute.replace("[bore]", "[bore")
    assert panel.fault.text.startswith("plain-pipe-300.toml: 1 fault")
    panel.desk.text.value = flute.replace('name = "', 'name = "My ')
    assert panel.fault.text == ""
    assert panel.answer.calibration.tables[0].measurements.flute.name.startswith("My ")
    assert panel.desk.saved_flute_name == "plain-pipe-300-edited.toml"


def uploaded(name, content):
    file = {"name": name, "type": "", "size": len(content), "content": memoryview(content)}
    return ({**file, "last_modified": datetime.now(UTC)},)


def test_own_files_by_path_and_by_upload(panel, tmp_path):
    desk = panel.desk
    desk.flute_path.value = str(DEMO / "plain-pipe-220.toml")
    desk.notes_path.value = f"'{DEMO / 'plain-pipe-220.csv'}'"
    assert panel.fault.text == ""
    assert panel.answer.calibration.tables[0].measurements.flute.name == "Plain pipe 220 mm"
    desk.notes_path.value = str(tmp_path / "none.csv")
    assert "none.csv" in desk.refused.text
    assert desk.sheet.name == "plain-pipe-220.csv"
    kept = DEMO / "plain-pipe-380.csv"
    desk.uploads[1].value = uploaded(kept.name, kept.read_bytes())
    assert (desk.refused.text, desk.sheet.raw) == ("", kept.read_bytes())
    assert desk.uploads[1].value == ()
    desk.uploads[0].value = uploaded("photo.toml", b"\xff\xd8")
    assert "photo.toml: 1 fault" in desk.refused.text


def test_a_demo_is_chosen_and_let_go(monkeypatch):
    monkeypatch.setattr(fit_module, "drawn", lambda _: b"")
    monkeypatch.setattr(fit_module, "suspects_by_steps", nothing_odd)
    monkeypatch.setattr(fit_module, "sentences", lambda *_: ["Said."])
    panel = fit_panel(*FILES, demo=DEMO)
    desk = panel.desk
    assert desk.demo.value == FILES
    desk.demo.index = desk.demo.options.index("Plain pipe 380 mm")
    assert panel.answer.calibration.tables[0].measurements.source == "plain-pipe-380.csv"
    desk.flute_path.value = str(DEMO / "plain-pipe-220.toml")
    assert desk.demo.value is None
    desk.demo.value = FILES
    assert desk.flute_path.value == ""
    assert panel.answer.calibration.tables[0].measurements.flute.name == "Plain pipe 300 mm"


def test_fits_may_wait_until_they_are_asked_for(panel):
    panel.controls["follow"].value = False
    before = panel.answer.calibration
    cell(panel, 0, "cents", "-30")
    assert panel.answer.calibration is before
    assert panel.sentence.text.endswith("Something was changed since: press Fit now.")
    panel.fit.pressed()
    assert panel.answer.calibration is not before
    assert "press Fit" not in panel.sentence.text


def test_a_slow_fit_no_longer_follows_and_an_interrupt_stops_it(panel, monkeypatch):
    monkeypatch.setattr(fit_module, "SLOW", 0.0)
    cell(panel, 0, "cents", "-30")
    assert panel.controls["follow"].value is False
    picture = panel.pictures[0].png
    monkeypatch.setattr(fit_module, "calibrate", interrupted)
    cell(panel, 0, "cents", "-31")
    panel.fit.pressed()
    assert panel.fault.text.startswith(STOPPED)
    assert panel.fault.text.endswith(STAYS)
    assert panel.pictures[0].png == picture


def interrupted(*_, **__):
    """What the kernel's interrupt does, between two requests of the page."""
    signal.raise_signal(signal.SIGINT)


@pytest.mark.parametrize("pressed", [True, False])
def test_the_search_for_mistakes_is_stopped(panel, monkeypatch, pressed):
    good, taken = panel.answer.calibration, []

    def endless(_):
        while True:
            taken.append("a step")
            if len(taken) == 3 and not pressed:
                interrupted()
            yield

    async def searched():
        panel.look_closer()
        while panel.search.running:
            await asyncio.sleep(0)
            if len(taken) == 3:
                panel.busy.stopped()

    monkeypatch.setattr(fit_module, "suspects_by_steps", endless)
    asyncio.run(searched())
    assert len(taken) == 3
    assert panel.opening.text == UNSOUGHT
    assert panel.answer.calibration is good
    monkeypatch.setattr(fit_module, "suspects_by_steps", nothing_odd)
    panel.look_closer()
    assert panel.opening.text == "• Said."


def test_stop_pressed_in_the_last_step_comes_too_late(panel, monkeypatch):
    """It comes from another thread, as JupyterLab hands it on: mistakes found are not denied."""

    def last(_):
        yield
        threading.Thread(target=panel.busy.stopped).start()
        time.sleep(0.05)
        return ()

    async def searched():
        panel.home = panel.search.home = Home()
        panel.look_closer()
        while panel.search.running:
            await asyncio.sleep(0)
        await asyncio.sleep(0.05)

    monkeypatch.setattr(fit_module, "suspects_by_steps", last)
    asyncio.run(searched())
    assert panel.opening.text == "• Said."
    assert panel.answer.odd == ()


@pytest.mark.parametrize("error", [ValueError("no such mode"), RuntimeError("lost")])
def test_a_search_that_fails_says_so(panel, monkeypatch, error):
    def failing(_):
        yield
        raise error

    monkeypatch.setattr(fit_module, "suspects_by_steps", failing)
    with contextlib.nullcontext() if isinstance(error, ValueError) else pytest.raises(RuntimeError):
        panel.look_closer()
    assert panel.opening.text == f"{fit_module.UNFOUND} {error}"
    assert not panel.search.running


def test_mistakes_found_are_ringed_without_another_fit(panel, monkeypatch):
    """A change that comes meanwhile is fitted in its own turn, with all that follows."""
    monkeypatch.setattr(panel, "_answer", None)  # nobody asks
    monkeypatch.setattr(fit_module, "sentences", lambda *_: ["Said."])
    panel._found(("a mistake",))
    assert panel.answer.odd == ("a mistake",)
    assert panel.opening.text == "• Said."


def test_a_search_that_was_stopped_is_begun_again(tmp_path, monkeypatch):
    def stopped(_):
        yield
        interrupted()

    monkeypatch.setattr(fit_module, "drawn", lambda _: b"")
    monkeypatch.setattr(fit_module, "suspects_by_steps", stopped)
    panel = fit_panel(*FILES, demo=tmp_path)
    assert (panel.opening.text, panel.answer.odd) == (UNSOUGHT, None)
    monkeypatch.setattr(fit_module, "suspects_by_steps", nothing_odd)
    panel.fit.pressed()
    assert panel.answer.odd == ()


def test_a_change_gives_up_the_search_of_the_fit_before(panel, monkeypatch):
    def endless(_):
        while True:
            yield

    async def searched():
        panel.look_closer()
        await asyncio.sleep(0)
        cell(panel, 0, "cents", "-30")
        return panel.search.running

    monkeypatch.setattr(fit_module, "suspects_by_steps", endless)
    assert asyncio.run(searched()) is False
    assert panel.opening.text == f"{LOOKING} ..."


def test_what_takes_long_is_told_once_a_moment_has_passed(panel, monkeypatch):
    monkeypatch.setattr(busy_module, "SOON", 0.0)
    told, heard = [], threading.Event()

    def said(change):
        told.append(change["new"])
        heard.set()

    panel.busy.observe(said, "doing")
    calibrate = fit_module.calibrate
    monkeypatch.setattr(
        fit_module, "calibrate", lambda *a, **k: heard.wait(9) and calibrate(*a, **k)
    )
    cell(panel, 0, "cents", "-30")
    assert told[:2] == [FITTING, ""]
    assert told[2:] in ([], [LOOKING, ""])


def test_what_another_thread_asks_for_is_fitted_where_an_interrupt_reaches_it(
    tmp_path, monkeypatch
):
    monkeypatch.setattr(fit_module, "drawn", lambda _: b"")
    monkeypatch.setattr(fit_module, "suspects_by_steps", nothing_odd)
    calibrate, where = fit_module.calibrate, []

    def noted(*given, **settings):
        where.append(threading.current_thread())
        return calibrate(*given, **settings)

    monkeypatch.setattr(fit_module, "calibrate", noted)

    async def changed():
        panel = fit_panel(*FILES, demo=tmp_path)
        await asyncio.to_thread(cell, panel, 0, "cents", "-30")
        await asyncio.sleep(0)

    asyncio.run(changed())
    assert where == [threading.current_thread()] * 2


def test_what_is_unfolded_is_told_and_told_anew(panel, monkeypatch):
    for words in panel.more.folds:
        assert words.text == ""
        words.unfolded = True
        assert words.text
    assert panel.more.causes.rows
    told = [words.text for words in panel.more.folds]
    cell(panel, 0, "cents", "-60")
    assert panel.more.picture.png == b""
    assert [words.text for words in panel.more.folds][1] != told[1]
    panel.more.wanted.value = "foot"
    panel.more.ask.pressed()
    assert panel.more.next_words.text.startswith("The foot correction: known to ±")
    assert panel.more.plan.rows
    assert Image.open(io.BytesIO(panel.more.picture.png)).width == 1000
    assert "doubt in the foot correction, best first. Now ±" in panel.more.picture.alt
    bars = panel.more.picture.alt.partition(" mm: ")[2].split("; ")
    ax = plot_next_measurement(next_measurement(panel.answer.calibration, of="foot"))
    drawn = [" ".join(tick.get_text().split()) for tick in ax.get_yticklabels()]
    assert [name.partition(" ±")[0] for name in bars] == drawn
    shown, picture = panel.more.next_words.text, panel.more.picture.png
    with monkeypatch.context() as changed:
        changed.setattr(more_module, "next_measurement", interrupted)
        panel.more.ask.pressed()
    assert panel.more.next_words.text == f"{more_module.STOPPED}\n{shown}"
    assert panel.more.picture.png == picture
    panel.more.wanted.value = "coupling"
    panel.more.ask.pressed()
    assert "coupling" in panel.more.next_words.text


def test_files_are_handed_to_the_browser(panel):
    cell(panel, 0, "remark", "a, comma")
    made = [save.make() for save in panel.more.saved]
    assert [name for name, _ in made] == [
        "plain-pipe-300-edited.csv",
        "plain-pipe-300.toml",
        "plain-pipe-300.constants.json",
        "plain-pipe-300-notes.csv",
    ]
    assert b'"a, comma"' in made[0][1]
    assert made[1][1] == FILES[0].read_bytes()


def test_results_are_named_by_what_was_fitted_and_kept_while_the_files_are_not(panel):
    told = []
    constants, notes = panel.more.saved[2:]
    for save in (constants, notes):
        save.send = lambda content, buffers: told.append(content["name"])
    panel.desk.uploads[1].value = uploaded("mine.csv", FILES[1].read_bytes())
    cell(panel, 0, "cents", "+1O")
    assert panel.fault.text.endswith(STAYS)
    for save in (constants, notes):
        save.press()
        assert panel.more.failed.text == UNFITTED
    assert told == []
    cell(panel, 0, "cents", "-30")
    assert panel.more.failed.text == ""
    constants.press()
    notes.press()
    assert told == ["mine.constants.json", "mine-notes.csv"]
    panel.controls["follow"].value = False
    cell(panel, 0, "cents", "-31")
    constants.press()
    assert panel.more.failed.text == UNFITTED


def test_the_call_makes_the_same_result(panel, tmp_path, monkeypatch, capsys):
    cell(panel, 0, "cents", "-33")
    choose(panel, "loss", "held")
    for save in panel.more.saved[:2]:
        name, content = save.make()
        (tmp_path / name).write_bytes(content)
    panel.call.unfolded = True
    monkeypatch.chdir(tmp_path)
    names = {}
    exec(panel.call.text, names)
    first = sentences(panel.answer.calibration, ())[0]
    assert capsys.readouterr().out.startswith(first)
    np.testing.assert_allclose(names["calibration"].value, panel.answer.calibration.value)
