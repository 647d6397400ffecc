"""What may wait until the keys rest: the picture that is looked at comes first."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

REST = 0.12  # seconds without a change (common practice, no source)


class Later:
    """Calls a function once, when it was not asked to for a while.

    Parameters
    ----------
    do : callable
        Takes nothing.
    rest : float
        [s]

    Notes
    -----
    Outside a running event loop, as in plain Python, it is called at once.
    """

    def __init__(self, do: Callable[[], None], rest: float = REST) -> None:
        self._do, self._rest = do, rest
        self._waiting: asyncio.TimerHandle | None = None

    def __call__(self, *_: Any) -> None:
        """Ask for it."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self._do()
            return
        if self._waiting is not None:
            self._waiting.cancel()
        self._waiting = loop.call_later(self._rest, self._do)
