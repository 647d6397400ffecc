"""How soon a panel answers, in a real browser: ``python tests/benchmarks/panels.py``.

From a key press on each slider to the frame with the last change: median and 90th percentile of
20 keys, each to a value that was not there before; what comes later than 300 ms after that is not
waited for. A burst of 40 keys until the last answer; beside it a figure saved anew with savefig,
as a panel without a kept background would have to. Then ``flutelab open --class`` in an empty
folder until the first slider answers. Numbers of one run; compare within it.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "browser")]

labs = import_module("lab")  # of tests/browser, on the path by the line above

KEYS, BURST = 20, 40
LESSON = "hole-size-and-pitch"
ADDRESS = re.compile(r"(http://(?:localhost|127\.0\.0\.1):\d+)/\S*token=(\w+)")
# Waits for keys on one of the panel's sliders; resolves to the milliseconds from the last of them
# to the frame with the last change of pixels: another picture (decoded), drawing or sentence.
# It looks at nothing meanwhile: to read a page in every frame takes longer than to answer.
WATCH = """([panel, number, keys]) => {
  const slider = panel.querySelectorAll('input[type=range]')[number];
  let heard = 0, key = 0, changed = 0;
  const drawn = () => requestAnimationFrame(() => { changed = performance.now(); });
  const told = (changes) => {
    for (const { target } of changes) {
      if (target.tagName === 'IMG') target.decode().then(drawn, drawn);
      else drawn();
    }
  };
  const observer = new MutationObserver(told);
  for (const part of panel.querySelectorAll('.flutelab-picture, .flutelab-result'))
    observer.observe(part, {
      subtree: true, childList: true, characterData: true, attributes: true,
      attributeFilter: ['src'],
    });
  slider.focus();
  const listen = () => { heard += 1; key = performance.now(); };
  slider.addEventListener('keydown', listen);
  window.settled = new Promise((resolve) => {
    const look = () => {
      const waited = performance.now() - Math.max(key, changed);
      if (heard < keys || waited < (changed > key ? 300 : 3000)) return setTimeout(look, 100);
      observer.disconnect();
      slider.removeEventListener('keydown', listen);
      resolve(changed > key ? changed - key : NaN);
    };
    look();
  });
}"""


def pressed(page, panel, number: int, keys: int, key: str) -> float:
    """Milliseconds from the last of some key presses to the last change of pixels."""
    page.evaluate(WATCH, [panel.element_handle(), number, keys])
    for _ in range(keys):
        page.keyboard.press(key)
    return page.evaluate("window.settled")


def of_slider(page, panel, number: int) -> str:
    """The figures of one slider of a panel as a line."""
    slider = panel.locator("input[type=range]").nth(number)
    low, high, now = (float(slider.evaluate(f"one => one.{k}")) for k in ("min", "max", "value"))
    away, back = (
        ("ArrowLeft", "ArrowRight") if 2 * now > low + high else ("ArrowRight", "ArrowLeft")
    )
    times = [pressed(page, panel, number, 1, away) for _ in range(KEYS + 2)][2:]
    times = [t for t in times if t == t]
    if len(times) < 2:
        return "changes nothing that is seen"
    middle, ninth = statistics.median(times), statistics.quantiles(times, n=10)[-1]
    burst = pressed(page, panel, number, BURST, back)
    return (
        f"key {middle:3.0f} ms, 90 % {ninth:3.0f} ms ({len(times)} of {KEYS} keys change what is "
        f"seen); {BURST} keys settle in {burst:3.0f} ms"
    )


def saved_anew() -> float:
    """Milliseconds to make the lattice panel's picture without a kept background."""
    from flutelab import read_flute
    from flutelab.view.panels import lattice_panel

    panel = lattice_panel(read_flute(ROOT / "data-demo" / "half-inch-six.toml"))
    live = panel.views[0].draw
    figure = live.figure
    times = []
    for _ in range(5):
        begin = time.perf_counter()
        figure.savefig(io.BytesIO(), format="png", dpi=100)
        times.append(1000 * (time.perf_counter() - begin))
    return statistics.median(times)


def run_until_seen(page, slider) -> None:
    """Run all cells, as often as it takes: too early there is no kernel that hears it."""
    for _ in range(6):
        if page.locator("dialog").count():  # which kernel? the one that is offered
            page.keyboard.press("Enter")
        page.get_by_text("Run", exact=True).first.click()
        page.get_by_text("Run All Cells", exact=True).first.click()
        with contextlib.suppress(Exception):  # the timeout; the last wait tells
            return slider.wait_for(timeout=10_000)
    return slider.wait_for()


def cold_start(browser) -> float:
    """Seconds from `flutelab open --class` in an empty folder to a slider that answers."""
    with tempfile.TemporaryDirectory() as folder:
        begin = time.perf_counter()
        command = [sys.executable, "-m", "flutelab", "open", "--class", f"{folder}/mine"]
        config = Path(folder) / "config"  # a sandbox's user may be root, which a user is not
        config.mkdir()
        (config / "jupyter_server_config.json").write_text('{"ServerApp": {"allow_root": true}}')
        environment = os.environ | {"JUPYTER_CONFIG_PATH": str(config)}
        environment["BROWSER"] = "true"  # a program that does nothing
        server = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=environment
        )
        try:
            found = next(filter(None, map(ADDRESS.search, server.stderr)))
            page = browser.new_page(viewport={"width": 1280, "height": 800})
            page.goto(f"{found[1]}/doc/tree/notebooks/{LESSON}.ipynb?token={found[2]}")
            page.locator(".jp-Notebook").wait_for(timeout=60_000)
            run_until_seen(page, page.locator(f"{labs.PANEL} input[type=range]").first)
            pressed(page, page.locator(labs.PANEL).first, 0, 1, "ArrowRight")
            return time.perf_counter() - begin
        finally:
            server.terminate()
            server.wait(timeout=20)


def every_panel(browser) -> None:
    """Print the figures of every panel with a slider."""
    with tempfile.TemporaryDirectory() as held:
        folder, private = labs.copied(Path(held) / "flutes"), Path(held) / "private"
        private.mkdir()
        with labs.served(folder, private) as lab:
            for name in sorted(path.stem for path in (ROOT / "notebooks").glob("*.ipynb")):
                page = labs.opened(browser, lab, name)
                labs.run_all(page)
                for number, panel in enumerate(page.locator(labs.PANEL).all(), 1):
                    button = labs.FILLED_BY.get(name, "")  # "Reveal" is there while it is hidden
                    if button and page.get_by_role("button", name=button, exact=True).count():
                        labs.fill(page, name)
                    for which, slider in enumerate(panel.locator("input[type=range]").all()):
                        what = f"{name}, panel {number}, {slider.get_attribute('aria-label')}"
                        print(f"{what}: {of_slider(page, panel, which)}", flush=True)
                page.close()


def main() -> None:
    path = shutil.which("chromium") or sys.exit("needs chromium")
    with labs.browser_of(path) as browser:
        every_panel(browser)
        print(f"the lattice panel's figure saved anew with savefig: {saved_anew():.0f} ms")
        print(
            f"flutelab open --class to the first slider that answers: {cold_start(browser):.1f} s"
        )


if __name__ == "__main__":
    main()
