"""The panel of the notebook on what happens inside: any fingering's standing wave."""

from __future__ import annotations

import numpy as np

from flutelab.model.corrections import Corrections
from flutelab.model.flute import Flute
from flutelab.model.inside import standing_wave
from flutelab.model.rows import rows
from flutelab.physics.breath import AirAlong
from flutelab.pitch import nearest_note
from flutelab.units import celsius, millimetres
from flutelab.view.panels.frame import Panel, View
from flutelab.view.panels.kit import Fingering, Number
from flutelab.view.panels.live import Live
from flutelab.view.style import BLUE, PALE, VERMILION


def lattice_panel(flute: Flute, corrections: Corrections | None = None) -> Panel:
    """Return a panel that shows the standing wave of any fingering in a room of any warmth."""

    def ask(fingering, room):
        air = AirAlong(room_temperature=celsius(room))
        return standing_wave(flute, rows(flute, fingering, air=air), corrections, points=80)

    def sentence(wave):
        note, off = nearest_note(wave.frequency[0])
        return f"{wave.label[0]}: {wave.frequency[0]:.1f} Hz, {note} {off:+.0f} cents."

    def begin(figure, _):
        ax = figure.subplots()
        ax.axhline(0, color=PALE, linewidth=1.0)
        ax.set_xlim(millimetres(-0.01), millimetres(flute.foot.position + 0.02))
        ax.set_ylim(-1.1, 1.1)
        ax.set_xlabel("place in the bore, from the sounding edge [mm]")
        ax.set_ylabel("over its largest")
        ax.set_title("Standing wave (not the path of the air)", loc="left")
        (pressure,) = ax.plot([], [], color=BLUE, linewidth=2.2, label="pressure")
        (flow,) = ax.plot([], [], color=VERMILION, linewidth=2.2, linestyle="--", label="flow")
        ax.legend(loc="upper right")
        return pressure, flow

    def move(artists, wave):
        pressure, flow = artists
        place = millimetres(wave.position)
        moved = wave.flow[0].imag
        pressure.set_data(place, wave.pressure[0].real)
        flow.set_data(place, moved / np.max(np.abs(moved)))

    return Panel(
        title="Inside the flute",
        controls={
            "fingering": Fingering(value="x" * len(flute.holes)),
            "room": Number(label="Room", unit="°C", value=22, low=10, high=35, step=0.5),
        },
        ask=ask,
        sentence=sentence,
        views=[View(draw=Live(begin, move), words=sentence)],
    )
