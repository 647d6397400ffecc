"""Rows from fingering text: closed, open, half-covered and not drilled holes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flutelab.model.flute import Bore, End, Flute, Hole
from flutelab.model.rows import distinct, fingering_word, rows, take
from flutelab.physics.air import moist_air

AIR = moist_air(295.15)
FLUTE = Flute(
    name="",
    bore=Bore(stations=((0.0, 0.016),)),
    holes=tuple(Hole(position=0.1 * n, diameter=0.006, wall=0.003) for n in (1, 2, 3)),
    head=End(position=0.0, kind="node"),
    foot=End(position=0.4, kind="flanged"),
)


def test_letters_become_shares_left_open():
    made = rows(FLUTE, "xoh hnx", air=AIR)
    assert made.openness.tolist() == [[0.0, 1.0, 0.5], [0.5, 0.0, 0.0]]
    assert made.drilled.tolist() == [[True, True, True], [True, False, True]]
    assert made.label == ("xoh", "hnx")


@pytest.mark.parametrize("half", "hH◐◑◒◓")
def test_half_covered_holes_are_read_and_written_as_h(half):
    assert fingering_word(f"x{half}●○", 4) == "xhxo"


@given(st.lists(st.text("xohn", min_size=3, max_size=3), min_size=1, max_size=5))
def test_words_read_back_from_rows(words):
    made = rows(FLUTE, words, air=AIR)
    letters = np.select(
        [~made.drilled, made.openness == 1, made.openness == 0.5], ["n", "o", "h"], "x"
    )
    assert ["".join(row) for row in letters] == words


def test_a_half_covered_hole_is_a_row_of_its_own():
    made = rows(FLUTE, "xxo xxh xxx xxh", air=AIR)
    index, inverse = distinct(made)
    assert len(index) == 3
    assert inverse[1] == inverse[3]
    assert take(made, np.array([1])).openness.tolist() == [[0.0, 0.0, 0.5]]


@pytest.mark.parametrize(
    ("text", "words"),
    [("xq!", "holds '!', 'q'; use x (closed), o (open), h (half covered) and n"), ("xh", "has 2")],
)
def test_what_is_no_fingering_is_refused(text, words):
    with pytest.raises(ValueError, match="fingering") as error:
        rows(FLUTE, [text], air=AIR)
    assert words in str(error.value)
    with pytest.raises(ValueError, match="no fingering is given"):
        rows(FLUTE, [], air=AIR)


def test_a_flute_without_holes_has_one_row():
    made = rows(Flute(**{**vars(FLUTE), "holes": ()}), "", air=AIR)
    assert made.openness.shape == (1, 0)
