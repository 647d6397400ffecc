"""The promises of the package's structure, kept by reading its source.

Standard library only; runs under pytest and as ``python3 tests/test_floors.py``, which
also prints what has grown long (a hint, not a failure).
"""

from __future__ import annotations

import ast
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

PACKAGE = "flutelab"
ROOT = Path(__file__).resolve().parent.parent / PACKAGE

# A module imports from lower floors, or from modules to its left on its own floor.
FLOORS: dict[str, tuple[int, tuple[str, ...]]] = {
    "": (0, ("errors", "units", "drills", "pitch")),
    "physics": (
        1,
        (
            "ranges",
            "air",
            "breath",
            "jet",
            "tube",
            "ends",
            "hole",
            "shapes",
            "window",
            "coupling",
            "rules",
        ),
    ),
    "model": (
        2,
        (
            "axes",
            "flute",
            "corrections",
            "rows",
            "bore",
            "chain",
            "open_holes",
            "validity",
            "lattice",
            "roots",
            "modes",
            "spectrum",
            "cutoff",
            "notes",
            "inside",
            "equivalents",
            "warmth",
            "sensitivities",
            "without",
            "octaves",
            "byhand",
            "within",
            "hole_sweep",
        ),
    ),
    "fitting": (
        3,
        (
            "measurements",
            "assign",
            "unknowns",
            "problem",
            "followed",
            "many",
            "phrases",
            "twins",
            "further_note",
            "calibrate",
            "freedom",
            "budget",
            "profiles",
            "progress",
            "resampling",
            "sweep",
            "what_if",
            "possible",
            "flutes",
            "identifiability",
            "uncertainty",
            "information",
            "candidate",
            "candidates",
            "foreseen",
            "next_measurement",
            "mismatch",
            "worth",
            "trimmed",
            "dimensions",
            "causes",
            "search",
            "slips",
            "suspects",
            "straight_line",
            "pipe_lengths",
        ),
    ),
    "making": (4, ("placing", "tolerance", "bench", "voicing", "cautions")),
    "files": (
        5,
        (
            "rounding",
            "size_words",
            "safely",
            "zipped",
            "csv_text",
            "toml_help",
            "toml_section",
            "stated_errors",
            "flute_text",
            "flute_call",
            "flute_file",
            "form",
            "measured",
            "note_columns",
            "note_cells",
            "note_row",
            "note_table",
            "typed",
            "learned",
            "flutes_words",
            "cause_words",
            "mismatch_words",
            "worth_words",
            "uncertainty_words",
            "next_words",
            "suspected",
            "to_mend",
            "constants_file",
            "told",
            "tables",
            "sentences",
            "fit_tables",
            "report",
            "paper_text",
            "archived_results",
            "archive",
            "foretell",
            "options",
            "command_parser",
            "warned",
            "takeaway",
            "look_text",
            "look",
            "why",
            "plan",
            "class_table",
            "class_faults",
            "pipe_lesson",
            "hole_lesson",
            "hole_guess",
            "hole_call",
            "hole_verdict",
            "class_expected",
            "still_facts",
            "spreadsheet",
            "workspace",
        ),
    ),
    "view": (6, ("style", "drawing", "plots", "paper", "sound", "panels")),
}
FACE = (5, 1000)  # flutelab/__init__: the public face, above all of floor 5
COMMANDS = (7, 0)  # flutelab/__main__

# Libraries and the floors that may import them; the standard library is free.
LIBRARIES = {
    "numpy": range(8),
    "scipy": range(8),
    "pandas": range(5, 8),
    "matplotlib": range(6, 7),
    "ipywidgets": range(6, 7),
    "anywidget": range(6, 7),
    "traitlets": range(6, 7),
    "PIL": range(6, 7),
    "IPython": range(6, 7),
    "reportlab": range(6, 7),
}
# Extras that a user may lack: the only imports that may stand inside a function.
EXTRAS = {"ipywidgets", "IPython", "reportlab"}
EDGE = range(5, 8)

