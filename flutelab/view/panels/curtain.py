"""What hides an answer until a class has guessed."""

from __future__ import annotations

from collections.abc import Callable

from flutelab.view.panels.frame import Panel

HIDDEN = "Hidden until Reveal is pressed above"


class Curtain:
    """Closed at first; whoever was named is told, in that order, when it moves.

    Attributes
    ----------
    is_open : bool
    """

    def __init__(self) -> None:
        self.is_open = False
        self._told: list[Callable[[], None]] = []

    def tell(self, who: Callable[[], None]) -> None:
        """Tell this one too."""
        self._told.append(who)

    def move(self, is_open: bool) -> None:
        """Open or close it; nobody is told where it is so already."""
        if is_open == self.is_open:
            return
        self.is_open = is_open
        for who in self._told:
            who()


def forget(panel: Panel) -> None:
    """Empty a panel of what was seen, folded or not: a fault would leave it there."""
    for picture in panel.pictures:
        with picture.hold_sync():
            picture.png, picture.svg, picture.alt = b"", "", ""
    for words in filter(None, (panel.sentence, panel.notes, *panel.lines, panel.call)):
        words.text = ""
    if panel.table is not None:
        with panel.table.hold_sync():
            panel.table.caption, panel.table.columns, panel.table.rows = "", [], []
