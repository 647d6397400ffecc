"""Plain pipes of several lengths: half or quarter waves against length, a line and its meaning."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from flutelab.errors import already_warned
from flutelab.fitting.straight_line import StraightLine, far_off, straight_line
from flutelab.model.corrections import Corrections, Spread, default_priors
from flutelab.model.flute import Bore, End, Flute
from flutelab.model.notes import CENT, predict_notes
from flutelab.model.rows import rows
from flutelab.physics.air import moist_air
from flutelab.physics.ends import own_end
from flutelab.pitch import cents

WAVES = {"half": 2, "quarter": 4}  # the part of a wave: c over so many times f
HELD = {"open": "half", "stopped": "quarter"}  # by a plain pipe's lowest note
OPEN_ENDS = {"open": 2, "stopped": 1}
FEWEST = 3  # different lengths
BOOK_SPEED = 343.0  # m/s, of dry air at 20 C, as rounded in school books

# A part of a wave over its pipe's length is 1 and a few hundredths; between these it is taken
# for twice or half of that (an octave, or the wrong part of a wave), or for a slip of units.
_HALVED, _DOUBLED = (0.40, 0.72), (1.55, 2.8)
_FRICTION = 0.03  # by which walls steepen a line at most, as a rule
_SPREAD = ("foot", "loss")
# What a rule and a tuner are read to at worst; and between which slopes, and within how many
# cents, points lie on the line of pipes that are all too long by the same (common practice, no
# source).
_RULE, _TUNER = 1e-3, 1.0  # m, cents
_SHIFTED, _FITS = (0.96, 1.06), 30.0


@dataclass(frozen=True, kw_only=True, eq=False)
class PipeLine:
    """The part of a wave in G pipes, against their lengths.

    Parameters
    ----------
    kind : str
        Of the pipes: ``open`` at both ends, or ``stopped`` at one.
    wave : str
        The part of a wave that was reckoned: ``half`` or ``quarter``.
    length : (G,)
        [m]
    sound_speed : (G,)
        [m/s]
    frequency : (G,)
        Mean of each pipe's readings [Hz].
    spread : (G,)
        Half the range of its readings, as part of a wave [m].
    column : (G,)
        c/2f or c/4f [m].
    line : StraightLine or None
        Of `column` against `length`; None below three different lengths.
    cents : (G,)
        How far each pipe's note lies above the line; nan without a line.
    slips : tuple of (int, str)
        Pipes whose reading and length cannot belong together, and what it looks like.
    verdict : str
        ``few``, ``halved``, ``doubled``, ``slip``, ``impossible``, ``tilted`` or ``good``.
    """

    kind: str
    wave: str
    length: np.ndarray
    sound_speed: np.ndarray
    frequency: np.ndarray
    spread: np.ndarray
    column: np.ndarray
    line: StraightLine | None
    cents: np.ndarray
    slips: tuple[tuple[int, str], ...]
    verdict: str

    @property
    def sound(self) -> bool:
        """Whether the intercept may be taken for an end correction."""
        return self.verdict in ("good", "tilted")

    @property
    def all_too_long(self) -> float | None:
        """What all lengths are too long by at least, if they seem to be [m]."""
        line, (low, high) = self.line, _SHIFTED
        if line is None or line.intercept >= 0 or not low < line.slope < high:
            return None
        return None if self.slips or np.max(np.abs(self.cents)) > _FITS else -line.intercept

    @property
    def apart(self) -> np.ndarray:
        """Pipes farther off the line than chance takes them and rule and tuner can be misread."""
        if self.line is None:
            return np.zeros(0, dtype=int)
        misread = cents(self.length + _RULE, self.length) + _TUNER
        return np.flatnonzero(far_off(self.line) & (np.abs(self.cents) > misread))


def pipe_line(
    length: np.ndarray,
    frequency: np.ndarray,
    *,
    temperature: np.ndarray | None = None,
    sound_speed: float | None = None,
    kind: str = "open",
    wave: str | None = None,
) -> PipeLine:
    """Return c/2f (or c/4f) of plain pipes against their lengths, and the line through it.

    Parameters
    ----------
    length : (G,)
        Of the pipes [m].
    frequency : (G,) or (G, R)
        Readings of their lowest notes [Hz]; nan where there is none, one at least a pipe.
    temperature : float or (G,), optional
        Of the air in the pipes [K]; half its moisture.
    sound_speed : float or (G,), optional
        Instead of the temperature [m/s].
    kind : {'open', 'stopped'}
    wave : {'half', 'quarter'}, optional
        Default: what the pipes hold.

    Returns
    -------
    PipeLine

    Raises
    ------
    ValueError
        A kind or wave that is none, neither temperature nor speed, a length or reading that
        is not above 0, or a pipe without readings.

    Notes
    -----
    A pipe open at both ends holds half a wave, c/2f = L + e with both ends' correction e; one
    stopped at an end a quarter, c/4f = L + e with that of the open end (textbook acoustics).
    The wrong part makes slope and intercept half or twice as large. A pipe is one point, the
    mean of its readings: they share its length and its saw-cut, so repeats do not make the
    line's error smaller than its scatter. Friction at the walls slows the long waves more: it
    steepens the line by 1 or 2 % and takes 1 or 2 mm off its intercept; `predicted_line` says
    how much.

    Examples
    --------
    >>> import numpy as np
    >>> lengths = np.array([0.2, 0.3, 0.4])
    >>> found = pipe_line(lengths, 343 / 2 / (lengths + 0.01), sound_speed=343)
    >>> round(found.line.slope, 4), round(found.line.intercept, 5), found.verdict
    (1.0, 0.01, 'good')
    """
    wave = wave or HELD.get(kind, "")
    _check(kind, wave, temperature, sound_speed)
    length, readings = _numbers(length, frequency)
    if sound_speed is None:
        sound_speed = moist_air(np.asarray(temperature, dtype=float)).sound_speed
    speed = np.broadcast_to(np.asarray(sound_speed, dtype=float), length.shape)
    mean = np.nanmean(readings, axis=1)
    column = speed / (WAVES[wave] * mean)
    ends = speed[:, None] / (WAVES[wave] * readings)
    line = _line(length, column)
    slips = _slips(column / length)
    fitted = np.nan if line is None else column - line.residual
    return PipeLine(
        kind=kind,
        wave=wave,
        length=length,
        sound_speed=speed,
        frequency=mean,
        spread=(np.nanmax(ends, axis=1) - np.nanmin(ends, axis=1)) / 2,
        column=column,
        line=line,
        cents=cents(np.maximum(fitted, 1e-6), column),
        slips=slips,
        verdict=_verdict(line, column / length, slips),
    )


def _check(kind, wave, temperature, sound_speed):
    if kind not in HELD:
        msg = f"kind of pipe is {kind!r}; use one of {', '.join(HELD)}"
        raise ValueError(msg)
    if wave not in WAVES:
        msg = f"wave is {wave!r}; use one of {', '.join(WAVES)}"
        raise ValueError(msg)
    if temperature is None and sound_speed is None:
        msg = "neither temperature nor sound_speed is given; give the air's temperature [K]"
        raise ValueError(msg)


def _numbers(length, frequency):
    length, readings = np.asarray(length, dtype=float), np.asarray(frequency, dtype=float)
    readings = readings.reshape(len(length), -1) if len(length) else np.empty((0, 1))
    if not np.all(length > 0) or np.any(readings <= 0):
        msg = f"every length and reading must be above 0; given {length} m and {readings} Hz"
        raise ValueError(msg)
    if np.any(np.all(np.isnan(readings), axis=1)):
        msg = "a pipe has no reading; leave it out"
        raise ValueError(msg)
    return length, readings


def _line(length, column):
    if different_lengths(length) < FEWEST:
        return None
    return straight_line(length, column)


def different_lengths(length: np.ndarray) -> int:
    """Return how many different lengths there are, to 0.1 mm."""
    return len(set(np.round(np.asarray(length, dtype=float), 4)))


def _slips(ratio):
    """Pipes whose part of a wave is far from the others' over its length."""
    if len(ratio) < FEWEST:
        return ()
    found = [(pipe, _slip(one)) for pipe, one in enumerate(ratio / np.median(ratio))]
    return tuple((pipe, what) for pipe, what in found if what)


