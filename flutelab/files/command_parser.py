"""The command line's commands and options, as argparse wants them; what they do is elsewhere."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Mapping

from flutelab.files.options import Refusal, hole_count, nearest, number, register, seed
from flutelab.fitting.calibrate import DEFAULT_FREE, OWN
from flutelab.model.corrections import NAMES

_A4 = "pitch of A4 for the names of notes (default: 440)"


class _Parser(argparse.ArgumentParser):
    """Says what was probably meant."""

    def error(self, message):
        """Refuse an option that cannot be used, in one line; print the usage of a whole command."""
        if choice := re.search(r"invalid choice: '(.+?)' \(choose from (.+)\)", message):
            message += nearest(choice[1], re.findall(r"[\w-]+", choice[2]))
        if told := re.search(r"argument (--[\w-]+): expected one argument", message):
            value = "-2C" if told[1] in ("--room", "--bore") else "VALUE"
            message += f"; one that begins with - needs a =, as in {told[1]}={value}"
        if message.endswith("required: flute"):
            message += "; write the flute file right after the command, before the options"
        if message.startswith("argument --"):
            msg = f"{self.prog}: {message} (see {self.prog} --help)"
            raise Refusal(msg)
        super().error(message)


def command_parser(
    run: Mapping[str, Callable[[argparse.Namespace], int]], version: str
) -> tuple[argparse.ArgumentParser, Mapping[str, argparse.ArgumentParser]]:
    """Return the parser of the command line, and those of the commands by name.

    Parameters
    ----------
    run : mapping of str to callable
        What each command does with its options, told as their `run`; returns an exit code.
    version : str
        Of the kit.
    """
    parser = _Parser(
        prog="flutelab",
        description="Fit the end corrections of duct flutes to measured notes, and foretell notes.",
    )
    parser.add_argument("--version", action="version", version=version)
    commands = parser.add_subparsers(required=True, metavar="COMMAND", dest="command")
    _predict_parser(commands)
    _calibrate_parser(commands)
    _look_parser(commands)
    _why_parser(commands)
    _next_parser(commands)
    _papers_parser(commands)
    opening = commands.add_parser("open", help="open the notebooks in a folder of your own")
    opening.add_argument("folder", nargs="?", help='default: "My flutes" in your documents')
    opening.add_argument(
        "--class",
        dest="for_class",
        action="store_true",
        help="for a projector: larger letters, and what a class tries is not saved by itself",
    )
    for name, each in commands.choices.items():
        each.set_defaults(run=run[name])
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


def _why_parser(commands) -> None:
    asked = commands.add_parser(
        "why", help="show what could explain notes that do not match, before any fit"
    )
    asked.add_argument(
        "files", nargs="+", metavar="FLUTE NOTES", help="each note table after its flute file"
    )
    asked.add_argument("--out", metavar="DIR", help="folder for tables and pictures")
    asked.add_argument("--overwrite", action="store_true", help="replace files that are there")
    asked.set_defaults(a4=440.0)


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
    asked.set_defaults(a4=440.0)


def _papers_parser(commands) -> None:
    printed = commands.add_parser("papers", help="print papers for a class and a workbench (PDF)")
    printed.add_argument(
        "--out", metavar="DIR", help='default: "papers" in "My flutes" in your documents'
    )
    printed.add_argument(
        "--paper", type=str.lower, choices=("a4", "letter"), default="a4", help="(default: a4)"
    )
    printed.add_argument(
        "--holes", type=hole_count, default=6, metavar="N", help="of the blank sheets (default: 6)"
    )
    printed.add_argument(
        "--unit", choices=("mm", "in"), default="mm",
        help="of the blank sheets; in with Fahrenheit (default: mm)",
    )  # fmt: skip
    printed.add_argument("--overwrite", action="store_true", help="replace files that are there")


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


def _own_option(parser, more) -> None:
    parser.add_argument(
        "--own", metavar="NAME[,NAME...]", default=",".join(OWN),
        help="of several flutes, corrections that each has for itself (default: "
        f"{','.join(OWN)}){more}",
    )  # fmt: skip
