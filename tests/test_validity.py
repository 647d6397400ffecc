"""What leaves a formula's range is told once a call, with the value; so is what is left out."""

import re
import warnings
from dataclasses import replace

import numpy as np
import pytest
from made_notes import notes_of

from flutelab import (
    Bore,
    Corrections,
    End,
    Flute,
    Hole,
    Spread,
    ValidityWarning,
    Window,
    calibrate,
    input_impedance,
    modes,
    moist_air,
    playing_frequencies,
    predict_notes,
    rows,
)
from flutelab.model.chain import PUBLISHED, chain
from flutelab.model.lattice import elements
from flutelab.pitch import cents

AIR = moist_air(295.0)
PLACES = (0.14, 0.165, 0.19, 0.215)


def flute(diameter=0.007, wall=0.0028, angles=(0.0,) * 4, bore=0.016, **window):
    sizes = {"along": 0.006, "across": 0.007, "wall": 0.0028} | window
    return Flute(
        name="checked",
        bore=Bore(stations=((0.0, bore),)),
        holes=tuple(
            Hole(position=x, diameter=diameter, wall=wall, angle=angle)
            for x, angle in zip(PLACES, angles, strict=True)
        ),
        head=Window(**sizes),
        foot=End(position=0.3, outer_diameter=bore + 2 * wall),
    )


def told(call):
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        call()
    return [str(w.message) for w in caught if issubclass(w.category, ValidityWarning)]


def one_hole_changed(**changes):
    one = flute()
    return replace(one, holes=(replace(one.holes[0], **changes), *one.holes[1:]))


ODD = {
    "a long oval": (one_hole_changed(aspect=3.0), "over its width is 3 (compared 0.5 to 2)"),
    "a deep undercut": (one_hole_changed(inner_diameter=0.0105), "outside is 1.5 (compared 1"),
    "a narrowing chimney": (one_hole_changed(inner_diameter=0.0049), "outside is 0.7 (compared 1"),
    "a round edge": (one_hole_changed(outer_rounding=0.0028), "its own is 0.8 (compared up to 0.5"),
    "a far plug": (flute(plug_to_window=0.03), "its plug lies 4.12 bore radii behind its centre"),
    "a tall block": (flute(block=0.05), "its block is 13.7 of the equal circle's radius high"),
    "a wide cone": (
        replace(flute(), bore=Bore(stations=((0.25, 0.016), (0.27, 0.03))), foot=End(position=0.3)),
        "its radius changes by 0.35 of the length (compared up to 0.2)",
    ),
    "a wide hole": (flute(diameter=0.0136), "its radius is 0.85 of the bore's (compared up to 0.8"),
    "a thin wall": (flute(wall=0.0006), "its wall is 0.171 of its radius (compared from 0.25)"),
    "a wide window": (flute(across=0.016), "its width across the pipe is 2.67 of its length"),
    "a large window": (flute(along=0.012, across=0.012), "its area is 0.716 of the bore's"),
    "a shallow ramp": (flute(ramp=np.radians(12)), "its ramp rises by 12 degrees"),
    "a thick rim": (
        replace(flute(), foot=End(position=0.3, outer_diameter=0.08)),
        "inner radius is 0.2 of its outer",
    ),
}


@pytest.mark.parametrize("case", ODD)
def test_each_range_is_warned_about_once_a_call_with_its_value(case):
    odd, words = ODD[case]
    calls = (
        lambda: playing_frequencies(odd, "xxxx xxoo", air=AIR),
        lambda: modes(odd, rows(odd, "xxxx xxoo", air=AIR)),
        lambda: input_impedance(odd, rows(odd, "xxxx xxoo", air=AIR), np.array([500.0])),
    )
    for call in calls:
        found = [message for message in told(call) if words in message]
        assert len(found) == 1, found


def test_an_ordinary_flute_is_not_warned_about():
    one = flute()
    assert told(lambda: playing_frequencies(one, "xxxx xxoo oooo", air=AIR, register=2)) == []


