"""Every panel of every notebook, as somebody meets it who has no mouse, reads it aloud, or
stands at the back of the room."""

import pytest
import seen
from lab import PANEL, ROOT, check_clean, fill, unfold

pytestmark = [pytest.mark.browser, pytest.mark.slow]

NOTEBOOKS = sorted(path.stem for path in (ROOT / "notebooks").glob("*.ipynb"))
SIZES = [(1280, 800), (1024, 768), (1920, 1080)]
FOCUS = """el => { const style = getComputedStyle(el);
  return style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2; }"""


def faults_of(panel, *, closely: bool) -> list[str]:
    faults = seen.overflowing(panel)
    if closely:
        faults += seen.small_texts(panel) + seen.nameless(panel)
        faults += seen.out_of_order(panel) + seen.small_targets(panel)
    return faults


def faults_at_every_size(page) -> dict[str, list[str]]:
    found = {}
    for size in SIZES:
        page.set_viewport_size(dict(zip(("width", "height"), size, strict=True)))
        page.wait_for_timeout(300)  # until the page has been laid out anew
        for number, panel in enumerate(page.locator(PANEL).all(), 1):
            if faults := faults_of(panel, closely=size == SIZES[0]):
                found[f"panel {number} at {size[0]} x {size[1]}"] = faults
    return found


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_panels_of_a_notebook(opened, name):
    page = opened(name)
    check_clean(page)
    assert faults_at_every_size(page) == {}
    filled = fill(page, name)  # hidden or empty before
    for panel in page.locator(PANEL).all():
        unfold(panel)
    page.wait_for_timeout(1500)  # until tables and calls are there
    assert faults_at_every_size(page) == {}, f"filled: {filled}, unfolded"
    check_clean(page)


@pytest.mark.parametrize("name", NOTEBOOKS)
def test_a_slider_answers_the_keyboard_and_its_focus_is_seen(opened, name):
    page = opened(name)
    panels = page.locator(PANEL)
    for number in range(panels.count()):
        panel = panels.nth(number)
        slider = panel.locator("input[type=range]").first
        if not slider.count():
            continue
        slider.focus()
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Tab")
        assert slider.evaluate("el => el === document.activeElement")
        assert slider.evaluate(FOCUS)
        before, said = slider.input_value(), panel.locator(".flutelab-result").first
        words = said.inner_text()
        page.keyboard.press("ArrowLeft" if before == slider.get_attribute("max") else "ArrowRight")
        assert slider.input_value() != before
        page.wait_for_function(
            "([el, words]) => el.innerText !== words", arg=[said.element_handle(), words]
        )
    check_clean(page)
