"""Features of responses made from sections by another route: a biquad's polynomials, gated as samples."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy.signal import freqs
from scipy.special import j1

from earwitness.acoustics.gating import gate
from earwitness.findings.features import find_features
from earwitness.records.grid import derived_grid
from earwitness.records.responses import Origin, Responses
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName

Complexes = npt.NDArray[np.complex128]

RATE_HZ, LEAD_S, GATE_S = 96_000.0, 2e-3, 5e-3
ANGLES = (-20.0, -10.0, 0.0, 10.0, 20.0)


def biquad(frequency_hz: npt.NDArray[np.float64], centre_hz: float, gain_db: float, q: float) -> Complexes:
    omega0, gain = 2.0 * np.pi * centre_hz, 10.0 ** (gain_db / 20.0)
    b, a = [1.0, gain * omega0 / q, omega0**2], [1.0, omega0 / q, omega0**2]
    return np.asarray(freqs(b, a, 2.0 * np.pi * frequency_hz)[1])


def measured(
    sections: list[tuple[float, float, float]],
    angles: tuple[float, ...] = ANGLES,
    *,
    slope_db_octave: float = 0.0,
    beaming_m: float = 1e-6,
    noise_db: float = 0.02,
    seed: int = 1,
) -> Responses:
    """Gated responses of the sections in a band that falls beyond 22 kHz, alike at all angles."""
    samples = 2**15
    bins = np.asarray(np.fft.rfftfreq(samples, 1.0 / RATE_HZ)[1:], dtype=np.float64)
    spectrum = np.prod([biquad(bins, *section) for section in sections], axis=0) * np.ones(bins.size)
    spectrum = spectrum / (1.0 + (bins / 30_000.0) ** 8)
    impulse = np.roll(np.fft.irfft(np.concatenate([[1.0], spectrum]), samples), round(LEAD_S * RATE_HZ))
    time = np.arange(round((LEAD_S + GATE_S) * RATE_HZ) + 1) / RATE_HZ - LEAD_S
    grid = derived_grid()
    passed = impulse[: time.size] * gate(time, LEAD_S, GATE_S)
    level = 20.0 * np.log10(np.abs(passed @ np.exp(-2j * np.pi * time[:, None] * grid)))
    level += slope_db_octave * np.log2(grid / 1000.0)
    x = 2.0 * np.pi * grid / 343.2 * beaming_m
    level += 20.0 * np.log10(2.0 * j1(x) / x)
    lots = np.random.default_rng(seed)
    rows = level + noise_db * lots.normal(size=(len(angles), grid.size))
    valid = np.tile((grid >= 2.0 / GATE_S) & (grid <= 20_000.0), (len(angles), 1))
    takes = tuple(
        Take(f"{a:g}.wav", TakeKey(TakeKind.IMPULSE_RESPONSE, Direction(Orbit.HORIZONTAL, a), Drive(2.83)))
        for a in angles
    )
    count = len(angles)
    return Responses(
        takes=takes,
        frequency_hz=grid,
        pressure=(10.0 ** (rows / 20.0)).astype(np.complex64),
        valid=valid,
        origin=np.full(valid.shape, np.uint8(Origin.GATED)),
        has_phase=np.zeros(count, dtype=np.bool_),
        seen_angle_deg=np.array(angles),
        components={ComponentName.NOISE: np.full(valid.shape, noise_db)},
        impulse_response=np.zeros((count, 1), dtype=np.float32),
        sample_rate_hz=np.full(count, RATE_HZ),
        gate_s=np.full(count, GATE_S),
        lead_s=LEAD_S,
        near_field_takes=((),) * count,
        valid_from_hz=2.0 / GATE_S,
    )


@pytest.mark.parametrize(
    ("centre", "gain", "q"), [(2000.0, 4.0, 3.0), (3000.0, -5.0, 2.0), (1500.0, 6.0, 6.0), (6000.0, 2.5, 4.0)]
)
@pytest.mark.parametrize("slope", [0.0, -2.0])
def test_a_section_is_found_with_its_numbers(centre: float, gain: float, q: float, slope: float) -> None:
    """Within a tenth of what was put in: the gate takes up to a decibel of it, which the model gives back."""
    (found,) = find_features(measured([(centre, gain, q)], slope_db_octave=slope))
    assert found.kind == ("peak" if gain > 0 else "dip")
    assert found.frequency_hz == pytest.approx(centre, rel=0.01)
    assert found.gain_db == pytest.approx(gain, rel=0.12)
    assert [place.direction.angle_deg for place in found.places] == list(ANGLES)
    assert found.sign == np.sign(gain)


@pytest.mark.parametrize("slope", [0.0, -3.0, 6.0])
def test_a_straight_response_has_none(slope: float) -> None:
    assert find_features(measured([], slope_db_octave=slope)) == ()


@pytest.mark.parametrize("beaming_m", [0.006, 0.008, 0.010])
def test_a_slope_that_bends_has_none(beaming_m: float) -> None:
    """2J₁(x)/x, x = ka sin φ: falls by 4, 9 and 30 dB up to 20 kHz, the null lies at x = 3.83."""
    assert find_features(measured([], beaming_m=beaming_m)) == ()


def test_noise_is_no_feature() -> None:
    """0.5 dB of noise at every point reaches more than 1 dB out of a chord somewhere."""
    assert find_features(measured([], noise_db=0.5)) == ()


@pytest.mark.parametrize("section", [(2000.0, 12.0, 40.0), (1000.0, 9.0, 60.0), (3000.0, 12.0, 80.0)])
def test_a_gates_ripple_is_no_feature(section: tuple[float, float, float]) -> None:
    """What rings on when the gate closes has dips of decibels beside it: one feature all the same."""
    (found,) = find_features(measured([section]))
    assert found.frequency_hz == pytest.approx(section[0], rel=0.005)


def test_a_q_beyond_the_gate_is_bounded() -> None:
    """Q 40 at 2 kHz rings for longer than 5 ms: Q is above f·T = 10, and no more is said."""
    (found,) = find_features(measured([(2000.0, 9.0, 40.0)]))
    assert found.q is None
    assert found.q_at_least == pytest.approx(10.0, rel=0.02)


def test_what_one_direction_shows_alone_is_no_feature() -> None:
    assert find_features(measured([(2000.0, 6.0, 3.0)], angles=(0.0,))) == ()
    assert find_features(measured([(2000.0, 6.0, 3.0)], angles=(-40.0, 0.0, 40.0))) == ()


def test_two_are_two() -> None:
    found = find_features(measured([(1200.0, 4.0, 4.0), (4000.0, -4.0, 3.0)]))
    assert sorted((f.kind, round(f.frequency_hz / 100.0)) for f in found) == [("dip", 40), ("peak", 12)]


def test_directions_behind_say_nothing() -> None:
    assert find_features(measured([(2000.0, 6.0, 3.0)], angles=(100.0, 110.0, 120.0, 130.0))) == ()


def test_uncertainties_of_height_and_frequency_hold_the_truth() -> None:
    """Random sections on slopes in noise: two standard uncertainties hold the truth in 95 % at least."""
    lots = np.random.default_rng(5)
    away: list[tuple[float, float]] = []
    for number in range(60):
        centre = float(np.exp(lots.uniform(np.log(900.0), np.log(9000.0))))
        gain = float(lots.uniform(2.5, 10.0) * lots.choice([-1.0, 1.0]))
        q = float(np.exp(lots.uniform(np.log(1.2), np.log(12.0))))
        slope, noise = float(lots.uniform(-3.0, 1.0)), float(lots.uniform(0.02, 0.3))
        found = find_features(
            measured([(centre, gain, q)], slope_db_octave=slope, noise_db=noise, seed=number)
        )
        near = [f for f in found if abs(np.log2(f.frequency_hz / centre)) < 0.2 and f.sign == np.sign(gain)]
        away += [
            ((f.gain_db - gain) / f.gain_u_db, (f.frequency_hz - centre) / f.frequency_u_hz) for f in near[:1]
        ]
    assert len(away) >= 57
    spread = np.sqrt(np.mean(np.square(away), axis=0))
    assert np.mean(np.abs(away) <= 2.0) >= 0.95
    # and they aren't so wide that they say nothing
    assert np.all((spread > 0.2) & (spread < 1.2))
