"""Run notebooks in their folder and store them normalised, pictures included.

``python tests/notebook_tools.py notebooks/NAME.ipynb ...`` after a change of a notebook or
of what it shows.
"""

from __future__ import annotations

import base64
import io
import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from PIL import Image
from test_notebooks import normalised, stored

COLOURS = 64  # of a stored picture: a third of the bytes, no difference to the eye


def lighter(picture: str) -> str:
    """Return a PNG picture (base64) with a palette."""
    drawn = Image.open(io.BytesIO(base64.b64decode(picture))).convert("RGB")
    stored_as = io.BytesIO()
    drawn.quantize(COLOURS, dither=Image.Dither.NONE).save(stored_as, "PNG", optimize=True)
    return base64.b64encode(stored_as.getvalue()).decode()


def lighten(notebook) -> None:
    """Store every picture of a notebook with a palette."""
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            if "image/png" in output.get("data", {}):
                output.data["image/png"] = lighter(output.data["image/png"])


def run_and_store(path: Path) -> None:
    """Run every cell in a fresh kernel; a notebook whose cell fails is left as it was."""
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, resources={"metadata": {"path": str(path.parent)}}).execute()
    lighten(notebook)
    path.write_text(stored(normalised(notebook)), encoding="utf-8")


if __name__ == "__main__":
    for name in sys.argv[1:]:
        run_and_store(Path(name))
