from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from earwitness.acoustics.damage import flat_top, lost_stretch
from earwitness.acoustics.sweeps import synchronised_sweep

RATE = 48_000
Floats = npt.NDArray[np.float64]


def stored(samples: Floats, bits: int = 24) -> npt.NDArray[np.float32]:
    step = 2.0 ** (1 - bits)
    return (np.round(samples / step) * step).astype(np.float32)


def sweep(amplitude: float = 0.3) -> Floats:
    return amplitude * synchronised_sweep(15.0, 22_000.0, 1.5, RATE)


def rising(samples: Floats) -> Floats:
    """As a loudspeaker with a resonance would have it: the middle 10 dB stronger than the ends."""
    return np.asarray(samples * (0.3 + np.hanning(samples.size)))


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("level", [0.3, 0.5, 0.9])
def test_a_clipped_sweep(bits: int, level: float) -> None:
    for sound in (sweep(), rising(sweep())):
        limit = level * np.max(np.abs(sound))
        clipped = np.clip(sound, -limit, limit)
        first = int(np.argmax(np.abs(sound) >= limit))
        found = flat_top(stored(clipped, bits))
        # the top is within 1 % of the greatest value some samples sooner
        assert found is not None
        assert first - 60 <= found <= first + 2_000
        assert flat_top(stored(np.minimum(sound, limit), bits)) is not None
        assert flat_top(stored(np.maximum(sound, -limit), bits)) is not None


def test_clipped_with_noise_after_it() -> None:
    noise = 1e-4 * np.random.default_rng(1).standard_normal(sweep().size)
    assert flat_top(stored(np.clip(rising(sweep()), -0.15, 0.15) + noise)) is not None


@pytest.mark.parametrize("bits", [8, 16, 24])
@pytest.mark.parametrize("hz", [15.0, 20.0, 50.0, 250.0, 1_000.0, 4_000.0, 8_000.0, 12_000.0])
def test_round_crests_are_no_clipping(bits: int, hz: float) -> None:
    tone = 0.5 * np.sin(2.0 * np.pi * hz * np.arange(RATE) / RATE)
    assert flat_top(stored(tone, bits)) is None
    assert flat_top(stored(sweep(0.9), bits)) is None
    assert flat_top(stored(rising(sweep(0.6)), bits)) is None


def test_what_else_is_recorded_is_no_clipping() -> None:
    rng = np.random.default_rng(2)
    assert flat_top(stored(0.1 * rng.standard_normal(RATE), 16)) is None
    impulse = np.zeros(RATE)
    impulse[500:600] = 0.5 * np.exp(-np.arange(100) / 20.0)
    assert flat_top(stored(impulse)) is None
    assert flat_top(np.zeros(10, dtype=np.float32)) is None


@settings(max_examples=60, deadline=None)
@given(st.floats(0.0, 0.15), st.floats(0.0, 2.0 * np.pi), st.floats(1.0, 400.0), st.integers(0, 2**32 - 1))
def test_a_sound_of_third_harmonics_is_no_clipping(
    third: float, phase: float, wide: float, seed: int
) -> None:
    # a woofer at its limit, whose crests are flattened most where its own response peaks
    time = np.arange(3 * RATE) / RATE
    turned = 2.0 * np.pi * 15.0 * 1.5 * np.exp(time / 1.5)
    hz = 15.0 * np.exp(time / 1.5)
    response = 1.0 / np.sqrt(1.0 + (np.log(hz / 60.0) * (1.0 + wide / 100.0)) ** 2)
    sound = 0.4 * response * (np.sin(turned) + third * np.sin(3.0 * turned + phase))
    noise = 1e-5 * np.random.default_rng(seed).standard_normal(time.size)
    assert flat_top(stored(sound + noise)) is None


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("at", [0.2, 0.7, 1.3])
def test_a_stretch_of_zeros_in_the_sound(bits: int, at: float) -> None:
    sound = stored(sweep(), bits)
    first = round(at * RATE)
    sound[first : first + 960] = 0.0
    found = lost_stretch(sound, RATE, sound.size)
    assert found is not None
    assert abs(found[0] - first) <= 1
    assert abs(found[1] - first - 960) <= 1


def test_an_end_of_zeros() -> None:
    sound = stored(np.r_[sweep(), np.zeros(4_000)])
    until = sweep().size
    assert lost_stretch(sound, RATE, until) is None
    sound[until - 20_000 :] = 0.0
    found = lost_stretch(sound, RATE, until)
    assert found is not None
    assert abs(found[0] - (until - 20_000)) <= 1


def test_silence_before_between_steps_and_after_is_nothing_lost() -> None:
    sound = stored(np.r_[np.zeros(9_000), sweep(), np.zeros(9_000)])
    assert lost_stretch(sound, RATE, 9_000 + sweep().size) is None
    # faint sound in coarse steps is zero between them
    faint = stored(sweep(2.0**-12), 16)
    assert lost_stretch(faint, RATE, faint.size) is None
    assert lost_stretch(np.zeros(9_000, dtype=np.float32), RATE, 9_000) is None
