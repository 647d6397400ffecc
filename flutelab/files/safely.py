"""Read text and write files so that nothing of the user's is ever lost.

A file is written whole beside its place and then renamed into it; a file that is
there already is refused unless the user asked to replace it.
"""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path

from flutelab.errors import DataError, Fault


def read_bytes(path: str | Path) -> bytes:
    """Return a file's bytes.

    Raises
    ------
    DataError
        The file is missing, is a folder, or cannot be read.
    """
    try:
        if Path(path).is_dir():
            raise IsADirectoryError
        return Path(path).read_bytes()
    except (OSError, ValueError) as error:
        raise _system_error(path, error, reading=True) from None


def read_text(path: str | Path) -> str:
    """Return the text of a UTF-8 file, with or without a byte order mark.

    Raises
    ------
    DataError
        As `read_bytes`; or the file is not UTF-8, with the first line that is not.
    """
    raw = read_bytes(path)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        number = raw.count(b"\n", 0, error.start) + 1
        line = raw.split(b"\n")[number - 1].decode("latin-1").strip()
        fault = Fault(
            place=f"line {number}",
            typed=line[:80],
            problem="the file is not UTF-8 text",
            mend="Open it in an editor or spreadsheet and save it again as UTF-8",
        )
        raise DataError(str(path), [fault]) from None


def check_free(paths: Iterable[str | Path], overwrite: bool) -> None:
    """Refuse paths that are taken.

    Raises
    ------
    DataError
        A path holds a file and `overwrite` is False, or it is a folder; every
        such path is named.
    """
    paths = list(map(Path, paths))
    folders = [path for path in paths if path.is_dir()]
    faults = [
        _fault(path, "there is a folder of that name", "Give a file's name") for path in folders
    ]
    taken = [path for path in paths if path not in folders and os.path.lexists(path)]
    if taken and not overwrite:
        faults.append(_taken(taken))
    if faults:
        raise DataError(faults[0].place if len(faults) == 1 else "files to write", faults)


def _taken(paths):
    mend = "Give another name or folder, or add --overwrite (overwrite=True) to replace"
    if len(paths) == 1:
        return _fault(paths[0], "the file is there already and was left as it is", f"{mend} it")
    problem = f"{len(paths)} files are there already and were left as they are"
    names = "".join(f"\n    {path.name}" for path in paths)
    return _fault(paths[0].parent, problem, f"{mend} them:{names}")


def write_all(contents: Mapping[str | Path, bytes], overwrite: bool = False) -> None:
    """Write several files, or none: all are prepared before the first is put in place.

    Parameters
    ----------
    contents : mapping of path to bytes
    overwrite : bool
        Replace files that are there.

    Raises
    ------
    DataError
        A path is taken, or a file cannot be written.
    """
    prepared: list[tuple[Path, Path]] = []
    path: str | Path = ""
    try:
        check_free(contents, overwrite)
        for path, data in contents.items():
            # A link stays a link: the file behind it is replaced.
            place = Path(os.path.realpath(path))
            temporary = place.with_name(f".{secrets.token_hex(6)}.part")
            prepared.append((temporary, place))
            _write_temporary(temporary, place, data)
        for temporary, path in prepared:
            temporary.replace(path)
    except DataError:
        raise
    except (OSError, ValueError) as error:
        raise _system_error(path, error) from None
    finally:
        for temporary, _ in prepared:
            temporary.unlink(missing_ok=True)


def _write_temporary(temporary: Path, place: Path, data: bytes) -> None:
    with temporary.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    if place.exists():
        shutil.copymode(place, temporary)


def write_bytes(path: str | Path, data: bytes, *, overwrite: bool = False) -> None:
    """Write one file whole; see `write_all`."""
    write_all({path: data}, overwrite)


def write_text(path: str | Path, text: str, *, overwrite: bool = False) -> None:
    """Write one text file whole, as UTF-8; see `write_all`."""
    write_all({path: text.encode("utf-8")}, overwrite)


def _fault(path: str | Path, problem: str, mend: str) -> Fault:
    return Fault(place=str(path), problem=problem, mend=mend)


def _no_folder(folder: Path, reading: bool) -> tuple[str, str]:
    """Say where a folder was looked for, and the mend: nobody makes one to read from it."""
    mend = "Check its name" if reading else "Make the folder, or check its name"
    if folder.is_absolute():
        return f"there is no folder {str(folder)!r}", mend
    mend += f"; a path starts there, so one beside it is '../{folder.as_posix()}/...'"
    return f"there is no folder {str(folder)!r} in {str(Path.cwd())!r}", mend


def _system_error(
    path: str | Path, error: OSError | ValueError, *, reading: bool = False
) -> DataError:
    """Say what the file system refused, and the mend."""
    folder = Path(path).parent
    if isinstance(error, FileNotFoundError) and "\0" not in str(path) and not folder.is_dir():
        reason = _no_folder(folder, reading)
    elif isinstance(error, FileNotFoundError):
        reason = "there is no such file", "Check the name, its ending and the folder"
    elif isinstance(error, IsADirectoryError):
        reason = "this is a folder", "Give the name of a file in it"
    elif isinstance(error, PermissionError):
        mend = "Close it in other programs, check who may use it, or choose another folder"
        reason = "the system does not permit it", mend
    elif isinstance(error, OSError):
        reason = f"the system says: {error.strerror}", "Check the disk, the name and the folder"
    else:
        reason = "this cannot be a file's name", "Use plain letters and digits"
    return DataError(str(path), [_fault(path, *reason)])