# Files are data: nothing read is run, and no import hides in a text.
RUNNING = {"eval", "exec"}
RUNNING_MODULES = {"pickle", "marshal", "shelve", "runpy"}

UNIT_ENDINGS = ("_mm", "_in", "_c", "_f")
UNIT_MODULES = {f"{PACKAGE}.units", f"{PACKAGE}.drills"}
MODULE_LINES, BODY_LINES = 400, 40

FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)


def rank(module: str) -> tuple[int, int] | None:
    """Return (floor, place on it), or None where no place is declared."""
    if module == PACKAGE:
        return FACE
    if module == f"{PACKAGE}.__main__":
        return COMMANDS
    first, _, rest = module.removeprefix(f"{PACKAGE}.").partition(".")
    folder, name = (first, rest.partition(".")[0]) if first in FLOORS else ("", first)
    floor, order = FLOORS[folder]
    if folder and not name:
        return floor, len(order)  # the folder's __init__, right of all its modules
    return (floor, order.index(name)) if name in order else None


def declared_modules() -> set[str]:
    """Return every module name that has a place."""
    names = {PACKAGE, f"{PACKAGE}.__main__"}
    for folder, (_, order) in FLOORS.items():
        prefix = f"{PACKAGE}.{folder}".rstrip(".")
        names |= {prefix, *(f"{prefix}.{name}" for name in order)}
    return names


# --- reading imports -------------------------------------------------------------------


def _absolute(name: str, level: int, module: str, is_package: bool) -> str:
    if level == 0:
        return name
    parts = module.split(".")
    parts = parts[: len(parts) - level + is_package]
    return ".".join([*parts, *([name] if name else [])])


def _import_names(tree: ast.AST) -> tuple[set[str], set[str]]:
    """Return the local names of the importlib module and of its import functions."""
    libraries, functions = {"importlib"}, {"__import__"}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            libraries |= {a.asname for a in node.names if a.name == "importlib" and a.asname}
        elif isinstance(node, ast.ImportFrom) and node.module in ("importlib", "builtins"):
            wanted = ("import_module", "__import__")
            functions |= {a.asname or a.name for a in node.names if a.name in wanted}
    return libraries, functions


def _called_import(node: ast.Call, libraries: set[str], functions: set[str]) -> bool:
    call = node.func
    if isinstance(call, ast.Name):
        return call.id in functions
    if not isinstance(call, ast.Attribute) or call.attr not in ("import_module", "__import__"):
        return False
    return isinstance(call.value, ast.Name) and call.value.id in libraries | {"builtins"}


def _literal(node: ast.Call) -> str | None:
    given = [*node.args[:1], *(k.value for k in node.keywords if k.arg == "name")]
    value = given[0].value if given and isinstance(given[0], ast.Constant) else None
    return value if isinstance(value, str) else None


def imports(
    module: str, source: str, known: set[str], *, is_package: bool = False
) -> Iterator[tuple[int, bool, str | None]]:
    """Yield (line, inside a function, imported module) of every import.

    The module is None where a call computes the name that it imports.
    """
    tree = ast.parse(source)
    libraries, functions = _import_names(tree)
    hidden = {
        id(inner)
        for outer in ast.walk(tree)
        if isinstance(outer, FUNCTIONS)
        for inner in ast.walk(outer)
    }
    for node in ast.walk(tree):
        inside = id(node) in hidden
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, inside, alias.name
        elif isinstance(node, ast.ImportFrom):
            base = _absolute(node.module or "", node.level, module, is_package)
            for alias in node.names:
                full = f"{base}.{alias.name}"
                yield node.lineno, inside, full if full in known else base
        elif isinstance(node, ast.Call) and _called_import(node, libraries, functions):
            name = _literal(node)
            if name is not None:
                level = len(name) - len(name.lstrip("."))
                name = _absolute(name.lstrip("."), level, module, is_package)
            yield node.lineno, inside, name


# --- the rules -------------------------------------------------------------------------


def _share(module: str, target: str) -> bool:
    """Tell whether both lie in one package of a floor, such as view.plots."""
    package, other = (name.split(".")[1:3] for name in (module, target))
    return len(package) == 2 and package == other and target != module


