"""Tones on whole hertz, played for some seconds: which they are, and where a recording holds them steadily.

Whatever is made of such tones repeats each second, from wherever one counts: a recording needs no alignment
with what was played, but one clock for both.

Source: common practice; the limits are defined here.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

Float64s = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int_]

#: Weaker lines than this, re the strongest, are no tones that were played.
TONE_PART: Final = 1e-3
#: So much of a stimulus' power lies in its tones.
TONES_HOLD: Final = 1.0 - 1e-5
#: A frame of this length sounds where its RMS is such a part of that of the loudest second.
FRAME_S: Final = 0.1
SOUNDS_PART: Final = 0.25
#: What settles after the beginning, and before the end where a frame may sound for a part of it.
SETTLES_S: Final = 1.0
ENDS_S: Final = 0.1
FEWEST_BLOCKS: Final = 2


class NotSteadyTonesError(ValueError):
    """Samples don't hold tones that repeat each second, or not for long enough."""


def tones_in(stimulus: npt.ArrayLike, sample_rate_hz: int) -> Ints:
    """The tones of a stimulus (n,) in whole hertz, shape (T,), rising.

    Raises
    ------
    NotSteadyTonesError
        It sounds for less than two seconds, or isn't made of tones on whole hertz.
    """
    x = np.asarray(stimulus, dtype=np.float64)
    heard = np.flatnonzero(np.abs(x) > TONE_PART * np.max(np.abs(x), initial=0.0))
    if heard.size == 0 or heard[-1] + 1 - heard[0] < 2 * sample_rate_hz - 2:
        raise NotSteadyTonesError("it sounds for less than two seconds")
    second = x[heard[0] : heard[0] + sample_rate_hz]
    power = np.abs(scipy.fft.rfft(second, workers=1)) ** 2
    tones = np.flatnonzero(power > TONE_PART**2 * power.max())
    if tones.size < 2 or tones[0] == 0 or power[tones].sum() < TONES_HOLD * power.sum():
        raise NotSteadyTonesError("it isn't made of tones on whole hertz")
    return tones


def steady_part(recording: npt.ArrayLike, sample_rate_hz: int) -> slice:
    """The longest part of a recording (n,) that sounds, without its first second and its last tenth of one.

    Raises
    ------
    NotSteadyTonesError
        Fewer than two whole seconds are left.
    """
    x = np.asarray(recording, dtype=np.float64)
    frame = round(FRAME_S * sample_rate_hz)
    power = np.mean(x[: x.size // frame * frame].reshape(-1, frame) ** 2, axis=1)
    a_second = round(1.0 / FRAME_S)
    if power.size < a_second:
        raise NotSteadyTonesError("it is shorter than a second")
    loudest = float(np.max(np.convolve(power, np.full(a_second, 1.0 / a_second), "valid")))
    sounds = np.concatenate([[False], power > SOUNDS_PART**2 * loudest, [False]])
    edges = np.flatnonzero(np.diff(sounds.astype(int)))
    first, stop = max(
        zip(edges[::2], edges[1::2], strict=True), key=lambda run: run[1] - run[0], default=(0, 0)
    )
    begins = int(first) * frame + round(SETTLES_S * sample_rate_hz)
    ends = int(stop) * frame - round(ENDS_S * sample_rate_hz)
    if ends - begins < FEWEST_BLOCKS * sample_rate_hz:
        raise NotSteadyTonesError("it sounds steadily for less than two seconds after the first one")
    return slice(begins, ends)


def held_part(recording: npt.ArrayLike, sample_rate_hz: int, tones_hz: Ints) -> float:
    """The part of a steady recording's power (n,) that lies in its tones, of all above the lowest."""
    power = np.mean(np.abs(_spectra(recording, sample_rate_hz)) ** 2, axis=0)
    return float(power[tones_hz].sum() / power[tones_hz[0] :].sum())


def pace_difference(recording: npt.ArrayLike, sample_rate_hz: int, tones_hz: Ints) -> float:
    """By what part of itself the clock that recorded runs slower than the one that played.

    Found from how the phases of tones (T,) go on from second to second of a recording (n,).
    """
    lines = _spectra(recording, sample_rate_hz)[:, tones_hz]
    turn = sum(later * np.conj(sooner) for sooner, later in pairwise(lines))
    weight = np.abs(turn)
    along = 2.0 * np.pi * tones_hz.astype(np.float64)
    return float(np.sum(weight * along * np.angle(turn)) / np.sum(weight * along**2))


def _spectra(recording: npt.ArrayLike, sample_rate_hz: int) -> npt.NDArray[np.complex128]:
    """Of each whole second, (B, K): one line a hertz."""
    x = np.asarray(recording, dtype=np.float64)
    count = x.size // sample_rate_hz
    return np.asarray(
        scipy.fft.rfft(x[: count * sample_rate_hz].reshape(count, sample_rate_hz), axis=1, workers=1)
    )
