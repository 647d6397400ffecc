"""The maker's two pages in JupyterLab, in a real browser: measure, calibrate, cut, take away."""

import json
import tomllib
from pathlib import Path

import pytest
from lab import PANEL, WAIT, check_clean

from flutelab import read_constants, read_flute

pytestmark = [pytest.mark.browser, pytest.mark.slow]
RESULT = f"{PANEL} .flutelab-result p"


def wait_for_words(page, words, place=RESULT):
    page.wait_for_function(
        "([place, words]) => [...document.querySelectorAll(place)]"
        ".some(one => one.textContent.includes(words))",
        arg=[place, words],
        timeout=WAIT * 1000,
    )


def download(page, name) -> tuple[Path, str]:
    """Press a button by keyboard, and return the file that comes, and its name."""
    with page.expect_download() as coming:
        page.get_by_role("button", name=name).focus()
        page.keyboard.press("Enter")
    return Path(coming.value.path()), coming.value.suggested_filename


def upload(page, name, file):
    with page.expect_file_chooser() as coming:
        page.get_by_role("button", name=name).click()
    coming.value.set_files(file)


def test_a_flute_is_measured_without_a_mouse_and_saved(opened):
    page = opened("measure-your-flute")
    wait_for_words(page, "(17 of 18)")
    page.get_by_label("Name of the flute").focus()
    page.keyboard.type("Mine")
    slider = page.get_by_label("Finger holes, slider")
    slider.focus()
    for _ in range(5):
        page.keyboard.press("ArrowLeft")
    wait_for_words(page, "(7 of 8)")
    page.get_by_label("A: bore, inside diameter, mm").focus()
    for text in ("15.4", "2.8", '1/4"', "8 mm", "", "300", "200", "#7"):
        page.keyboard.type(text)
        page.keyboard.press("Tab")
    wait_for_words(page, "Complete: Mine, 1 hole, 300.00 mm to the foot.")
    assert page.get_by_text("5.11 mm = 0.201 in; drills #7, 5.1 mm (-0.01 mm)").is_visible()
    page.keyboard.press("Shift+Tab")  # back to the last box
    seen = page.evaluate(
        """() => {
          const box = document.activeElement.getBoundingClientRect();
          const drawing = document.querySelector('.flutelab-stays svg').getBoundingClientRect();
          return [drawing.top >= 0, drawing.bottom <= innerHeight, drawing.right < box.left];
        }"""
    )
    assert seen == [True] * 3  # the drawing stays in sight, and covers no box
    path, name = download(page, "Save the flute file (TOML)")
    assert name == "mine.toml"
    assert tomllib.loads(path.read_text())["window"]["along"] == 6.35
    assert read_flute(path).holes[0].diameter == pytest.approx(0.0051054, abs=1e-12)
    sheet, name = download(page, "Print a blank measuring sheet (PDF)")
    assert (name, sheet.read_bytes()[:4]) == ("measuring-sheet.pdf", b"%PDF")
    check_clean(page)


def test_a_file_is_uploaded_to_the_form_and_a_fault_stands_at_its_box(opened, lab):
    page = opened("measure-your-flute")
    upload(page, "Upload a flute file", lab.folder / "data-demo" / "tapered-wood-six.toml")
    wait_for_words(page, "Complete: Tapered wooden six-hole")
    wait_for_words(page, "hole 6: an undercut", f"{PANEL} .flutelab-words p")
    page.get_by_label("Places of holes count from").select_option(label="the foot")
    place = page.get_by_label("H1: foot to centre of hole 1, mm")
    place.wait_for()
    place.fill("20")
    page.keyboard.press("Tab")
    wait_for_words(page, "To mend: H2")
    assert page.get_by_label("H2: foot to centre").get_attribute("aria-invalid") == "true"
    check_clean(page)


def test_constants_are_made_of_uploaded_files_cut_and_taken_away(opened, lab):
    page = opened("constants-to-take-away")
    wait_for_words(page, "As it is, 358.00 mm")
    slider = page.get_by_label("Sounding edge to foot, mm, slider")
    slider.focus()
    page.keyboard.press("ArrowLeft")
    wait_for_words(page, "Cut to 357.50 mm: xxxxx")
    wait_for_words(page, "cannot be mended", f"{PANEL} .flutelab-words p")
    page.get_by_label("Sounding edge to foot, mm", exact=True).fill("34 cm")
    page.keyboard.press("Enter")
    wait_for_words(page, "Cut to 340.00 mm: xxxxx")
    page.locator(PANEL).get_by_text("My own files").click()
    for what, ending in (("a flute file", "toml"), ("its note table", "csv")):
        upload(page, f"Upload {what}", lab.folder / "data-demo" / f"plain-pipe-220.{ending}")
    wait_for_words(page, "As it is, 220.00 mm to the foot: bare")
    path, name = download(page, "Save the constants (JSON)")
    assert name == "plain-pipe-220-mm.constants.json"
    assert read_constants(path).document == json.loads(path.read_text())
    table, _ = download(page, "Save the constants as a table (CSV)")
    assert table.read_text().startswith("flute,correction,where,by_formula_mm,")
    check_clean(page)
