"""Tones to listen to, as WAV files: equally loud, quiet, with a soft rise and fall."""

from __future__ import annotations

import io
import wave
from collections.abc import Sequence

import numpy as np

RATE = 22050  # samples a second
LOWEST, HIGHEST = 150.0, 4000.0  # Hz, of the fundamental
QUIET = 0.07  # of full scale: a tone as loud as a sine of 1 kHz with this amplitude
SOFT = 0.12  # s of rise, and of fall
GAP = 0.25  # s of silence between two tones
PARTIALS = (1.0, 0.3, 0.12)  # roughly a duct flute's (from memory)


def a_weighting(frequency: float) -> float:
    """Return how much louder the ear takes a tone than one of 1 kHz [dB].

    Notes
    -----
    The A-weighting of IEC 61672-1, annex E (formula and constants from memory, checked against
    the standard's table): a rough measure of equal loudness, meant for quiet tones.

    Examples
    --------
    >>> round(float(a_weighting(100.0)), 1)
    -19.1
    """
    f2 = np.asarray(frequency, dtype=float) ** 2
    low, mid1, mid2, high = (f**2 for f in (20.598997, 107.65265, 737.86223, 12194.217))
    gain = high * f2**2 / ((f2 + low) * np.sqrt((f2 + mid1) * (f2 + mid2)) * (f2 + high))
    return 20 * np.log10(gain) + 2.0


def tone(frequency: float, seconds: float = 1.2) -> np.ndarray:
    """Return the samples of a tone, from -1 to 1, at `RATE`.

    Parameters
    ----------
    frequency : float
        [Hz], 150 to 4000.
    seconds : float
        The soft rise and fall included.

    Raises
    ------
    ValueError
        A frequency outside 150 to 4000 Hz, or less time than rise and fall take.

    Notes
    -----
    A fundamental with two partials. All tones have the same A-weighted power, which makes
    them about equally loud.
    """
    if not LOWEST <= frequency <= HIGHEST:
        msg = f"a tone of {frequency:.4g} Hz; {LOWEST:g} to {HIGHEST:g} Hz can be played here"
        raise ValueError(msg)
    if not seconds >= 2 * SOFT:
        msg = f"a tone of {seconds:g} s is too short: rise and fall take {2 * SOFT:g} s"
        raise ValueError(msg)
    time = np.arange(round(seconds * RATE)) / RATE
    partials = [(n, size) for n, size in enumerate(PARTIALS, 1) if n * frequency < RATE / 2]
    wave_form = sum(size * np.sin(2 * np.pi * n * frequency * time) for n, size in partials)
    heard = sum((size * 10 ** (a_weighting(n * frequency) / 20)) ** 2 for n, size in partials)
    return QUIET / np.sqrt(heard) * wave_form * _envelope(time, seconds)


def _envelope(time, seconds):
    """Raised cosines: no click."""
    edge = np.minimum(time, seconds - time) / SOFT
    return np.sin(np.pi / 2 * np.clip(edge, 0.0, 1.0)) ** 2


def one(frequency: float) -> bytes:
    """Return a tone as a WAV file."""
    return wav(tone(frequency))


def one_then_other(first: float, second: float) -> bytes:
    """Return two tones, one after the other, as a WAV file."""
    return wav(np.concatenate([tone(first), np.zeros(round(GAP * RATE)), tone(second)]))


def together(frequencies: Sequence[float], seconds: float = 2.5) -> bytes:
    """Return tones at once as a WAV file: two that are near each other beat."""
    return wav(sum(tone(frequency, seconds) for frequency in frequencies))


def wav(samples: np.ndarray) -> bytes:
    """Return samples from -1 to 1 as a WAV file: one channel, 16 bits.

    Raises
    ------
    ValueError
        Samples beyond full scale: they would be cut.
    """
    peak = np.max(np.abs(samples), initial=0.0)
    if not peak <= 1:
        msg = f"a sound reaches {peak:.3g} of full scale; it must stay within 1"
        raise ValueError(msg)
    held = io.BytesIO()
    with wave.open(held, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(np.round(samples * 32767).astype("<i2").tobytes())
    return held.getvalue()
