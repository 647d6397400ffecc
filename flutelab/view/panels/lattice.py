"""The panel of what happens inside: any fingering's spectrum and standing wave."""

from __future__ import annotations

from dataclasses import asdict
from functools import partial

import numpy as np

from flutelab.errors import already_warned
from flutelab.files.look_text import DRIVEN, DRIVEN_BELOW
from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute
from flutelab.model.modes import modes, passed_over
from flutelab.model.notes import predict_notes
from flutelab.model.rows import rows
from flutelab.model.within import Within, within
from flutelab.physics.breath import AirAlong
from flutelab.pitch import nearest_note
from flutelab.units import celsius
from flutelab.view.panels.frame import Panel, View
from flutelab.view.panels.kit import Choice, Fingering, Number
from flutelab.view.panels.lattice_pictures import (
    Axes,
    modes_seen,
    spectrum_picture,
    wave_picture,
)
from flutelab.view.panels.lattice_tables import (
    along_bore,
    modes_heard,
    openings,
    spectrum_rows,
)

REGISTERS = 3
_SPECTRUM = 120  # points at least, besides those about the modes
_STEPS = (50, 20, 10, 5, 2, 1)  # Hz between them: round, as they are read as a table too
_LOWEST = 0.6  # of the lowest note, where the spectrum begins
_TOP = 1.02  # of the highest note of the usual and of forked fingerings, where it ends
_WARMEST = celsius(35)
_BEYOND = (0.045, 0.015)  # m, drawn beyond head and foot: a plain pipe's ends lie there
_REMARKS = {
    "near cutoff": "It lies near the cutoff of its open holes or above: it belongs to the whole "
    "pipe, and is trusted less.",
    "ok": "",
}


def lattice_panel(flute: Flute, corrections: Corrections | None = None) -> Panel:
    """Return a panel that looks inside a flute: any fingering, register and room.

    Parameters
    ----------
    flute : Flute
    corrections : Corrections, optional
        Without a batch axis.

    Returns
    -------
    Panel
        The spectrum at the window or head with its modes and the cutoff of the open holes; the
        standing wave with what leaves at which opening.
    """
    axes = _axes(flute, corrections)

    def ask(fingering, register, room):
        air = AirAlong(room_temperature=celsius(room))
        notes = rows(flute, [fingering], air=air)
        return within(flute, notes, corrections, frequency=axes.frequency, register=register)

    def call(fingering, register, room):
        return (
            "import flutelab\nfrom flutelab.units import celsius\n\n"
            f"flute = flutelab.read_flute({str(flute.source)!r})\n"
            f"air = flutelab.AirAlong(room_temperature=celsius({room:g}))\n"
            f"note = flutelab.rows(flute, [{fingering!r}], air=air)\n"
            f"corrections = flutelab.Corrections({_changed(corrections)})\n"
            f"wave = flutelab.standing_wave(flute, note, corrections, register={register})\n"
            "seen = flutelab.spectrum(flute, note, corrections)\n"
            "print(flutelab.table(wave), flutelab.table(seen))"
        )

    return Panel(
        title="Inside the flute",
        controls={
            "fingering": Fingering(value=_first(flute), cycle="xho"),
            "register": Choice(
                label="Register",
                choices={f"{n}. register": n for n in range(1, REGISTERS + 1)},
            ),
            "room": Number(label="Room", unit="°C", value=22, low=10, high=35, step=0.5),
        },
        ask=ask,
        sentence=within_words,
        views=[
            View(draw=spectrum_picture(axes), words=_spectrum_words),
            View(draw=wave_picture(axes), words=_wave_words),
        ],
        table=partial(openings, axes),
        curves={
            "Read the modes as table": modes_heard,
            "Read the spectrum as table": partial(spectrum_rows, axes),
            "Read pressure and flow along the bore as table": partial(along_bore, axes),
        },
        call=call,
    )


