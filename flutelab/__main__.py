"""The command line: predict, look, why, calibrate, next, papers, open. It computes nothing."""

from __future__ import annotations

import argparse
import importlib.util
import os
import re
import subprocess
import sys
import warnings
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from flutelab import __version__
from flutelab.errors import DataError, FitWarning, ValidityWarning
from flutelab.files.archive import Settings, archive_of, inputs_of
from flutelab.files.archived_results import results_of
from flutelab.files.command_parser import command_parser
from flutelab.files.constants_file import constants_text, read_constants
from flutelab.files.flute_file import read_flute
from flutelab.files.foretell import all_fingerings, foretell, usual_fingerings
from flutelab.files.look import look
from flutelab.files.note_table import read_measurements
from flutelab.files.options import (
    Refusal,
    archive_folder,
    check_blanks,
    check_folder,
    constants_name,
    corrections,
    flute_name,
    humidity,
    left_over,
    pressure,
    reference_pitch,
    temperature,
)
from flutelab.files.plan import plan
from flutelab.files.report import report
from flutelab.files.safely import check_free, write_all
from flutelab.files.suspected import unfitted_words
from flutelab.files.tables import csv_text, table
from flutelab.files.warned import plain_notes
from flutelab.files.why import why
from flutelab.files.workspace import (
    default_folder,
    find_clone,
    lab_command,
    lab_environment,
    prepare_workspace,
)
from flutelab.files.zipped import zip_bytes
from flutelab.fitting.calibrate import DEFAULT_FREE, calibrate, own_fault, refuse_doubled
from flutelab.fitting.flutes import for_next_flute
from flutelab.fitting.identifiability import warn_of_blind, what_data_tell
from flutelab.fitting.problem import FitError
from flutelab.fitting.progress import text_progress
from flutelab.fitting.suspects import suspects, suspects_unfitted
from flutelab.view.paper import FOR_WHOM, all_papers
from flutelab.view.plots import drawings_of, plot_calibration
from flutelab.view.plots.for_paper import paper_files
from flutelab.view.plots.parts import sign
from flutelab.view.style import close, draw_without_windows, picture_files

