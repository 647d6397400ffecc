"""Warnings as notes: each once, short waves once a part of the flute, in a workshop's words."""

import numpy as np
import pytest
from made_notes import AIR, SIX

from flutelab import input_impedance, rows
from flutelab.errors import ValidityWarning
from flutelab.files.warned import plain_notes

KA = "{}: ka is {} at the highest frequency (compared up to {})"


def test_each_message_is_told_once_in_its_order():
    assert plain_notes(["b", "a", "b"]) == ["b", "a"]
    assert plain_notes([]) == []


def test_short_waves_are_told_once_for_each_part_with_the_highest_value():
    window, hole = ("window", "0.3"), ("finger hole", "0.6")
    heard = [(window, "0.405"), (hole, "0.7"), (window, "0.54"), (window, "0.403")]
    said = plain_notes([*(KA.format(what, ka, most) for (what, most), ka in heard), "other"])
    assert said[0] == "other"
    assert said[1].startswith(
        "window: its formula was compared up to ka 0.3 (the bore's girth over"
    )
    assert "has 0.54. Trust" in said[1]
    for ka, told in (("0.304", "has 0.304."), ("0.3", "has a little more.")):
        assert told in plain_notes([KA.format("window", ka, "0.3")])[0]
    assert said[2].startswith("finger hole: its formula was compared up to ka 0.6")
    assert len(said) == 3


def test_the_words_are_those_that_the_formulas_use():
    with pytest.warns(ValidityWarning) as caught:
        input_impedance(SIX, rows(SIX, "oooooo", air=AIR), np.array([400.0, 8000.0]))
    said = plain_notes(str(warning.message) for warning in caught)
    assert [note.partition(":")[0] for note in said] == ["window", "finger hole"]
    assert all("the bore's girth" in note for note in said)