def _slip(ratio):
    if _HALVED[0] < ratio < _HALVED[1]:
        return "octave high"
    if _DOUBLED[0] < ratio < _DOUBLED[1]:
        return "octave low"
    if 0.8 < ratio < 1.3:
        return ""
    return "length too small" if ratio > 1 else "length too large"


def _verdict(line, ratio, slips):
    if line is None:
        return "few"
    usual = np.median(ratio)
    if _HALVED[0] < usual < _HALVED[1]:
        return "halved"
    if _DOUBLED[0] < usual < _DOUBLED[1]:
        return "doubled"
    if slips:
        return "slip"
    if line.intercept < 0:
        return "impossible"
    beyond = line.slope_error + 1e-6
    if line.slope < 1 - beyond or line.slope > 1 + _FRICTION + beyond:
        return "tilted"
    return "good"


# --- what the formulas say --------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class PredictedLine:
    """What the full model makes of the same pipes, and the line through that.

    ``column`` (G,) [m]; ``slope``, ``intercept`` [m] of the line; ``intercept_sd`` [m] from
    what the kit assumes of plain ends and of friction before any note is known; ``ends`` [m],
    the open ends' correction of long waves without friction.
    """

    column: np.ndarray
    slope: float
    intercept: float
    intercept_sd: float
    ends: float


