"""Signals to play as they are asked for, and their samples: a sweep, a multitone, noise, or a run."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import signals, sweeps
from earwitness.acoustics.endurance import noise_second, seconds_of
from earwitness.acoustics.signals import Colour, Emphasis
from earwitness.case.sidecar import MOST_TONES
from earwitness.records.errors import CallError
from earwitness.records.stimuli import MultitoneSignal, NoiseSignal, RunSignal, Signal, SweepSignal

Float64s = npt.NDArray[np.float64]

#: A sweep's amplitude spans no more: what is weaker counts as its silent head or tail (−60 dB).
WIDEST_EMPHASIS_DB: Final = 40.0
LONGEST_S: Final = 600.0
#: A multitone repeats after so long: its tones lie on whole hertz.
PERIOD_S: Final = 1.0
FEWEST_TONES: Final = 2
#: Of two tones the low one's amplitude is four times the other's, as IEC 60268-5 has it for modulation
#: distortion (recalled).
TWO_TONES_DB: Final = 12.041199826559248
#: A run's probes re its load, and its shortest load.
PROBE_DB: Final = -20.0
SHORTEST_LOAD_S: Final = 10


@dataclass(frozen=True, slots=True)
class Sweep:
    """A sweep as it is asked for; it lasts about `seconds`, so that first_hz·L is whole."""

    first_hz: float
    last_hz: float
    seconds: float
    fade_in_s: float = 0.1
    fade_out_s: float = 0.005
    emphasis: Emphasis = signals.FLAT
    name: str = "stimulus"


@dataclass(frozen=True, slots=True)
class Multitone:
    """Tones evenly over log f, as they are asked for; whole periods of one second.

    The lowest stands `lowest_db` above the others.
    """

    first_hz: float
    last_hz: float
    seconds: float
    tones: int
    seed: int
    name: str = "multitone_stimulus"
    lowest_db: float = 0.0


def two_tones(low_hz: float, high_hz: float, seconds: float) -> Multitone:
    """A low tone and a high one of a quarter of its amplitude."""
    return Multitone(low_hz, high_hz, seconds, 2, 0, "two_tones_stimulus", TWO_TONES_DB)


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise as it is asked for."""

    first_hz: float
    last_hz: float
    seconds: float
    colour: Colour
    seed: int

    @property
    def name(self) -> str:
        """What its files begin with."""
        return f"{self.colour}_noise"


@dataclass(frozen=True, slots=True)
class Run:
    """A run as it is asked for: `seconds` of load in all, and at least `rest_s` after it, whole seconds."""

    first_hz: float
    last_hz: float
    seconds: float
    rest_s: float
    seed: int
    name: str = "endurance_stimulus"


Asked = Sweep | Multitone | Noise | Run


def samples_of(asked: Asked, sample_rate_hz: int) -> tuple[Float64s, Signal]:
    """The signal (N,) of whatever scale, without silences, and what it is.

    Raises
    ------
    CallError
        What is asked for can't be made.
    """
    if isinstance(asked, Sweep):
        return _sweep(asked, sample_rate_hz)
    if not 0 <= asked.seed < 2**31:
        raise CallError(f"a seed of {asked.seed} isn't from 0 to {2**31 - 1}")
    if isinstance(asked, Multitone):
        return _multitone(asked, sample_rate_hz)
    if isinstance(asked, Run):
        return _run(asked, sample_rate_hz)
    return _noise(asked, sample_rate_hz)


def sounding_s(asked: Asked) -> float:
    """About how long it sounds; of a run with its rest.

    Raises
    ------
    CallError
        A run can't be of such a load and rest.
    """
    return float(seconds_of(*_of_run(asked)).size) if isinstance(asked, Run) else asked.seconds


