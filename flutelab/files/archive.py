"""An archive of a calibration for a paper: all that went in, all that came out, and how.

A zip file of plain text and pictures. The same inputs, options and versions give the same
bytes: members stand in a fixed order and carry no time.
"""

from __future__ import annotations

import hashlib
import json
import re
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path, PurePosixPath

from flutelab.errors import DataError, Fault
from flutelab.files.archived_results import Results, results_of, texts_of
from flutelab.files.flute_file import read_flute
from flutelab.files.note_table import read_measurements
from flutelab.files.paper_text import read_me
from flutelab.files.safely import check_free, read_bytes, write_all
from flutelab.files.zipped import unzipped
from flutelab.fitting.calibrate import DEFAULT_FREE, OWN, calibrate
from flutelab.fitting.flutes import for_next_flute
from flutelab.fitting.measurements import Measurements
from flutelab.model.corrections import NAMES

KIND, SCHEMA_VERSION = "flutelab archive", 1
_MANIFEST, _READ_ME, _INPUTS, _FIGURES = "manifest.json", "README.txt", "inputs/", "figures/"
_MARK = b"\xef\xbb\xbf"
_MEND = "Give the file that flutelab calibrate --archive wrote, as it was written"

Drawing = Callable[[Results], Mapping[str, bytes]]


@dataclass(frozen=True, kw_only=True)
class Settings:
    """How a calibration was asked for: what is told of it in the archive.

    Parameters
    ----------
    free : tuple of str
        Corrections to report.
    own : tuple of str
        Of several flutes, what each has for itself.
    loss : {"linear", "robust"}
    a4 : float
        Reference pitch of the note names [Hz].
    seed : int
        Of all that is drawn at random.
    """

    free: tuple[str, ...] = DEFAULT_FREE
    own: tuple[str, ...] = OWN
    loss: str = "linear"
    a4: float = 440.0
    seed: int = 0


@dataclass(frozen=True, kw_only=True, eq=False)
class Archive:
    """What an archive holds: its members' bytes by name, in their order, and its manifest.

    ``pairs``: the names of each table's flute file and note table.
    """

    members: Mapping[str, bytes]
    settings: Settings
    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class Rerun:
    """What came of running an archive again: files made anew, and those that differ."""

    made: tuple[str, ...]
    differ: tuple[str, ...]


def inputs_of(
    files: Sequence[str | Path], measured: Sequence[Measurements]
) -> tuple[dict[str, bytes], tuple[Measurements, ...]]:
    """Return the bytes of all inputs under names of the archive, and the tables so named.

    Parameters
    ----------
    files : sequence of path
        A flute file and its note table for each of `measured`, in turn.
    measured : sequence of Measurements

    Returns
    -------
    inputs : dict of str to bytes
    measured : tuple of Measurements
        The same; where two files of different folders have one name, renamed.

    Raises
    ------
    DataError
        A file cannot be read again, or has changed since it was read.
    """
    inputs: dict[str, bytes] = {}
    names = []
    faults = []
    hashes = [h for m in measured for h in (m.flute.fingerprint, m.fingerprint)]
    for path, fingerprint in zip(files, hashes, strict=True):
        data = read_bytes(path)
        if fingerprint not in (_sha256(data), _sha256(data.removeprefix(_MARK))):
            faults.append(_changed(path))
        names.append(_name_for(Path(path).name, data, inputs))
        inputs[names[-1]] = data
    if faults:
        raise DataError(faults[0].place if len(faults) == 1 else "inputs", faults)
    renamed = tuple(
        replace(m, source=PurePosixPath(notes).name, flute=replace(m.flute, source=flute))
        for m, flute, notes in zip(measured, names[::2], names[1::2], strict=True)
    )
    return inputs, renamed


