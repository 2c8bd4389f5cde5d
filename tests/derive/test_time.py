"""Time behaviour of loudspeakers in closed form: a sealed box, an all-pass crossover, a resonance."""

from __future__ import annotations

import dataclasses

import closed_forms
import numpy as np
import pytest
import scipy.signal

from earwitness.acoustics import gating
from earwitness.acoustics.bursts import BURST_FALL_CYCLES
from earwitness.derive.derivation import Derivation, derive
from earwitness.derive.time_behaviour import time_behaviour
from earwitness.derive.time_terms import FALL_DB
from earwitness.records.facts import CaseFacts, StatedUncertainty, Unit
from earwitness.records.figures import Bound, Figure, FigureName, NotAvailable, Quantity
from earwitness.records.responses import Origin, Responses
from earwitness.records.takes import ON_AXIS
from earwitness.records.uncertainty import ComponentName as N

GRID = closed_forms.GRID
RATE = 48_000.0
GATE_S, LEAD_S = 6e-3, 2e-3
CORNER_HZ, Q = 60.0, 0.70711
FACTS = CaseFacts(Unit("Cobble"), uncertainty=StatedUncertainty(microphone_db=0.3, level_db=0.2))


def sealed_box(frequency_hz: np.ndarray) -> np.ndarray:
    s, w0 = 2j * np.pi * frequency_hz, 2.0 * np.pi * CORNER_HZ
    return np.asarray(s**2 / (s**2 + s * w0 / Q + w0**2))


def all_pass(f0: float, q: float, frequency_hz: np.ndarray) -> np.ndarray:
    s, w0 = 2j * np.pi * frequency_hz, 2.0 * np.pi * f0
    return np.asarray((s**2 - s * w0 / q + w0**2) / (s**2 + s * w0 / q + w0**2))


def peak(f0: float, q: float, gain: float, frequency_hz: np.ndarray) -> np.ndarray:
    s, w0 = 2j * np.pi * frequency_hz, 2.0 * np.pi * f0
    return np.asarray((s**2 + gain * s * w0 / q + w0**2) / (s**2 + s * w0 / q + w0**2))


def all_pass_delay_s(f0: float, q: float, frequency_hz: np.ndarray) -> np.ndarray:
    """2/(Q·ω0)·(1 + W²)/((1 − W²)² + W²/Q²): from the poles (computed)."""
    w = frequency_hz / f0
    return np.asarray(2.0 / (q * 2 * np.pi * f0) * (1 + w**2) / ((1 - w**2) ** 2 + (w / q) ** 2))


def on_axis(system: np.ndarray, late_s: float = 0.0, near_to_hz: float = 250.0) -> Responses:
    """One take on axis with this response on the grid; its impulse response is that of a click, gated."""
    plain = closed_forms.responses(
        closed_forms.omni, (ON_AXIS,), components={N.NOISE: 0.05, N.GATE: 0.05}, gate_s=GATE_S
    )
    unit = np.abs(plain.pressure[0])
    pressure = (system * np.exp(-2j * np.pi * GRID * late_s) * unit).astype(np.complex64)
    time = np.arange(round((LEAD_S + GATE_S) * RATE)) / RATE - LEAD_S
    click = np.where(np.abs(time) < 0.5 / RATE, 1.0, 0.0)
    ringing = np.where(time >= 0.0, np.exp(-time / 0.8e-3) * np.sin(2 * np.pi * 900.0 * time) / 20.0, 0.0)
    response = (click + ringing) * gating.gate(time, LEAD_S, GATE_S)
    origin = np.where(near_to_hz >= GRID, Origin.NEAR_FIELD, Origin.GATED)
    return dataclasses.replace(
        plain,
        pressure=pressure[None],
        origin=origin[None].astype(np.uint8),
        impulse_response=response[None].astype(np.float32),
        lead_s=LEAD_S,
    )


def figure(found: Derivation, name: FigureName) -> Figure:
    return next(f for f in found.figures if f.name is name)


def at(hertz: float) -> int:
    return int(np.argmin(np.abs(np.log(GRID / hertz))))


