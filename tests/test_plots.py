"""Pictures: what is drawn, that it stays inside the picture, and that its bytes repeat."""

import io
import itertools
import json
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import matplotlib.image
import numpy as np
import pytest
from made_notes import demo
from matplotlib import pyplot as plt
from matplotlib.colors import to_rgb

import flutelab
from flutelab.files.tables import shop_changes
from flutelab.fitting.mismatch import why_not_matching
from flutelab.model.equivalents import equivalents
from flutelab.model.sensitivities import sensitivities
from flutelab.units import inches
from flutelab.view import style
from flutelab.view.plots import (
    NAMED,
    plot_calibration,
    plot_corrections,
    plot_mismatch,
    plot_residuals,
    plot_sensitivities,
)

ROOT = Path(__file__).resolve().parent.parent
DATA = ROOT / "data-demo"
SIX, FIVE = "half-inch-six", "three-quarter-five"
PIPES = tuple(f"plain-pipe-{length}" for length in (220, 300, 380, 460))
SVG = "{http://www.w3.org/2000/svg}"


def measured(name):
    flute = flutelab.read_flute(DATA / f"{name}.toml")
    return flutelab.read_measurements(DATA / f"{name}.csv", flute)


@pytest.fixture(scope="module")
def six():
    return flutelab.calibrate(measured(SIX))


@pytest.fixture(scope="module")
def odd_of_six(six):
    return flutelab.suspects(six)


@pytest.fixture(scope="module")
def five():
    return flutelab.calibrate(measured(FIVE))


@pytest.fixture(scope="module")
def pipes():
    return flutelab.calibrate(*map(measured, PIPES))


@pytest.fixture(autouse=True)
def _no_figure_stays_open():
    yield
    plt.close("all")


def points(ax):
    """Return the drawn rows: all single markers, in the order of drawing."""
    return [line for line in ax.lines if line.get_linestyle() == "None" and len(line.get_xdata())]


def rows_drawn(ax):
    return [line for line in points(ax) if line.get_markersize() < 12]


def rings(ax):
    return [line for line in points(ax) if line.get_markersize() > 12]


def cents_drawn(ax):
    return sorted(float(line.get_ydata()[0]) for line in rows_drawn(ax))


def labels(ax):
    return [tick.get_text() for tick in ax.get_xticklabels()]


def told(ax):
    """Return the legend's lines, unwrapped."""
    return [text.get_text().replace("\n", " ") for text in ax.get_legend().get_texts()]


