"""Run notebooks in their folder and store them normalised, pictures included.

``python tests/notebook_tools.py notebooks/NAME.ipynb ...`` after a change of a notebook or
of what it shows.
"""

from __future__ import annotations

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from test_notebooks import normalised, stored


def run_and_store(path: Path) -> None:
    """Run every cell in a fresh kernel; a notebook whose cell fails is left as it was."""
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, resources={"metadata": {"path": str(path.parent)}}).execute()
    path.write_text(stored(normalised(notebook)), encoding="utf-8")


if __name__ == "__main__":
    for name in sys.argv[1:]:
        run_and_store(Path(name))