def test_a_sealed_box_is_of_minimum_phase_wherever_it_stands() -> None:
    """Its group delay is (1/(Q·ω0))·(1 + W²)/((1 − W²)² + W²/Q²); 2 ms of flight more change nothing."""
    expected = 0.5 * all_pass_delay_s(CORNER_HZ, Q, GRID)
    for late_s in (0.0, 2e-4):
        delays = time_behaviour(on_axis(sealed_box(GRID), late_s), 0).delays
        assert delays is not None
        inside = np.isfinite(delays.group_s)
        # The arrival's band has 0.3 µs of its own.
        np.testing.assert_allclose(delays.group_s[inside], expected[inside], rtol=2e-3, atol=2e-6)
        known = np.isfinite(delays.excess_s)
        assert GRID[known].min() < 35.0
        assert np.all(np.abs(delays.excess_s[known]) < 2.0 * delays.excess_uncertainty_s[known] + 1e-6)
        assert delays.slope_below == pytest.approx(1.96, abs=0.03)


def test_an_all_pass_shows_as_excess_alone() -> None:
    """A fourth-order crossover that sums flat is an all-pass of Q = 0.7071 (computed)."""
    expected = all_pass_delay_s(2_000.0, Q, GRID)
    arrival = expected[(GRID >= 5_000.0) & (GRID < 10_000.0)].mean()
    delays = time_behaviour(on_axis(sealed_box(GRID) * all_pass(2_000.0, Q, GRID)), 0).delays
    assert delays is not None
    middle = (GRID > 300.0) & (GRID < 12_000.0)
    np.testing.assert_allclose(delays.excess_s[middle], (expected - arrival)[middle], atol=2.5e-6)
    box = 0.5 * all_pass_delay_s(CORNER_HZ, Q, GRID)
    np.testing.assert_allclose(delays.minimum_s[middle], box[middle], atol=2.5e-6)


def test_the_excess_delay_of_a_crossover() -> None:
    expected = 1e3 * all_pass_delay_s(2_000.0, Q, GRID)
    low, high = ((lo * (1 - 1e-9) <= GRID) & (hi >= GRID) for lo, hi in ((500.0, 1e3), (5e3, 1e4)))
    found = figure(
        derive(on_axis(all_pass(2_000.0, Q, GRID) * sealed_box(GRID)), FACTS), FigureName.EXCESS_DELAY
    )
    assert isinstance(found.value, Quantity)
    assert found.value.value == pytest.approx(expected[low].mean() - expected[high].mean(), rel=0.01)
    assert found.uncertainty is not None
    assert found.components[N.FIT] is not None
    assert found.components[N.LEVEL] == 0.0
    assert found.components[N.REPEAT] is None
    assert 0.0 < found.uncertainty < 0.1


def test_the_group_delay_at_f6() -> None:
    """F6 of a sealed box of Q = 0.7071 is 0.76104 fc (FACTS 10, computed): there 4.40 ms for 60 Hz."""
    f6 = 0.76104 * CORNER_HZ
    found = figure(derive(on_axis(sealed_box(GRID)), FACTS), FigureName.GROUP_DELAY)
    assert isinstance(found.value, Quantity)
    assert found.also["frequency"] == pytest.approx(f6, rel=0.01)
    expected = 500.0 * float(all_pass_delay_s(CORNER_HZ, Q, np.array(f6)))
    assert found.value.value == pytest.approx(expected, rel=0.01)
    assert found.uncertainty is not None
    assert 0.0 < found.uncertainty < 0.2 * expected


def test_bursts_take_as_long_as_in_time() -> None:
    """A resonance of Q = 25 at 4 kHz, 12 dB high: the burst is run through it and its envelope read."""
    f0, q, gain = 4_000.0, 25.0, 4.0
    found = derive(on_axis(sealed_box(GRID) * peak(f0, q, gain, GRID)), FACTS)
    worst = figure(found, FigureName.BURST_DECAY)
    assert isinstance(worst.value, Quantity)
    assert worst.also["frequency"] == pytest.approx(f0, rel=0.01)
    bursts = found.curves.time.bursts if found.curves.time else None
    assert bursts is not None
    f = float(bursts.frequency_hz[np.nanargmax(bursts.fall_cycles)])
    time = np.arange(-960, 4_800) / 192_000.0
    burst = np.exp(-0.5 * (time * f) ** 2 + 2j * np.pi * f * time)
    w0 = 2.0 * np.pi * f0
    b, a = scipy.signal.bilinear([1.0, gain * w0 / q, w0**2], [1.0, w0 / q, w0**2], fs=192_000.0)
    level = 20.0 * np.log10(np.abs(scipy.signal.lfilter(b, a, burst)))
    top = int(np.argmax(level))
    last = np.flatnonzero(level > level[top] + FALL_DB)[-1]
    # The bilinear transform lowers 4 kHz by 0.14 %. The burst's spectrum is cut at −40 dB, and the resonance
    # lifts what lies beside by 12 dB: 3 %.
    assert worst.value.value == pytest.approx((time[last] - time[top]) * f, rel=0.03)
    assert worst.uncertainty is not None
    plain = (bursts.frequency_hz > 1_500.0) & (bursts.frequency_hz < 2_200.0)
    np.testing.assert_allclose(bursts.fall_cycles[plain], BURST_FALL_CYCLES, rtol=0.03)


