"""Long runs: heat against a general solver with the loudspeaker's own impedance, and what is skipped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from virtual.large_rig import AIR, VOLUME_M3, boxed, unit

from earwitness.virtual import endurance
from earwitness.virtual.electronics import Electronics, Limiter
from earwitness.virtual.endurance import Endurance
from earwitness.virtual.heating import Heating
from earwitness.virtual.large_signal import LargeSignal
from earwitness.virtual.playing import Player

RATE = 8000
HEATING = Heating(4.0, 3.0, 2.0, 60.0)
STILL = LargeSignal()
DRIVE_V = 6.0


def noise() -> np.ndarray:
    """One second, RMS 1, from 100 Hz to 2 kHz."""
    lines = np.zeros(RATE // 2 + 1, dtype=complex)
    lines[100:2001] = np.exp(2j * np.pi * np.random.default_rng(5).random(1901))
    wave = np.fft.irfft(lines, RATE)
    return np.asarray(wave / np.sqrt(np.mean(wave**2)))


def player(electronics: Electronics = Electronics()) -> Player:  # noqa: B008
    return Player(boxed(replace(unit(STILL), heating=HEATING)), AIR, RATE, electronics)


RESPONSE = np.eye(1, 64)


def test_heat_is_that_of_the_power_in_the_resistance() -> None:
    gains = [0.0, *[1.0] * 40, *[0.0] * 20]
    found = Endurance(player(), DRIVE_V * noise(), RESPONSE).run(gains)
    hertz = np.arange(100, 2001).astype(float)
    turn = 2j * np.pi * hertz
    # the driver of `large_rig`, written out: coil, mass, damping, suspension and the air of its box
    air = AIR.density * AIR.speed**2 * (np.pi * 0.11**2 / 4.0) ** 2 / VOLUME_M3
    cold = 5.6 + 0.0005 * turn + 36.0 / (0.012 * turn + 1.0 + (1200.0 + air) / turn)
    each_v2 = DRIVE_V**2 / hertz.size

    def slope(t: float, rise: np.ndarray) -> list[float]:
        ohms = 5.6 * (1.0 + 0.00393 * rise.sum())
        current2 = np.sum(each_v2 / np.abs(cold + ohms - 5.6) ** 2) * gains[min(int(t), len(gains) - 1)] ** 2
        return [(4.0 * current2 * ohms - rise[0]) / 3.0, (2.0 * current2 * ohms - rise[1]) / 60.0]

    ends = np.arange(1.0, len(gains) + 1.0)
    expected = solve_ivp(slope, (0.0, ends[-1]), [0.0, 0.0], "DOP853", ends, max_step=0.1, rtol=1e-8).y.T
    assert expected[40, 0] > 5.0
    assert found.rises[:, 0] == pytest.approx(expected, rel=0.02, abs=0.02 * expected[40, 0])


def test_what_is_skipped_is_as_if_it_had_been_played(monkeypatch: pytest.MonkeyPatch) -> None:
    gains = [0.0, *[1.0] * 16, 0.1, 0.1]
    skipped = Endurance(player(), DRIVE_V * noise(), RESPONSE).run(gains)
    monkeypatch.setattr(endurance, "GROWTH", 1.0)
    played = Endurance(player(), DRIVE_V * noise(), RESPONSE).run(gains)
    apart = (skipped.recording - played.recording).reshape(len(gains), RATE)
    whole = played.recording.reshape(len(gains), RATE)
    rms = np.sqrt(np.mean(apart**2, axis=1))[1:] / np.sqrt(np.mean(whole**2, axis=1))[1:]
    assert rms.max() < 0.002
    assert skipped.rises == pytest.approx(played.rises, rel=0.005, abs=0.01)


def test_a_limiter_hears_the_run_and_not_the_pairs() -> None:
    limiter = Limiter(threshold_v=4.0, knee_db=0.0, attack_s=0.001, release_s=3.0)
    gains = [0.0, 1.0, 1.0, 0.1, 0.1]
    free = Endurance(player(), DRIVE_V * noise(), RESPONSE).run(gains).recording
    held = Endurance(player(Electronics(limiter)), DRIVE_V * noise(), RESPONSE).run(gains).recording
    down = 20.0 * np.log10(
        np.abs(held).reshape(5, RATE).mean(1)[1:] / np.abs(free).reshape(5, RATE).mean(1)[1:]
    )
    volts = np.multiply.outer(gains, DRIVE_V * noise()).ravel()
    direct = limiter.held(volts, RATE).reshape(5, RATE) / np.where(volts == 0.0, 1.0, volts).reshape(5, RATE)
    expected = 20.0 * np.log10(np.abs(direct).mean(axis=1)[1:])
    # heat gives a little back where it is held
    assert down == pytest.approx(expected, abs=0.3)
    assert expected[-1] < -1.0


def test_a_second_that_cannot_be_shortened_is_refused() -> None:
    with pytest.raises(ValueError, match="can't be played"):
        Endurance(player(), np.zeros(8011), RESPONSE)
