"""Predicted notes: modes with breath and register terms, their gradient and their spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from flutelab.errors import already_warned
from flutelab.model.chain import Chain, Formulas, chain
from flutelab.model.corrections import META, NAMES, Corrections, Spread
from flutelab.model.flute import Flute
from flutelab.model.lattice import elements
from flutelab.model.modes import register_roots, searched, solved_modes, warn_of_notes
from flutelab.model.roots import condition
from flutelab.model.rows import Rows, checked, distinct, rows, take
from flutelab.physics.air import Air
from flutelab.physics.breath import AirAlong

CENT = np.log(2) / 1200
PLAYED = ("breath", "second_register", "jet")  # what blowing adds to the air column's note
ACOUSTIC = tuple(name for name in NAMES if name not in PLAYED)
_STEP = {"air_offset": 1e-2}  # K; all others 1e-4 of their own unit


@dataclass(frozen=True, kw_only=True, eq=False)
class Notes:
    """N predicted notes.

    ``frequency`` [Hz], nan where none; ``sd`` [cents] from the corrections' spread, or
    None; ``q``; ``status`` and ``reason`` as in `modes`; ``root`` the complex
    eigenfrequency before breath and register terms; ``gradient`` (N, P) [cents per
    unit] of the spread's corrections, or None.
    """

    label: tuple[str, ...]
    register: np.ndarray
    frequency: np.ndarray
    q: np.ndarray
    status: np.ndarray
    reason: np.ndarray
    root: np.ndarray
    sd: np.ndarray | None = None
    gradient: np.ndarray | None = None


def playing_frequencies(
    flute: Flute,
    fingerings: str | Sequence[str],
    *,
    air: Air | AirAlong,
    corrections: Corrections | None = None,
    register: int | Sequence[int] = 1,
    formulas: Formulas | None = None,
) -> np.ndarray:
    """Return the playing frequency of each fingering [Hz], shape (N,); nan where none.

    Parameters
    ----------
    flute : Flute
    fingerings : str or sequence of str
        As in `rows`.
    air : Air or AirAlong
        The bore's air.
    corrections : Corrections, optional
        Default: the formulas as they stand.
    register : int or (N,)
    formulas : Formulas, optional
        Default: our own; `PUBLISHED` are the others.

    Raises
    ------
    ValueError
        A fingering that does not fit the flute.
    """
    wanted = rows(flute, fingerings, air=air, register=register)
    return predict_notes(flute, wanted, corrections, formulas=formulas).frequency


def predict_notes(
    flute: Flute,
    fingerings: Rows,
    corrections: Corrections | None = None,
    spread: Spread | None = None,
    *,
    formulas: Formulas | None = None,
) -> Notes:
    """Predict notes, with +- where the corrections' spread is given.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
        N rows; register 0 counts as 1.
    corrections : Corrections, optional
    spread : Spread, optional
    formulas : Formulas, optional

    Returns
    -------
    predicted : Notes
    """
    corrections = corrections or Corrections()
    register = np.maximum(np.asarray(checked(fingerings).register), 1)
    count = searched(register)
    found, numbers = solved_modes(flute, fingerings, corrections, count=count, formulas=formulas)
    column = register_roots(found, register)
    pick = np.arange(len(fingerings)), np.maximum(column, 0)
    none = column < 0
    reason = np.where(none, _why_none(found.reason[pick]), "")
    root = np.where(none, np.nan, found.root[pick])
    warn_of_notes(numbers, root.real)
    notes = Notes(
        label=fingerings.label,
        register=register,
        frequency=root.real * np.exp(CENT * played_cents(fingerings, corrections)),
        q=np.where(none, np.nan, found.q[pick]),
        status=np.where(none, "none", found.status[pick]),
        reason=reason,
        root=root,
    )
    if spread is None:
        return notes
    gradient = pitch_gradient(flute, fingerings, root, corrections, spread.names, formulas)
    sd = np.sqrt(np.einsum("np,pq,nq->n", gradient, spread.covariance, gradient))
    return replace(notes, sd=sd, gradient=gradient)


def _why_none(reason):
    return np.where(reason == "", "no mode of this register speaks", reason)


def played_cents(fingerings: Rows, corrections: Corrections) -> np.ndarray:
    """Return what blowing adds to each row's eigenfrequency [cents], (N,)."""
    terms = _played_terms(fingerings, corrections)
    return sum(getattr(corrections, name) * terms[name] for name in PLAYED)


