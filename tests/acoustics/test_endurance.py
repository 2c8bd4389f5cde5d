"""Runs: their signal, and what is found of a recording that was made from it by arithmetic."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.endurance import (
    LOAD,
    PROBE,
    SILENCE,
    NotARunError,
    frames_of,
    noise_second,
    seconds_of,
)
from earwitness.acoustics.load_causes import LoadCause, Verdict, load_causes

RATE = 8000
Floats = npt.NDArray[np.float64]


def run(load_s: int = 40, rest_s: int = 40) -> tuple[npt.NDArray[np.int64], Floats]:
    """What each second is, and the signal by seconds, (K, N)."""
    kinds = seconds_of(load_s, rest_s)
    second = noise_second(RATE, (40.0, 3000.0), 1)
    return kinds, 0.1 * np.multiply.outer(np.array([0.0, 0.1, 1.0])[kinds], second)


def recorded(seconds: Floats, late: int = 123, noise: float = 1e-5) -> Floats:
    """It with silence before and after it, and white noise."""
    whole = np.concatenate([np.zeros(late), seconds.ravel(), np.zeros(RATE)])
    return np.asarray(0.3 * whole + noise * np.random.default_rng(1).standard_normal(whole.size))


def test_a_run_is_as_long_as_it_says() -> None:
    kinds, _ = run(100, 60)
    assert np.count_nonzero(kinds == LOAD) == 100
    last = int(np.flatnonzero(kinds == LOAD)[-1])
    assert kinds.size - last - 1 >= 60
    assert kinds[last + 1] == kinds[last + 2] == PROBE
    assert kinds[0] == SILENCE


def test_its_noise_is_pink() -> None:
    second = noise_second(RATE, (40.0, 3000.0), 1)
    power = np.abs(np.fft.rfft(second)) ** 2
    assert np.sqrt(np.mean(second**2)) == pytest.approx(1.0)
    # as much in each octave, up to the edges that fall between lines
    octaves = [power[f : 2 * f].sum() for f in (100, 200, 400, 800)]
    assert octaves == pytest.approx([np.mean(octaves)] * 4, rel=0.005)
    assert power[:39].sum() + power[3002:].sum() == pytest.approx(0.0, abs=1e-12)
    assert np.max(np.abs(second)) < 4.5


@pytest.mark.parametrize("late", [0, 123, 7 * RATE + 4321])
def test_a_change_of_the_load_alone_is_found_wherever_the_recording_begins(late: int) -> None:
    kinds, seconds = run()
    held = seconds * np.where(kinds == LOAD, 10.0 ** (-1.0 / 20.0), 1.0)[:, None]
    found = frames_of(recorded(held, late), seconds.ravel(), RATE)
    assert found.octave_hz.tolist() == [62.5, 125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0]
    assert found.change_db[found.kind == LOAD] == pytest.approx(-1.0, abs=0.005)
    assert found.change_db[found.kind == PROBE] == pytest.approx(0.0, abs=0.05)
    told = load_causes(found).judged
    assert told[LoadCause.LIMITER].verdict is Verdict.ACTS
    assert told[LoadCause.LIMITER].effect_db == pytest.approx(1.0, abs=0.01)
    assert told[LoadCause.HEAT].verdict is Verdict.NOT_SEEN


def test_what_noise_makes_unsure_is_as_much_as_it_says() -> None:
    _, seconds = run()
    found = frames_of(recorded(seconds, noise=2e-4), seconds.ravel(), RATE)
    probes = (found.kind == PROBE) & ~found.cold
    spread = found.change_db[probes].std(axis=0)
    # 16 probes tell a standard deviation to a sixth, and octaves differ
    assert (spread / found.uncertainty_db[probes].mean(axis=0)).mean() == pytest.approx(1.0, rel=0.3)


def test_noise_is_taken_off_probes() -> None:
    _, seconds = run()
    found = frames_of(recorded(seconds, noise=5e-4), seconds.ravel(), RATE)
    octave = found.octave_hz.tolist().index(2000.0)
    # left on, it would raise probes before the load by 6 %, so that the load reads 0.25 dB low
    assert found.change_db[found.kind == LOAD, octave].mean() == pytest.approx(0.0, abs=0.06)


def test_motion_in_the_bass_is_neither_limiter_nor_heat() -> None:
    kinds, seconds = run()
    lines = np.fft.rfftfreq(RATE, 1.0 / RATE)
    gains = np.where(lines < 88.0, 10.0 ** (1.5 / 20.0), np.where(lines < 177.0, 10.0 ** (-0.8 / 20.0), 1.0))
    moved = np.fft.irfft(np.fft.rfft(seconds, axis=1) * gains, RATE, axis=1)
    heard = np.where((kinds == LOAD)[:, None], moved, seconds)
    told = load_causes(frames_of(recorded(heard), seconds.ravel(), RATE)).judged
    assert told[LoadCause.MOTION].verdict is Verdict.ACTS
    assert abs(told[LoadCause.MOTION].effect_db) == pytest.approx(1.5, abs=0.05)
    assert told[LoadCause.HEAT].verdict is Verdict.NOT_SEEN
    assert told[LoadCause.LIMITER].verdict is Verdict.NOT_SEEN


def test_what_is_no_run_or_holds_none_is_refused() -> None:
    _, seconds = run()
    stimulus = seconds.ravel()
    with pytest.raises(NotARunError, match="no load with probes"):
        frames_of(recorded(seconds), np.tile(seconds[-1], 30), RATE)
    with pytest.raises(NotARunError, match="silent"):
        frames_of(recorded(seconds), np.zeros(RATE), RATE)
    with pytest.raises(NotARunError, match="doesn't hold it"):
        frames_of(0.01 * np.random.default_rng(2).standard_normal(stimulus.size), stimulus, RATE)
    with pytest.raises(NotARunError, match="noise hides"):
        frames_of(recorded(seconds, noise=0.01), stimulus, RATE)