def test_a_hole_that_is_not_drilled_is_not_warned_about():
    odd = flute()
    odd = replace(odd, holes=(*odd.holes[:3], replace(odd.holes[3], diameter=0.0136)))
    assert told(lambda: playing_frequencies(odd, "xxxn xoon", air=AIR)) == []
    long_oval = replace(flute(), holes=(*odd.holes[:3], replace(flute().holes[3], aspect=3.0)))
    assert told(lambda: playing_frequencies(long_oval, "xxxn xoon", air=AIR)) == []
    assert len(told(lambda: playing_frequencies(odd, "xxxn xooo", air=AIR))) == 1


def test_the_narrowest_part_of_a_bore_counts_for_its_losses():
    thin = replace(flute(), holes=(), bore=Bore(stations=((0.1, 0.016), (0.28, 0.0006))))
    messages = told(lambda: input_impedance(thin, rows(thin, "", air=AIR), np.array([400.0])))
    assert [m for m in messages if "Stokes number" in m]


def test_frequencies_beyond_the_holes_range_are_told():
    one = flute(bore=0.03, along=0.01, across=0.015)
    asked = rows(one, "xxoo", air=AIR)
    assert told(lambda: input_impedance(one, asked, np.linspace(100, 1000, 5))) == []
    messages = told(lambda: input_impedance(one, asked, np.linspace(100, 3000, 5)))
    ka = 2 * np.pi * 3000 / AIR.sound_speed * 0.015
    assert messages == [
        f"window: ka is {ka:.3g} at the highest frequency (compared up to 0.3)",
        f"finger hole: ka is {ka:.3g} at the highest frequency (compared up to 0.6)",
    ]


def test_the_gradient_of_a_prediction_warns_no_second_time():
    odd = flute(diameter=0.0136)
    spread = Spread(names=("window", "wall"), covariance=np.diag([0.01, 0.01]))
    asked = rows(odd, "xxxx xxoo", air=AIR)
    assert len(told(lambda: predict_notes(odd, asked, Corrections(), spread))) == 1


# --- openings off the line -------------------------------------------------------------


def test_the_coupling_of_a_hole_off_the_line_is_left_out_and_of_no_other():
    turned = flute(angles=(0.0, 0.0, np.pi, 0.0))
    e = elements(chain(turned, rows(turned, "oooo", air=AIR)), np.full((1, 1, 1), 600.0))
    straight = flute()
    full = elements(chain(straight, rows(straight, "oooo", air=AIR)), np.full((1, 1, 1), 600.0))
    gone = np.zeros((6, 6), bool)
    gone[3, :] = gone[:, 3] = True
    assert np.all(e.mutual[0, 0, 0][gone] == 0)
    assert np.all(e.mutual[0, 0, 0][~gone] == full.mutual[0, 0, 0][~gone])


def test_a_hole_that_still_reaches_the_line_lies_on_it():
    """Its edge: 3.5 mm along the outside of radius 10.8 mm is 18.6 degrees."""
    near, far = (flute(angles=(0.0, 0.0, np.radians(a), 0.0)) for a in (18, 20))
    assert told(lambda: playing_frequencies(near, "oooo", air=AIR)) == []
    assert len(told(lambda: playing_frequencies(far, "oooo", air=AIR))) == 1


def test_only_holes_off_the_line_are_named():
    """Also where the one on it has nobody else to hear: both ends closed or ideal."""
    deaf = replace(
        flute(angles=(0.0, np.pi, 0.0, 0.0)),
        head=End(position=0.0, kind="node"),
        foot=End(position=0.3, kind="stopped"),
    )
    (message,) = told(lambda: modes(deaf, rows(deaf, "ooxx", air=AIR), count=1))
    assert message.startswith("hole 2 does not lie on the line of the window")


