"""The law of sweeps whose law is known, since they are written by it."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.acoustics.sweep_law import sweep_law
from earwitness.acoustics.sweeps import band_and_rate

RATE = 48_000


@pytest.mark.parametrize(
    ("first_hz", "rate_s", "length_s", "turn", "around"),
    [
        (15.0, 0.2, 1.45, 0.0, (0, 0)),
        (20.0, 1.45, 10.0, 0.0, (5_000, 480)),
        (17.3, 0.6543, 4.3, -2.0, (777, 480)),
        (10.0, 0.4, 3.0, 3.0, (0, 4_800)),
    ],
)
def test_rate_time_and_phase(
    first_hz: float, rate_s: float, length_s: float, turn: float, around: tuple[int, int]
) -> None:
    silence, fade = around
    t = np.arange(int(length_s * RATE)) / RATE
    x = 0.5 * np.sin(2.0 * np.pi * first_hz * rate_s * np.exp(t / rate_s) + turn)
    x[:fade] *= np.sin(0.5 * np.pi * np.arange(fade) / max(fade, 1)) ** 2
    x = np.r_[np.zeros(silence), x]
    band, about = band_and_rate(x, RATE)
    law = sweep_law(x, RATE, band, about)
    assert law.rate_s == pytest.approx(rate_s, rel=1e-6)
    # a tenth of a millionth of a second at 20 kHz turns by less than a degree
    passes_s = silence / RATE + rate_s * np.log(np.array([100.0, 1_000.0]) / first_hz)
    assert law.time_s([100.0, 1_000.0]) == pytest.approx(passes_s, abs=1e-6)
    assert np.angle(np.exp(1j * (law.phase_rad - turn))) == pytest.approx(0.0, abs=0.01)
