"""Which mode each measured note is taken for, and the words for those that fit none."""

from dataclasses import replace

import numpy as np
import pytest
from made_notes import AIR, CENT, PIPE, SCALE, SIX, STOPPED, changed, notes_of

from flutelab import Bore, Corrections, End, Flute, modes, playing_frequencies, rows
from flutelab.fitting.assign import assign


def unlabelled(measured):
    """The same rows with no register stated."""
    register = np.zeros(len(measured.rows), dtype=int)
    return replace(measured, rows=replace(measured.rows, register=register))


def test_each_row_takes_the_root_of_its_register():
    measured = notes_of(SIX, SCALE[:3] * 2, register=[1] * 3 + [2] * 3)
    found = assign(measured, Corrections())
    expected = modes(SIX, rows(SIX, SCALE[:3], air=AIR), count=2).root
    assert found.left_out == ("",) * 6
    assert found.root[:3] == pytest.approx(expected[:, 0], rel=1e-9)
    assert found.root[3:] == pytest.approx(expected[:, 1], rel=1e-9)
    assert found.book == pytest.approx(measured.frequency, rel=1e-9)


def test_a_row_without_register_is_the_first():
    found = assign(unlabelled(notes_of(SIX, SCALE)), Corrections())
    assert found.register.tolist() == [1] * 7
    assert found.left_out == ("",) * 7


@pytest.mark.parametrize(("cents", "left_out"), [(299, False), (-299, False), (301, True),
                                                 (-301, True)])  # fmt: skip
def test_300_cents_are_near(cents, left_out):
    found = assign(changed(notes_of(SIX, SCALE), 2, cents), Corrections())
    assert bool(found.left_out[2]) == left_out
    if left_out:
        assert found.left_out[2] == (
            f"{cents:+d} cents from register 1: check the fingering and the note"
        )


def test_an_overblown_note_without_register_is_named_with_both_readings():
    overblown = notes_of(SIX, SCALE[:1], register=2)
    off = 1200 * np.log2(overblown.frequency / playing_frequencies(SIX, SCALE[:1], air=AIR))[0]
    why = assign(unlabelled(overblown), Corrections()).left_out[0]
    assert why == (
        f"{off:+.0f} cents from the first register, but +0 from register 2: "
        "write register = 2, or mend the octave"
    )


def test_the_octave_of_another_register_is_named():
    # Labelled second, played in the first.
    first = notes_of(SIX, SCALE[:1])
    labelled = replace(first, rows=replace(first.rows, register=np.array([2])))
    why = assign(labelled, Corrections()).left_out[0]
    assert "from register 2, but +0 from register 1: write register = 1" in why


@pytest.mark.parametrize(
    ("cents", "way"), [(-1200, "an octave low"), (-1290, "an octave low"), (-1110, "an octave low")]
)
def test_an_octave_slip_is_named(cents, way):
    why = assign(changed(notes_of(SIX, SCALE), 4, cents), Corrections()).left_out[4]
    # no register lies below the first, so none is to be written
    assert why == f"{cents:+d} cents from register 1: it reads {way}; mend the octave"


@pytest.mark.filterwarnings("ignore::flutelab.errors.ValidityWarning")  # a high note
def test_an_octave_high_where_no_register_is_near():
    # A stopped pipe overblows to the twelfth and beyond: nothing speaks near its octave.
    measured = notes_of(STOPPED, ["n"])
    higher = modes(STOPPED, measured.rows, count=3).frequency[0, 1:]
    assert np.nanmin(np.abs(1200 * np.log2(higher / measured.frequency[0]) - 1200)) > 200
    why = assign(changed(measured, 0, 1200), Corrections()).left_out[0]
    assert why.startswith("+1200 cents from register 1: it reads an octave high; mend the octave")


def test_a_register_that_does_not_exist_has_a_reason():
    # A short wide pipe has no second mode among plane waves: k a < 1.84 (first cross mode).
    bead = Flute(
        name="bead",
        bore=Bore(stations=((0.0, 0.030),)),
        holes=(),
        head=End(position=0.0),
        foot=End(position=0.035),
    )
    asked = rows(bead, [""], air=AIR, register=2)
    measured = replace(notes_of(bead, [""]), rows=asked)
    found = assign(measured, Corrections())
    assert np.isnan(found.root[0])
    assert np.isnan(found.book[0])
    assert found.left_out == ("this fingering has no note in register 2",)


def test_breath_and_register_terms_count_before_the_300_cents():
    corrections = Corrections(second_register=120.0)
    measured = changed(notes_of(PIPE, [""], register=2), 0, 350.0)
    assert assign(measured, Corrections()).left_out[0]
    assert assign(measured, corrections).left_out[0] == ""
    book = assign(measured, corrections).book[0]
    assert np.log(measured.frequency[0] / book) / CENT == pytest.approx(230.0, abs=1e-6)