def test_the_warning_tells_how_many_cents_are_left_out():
    turned, words = flute(angles=(0.0, 0.0, np.pi, 0.0)), "xxxx xxxo xxoo xooo oooo"
    (message,) = told(lambda: modes(turned, rows(turned, words, air=AIR), count=1))
    size = float(re.search(r"up to ([\d.]+) cents", message)[1])
    with pytest.warns(ValidityWarning, match="does not lie on the line"):
        out = playing_frequencies(turned, words, air=AIR)
    moved = cents(playing_frequencies(flute(), words, air=AIR), out)
    assert size == pytest.approx(np.max(np.abs(moved)), abs=0.051)
    assert 1 < size < 10
    (spectrum,) = told(lambda: input_impedance(turned, rows(turned, "oooo", air=AIR), [500.0]))
    assert spectrum.startswith("hole 3 does not lie on the line")
    assert "`modes` says by how many cents" in spectrum


def test_nothing_is_left_out_where_the_hole_is_closed_or_coupling_off():
    turned = flute(angles=(0.0, 0.0, np.pi, 0.0))
    assert told(lambda: playing_frequencies(turned, "xxxo ooxo", air=AIR)) == []
    off = Corrections(coupling=0.0)
    assert told(lambda: playing_frequencies(turned, "oooo", air=AIR, corrections=off)) == []


def test_a_fit_warns_when_it_starts_and_not_at_each_step():
    turned = flute(angles=(0.0, 0.0, np.pi, 0.0))
    with pytest.warns(ValidityWarning):
        m = notes_of(turned, "xxxx xxxo xxoo xooo oooo", off=5.0)
    assert len(told(lambda: calibrate(m))) == 1


def test_the_published_window_says_that_it_knows_no_ramp():
    ramped = flute(ramp=np.radians(30), block=0.004)
    (message,) = told(lambda: playing_frequencies(ramped, "xxxx", air=AIR, formulas=PUBLISHED))
    assert "neither ramp nor block" in message


# --- the other set ---------------------------------------------------------------------


def test_the_published_set_is_chosen_by_name_and_differs_by_cents():
    one, words = flute(), "xxxx xxxo xxoo xooo oooo"
    own = playing_frequencies(one, words, air=AIR)
    other = playing_frequencies(one, words, air=AIR, formulas=PUBLISHED)
    off = np.abs(cents(other, own))
    assert np.all(off > 0.01)
    assert np.max(off) < 8
    asked = rows(one, words, air=AIR)
    spread = Spread(names=("window",), covariance=np.array([[0.01]]))
    notes = predict_notes(one, asked, spread=spread, formulas=PUBLISHED)
    assert notes.frequency == pytest.approx(other)
    assert np.all(notes.sd > 0)
    assert modes(one, asked, count=1, formulas=PUBLISHED).frequency[:, 0] == pytest.approx(other)
    seen = input_impedance(one, asked, other, formulas=PUBLISHED)
    assert np.all(np.abs(np.diagonal(seen).imag) < 0.05 * np.max(np.abs(seen)))


# --- what cannot be meant --------------------------------------------------------------


def test_words_in_place_of_rows_are_told_how_to_become_rows():
    for call in (predict_notes, modes, lambda f, w: input_impedance(f, w, [500.0])):
        with pytest.raises(TypeError, match=r"fingerings are a list; make them with rows\(flute"):
            call(flute(), ["xxoo"])


def test_a_name_in_place_of_formulas_is_told_what_to_give():
    with pytest.raises(TypeError, match=r"formulas are 'PUBLISHED'; give a Formulas, such as"):
        playing_frequencies(flute(), "xxoo", air=AIR, formulas="PUBLISHED")


@pytest.mark.parametrize("frequency", [0.0, -5.0, np.nan])
def test_a_frequency_that_is_none_is_refused(frequency):
    with pytest.raises(ValueError, match=r"frequency .* Hz: it must be greater than 0"):
        input_impedance(flute(), rows(flute(), "xxoo", air=AIR), [100.0, frequency])
