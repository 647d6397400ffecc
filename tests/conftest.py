"""Settings of every test: reproducible random cases, no windows, tools that must be there in CI."""

import os
import shutil
from importlib.util import find_spec
from pathlib import Path

# small systems of equations: threads only hold one another up, and the other test process.
# Before numpy is imported; the test processes inherit it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import hypothesis
import matplotlib
import pytest

from flutelab import __main__ as command

TESTS = Path(__file__).parent

hypothesis.settings.register_profile(
    "flutelab", derandomize=True, deadline=None, max_examples=50, print_blob=False
)
hypothesis.settings.load_profile("flutelab")
matplotlib.use("Agg")


def pytest_ignore_collect(collection_path: Path) -> bool | None:
    """Leave out helper modules and scripts beside the tests: doctest would import them."""
    inside = collection_path.is_relative_to(TESTS) and collection_path.suffix == ".py"
    return True if inside and not collection_path.name.startswith("test_") else None


@pytest.fixture(scope="session")
def find_tool():
    """Return a function that finds an outside program or a Python package, or ends the test.

    Without it a test is skipped on a user's machine and fails where CI=true.
    """

    def find(*names: str) -> str:
        for name in names:
            if path := shutil.which(name):
                return path
            if find_spec(name):
                return name
        message = f"needs one of these programs or packages: {', '.join(names)}"
        if os.environ.get("CI") == "true":
            pytest.fail(message)
        # a user need not have it; continuous checks must, see above
        return pytest.skip(message)

    return find


@pytest.fixture
def run(capsys):
    """Return a function that runs a command: (exit code, output, errors), no traceback."""

    def runner(*arguments):
        try:
            code = command.main([str(a) for a in arguments])
        except SystemExit as end:  # argparse
            code = end.code
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        return code, out, err

    return runner
