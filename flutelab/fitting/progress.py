"""How far a long reckoning has come, told to whoever asked for it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TextIO

Progress = Callable[[int, int], None]  # called with what is done, of how many
_WIDTH = 30


def text_progress(stream: TextIO) -> Progress:
    """Return a progress that draws a bar of text.

    Parameters
    ----------
    stream : text stream
        On a terminal the bar grows in its line; elsewhere only the last state is written.

    Examples
    --------
    >>> import sys
    >>> text_progress(sys.stdout)(40, 40)
    [##############################] 40 of 40
    """
    grows = stream.isatty()

    def progress(done: int, count: int) -> None:
        if not grows and done < count:
            return
        filled = _WIDTH * done // max(count, 1)
        bar = "#" * filled + "." * (_WIDTH - filled)
        begin, end = ("\r" if grows else ""), ("\n" if done >= count else "")
        stream.write(f"{begin}[{bar}] {done} of {count}{end}")
        stream.flush()

    return progress
