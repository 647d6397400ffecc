"""The command line: predict, look, why, calibrate, next, open. Wires, computes nothing."""

from __future__ import annotations

import argparse
import importlib.util
import os
import re
import subprocess
import sys
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import flutelab
from flutelab.errors import DataError, FitWarning, ValidityWarning
from flutelab.files.archive import Settings, archive_of, inputs_of
from flutelab.files.archived_results import results_of
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
    nearest,
    number,
    pressure,
    reference_pitch,
    register,
    seed,
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
from flutelab.fitting.calibrate import DEFAULT_FREE, OWN, calibrate, own_fault, refuse_doubled
from flutelab.fitting.flutes import for_next_flute
from flutelab.fitting.identifiability import warn_of_blind, what_data_tell
from flutelab.fitting.problem import FitError
from flutelab.fitting.progress import text_progress
from flutelab.fitting.suspects import suspects, suspects_unfitted
from flutelab.model.corrections import NAMES
from flutelab.view.plots import drawings_of, plot_calibration
from flutelab.view.plots.for_paper import paper_files
from flutelab.view.style import close, draw_without_windows, picture_files

_A4 = "pitch of A4 for the names of notes (default: 440)"
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


class _Parser(argparse.ArgumentParser):
    """Says what was probably meant."""

    def error(self, message):
        """Print the usage and what is wrong, and stop."""
        if choice := re.search(r"invalid choice: '(.+?)' \(choose from (.+)\)", message):
            message += nearest(choice[1], re.findall(r"[\w-]+", choice[2]))
        if told := re.search(r"argument (--[\w-]+): expected one argument", message):
            value = "-2C" if told[1] in ("--room", "--bore") else "VALUE"
            message += f"; one that begins with - needs a =, as in {told[1]}={value}"
        if message.endswith("required: flute"):
            message += "; write the flute file right after the command, before the options"
        super().error(message)


def _options(arguments) -> argparse.Namespace:
    check_blanks(arguments)
    parser, commands = _parser()
    options, left = parser.parse_known_args(arguments)
    if left:
        known = re.findall(r"--[\w-]+", commands[options.command].format_usage())
        raise left_over(left, f"flutelab {options.command}", known)
    return options


def _parser() -> tuple[argparse.ArgumentParser, Mapping[str, argparse.ArgumentParser]]:
    """The parser, and those of the commands by name."""
    parser = _Parser(
        prog="flutelab",
        description="Fit the end corrections of duct flutes to measured notes, and foretell notes.",
    )
    parser.add_argument("--version", action="version", version=flutelab.__version__)
    commands = parser.add_subparsers(required=True, metavar="COMMAND", dest="command")
    _predict_parser(commands)
    _calibrate_parser(commands)
    _look_parser(commands)
    _why_parser(commands)
    _next_parser(commands)
    opening = commands.add_parser("open", help="open the notebooks in a folder of your own")
    opening.add_argument("folder", nargs="?", help='default: "My flutes" in your documents')
    opening.add_argument(
        "--class",
        dest="for_class",
        action="store_true",
        help="for a projector: larger letters, and what a class tries is not saved by itself",
    )
    opening.set_defaults(run=_open)
    return parser, commands.choices


def _predict_parser(commands) -> None:
    predict = commands.add_parser("predict", help="foretell the notes of a flute file")
    predict.add_argument("flute", help="flute file (TOML)")
    predict.add_argument("--constants", metavar="FILE", help="constants file of a calibration")
    predict.add_argument(
        "--with-offset", action="store_true", help="apply the calibration's air offset too"
    )
    _air_options(predict)
    which = predict.add_mutually_exclusive_group()
    which.add_argument("--fingering", nargs="+", metavar="xxxxoo", help="default: hole by hole")
    which.add_argument("--all", action="store_true", help="every fingering of the flute")
    predict.add_argument(
        "--register", type=register, default=1, metavar="1-4", help="2 = overblown (default: 1)"
    )
    predict.add_argument("--a4", type=number, default=440.0, metavar="HZ", help=_A4)
    predict.add_argument("--csv", action="store_true", help="print a CSV table")
    predict.set_defaults(run=_predict)


def _air_options(parser) -> None:
    warmth = parser.add_mutually_exclusive_group()
    warmth.add_argument("--room", metavar="22C", help="room temperature, in C, F or K")
    warmth.add_argument("--bore", metavar="26C", help="that of the air in the bore, in C, F or K")
    parser.add_argument("--humidity", type=number, metavar="PERCENT", help="relative (default: 50)")


