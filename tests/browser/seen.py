"""What a person would meet in a panel: names, sizes of letters, overflow, the way of Tab.

Yardstick: WCAG 2.2 (W3C, 2023), success criteria 1.1.1, 1.3.2, 1.4.10, 2.1.1, 2.4.3, 2.4.7,
2.5.8, 4.1.2 (numbers from memory).
"""

from __future__ import annotations

import re
from pathlib import Path

SMALLEST = 14  # px, of letters at 1280 x 800
TARGET = 24  # px, of a control either way: WCAG 2.2, 2.5.8
_SCRIPT = (Path(__file__).parent / "seen.js").read_text(encoding="utf-8")
_NAMED = "slider|textbox|button|combobox|checkbox|radio|img|spinbutton|table"
_ROLE = re.compile(rf"^\s*- ['\"]?({_NAMED})\b(?: \"((?:[^\"\\]|\\.)*)\")?")


def _ask(panel, call: str) -> list[str]:
    return panel.evaluate(f"panel => {{ {_SCRIPT}; return {call}; }}")


def nameless(panel) -> list[str]:
    """Controls and pictures without a name, and sliders without a unit."""
    found = []
    for line in panel.aria_snapshot().splitlines():
        if match := _ROLE.match(line):
            role, name = match.groups()
            if not name:
                found.append(f"no name: {line.strip()}")
            elif role == "slider" and ", " not in name:
                found.append(f"no unit: {line.strip()}")
    return found


def small_texts(panel) -> list[str]:
    """Texts smaller than 14 px, and pictures shown much smaller than drawn."""
    return _ask(panel, f"[...smallTexts(panel, {SMALLEST}), ...shrunkPictures(panel)]")


def overflowing(panel) -> list[str]:
    """Elements that run out of their box or of the panel."""
    return _ask(panel, "overflowing(panel)")


def out_of_order(panel) -> list[str]:
    """Controls that Tab reaches after something below them."""
    return _ask(panel, "outOfOrder(panel)")


def small_targets(panel) -> list[str]:
    """Controls smaller than 24 x 24 px."""
    return _ask(panel, f"smallTargets(panel, {TARGET})")