def _sweep(asked: Sweep, sample_rate_hz: int) -> tuple[Float64s, Signal]:
    rate_s = sweeps.sweep_rate_s(asked.first_hz, asked.last_hz, asked.seconds)
    octaves = math.log2(asked.last_hz / asked.first_hz)
    if round(rate_s * asked.first_hz) < 1 or octaves < 1.0:
        raise CallError(
            f"a sweep from {asked.first_hz:g} to {asked.last_hz:g} Hz in {asked.seconds:g} s can't be made: "
            "it takes an octave, and a cycle in the time of a factor e; make it wider or longer"
        )
    length_s = rate_s * math.log(asked.last_hz / asked.first_hz)
    if min(asked.fade_in_s, asked.fade_out_s) < 0.0 or asked.fade_in_s + asked.fade_out_s > 0.5 * length_s:
        raise CallError(f"the fades must be 0 or more, and together at most half of {length_s:.3g} s")
    shape = asked.emphasis
    if not asked.first_hz / 100.0 <= shape.shelf_hz <= 100.0 * asked.last_hz:
        raise CallError(f"a shelf at {shape.shelf_hz:g} Hz lies far outside the sweep; move it")
    gains = shape.gain_db(np.geomspace(asked.first_hz, asked.last_hz, 500))
    if not np.ptp(gains) <= WIDEST_EMPHASIS_DB:
        raise CallError(
            f"an emphasis by a shelf of {shape.shelf_db:g} dB and a tilt of {shape.tilt_db_per_octave:g} dB "
            f"an octave comes to {np.ptp(gains):.1f} dB over the sweep's band, which is over "
            f"{WIDEST_EMPHASIS_DB:g} dB; make it smaller".replace("-", "−")
        )
    wave = signals.faded_sweep(
        asked.first_hz,
        asked.last_hz,
        asked.seconds,
        sample_rate_hz,
        fade_in_s=asked.fade_in_s,
        fade_out_s=asked.fade_out_s,
        emphasis=shape,
    )
    # the fades may take the place where the emphasis is greatest: the peak that counts is the file's own
    wave = wave / np.max(np.abs(wave))
    return wave, SweepSignal(
        asked.first_hz,
        asked.last_hz,
        rate_s,
        length_s,
        asked.fade_in_s,
        asked.fade_out_s,
        shape.shelf_db,
        shape.shelf_hz,
        shape.tilt_db_per_octave,
    )


def _noise(asked: Noise, sample_rate_hz: int) -> tuple[Float64s, Signal]:
    count = round(asked.seconds * sample_rate_hz)
    if count * (asked.last_hz - asked.first_hz) < 10.0 * sample_rate_hz:
        raise CallError("so narrow a band in so short a time is no noise; make it wider or longer")
    wave = signals.noise(count, sample_rate_hz, (asked.first_hz, asked.last_hz), asked.colour, asked.seed)
    length_s = count / sample_rate_hz
    return wave, NoiseSignal(asked.colour, asked.first_hz, asked.last_hz, length_s, asked.seed)


def _of_run(asked: Run) -> tuple[int, int]:
    """Seconds of load and of rest.

    Raises
    ------
    CallError
        They can't be.
    """
    load, rest = round(asked.seconds), round(asked.rest_s)
    if not (load >= SHORTEST_LOAD_S and 0 <= rest <= LONGEST_S):
        raise CallError(
            f"a run of {load} s and {rest} s after it can't be: load it {SHORTEST_LOAD_S} s at least, and "
            f"rest up to {LONGEST_S:g} s"
        )
    return load, rest


def _run(asked: Run, sample_rate_hz: int) -> tuple[Float64s, Signal]:
    load, rest = _of_run(asked)
    seconds = seconds_of(load, rest)
    second = noise_second(sample_rate_hz, (asked.first_hz, asked.last_hz), asked.seed)
    gains = np.array([0.0, 10.0 ** (PROBE_DB / 20.0), 1.0])[seconds]
    wave = np.multiply.outer(gains, second).ravel()
    length_s = float(seconds.size)
    return wave, RunSignal(asked.first_hz, asked.last_hz, load, rest, PROBE_DB, length_s, asked.seed)


def _multitone(asked: Multitone, sample_rate_hz: int) -> tuple[Float64s, Signal]:
    if not FEWEST_TONES <= asked.tones <= MOST_TONES:
        count = f"{asked.tones} tone{'' if asked.tones == 1 else 's'}"
        raise CallError(f"a multitone of {count} can't be; give from {FEWEST_TONES} to {MOST_TONES}")
    period = round(PERIOD_S * sample_rate_hz)
    bins = signals.multitone_bins(asked.first_hz, asked.last_hz, asked.tones, period, sample_rate_hz)
    if bins.size < asked.tones or bins[0] < 1 or 2 * bins[-1] >= period:
        raise CallError(
            f"{asked.tones} tones from {asked.first_hz:g} to {asked.last_hz:g} Hz don't all fall on hertz of "
            "their own below half the sample rate; ask for fewer, or begin higher"
        )
    periods = max(1, round(asked.seconds / PERIOD_S))
    wave = np.tile(signals.multitone(bins, period, asked.seed, lowest_db=asked.lowest_db), periods)
    tones = tuple(float(one) for one in bins * (sample_rate_hz / period))
    return wave, MultitoneSignal(tones, PERIOD_S, periods * PERIOD_S, asked.seed, asked.lowest_db)