DONE, BAD_INPUT, INTERRUPTED = 0, 2, 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; return its exit code: 0 done, 2 bad input, 130 interrupted."""
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(errors="replace")  # a name that the terminal cannot show
    heard: list[str] = []
    warnings.showwarning = lambda message, *_: heard.append(str(message))
    for kind in (ValidityWarning, FitWarning):
        warnings.simplefilter("always", kind)
    try:
        options = _options(sys.argv[1:] if arguments is None else arguments)
        code = options.run(options)
        sys.stdout.flush()
    except (DataError, FitError, Refusal) as error:
        print(error, file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print("interrupted; no file was left half-written", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:  # whoever read the output has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    finally:
        for note in plain_notes(heard):
            print(f"note: {note}", file=sys.stderr)
    return code


def _options(arguments) -> argparse.Namespace:
    check_blanks(arguments)
    parser, commands = command_parser(_COMMANDS, __version__)
    options, left = parser.parse_known_args(arguments)
    if left:
        known = re.findall(r"--[\w-]+", commands[options.command].format_usage())
        raise left_over(left, f"flutelab {options.command}", known)
    return options


def _predict(options) -> int:
    flute = read_flute(flute_name(options.flute))
    constants = read_constants(constants_name(options.constants)) if options.constants else None
    if options.with_offset and constants is None:
        msg = "--with-offset: it needs the --constants whose air offset to apply"
        raise Refusal(msg)
    told = foretell(
        flute,
        all_fingerings(flute) if options.all else options.fingering or usual_fingerings(flute),
        constants=constants,
        with_offset=options.with_offset,
        room=temperature("--room", options.room),
        bore=temperature("--bore", options.bore),
        humidity=humidity(options.humidity),
        register=options.register,
        a4=reference_pitch(options.a4),
    )
    if options.csv:
        print(csv_text(told.frame), end="")
        print("\n".join(told.remarks), file=sys.stderr)
    else:
        print(told.text)
    return DONE


def _look(options) -> int:
    check_folder("--out", options.out)
    flute = read_flute(flute_name(options.flute))
    found = look(
        flute,
        options.fingering or usual_fingerings(flute),
        constants=read_constants(constants_name(options.constants)) if options.constants else None,
        room=temperature("--room", options.room),
        bore=temperature("--bore", options.bore),
        humidity=humidity(options.humidity),
        register=options.register,
        pressure=pressure("--breath", options.breath),
        a4=reference_pitch(options.a4),
    )
    return _told(found, Path(options.flute).stem, options)


def _told(found, stem, options) -> int:
    """Print what was found and write its tables and pictures where they are wanted."""
    written = _write_looked(found, stem, options) if options.out else []
    print(found.text)
    if written:
        print("\nWritten:", *(f"  {path}" for path in written), sep="\n")
    else:
        print("\nNothing was written; --out FOLDER saves tables and pictures.")
    return DONE


def _write_looked(found, stem, options) -> list[Path]:
    """Write a table of each result and its pictures; refuse before anything is drawn."""
    folder, results = Path(options.out), found.results
    tables = [name for name in results if name != "air"]
    drawings = drawings_of(results)
    endings = [f"{name}.csv" for name in tables]
    endings += [f"{name}.{kind}" for name in drawings for kind in ("png", "svg")]
    paths = {ending: folder / f"{stem}.{ending}" for ending in endings}
    check_free(paths.values(), options.overwrite)
    draw_without_windows()
    contents = {
        paths[f"{name}.csv"]: csv_text(table(results[name], a4=options.a4)).encode()
        for name in tables
    }
    for name, draw in drawings.items():
        picture = draw().figure
        sign(picture, found.caption)
        for kind, data in picture_files(picture).items():
            contents[paths[f"{name}.{kind}"]] = data
        close(picture)
    _make_folder(options.out)
    write_all(contents, overwrite=options.overwrite)
    return list(paths.values())


def _why(options) -> int:
    check_folder("--out", options.out)
    found = why(_read_all(options.files))
    return _told(found, _stem(options.files), options)


def _next(options) -> int:
    of, own = corrections(options.of, option="--of"), corrections(options.own, option="--own")
    check_folder("--out", options.out)
    measured = _read_all(options.files)
    _check_own(measured, own)
    found = plan(calibrate(*measured, free=of, own=own), of, options.fingering or ())
    return _told(found, _stem(options.files), options)


def _calibrate(options) -> int:
    reference_pitch(options.a4)
    free, own = corrections(options.free), corrections(options.own, option="--own")
    check_folder("--out", options.out)
    check_folder("--archive", archive_folder(options.archive))
    measured = _read_all(options.files)
    _check_own(measured, own)
    paths = _result_paths(options)
    check_free(paths.values(), options.overwrite)
    inputs = {}
    if options.archive:
        inputs, measured = inputs_of(options.files, measured)
    loss = "robust" if options.robust else "linear"
    try:
        result = for_next_flute(calibrate(*measured, free=free, own=own, loss=loss), own)
    except FitError as error:
        told = unfitted_words(measured, suspects_unfitted(*measured, free=free))
        msg = "\n".join([str(error), *told])
        raise Refusal(msg) from None
    if free != list(DEFAULT_FREE):
        warn_of_blind(what_data_tell(result))
    odd = suspects(result)
    settings = Settings(
        free=tuple(free), own=tuple(own), loss=loss, a4=options.a4, seed=options.seed
    )
    if paths:
        _write_results(result, odd, inputs, settings, paths, options)
    print(report(result, a4=options.a4, odd=odd), end="")
    if paths:
        print("\nWritten:", *(f"  {path}" for path in paths.values()), sep="\n")
    else:
        print("\nNothing was written; --out FOLDER saves constants, table and picture.")
    return DONE


def _read_all(files):
    """Every flute file with its note table; the faults of all files in one report."""
    if len(files) % 2:
        msg = (
            f"{files[-1]!r} stands alone; write each note table right after its flute file: "
            "FLUTE NOTES [FLUTE NOTES ...]"
        )
        raise Refusal(msg)
    if [Path(name).suffix.lower() for name in files[:2]] == [".csv", ".toml"]:
        msg = f"write the flute file {files[1]!r} before its note table"
        raise Refusal(msg)
    measured, told = [], []
    for flute_file, notes in zip(files[::2], files[1::2], strict=True):
        try:
            measured.append(read_measurements(notes, read_flute(flute_file)))
        except DataError as error:
            told.append(error)
    if told:
        raise told[0] if len(told) == 1 else Refusal("\n".join(str(error) for error in told))
    refuse_doubled(measured)
    return measured


def _check_own(measured, own) -> None:
    if fault := own_fault(measured, own):
        msg = f"--{fault}"
        raise Refusal(msg)


def _stem(files) -> str:
    """What results of these files are called."""
    more = f"-and-{len(files) // 2 - 1}-more" if len(files) > 2 else ""
    return Path(files[1]).stem + more


def _result_paths(options) -> dict[str, Path]:
    """Every file that is asked for, by what it holds."""
    archive = {"archive": Path(options.archive)} if options.archive else {}
    if options.out is None:
        return archive
    stem = _stem(options.files)
    endings = {"constants": ".constants.json", "table": ".notes.csv", "png": ".png", "svg": ".svg"}
    out = {kind: Path(options.out) / f"{stem}{ending}" for kind, ending in endings.items()}
    return out | archive


def _write_results(result, odd, inputs, settings, paths, options) -> None:
    draw_without_windows()
    contents = {}
    if options.out:
        pictures = picture_files(plot_calibration(result, suspects=odd))
        contents = {
            paths["constants"]: constants_text(result, odd).encode(),
            paths["table"]: csv_text(table(result, a4=options.a4)).encode(),
            paths["png"]: pictures["png"],
            paths["svg"]: pictures["svg"],
        }
    if options.archive:
        progress = text_progress(sys.stderr) if sys.stderr.isatty() else None
        results = results_of(result, odd, seed=settings.seed, progress=progress)
        archive = archive_of(results, settings, inputs, paper_files(results))
        contents[paths["archive"]] = zip_bytes(archive.members)
        _make_folder(paths["archive"].parent, "--archive")
    if options.out:
        _make_folder(options.out)
    write_all(contents, overwrite=options.overwrite)


def _make_folder(name: str | Path, option: str = "--out") -> None:
    try:
        Path(name).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        name = str(name)
        msg = f"{option}: the folder {name!r} cannot be made ({error.strerror}); choose another one"
        raise Refusal(msg) from None


def _papers(options) -> int:
    check_folder("--out", options.out)
    folder = Path(options.out) if options.out else default_folder() / "papers"
    check_free((folder / name for name in FOR_WHOM), options.overwrite)
    try:
        demo = find_clone() / "data-demo"
    except DataError as error:
        told = "flutelab papers"
        raise DataError(told, error.faults) from None
    made = all_papers(demo, options.paper, holes=options.holes, unit=options.unit)
    _make_folder(folder)
    write_all({folder / name: data for name, data in made.items()}, overwrite=options.overwrite)
    width = max(map(len, made))
    print(
        f"Written in {folder}:", *(f"  {name:{width}}  {FOR_WHOM[name]}" for name in made), sep="\n"
    )
    print("\nThe expected numbers are those of the invented demo pipes.")
    return DONE


def _open(options) -> int:
    if importlib.util.find_spec("jupyterlab") is None:
        msg = "open: JupyterLab is not installed; install it with: pip install -e '.[all]'"
        raise Refusal(msg)
    folder = Path(options.folder) if options.folder else default_folder()
    copied = prepare_workspace(find_clone(), folder)
    print(f"{len(copied)} new files in {folder}; files that were there are as they were")
    with TemporaryDirectory(prefix="flutelab-") as settings:
        environment = lab_environment(Path(settings), for_class=options.for_class)
        return _wait_for(subprocess.Popen(lab_command(folder), env=environment))


def _wait_for(process) -> int:
    """Wait until a program ends; Ctrl+C is for it to answer, as it may have work to save."""
    while True:
        try:
            return process.wait()
        except KeyboardInterrupt:
            continue


_COMMANDS = {
    "predict": _predict,
    "calibrate": _calibrate,
    "look": _look,
    "why": _why,
    "next": _next,
    "papers": _papers,
    "open": _open,
}


if __name__ == "__main__":
    sys.exit(main())
