"""The lesson on hole size in JupyterLab, in a real browser and without a mouse."""

import pytest
from lab import PANEL, WAIT, check_clean

pytestmark = [pytest.mark.browser, pytest.mark.slow]
NAME = "hole-size-and-pitch"
HIDDEN = "Hidden until Reveal is pressed above"
SAYS = """([place, number, words]) => {
  const panel = document.querySelectorAll(place)[number];
  return panel?.querySelector('.flutelab-result p')?.textContent.includes(words);
}"""
AUDIO = """all => all.map(one => ({ seconds: one.duration, paused: one.paused,
  alone: one.autoplay, name: one.getAttribute('aria-label') }))"""
SIZE = "one => fetch(one.src).then(got => got.arrayBuffer()).then(all => all.byteLength)"


def wait_until_says(page, number, words):
    page.wait_for_function(SAYS, arg=[PANEL, number, words], timeout=WAIT * 1000)


def press(page, name):
    page.get_by_role("button", name=name, exact=True).focus()
    page.keyboard.press("Enter")


def shown_words(page):
    """All that can be read, seen or read aloud in the panels."""
    panels = page.locator(PANEL)
    texts = panels.all_inner_texts()
    alts = panels.locator("img").evaluate_all("all => all.map(one => one.alt)")
    return " ".join([*texts, *alts])


def test_a_lesson_from_guess_to_verdict(opened):
    page = opened(NAME)
    panels = page.locator(PANEL)
    wait_until_says(page, 3, HIDDEN)
    assert panels.count() == 4
    assert panels.locator("audio").count() == 0
    closed = shown_words(page)
    assert "666" not in closed
    assert "185 cents" not in closed

    guess, look, _, theory = (panels.nth(number) for number in range(4))
    guess.get_by_label("Who guesses").focus()
    page.keyboard.type("up to 10")
    box = guess.get_by_label("Guesses in the groups' order, cents up")
    box.focus()
    page.keyboard.type("40 120 205")
    page.keyboard.press("Tab")
    slider = look.get_by_label("Hole 1, diameter, mm, slider")
    slider.focus()
    page.keyboard.press("ArrowRight")
    wait_until_says(page, 1, "Hole 1, 4.1 mm, 200 mm from the edge. Hidden")

    press(page, "Reveal")
    wait_until_says(page, 0, "185 cents up: 666.2 Hz. Nearest: group 3, 20 cents away.")
    wait_until_says(page, 1, "Hole 1, 8.0 mm: 666.2 Hz")
    picture = look.locator("img").get_attribute("src")
    slider.focus()
    page.keyboard.press("ArrowRight")
    wait_until_says(page, 1, "Hole 1, 8.1 mm: 667")
    assert look.locator("img").get_attribute("src") != picture
    assert look.locator("svg").count() == 1

    typed = theory.get_by_label("The class's readings of the pipe as set above, Hz")
    typed.focus()
    page.keyboard.type("660 671; flat")
    page.keyboard.press("Tab")
    theory.get_by_text("'flat' is not a reading").wait_for()
    typed.focus()
    page.keyboard.press("Control+A")
    page.keyboard.type("660 671")
    page.keyboard.press("Tab")
    wait_until_says(page, 3, "The 2 readings are on average")
    check_clean(page)


def test_sounds_have_data_and_none_starts_by_itself(opened):
    page = opened(NAME)
    wait_until_says(page, 3, HIDDEN)
    press(page, "Reveal")
    heard = page.locator(PANEL).nth(2).locator("audio")
    page.wait_for_function(
        "place => { const all = document.querySelectorAll(place + ' audio');"
        " return all.length === 4 && [...all].every(one => one.duration > 0); }",
        arg=PANEL,
        timeout=WAIT * 1000,
    )
    found = heard.evaluate_all(AUDIO)
    assert [one["name"] for one in found] == [
        "Before", "After", "Before, then after", "Both together: beats",
    ]  # fmt: skip
    assert all(one["paused"] and not one["alone"] for one in found)
    assert [one["seconds"] for one in found] == pytest.approx([1.2, 1.2, 2.65, 2.5], abs=0.05)
    assert heard.first.evaluate(SIZE) > 20_000
    press(page, "Hide, for new guesses")
    wait_until_says(page, 2, HIDDEN)
    heard.first.wait_for(state="detached", timeout=1000)  # a message after the words
    assert heard.count() == 0
    check_clean(page)
