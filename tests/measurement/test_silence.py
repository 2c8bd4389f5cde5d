"""Noise of sweeps and their orders from a recording of silence, against noise of a known power."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from made_harmonics import PolynomialLoudspeaker
from made_recordings import RATE, Bench

from earwitness.acoustics.noise import power_per_sample
from earwitness.acoustics.sweeps import sweep_rate_s
from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.silence import OF_BOTH, OF_SILENCE, OF_SWEEPS, said_of_silence, silence
from earwitness.records.takes import ON_AXIS, Drive, Take, TakeKey, TakeKind

SIGMA = 3e-4
SILENCE = Take("noise.wav", TakeKey(TakeKind.NOISE))
SWEEP = Take("on.wav", TakeKey(TakeKind.SWEEP, ON_AXIS, Drive(1.0)), stimulus="stimulus.wav")


def files(folder: Path) -> None:
    """A loudspeaker of two orders, recorded in white noise."""
    bench = Bench(folder, sweep_s=3.0)
    assert bench.stimulus() == SWEEP.stimulus
    rate_s = sweep_rate_s(15.0, 22_000.0, 3.0)
    heard = PolynomialLoudspeaker({1: 0.1, 2: 0.002}).recorded(
        15.0, rate_s, rate_s * np.log(22_000.0 / 15.0), 1.0, silence=(0.005, 0.5)
    )
    noise = SIGMA * np.random.default_rng(4).normal(size=heard.size)
    soundfile.write(folder / "on.wav", heard + noise, RATE, subtype="FLOAT")


def silent(folder: Path, gain: float = 1.0, seconds: float = 20.0) -> None:
    noise = gain * SIGMA * np.random.default_rng(5).normal(size=round(seconds * RATE))
    soundfile.write(folder / "noise.wav", noise, RATE, subtype="FLOAT")


def found(folder: Path, *takes: Take) -> ImpulseResponse:
    ((_, response),) = deconvolve(folder, takes)
    return response


def test_noise_of_silence_is_that_of_the_sweep(tmp_path: Path) -> None:
    files(tmp_path)
    silent(tmp_path)
    own, quiet = found(tmp_path, SWEEP), found(tmp_path, SWEEP, SILENCE)
    assert (own.noise_is_silence, quiet.noise_is_silence) == (False, True)
    assert own.orders is not None
    assert quiet.orders is not None
    assert np.array_equal(own.samples, quiet.samples)
    # what the fifth order holds is noise alone: its own mean square, over some hundred independent points
    orders = quiet.orders.orders
    grid = orders.frequency_hz
    some = (grid > 100.0) & (grid < 3_000.0) & orders.valid[4]
    ratio = np.abs(orders.amplitude[4, some]).astype(np.float64) ** 2 / orders.noise_power[4, some]
    assert 10.0 * np.log10(ratio.mean()) == pytest.approx(0.0, abs=1.0)
    # eight seconds know it better than the end of one sweep: white noise gives a straight line over log f
    rough = [
        np.std(np.diff(10.0 * np.log10(one.orders.noise_power[4, some])))
        for one in (own.orders, quiet.orders)
    ]
    assert rough[1] < 0.7 * rough[0]
    hertz = np.geomspace(2_000.0, 8_000.0, 40)
    level = [10.0 * np.log10(power_per_sample(one.noise, RATE, hertz)) for one in (own, quiet)]
    # a stretch of 0.17 s leaves 0.7 dB in each of a dozen independent bands, and silence as much
    assert np.mean(level[0] - level[1]) == pytest.approx(0.0, abs=0.8)


@pytest.mark.parametrize(("gain", "used"), [(0.6, False), (0.8, True), (1.25, True), (1.7, False)])
def test_silence_of_another_level_is_not_the_sweeps(tmp_path: Path, gain: float, used: bool) -> None:
    """−4.4, −1.9, +1.9 and +4.6 dB; 3 dB may lie between."""
    files(tmp_path)
    silent(tmp_path, gain)
    assert found(tmp_path, SWEEP, SILENCE).noise_is_silence is used


def test_silence_that_is_short_or_of_another_rate_does_not_count(tmp_path: Path) -> None:
    files(tmp_path)
    silent(tmp_path, seconds=1.9)
    assert silence(tmp_path, [SILENCE], RATE) is None
    silent(tmp_path, seconds=2.1)
    assert silence(tmp_path, [SILENCE], RATE // 2) is None
    known = silence(tmp_path, [SILENCE], RATE)
    assert known is not None
    assert known.take is SILENCE
    # shorter than the sweep, it is repeated
    assert found(tmp_path, SWEEP, SILENCE).noise_is_silence


def test_it_is_kept_and_told_where_noise_comes_from(tmp_path: Path) -> None:
    files(tmp_path)
    silent(tmp_path)
    own, quiet = found(tmp_path, SWEEP), found(tmp_path, SWEEP, SILENCE)
    assert ImpulseResponse.from_bytes(quiet.to_bytes()).noise_is_silence
    assert said_of_silence([own], [SWEEP]) == ()
    assert said_of_silence([quiet], [SWEEP, SILENCE]) == (OF_SILENCE,)
    assert said_of_silence([quiet, own], [SWEEP, SILENCE]) == (OF_BOTH,)
    assert said_of_silence([own], [SWEEP, SILENCE]) == (OF_SWEEPS,)
    came_as_files = replace(own, rate_s=None)
    assert said_of_silence([came_as_files], [SILENCE]) == ()
