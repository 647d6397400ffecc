"""The jet's read-out, and what a recorder's recordings say of breath and pitch."""

import csv
from pathlib import Path

import numpy as np
import pytest
from made_notes import PIPE
from reference.published import published

from flutelab import Corrections, moist_air, rows
from flutelab.model.corrections import default_priors
from flutelab.model.notes import played_cents
from flutelab.physics import jet

TABLE = Path(__file__).parent / "published" / "recorder_breath.csv"


@pytest.mark.parametrize(("pressure", "speed", "reduced"), [
    # own arithmetic from Bernoulli's law: density 1.17 kg/m3, cut-up 6 mm, 500 Hz
    (100.0, 13.1, 4.4), (200.0, 18.5, 6.2), (400.0, 26.1, 8.7), (800.0, 37.0, 12.3),
])  # fmt: skip
def test_printed_jets(pressure, speed, reduced):
    found = jet.jet_speed(pressure, 1.17)
    assert found == pytest.approx(speed, abs=0.0501)
    assert jet.reduced_velocity(found, 500.0, 0.006) == pytest.approx(reduced, abs=0.0501)


def test_a_pressure_below_nothing_is_refused():
    with pytest.raises(ValueError, match="-3 Pa; it must be 0 or more"):
        jet.jet_speed(np.array([3.0, -3.0]), 1.2)


# --- a recorder: D. Chin, G. Xia, arXiv:2107.08727 (2021), their recordings analysed again ----


def recordings():
    """(doublings of 30 Pa, cents above the first) of each note."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        table = list(csv.DictReader(line for line in file if not line.startswith("#")))
    for note in dict.fromkeys(row["note"] for row in table):
        own = [row for row in table if row["note"] == note]
        pressure, frequency = (
            np.array([float(row[name]) for row in own]) for name in ("pressure_pa", "frequency_hz")
        )
        yield note, np.log2(pressure / 30.0), 1200 * np.log2(frequency / frequency[0])


def published_slopes():
    values = {"slope": [], "scatter": []}
    for row in published("recorder_slopes"):
        values[row["quantity"]].append(row["value"])
    return np.array(values["slope"]), np.array(values["scatter"])


def test_one_slope_serves_all_notes():
    slope, scatter = published_slopes()
    common = np.sum(slope / scatter**2) / np.sum(1 / scatter**2)
    assert common == pytest.approx(41.2, abs=0.05)
    assert np.all(np.abs(slope - common) < scatter)
    prior = default_priors()["breath"]
    assert abs(common - prior.mean) < prior.sd


def test_one_slope_through_the_medians():
    """Four notes' own slopes lie within their scatter of it; G5 levels off, and does not."""
    _, scatter = published_slopes()
    top = bottom = 0.0
    own = {}
    for note, doublings, cents in recordings():
        off = doublings - np.mean(doublings)
        own[note] = np.sum(off * cents) / np.sum(off**2)
        top, bottom = top + np.sum(off * cents), bottom + np.sum(off**2)
    common = top / bottom
    assert common == pytest.approx(45.4, abs=0.05)
    within = np.abs(np.array(list(own.values())) - common) < scatter
    assert dict(zip(own, within, strict=True)) == {
        "E5": True, "F5": True, "G5": False, "A5": True, "B5": True,
    }  # fmt: skip


def test_pitch_saturates_in_one_note_of_three():
    """Cents per doubling up to 75 Pa, and from there; B5 also up to 50 Pa, and from there."""
    slopes = {}
    for note, doublings, cents in recordings():
        softest, knee = (np.log2(pressure / 30) + 0.01 for pressure in (50, 75))
        if np.sum(doublings > knee):
            parts = [doublings < knee, doublings > knee - 0.02]
            parts += [doublings < softest, doublings > softest - 0.02] if note == "B5" else []
            slopes[note] = [np.polyfit(doublings[part], cents[part], 1)[0] for part in parts]
    assert {note: np.round(some).tolist() for note, some in slopes.items()} == {
        "G5": [40, -2], "A5": [46, 49], "B5": [58, 45, 74, 43],
    }  # fmt: skip


def test_the_breath_term_against_the_recordings():
    for _, doublings, cents in recordings():
        pressure = 30 * 2.0**doublings
        blown = rows(PIPE, [""] * len(cents), air=moist_air(295.0), breath=pressure)
        usual = Corrections(
            breath=41.2, reference_pressure=float(np.exp(np.mean(np.log(pressure))))
        )
        off = cents - np.mean(cents) - played_cents(blown, usual)
        assert np.median(np.abs(off)) < 7
        assert np.max(np.abs(off)) < 21  # B5 at 30 Pa, the softest there is
