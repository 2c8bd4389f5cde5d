"""What holds a level down, from closed forms: limiters, clipped sines, coils that warm."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.held_level import (
    HeldBy,
    HeldLevel,
    Losses,
    clipped_third,
    held_level,
    knee_loss_db,
    threshold_of,
)

Floats = npt.NDArray[np.float64]

#: Five drives 3 dB apart over the lowest, seventeen third octaves from 315 Hz.
GAIN = 3.0 * np.arange(1.0, 6.0)
BANDS = 17
NOISE_DB = 0.02


def losses(
    loss_db: Floats, third: float = 0.001, seed: int = 1, bound: bool = False, gain: Floats = GAIN
) -> Losses:
    """Losses (D,) or (D, B) with noise, the third harmonic alike in all bands up to 6.3 kHz."""
    rng = np.random.default_rng(seed)
    whole = np.broadcast_to(loss_db.reshape(gain.size, -1), (gain.size, BANDS))
    lowest = NOISE_DB * rng.standard_normal(BANDS)
    change = -whole + NOISE_DB * rng.standard_normal(whole.shape) - lowest
    known = np.where(np.arange(BANDS) < 14, third, np.nan)
    return Losses(
        gain,
        change,
        np.full(whole.shape, NOISE_DB),
        np.full(BANDS, NOISE_DB),
        known,
        np.full(BANDS, bound),
    )


def told(found: HeldLevel | None) -> HeldLevel:
    assert found is not None
    return found


def way(loss_db: Floats, first: int, last: int) -> Floats:
    """A loss (D,) in some bands alone, half of it one band beside a crossover."""
    share = np.zeros(BANDS)
    share[first : last + 1] = 1.0
    share[[i for i in (first - 1, last + 1) if 0 <= i < BANDS]] = 0.5
    return np.asarray(np.multiply.outer(loss_db, share))


def test_a_sine_that_is_clipped_has_these_thirds() -> None:
    """A square wave has a third of its fundamental; the rest from sampled clipped sines."""
    assert clipped_third(80.0) == pytest.approx(1.0 / 3.0, rel=1e-3)
    assert clipped_third(0.0) == 0.0
    for x in (1.2, 2.0, 5.0):
        wave = np.clip(x * np.sin(2.0 * np.pi * (np.arange(65536) + 0.5) / 65536), -1.0, 1.0)
        lines = np.abs(np.fft.rfft(wave)) / 32768
        assert clipped_third(20.0 * np.log10(x / lines[1])) == pytest.approx(lines[3] / lines[1], rel=1e-3)


def test_the_knee_is_smooth_and_ends_on_its_line() -> None:
    """Giannoulis, Massberg and Reiss, eq. 4: over W/2 all of slope·over; at the threshold W/8 of it."""
    assert knee_loss_db([-4.0, 4.0, 10.0], 8.0, 0.9) == pytest.approx([0.0, 3.6, 9.0])
    assert knee_loss_db(0.0, 8.0, 0.9) == pytest.approx(0.9)
    assert knee_loss_db([-1.0, 1.0], 0.0, 1.0) == pytest.approx([0.0, 1.0])


@pytest.mark.parametrize(
    ("at_db", "knee_db", "ratio"), [(8.0, 0.0, 100.0), (9.5, 6.0, 10.0), (6.5, 3.0, 4.0)]
)
def test_a_limiter_is_told_with_its_threshold(at_db: float, knee_db: float, ratio: float) -> None:
    found = told(held_level(losses(knee_loss_db(GAIN - at_db, knee_db, 1.0 - 1.0 / ratio))))
    assert found.held_by is HeldBy.LIMITER
    assert found.whole
    assert found.threshold is not None
    assert found.threshold.low_db <= at_db <= found.threshold.high_db
    assert found.threshold.high_db - found.threshold.low_db < 4.0


@pytest.mark.parametrize(("first", "last"), [(0, 8), (11, 16), (5, 10)])
def test_a_limiter_of_one_way(first: int, last: int) -> None:
    found = told(held_level(losses(way(knee_loss_db(GAIN - 8.0, 2.0, 1.0), first, last))))
    assert found.held_by is HeldBy.LIMITER
    assert not found.whole
    assert abs(found.first - first) <= 1
    assert abs(found.last - last) <= 1


def test_clipping_has_its_third_harmonic() -> None:
    loss = np.array([0.0, 0.0, 0.3, 1.2, 3.0])
    third = float(clipped_third(3.0))
    assert told(held_level(losses(loss, third))).held_by is HeldBy.CLIPPING
    assert told(held_level(losses(loss, 0.05 * third))).held_by is HeldBy.LIMITER
    assert told(held_level(losses(loss, 0.3 * third))).held_by is HeldBy.CANNOT_TELL
    # noise hides whether it is there
    assert told(held_level(losses(loss, third, bound=True))).held_by is HeldBy.CANNOT_TELL


@pytest.mark.parametrize("first", [0, 9])
def test_heat_alike_on_a_way_is_no_limiter(first: int) -> None:
    """A tweeter's impedance is flat: a coil of 1.3 times its resistance loses 2.28 dB all along."""
    rise = 10.0 ** ((GAIN - GAIN[-1]) / 10.0)
    loss = 20.0 * np.log10(1.0 + 0.3 * rise)
    for seed in range(5):
        found = told(held_level(losses(way(loss, first, min(first + 7, 16)), seed=seed)))
        assert found.held_by is HeldBy.HEAT
        assert found.probability[HeldBy.LIMITER] < 0.05


