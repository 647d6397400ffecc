"""The picture of one hole: whatever it says can be read, hidden and shown."""

from itertools import combinations
from pathlib import Path

import pytest
from matplotlib.text import Text

from flutelab import read_flute
from flutelab.files.hole_lesson import LEVELS, hole_note
from flutelab.model.flute import bore_diameter
from flutelab.model.hole_sweep import reshaped
from flutelab.units import celsius
from flutelab.view.panels.curtain import HIDDEN
from flutelab.view.panels.hole_picture import hole_picture

DEMO = Path(__file__).resolve().parent.parent / "data-demo"
PIPE = read_flute(DEMO / "one-hole-pipe.toml")
FIVE = read_flute(DEMO / "three-quarter-five.toml")


def picture(flute):
    bore = bore_diameter(flute.bore, flute.holes[0].position)
    return hole_picture(1000 * flute.foot.position, 1000 * float(bore))


def boxes(live):
    """Where words stand in a picture: by their text, tick numbers and legends among them."""
    renderer = live.figure.canvas.get_renderer()
    found = []
    for ax in live.figure.axes:
        for text in ax.findobj(Text):
            box = text.get_window_extent(renderer)
            in_use = text not in [t for axis in (ax.xaxis, ax.yaxis) for t in outside(axis)]
            if text.get_text() and text.get_visible() and in_use:
                found.append((ax, text, box))
    return found


def outside(axis):
    """Numbers that matplotlib keeps beyond an axis's limits, and does not draw."""
    low, high = sorted(axis.get_view_interval())
    return [tick.label1 for tick in axis.get_major_ticks() if not low <= tick.get_loc() <= high]


def assert_readable(live):
    found = boxes(live)
    for (_, one, a), (_, two, b) in combinations(found, 2):
        apart = a.x1 <= b.x0 or b.x1 <= a.x0 or a.y1 <= b.y0 + 1 or b.y1 <= a.y0 + 1
        assert apart, f"{one.get_text()!r} lies on {two.get_text()!r}"
    for ax, text, box in found:
        axes, edge = ax.bbox, live.figure.bbox
        assert box.x0 >= edge.x0, text.get_text()
        assert box.x1 <= edge.x1, text.get_text()
        left_line = box.x0 < axes.x0 < box.x1 and box.y0 < axes.y1 and box.y1 > axes.y0
        assert not left_line, f"{text.get_text()!r} crosses the axis"


@pytest.mark.parametrize("flute", [PIPE, FIVE], ids=["one hole", "five"])
def test_what_is_hidden_says_so_inside_its_axes(flute):
    live = picture(flute)
    live(None)
    said = [text.get_text().replace("\n", " ") for _, text, _ in boxes(live)]
    assert said.count(HIDDEN) == 1
    assert_readable(live)


@pytest.fixture(scope="module")
def shown():
    return picture(PIPE)


@pytest.mark.parametrize(
    ("place", "level"),
    [(0.3, "full"), (0.95, "full"), *((0.65, level) for level in LEVELS.values())],
)
def test_a_hole_wherever_it_is(shown, place, level):
    live = shown
    (one,) = PIPE.holes
    at = place * PIPE.foot.position
    flute = reshaped(PIPE, hole=1, diameter=one.diameter, position=at)
    for fingering in "xo":
        asked = {"fingering": fingering, "room": celsius(22), "level": level}
        live(hole_note(flute, hole=1, start=PIPE, **asked))
        assert_readable(live)


@pytest.mark.parametrize("fingering", ["xxxxx", "xxxxo", "xxxoo", "xoooo", "ooooo"])
def test_holes_beside_each_other(fingering):
    live = picture(FIVE)
    asked = {"fingering": fingering, "room": celsius(22), "level": "full"}
    note = hole_note(FIVE, hole=4, start=FIVE, **asked)
    live(note)
    assert_readable(live)
    shares = {t.get_text() for _, t, _ in boxes(live) if "%" in t.get_text()}
    expected = zip(note.wave.opening, 100 * note.wave.flow_share[0], strict=True)
    largest = sorted(expected, key=lambda one: -one[1])[:3]
    assert len(shares) == 3
    assert shares >= {f"{name}\n{share:.0f} %" for name, share in largest if share > 0}