def test_pictures_end_where_the_measurement_does() -> None:
    behaviour = time_behaviour(on_axis(sealed_box(GRID)), 0)
    closes = GATE_S * (1.0 - gating.TAIL_PART)
    waves, bursts, left = behaviour.waveforms, behaviour.bursts, behaviour.cumulative
    assert waves is not None
    assert bursts is not None
    assert left is not None
    assert waves.time_s[-1] <= closes < waves.time_s[-1] + 1.0 / RATE
    for i, hertz in enumerate(bursts.frequency_hz):
        ends = bursts.cycles[np.isfinite(bursts.envelope_db[i])][-1]
        far = hertz > bursts.near_field_to_hz
        assert ends <= (closes if far else 0.6 * gating.VALID_FROM_GATES / GRID[0]) * hertz + 1e-9
    # A burst whose spectrum reaches past the near field has no more than the gate.
    assert bursts.near_field_to_hz < 250.0 / 1.4
    for k, moment in enumerate(left.time_s):
        shown = left.frequency_hz[np.isfinite(left.level_db[k])]
        assert shown.min() >= gating.VALID_FROM_GATES / (GATE_S - moment)
    assert left.time_s[-1] < closes


def test_what_the_gate_makes_doesnt_show_in_waveforms() -> None:
    """Whatever comes after the gate has begun to close leaves impulse and step as they were."""
    plain = on_axis(sealed_box(GRID))
    time = np.arange(plain.impulse_response.shape[1]) / RATE - LEAD_S
    late = np.where(time > 0.7 * GATE_S, 0.5 * np.sin(2.0 * np.pi * 300.0 * time), 0.0)
    moved = dataclasses.replace(plain, impulse_response=plain.impulse_response + late.astype(np.float32))
    first, second = (time_behaviour(r, 0).waveforms for r in (plain, moved))
    assert first is not None
    assert second is not None
    # Between the samples the late sound's own edge rings on, by less than a hundredth of it.
    np.testing.assert_allclose(second.impulse, first.impulse, atol=5e-3)
    assert first.step.max() == 1.0
    assert first.time_s[np.argmax(first.energy_db)] == pytest.approx(0.0, abs=1e-5)


def test_without_phase_nothing_is_said() -> None:
    silent = dataclasses.replace(on_axis(sealed_box(GRID)), has_phase=np.zeros(1, dtype=np.bool_))
    found = derive(silent, FACTS)
    assert found.curves.time is None
    for name in (FigureName.GROUP_DELAY, FigureName.EXCESS_DELAY, FigureName.BURST_DECAY):
        assert isinstance(figure(found, name).value, NotAvailable)


def test_a_response_that_came_without_a_gate_has_delays_alone() -> None:
    plain = on_axis(sealed_box(GRID))
    given = dataclasses.replace(
        plain, gate_s=np.zeros(1), impulse_response=np.zeros_like(plain.impulse_response)
    )
    behaviour = time_behaviour(given, 0)
    assert behaviour.delays is not None
    assert (behaviour.waveforms, behaviour.bursts, behaviour.cumulative) == (None, None, None)


def test_a_tone_that_outlasts_the_measurement_is_a_bound() -> None:
    """Q = 60 at 1.5 kHz takes 44 cycles to fall by 20 dB: the gate has four."""
    ringing = sealed_box(GRID) * peak(1_500.0, 60.0, 8.0, GRID)
    found = figure(derive(on_axis(ringing), FACTS), FigureName.BURST_DECAY)
    assert isinstance(found.value, Bound)
    assert found.value.sense == "at least"
    # The burst of 1.9 kHz, a third above, is followed longest.
    assert 2.0 < found.value.value <= 0.6 * GATE_S * 1_900.0
    assert found.also["frequency"] == pytest.approx(1_500.0, rel=0.01)
    assert found.uncertainty is None
