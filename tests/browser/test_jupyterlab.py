"""The notebooks in JupyterLab, in a real browser: run all cells and look at what appears."""

import pytest
from lab import ERROR, PICTURE, check_clean, run_all

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def check_pictures(page, count: int) -> None:
    """No error, and as many pictures as there should be, wide enough to read."""
    assert page.locator(ERROR).count() == 0, page.locator(ERROR).all_inner_texts()
    assert page.locator(PICTURE).count() == count
    widths = page.locator(PICTURE).evaluate_all("all => all.map(img => img.naturalWidth)")
    assert min(widths) > 600


def test_fit_your_flute_runs_twice_and_shows_its_pictures(opened, lab):
    page = opened("fit-your-flute", run=False)
    result = lab.folder / "notebooks" / "my-results" / "half-inch-six.constants.json"
    for _ in range(2):  # the second time its result is there already
        run_all(page)
        check_pictures(page, 6)
        assert result.is_file()
    said = page.locator(".jp-OutputArea-output pre").all_inner_texts()
    assert any("fingering 'xxxoo' has 5 letters" in text for text in said)
    check_clean(page)


@pytest.mark.parametrize(
    ("name", "count"), [("inside-the-lattice", 9), ("inside-a-computed-pipe", 5)]
)
def test_a_page_against_finite_elements_runs_and_shows_its_pictures(opened, name, count):
    page = opened(name)
    check_pictures(page, count)
    said = page.locator(".jp-OutputArea-output pre").all_inner_texts()
    assert any("cents_off" in text for text in said)
    check_clean(page)