def _import_fault(module: str, inside: bool, target: str | None) -> str | None:
    floor, place = rank(module)
    if target is None:
        return "imports a name that it computes; write it as a plain import"
    top = target.partition(".")[0]
    if top in RUNNING_MODULES:
        return f"imports {top}, which runs what it reads"
    if inside and not (top in EXTRAS and floor in EDGE):
        return f"hides the import of {target} inside a function"
    if top == PACKAGE:
        other = rank(target)
        if other is None:
            return f"imports {target}, which has no declared place"
        # the modules of a package in a package share a place: rings among them are found apart
        if other > (floor, place) or (other == (floor, place) and not _share(module, target)):
            return f"imports {target}, which is not below it or to its left"
    elif top in LIBRARIES:
        if floor not in LIBRARIES[top]:
            return f"imports {top}, which does not belong on floor {floor}"
    elif top not in sys.stdlib_module_names:
        return f"imports {top}, which is not a library of this package"
    return None


def _public(name: str) -> bool:
    return not name.startswith("_")


def _arguments(function: ast.FunctionDef) -> Iterator[str]:
    given = function.args
    for argument in (*given.posonlyargs, *given.args, *given.kwonlyargs):
        yield argument.arg
    yield from (extra.arg for extra in (given.vararg, given.kwarg) if extra)


