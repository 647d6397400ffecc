"""Axes of the chain's arrays: (batch, note, frequency), then a last one over openings or tubes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def leaf(value: float) -> float:
    """Return a leaf of shape (batch, 1, 1) with a last axis for openings; a float as it is."""
    return value[..., None] if np.ndim(value) else value


def join(parts: Sequence[float]) -> np.ndarray:
    """Return leaves side by side on the last axis; shape (0,) where there are none."""
    if not any(np.ndim(part) for part in parts):
        return np.array(parts, dtype=float)
    arrays = [np.atleast_1d(part) for part in parts]
    return np.concatenate(np.broadcast_arrays(*arrays), axis=-1)


def by_note(values: np.ndarray) -> np.ndarray:
    """Return values of shape (N, ...) as (1, N, 1, ...); one row where all rows are alike."""
    values = np.asarray(values)
    if values.ndim == 3:  # a batch of rows
        return values[:, :, None]
    if values.size and np.all(values == values[:1]):
        values = values[:1]
    return values[None, :, None]


def columns(*parts: np.ndarray) -> np.ndarray:
    """Join arrays on the last axis, broadcasting all axes before it."""
    lead = np.broadcast_shapes(*(np.shape(p)[:-1] for p in parts))
    joined = np.empty((*lead, sum(p.shape[-1] for p in parts)), np.result_type(*parts))
    begin = 0
    for part in parts:
        joined[..., begin : begin + part.shape[-1]] = part
        begin += part.shape[-1]
    return joined
