"""Long work of a panel: told while it runs, stopped by a button or by the kernel's interrupt."""

from __future__ import annotations

import asyncio
import signal
import threading
import time
import warnings
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from typing import Any

from flutelab.view.panels.kit import Busy

SOON = 0.5  # seconds that work may take untold
AGAIN = 1.0  # seconds between two words about it
TURN = 0.005  # seconds that the page has between two steps
TO_STOP = "To stop: menu Kernel, Interrupt Kernel"


class Home:
    """Calls functions in the thread that it was made in, the kernel's main one.

    The kernel's interrupt reaches that thread alone, while JupyterLab hands some of what comes
    from the page to another one.
    """

    def __init__(self) -> None:
        self._thread = threading.current_thread()
        try:
            self._loop = asyncio.get_running_loop()
        except RuntimeError:  # no page
            self._loop = None

    def __call__(self, do: Callable[[], None]) -> None:
        """Call it now, or from another thread as soon as there is a turn."""
        if self._loop is None or threading.current_thread() is self._thread:
            do()
        else:
            self._loop.call_soon_threadsafe(do)


@contextmanager
def interruptible() -> Iterator[None]:
    """Let the kernel's interrupt stop what runs between two requests of the page, too."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


class Teller:
    """Tells what runs, once it has run for a moment, and then each second for how long.

    From a thread of its own: the work leaves the kernel no time to speak.

    Parameters
    ----------
    busy : Busy
    doing : str
    more : callable
        Returns what else there is to tell.
    stop : str
        Label of a button that stops it, "" where there is none.
    """

    def __init__(
        self, busy: Busy, doing: str, more: Callable[[], str] = lambda: TO_STOP, stop: str = ""
    ) -> None:
        self._busy, self._doing, self._more, self._stop = busy, doing, more, stop
        self._begun, self._ended = time.monotonic(), threading.Event()
        self._thread = threading.Thread(target=self._tell, daemon=True)
        self._thread.start()

    def _tell(self):
        wait = SOON
        while not self._ended.wait(wait):
            seconds = time.monotonic() - self._begun
            with self._busy.hold_sync():
                self._busy.doing, self._busy.stop = self._doing, self._stop
                self._busy.detail = f"{seconds:.0f} s. {self._more()}"
            wait = AGAIN

    def end(self) -> None:
        """Say no more."""
        self._ended.set()
        self._thread.join()
        with self._busy.hold_sync():
            self._busy.doing = self._busy.detail = self._busy.stop = ""


@contextmanager
def telling(busy: Busy, doing: str) -> Iterator[None]:
    """Tell what runs, and how to stop it, where it takes long."""
    teller = Teller(busy, doing)
    try:
        yield
    finally:
        teller.end()


class Steps:
    """Work in steps: between two the page is answered, so that a button can stop it.

    Parameters
    ----------
    busy : Busy
        Its button stops the work.
    doing : str
    home : Home
        Where the work is done, and stopped.
    """

    def __init__(self, busy: Busy, doing: str, home: Home) -> None:
        self._busy, self._doing, self.home = busy, doing, home
        self._steps: Generator | None = None
        self._count = 0
        busy.stopped = lambda: self.home(self.stop)

    @property
    def running(self) -> bool:
        """Whether there is a step to come."""
        return self._steps is not None

    def begin(
        self,
        steps: Generator,
        then: Callable[[Any], None],
        stopped: Callable[[], None],
        failed: Callable[[Exception], None],
    ) -> None:
        """Take the first step, of other work no more.

        ``then`` is called with what the steps return in the end, ``stopped`` where they were
        stopped, ``failed`` with the error that ended them; one that is no ValueError is raised
        besides. Outside a running event loop all is done at once.
        """
        self.drop()
        self._steps, self._count = steps, 0
        self._then, self._stopped, self._failed = then, stopped, failed
        self._teller = Teller(
            self._busy, self._doing, lambda: f"Fits tried: {self._count}.", stop="Stop"
        )
        try:
            asyncio.get_running_loop().call_soon(self._step, steps)
        except RuntimeError:  # no page waits for an answer meanwhile
            while self.running:
                self._step(steps)

    def drop(self) -> None:
        """Give it up, without a word."""
        if self._steps is not None:
            self._steps = None
            self._teller.end()

    def stop(self) -> None:
        """Give it up, and say so."""
        if self._steps is not None:
            self.drop()
            self._stopped()

    def _step(self, steps):
        if steps is not self._steps:  # given up meanwhile
            return
        try:
            with interruptible(), warnings.catch_warnings():
                warnings.simplefilter("ignore")
                self._advance(steps)
        except KeyboardInterrupt:
            self.drop()
            self._stopped()
        except Exception as error:
            self.drop()
            self._failed(error)
            if not isinstance(error, ValueError):
                raise

    def _advance(self, steps):
        try:
            next(steps)
        except StopIteration as end:
            self.drop()  # from here on there is nothing to be stopped
            self._then(end.value)
            return
        self._count += 1
        try:
            asyncio.get_running_loop().call_later(TURN, self._step, steps)
        except RuntimeError:
            return  # `begin` goes on
