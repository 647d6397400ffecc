"""The house style: contrasts and lightness of colours, sizes of letters.

Relative luminance and contrast: WCAG 2.2 (W3C, 2023), "relative luminance" and "contrast
ratio". Lightness: CIE 1976 L*, CIE 15:2004 (both from memory).
"""

import re
from itertools import combinations

import numpy as np
import pytest

from flutelab.view import style
from flutelab.view.panels import kit, live

CSS = kit._STYLE


def luminance(colour: str) -> float:
    full = colour if len(colour) == 7 else "#" + "".join(2 * digit for digit in colour[1:])
    channel = np.array([int(full[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(channel <= 0.04045, channel / 12.92, ((channel + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def lightness(colour: str) -> float:
    y = luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > 0.008856 else 903.3 * y


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_measures_themselves():
    # WCAG 2.2 gives 21 to 1 for black on white; #767676 is the palest grey with 4.5 to 1
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")
    assert lightness("#ffffff") == pytest.approx(100)
    assert lightness("#777777") == pytest.approx(50, abs=0.1)  # 18.4 % reflectance


def test_any_two_colours_of_lines_differ_in_lightness():
    for one, other in combinations(style.PALETTE, 2):
        assert abs(lightness(one) - lightness(other)) >= 15, (one, other)


@pytest.mark.parametrize("colour", [*style.PALETTE, style.DARK, style.GREY])
def test_lines_stand_out_from_white(colour):
    assert contrast(colour, "#ffffff") >= 3


LETTERS = [style.BLUE, style.VERMILION, style.PURPLE, style.BLACK, style.DARK, style.GREY]


@pytest.mark.parametrize("colour", LETTERS)
def test_letters_stand_out_from_white(colour):
    assert contrast(colour, "#ffffff") >= 4.5


def test_a_panel_is_a_white_card_in_any_theme():
    card = re.search(r"\.flutelab-panel \{(.*?)\}", CSS, re.DOTALL)[1]
    assert "background: #fff" in card
    assert "color-scheme: light" in card
    # every colour of JupyterLab's theme that its own controls take inside a panel is ours
    for name in re.findall(r"--jp-[\w-]*font-color\d|--jp-widgets-[\w-]*color", card):
        value = re.search(rf"{name}: (#\w+)", card)[1]
        least = 3 if "border" in name else 4.5
        assert "background" in name or contrast(value, "#ffffff") >= least, name


@pytest.mark.parametrize("ground", ["#fff", "#f2f2f2", "#fff6f0"])
def test_every_letter_colour_of_the_panels_on_every_ground(ground):
    letters = set(re.findall(r"[{;\s]color: (#\w+)", CSS))
    assert letters
    for colour in letters:
        assert contrast(colour, ground) >= 4.5, colour


def test_no_letter_of_a_panel_is_smaller_than_14_pixels():
    sizes = [float(px) for px in re.findall(r"font(?:-size)?:[^;]*?(\d+(?:\.\d+)?)px", CSS)]
    assert min(sizes) >= 14


def test_letters_of_live_pictures_are_14_pixels_or_more():
    pixels = live.DPI / 72
    assert (
        min(v for k, v in style._LETTERS.items() if "size" in k and "marker" not in k) * pixels
        >= 14
    )
    assert contrast("#ffffff", "#404040") >= 4.5  # the band of a still


def test_powers_of_ten_are_what_they_say():
    ax = style.figure(3.0).subplots()
    ax.plot([1, 2], [2e-12, 3e-9])
    style.powers_of_ten(ax.yaxis)
    ax.figure.draw_without_rendering()
    told = dict(zip(ax.get_yticks(), [t.get_text() for t in ax.get_yticklabels()], strict=True))
    assert told[1e-11] == "10⁻¹¹"
    assert {t.get_text() for t in ax.get_yticklabels(minor=True)} <= {""}
