"""What a gate cuts off a roll-off: its closed form against samples that are really gated."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from earwitness.acoustics import gating, roll_off
from earwitness.acoustics.roll_off import RollOff

RATE = 384_000
GATE_S = 5e-3
LEAD = 768


def polynomials(model: RollOff) -> tuple[list[float], list[float]]:
    """The same high-pass as a filter designer would write it."""
    w = 2.0 * np.pi * model.corner_hz
    above, below = np.ones(1), np.ones(1)
    for q in model.qs:
        above, below = np.convolve(above, [1.0, 0.0, 0.0]), np.convolve(below, [1.0, w / q, w**2])
    return list(above), list(below)


@pytest.mark.parametrize("qs", [(0.5001,), (1.0,), (0.541, 1.307)])
@pytest.mark.parametrize("corner_hz", [40.0, 120.0])
def test_gating_error_equals_that_of_gated_samples(qs: tuple[float, ...], corner_hz: float) -> None:
    model = RollOff(corner_hz, qs)
    above, below = polynomials(model)
    impulse = np.zeros(4_096)
    impulse[LEAD] = 1.0
    response = scipy.signal.lfilter(*scipy.signal.bilinear(above, below, RATE), impulse)
    time = (np.arange(impulse.size) - LEAD) / RATE
    frequency = np.geomspace(200.0, 6_000.0, 60)
    waves = np.exp(-2j * np.pi * np.outer(frequency, time))
    plain, gentle = (waves @ (response * gating.gate(time, 2e-3, GATE_S, part)) for part in (0.4, 0.8))
    share = gating.gentleness(frequency, GATE_S)
    gated = share * gentle + (1.0 - share) * plain
    true = scipy.signal.freqs(above, below, 2.0 * np.pi * frequency)[1]
    expected = 20.0 * np.log10(np.abs(gated / true))
    assert np.max(np.abs(expected)) > 0.05
    # the bilinear transform at 384 kHz is off by less than 10⁻³ dB here
    assert roll_off.gating_error_db(model, frequency, GATE_S) == pytest.approx(expected, abs=1e-3)
    assert model.response(frequency) == pytest.approx(true, rel=1e-9)


def test_the_greatest_error_is_that_of_the_definitions() -> None:
    frequency = np.array([2.0, 3.3]) / GATE_S
    sealed = [RollOff(float(c), (q,)) for c in np.geomspace(20.0, 200.0, 40) for q in (0.577, 0.707, 1.0)]
    worst = np.max([np.abs(roll_off.gating_error_db(m, frequency, GATE_S)) for m in sealed], axis=0)
    # FACTS §8 (computed): 0.3 dB at 2/T, 0.1 dB at 3.3/T, worst of four featureless roll-offs
    assert 0.1 < worst[0] < 0.3
    assert 0.01 < worst[1] < 0.1
    greatest = roll_off.greatest_gating_error_db(frequency, GATE_S, 2.0 / GATE_S)
    # nor is a vented box worse, with its corner as high as 1/T
    assert worst[0] <= greatest[0] < 0.3
    assert worst[1] <= greatest[1] < 0.1


def test_the_gate_closes_gently_to_a_third_octave_above_its_limit_alone() -> None:
    share = gating.gentleness(np.array([2.0, 3.29, np.sqrt(3.3 * 4.0), 4.01, 40.0]) / GATE_S, GATE_S)
    assert share == pytest.approx([1.0, 1.0, 0.5, 0.0, 0.0], abs=1e-9)


@pytest.mark.parametrize(("corner_hz", "qs"), [(60.0, (0.707,)), (45.0, (0.541, 1.307))])
def test_a_roll_off_is_found_again(corner_hz: float, qs: tuple[float, ...]) -> None:
    frequency = np.geomspace(20.0, 300.0, 90)
    level = 3.0 + 20.0 * np.log10(np.abs(RollOff(corner_hz, qs).response(frequency)))
    found = roll_off.fitted(frequency, level)
    assert found is not None
    # corners are tried a twelfth of an octave apart
    assert found.corner_hz == pytest.approx(corner_hz, rel=0.03)
    assert len(found.qs) == len(qs)
    assert sorted(found.qs) == pytest.approx(sorted(qs), rel=0.15)


def test_a_response_without_a_corner_has_none() -> None:
    frequency = np.geomspace(20.0, 300.0, 90)
    assert roll_off.fitted(frequency, np.zeros(90)) is None
    assert roll_off.fitted(frequency, 6.0 * np.sin(5.0 * np.log(frequency))) is None
