"""JupyterLab served from a private copy of the notebooks, and chromium to look at it."""

from __future__ import annotations

import os
import re
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent
WAIT = 120  # seconds, for a slow machine
PICTURE = ".jp-OutputArea-output img"
PANEL = ".flutelab-panel"
ERROR = (
    "[data-mime-type='application/vnd.jupyter.error'], .jp-OutputArea [data-mime-type$='stderr']"
)
CLEAR = "() => window.jupyterapp.commands.execute('notebook:clear-all-cell-outputs')"
RUN_ALL = "() => window.jupyterapp.commands.execute('notebook:run-all-cells')"
IDLE = """() => {
  const panel = window.jupyterapp?.shell.currentWidget;
  return panel?.sessionContext?.session?.kernel?.status === 'idle';
}"""
RUN = """() => window.jupyterapp.shell.currentWidget.content.widgets
  .every((cell) => cell.model.type !== 'code' || cell.model.executionCount)"""
FILLED_BY = {  # notebook: its button
    "hole-size-and-pitch": "Reveal",
    "pipe-length-and-pitch": "Fill in the demo's rows (invented)",
}


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


class Lab:
    """A running server: ``folder`` that it serves, and the address of a notebook's page."""

    def __init__(self, folder: Path, address: str, token: str) -> None:
        self.folder, self._address, self._token = folder, address, token

    def address(self, name: str) -> str:
        return f"{self._address}/doc/tree/notebooks/{name}.ipynb?token={self._token}&reset"


@contextmanager
def served(folder: Path, private: Path) -> Iterator[Lab]:
    """Serve a folder with settings of its own."""
    token, port, log = secrets.token_hex(16), free_port(), private / "log"
    settings = private / "settings"
    overrides = settings / "labconfig" / "default_setting_overrides.json"
    overrides.parent.mkdir(parents=True)
    overrides.write_text(
        '{"@jupyterlab/apputils-extension:notification": {"fetchNews": "false"},'
        ' "@jupyterlab/docmanager-extension:plugin": {"autosave": false},'
        ' "@jupyterlab/notebook-extension:tracker": {"windowingMode": "none"}}'
    )
    own = ("DATA_DIR", "RUNTIME_DIR")
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
        yield Lab(folder, address, token)
    finally:
        server.terminate()
        try:
            server.wait(timeout=20)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


@contextmanager
def browser_of(path: str) -> Iterator:
    """Chromium without a window."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser
        browser.close()


def copied(folder: Path) -> Path:
    """A user's folder, with notebooks and demo data side by side."""
    for part in ("notebooks", "data-demo"):
        shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("my-results"))
    return folder


def complaints_of(page) -> list[str]:
    """Return a list that fills with the page's errors."""
    complaints = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on(
        "console",
        lambda said: complaints.append(said.text) if said.type == "error" else None,
    )
    return complaints


def opened(browser, lab: Lab, name: str, size: tuple[int, int] = (1280, 800)):
    """A notebook's page with its kernel at rest; ``page.complaints`` fills with errors."""
    page = browser.new_page(viewport={"width": size[0], "height": size[1]})
    page.complaints = complaints_of(page)
    page.goto(lab.address(name))
    page.wait_for_function(IDLE, timeout=WAIT * 1000)
    return page


def run_all(page) -> None:
    """Empty the notebook's outputs, run it, and wait until every cell has run."""
    page.evaluate(CLEAR)
    assert page.locator(PICTURE).count() == 0
    page.evaluate(RUN_ALL)
    page.wait_for_function(RUN, timeout=WAIT * 1000)
    page.wait_for_function(IDLE, timeout=WAIT * 1000)


def fill(page, name: str) -> bool:
    """Press the button that fills or reveals a notebook's panels; False if it has none."""
    if name not in FILLED_BY:
        return False
    page.get_by_role("button", name=FILLED_BY[name], exact=True).click()
    page.wait_for_timeout(500)  # until the panels have been told
    page.wait_for_function(IDLE, timeout=WAIT * 1000)
    return True


def unfold(panel) -> None:
    """Open every folded part of a panel."""
    panel.evaluate("panel => panel.querySelectorAll('details').forEach(one => one.open = true)")


def check_clean(page) -> None:
    """No error in any cell, none in the console."""
    assert page.locator(ERROR).count() == 0, page.locator(ERROR).all_inner_texts()
    assert page.complaints == []


def keep_screenshots(page, folder: Path, name: str) -> None:
    """Keep what each picture's cell and each panel looks like, for a person to see."""
    folder.mkdir(parents=True, exist_ok=True)
    for kind, places in (("picture", page.locator(PICTURE)), ("panel", page.locator(PANEL))):
        for number in range(places.count()):
            places.nth(number).scroll_into_view_if_needed()
            safe = re.sub(r"\W+", "-", name)
            page.screenshot(path=folder / f"{safe}-{kind}-{number + 1}.png")
