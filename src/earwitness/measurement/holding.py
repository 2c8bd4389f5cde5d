"""Whether a deconvolved recording holds its stimulus: all of it, at its own pace, and nothing else.

What is wrong with it is refused, with the option or field that settles it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.acoustics import arrival, stretched, sweeps
from earwitness.measurement.answers import Answer, Stimulus
from earwitness.measurement.impulse_response import Float32s, kept_before, kept_samples
from earwitness.records.errors import ReadError
from earwitness.records.takes import Take

#: On axis direct sound is the greatest peak of low and of high frequencies, and comes at once: peaks of these
#: two bands that lie further apart tell of another sweep, or of a sample rate that isn't the recording's.
#: A sweep of 1.5 s played at 44.1 kHz, recorded as if at 48 kHz, parts them by 30 ms, a longer one by more.
#: Off axis a wall may send back more than comes directly, so there it only gives cause to look at the pace.
LOW_BAND_HZ: Final = (700.0, 2_000.0)
HIGH_BAND_HZ: Final = (4_000.0, 8_000.0)
FURTHEST_APART_S: Final = 0.01
#: So much of a response's energy, at least, lies where it is kept; less gives cause to look at the pace too.
KEPT_PART: Final = 0.5
#: The band in which the pace of a near field is looked at.
NEAR_BAND_HZ: Final = (100.0, 500.0)
#: A recording whose impulse response stands out less (`sweeps.prominence`) doesn't hold its stimulus.
LEAST_PROMINENCE: Final = 40.0
#: What is examined goes up to here; a recording that ends before the sweep reaches it may lack so much of it.
EXAMINED_TO_HZ: Final = 20_000.0
MAY_LACK_OCTAVES: Final = 1.0 / 3.0
#: An end within the sweep tells on its last frequencies over so much.
END_OCTAVES: Final = 1.0 / 6.0


def require_prominent(responses: Float32s, takes: Sequence[Take], stimulus: Stimulus, whose: str) -> None:
    """Refuse what doesn't hold its stimulus: another one, another sample rate, noise."""
    for take, prominence in zip(takes, sweeps.prominence(responses), strict=True):
        if prominence < LEAST_PROMINENCE:
            raise ReadError(
                take.id,
                f"{whose}doesn't hold the sweep in {stimulus.name}",
                "name the stimulus that was played in takes.toml, and check the sample rate and the channel",
            )


def require_own_pace(whole: Float32s, answer: Answer, stimulus: Stimulus) -> None:
    """Refuse a take in whose circular response frequencies arrive as those of another sweep do."""
    low, high = stimulus.band_hz
    take, rate = answer.take, stimulus.sample_rate_hz
    direction = take.key.direction
    band = NEAR_BAND_HZ if direction is None else LOW_BAND_HZ
    if low > band[0] or high < band[1]:
        return
    at = int(np.argmax(np.abs(whole)))
    first = at - kept_before(rate)
    near = np.take(whole, np.arange(first, first + min(kept_samples(rate), whole.size)), mode="wrap")
    apart_s = _apart_s(near, rate) if direction is not None and high >= HIGH_BAND_HZ[1] else 0.0
    if direction is not None and direction.angle_deg == 0.0 and apart_s > FURTHEST_APART_S:
        raise _of_another(take, stimulus, f"holds low and high frequencies {1e3 * apart_s:.0f} ms apart")
    kept_part = float(np.vdot(near, near) / np.vdot(whole, whole))
    misplaced = at >= whole.size // 2 or _lacks_much(_reached_hz(at, answer, stimulus), stimulus)
    if direction is None or apart_s > FURTHEST_APART_S or kept_part < KEPT_PART or misplaced:
        pace = stretched.told_pace(whole, rate, stimulus.rate_s, band)
        if pace is not None:
            raise _of_another(take, stimulus, f"holds its sweep {pace:.3f} times as long as it was played")


def _apart_s(response: Float32s, sample_rate_hz: float) -> float:
    """How far the peaks of low and of high frequencies lie apart."""
    low, high = arrival.peaks_s(response, sample_rate_hz, (LOW_BAND_HZ, HIGH_BAND_HZ))
    return float(abs(low - high))


def _of_another(take: Take, stimulus: Stimulus, found: str) -> ReadError:
    return ReadError(
        take.id,
        f"{found}, as of another sweep than that in {stimulus.name} or of another sample rate",
        "name the stimulus that was played in takes.toml, and check the sample rates of both",
    )


def held_band_hz(whole: Float32s, answer: Answer, stimulus: Stimulus) -> tuple[float, float]:
    """The band of the stimulus that the recording holds: less of it where it ends before the sweep does.

    Raises
    ------
    ReadError
        It begins after the stimulus, or lacks more of it than `MAY_LACK_OCTAVES`.
    """
    rate, count = stimulus.sample_rate_hz, answer.microphone.size
    at = int(np.argmax(np.abs(whole)))
    if at >= whole.size // 2:
        early_s = (whole.size - at) / rate
        raise ReadError(
            answer.take.id,
            f"begins {1e3 * early_s:.0f} ms after its stimulus does, or ends so long before",
            "export it from where the stimulus begins, with the whole sweep in it",
        )
    low, high = stimulus.band_hz
    reached = _reached_hz(at, answer, stimulus)
    if _lacks_much(reached, stimulus):
        lacking_s = stimulus.rate_s * np.log(high / reached)
        raise ReadError(
            answer.take.id,
            f"ends {1e3 * lacking_s:.0f} ms before its sweep does, at {reached:.0f} Hz",
            "record the whole sweep again",
            f"sample {count}",
        )
    return low, high if reached == high else reached * 2.0**-END_OCTAVES


def _reached_hz(at: int, answer: Answer, stimulus: Stimulus) -> float:
    """How far the sweep comes before the recording ends, where its sound arrives at sample `at`."""
    lacking_s = max(0, at + stimulus.sounding - answer.microphone.size) / stimulus.sample_rate_hz
    return float(stimulus.band_hz[1] * np.exp(-lacking_s / stimulus.rate_s))


def _lacks_much(reached_hz: float, stimulus: Stimulus) -> bool:
    wanted_hz = min(stimulus.band_hz[1], EXAMINED_TO_HZ)
    return bool(np.log2(wanted_hz / reached_hz) > MAY_LACK_OCTAVES)
