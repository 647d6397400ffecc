"""The lesson on pipe length and pitch in JupyterLab, in a real browser, mostly without a mouse."""

import io
import zipfile

import pytest
from lab import PANEL, WAIT, check_clean

from flutelab.files.class_table import class_file

pytestmark = [pytest.mark.browser, pytest.mark.slow]
NAME = "pipe-length-and-pitch"
RESULT = f"{PANEL} .flutelab-result p"
ALERTS = f"{PANEL} .flutelab-alert p"


def wait_for_words(page, place, words):
    page.wait_for_function(
        "([place, words]) => [...document.querySelectorAll(place)]"
        ".some(one => one.textContent.includes(words))",
        arg=[place, words],
        timeout=WAIT * 1000,
    )


def press(page, name):
    page.get_by_role("button", name=name).focus()
    page.keyboard.press("Enter")


def test_a_table_is_typed_without_a_mouse_and_a_slider_moves(opened):
    page = opened(NAME)
    panel = page.locator(PANEL)
    wait_for_words(page, RESULT, "No pipe yet")
    panel.get_by_label("Length, mm, row 1").focus()
    for length, reading in (("180", "901"), ("30 cm", "553,5"), ("420", "G4 +20")):
        for text in (length, "21", reading, reading, reading):
            page.keyboard.type(text)
            page.keyboard.press("Tab")
        page.keyboard.press("Tab")  # past the next group's name
    wait_for_words(page, RESULT, "3 groups: slope")
    said = panel.locator(".flutelab-result p").inner_text()
    picture = panel.locator("img").get_attribute("src")
    slider = panel.get_by_label("If thermometers read low by, °C, slider")
    slider.focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "([place, said]) => document.querySelector(place).textContent !== said",
        arg=[RESULT, said],
    )
    assert slider.get_attribute("aria-valuetext") == "3.0 °C"
    assert panel.locator("img").get_attribute("src") != picture
    panel.get_by_label("Length, mm, row 2").fill("30 x")
    page.keyboard.press("Tab")
    wait_for_words(page, ALERTS, "Row 2, length: '30 x'")
    wait_for_words(page, RESULT, "2 groups")
    cell = panel.locator("[data-cell='1,1']")
    assert cell.get_attribute("aria-invalid") == "true"
    assert cell.input_value() == "30 x"
    check_clean(page)


@pytest.mark.parametrize("size", [(1280, 800), (1024, 768)])
def test_the_table_stands_beside_the_graph(opened, size):
    page = opened(NAME)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    wait_for_words(page, RESULT, "No pipe yet")
    page.locator("[data-cell='6,1']").scroll_into_view_if_needed()
    page.wait_for_timeout(500)
    table = page.locator(f"{PANEL} .flutelab-grid table").first.bounding_box()
    picture = page.locator(f"{PANEL} img").bounding_box()
    scroll = page.locator(f"{PANEL} .flutelab-scroll").first.bounding_box()
    assert table["width"] <= scroll["width"] + 1  # nothing is cut off
    assert table["x"] + table["width"] <= picture["x"]
    assert abs(table["y"] - picture["y"]) < 60
    check_clean(page)


def test_demo_save_and_open_again(opened, tmp_path):
    page = opened(NAME)
    wait_for_words(page, RESULT, "No pipe yet")
    press(page, "Fill in the demo's rows (invented)")
    wait_for_words(page, RESULT, "Group 3 is 23 cents flat")
    files = {}
    for name in ("Save the table as typed (CSV)", "Save flute files and note tables (zip)"):
        with page.expect_download() as download:
            press(page, name)
        place = tmp_path / download.value.suggested_filename
        download.value.save_as(place)
        files[place.suffix] = place
    assert len(class_file(files[".csv"].read_bytes(), "x.csv").rows) == 7
    assert len(zipfile.ZipFile(io.BytesIO(files[".zip"].read_bytes())).namelist()) == 14
    press(page, "Empty the table")
    wait_for_words(page, RESULT, "No pipe yet")
    with page.expect_file_chooser() as chooser:
        press(page, "Open a table (CSV) (0)")
    chooser.value.set_files(files[".csv"])
    wait_for_words(page, RESULT, "Group 3 is 23 cents flat")
    check_clean(page)
