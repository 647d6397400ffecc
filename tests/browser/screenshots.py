"""Renew the screenshots in the docs and on the start page: ``python tests/browser/screenshots.py``.

Every panel of every notebook as it stands after a run, 1280 pixels wide, in docs/pictures/panels/,
and once more after the button that fills or reveals it (`lab.FILLED_BY`); the top of the first,
made smaller, in notebooks/pictures/ for the start page. Look at each.
"""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
from pathlib import Path

import lab as labs
from PIL import Image

DOCS = labs.ROOT / "docs" / "pictures" / "panels"
START = labs.ROOT / "notebooks" / "pictures"
COLOURS, THUMB = 128, 640


def store(png: bytes, path: Path, thumb: int | None = None) -> None:
    """Store a picture with a palette; as a thumb so wide, its top alone."""
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    if thumb:
        top = min(picture.height, round(0.75 * picture.width))
        size = (thumb, round(top * thumb / picture.width))
        picture = picture.crop((0, 0, picture.width, top)).resize(size, Image.Resampling.LANCZOS)
    path.parent.mkdir(parents=True, exist_ok=True)
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)


def shoot(page, name: str) -> None:
    """Store every panel of an open notebook that has run, and after its button was pressed."""
    shoot_panels(page, name, thumb=True)
    if not page.locator(labs.PANEL).count() and page.locator(labs.PICTURE).count():
        store(page.locator(labs.PICTURE).first.screenshot(), START / f"{name}.png", THUMB)
    if labs.fill(page, name):
        page.wait_for_timeout(1000)
        shoot_panels(page, f"{name}-after")


def shoot_panels(page, name: str, *, thumb: bool = False) -> None:
    for number, panel in enumerate(page.locator(labs.PANEL).all(), 1):
        panel.scroll_into_view_if_needed()
        page.wait_for_timeout(300)  # until pictures are decoded
        png = panel.screenshot()
        store(png, DOCS / f"{name}-{number}.png")
        if thumb and number == 1:
            store(png, START / f"{name}.png", THUMB)


def main() -> None:
    path = shutil.which("chromium") or sys.exit("needs chromium")
    with tempfile.TemporaryDirectory() as held, labs.browser_of(path) as browser:
        folder, private = labs.copied(Path(held) / "flutes"), Path(held) / "private"
        private.mkdir()
        wanted = sys.argv[1:] or sorted(p.stem for p in (labs.ROOT / "notebooks").glob("*.ipynb"))
        with labs.served(folder, private) as lab:
            for name in wanted:
                page = labs.opened(browser, lab, name, (1280, 3000))
                labs.run_all(page)
                page.wait_for_timeout(1000)
                shoot(page, name)
                page.close()


if __name__ == "__main__":
    main()
