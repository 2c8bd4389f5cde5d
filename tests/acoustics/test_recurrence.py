"""What comes again each period: written along the phase of a sweep of known law, against noise."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.recurrence import recurrence
from earwitness.acoustics.sweep_law import SweepLaw

RATE, AT = 8000, 300
#: f = 10·exp(t/2): 10 Hz to 200 Hz in six seconds.
LAW = SweepLaw(2.0, 0.0, 10.0, 0.0)
EDGES = 20.0 * 2.0 ** (np.arange(7) / 3.0)
TIME = (np.arange(6 * RATE) - AT) / RATE
CYCLES = 2.0 * 10.0 * np.exp(TIME / 2.0)


def clicks(drift: float = 0.0) -> npt.NDArray[np.float64]:
    """A bump a period, a fiftieth of it wide, that comes later by `drift` periods in each one."""
    phase = (CYCLES * (1.0 - drift) + 0.3) % 1.0
    return np.asarray(np.exp(-0.5 * ((phase - 0.5) / 0.02) ** 2))


@pytest.mark.parametrize("drift", [0.0, 0.02])
def test_clicks_come_again_though_they_shift_a_little(drift: float) -> None:
    found = recurrence(clicks(drift), np.ones(TIME.size), RATE, law=LAW, at=AT, edges_hz=EDGES)
    assert np.all(found.alike > 0.98)
    assert found.whole == pytest.approx(np.ones(6))
    # RMS of a Gaussian bump of σ of a period: √(σ·√π), of as many as there are
    assert found.rest == pytest.approx(np.full(6, np.sqrt(0.02 * np.sqrt(np.pi) * (1.0 - drift))), rel=0.02)
    assert found.rms == pytest.approx(found.rest, rel=0.01)


def test_clicks_of_another_period_do_not_come_again() -> None:
    """Evenly in time, 37 a second: no sweep's period but where it passes there."""
    phase = (37.0 * TIME) % 1.0
    other = np.exp(-0.5 * ((phase - 0.5) / 0.02) ** 2)
    found = recurrence(other - other.mean(), np.ones(TIME.size), RATE, law=LAW, at=AT, edges_hz=EDGES)
    assert np.max(found.alike[[0, 4, 5]]) < 0.5


def test_noise_never_comes_again_and_halves_what_does() -> None:
    noise = np.random.default_rng(3).normal(size=TIME.size)
    alone = recurrence(noise, noise, RATE, law=LAW, at=AT, edges_hz=EDGES)
    assert np.max(np.abs(alone.alike)) < 0.45
    bumps = clicks() - clicks().mean()
    both = bumps + np.std(bumps) * noise
    found = recurrence(both, both, RATE, law=LAW, at=AT, edges_hz=EDGES[:4])
    # of equal powers the correlation is a half, and the greatest of some shifts a little more
    assert np.all((found.alike > 0.4) & (found.alike < 0.65))


def test_bands_with_too_few_periods_or_outside_tell_nothing() -> None:
    found = recurrence(clicks(), clicks(), RATE, law=LAW, at=AT, edges_hz=[19.0, 20.0, 150.0, 500.0])
    assert np.isnan(found.alike).tolist() == [True, False, True]
