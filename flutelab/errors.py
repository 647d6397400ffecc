"""Errors and warnings of the kit: what is wrong, where, and the mend."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass


class ValidityWarning(UserWarning):
    """A formula was used outside the range its source states."""


class FitWarning(UserWarning):
    """A fit finished, but its result is weak."""


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing wrong in a file: where, as typed, why, and how to mend it."""

    place: str
    problem: str
    mend: str
    typed: str | None = None

    def __str__(self) -> str:
        typed = "" if self.typed is None else f" {self.typed!r}:"
        return f"{self.place}:{typed} {self.problem}. {self.mend}."


@contextmanager
def already_warned() -> Iterator[None]:
    """Keep back validity warnings: the same flute was looked at, and warned of, before."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ValidityWarning)
        yield


class DataError(ValueError):
    """A user's file cannot be used; holds every fault found in it.

    Parameters
    ----------
    source : str
        The file's name as the user gave it.
    faults : iterable of Fault
        All faults, in the order of the file.
    """

    def __init__(self, source: str, faults: Iterable[Fault]) -> None:
        self.source = source
        self.faults = tuple(faults)
        count = "1 fault" if len(self.faults) == 1 else f"{len(self.faults)} faults"
        lines = [f"{source}: {count}", *(f"  {fault}" for fault in self.faults)]
        super().__init__("\n".join(lines))
