"""A folder of the user's own, with the notebooks and the demo data beside each other."""

from __future__ import annotations

import json
import os
import re
import sys
from pathlib import Path
from typing import NoReturn

from flutelab.errors import DataError, Fault
from flutelab.files.safely import read_bytes, write_all

FOLDERS = ("notebooks", "data-demo")
START = "notebooks/start-here.ipynb"
_COMMAND = "flutelab open"
_FOR_CLASS = {
    "@jupyterlab/docmanager-extension:plugin": {"autosave": False},
    "@jupyterlab/apputils-extension:themes": {
        "theme": "JupyterLab Light",
        "overrides": {"content-font-size1": "18px", "code-font-size": "16px"},
    },
}
_LEFT_OUT = {"__pycache__", ".ipynb_checkpoints", "my-results"}


def find_clone() -> Path:
    """Return the folder of the clone that this package runs from.

    Raises
    ------
    DataError
        The package was installed without a clone: notebooks and demo data are not
        part of the installed library.
    """
    clone = Path(__file__).resolve().parents[2]
    missing = [name for name in FOLDERS if not (clone / name).is_dir()]
    if missing:
        _refuse(
            " and ".join(missing),
            "not found, because flutelab was installed without its clone",
            "Get the whole project, as a clone or an unpacked ZIP, and run the set-up line of "
            "its README.md in it",
        )
    return clone


def default_folder() -> Path:
    """Return "My flutes" in the user's documents folder.

    The documents folder is ``XDG_DOCUMENTS_DIR``, from the environment or from the
    desktop's list of user folders, else ``Documents`` in the home folder, else the
    home folder itself.
    """
    home = Path.home()
    named = os.environ.get("XDG_DOCUMENTS_DIR"), _desktop_documents(home), home / "Documents"
    existing = (Path(folder) for folder in named if folder and Path(folder).is_dir())
    return next(existing, home) / "My flutes"


def prepare_workspace(clone: Path, folder: Path) -> list[Path]:
    """Copy notebooks and demo data into a folder, never over a file that is there.

    Parameters
    ----------
    clone : Path
        A folder that holds ``notebooks`` and ``data-demo``.
    folder : Path
        The user's folder; made if it does not exist.

    Returns
    -------
    list of Path
        The files copied, relative to `folder`; empty when all were there.

    Raises
    ------
    DataError
        The folder lies inside the clone, a file is in the way of a folder, or the
        system refuses to write. No file is copied then.
    """
    clone, folder = clone.resolve(), folder.expanduser().resolve()
    if folder != clone and folder.is_relative_to(clone):
        _refuse(folder, "lies inside the clone of flutelab", "Choose a folder of your own")
    new = [path for path in _files(clone) if not os.path.lexists(folder / path)]
    _make_folders({folder, *((folder / path).parent for path in new)})
    write_all({folder / path: read_bytes(clone / path) for path in new})
    return new


def lab_command(folder: Path) -> list[str]:
    """Return the command that opens a folder's start page in JupyterLab, with the running Python.

    One document fills the window; nothing is asked of the network.
    """
    return [
        *(sys.executable, "-m", "jupyterlab"),
        f"--ServerApp.root_dir={folder.resolve()}",
        f"--LabApp.default_url=/doc/tree/{START}",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.news_url=None",
        "--LabApp.extension_manager=readonly",
    ]


def lab_environment(settings: Path, *, for_class: bool = False) -> dict[str, str]:
    """Write JupyterLab's settings into an empty folder; return the environment that finds them.

    Parameters
    ----------
    settings : Path
    for_class : bool
        Larger letters for a projector, and nothing is saved by itself, so that what a class
        tries leaves the pages as they were.
    """
    chosen = {"@jupyterlab/apputils-extension:notification": {"fetchNews": "false"}}
    if for_class:
        chosen |= _FOR_CLASS
    file = settings / "labconfig" / "default_setting_overrides.json"
    file.parent.mkdir(parents=True)
    file.write_text(json.dumps(chosen), encoding="utf-8")
    path = os.pathsep.join(filter(None, (str(settings), os.environ.get("JUPYTER_CONFIG_PATH"))))
    return os.environ | {"JUPYTER_CONFIG_PATH": path}


def _desktop_documents(home: Path) -> Path | None:
    """Read the documents folder from the desktop's list of user folders (xdg-user-dirs)."""
    config = Path(os.environ.get("XDG_CONFIG_HOME") or home / ".config")
    try:
        text = (config / "user-dirs.dirs").read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return None
    found = re.search(r'^\s*XDG_DOCUMENTS_DIR="(.+)"\s*$', text, re.MULTILINE)
    return Path(found[1].replace("$HOME", str(home))) if found else None


def _files(clone: Path) -> list[Path]:
    """Return the files to copy, relative to the clone."""
    found = (path for name in FOLDERS for path in sorted((clone / name).rglob("*")))
    inside = (path.relative_to(clone) for path in found if path.is_file())
    return [path for path in inside if not _LEFT_OUT.intersection(path.parts)]


def _make_folders(folders: set[Path]) -> None:
    for folder in sorted(folders):
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except (FileExistsError, NotADirectoryError):
            _refuse(
                folder,
                "a file is in the way of this folder",
                "Rename the file, or choose another folder",
            )
        except OSError as error:
            _refuse(
                folder,
                f"the folder cannot be made: {error.strerror}",
                "Choose a folder that you may write to",
            )


def _refuse(place: str | Path, problem: str, mend: str) -> NoReturn:
    raise DataError(_COMMAND, [Fault(place=str(place), problem=problem, mend=mend)])
