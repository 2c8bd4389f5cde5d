"""What still rings when a gate ends, against responses that are sums of damped exponentials."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pytest
import scipy.linalg

from earwitness.acoustics import gating, ringing, roll_off
from earwitness.acoustics.roll_off import RollOff

Floats = npt.NDArray[np.float64]

RATE = 48_000.0
GATE_S = 3e-3
LEAD_S = 2e-3
GRID = np.geomspace(2.0, 12.0, 120) / GATE_S
LOWEST = GRID * GATE_S <= 3.3


def uncertainty_db(
    segments: npt.NDArray[np.float32],
    start_s: Floats,
    frequency_hz: Floats,
    spectrum: npt.NDArray[np.complexfloating],
    length_s: Floats | None = None,
) -> Floats:
    """Of segments at `RATE` under a gate of `GATE_S`."""
    return ringing.uncertainty_db(
        segments,
        start_s,
        RATE,
        gate_s=GATE_S,
        frequency_hz=frequency_hz,
        spectrum=spectrum.astype(np.complex64),
        length_s=length_s,
    )


@dataclass(frozen=True)
class Sounded:
    """Samples from `LEAD_S` before an arrival on, and the true spectrum of the sound in them, (F,)."""

    samples: Floats
    true: npt.NDArray[np.complex128]


def sounded(
    model: RollOff,
    resonances: Sequence[tuple[float, float, complex]] = (),
    noise: float = 0.0,
    seed: int = 0,
) -> Sounded:
    """An impulse with the tail of a roll-off, and resonances Re(c·e^(pt)) by f₀·T, Q and c·T, in closed form.

    `noise` is the standard deviation of what is added to each sample, re the impulse.
    """
    poles = model.poles()
    apart = poles[:, None] - poles[None, :]
    np.fill_diagonal(apart, 1.0)
    residue = poles**poles.size / np.prod(apart, axis=1)
    for f0, q, c in resonances:
        p = np.pi * f0 / GATE_S / q * (-1.0 + 1j * np.sqrt(4.0 * q**2 - 1.0))
        poles = np.concatenate([poles, [p, np.conj(p)]])
        residue = np.concatenate([residue, [0.5 * c / GATE_S, 0.5 * np.conj(c) / GATE_S]])
    lead = round(LEAD_S * RATE)
    time = (np.arange(lead + round(GATE_S * RATE) + 1) - lead) / RATE
    late = np.real(residue @ np.exp(poles[:, None] * np.maximum(time, 0.0))) / RATE
    samples = np.where(time > 0.0, late, 0.0)
    samples[lead] = 1.0 + 0.5 * late[lead]
    samples += noise * np.random.default_rng(seed).normal(size=time.size)
    return Sounded(samples, 1.0 + (residue / (2j * np.pi * GRID[:, None] - poles)).sum(axis=-1))


def drawn(seed: int) -> Sounded:
    """A roll-off at 35 to 60 Hz and one resonance, 1 to 9 dB over its surroundings or as much less."""
    lots = np.random.default_rng(seed)
    f0, quality = lots.uniform(1.5, 4.0), float(np.exp(lots.uniform(*np.log([8.0, 40.0]))))
    height = (10.0 ** (lots.uniform(1.0, 9.0) / 20.0) - 1.0) * lots.choice([-1.0, 1.0])
    # it is c/2 over the pole's real part high, π·f₀/Q
    c = 2.0 * np.pi * f0 / quality * height * np.exp(1j * lots.uniform(-1.0, 1.0))
    model = RollOff(lots.uniform(35.0, 60.0), (float(lots.choice([0.577, 0.707, 1.0])),))
    return sounded(model, [(f0, quality, c)], noise=1e-4, seed=seed)


@dataclass(frozen=True)
class Rung:
    """Levels through the gate less true ones, dB (R, F), and what is said of that."""

    error_db: Floats
    said_db: Floats


def rung(some: Sequence[Sounded]) -> Rung:
    samples = np.stack([one.samples for one in some])
    lead = round(LEAD_S * RATE)
    time = (np.arange(samples.shape[-1]) - lead) / RATE
    gentle = gating.gentleness(GRID, GATE_S)
    waves = np.exp(-2j * np.pi * np.outer(time, GRID))
    parts = (gating.TAIL_PART, gating.GENTLE_TAIL_PART)
    plain, soft = ((samples * gating.gate(time, LEAD_S, GATE_S, part)) @ waves for part in parts)
    gated = (1.0 - gentle) * plain + gentle * soft
    said = uncertainty_db(samples.astype(np.float32), np.full(len(some), -lead / RATE), GRID, gated)
    return Rung(20.0 * np.log10(np.abs(gated / np.stack([one.true for one in some]))), said)


@pytest.mark.parametrize("tail_part", [0.4, 0.8])
def test_what_is_cut_off_an_exponential_is_its_integral(tail_part: float) -> None:
    poles = np.array([-200.0 + 5_000.0j, -3_000.0 - 900.0j])
    time = np.arange(4_000_000) * 1e-8
    rest = 1.0 - gating.gate(time, LEAD_S, GATE_S, tail_part)
    for pole, found in zip(poles, gating.cut_off(poles, np.array([700.0]), GATE_S, tail_part), strict=True):
        expected = np.trapezoid(rest * np.exp((pole - 2j * np.pi * 700.0) * time), dx=1e-8)
        assert found[0] == pytest.approx(expected, rel=1e-3)


def test_errors_of_resonances_are_as_large_as_is_said() -> None:
    found = rung([drawn(seed) for seed in range(240)])
    error, said = found.error_db[:, LOWEST], found.said_db[:, LOWEST]
    usual = roll_off.greatest_gating_error_db(GRID[LOWEST], GATE_S, 2.0 / GATE_S) / np.sqrt(3.0)
    said = np.maximum(said, usual)
    ratio = error / said
    assert np.sqrt(np.mean(error**2)) > 1.0
    # where the resonance is clear the error is what is said, neither more nor less: nearly all lie inside
    assert 0.8 < np.sqrt(np.mean(ratio**2)) < 1.1
    assert np.mean(np.abs(ratio) < 1.96) > 0.95
    # a band that is as wide everywhere would hold the truth as well; this one goes with the error
    along = np.log(np.abs(error).mean(axis=1)), np.log(said.mean(axis=1))
    assert np.corrcoef(*along)[0, 1] > 0.8


def test_a_resonance_that_is_clear_leaves_little_open() -> None:
    """Away from where the error passes zero it is what is said, which is worked out without the truth."""
    found = rung([sounded(RollOff(50.0, (0.707,)), [(2.5, 15.0, 0.3)])])
    error, said = np.abs(found.error_db[0]), found.said_db[0]
    clear = error > 0.3
    assert clear.sum() > 10
    assert np.median(said[clear] / error[clear]) == pytest.approx(1.0, abs=0.1)
    assert np.all(said[clear] > 0.65 * error[clear])


@pytest.mark.parametrize("qs", [(0.5001,), (0.577,), (1.0,), (0.541, 1.307)])
def test_a_roll_off_alone_rings_with_nothing(qs: tuple[float, ...]) -> None:
    assert rung([sounded(RollOff(corner_hz, qs)) for corner_hz in (30.0, 50.0)]).said_db.max() < 0.01


def test_noise_is_hardly_taken_for_ringing() -> None:
    """Noise that moves the spectrum by 0.07 dB root mean square, which is counted as noise."""
    moved_db = 20.0 / np.log(10.0) * 1e-3 * np.sqrt(0.5 * GATE_S * RATE)
    assert moved_db == pytest.approx(0.074, abs=0.001)
    found = rung([sounded(RollOff(40.0, (0.707,)), noise=1e-3, seed=seed) for seed in range(100)])
    assert np.sqrt(np.mean(np.square(found.said_db))) < moved_db


def test_one_pole_counts_as_textbooks_of_regression_say(monkeypatch: pytest.MonkeyPatch) -> None:
    """Amplitudes and their covariance by least squares, the weight by the difference of two BICs."""
    grid = ringing._grid()
    one = dataclasses.replace(
        grid, poles=grid.poles[200:201], shown=grid.shown[200:201], inverse=grid.inverse[200:201]
    )
    monkeypatch.setattr(ringing, "_grid", lambda: one)
    lots = np.random.default_rng(9)
    late = 0.3 * one.shown[0, 0] - 0.2 * one.shown[0, 1] + lots.normal(size=(4, one.slow.shape[1])) * 0.02
    late += 0.5 * one.slow.sum(axis=0)
    design = np.concatenate([one.slow, one.shown[0]]).T
    count = len(design) - len(one.slow)
    for row, found in zip(late, ringing._weighted(late)[:, 0], strict=True):
        fit, misfit, _, _ = scipy.linalg.lstsq(design, row)
        _, without, _, _ = scipy.linalg.lstsq(one.slow.T, row)
        bic = count * np.log([misfit, without]) + np.log(count) * np.array([2.0, 0.0])
        # the pole's frequency and Q are looked for as well: two degrees of freedom more
        covariance = misfit / (count - 4) * np.linalg.inv(design.T @ design)[-2:, -2:]
        moments = (np.outer(fit[-2:], fit[-2:]) + covariance) / (1.0 + np.exp(0.5 * (bic[0] - bic[1])))
        assert found == pytest.approx(moments[[0, 0, 1], [0, 1, 1]], rel=1e-6)


def test_bands_hold_where_noise_hides_what_rings() -> None:
    """Resonances of 3 dB, errors with those of noise of 0.06 dB, under a band of both."""
    lots = np.random.default_rng(4)
    some = []
    for seed in range(300):
        f0, q = lots.uniform(1.5, 4.0), float(np.exp(lots.uniform(*np.log([8.0, 40.0]))))
        c = 0.8 * np.pi * f0 / q * np.exp(1j * lots.uniform(-np.pi, np.pi))
        some.append(sounded(RollOff(45.0, (0.707,)), [(f0, q, c)], noise=1e-3, seed=seed))
    found = rung(some)
    level = np.abs(np.stack([one.true for one in some]))[:, LOWEST]
    # the mean square of the gate's weights is about 0.6
    noise_db = 20.0 / np.log(10.0) * 1e-3 * np.sqrt(0.5 * 0.6 * GATE_S * RATE) / level
    ratio = found.error_db[:, LOWEST] / np.hypot(found.said_db[:, LOWEST], np.maximum(noise_db, 0.1))
    # seldom seen and never more than a few decibels, they are a little more than is said
    assert 0.85 < np.sqrt(np.mean(ratio**2)) < 1.2
    assert np.mean(np.abs(ratio) < 1.96) > 0.93


def test_what_is_said_doesn_t_hang_on_level_or_arrival() -> None:
    lots = np.random.default_rng(5)
    segments = lots.normal(size=(3, 300)).astype(np.float32) * np.exp(-np.arange(300) / 60.0).astype(
        np.float32
    )
    start = np.array([-1e-3, -1.013e-3, -0.99e-3])

    def said(rows: npt.NDArray[np.float32], at: Floats) -> Floats:
        spectrum = gating.spectra(rows, RATE, GRID, at)
        return uncertainty_db(rows, at, GRID, spectrum)

    whole = said(segments, start)
    assert whole.shape == (3, GRID.size)
    assert said(segments * np.float32(1e-4), start) == pytest.approx(whole, rel=1e-3)
    assert said(segments[1:2], start[1:2])[0] == pytest.approx(whole[1], rel=1e-5)
    assert not said(np.zeros((1, 300), dtype=np.float32), start[:1]).any()


def test_a_gate_of_few_cycles_cuts_off_more() -> None:
    lead = round(LEAD_S * RATE)
    time = (np.arange(lead + 145) - lead) / RATE
    wave = np.where(time > 0.0, np.exp(-300.0 * time) * np.sin(2.0 * np.pi * 1_000.0 * time), 0.0)
    segment, start = wave[None].astype(np.float32), np.array([-LEAD_S])
    hz = np.array([950.0, 1_000.0, 1_050.0])
    spectrum = gating.spectra(segment, RATE, hz, start)
    whole, short = (
        uncertainty_db(segment, start, hz, spectrum, np.full(3, length)) for length in (GATE_S, 0.5 * GATE_S)
    )
    assert np.all(short > 1.2 * whole)
    # 1.2 dB and more: e^(−300·0.7·T) = 0.53 of a resonance that would go on
    assert np.all(whole > 1.0)
