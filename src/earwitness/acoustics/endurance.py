"""A long run: how a loudspeaker's response changes under a load that lasts, and how it comes back.

A run is one signal: a noise that repeats each second, loud for minutes (the load), with the same noise far
weaker before, between and after (probes), and silence. Probes tell what lasts beyond the load, which is heat;
the load itself tells what acts at once, too. Defined here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: The noise repeats after so long.
PERIOD_S: Final = 1.0
#: Seconds of the load before each probe among it, as they grow, and then again and again.
LOADS_S: Final = (2, 2, 4, 8, 16, 32, 60)
#: Seconds of silence before each probe after the load, as they grow, and then again and again.
RESTS_S: Final = (1, 1, 1, 2, 3, 4, 6, 10, 16, 24, 40, 58)
#: Probes before the load.
COLD_PROBES: Final = 4
#: A probe is so many periods; the last of them counts.
PROBE_PERIODS: Final = 2
#: A window ends so long before its stretch does: the stretches' edges are known no better.
MARGIN_S: Final = 0.02
#: What a second is.
SILENCE, PROBE, LOAD = 0, 1, 2
#: A second under this part of the loudest one's RMS is silent, under that one it is a probe.
SILENT_PART: Final = 1e-3
PROBE_PART: Final = 0.5
#: Middles of the octaves that are looked at, Hz.
OCTAVES_HZ: Final = tuple(1000.0 * 2.0**k for k in range(-4, 4))
#: A recording begins at most so many seconds before its stimulus; a second of it is so much like that of the
#: stimulus at least, and so many of its seconds are as loud as they should be.
MOST_LATE_S: Final = 60
LEAST_ALIKE: Final = 0.02
ALIKE_SECONDS: Final = 0.9
#: An octave counts where a probe's power in it is so many times that of the noise.
LEAST_RATIO: Final = 10.0


def seconds_of(load_s: int, rest_s: int) -> Ints:
    """What each second of a run is: `SILENCE`, `PROBE` or `LOAD`.

    Parameters
    ----------
    load_s, rest_s
        Seconds of load in all, and of what comes after it, at least.
    """
    found = [SILENCE, SILENCE, *[PROBE] * PROBE_PERIODS] * COLD_PROBES + [SILENCE]
    left, turn = load_s, 0
    while left > 0:
        take = min(left, LOADS_S[min(turn, len(LOADS_S) - 1)])
        found += [LOAD] * take + [PROBE] * PROBE_PERIODS
        left, turn = left - take, turn + 1
    turn, rested = 0, 0
    while rested < rest_s:
        quiet = RESTS_S[min(turn, len(RESTS_S) - 1)]
        found += [SILENCE] * quiet + [PROBE] * PROBE_PERIODS
        rested, turn = rested + quiet + PROBE_PERIODS, turn + 1
    return np.array(found, dtype=np.int64)


def noise_second(samples: int, band: tuple[float, float], seed: int) -> Floats:
    """One period of pink noise, shape (samples,), of RMS 1: lines of falling power, phases drawn.

    `band` is in cycles a period. Of eight draws the one of the least crest factor.
    """
    lines = np.arange(samples // 2 + 1)
    inside = (lines >= band[0]) & (lines <= band[1]) & (lines > 0)
    best: Floats | None = None
    for turn in range(8):
        phases = np.random.default_rng([seed, turn]).uniform(0.0, 2.0 * np.pi, lines.size)
        spectrum = np.where(inside, np.exp(1j * phases) / np.sqrt(np.maximum(lines, 1)), 0.0)
        wave = np.asarray(scipy.fft.irfft(spectrum, samples))
        wave /= np.sqrt(np.mean(wave**2))
        if best is None or np.max(np.abs(wave)) < np.max(np.abs(best)):
            best = wave
    assert best is not None
    return best


@dataclass(frozen=True)
class Frames:
    """What a run's recording tells, by seconds that count (J) and octaves (B).

    Attributes
    ----------
    time_s
        Shape (J,): middles, from the beginning of the load.
    kind
        Shape (J,): `PROBE` or `LOAD`.
    octave_hz
        Shape (B,).
    change_db
        Shape (J, B): level re that of the probes before the load, for the same drive.
    uncertainty_db
        Shape (J, B): standard uncertainty by noise.
    cold
        Shape (J,): before the load.
    gain
        Shape (K,): RMS of each second of the whole signal re the load's, from the first one that sounds.
    first_s
        The time of the first of them.
    """

    time_s: Floats
    kind: Ints
    octave_hz: Floats
    change_db: Floats
    uncertainty_db: Floats
    cold: npt.NDArray[np.bool_]
    gain: Floats
    first_s: float


class NotARunError(ValueError):
    """A signal isn't a run."""


