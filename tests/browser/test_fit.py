"""The fitting panel and the panel that looks inside, in a real browser, mostly by keyboard."""

import re

import pytest
from lab import PANEL, PICTURE, check_clean

pytestmark = [pytest.mark.browser, pytest.mark.slow]
WAIT = 60_000  # ms


def settled(page, words):
    """Wait until the panel says so."""
    page.locator(PANEL).get_by_text(words).first.wait_for(timeout=WAIT)


def alert(page):
    return page.locator(f"{PANEL} [role=alert]").filter(has_text=re.compile(r"\S"))


def test_a_journey_with_a_typo_a_wrong_unit_and_a_missing_column(opened):
    page = opened("fit-your-flute")
    settled(page, "No row and no hole stands out.")
    fitted = "14 of 20 rows are fitted"
    settled(page, fitted)
    picture = page.locator(f"{PANEL} .flutelab-picture img")
    shown = picture.get_attribute("src")

    cell = page.locator("[data-cell='1,5']")
    cell.focus()  # a wrong unit
    page.keyboard.press("Control+a")
    page.keyboard.type("78.8")
    page.keyboard.press("Tab")
    alert(page).filter(has_text="Is this Fahrenheit?").wait_for(timeout=WAIT)
    marked = page.locator(f"{PANEL} td [aria-invalid=true]")
    assert marked.count() == 1
    assert "Fahrenheit" in marked.get_attribute("aria-label")
    assert picture.get_attribute("src") == shown  # the last good one
    # focus went on to the next cell, and stays there
    assert page.evaluate("document.activeElement.dataset.cell") == "1,6"

    cell.fill("26.O")  # a typo
    cell.press("Tab")
    alert(page).filter(has_text="26.O").wait_for(timeout=WAIT)
    cell.fill("26.0")
    cell.press("Tab")
    page.wait_for_function(
        "() => !document.querySelector('.flutelab-panel td [aria-invalid=true]')"
    )

    column = page.get_by_label("Column 6 is called")
    cell.focus()
    column.fill("bore_temp")
    column.press("Tab")
    alert(page).filter(has_text="bore_temperature_c or _f").wait_for(timeout=WAIT)
    assert page.locator(f"{PANEL} th.flutelab-wrong").count() == 1
    page.get_by_role("button", name="Delete column bore_temp").press("Enter")
    page.get_by_role("button", name="Delete column humidity_percent").wait_for(timeout=WAIT)
    assert page.locator(f"{PANEL} th.flutelab-wrong").count() == 0
    alert(page).filter(has_text="no temperature anywhere").wait_for(timeout=WAIT)
    page.get_by_label("A column more").select_option("bore_temperature_c")
    page.get_by_label("in every row").fill("26.5")
    page.get_by_label("in every row").press("Tab")
    page.get_by_role("button", name="Add this column").press("Enter")
    page.wait_for_function(
        "() => ![...document.querySelectorAll('.flutelab-panel [role=alert]')]"
        ".some(one => one.textContent.trim())"
    )
    settled(page, fitted)
    check_clean(page)


def test_files_are_uploaded_fitted_and_saved(opened, lab):
    page = opened("fit-your-flute")
    settled(page, "No row and no hole stands out.")
    demo = lab.folder / "data-demo"
    for button, file in (("a flute file", ".toml"), ("a note table", ".csv")):
        with page.expect_file_chooser() as chooser:
            page.get_by_role("button", name=f"Upload {button}").press("Enter")
        chooser.value.set_files(demo / f"half-inch-six{file}")
    settled(page, "22 of 22 rows are fitted")
    settled(page, re.compile(r"Hole 1 \(nearest the window\) acts as if"))

    # a row is taken out by a list, the keyboard alone
    use = page.get_by_label("use, row 6", exact=True)
    use.focus()
    page.keyboard.type("no")
    settled(page, "21 of 22 rows are fitted")
    with page.expect_download() as caught:
        page.get_by_role("button", name="Save the note table (CSV)").press("Enter")
    assert caught.value.suggested_filename == "half-inch-six-edited.csv"
    saved = caught.value.path().read_text(encoding="utf-8").splitlines()
    assert saved[6].startswith("saturday,xooooo,1,A5,-3,25.5,50,usual,no")
    assert saved[5] == (demo / "half-inch-six.csv").read_text().splitlines()[5]
    with page.expect_download() as caught:
        page.get_by_role("button", name="Save constants (JSON)").press("Enter")
    assert caught.value.suggested_filename == "half-inch-six.constants.json"

    hold = page.get_by_label("in the fit, row 3")
    hold.focus()
    page.keyboard.type("held")
    page.wait_for_function(
        "() => [...document.querySelectorAll('.flutelab-grid tr')]"
        ".some(tr => tr.textContent.startsWith('wall') && tr.textContent.includes('1.000'))"
    )
    summary = page.locator("summary", has_text="What does not fit")
    summary.press("Enter")
    settled(page, re.compile("acts as if .* wider than written"))
    page.get_by_role("button", name="What to measure next").press("Enter")
    settled(page, re.compile("The window correction: known to"))
    page.get_by_alt_text("What would be left of the doubt in the window correction").wait_for()
    check_clean(page)