def archive_of(
    results: Results,
    settings: Settings,
    inputs: Mapping[str, bytes],
    figures: Mapping[str, bytes] | None = None,
) -> Archive:
    """Return the archive of a calibration.

    Parameters
    ----------
    results : Results
        From `results_of`, of the measurements that `inputs_of` named.
    settings : Settings
    inputs : mapping of str to bytes
        From `inputs_of`.
    figures : mapping of str to bytes, optional
        Pictures and their captions by their files' names.
    """
    tables = [part.measurements for part in results.calibration.tables]
    pairs = tuple((m.flute.source, f"{_INPUTS}{m.source}") for m in tables)
    texts = texts_of(results, settings.a4)
    words = {name: text.words for name, text in texts.items()}
    words |= {_INPUTS: "the flute files and note tables, byte for byte"}
    if figures:
        words |= {_FIGURES: "pictures 85 mm and 170 mm wide, as SVG and PDF, and captions.txt"}
    words |= {_MANIFEST: "options, and the SHA-256 of every other file"}
    about = read_me(
        results.calibration,
        results.suspects,
        results.drawn,
        command_of(pairs, settings),
        words,
    )
    members = {_READ_ME: about.encode()}
    members |= {name: text.content.encode() for name, text in texts.items()}
    members |= {f"{_FIGURES}{name}": data for name, data in (figures or {}).items()}
    members |= inputs
    manifest = {
        "kind": KIND,
        "schema_version": SCHEMA_VERSION,
        "written_by": f"flutelab {version('flutelab')}",
        "tables": [{"flute": flute, "notes": notes} for flute, notes in pairs],
        "options": {
            "free": list(settings.free), "own": list(settings.own), "loss": settings.loss,
            "a4_hz": settings.a4, "seed": settings.seed,
        },
        "sha256": {name: _sha256(data) for name, data in sorted(members.items())},
    }  # fmt: skip
    members[_MANIFEST] = (json.dumps(manifest, indent=1, ensure_ascii=False) + "\n").encode()
    return Archive(members=members, settings=settings, pairs=pairs)


def command_of(pairs: Sequence[tuple[str, str]], settings: Settings) -> str:
    """Return the command that makes an archive again where it is unpacked."""
    words = ["flutelab", "calibrate", *(_quoted(name) for pair in pairs for name in pair)]
    if settings.free:
        words += ["--free", ",".join(settings.free)]
    if settings.own != OWN:
        words += ["--own", ",".join(settings.own)]
    if settings.loss == "robust":
        words.append("--robust")
    words += ["--a4", f"{settings.a4:.12g}", "--seed", str(settings.seed), "--archive", "again.zip"]
    return " ".join(words)


def read_archive(path: str | Path) -> Archive:
    """Read an archive, and check it against its manifest.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Archive

    Raises
    ------
    DataError
        Not an archive, of another schema, a member that would land outside the folder it is
        unpacked into, or one that is not what the manifest says; with every such member.
    """
    members = unzipped(path)
    manifest = _manifest(path, members)
    hashes = manifest["sha256"]
    faults = [
        _fault(name, problem)
        for name in sorted({*members, *hashes} - {_MANIFEST})
        for problem in [_against_manifest(name, members, hashes)]
        if problem
    ]
    if faults:
        raise DataError(str(path), faults)
    options = manifest["options"]
    return Archive(
        members=members,
        settings=Settings(
            free=tuple(options["free"]),
            own=tuple(options["own"]),
            loss=options["loss"],
            a4=options["a4_hz"],
            seed=options["seed"],
        ),
        pairs=tuple((pair["flute"], pair["notes"]) for pair in manifest["tables"]),
    )


def rerun(
    path: str | Path, out: str | Path, *, draw: Drawing | None = None, overwrite: bool = False
) -> Rerun:
    """Run an archive's calibration again, from its inputs alone, and compare.

    Parameters
    ----------
    path : str or Path
        The archive.
    out : str or Path
        Folder for its inputs and all that is made anew; made if need be.
    draw : callable, optional
        Makes the pictures again, as `flutelab.view.plots.for_paper.paper_files`; without it
        they are left out.
    overwrite : bool
        Replace files that are there.

    Returns
    -------
    Rerun
        Empty ``differ``: every file came out as it was, byte for byte.

    Raises
    ------
    DataError
        As `read_archive`; or a file is there already, or cannot be written.
    """
    old = read_archive(path)
    check_free([Path(out) / name for name in _made(old.members, draw)], overwrite)
    inputs, measured = _read_again(old)
    settings = old.settings
    calibration = for_next_flute(
        calibrate(*measured, free=settings.free, own=settings.own, loss=settings.loss),
        settings.own,
    )
    results = results_of(calibration, seed=old.settings.seed)
    new = archive_of(results, old.settings, inputs, draw(results) if draw else None).members
    made = _made(new, draw)
    paths = {Path(out) / name: new[name] for name in made}
    _make_folders(paths)
    write_all(paths, overwrite=overwrite)
    return Rerun(
        made=tuple(made),
        differ=tuple(name for name in made if old.members.get(name) != new[name]),
    )