def _first(flute):
    """A fingering with something to see: the lower half open."""
    count = len(flute.holes)
    return "x" * (count - count // 2) + "o" * (count // 2)


def _changed(corrections):
    """The corrections that are not the usual ones, as they are written."""
    usual, mine = asdict(Corrections()), asdict(corrections or Corrections())
    return ", ".join(f"{n}={value!r}" for n, value in mine.items() if value != usual[n])


def _axes(flute, corrections):
    """Limits that hold for every fingering, register and room."""
    count = len(flute.holes)
    warm = AirAlong(room_temperature=_WARMEST)
    scale = ["x" * (count - n) + "o" * n for n in range(count + 1)]
    forked = ["o" * n + "x" + "o" * (count - n - 1) for n in range(count)]
    with already_warned():
        asked = rows(flute, [*scale, *forked], air=warm, register=REGISTERS)
        third = predict_notes(flute, asked, corrections).frequency
        both = rows(flute, [scale[0], scale[-1]], air=warm)
        first = modes(flute, both, corrections, count=1).frequency[:, 0]
        highest = np.nanmax([*third, REGISTERS * first[0]])  # some may have no such register
        frequency = _round_steps(_LOWEST * first[0], _TOP * highest)
        seen = within(flute, both, corrections, frequency=frequency)
    size = np.abs(seen.admittance)
    return Axes(
        frequency=frequency, low=float(np.min(size)) / 3, high=float(np.max(size)) * 8,
        left=-_BEYOND[0], right=float(flute.foot.position) + _BEYOND[1], openings=count + 2,
        upper=seen.wave.opening[0], unit=flute.unit,
    )  # fmt: skip


def _round_steps(low, high):
    """Multiples of a round step from `low` to `high` [Hz]."""
    step = next((s for s in _STEPS if (high - low) / s >= _SPECTRUM), _STEPS[-1])
    return step * np.arange(np.floor(low / step), np.ceil(high / step) + 1)


# --- words ----------------------------------------------------------------------------------


def within_words(seen: Within) -> str:
    """Return what sounds, in one sentence and a remark where one is due."""
    wave, word = seen.wave, seen.wave.label[0] or "The bare pipe"
    if wave.reason[0]:
        return f"{word}: nothing sounds ({wave.reason[0]})."
    note, off = nearest_note(wave.frequency[0])
    column = seen.column[0]
    said = (
        f"{word}: {wave.frequency[0]:.1f} Hz, {note} {off:+z.0f} cents; Q is "
        f"{seen.modes.q[0, column]:.0f}. {_leaves(wave)}"
    )
    weak = passed_over(seen.modes, 0, column)
    driven = np.any(wave.power_share[0] < DRIVEN_BELOW)
    remarks = [
        _REMARKS[seen.modes.status[0, column]],
        f"Below it: {weak}." if weak else "",
        f"{DRIVEN[0].upper()}{DRIVEN[1:]}." if driven else "",
    ]
    return " ".join(filter(None, [said, *remarks]))


def _leaves(wave):
    """Which opening sends out most of the sound."""
    share = wave.power_share[0]
    if np.all(np.isnan(share)):
        return "No sound leaves anywhere."
    most = int(np.nanargmax(share))
    return f"{_percent(share[most])} of the sound leaves at {_named(wave.opening[most])}."


def _named(opening):
    return opening if opening.startswith("hole") else f"the {opening}"


def _percent(share):
    return f"{round(float(100 * share))} %"


def _spectrum_words(seen):
    found = [
        f"{f:.0f} Hz (Q {q:.0f}{', ' + status if status != 'ok' else ''})"
        for f, q, _, status in modes_seen(seen)
    ]
    cutoff = seen.cutoff[0]
    edge = f" The cutoff of its open holes is {cutoff:.0f} Hz." if np.isfinite(cutoff) else ""
    return (
        f"Spectrum of {seen.wave.label[0] or 'the bare pipe'}: peaks at {', '.join(found)}.{edge}"
    )


def _wave_words(seen):
    wave = seen.wave
    if wave.reason[0]:
        return f"No standing wave: {wave.reason[0]}."
    shares = [
        f"{name} {_percent(share)}"
        for name, share, out in zip(wave.opening, wave.power_share[0], wave.outflow[0], strict=True)
        if out != 0
    ]
    return (
        f"Standing wave at {wave.frequency[0]:.1f} Hz. Of the radiated power leave at the "
        f"openings: {', '.join(shares) or 'nothing'}."
    )
