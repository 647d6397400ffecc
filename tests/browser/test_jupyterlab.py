"""The notebooks in JupyterLab, in a real browser: run all cells and look at what appears."""

import importlib.util
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
WAIT = 120  # seconds, for a slow machine
PICTURE = ".jp-OutputArea-output img"
ERROR = (
    "[data-mime-type='application/vnd.jupyter.error'], .jp-OutputArea [data-mime-type$='stderr']"
)
CLEAR = "() => window.jupyterapp.commands.execute('notebook:clear-all-cell-outputs')"
RUN_ALL = "() => window.jupyterapp.commands.execute('notebook:run-all-cells')"
IDLE = """() => {
  const panel = window.jupyterapp.shell.currentWidget;
  return panel?.sessionContext?.session?.kernel?.status === 'idle';
}"""

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return listener.getsockname()[1]


def wait_for(address: str, server: subprocess.Popen, log: Path) -> None:
    """Wait until a server answers; stop with its log if it ends before."""
    deadline = time.monotonic() + WAIT
    while time.monotonic() < deadline:
        if server.poll() is not None:
            pytest.fail(f"JupyterLab ended:\n{log.read_text()[-2000:]}")
        try:
            with urllib.request.urlopen(address, timeout=5):
                return
        except OSError:
            time.sleep(0.2)
    pytest.fail(f"JupyterLab does not answer:\n{log.read_text()[-2000:]}")


@contextmanager
def jupyterlab(folder: Path, private: Path, name: str):
    """Serve a folder with settings of its own; give the address of a notebook's page."""
    token, port, log = secrets.token_hex(16), free_port(), private / "log"
    settings = private / "settings"
    overrides = settings / "labconfig" / "default_setting_overrides.json"
    overrides.parent.mkdir(parents=True)
    overrides.write_text(
        '{"@jupyterlab/apputils-extension:notification": {"fetchNews": "false"},'
        ' "@jupyterlab/docmanager-extension:plugin": {"autosave": false},'
        ' "@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"}}'
    )
    own = ("CONFIG_DIR", "DATA_DIR", "RUNTIME_DIR")
    environment = os.environ | {f"JUPYTER_{name}": str(private / name) for name in own}
    environment |= {"JUPYTER_CONFIG_DIR": str(settings), "IPYTHONDIR": str(private / "ipython")}
    command = [
        sys.executable, "-m", "jupyterlab", "--no-browser", "--expose-app-in-browser",
        "--allow-root", f"--ServerApp.root_dir={folder}", f"--ServerApp.port={port}",
        "--ServerApp.ip=127.0.0.1", f"--IdentityProvider.token={token}",
    ]  # fmt: skip
    with log.open("w") as file:
        server = subprocess.Popen(
            command, env=environment, stdout=file, stderr=file, start_new_session=True
        )
    try:
        address = f"http://127.0.0.1:{port}"
        wait_for(f"{address}/api?token={token}", server, log)
        yield f"{address}/doc/tree/notebooks/{name}.ipynb?token={token}&reset"
    finally:
        server.terminate()
        try:
            server.wait(timeout=20)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


@pytest.fixture
def chromium(find_tool):
    """A browser without a window; without it or playwright skipped, or failed where CI=true."""
    path = find_tool("chromium", "chromium-browser", "google-chrome")
    if importlib.util.find_spec("playwright") is None:
        message = "needs playwright: pip install -e '.[browser]'"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        # an extra that a user need not have; continuous checks fail above instead
        pytest.skip(message)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()


def run_all(page) -> None:
    """Empty the notebook's outputs, run it, and wait until the kernel rests."""
    page.evaluate(CLEAR)
    assert page.locator(PICTURE).count() == 0
    page.evaluate(RUN_ALL)
    page.wait_for_function(IDLE, timeout=WAIT * 1000)


def complaints_of(page) -> list[str]:
    """Return a list that fills with the page's errors."""
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on(
        "console",
        lambda said: complaints.append(said.text) if said.type == "error" else None,
    )
    return complaints


@contextmanager
def opened(chromium, tmp_path, name):
    """The notebook in a page, its folder, and a list that fills with the page's errors."""
    folder = tmp_path / "flutes"
    for part in ("notebooks", "data-demo"):
        shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("my-results"))
    page = chromium.new_page(viewport={"width": 1300, "height": 1000})
    complaints = complaints_of(page)
    with jupyterlab(folder, tmp_path, name) as address:
        page.goto(address)
        page.wait_for_function("() => window.jupyterapp !== undefined", timeout=WAIT * 1000)
        page.wait_for_function(IDLE, timeout=WAIT * 1000)
        yield page, folder, complaints
        if kept := os.environ.get("FLUTELAB_SCREENSHOTS"):
            keep_screenshots(page, Path(kept), name)
        page.close()


def check_pictures(page, count: int) -> None:
    """No error, and as many pictures as there should be, wide enough to read."""
    assert page.locator(ERROR).count() == 0, page.locator(ERROR).all_inner_texts()
    assert page.locator(PICTURE).count() == count
    widths = page.locator(PICTURE).evaluate_all("all => all.map(img => img.naturalWidth)")
    assert min(widths) > 600


def test_fit_your_flute_runs_twice_and_shows_its_pictures(chromium, tmp_path):
    with opened(chromium, tmp_path, "fit-your-flute") as (page, folder, complaints):
        result = folder / "notebooks" / "my-results" / "half-inch-six.constants.json"
        for _ in range(2):  # the second time its result is there already
            run_all(page)
            check_pictures(page, 5)
            assert result.is_file()
        said = page.locator(".jp-OutputArea-output pre").all_inner_texts()
    assert any("fingering 'xxxoo' has 5 letters" in text for text in said)
    assert complaints == []


def test_inside_the_lattice_runs_and_shows_its_pictures(chromium, tmp_path):
    with opened(chromium, tmp_path, "inside-the-lattice") as (page, _, complaints):
        run_all(page)
        check_pictures(page, 14)
        said = page.locator(".jp-OutputArea-output pre").all_inner_texts()
    assert any("cents_off" in text for text in said)
    assert complaints == []


def keep_screenshots(page, folder: Path, name: str) -> None:
    """Keep what each picture's cell looks like, for a person to see."""
    folder.mkdir(parents=True, exist_ok=True)
    pictures = page.locator(PICTURE)
    for number in range(pictures.count()):
        pictures.nth(number).scroll_into_view_if_needed()
        page.screenshot(path=folder / f"{name}-{number + 1}.png")