def _played_terms(fingerings, corrections):
    """What each correction of `PLAYED` is multiplied by, each (N,); nothing in driven rows."""
    count, driven = len(fingerings), fingerings.driven
    blown = np.ones(count) if driven is None else 1.0 - np.asarray(driven, dtype=float)
    second = np.asarray(fingerings.register) >= 2
    doublings = np.zeros(count)
    if fingerings.breath is not None:
        first, above = (
            np.nan if pressure is None else pressure
            for pressure in (corrections.reference_pressure, corrections.overblown_pressure)
        )
        doublings = np.nan_to_num(np.log2(fingerings.breath / np.where(second, above, first)))
    return {"breath": blown * doublings, "second_register": blown * second, "jet": blown}


def pitch_gradient(
    flute: Flute,
    fingerings: Rows,
    root: np.ndarray,
    corrections: Corrections,
    names: Sequence[str],
    formulas: Formulas | None = None,
) -> np.ndarray:
    """Return d(cents)/d(correction), shape (N, P), at solved roots.

    Parameters
    ----------
    flute : Flute
    fingerings : Rows
    root : (N,) complex
        Eigenfrequencies of these rows under `corrections` [Hz].
    corrections : Corrections
        Without a batch axis.
    names : sequence of P str
    formulas : Formulas, optional

    Notes
    -----
    Implicit function theorem: df/dtheta = -Re[(dD/dtheta)/(dD/df)] at the root of the
    mode condition D, all corrections in one batched evaluation.
    """
    gradient = np.zeros((len(fingerings), len(names)))
    for name, column in _played_terms(fingerings, corrections).items():
        if name in names:
            gradient[:, list(names).index(name)] = column
    acoustic = [name for name in names if name in ACOUSTIC]
    if acoustic and len(fingerings):
        columns = [list(names).index(name) for name in acoustic]
        hertz = frequency_gradient(flute, fingerings, root, corrections, acoustic, formulas)
        gradient[:, columns] = hertz / (CENT * root.real[:, None])
    return gradient


def frequency_gradient(
    flute: Flute,
    fingerings: Rows,
    root: np.ndarray,
    corrections: Corrections,
    names: Sequence[str],
    formulas: Formulas | None = None,
) -> np.ndarray:
    """Return df/d(correction) of the eigenfrequencies [Hz per unit], shape (N, P).

    As `pitch_gradient`, for corrections of the air column alone (`ACOUSTIC`).
    """
    low, high = zip(*(both_sides(corrections, name) for name in names), strict=True)
    batch = _one_at_a_time(corrections, names, np.concatenate([low, high]))
    width = np.subtract(high, low)[:, None]
    index, inverse = distinct(fingerings, root.real, root.imag)
    some = take(fingerings, index)
    with already_warned():
        single = chain(flute, some, corrections, formulas)
        moved = chain(flute, some, batch, formulas)
        return root_gradient(moved, single, root[index], width).T[inverse]


def both_sides(corrections: Corrections, name: str) -> tuple[float, float]:
    """Return the ends of a central step about a correction, kept inside its limits."""
    step = _STEP.get(name, 1e-4)
    value = getattr(corrections, name)
    return max(value - step, META[name]["lower"]), min(value + step, META[name]["upper"])


def _one_at_a_time(corrections, names, values):
    """Corrections on the batch axis: entry i of `values` replaces name i modulo P."""
    leaves = {}
    for column, name in enumerate(names):
        leaf = np.full((len(values), 1, 1), float(getattr(corrections, name)))
        leaf[column :: len(names), 0, 0] = values[column :: len(names)]
        leaves[name] = leaf
    return replace(corrections, **leaves)


def root_gradient(batch: Chain, single: Chain, root: np.ndarray, width: np.ndarray) -> np.ndarray:
    """Return df/dtheta = -Re[(dD/dtheta)/(dD/df)] of eigenfrequencies [Hz per unit], (P, N).

    Parameters
    ----------
    batch : Chain
        2 P flutes: each number theta below its value, then each above it.
    single : Chain
        The flute itself, to which the roots belong.
    root : (N,) complex
        Eigenfrequencies [Hz]; nan, and so the gradient, where there is none.
    width : (P, 1) or (P, N)
        From below to above.
    """
    # a row without a root is worked out at another row's
    known = np.isfinite(root)
    if not np.any(known):
        return np.full((len(width), len(root)), np.nan)
    safe = np.where(known, root, root[known][0])
    below, above = np.split(condition(elements(batch, safe[None, :, None]))[..., 0], 2)
    step = 1e-6 * np.abs(safe)
    pair = np.stack([safe - step, safe + step], axis=-1)[None]
    at_pair = condition(elements(single, pair))[0]
    slope = (at_pair[:, 1] - at_pair[:, 0]) / (2 * step)
    return np.where(known, -((above - below) / width / slope).real, np.nan)