def inside(ax):
    (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
    assert np.all(np.isfinite([left, right, low, high]))
    return all(
        left < x < right and low < y < high
        for line in points(ax)
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    )


def hollow(ax):
    return [line for line in rows_drawn(ax) if line.get_markerfacecolor() == "white"]


def test_mismatch_shows_each_row_at_its_cents_over_the_book(six):
    ax = plot_mismatch(six)
    part = six.tables[0]
    # a cent is a 1200th of an octave (A. J. Ellis, 1885; from memory)
    expected = 1200 * np.log2(part.measurements.frequency / part.book)
    np.testing.assert_allclose(cents_drawn(ax), np.sort(expected), rtol=0, atol=1e-9)
    assert inside(ax)


def test_notes_stand_in_the_order_of_their_pitch(six):
    ax = plot_mismatch(six)
    book = {}
    part = six.tables[0]
    for word, register, pitch in zip(
        part.measurements.rows.label, part.register, part.book, strict=True
    ):
        book[word + (f" ({register})" if register > 1 else "")] = pitch
    assert labels(ax) == sorted(book, key=book.get)
    assert labels(ax)[0] == "xxxxxx"
    assert labels(ax)[-1] == "xxxxoo (2)"


def test_readings_of_one_note_stand_beside_each_other(six):
    ax = plot_mismatch(six)
    places = [float(line.get_xdata()[0]) for line in rows_drawn(ax)]
    assert len(set(places)) == len(places)
    columns = np.round(places).astype(int)
    counts = np.bincount(columns, minlength=len(labels(ax)))
    words = [label.split(" (")[0] for label in labels(ax)]
    part = six.tables[0]
    for column, (word, label) in enumerate(zip(words, labels(ax), strict=True)):
        register = 2 if "(2)" in label else 1
        same = np.array(part.measurements.rows.label) == word
        assert counts[column] == np.sum(same & (part.register == register))


def test_each_session_has_its_own_colour_and_shape(six):
    ax = plot_mismatch(six)
    looks = {(line.get_color(), line.get_marker()) for line in rows_drawn(ax)}
    assert len(looks) == 2
    assert len({colour for colour, _ in looks}) == len({marker for _, marker in looks}) == 2
    assert told(ax) == ["session saturday", "session sunday"]


def test_axes_have_titles_and_units(six):
    for ax in (plot_mismatch(six), plot_residuals(six)):
        assert "[cents]" in ax.get_ylabel()
        assert "lowest first" in ax.get_xlabel()
        assert ax.get_title(loc="left")
    ax = plot_corrections(six)
    assert "[times the formula]" in ax.get_xlabel()
    assert ax.get_title(loc="left")


def test_residuals_and_their_band(five):
    ax = plot_residuals(five)
    part = five.tables[0]
    np.testing.assert_allclose(cents_drawn(ax), np.sort(part.residual), rtol=0, atol=1e-9)
    assert inside(ax)
    heights = {}
    for word, register, sd in zip(
        part.measurements.rows.label, part.register, part.sd, strict=True
    ):
        label = word + (f" ({register})" if register > 1 else "")
        heights[label] = max(heights.get(label, 0), 2 * sd)
    drawn = {labels(ax)[round(b.get_x() + 0.5)]: b.get_height() for b in ax.patches}
    assert drawn == pytest.approx(heights)
    low, high = ax.get_ylim()
    for bar in ax.patches:
        assert low < bar.get_y() < bar.get_y() + bar.get_height() < high


def test_bars_of_readings_are_one_sd_to_either_side(five):
    ax = plot_residuals(five)
    part = five.tables[0]
    segments = [line.get_segments()[0] for line in ax.collections]
    used = [fate in ("fitted", "checked") for fate in part.fate]
    assert len(segments) == sum(used)
    lengths = sorted(float(s[1, 1] - s[0, 1]) for s in segments)
    assert lengths == pytest.approx(sorted(2 * part.measurements.sd[used]))


def test_check_rows_are_diamonds_and_rows_apart_are_hollow_and_named(five):
    ax = plot_residuals(five)
    part = five.tables[0]
    diamonds = [line for line in rows_drawn(ax) if line.get_marker() == "D"]
    expected = part.residual[[fate == "checked" for fate in part.fate]]
    drawn = sorted(float(line.get_ydata()[0]) for line in diamonds)
    np.testing.assert_allclose(drawn, np.sort(expected))
    assert len(hollow(ax)) == part.fate.count("apart") == 2
    assert {text.get_text() for text in ax.texts} == {"row 19", "row 20"}
    assert "row 19: blown soft" in told(ax)
    assert "row 20: blown hard" in told(ax)


def test_suspects_are_ringed_and_named(six):
    odd = flutelab.suspects(six)
    assert {s.kind for s in odd} == {"row", "hole"}
    ax = plot_residuals(six, suspects=odd)
    part = six.tables[0]
    ringed = {line.get_marker(): line for line in rings(ax)}
    row = next(s for s in odd if s.kind == "row")
    assert ringed["o"].get_ydata() == pytest.approx([part.residual[row.index]])
    hole = next(s for s in odd if s.kind == "hole")
    with_it_open = part.residual[part.measurements.rows.openness[:, hole.index] > 0]
    np.testing.assert_allclose(np.sort(ringed["s"].get_ydata()), np.sort(with_it_open))
    assert any(line.startswith("row 6 does not fit: +") for line in told(ax))
    assert any("hole 1 (nearest the window) open" in line and " in wider" in line
               for line in told(ax))  # fmt: skip
    assert any("readings' ± count" in line for line in told(ax)) == (six.widened > 1)


def test_nothing_is_ringed_without_suspects(six, five):
    assert rings(plot_residuals(six)) == []
    assert rings(plot_residuals(five, suspects=flutelab.suspects(five))) == []


def with_slip(**changes):
    """The six-hole demo with one row an octave high, and other changes."""
    m = measured(SIX)
    frequency = np.array(m.frequency)
    frequency[2] *= 2
    return replace(m, frequency=frequency, **changes)


def test_a_slip_of_an_octave_does_not_stretch_the_picture():
    calibration = flutelab.calibrate(with_slip())
    assert calibration.tables[0].fate[2] == "left out"
    for ax in (plot_mismatch(calibration), plot_residuals(calibration)):
        assert inside(ax)
        assert ax.get_ylim()[1] < 150
        assert len(rows_drawn(ax)) == 21
        assert any(re.fullmatch(r"row 3: \+1[12]\d\d", text.get_text()) for text in ax.texts)
    assert any(line.startswith("row 3: ") and "octave" in line for line in told(ax))


def test_of_many_rows_left_out_some_are_told_and_the_rest_counted():
    use = ("no",) * 9 + ("fit",) * 13
    ax = plot_residuals(flutelab.calibrate(replace(measured(SIX), use=use)))
    assert len(hollow(ax)) == 9
    assert sum(line.endswith(": use = no") for line in told(ax)) == NAMED
    assert told(ax)[-1] == f"and {9 - NAMED} more rows"


def test_a_row_without_a_mode_is_told_but_not_drawn(six):
    part = six.tables[0]
    predicted, residual, sd = (np.array(a) for a in (part.predicted, part.residual, part.sd))
    predicted[3] = residual[3] = sd[3] = np.nan
    fate = (*part.fate[:3], "left out", *part.fate[4:])
    why = (*part.why[:3], "this fingering has no note", *part.why[4:])
    lost = replace(part, predicted=predicted, residual=residual, sd=sd, fate=fate, why=why)
    ax = plot_residuals(replace(six, tables=(lost,)))
    assert len(rows_drawn(ax)) == 21
    assert inside(ax)
    assert "row 4, not drawn: this fingering has no note" in told(ax)


def test_pooled_pipes_are_told_apart_by_name(pipes):
    ax = plot_mismatch(pipes)
    assert labels(ax) == [f"Plain pipe {length} mm" for length in (220, 300, 380, 460)]
    assert len(rows_drawn(ax)) == sum(len(t.fate) for t in pipes.tables) == 12
    assert len({line.get_color() for line in rows_drawn(ax)}) == 1
    assert told(ax) == ["session pipes"]


def test_corrections_show_fit_and_prior(six):
    ax = plot_corrections(six)
    names = [tick.get_text() for tick in ax.get_yticklabels()]
    assert names == list(six.free)
    for line, name in enumerate(names):
        index = six.spread.names.index(name)
        sd = np.sqrt(six.spread.covariance[index, index])
        container = ax.containers[2 * line + 1]
        assert container[0].get_xdata() == pytest.approx([getattr(six.corrections, name)])
        segment = container[2][0].get_segments()[0]
        assert segment[1, 0] - segment[0, 0] == pytest.approx(2 * sd)
        band = ax.containers[2 * line][0]
        prior = six.priors[name]
        assert band.get_x() == pytest.approx(prior.mean - prior.sd)
        assert band.get_width() == pytest.approx(2 * prior.sd)
        low, high = ax.get_xlim()
        assert low < min(band.get_x(), segment[0, 0]) < max(segment[1, 0], 1.1) < high
    value, index = six.corrections.window, six.spread.names.index("window")
    sd = np.sqrt(six.spread.covariance[index, index])
    length = equivalents(six.tables[0].measurements.flute, six.corrections)[0]
    assert (
        ax.texts[0]
        .get_text()
        .startswith(
            f"{value:.3f} ± {sd:.3f} times the formula\n"
            f"{inches(length.corrected):.3f} ± {inches(length.per_unit * sd):.3f} in"
        )
    )


def test_corrections_of_other_units_are_shown_against_what_was_assumed(six):
    calibration = flutelab.calibrate(measured(SIX), free=("window", "air_offset"))
    ax = plot_corrections(calibration)
    assert "[standard deviations assumed before]" in ax.get_xlabel()
    prior = calibration.priors["air_offset"]
    value = (calibration.corrections.air_offset - prior.mean) / prior.sd
    drawn = {
        tick.get_text(): container[0].get_xdata()[0]
        for tick, container in zip(ax.get_yticklabels(), ax.containers[1::2], strict=True)
    }
    assert drawn["air offset"] == pytest.approx(value)
    assert drawn["window"] == pytest.approx((calibration.corrections.window - 1) / 0.1)
    assert any(" K" in text.get_text() for text in ax.texts)


def test_corrections_of_each_pooled_table_are_named_by_its_flute():
    calibration = flutelab.calibrate(*map(measured, PIPES[:2]), free=("foot", "bore"))
    names = [tick.get_text() for tick in plot_corrections(calibration).get_yticklabels()]
    assert names == ["foot", "bore, Plain pipe 220 mm", "bore, Plain pipe 300 mm"]


def test_a_correction_that_notes_cannot_tell_says_so(pipes):
    by_name = dict(
        zip(pipes.free, (t.get_text() for t in plot_corrections(pipes).texts), strict=True)
    )
    assert "say next to nothing" in by_name["window"]
    assert "say next to nothing" not in by_name["foot"]
    assert "at the head and at the foot" in by_name["foot"]


def test_drawing_into_given_axes_makes_no_other_figure(six):
    page = style.figure(4.0)
    axes = page.subplots(1, 3)
    for ax, draw in zip(axes, (plot_mismatch, plot_residuals, plot_corrections), strict=True):
        assert draw(six, ax=ax) is ax
    assert plt.get_fignums() == [page.number]


def test_the_users_own_settings_are_left_alone(six):
    with plt.rc_context({"font.size": 5.0, "axes.spines.top": True}):
        before = dict(plt.rcParams)
        ax = plot_residuals(six)
        plot_calibration(six)
        assert dict(plt.rcParams) == before
    assert ax.yaxis.label.get_size() == 12
    assert not ax.spines["top"].get_visible()


@pytest.mark.parametrize("name", ["six", "five", "pipes", "one"])
def test_page_hides_nothing(name, request):
    if name == "one":
        m = measured(SIX)
        only_first = ("fit", *["no"] * 21)
        with pytest.warns(flutelab.FitWarning):
            calibration = flutelab.calibrate(replace(m, use=only_first))
    else:
        calibration = request.getfixturevalue(name)
    page = plot_calibration(calibration, suspects=flutelab.suspects(calibration))
    page.canvas.draw()
    frame = page.bbox
    boxes = {"title": page._suptitle.get_window_extent()}
    for number, ax in enumerate(page.axes):
        boxes[f"axes {number}"] = ax.get_tightbbox()
        legend = ax.get_legend().get_window_extent()
        data = ax.get_window_extent()
        assert not legend.shrunk(0.99, 0.99).overlaps(data.shrunk(0.99, 0.99))
    for what, box in boxes.items():
        assert box.x0 >= frame.x0 - 1, what
        assert box.x1 <= frame.x1 + 1, what
        assert box.y0 >= frame.y0 - 1, what
        assert box.y1 <= frame.y1 + 1, what
    for (one, a), (two, b) in itertools.combinations(boxes.items(), 2):
        assert not a.shrunk(0.99, 0.99).overlaps(b.shrunk(0.99, 0.99)), (one, two)


def test_files_repeat_to_the_byte_and_hold_no_date(six, odd_of_six):
    first = style.picture_files(plot_calibration(six, suspects=odd_of_six))
    plt.close("all")
    again = style.picture_files(plot_calibration(six, suspects=odd_of_six))
    assert first == again
    assert set(first) == {"png", "svg"}
    svg = first["svg"].decode("utf-8")
    assert "dc:date" not in svg
    assert "Matplotlib" not in svg.split("<defs>")[0]
    assert b"tEXt" not in first["png"]


def test_png_is_wide_enough_for_a_projector(six):
    picture = matplotlib.image.imread(
        io.BytesIO(style.picture_files(plot_mismatch(six).figure)["png"])
    )
    assert picture.shape[1] == 1200
    assert picture.std() > 0.05


def test_svg_keeps_its_text(six, odd_of_six):
    page = plot_calibration(six, suspects=odd_of_six)
    root = ElementTree.fromstring(style.picture_files(page)["svg"])
    texts = {"".join(element.itertext()) for element in root.iter(f"{SVG}text")}
    assert {"xxxooo", "session sunday", "Half-inch six-hole, before tuning"} <= texts


COLOURS = {name: getattr(style, name) for name in ("BLUE", "GREEN", "PURPLE", "VERMILION", "BLACK")}


def linear(colour):
    """Return linear RGB of an sRGB colour (IEC 61966-2-1)."""
    rgb = np.array(to_rgb(colour))
    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def luminance(colour):
    """Return relative luminance (WCAG 2.1, definition of relative luminance)."""
    return float(np.array([0.2126, 0.7152, 0.0722]) @ linear(colour))


@pytest.mark.parametrize("name", [*COLOURS, "GREY", "DARK"])
def test_lines_and_points_stand_out_from_white(name):
    # WCAG 2.1, success criterion 1.4.11: 3:1 for graphical objects
    contrast = 1.05 / (luminance(getattr(style, name)) + 0.05)
    assert contrast >= 3.0


def test_black_and_white_contrast_is_that_of_the_standard():
    # WCAG 2.1: ratios range from 1 to 21
    assert (luminance("white") + 0.05) / (luminance("black") + 0.05) == pytest.approx(21)


# Simulated red- and green-blindness in linear RGB: F. Viénot, H. Brettel, J. D. Mollon, "Digital
# video colourmaps for checking the legibility of displays by dichromats", Color Research and
# Application 24, 243-252 (1999); matrices from memory, each row sums to 1 so that white stays.
BLINDNESS = {
    "none": np.eye(3),
    "protanope": [[0.11238, 0.88762, 0], [0.11238, 0.88762, 0], [0.00401, -0.00401, 1]],
    "deuteranope": [[0.29275, 0.70725, 0], [0.29275, 0.70725, 0], [-0.02234, 0.02234, 1]],
}


def lab(rgb):
    """Return CIE 1976 L*a*b* of linear RGB, white D65 (IEC 61966-2-1, CIE 15)."""
    to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    t = to_xyz @ np.clip(rgb, 0, 1) / np.sum(to_xyz, axis=1)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("kind", BLINDNESS)
def test_colours_stay_apart_for_the_colour_blind(kind):
    matrix = np.array(BLINDNESS[kind])
    np.testing.assert_allclose(matrix.sum(axis=1), 1)
    seen = [lab(matrix @ linear(colour)) for colour in COLOURS.values()]
    distance = min(np.linalg.norm(a - b) for a, b in itertools.combinations(seen, 2))
    # 2.3 is about a just noticeable difference; four times that at a glance (common practice)
    assert distance > 4 * 2.3


def test_notebooks_store_their_pictures():
    for path in sorted((ROOT / "notebooks").glob("*.ipynb")):
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
            if cell["cell_type"] == "code" and " = plot_" in "".join(cell["source"]):
                kinds = [set(output.get("data", {})) for output in cell["outputs"]]
                assert any("image/png" in kind for kind in kinds), (path.name, cell["id"])


# --- sensitivities --------------------------------------------------------------------------

FLUTES = (SIX, "tapered-wood-six", FIVE, PIPES[1])


def sensitive(name, words=None, **more):
    flute = flutelab.read_flute(DATA / f"{name}.toml")
    holes = len(flute.holes)
    words = words or ["x" * (holes - n) + "o" * n for n in range(holes + 1)]
    air = flutelab.moist_air(299.15)
    return sensitivities(flute, flutelab.rows(flute, words, air=air, **more))


def cells(ax):
    """Return the numbers in the cells as text, by (line, note)."""
    lines = [round(place, 6) for place in ax.get_yticks()]
    return {
        (lines.index(round(y, 6)), round(x)): text
        for text in ax.texts
        for x, y in [text.get_position()]
        if round(y, 6) in lines and text.get_horizontalalignment() == "center"
    }


@pytest.mark.parametrize("name", FLUTES)
def test_each_cell_has_its_number_of_the_table_and_its_colour(name):
    found = sensitive(name)
    ax = plot_sensitivities(found)
    # the picture has the owner's lengths, the table always millimetres
    shown, written = (
        np.array([size for _, size in shop_changes(found, unit)]) for unit in (None, "mm")
    )
    numbers = flutelab.table(found).iloc[:, 4:].to_numpy() * shown / written
    corrections = np.array(found.group) == "corrections"
    numbers = numbers[:, ~corrections | np.any(numbers, axis=0)]
    drawn = cells(ax)
    assert len(drawn) == numbers.size
    for line in range(numbers.shape[1]):
        (mesh,) = [m for m in ax.collections if m.get_coordinates()[0, 0, 1] + 0.5
                   == pytest.approx(ax.get_yticks()[line])]  # fmt: skip
        np.testing.assert_allclose(np.ravel(mesh.get_array()), numbers[:, line], rtol=1e-12)
        colours = mesh.to_rgba(mesh.get_array())[0]
        for note, value in enumerate(numbers[:, line]):
            text = drawn[line, note].get_text()
            assert float(text) == pytest.approx(value, rel=0.06, abs=0.005)
            assert text == "0" or (text[0] == "-") == (value < 0)
            red, _, blue, _ = colours[note]
            assert abs(value) < 0.05 or (blue > red) == (value > 0)
            # WCAG 2.1, success criterion 1.4.6: 7:1; black on black's and white's middle has
            # 4.5:1 and is hard to read all the same
            assert drawn[line, note].get_color() == style.BLACK
            assert (luminance(colours[note][:3]) + 0.05) / 0.05 >= 7.0


def test_corrections_of_parts_that_a_pipe_lacks_are_left_out():
    lines = [tick.get_text() for tick in plot_sensitivities(sensitive(PIPES[1])).get_yticklabels()]
    assert "foot: place" in lines
    assert {"foot", "bore", "loss"} <= set(lines)
    assert not {"window", "wall", "hole end", "pad depth [hole radii]"} & set(lines)


def test_groups_have_titles_and_lines_their_unit():
    found = sensitive("tapered-wood-six")
    ax = plot_sensitivities(found)
    texts = [text.get_text() for text in ax.texts]
    for title in ("A hole moved towards the foot (hole 1 is nearest the window)",
                  "The window", "The pipe", "The air", "The corrections"):  # fmt: skip
        assert texts.count(title) == 1
    for inside, title in (("", "A hole's diameter"), (" outside", "A hole widened, outside")):
        what = tuple(f"hole 1: diameter{inside}" if group == "diameters" else words
                     for words, group in zip(found.what, found.group, strict=True))  # fmt: skip
        other = plot_sensitivities(replace(found, what=what))
        assert [text.get_text() for text in other.texts].count(title) == 1
    sides = {round(t.get_position()[1], 6): t.get_text() for t in ax.texts
             if t.get_text().startswith("per ")}  # fmt: skip
    units = {
        tick.get_text(): sides[round(place, 6)]
        for tick, place in zip(ax.get_yticklabels(), ax.get_yticks(), strict=True)
    }
    expected = {
        "hole 6": "per mm", "foot: place": "per mm", "bore: diameter": "per 0.1 mm",
        "finger holes: wall": "per 0.1 mm", "temperature inside": "per degree C",
        "ramp's angle": "per degree", "hole end": "per percent",
    }  # fmt: skip
    assert expected.items() <= units.items()
    assert "[cents]" in ax.get_title(loc="left")
    assert labels(ax) == ["x" * (6 - n) + "o" * n for n in range(7)]


def test_a_note_that_does_not_speak_is_a_column_of_dashes():
    ax = plot_sensitivities(sensitive(SIX, ["xxxxxx", "xxhooo"], register=[2, 40]))
    assert labels(ax) == ["xxxxxx (2)", "xxhooo (40)"]
    assert {t.get_text() for (_, note), t in cells(ax).items() if note == 1} == {"–"}
    assert "–" not in {t.get_text() for (_, note), t in cells(ax).items() if note == 0}
    assert "h half covered" in ax.get_xlabel()


@pytest.mark.parametrize("name", FLUTES)
@pytest.mark.parametrize("times", [1, 2])
def test_sensitivities_stay_inside_the_picture_and_their_cells(name, times):
    found = sensitive(name)
    some = sensitive(name, [*found.label] * times)
    ax = plot_sensitivities(some)
    page = ax.figure
    page.canvas.draw()
    for part in page.axes:
        box = part.get_tightbbox()
        assert box.x0 >= page.bbox.x0 - 1
        assert box.x1 <= page.bbox.x1 + 1
        assert box.y0 >= page.bbox.y0 - 1
        assert box.y1 <= page.bbox.y1 + 1
    one, two = (part.get_tightbbox() for part in page.axes)
    assert not one.shrunk(0.99, 0.99).overlaps(two.shrunk(0.99, 0.99))
    width = ax.get_window_extent().width / len(some.label)
    for text in cells(ax).values():
        assert text.get_window_extent().width < width
    names = [tick.get_window_extent() for tick in ax.get_xticklabels()]
    assert not any(a.overlaps(b) for a, b in itertools.pairwise(names))


def test_sensitivities_repeat_to_the_byte_and_leave_settings_alone():
    found = sensitive(FIVE)
    before = dict(plt.rcParams)
    first, again = (style.picture_files(plot_sensitivities(found).figure) for _ in range(2))
    assert first == again
    assert dict(plt.rcParams) == before
    page = style.figure(12.0)
    ax = page.add_subplot()
    assert plot_sensitivities(found, ax=ax) is ax


def test_a_mismatch_is_sent_to_its_own_picture():
    flute = flutelab.read_flute(DATA / "three-quarter-five.toml")
    measured = flutelab.read_measurements(DATA / "three-quarter-five.csv", flute)
    found = why_not_matching(measured)
    with pytest.raises(
        TypeError, match=r"draws a Calibration, not a Mismatch; .* with plot_causes"
    ):
        plot_mismatch(found)


def test_pooled_notes_are_lowest_first_of_each_table_and_say_so():
    pipes = [demo(f"plain-pipe-{length}") for length in (220, 300)]  # the shorter one is higher
    ax = plot_mismatch(flutelab.calibrate(*pipes))
    assert ax.get_xlabel() == "note, lowest first of each table"
    assert plot_mismatch(flutelab.calibrate(pipes[0])).get_xlabel() == "note, lowest first"
    plt.close("all")


def test_a_ring_at_the_frame_is_drawn_whole(six):
    row = flutelab.Suspect(kind="row", cause="slip", table=0, index=0, worth=9.0, chance=1.0)
    ax = plot_residuals(six, suspects=[row])
    (ring,) = (line for line in ax.lines if line.get_markersize() == 17.0)
    assert not ring.get_clip_on()


def test_a_ring_of_a_row_beyond_the_frame_lies_within_it(six):
    m = six.tables[0].measurements
    frequency = m.frequency.copy()
    frequency[0] /= 2
    slipped = flutelab.calibrate(replace(m, frequency=frequency))
    row = flutelab.Suspect(kind="row", cause="octave", table=0, index=0, worth=9.0, chance=1.0)
    ax = plot_residuals(slipped, suspects=[row])
    (ring,) = (line for line in ax.lines if line.get_markersize() == 17.0)
    low, high = ax.get_ylim()
    assert low + 0.04 * (high - low) < ring.get_ydata()[0] < high - 0.04 * (high - low)
    plt.close("all")