def predicted_line(
    length: np.ndarray,
    *,
    bore: float,
    wall: float,
    temperature: float,
    kind: str = "open",
) -> PredictedLine:
    """Return what the formulas say of plain pipes that are tapped.

    Parameters
    ----------
    length : (G,)
        Three different ones at least [m].
    bore, wall : float
        Inner diameter and wall [m]; 0 is a rim as thin as can be.
    temperature : float
        Of the air [K].
    kind : {'open', 'stopped'}

    Raises
    ------
    ValueError
        Sizes that are not those of a pipe.

    Notes
    -----
    Ends as `flutelab.physics.ends.own_end`, friction as `flutelab.physics.tube`. A pipe that
    is blown across sounds lower: the lips cover part of its mouth. No formula here knows how
    far, so of such pipes the intercept is the least to expect.
    """
    air = moist_air(temperature)
    found = [_predicted(one, bore, wall, air, kind) for one in np.asarray(length, dtype=float)]
    column, by_one = (np.array(part) for part in zip(*found, strict=True))
    line = straight_line(length, column)
    # the line is linear in its points, so their shifts make its shift
    shifts = [straight_line(length, shift).intercept for shift in by_one.T]
    radius = bore / 2
    lip = own_end(0.0, radius / (radius + wall))[0]
    return PredictedLine(
        column=column,
        slope=line.slope,
        intercept=line.intercept,
        intercept_sd=float(np.hypot.reduce(shifts)),
        ends=float(OPEN_ENDS[kind] * lip * radius),
    )


def _predicted(length, bore, wall, air, kind):
    """Part of a wave in one pipe [m], and its shift by one sd of each correction."""
    outer = bore + 2 * wall
    foot = {"kind": "stopped"} if kind == "stopped" else {"outer_diameter": outer}
    pipe = Flute(
        name="plain pipe",
        bore=Bore(stations=((0.0, bore),)),
        holes=(),
        head=End(position=0.0, outer_diameter=outer),
        foot=End(position=length, **foot),
    )
    sd = np.array([default_priors()[name].sd for name in _SPREAD])
    spread = Spread(names=_SPREAD, covariance=np.diag(sd**2))
    with already_warned():
        note = predict_notes(pipe, rows(pipe, [""], air=air, driven=[True]), Corrections(), spread)
    column = float(air.sound_speed / (WAVES[HELD[kind]] * note.frequency[0]))
    return column, -column * CENT * note.gradient[0] * sd
