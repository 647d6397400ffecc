"""Zip files that come out the same each time, and that are read without harm."""

from __future__ import annotations

import io
import re
import stat
import zipfile
from collections.abc import Mapping
from pathlib import Path

from flutelab.errors import DataError, Fault
from flutelab.files.safely import read_bytes

LARGEST = 500_000_000  # bytes unpacked
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest time that a zip file can tell
_PLAIN = re.compile(r"[^\\:\0-\x1f]+")  # a folder or file on any system
_MEND = "Give the archive as flutelab wrote it"


def zip_bytes(members: Mapping[str, bytes]) -> bytes:
    """Return members as a zip file, in the order of their names, without times or owners.

    Examples
    --------
    >>> zip_bytes({"b": b"2", "a": b"1"}) == zip_bytes({"a": b"1", "b": b"2"})
    True
    """
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as file:
        for name, data in sorted(members.items()):
            info = zipfile.ZipInfo(name, date_time=_EPOCH)
            info.create_system = 3  # else it tells the system that wrote it
            info.external_attr = (stat.S_IFREG | 0o644) << 16
            info.compress_type = zipfile.ZIP_DEFLATED
            file.writestr(info, data)
    return buffer.getvalue()


def unzipped(path: str | Path) -> dict[str, bytes]:
    """Return the members of a zip file by name.

    Raises
    ------
    DataError
        No sound zip file, or too large; or a member that is no plain file or whose name would
        lead out of the folder that it is unpacked into, with every such member.
    """
    data = read_bytes(path)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as file:
            infos = file.infolist()
            faults = list(_faults(infos))
            members = {} if faults else {info.filename: file.read(info) for info in infos}
    # a RuntimeError is zipfile's for locked members and unknown ways of packing; cut or damaged
    # files give any of the others
    except (zipfile.BadZipFile, RuntimeError, EOFError, ValueError, OSError) as error:
        faults = [Fault(place="file", problem=f"it is no sound zip file ({error})", mend=_MEND)]
    if faults:
        raise DataError(str(path), faults)
    return members


def _faults(infos):
    names: set[str] = set()
    for info in infos:
        problem = _problem(info, names)
        names.add(info.filename.casefold())
        if problem:
            yield Fault(place="member", typed=info.filename, problem=problem, mend=_MEND)
    size = sum(info.file_size for info in infos)
    if size > LARGEST:
        problem = f"unpacked it holds {size:,} bytes; at most {LARGEST:,} are read"
        yield Fault(place="file", problem=problem, mend=_MEND)


def _problem(info, names):
    """What is wrong with a member, or ""."""
    parts = info.filename.split("/")
    if not all(_PLAIN.fullmatch(part) and part not in (".", "..") for part in parts):
        return "this name leads out of the folder, or is none on some systems"
    if info.filename.casefold() in names:
        return "another member has this name"
    if stat.S_IFMT(info.external_attr >> 16) not in (0, stat.S_IFREG):
        return "this is not a plain file"
    return "it is encrypted" if info.flag_bits & 1 else ""
