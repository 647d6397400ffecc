"""The user's own folder: copied into, never over."""

import subprocess
import sys
from pathlib import Path

import pytest

from flutelab.errors import DataError
from flutelab.files import workspace
from flutelab.files.workspace import default_folder, find_clone, lab_command, prepare_workspace


@pytest.fixture
def clone(tmp_path):
    """Return a small clone with what must and what must not be copied."""
    root = tmp_path / "clone"
    for name in (
        "notebooks/fit.ipynb",
        "notebooks/.ipynb_checkpoints/fit-checkpoint.ipynb",
        "data-demo/pipe.toml",
        "data-demo/truth/pipe.json",
        "data-demo/__pycache__/make.pyc",
        "docs/model.md",
    ):
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(name.encode() + b"\r\n\xff")
    return root


@pytest.fixture
def home(tmp_path, monkeypatch):
    """Return an empty home folder with no desktop settings."""
    folder = tmp_path / "home"
    folder.mkdir()
    monkeypatch.setattr(Path, "home", lambda: folder)
    monkeypatch.delenv("XDG_DOCUMENTS_DIR", raising=False)
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    return folder


def everything_in(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def test_notebooks_and_data_are_copied_side_by_side(clone, tmp_path):
    folder = tmp_path / "Documents" / "My flutes"
    copied = prepare_workspace(clone, folder)
    expected = ["data-demo/pipe.toml", "data-demo/truth/pipe.json", "notebooks/fit.ipynb"]
    assert sorted(path.as_posix() for path in copied) == expected
    assert everything_in(folder) == expected
    for path in copied:
        assert (folder / path).read_bytes() == (clone / path).read_bytes()


def test_a_file_that_is_there_is_never_touched(clone, tmp_path):
    folder = tmp_path / "mine"
    (folder / "notebooks").mkdir(parents=True)
    mine = folder / "notebooks" / "fit.ipynb"
    mine.write_text("my own work")
    (folder / "other.txt").write_text("kept")
    copied = prepare_workspace(clone, folder)
    assert Path("notebooks/fit.ipynb") not in copied
    assert len(copied) == 2
    assert mine.read_text() == "my own work"
    assert (folder / "other.txt").read_text() == "kept"
    assert prepare_workspace(clone, folder) == []


def test_only_what_is_missing_comes_back(clone, tmp_path):
    folder = tmp_path / "mine"
    prepare_workspace(clone, folder)
    (folder / "data-demo" / "pipe.toml").unlink()
    assert prepare_workspace(clone, folder) == [Path("data-demo/pipe.toml")]


def test_a_link_that_leads_nowhere_is_left_alone(clone, tmp_path):
    folder = tmp_path / "mine"
    (folder / "data-demo").mkdir(parents=True)
    link = folder / "data-demo" / "pipe.toml"
    link.symlink_to(tmp_path / "nowhere")
    prepare_workspace(clone, folder)
    assert link.is_symlink()
    assert not (tmp_path / "nowhere").exists()


def test_a_file_in_the_way_of_a_folder_is_named_and_nothing_copied(clone, tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "notebooks").write_text("a file of that name")
    with pytest.raises(DataError, match=r"notebooks: a file is in the way.*Rename the file"):
        prepare_workspace(clone, folder)
    assert everything_in(folder) == ["notebooks"]
    assert (folder / "notebooks").read_text() == "a file of that name"


def test_the_folder_itself_may_be_blocked_by_a_file(clone, tmp_path):
    blocked = tmp_path / "taken"
    blocked.write_text("kept")
    with pytest.raises(DataError, match="in the way"):
        prepare_workspace(clone, blocked)
    with pytest.raises(DataError, match="in the way"):
        prepare_workspace(clone, blocked / "deeper")
    assert blocked.read_text() == "kept"


def test_a_folder_that_cannot_be_made_is_named(clone, tmp_path, monkeypatch):
    def deny(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "mkdir", deny)
    with pytest.raises(DataError, match=r"mine: the folder cannot be made: Permission denied"):
        prepare_workspace(clone, tmp_path / "mine")


def test_a_folder_inside_the_clone_is_refused(clone):
    before = everything_in(clone)
    with pytest.raises(DataError, match="inside the clone"):
        prepare_workspace(clone, clone / "notebooks" / "mine")
    assert everything_in(clone) == before
    assert prepare_workspace(clone, clone) == []


def test_default_folder_is_in_documents(home):
    assert default_folder() == home / "My flutes"
    (home / "Documents").mkdir()
    assert default_folder() == home / "Documents" / "My flutes"


def test_default_folder_follows_the_desktops_setting(home, monkeypatch):
    (home / "Documents").mkdir()
    (home / "Dokumente").mkdir()
    (home / ".config").mkdir()
    settings = home / ".config" / "user-dirs.dirs"
    settings.write_text('# folders\nXDG_DOCUMENTS_DIR="$HOME/Dokumente"\n')
    assert default_folder() == home / "Dokumente" / "My flutes"
    settings.write_text('XDG_DOCUMENTS_DIR="$HOME/not there"\n')
    assert default_folder() == home / "Documents" / "My flutes"
    settings.write_bytes(b'XDG_DOCUMENTS_DIR="\xff"\n')
    assert default_folder() == home / "Documents" / "My flutes"
    monkeypatch.setenv("XDG_DOCUMENTS_DIR", str(home / "Dokumente"))
    assert default_folder() == home / "Dokumente" / "My flutes"


def test_the_clone_is_found_from_the_package():
    clone = find_clone()
    assert (clone / "pyproject.toml").is_file()
    assert (clone / "flutelab" / "files" / "workspace.py").is_file()


def test_without_a_clone_it_says_where_to_get_the_notebooks(tmp_path, monkeypatch):
    installed = tmp_path / "site-packages" / "flutelab" / "files" / "workspace.py"
    monkeypatch.setattr(workspace, "__file__", str(installed))
    with pytest.raises(DataError, match=r"installed without its clone.*unpacked ZIP.*README"):
        find_clone()


def test_jupyterlab_takes_the_command(tmp_path):
    """The option is known to JupyterLab: `--show-config` stops before a server starts."""
    command = lab_command(tmp_path)
    assert command[0] == sys.executable
    result = subprocess.run([*command, "--show-config"], capture_output=True, text=True, timeout=60)
    assert result.returncode == 0
    assert f".root_dir = '{tmp_path}'" in result.stdout
    assert ".default_url = '/doc/tree/notebooks/start-here.ipynb'" in result.stdout
    assert "NeverCheckForUpdate" in result.stdout  # nothing is asked of the network