def frames_of(recording: Floats, stimulus: Floats, sample_rate_hz: int) -> Frames:
    """The octaves' levels of each second that counts.

    Parameters
    ----------
    recording, stimulus
        Shape (N,) each, of one sample rate: what the microphone had, and what was played.

    Raises
    ------
    NotARunError
        The stimulus isn't a run, or the recording doesn't hold it. It says why in words.
    """
    period = round(PERIOD_S * sample_rate_hz)
    first, gain = _seconds(stimulus, period)
    kinds = np.where(gain < SILENT_PART, SILENCE, np.where(gain < PROBE_PART, PROBE, LOAD))
    loaded = np.flatnonzero(kinds == LOAD)
    if not loaded.size or np.count_nonzero(kinds[: loaded[0]] == PROBE) < PROBE_PERIODS:
        raise NotARunError("it has no load with probes before it")
    delay = _delay(recording, stimulus, first, kinds, period)
    if delay is None:
        raise NotARunError("the recording doesn't hold it")
    margin = round(MARGIN_S * sample_rate_hz)
    starts = first + np.arange(kinds.size) * period - margin
    # the last second of a probe, and those of the load but its first
    again = np.concatenate([[False], kinds[1:] == kinds[:-1]])
    last = np.concatenate([kinds[1:] != kinds[:-1], [True]])
    counts = again & ((kinds == LOAD) | ((kinds == PROBE) & last))
    counts &= starts + delay + period <= recording.size
    powers = _band_powers(recording, starts + delay, np.flatnonzero(counts), period)
    # a second of silence after another, when nothing rings any longer
    quiet = np.flatnonzero(again[: loaded[0]] & (kinds[: loaded[0]] == SILENCE))
    if not quiet.size:
        raise NotARunError("it has no two seconds of silence before its load")
    noise = _band_powers(recording, starts + delay, quiet, period)
    return _frames(powers, noise.mean(axis=0), np.flatnonzero(counts), kinds, gain)


def _seconds(stimulus: Floats, period: int) -> tuple[int, Floats]:
    """The first sample that sounds, and each second's RMS from there re the loudest."""
    loud = np.flatnonzero(np.abs(stimulus) > SILENT_PART * np.max(np.abs(stimulus), initial=0.0))
    if not loud.size:
        raise NotARunError("it is silent")
    first = int(loud[0])
    count = -(-(int(loud[-1]) + 1 - first) // period)
    whole = np.zeros(count * period)
    part = stimulus[first : first + whole.size]
    whole[: part.size] = part
    rms = np.sqrt(np.mean(whole.reshape(count, period) ** 2, axis=1))
    return first, rms / rms.max()


def _delay(recording: Floats, stimulus: Floats, first: int, kinds: Ints, period: int) -> int | None:
    """By how many samples the recording comes after the stimulus; None where it doesn't hold it.

    A second of the load tells it but for whole seconds, since each is like the next; the order of loud and
    quiet seconds tells those.
    """
    loaded = int(np.flatnonzero(kinds == LOAD)[0])
    start = first + loaded * period
    one = stimulus[start : start + period]
    heard = recording[: start + MOST_LATE_S * period]
    size = scipy.fft.next_fast_len(heard.size + period, real=True)
    cross = np.abs(scipy.fft.irfft(scipy.fft.rfft(heard, size) * np.conj(scipy.fft.rfft(one, size)), size))
    at = int(np.argmax(cross[: heard.size]))
    part = recording[at : at + period]
    if cross[at] < LEAST_ALIKE * np.sqrt(np.sum(part**2) * np.sum(one**2)):
        return None
    fine = (at - start) % period
    offset = (first + fine) % period
    whole = (recording.size - offset) // period
    loud = np.sqrt(np.mean(recording[offset : offset + whole * period].reshape(whole, period) ** 2, axis=1))
    is_loud = loud > PROBE_PART * np.percentile(loud, 95.0)
    best, delay = 0.0, None
    for late in range(-((first + fine) // period), MOST_LATE_S):
        begins = (first + fine) // period + late
        held = is_loud[begins : begins + kinds.size]
        alike = float(np.mean((kinds == LOAD)[: held.size] == held)) if held.size > loaded else 0.0
        if alike > best:
            best, delay = alike, fine + late * period
    return delay if best > ALIKE_SECONDS else None


def _band_powers(recording: Floats, starts: Ints, chosen: Ints, period: int) -> Floats:
    """Power in each octave of those seconds, shape (J, B)."""
    line_hz = 1.0 / PERIOD_S
    lines = np.arange(period // 2 + 1) * line_hz
    half = np.sqrt(2.0)
    edges = [(lines >= f / half) & (lines < f * half) for f in OCTAVES_HZ]
    found = np.zeros((chosen.size, len(edges)))
    for row, second in enumerate(chosen):
        start = max(int(starts[second]), 0)
        spectrum = np.abs(scipy.fft.rfft(recording[start : start + period], period)) ** 2
        found[row] = [spectrum[inside].sum() for inside in edges]
    return found


def _frames(powers: Floats, noise: Floats, rows: Ints, kinds: Ints, gain: Floats) -> Frames:
    """From powers (J, B) of the seconds `rows` (J,)."""
    begins = int(np.flatnonzero(kinds == LOAD)[0])
    cold = rows < begins
    octave = np.array(OCTAVES_HZ)
    lines = np.array([f / np.sqrt(2.0) * PERIOD_S for f in OCTAVES_HZ])
    signal = powers - noise
    reference = (signal[cold] / gain[rows[cold], None] ** 2).mean(axis=0)
    heard = np.all(signal > LEAST_RATIO * noise, axis=0) & (reference > 0.0)
    if not heard.any():
        raise NotARunError("noise hides its probes in every octave")
    signal, noise = signal[:, heard], noise[heard]
    ratio = noise / signal
    # a known signal with Gaussian noise in L complex lines: the power's variance is (2PN + N²)/L
    spread = 10.0 / np.log(10.0) * np.sqrt((2.0 * ratio + ratio**2) / lines[heard])
    change = 10.0 * np.log10(signal / gain[rows, None] ** 2 / reference[heard])
    return Frames(
        time_s=np.asarray((rows - begins + 0.5) * PERIOD_S - MARGIN_S, dtype=np.float64),
        kind=kinds[rows],
        octave_hz=octave[heard],
        change_db=change,
        uncertainty_db=spread,
        cold=cold,
        gain=gain,
        first_s=-begins * PERIOD_S,
    )