@pytest.mark.parametrize("step_db", [3.0, 6.0])
def test_a_coil_that_is_hot_all_along_is_never_a_limiter(step_db: float) -> None:
    """20 lg(1 + r·P) with P as the power, up to 1.6 times the resistance: 4.1 dB."""
    gain = step_db * np.arange(1.0, 5.0)
    for hot in (0.1, 0.3, 0.6):
        loss = 20.0 * np.log10(1.0 + hot * 10.0 ** ((gain - gain[-1]) / 10.0))
        for seed in range(3):
            found = told(held_level(losses(loss, gain=gain, seed=seed)))
            assert found.held_by in (HeldBy.HEAT, HeldBy.CANNOT_TELL)


def test_heat_by_impedance_is_no_limiter() -> None:
    share = 0.5 + 0.5 * np.cos(np.linspace(0.0, 5.0, BANDS))
    rise = 10.0 ** ((GAIN - GAIN[-1]) / 10.0)
    found = told(held_level(losses(np.multiply.outer(rise, share))))
    assert found.held_by is HeldBy.HEAT
    assert found.heat_db == pytest.approx(1.0, abs=0.1)


def test_little_heat_of_a_woofer_that_fades_upward_is_heat() -> None:
    """Half a decibel where it takes most, a third of it two octaves above, nothing in the treble."""
    share = np.concatenate([np.geomspace(1.0, 0.3, 9), np.geomspace(0.15, 0.01, 8)])
    loss = np.multiply.outer(0.54 * 10.0 ** ((GAIN - GAIN[-1]) / 10.0), share)
    found = told(held_level(losses(loss)))
    assert found.held_by is HeldBy.HEAT
    assert found.heat_db == pytest.approx(0.54, abs=0.08)


def test_a_limiter_is_told_beside_heat() -> None:
    share = np.linspace(1.0, 0.0, BANDS)
    heat = np.multiply.outer(0.8 * 10.0 ** ((GAIN - GAIN[-1]) / 10.0), share)
    found = told(held_level(losses(heat + knee_loss_db(GAIN - 9.0, 2.0, 1.0)[:, None])))
    assert found.held_by is HeldBy.LIMITER
    assert found.heat_db == pytest.approx(0.8, abs=0.3)


def test_nothing_is_nothing() -> None:
    for seed in range(10):
        assert told(held_level(losses(np.zeros(5), seed=seed))).held_by is HeldBy.NOTHING


def test_another_gain_of_the_recording_is_no_limiter() -> None:
    """A recording turned down by 10 dB, and not said so: its level falls where the drive rises."""
    found = told(held_level(losses(np.array([0.0, 0.0, 0.0, 10.0, 10.0]))))
    assert found.held_by is HeldBy.CANNOT_TELL


def test_two_drives_tell_nothing() -> None:
    one = losses(np.array([2.0]), gain=np.array([10.0]))
    assert held_level(one) is None


def test_one_loud_drive_of_two_leaves_it_open_whether_heat_grew() -> None:
    """With one drive that changes, six dB over the others, heat of a quarter there is 0.6 dB: not seen."""
    gain = np.array([6.0, 12.0])
    found = told(held_level(losses(np.array([0.0, 2.4]), gain=gain)))
    assert found.held_by is HeldBy.LIMITER
    assert found.threshold is not None
    assert found.threshold.high_db - found.threshold.low_db > 2.0


def test_no_limiter_grows_as_this_does() -> None:
    assert threshold_of(GAIN, np.array([3.0, 0.0, 3.0, 0.0, 3.0]), np.full(5, 0.05)) is None