def _look_parser(commands) -> None:
    inside = commands.add_parser("look", help="show why the notes of a flute are where they are")
    inside.add_argument("flute", help="flute file (TOML)")
    inside.add_argument("--constants", metavar="FILE", help="constants file of a calibration")
    _air_options(inside)
    inside.add_argument("--fingering", nargs="+", metavar="xxxxoo", help="default: hole by hole")
    inside.add_argument(
        "--register", type=register, default=1, metavar="1-4", help="2 = overblown (default: 1)"
    )
    inside.add_argument(
        "--breath",
        metavar="520Pa",
        help="blowing pressure, for the jet, in Pa, hPa, kPa, mbar, or mm, cm or in of water",
    )
    inside.add_argument("--out", metavar="DIR", help="folder for tables and pictures")
    inside.add_argument("--overwrite", action="store_true", help="replace files that are there")
    inside.add_argument("--a4", type=number, default=440.0, metavar="HZ", help=_A4)
    inside.set_defaults(run=_look)


def _why_parser(commands) -> None:
    asked = commands.add_parser(
        "why", help="show what could explain notes that do not match, before any fit"
    )
    asked.add_argument(
        "files", nargs="+", metavar="FLUTE NOTES", help="each note table after its flute file"
    )
    asked.add_argument("--out", metavar="DIR", help="folder for tables and pictures")
    asked.add_argument("--overwrite", action="store_true", help="replace files that are there")
    asked.set_defaults(run=_why, a4=440.0)


def _next_parser(commands) -> None:
    asked = commands.add_parser(
        "next", help="rank what to measure next by the doubt that it would leave"
    )
    asked.add_argument(
        "files", nargs="+", metavar="FLUTE NOTES", help="each note table after its flute file"
    )
    target = asked.add_mutually_exclusive_group()
    target.add_argument(
        "--of", metavar="NAME[,NAME...]", default="window",
        help=f"corrections to know better (default: window) of: {' '.join(NAMES)}",
    )  # fmt: skip
    target.add_argument(
        "--fingering", nargs="+", metavar="xxxxoo", help="notes of the first flute to foretell"
    )
    _own_option(asked, "")
    asked.add_argument("--out", metavar="DIR", help="folder for tables and pictures")
    asked.add_argument("--overwrite", action="store_true", help="replace files that are there")
    asked.set_defaults(run=_next, a4=440.0)


def _calibrate_parser(commands) -> None:
    fit = commands.add_parser("calibrate", help="fit the corrections to measured notes")
    fit.add_argument(
        "files", nargs="+", metavar="FLUTE NOTES", help="each note table after its flute file"
    )
    fit.add_argument(
        "--free", metavar="NAME[,NAME...]", default=",".join(DEFAULT_FREE),
        help=f"corrections to report (default: {','.join(DEFAULT_FREE)}) of: {' '.join(NAMES)}",
    )  # fmt: skip
    _own_option(fit, "; with others the constants are those of the next flute")
    fit.add_argument("--robust", action="store_true", help="let stray notes pull less")
    fit.add_argument("--out", metavar="DIR", help="folder for constants, table and picture")
    fit.add_argument(
        "--archive", metavar="FILE.zip", help="all inputs, results and pictures, for a paper"
    )
    fit.add_argument(
        "--seed", type=seed, default=0, metavar="N", help="of what is drawn at random (default: 0)"
    )
    fit.add_argument("--overwrite", action="store_true", help="replace files that are there")
    fit.add_argument("--a4", type=number, default=440.0, metavar="HZ", help=_A4)
    fit.set_defaults(run=_calibrate)


def _own_option(parser, more) -> None:
    parser.add_argument(
        "--own", metavar="NAME[,NAME...]", default=",".join(OWN),
        help="of several flutes, corrections that each has for itself (default: "
        f"{','.join(OWN)}){more}",
    )  # fmt: skip


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
    written = _write_looked(found.results, stem, options) if options.out else []
    print(found.text)
    if written:
        print("\nWritten:", *(f"  {path}" for path in written), sep="\n")
    else:
        print("\nNothing was written; --out FOLDER saves tables and pictures.")
    return DONE


def _write_looked(results, stem, options) -> list[Path]:
    """Write a table of each result and its pictures; refuse before anything is drawn."""
    folder = Path(options.out)
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
            paths["constants"]: constants_text(result).encode(),
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


if __name__ == "__main__":
    sys.exit(main())
