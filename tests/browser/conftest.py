"""One server and one browser for all tests of a file; a screenshot is kept of what fails."""

import os
from pathlib import Path

import lab as labs
import pytest

FAILED = pytest.StashKey[bool]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    report = yield
    if report.when == "call":
        item.stash[FAILED] = report.failed
    return report


@pytest.fixture(scope="module")
def browser(find_tool):
    """A browser without a window; without it or playwright skipped, or failed where CI=true."""
    path = find_tool("chromium", "chromium-browser", "google-chrome")
    find_tool("playwright")
    with labs.browser_of(path) as found:
        yield found


@pytest.fixture(scope="module")
def lab(browser, tmp_path_factory):
    """JupyterLab on a private copy of notebooks and demo data."""
    folder = labs.copied(tmp_path_factory.mktemp("flutes"))
    with labs.served(folder, tmp_path_factory.mktemp("private")) as running:
        yield running


@pytest.fixture
def opened(browser, lab, request, tmp_path):
    """Return a function that opens a notebook: (name, size) to a page, run already.

    ``FLUTELAB_SCREENSHOTS`` names a folder that keeps a screenshot of every panel.
    """
    pages = []

    def opener(name, size=(1280, 800), run=True):
        page = labs.opened(browser, lab, name, size)
        pages.append((page, name))
        if run:
            labs.run_all(page)
        return page

    yield opener
    for page, name in pages:
        if request.node.stash.get(FAILED, False):
            kept = tmp_path / f"{name}-failed.png"
            page.screenshot(path=kept)
            print(f"a screenshot of what failed: {kept}")
        if folder := os.environ.get("FLUTELAB_SCREENSHOTS"):
            labs.keep_screenshots(page, Path(folder), name)
        page.close()
