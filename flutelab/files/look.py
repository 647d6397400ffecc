"""Why the notes of a flute are where they are: records by name, and all as text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.files.constants_file import Constants
from flutelab.files.foretell import (
    air_of,
    another_flute,
    breath_words,
    checked_words,
    offset_words,
    to_mend_words,
)
from flutelab.files.look_text import MODES, sections, sentences
from flutelab.model.byhand import by_hand, jet_readout
from flutelab.model.corrections import Corrections
from flutelab.model.cutoff import lattice_cutoff
from flutelab.model.flute import End, Flute, Window
from flutelab.model.inside import standing_wave
from flutelab.model.modes import modes, searched
from flutelab.model.notes import predict_notes
from flutelab.model.octaves import octaves
from flutelab.model.rows import rows
from flutelab.model.sensitivities import sensitivities
from flutelab.model.spectrum import spectrum
from flutelab.model.warmth import single_temperature_error
from flutelab.physics.breath import AirAlong
from flutelab.units import to_celsius

NO_JET = "no jet: the flute has no window, so the breath is left out"


@dataclass(frozen=True, kw_only=True, eq=False)
class Looked:
    """What was found: records by name, all as text, and whose pictures they are, in a few words."""

    results: dict[str, object]
    text: str
    caption: str = ""

    def __post_init__(self) -> None:
        for name in self.results:
            if not name.isidentifier():
                msg = f"result {name!r} is no name for a file"
                raise ValueError(msg)


def look(
    flute: Flute,
    fingerings: Sequence[str],
    *,
    constants: Constants | None = None,
    room: float | None = None,
    bore: float | None = None,
    humidity: float | None = None,
    register: int = 1,
    pressure: float | None = None,
    a4: float = 440.0,
) -> Looked:
    """Look inside the notes of a flute.

    Parameters
    ----------
    flute : Flute
    fingerings : sequence of str
        Repeats are dropped.
    constants : Constants, optional
        Default: the formulas as they stand. The calibration's air offset is not applied.
    room, bore, humidity : float, optional
        As in `flutelab.files.foretell.foretell`.
    register : int
        Whose spectrum, standing wave and sensitivities; octaves and rules are of the first.
    pressure : float, optional
        Blowing pressure [Pa], for the jet; of no account without a window.
    a4 : float
        Reference pitch of the note names [Hz].

    Returns
    -------
    Looked
        Results `spectrum`, `standing_wave`, `cutoff`, `octaves`, `rules`, `air` and `warmth`
        (where the air changes along the bore), `jet` (with a pressure), `small_changes`.

    Raises
    ------
    DataError
        Fingerings that do not fit the flute, or a temperature that is not one of air.
    """
    air, said = air_of(flute, constants, room, bore, humidity)
    corrections = Corrections()
    if constants is not None:
        corrections = replace(constants.corrections, air_offset=0.0)
        said = [*to_mend_words(constants), *said]
        said += another_flute(constants, flute)
        said += breath_words(corrections, register)
    words = list(dict.fromkeys(checked_words(flute, fingerings)))
    asked = rows(flute, words, air=air, register=register)
    if constants is not None:
        said += offset_words(constants, flute, asked)
    if pressure is not None and not isinstance(flute.head, Window):
        said, pressure = [*said, NO_JET], None
    results = _results(flute, asked, corrections, pressure)
    if isinstance(air, AirAlong):
        results["air"] = air
    notes = predict_notes(flute, asked, corrections)
    with already_warned():
        found = modes(flute, asked, corrections, count=max(MODES, searched(register)))
    text = [flute.name, *sentences(results), *(f"  {line}" for line in said)]
    for title, lines in sections(flute, notes, found, results, a4):
        text += ["", title, *(f"  {line}" for line in lines)]
    return Looked(
        results=results, text="\n".join(text), caption=_caption(flute, air, constants is not None)
    )


def _caption(flute, air, fitted):
    """Whose pictures they are: flute, air and whether with a fit's corrections."""
    along = isinstance(air, AirAlong)
    kelvin = air.room_temperature if along else air.temperature
    warmth = f"{'room' if along else 'bore'} {round(float(to_celsius(kelvin)), 1):g} °C"
    return "; ".join([flute.name, warmth, *(["with a fit's constants"] if fitted else [])])


def _results(flute, asked, corrections, pressure):
    """The records, by name; what a flute does not have is left out."""
    ends = {end.kind for end in (flute.head, flute.foot) if isinstance(end, End)}
    found = {
        "spectrum": spectrum(flute, asked, corrections),
        "standing_wave": standing_wave(flute, asked, corrections),
        "octaves": octaves(flute, asked, corrections),
        "small_changes": _of_its_parts(flute, sensitivities(flute, asked, corrections)),
    }
    if flute.holes:
        found["cutoff"] = lattice_cutoff(flute, asked, corrections)
    if "stopped" not in ends:
        found["rules"] = by_hand(flute, asked, corrections)
    if isinstance(asked.air, AirAlong):
        found["warmth"] = single_temperature_error(flute, asked, corrections)
    if pressure is not None:
        found["jet"] = jet_readout(flute, asked, pressure, corrections)
    return found


def _of_its_parts(flute, found):
    """The sensitivities without corrections of parts that the flute does not have."""
    ends = {end.kind for end in (flute.head, flute.foot) if isinstance(end, End)}
    lacking = set() if flute.holes else {"wall", "hole_end", "pad_depth"}
    lacking |= set() if isinstance(flute.head, Window) else {"window"}
    lacking |= set() if ends & {"open", "flanged"} else {"foot"}
    keep = np.array([name.removeprefix("correction_") not in lacking for name in found.names])
    return replace(
        found,
        gradient=found.gradient[:, keep],
        **{
            name: tuple(
                value for value, kept in zip(getattr(found, name), keep, strict=True) if kept
            )
            for name in ("names", "what", "group", "unit")
        },
    )
