"""Limits on the notebooks' files: thin code, normalised outputs, pictures kept.

Run as a script with the notebooks' names, it stores them in the normalised form.
"""

from __future__ import annotations

import ast
import json
import re
import sys
from pathlib import Path

import nbformat
import pytest

FOLDER = Path(__file__).resolve().parent.parent / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
CODE_LINES, CELL_LINES, CHECKED_TABLES = 40, 8, 2
CHECK = "nbval-check-output"
LANGUAGE = {"name": "python"}
KERNEL = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}
WIDGETS = "application/vnd.jupyter.widget-view+json"
TOO_LONG = re.compile(r"\d\.\d{6,}")
TOO_HEAVY = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda, ast.For, ast.While)
TOO_HEAVY += (ast.ListComp, ast.SetComp, ast.DictComp, ast.GeneratorExp)


def code_cells(notebook: dict) -> list[dict]:
    return [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]


def code_lines(cell: dict) -> int:
    return sum(bool(line.strip()) for line in "".join(cell["source"]).splitlines())


def texts(output: dict) -> str:
    return "".join(output.get("text", output.get("data", {}).get("text/plain", "")))


def tags(cell: dict) -> list[str]:
    return cell.get("metadata", {}).get("tags", [])


def normalised(notebook: dict) -> dict:
    """Return the notebook without anything that a rerun changes or a reader does not see."""
    result = json.loads(json.dumps(notebook))
    result["metadata"] = {"kernelspec": KERNEL, "language_info": LANGUAGE}
    result["nbformat"], result["nbformat_minor"] = 4, 5
    run = 0
    for number, cell in enumerate(result["cells"], 1):
        cell["id"] = f"cell-{number}"
        kept = {"tags": tags(cell)} if tags(cell) else {}
        if "jupyter" in cell["metadata"]:
            kept["jupyter"] = cell["metadata"]["jupyter"]
        cell["metadata"] = kept
        if cell["cell_type"] != "code":
            continue
        # nbval takes a cell with outputs but no number for one that never ran
        run += 1
        cell["execution_count"] = run
        for output in cell["outputs"]:
            if "execution_count" in output:
                output["execution_count"] = run
            if "metadata" in output:
                output["metadata"] = {}
            output.get("data", {}).pop(WIDGETS, None)
    return result


def stored(notebook: dict) -> str:
    """Return the text of a notebook's file."""
    return json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def faults(notebook: dict) -> list[str]:
    """Return every limit that a notebook breaks."""
    cells = code_cells(notebook)
    found = [f"more than {CODE_LINES} lines of code"] * (sum(map(code_lines, cells)) > CODE_LINES)
    for number, cell in enumerate(cells, 1):
        where = f"code cell {number}:"
        tree = ast.parse("".join(cell["source"]))
        if code_lines(cell) > CELL_LINES:
            found.append(f"{where} more than {CELL_LINES} lines")
        found += [
            f"{where} {type(node).__name__} belongs in the package"
            for node in ast.walk(tree)
            if isinstance(node, TOO_HEAVY)
        ]
        found += [f"{where} {fault}" for fault in _output_faults(cell)]
    checked = [cell for cell in cells if CHECK in tags(cell)]
    if len(checked) < CHECKED_TABLES:
        found.append(f"fewer than {CHECKED_TABLES} cells with a compared output")
    if notebook["cells"] and notebook["cells"][0]["cell_type"] != "markdown":
        found.append("does not open with its purpose")
    return found


def _output_faults(cell: dict) -> list[str]:
    outputs = cell["outputs"]
    found = ["an error output" for output in outputs if output["output_type"] == "error"]
    found += ["output on stderr" for output in outputs if output.get("name") == "stderr"]
    if CHECK in tags(cell):
        said = "".join(map(texts, outputs))
        if not said.strip():
            found.append("nothing to compare in a compared output")
        if TOO_LONG.search(said):
            found.append("more digits than 4 or 5 significant in a compared output")
    return found


def test_there_are_notebooks():
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_is_valid_thin_and_normalised(path):
    text = path.read_text(encoding="utf-8")
    notebook = json.loads(text)
    nbformat.validate(notebook)
    assert faults(notebook) == []
    assert text == stored(normalised(notebook)), "store it with tests/test_notebooks.py NAME"


def _notebook(*cells, intro=True):
    opening = [{"cell_type": "markdown", "metadata": {}, "source": "# Purpose"}] * intro
    return {"cells": [*opening, *cells], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}


def _cell(source, *, output="a table", tagged=True, kind="stream"):
    said = {"output_type": kind, "name": "stdout", "text": output}
    metadata = {"tags": [CHECK]} if tagged else {}
    return {"cell_type": "code", "metadata": metadata, "source": source, "outputs": [said]}


GOOD = _cell("print(1)")
BROKEN = {
    "more than 40": _notebook(*[_cell("a = 1\n" * 7)] * 6),
    "more than 8": _notebook(GOOD, _cell("a = 1\n" * 9)),
    "FunctionDef": _notebook(GOOD, _cell("def f():\n    pass")),
    "Lambda": _notebook(GOOD, _cell("f = lambda: 1")),
    "For": _notebook(GOOD, _cell("for x in y:\n    pass")),
    "ListComp": _notebook(GOOD, _cell("[x for x in y]")),
    "While": _notebook(GOOD, _cell("while x:\n    pass")),
    "ClassDef": _notebook(GOOD, _cell("class A:\n    pass")),
    "error output": _notebook(GOOD, _cell("x", kind="error")),
    "nothing to compare": _notebook(GOOD, _cell("x", output=" ")),
    "more digits": _notebook(GOOD, _cell("x", output="440.1234567")),
    "fewer than 2": _notebook(GOOD, _cell("x", tagged=False)),
    "purpose": _notebook(GOOD, GOOD, intro=False),
}


@pytest.mark.parametrize("expected", BROKEN)
def test_broken_limit_is_seen(expected):
    assert any(expected in fault for fault in faults(BROKEN[expected]))


def test_good_notebook_passes():
    assert faults(_notebook(GOOD, GOOD)) == []


def test_normalising_removes_what_a_rerun_changes():
    cell = _cell("x")
    cell |= {"execution_count": 7, "id": "abc", "metadata": {"execution": {"start": "now"}}}
    picture = {"image/png": "aaaa", "text/plain": "a picture", WIDGETS: {"model_id": "1"}}
    cell["outputs"] = [{"output_type": "display_data", "data": picture, "metadata": {"x": 1}}]
    notebook = _notebook(cell)
    notebook["metadata"] = {"widgets": {"state": 1}, "language_info": {"version": "3.11.7"}}
    result = normalised(notebook)
    text = stored(result)
    for gone in ("start", "abc", "model_id", "state", "3.11.7", "7"):
        assert gone not in text
    assert "aaaa" in text
    assert normalised(result) == result


if __name__ == "__main__":
    for name in sys.argv[1:]:
        given = json.loads(Path(name).read_text(encoding="utf-8"))
        Path(name).write_text(stored(normalised(given)), encoding="utf-8")
