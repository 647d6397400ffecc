"""How soon a panel answers, in a real browser: ``python tests/benchmarks/panels.py``.

From a key press on a slider to changed pixels: median and 90th percentile of 20; a burst of 40
keys until the last answer; beside it the same figure saved anew with savefig, as a panel
without a kept background would have to. Then ``flutelab open --class`` in an empty folder until
the first slider answers. Numbers of one run; compare within it.
"""

from __future__ import annotations

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
# Waits for keys on the panel's first slider; resolves to the milliseconds from the last of them
# to the last change of pixels: another picture (decoded), drawing or sentence.
WATCH = """([panel, keys]) => {
  let last = '';
  const shown = () => {
    const img = panel.querySelector('.flutelab-picture img');
    const drawing = panel.querySelector('.flutelab-picture svg');
    const words = panel.querySelector('.flutelab-result');
    if (img && !img.complete) return last; // not decoded yet
    return [img?.src, drawing?.outerHTML, words?.innerText].join('|');
  };
  const slider = panel.querySelector('input[type=range]');
  let heard = 0, key = 0, changed = 0;
  last = shown();
  slider.focus();
  slider.addEventListener('keydown', () => { heard += 1; key = performance.now(); });
  window.settled = new Promise((resolve) => {
    const look = () => {
      const now = shown();
      if (now !== last) [last, changed] = [now, performance.now()];
      const waited = performance.now() - Math.max(key, changed);
      if (heard >= keys && changed > key && (keys === 1 || waited > 400)) resolve(changed - key);
      else if (heard >= keys && waited > 5000) resolve(NaN);
      else requestAnimationFrame(look);
    };
    look();
  });
}"""


def pressed(page, panel, keys: int, key: str) -> float:
    """Milliseconds from the last of some key presses to the last change of pixels."""
    page.evaluate(WATCH, [panel.element_handle(), keys])
    for _ in range(keys):
        page.keyboard.press(key)
    return page.evaluate("window.settled")


def of_panel(page, panel) -> str:
    """The figures of one panel as a line."""
    keys = ["ArrowRight" if n % 2 else "ArrowLeft" for n in range(KEYS + 4)]
    times = sorted(t for t in [pressed(page, panel, 1, key) for key in keys][4:] if t == t)
    if not times:
        return "the first slider changes nothing that is seen"
    middle, high = statistics.median(times), times[int(0.9 * len(times))]
    burst = pressed(page, panel, BURST, "ArrowLeft")
    return f"key {middle:4.0f} ms, 90 % {high:4.0f} ms; {BURST} keys settle in {burst:4.0f} ms"


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
            page.get_by_text("Run", exact=True).first.click()
            page.get_by_text("Run All Cells", exact=True).first.click()
            page.locator(f"{labs.PANEL} input[type=range]").first.wait_for(timeout=60_000)
            pressed(page, page.locator(labs.PANEL).first, 1, "ArrowRight")
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
                labs.fill(page, name)
                for number, panel in enumerate(page.locator(labs.PANEL).all(), 1):
                    if panel.locator("input[type=range]").count():
                        print(f"{name}, panel {number}: {of_panel(page, panel)}", flush=True)
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
