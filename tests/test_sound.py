"""Tones: their pitch, loudness, softness; beats; the file as another reader sees it."""

import io
import wave

import numpy as np
import pytest
from scipy.io import wavfile

from flutelab.view.sound import (
    HIGHEST,
    LOWEST,
    QUIET,
    RATE,
    a_weighting,
    one,
    one_then_other,
    together,
    tone,
    wav,
)

# IEC 61672-1, table of A-weightings at nominal frequencies [dB], to 0.1 (from memory). The
# exact frequencies lie on the base-ten series 1000 * 10^(n/10).
TABLE = {-10: -19.1, -9: -16.1, -7: -10.9, -6: -8.6, -3: -3.2, 0: 0.0, 3: 1.2, 4: 1.3, 6: 1.0}


@pytest.mark.parametrize(("number", "level"), TABLE.items())
def test_a_weighting_is_the_standards(number, level):
    assert a_weighting(1000 * 10 ** (number / 10)) == pytest.approx(level, abs=0.06)


def heard(samples):
    """A-weighted power of what sounds, by Fourier transform."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    frequency = np.fft.rfftfreq(len(samples), 1 / RATE)
    return np.sum(spectrum[1:] * 10 ** (a_weighting(frequency[1:]) / 10))


def test_tones_are_equally_loud():
    powers = [heard(tone(frequency)) for frequency in (160, 300, 587, 1200, 3900)]
    assert powers == pytest.approx(np.full(5, powers[0]), rel=0.02)


def test_a_tone_has_its_pitch_and_rises_softly():
    samples = tone(587.0)
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    assert np.argmax(spectrum) * RATE / len(samples) == pytest.approx(587.0, abs=1.0)
    assert abs(samples[0]) == 0
    assert np.abs(samples[: RATE // 100]).max() < 0.03 * np.abs(samples).max()
    assert np.abs(samples[-RATE // 100 :]).max() < 0.03 * np.abs(samples).max()


def test_sounds_are_quiet_and_never_cut():
    at_1000 = np.abs(tone(1000.0)).max()
    assert at_1000 < 2 * QUIET  # 17 dB or more below full scale
    together([LOWEST, LOWEST + 0.5])
    together([HIGHEST - 0.5, HIGHEST])
    with pytest.raises(ValueError, match="of full scale; it must stay within 1"):
        wav(np.array([1.5]))


def test_two_tones_beat_at_their_difference():
    rate, samples = wavfile.read(io.BytesIO(together([500.0, 504.0], seconds=3.0)))
    loud = np.abs(samples.astype(float))
    middle = loud[rate // 4 : -rate // 4]
    slow = np.abs(np.fft.rfft(middle - middle.mean()))
    frequency = np.fft.rfftfreq(len(middle), 1 / rate)
    low = (frequency > 1) & (frequency < 50)
    assert frequency[low][np.argmax(slow[low])] == pytest.approx(4.0, abs=0.5)


def test_one_after_the_other():
    rate, samples = wavfile.read(io.BytesIO(one_then_other(500.0, 600.0)))
    parts = samples[:rate], samples[-rate:]
    peaks = [np.argmax(np.abs(np.fft.rfft(part.astype(float)))) for part in parts]
    assert peaks == pytest.approx([500.0, 600.0], abs=1.5)


def test_the_file():
    with wave.open(io.BytesIO(one(440.0))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, RATE)
        assert file.getnframes() == len(tone(440.0))


@pytest.mark.parametrize(
    ("given", "words"),
    [((100.0,), "a tone of 100 Hz; 150 to 4000 Hz can be played here"),
     ((440.0, 0.1), "a tone of 0.1 s is too short")],
)  # fmt: skip
def test_what_cannot_be_played_is_said(given, words):
    with pytest.raises(ValueError, match=words):
        tone(*given)