def public_names(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Yield (line, name) of public names, attributes, methods and their parameters."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            special = node.name.startswith("__") and node.name.endswith("__")
            if _public(node.name) or special:
                yield node.lineno, node.name
                yield from ((node.lineno, name) for name in _arguments(node) if _public(name))
            for inner in ast.walk(node):
                if isinstance(inner, ast.Attribute) and isinstance(inner.ctx, ast.Store):
                    yield inner.lineno, inner.attr
        elif isinstance(node, ast.ClassDef):
            if _public(node.name):
                yield node.lineno, node.name
                yield from public_names(node)
        elif isinstance(node, ast.Lambda):
            continue
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.lineno, node.id
        elif isinstance(node, (ast.Import, ast.ImportFrom)):
            yield from ((node.lineno, a.asname) for a in node.names if a.asname)
        else:
            yield from public_names(node)


def faults_of_source(
    module: str, source: str, known: set[str], *, is_package: bool = False
) -> list[str]:
    """Return every broken promise of one module, each with its line."""
    place = rank(module)
    if place is None:
        return [f"{module}: has no declared place; give it one in FLOORS"]
    faults = []
    for line, inside, target in imports(module, source, known, is_package=is_package):
        fault = _import_fault(module, inside, target)
        if fault:
            faults.append(f"{module}:{line}: {fault}")
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and node.id in RUNNING:
            faults.append(f"{module}:{node.lineno}: {node.id} runs a text as code")
    if place < (5, 0) and module not in UNIT_MODULES:
        for line, name in public_names(tree):
            if _public(name) and name.lower().endswith(UNIT_ENDINGS):
                faults.append(f"{module}:{line}: {name} carries a unit; SI inside, no suffix")
    return list(dict.fromkeys(faults))


def find_ring(graph: dict[str, set[str]]) -> list[str]:
    """Return the modules of a ring of imports, or an empty list."""
    done: set[str] = set()

    def walk(module: str, path: list[str]) -> list[str]:
        if module in path:
            return [*path[path.index(module) :], module]
        if module in done:
            return []
        for target in sorted(graph.get(module, ())):
            ring = walk(target, [*path, module])
            if ring:
                return ring
        done.add(module)
        return []

    return next((ring for ring in (walk(module, []) for module in sorted(graph)) if ring), [])


def read_package(root: Path) -> dict[str, tuple[str, bool]]:
    """Return module name -> (source, is a folder's __init__)."""
    package = {}
    for path in sorted(root.rglob("*.py")):
        parts = [PACKAGE, *path.relative_to(root).with_suffix("").parts]
        is_package = parts[-1] == "__init__"
        name = ".".join(parts[:-1] if is_package else parts)
        package[name] = (path.read_text(encoding="utf-8"), is_package)
    return package


def import_graph(package: dict[str, tuple[str, bool]]) -> dict[str, set[str]]:
    """Return module -> modules of the package that it imports."""
    known = set(package)
    return {
        name: {
            target
            for _, _, target in imports(name, source, known, is_package=is_package)
            if target in known
        }
        for name, (source, is_package) in package.items()
    }


def faults_of_package(root: Path) -> list[str]:
    """Return every broken promise of a package folder."""
    package = read_package(root)
    faults = [
        fault
        for name, (source, is_package) in package.items()
        for fault in faults_of_source(name, source, set(package), is_package=is_package)
    ]
    ring = find_ring(import_graph(package))
    return faults + ([f"a ring of imports: {' -> '.join(ring)}"] if ring else [])


def grown_long(module: str, source: str) -> list[str]:
    """Return hints about a long module and long function bodies (docstrings not counted)."""
    length = len(source.splitlines())
    hints = [f"{module}: {length} lines"] if length > MODULE_LINES else []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            body = node.body[1:] if ast.get_docstring(node) is not None else node.body
            lines = node.end_lineno - body[0].lineno + 1 if body else 0
            if lines > BODY_LINES:
                hints.append(f"{module}:{node.lineno}: {node.name} has a body of {lines} lines")
    return hints


# --- tests: the package keeps the promises ---------------------------------------------


def test_package_keeps_its_promises():
    faults = faults_of_package(ROOT)
    assert not faults, "\n" + "\n".join(faults)


def test_reading_the_package_sees_its_imports():
    graph = import_graph(read_package(ROOT))
    assert f"{PACKAGE}.model.flute" in graph[f"{PACKAGE}.model.rows"]
    assert sum(map(len, graph.values())) >= 5


# --- tests: a broken promise is seen ---------------------------------------------------

LOWER, UPPER = f"{PACKAGE}.physics.hole", f"{PACKAGE}.model.lattice"

OFFENCES = {
    "import upwards": (LOWER, "import flutelab.model.rows", "not below"),
    "import upwards with another name": (LOWER, "import flutelab.files.safely as s", "not below"),
    "second name of one import": (LOWER, "import math, flutelab.view.plots", "not below"),
    "from a module upwards": (LOWER, "from flutelab.model.rows import Rows", "not below"),
    "from a folder upwards": (LOWER, "from flutelab.model import rows", "rows, which is not below"),
    "from the public face": (LOWER, "from flutelab import moist_air", "flutelab, which is not"),
    "relative, one dot": (LOWER, "from .rules import x", "rules, which is not below"),
    "relative, one dot, module": (LOWER, "from . import window", "window, which is not below"),
    "relative, two dots": (LOWER, "from ..model.rows import Rows", "rows, which is not below"),
    "relative, two dots, folder": (LOWER, "from .. import view", "view, which is not below"),
    "star": (LOWER, "from flutelab.model.rows import *", "not below"),
    "to the right on its own floor": (UPPER, "from flutelab.model import notes", "not below"),
    "itself": (UPPER, "import flutelab.model.lattice", "not below"),
    "its own folder": (UPPER, "import flutelab.model", "not below"),
    "import_module": (
        LOWER,
        "import importlib\nimportlib.import_module('flutelab.model.rows')",
        "rows, which is not below",
    ),
    "import_module by keyword": (
        LOWER,
        "import importlib\nimportlib.import_module(name='flutelab.model.rows')",
        "rows, which is not below",
    ),
    "import_module under other names": (
        LOWER,
        "from importlib import import_module as fetch\nfetch('flutelab.model.rows')",
        "rows, which is not below",
    ),
    "importlib under another name": (
        LOWER,
        "import importlib as il\nil.import_module('flutelab.model.rows')",
        "rows, which is not below",
    ),
    "import_module, relative": (
        LOWER,
        "import importlib\nimportlib.import_module('..model.rows', __package__)",
        "flutelab.model.rows, which is not below",
    ),
    "__import__": (LOWER, "__import__('flutelab.model.rows')", "rows, which is not below"),
    "builtins.__import__": (
        LOWER,
        "import builtins\nbuiltins.__import__('flutelab.model.rows')",
        "rows, which is not below",
    ),
    "a computed name": (LOWER, "__import__('flutelab.' + 'view')", "computes"),
    "under a condition": (
        LOWER,
        "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import flutelab.model.rows",
        "not below",
    ),
    "inside try": (LOWER, "try:\n    import flutelab.model.rows\nexcept E:\n    pass", "not below"),
    "hidden in a function": (UPPER, "def f():\n    from flutelab.physics import air", "hides"),
    "hidden in a method": (UPPER, "class A:\n    def f(self):\n        import math", "hides"),
    "hidden in a lambda": (UPPER, "f = lambda: __import__('math')", "hides"),
    "hidden in an async function": (UPPER, "async def f():\n    import numpy", "hides"),
    "an extra, hidden too deep": (UPPER, "def f():\n    import ipywidgets", "hides"),
    "pandas below floor 5": (f"{PACKAGE}.making.bench", "import pandas as pd", "floor 4"),
    "matplotlib below floor 6": (
        f"{PACKAGE}.files.tables",
        "from matplotlib import pyplot",
        "floor 5",
    ),
    "matplotlib above floor 6": (f"{PACKAGE}.__main__", "import matplotlib.pyplot", "floor 7"),
    "ipywidgets below floor 6": (f"{PACKAGE}.files.tables", "import ipywidgets", "floor 5"),
    "ipywidgets above floor 6": (f"{PACKAGE}.__main__", "import ipywidgets", "floor 7"),
    "the face and pictures": (PACKAGE, "from flutelab.view import plots", "not below"),
    "the face and commands": (PACKAGE, "from flutelab import __main__", "not below"),
    "an unknown library": (UPPER, "import some_other_library", "not a library"),
    "a module without a place": (UPPER, "import flutelab.physics.nowhere", "no declared place"),
    "being without a place": (f"{PACKAGE}.physics.nowhere", "", "no declared place"),
    "exec": (UPPER, "exec('import flutelab.view')", "runs a text"),
    "eval under another name": (UPPER, "run = eval", "runs a text"),
    "pickle": (f"{PACKAGE}.files.tables", "import pickle", "runs what it reads"),
    "a name with a unit": (UPPER, "WALL_MM = 2", "WALL_MM carries"),
    "unpacked names with a unit": (UPPER, "a, width_in = 1, 2", "width_in carries"),
    "a loop's name with a unit": (UPPER, "for x_mm in ():\n    pass", "x_mm carries"),
    "a function with a unit": (UPPER, "def wall_mm():\n    pass", "wall_mm carries"),
    "a parameter with a unit": (UPPER, "def f(room_c):\n    pass", "room_c carries"),
    "a keyword with a unit": (UPPER, "def f(*, room_f=70):\n    pass", "room_f carries"),
    "a positional one": (UPPER, "def f(bore_in, /):\n    pass", "bore_in carries"),
    "more arguments": (UPPER, "def f(*all_mm):\n    pass", "all_mm carries"),
    "a record's field": (UPPER, "class A:\n    bore_in: float = 1", "bore_in carries"),
    "a record's field, no default": (UPPER, "class A:\n    wall_mm: float", "wall_mm carries"),
    "a method's parameter": (UPPER, "class A:\n    def f(self, t_c):\n        pass", "t_c carries"),
    "a constructor's parameter": (
        UPPER,
        "class A:\n    def __init__(self, t_c):\n        pass",
        "t_c carries",
    ),
    "an attribute": (
        UPPER,
        "class A:\n    def __init__(self):\n        self.t_c = 1",
        "t_c carries",
    ),
    "an imported name with a unit": (UPPER, "from math import pi as pi_mm", "pi_mm carries"),
}

ALLOWED = {
    "downwards": (UPPER, "from flutelab.physics.air import Air"),
    "a lower folder's module": (UPPER, "from flutelab.physics import air, tube"),
    "to the left": (UPPER, "from flutelab.model import flute, rows"),
    "relative to the left": (UPPER, "from .rows import Rows\nfrom ..physics import air"),
    "import_module downwards": (
        UPPER,
        "import importlib\nimportlib.import_module('flutelab.physics.air')",
    ),
    "standard library": (LOWER, "import math\nfrom collections.abc import Iterable"),
    "pandas on floor 5": (f"{PACKAGE}.files.tables", "import pandas as pd"),
    "pictures on floor 6": (f"{PACKAGE}.view.plots", "import matplotlib.pyplot as plt"),
    "an extra at the edge": (f"{PACKAGE}.view.plots", "def f():\n    import ipywidgets"),
    "the face": (PACKAGE, "from flutelab.files import tables\nfrom flutelab.physics import air"),
    "commands": (f"{PACKAGE}.__main__", "import flutelab\nfrom flutelab.view import plots"),
    "units converts": (f"{PACKAGE}.units", "def from_mm(length_mm):\n    return length_mm / 1000"),
    "surface units": (f"{PACKAGE}.files.tables", "def f(wall_mm):\n    return wall_mm"),
    "private and local names": (
        UPPER,
        "_wall_mm = 1\nclass _A:\n    t_c = 1\ndef _f(t_c):\n    pass\ndef f():\n    x_mm = 1",
    ),
    "endings that only look alike": (UPPER, "def f(within, basic, sd_cents, relief):\n    pass"),
}


def test_each_offence_is_caught():
    for title, (module, source, expected) in OFFENCES.items():
        faults = faults_of_source(module, source, declared_modules())
        assert any(expected in fault for fault in faults), f"{title}: {faults}"


def test_allowed_sources_pass():
    for title, (module, source) in ALLOWED.items():
        faults = faults_of_source(module, source, declared_modules())
        assert not faults, f"{title}: {faults}"


def test_relative_import_in_a_folders_init_is_resolved_from_that_folder():
    source = "from .rows import Rows\nfrom ..files import tables"
    faults = faults_of_source(f"{PACKAGE}.model", source, declared_modules(), is_package=True)
    assert len(faults) == 1
    assert "flutelab.files.tables, which is not below" in faults[0]


def test_ring_is_found():
    assert find_ring({"a": {"b"}, "b": {"c"}, "c": {"b"}}) == ["b", "c", "b"]
    assert find_ring({"a": {"a"}}) == ["a", "a"]
    assert find_ring({"a": {"b", "c"}, "b": {"c"}, "c": set()}) == []


def test_offending_package_on_disk_is_caught():
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for name, source in {
            "__init__": "",
            "physics/__init__": "",
            "physics/air": "from flutelab.physics import tube",
            "physics/tube": "from .air import x",
            "physics/stray": "",
        }.items():
            path = root / f"{name}.py"
            path.parent.mkdir(exist_ok=True)
            path.write_text(source, encoding="utf-8")
        faults = "\n".join(faults_of_package(root))
    assert "physics.air:1: imports flutelab.physics.tube" in faults
    assert "physics.stray: has no declared place" in faults
    assert "ring of imports: flutelab.physics.air -> flutelab.physics.tube" in faults


def test_long_module_and_long_body_are_reported():
    body = "    x = 1\n" * (BODY_LINES + 1)
    long = f'def f():\n    """Do."""\n{body}' + "y = 2\n" * MODULE_LINES
    hints = grown_long("m", long)
    assert len(hints) == 2
    assert f"body of {BODY_LINES + 1} lines" in hints[1]
    assert not grown_long("m", 'def f():\n    """Do."""\n' + "    x = 1\n" * BODY_LINES)


def main() -> int:
    """Run the tests without pytest and print what has grown long."""
    failed = 0
    for name, test in sorted(globals().items()):
        if name.startswith("test_"):
            try:
                test()
            except AssertionError as error:
                failed += 1
                print(f"FAILED {name}: {error}")
    for name, (source, _) in read_package(ROOT).items():
        for hint in grown_long(name, source):
            print(f"long: {hint}")
    print("floors: failed" if failed else "floors: passed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