def _made(members, draw):
    """Names of what is made anew: what tells of pictures only with them."""
    about = (_MANIFEST, _READ_ME)
    return [n for n in members if draw or not (n in about or n.startswith(_FIGURES))]


def _read_again(archive):
    """The inputs of an archive, read as the files that they were."""
    with tempfile.TemporaryDirectory() as folder:
        pairs = [[Path(folder) / name for name in pair] for pair in archive.pairs]
        for name in {name for pair in archive.pairs for name in pair}:
            file = Path(folder) / name
            file.parent.mkdir(exist_ok=True)
            file.write_bytes(archive.members[name])
        measured = [read_measurements(notes, read_flute(flute)) for flute, notes in pairs]
        return inputs_of([file for pair in pairs for file in pair], measured)


def _sha256(data):
    return hashlib.sha256(data).hexdigest()


def _changed(path):
    problem = "the file has changed since it was read"
    return Fault(place=str(path), problem=problem, mend="Let it be while flutelab runs, and repeat")


def _name_for(name, data, inputs):
    """A member's name that every system takes; another one where it is taken otherwise."""
    plain = re.sub(r"[^\w .()+,=@-]", "_", name).strip(" .") or "file"
    for number in range(1, len(inputs) + 2):
        found = f"{_INPUTS}{plain}" if number == 1 else f"{_INPUTS}{number}-{plain}"
        taken = {other.casefold(): other for other in inputs}.get(found.casefold())
        if taken is None or (taken == found and inputs[taken] == data):
            return found
    raise AssertionError  # there are more numbers than inputs


def _quoted(name):
    """A file's name as a shell of any system takes it."""
    return name if re.fullmatch(r"[\w./+,=@-]+", name) else f'"{name}"'


def _fault(place, problem):
    return Fault(place=place, problem=problem, mend=_MEND)


def _manifest(path, members):
    """The manifest, once it is known to hold what is needed."""
    if _MANIFEST not in members:
        raise DataError(str(path), [_fault(_MANIFEST, "it is missing: this is no archive")])
    try:
        manifest = json.loads(members[_MANIFEST])
        if manifest["kind"] != KIND or manifest["schema_version"] != SCHEMA_VERSION:
            found = f"{manifest['kind']!r}, schema {manifest['schema_version']!r}"
            problem = f"it is {found}; this flutelab reads {KIND!r}, schema {SCHEMA_VERSION}"
            raise DataError(str(path), [_fault(_MANIFEST, problem)])
        names = [pair[key] for pair in manifest["tables"] for key in ("flute", "notes")]
        options = manifest["options"]
        sound = (
            names
            and all(name in members and re.fullmatch(f"{_INPUTS}[^/]+", name) for name in names)
            and {*options["free"], *options["own"]} <= set(NAMES)
            and options["loss"] in ("linear", "robust")
            and 380 <= options["a4_hz"] <= 480
            and type(options["seed"]) is int
            and manifest["sha256"].keys()
        )
    except DataError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        problem = f"it is damaged: {type(error).__name__} {error}"
        raise DataError(str(path), [_fault(_MANIFEST, problem)]) from None
    if not sound:
        problem = "it is damaged: tables or options are not those of a calibration"
        raise DataError(str(path), [_fault(_MANIFEST, problem)])
    return manifest


def _against_manifest(name, members, hashes):
    if name not in members:
        return "it is missing"
    if name not in hashes:
        return "the manifest does not know it"
    return "" if _sha256(members[name]) == hashes[name] else "it has been changed"


def _make_folders(paths):
    for folder in {path.parent for path in paths}:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            problem = f"the folder cannot be made ({error.strerror})"
            mend = "Choose another one, or a name that is not taken"
            raise DataError(
                str(folder), [Fault(place=str(folder), problem=problem, mend=mend)]
            ) from None