LONG = """
import time
from flutelab.view.panels import fit

def endless(*_, **__):
    while True:
        time.sleep(0.02)

def steps(_):
    while True:
        time.sleep(0.02)
        yield

fit.suspects_by_steps = steps
"""
DO = """async (code) => {
  const kernel = window.jupyterapp.shell.currentWidget.sessionContext.session.kernel;
  await kernel.requestExecute({ code }).done;
}"""
INTERRUPT = "() => window.jupyterapp.commands.execute('kernelmenu:interrupt')"


def test_what_takes_long_is_told_and_stopped(opened):
    page = opened("fit-your-flute")
    settled(page, "No row and no hole stands out.")
    page.evaluate(DO, LONG)
    far = page.get_by_label("Rows that lie far off")
    far.select_option("count less (robust)")
    page.get_by_role("progressbar", name="Looking for mistakes").wait_for(timeout=WAIT)
    # the page is answered meanwhile
    page.get_by_label("Picture", exact=True).select_option(index=2)
    page.get_by_alt_text("Reported corrections").wait_for(timeout=WAIT)
    page.get_by_role("button", name="Stop", exact=True).press("Enter")
    settled(page, "Stopped. Nobody looked for mistakes")
    assert page.evaluate("document.activeElement.textContent") == "Fit now"

    page.evaluate(DO, "fit.calibrate = endless")
    far.select_option("count like the others")  # JupyterLab hands it to another thread
    settled(page, re.compile("s. To stop: menu Kernel, Interrupt Kernel"))
    page.evaluate(INTERRUPT)
    alert(page).filter(has_text="What is shown below is the last good result.").wait_for()
    settled(page, re.compile("rows are fitted"))
    assert page.locator(f"{PANEL} progress:visible").count() == 0
    check_clean(page)


def test_the_look_inside_follows_keys(opened):
    page = opened("inside-the-lattice")
    said = page.locator(f"{PANEL} [role=status]")
    before = said.inner_text()
    assert before.startswith("xxxooo: ")
    sources = [one.get_attribute("src") for one in page.locator(f"{PANEL} {'img'}").all()]
    slider = page.get_by_label("Room, °C, slider")
    slider.focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "old => document.querySelector('.flutelab-panel [role=status]').innerText !== old",
        arg=before,
    )
    assert slider.get_attribute("aria-valuetext") == "22.5 °C"
    page.get_by_role("button", name="Hole 5: open").press("Enter")
    settled(page, re.compile("xxxoxo: "))
    page.get_by_role("button", name="Hole 5: closed").press("Enter")
    settled(page, re.compile("xxxoho: "))
    page.get_by_role("button", name="Hole 5: half covered").press("Enter")
    settled(page, re.compile("xxxooo: "))
    page.get_by_role("button", name="Hole 5: open").press("Enter")
    settled(page, re.compile("xxxoxo: "))
    now = [one.get_attribute("src") for one in page.locator(f"{PANEL} img").all()]
    assert all(a != b for a, b in zip(sources, now, strict=True))
    assert "Standing wave at" in page.locator(f"{PANEL} img").nth(1).get_attribute("alt")
    assert page.locator(PICTURE).count() > 2
    page.get_by_text("Read pressure and flow along the bore as table").press("Enter")
    settled(page, "before hole 4")
    check_clean(page)
