"""Sections against published widths, and gated ones against a sum over samples."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import freqs, residue

from earwitness.acoustics.gating import gate
from earwitness.acoustics.sections import gated_sections, q_of_width, width_octaves


@pytest.mark.parametrize(
    ("gain_db", "q", "octaves"),
    [
        (3.0, 1.0, 1.62704),
        (3.0, 10.0, 0.17136),
        (6.0, 10.0, 0.20362),
        (6.0, 50.0, 0.04076),
        (10.0, 10.0, 0.25621),
    ],
)
def test_widths_are_those_of_the_table(gain_db: float, q: float, octaves: float) -> None:
    """Half-gain widths computed from |H|² = g outside the program."""
    assert float(width_octaves(gain_db, q)) == pytest.approx(octaves, abs=1e-5)
    assert float(q_of_width(gain_db, octaves)) == pytest.approx(q, rel=3e-4)


@pytest.mark.parametrize("gain_db", [6.0, -9.0])
def test_without_a_gate_it_is_the_transfer_function(gain_db: float) -> None:
    """scipy.signal.freqs of the same polynomials."""
    frequency, omega0, q, gain = np.geomspace(100.0, 10_000.0, 50), 2e3 * np.pi, 4.0, 10.0 ** (gain_db / 20.0)
    b, a = [1.0, gain * omega0 / q, omega0**2], [1.0, omega0 / q, omega0**2]
    _, expected = freqs(b, a, 2.0 * np.pi * frequency)
    found = gated_sections(frequency, np.array([1e3]), np.array([gain_db]), np.array([q]), np.inf)[0]
    np.testing.assert_allclose(found, expected, rtol=1e-10)


@pytest.mark.parametrize("q", [0.6, 3.0, 25.0])
def test_a_gated_one_is_its_gated_impulse_response(q: float) -> None:
    """∫ w r e^(−jωt) dt as a fine sum; r from scipy.signal.residue."""
    gate_s, omega0, gain = 4e-3, 2e3 * np.pi, 2.0
    residues, poles, _ = residue([omega0 / q, 0.0], [1.0, omega0 / q, omega0**2])
    step = 2e-8
    time = np.arange(0.0, gate_s, step) + step / 2.0
    ringing = sum(r * np.exp(p * time) for r, p in zip(residues, poles, strict=True)).real
    passed = ringing * gate(time, 1e-3, gate_s)
    frequency = np.array([500.0, 980.0, 1010.0, 3000.0])
    expected = [
        1.0 + (gain - 1.0) * np.sum(passed * np.exp(-2j * np.pi * f * time)) * step for f in frequency
    ]
    found = gated_sections(
        frequency, np.array([1e3]), np.array([20.0 * np.log10(gain)]), np.array([q]), gate_s
    )
    np.testing.assert_allclose(found[0], expected, rtol=2e-5)


def test_a_short_gate_flattens_a_resonance() -> None:
    """+6 dB at 1 kHz, T = 4 ms: Q 10 is seen lower than Q 3, since it rings longer than the gate."""
    centre, gain = np.array([1e3, 1e3]), np.array([6.0, 6.0])
    seen = gated_sections(np.array([1e3]), centre, gain, np.array([3.0, 10.0]), 4e-3)
    levels = 20.0 * np.log10(np.abs(seen[:, 0]))
    assert 4.0 < levels[1] < levels[0] < 6.02


def test_what_doesnt_oscillate_is_refused() -> None:
    with pytest.raises(ValueError, match=r"above 0\.5"):
        gated_sections(np.array([1e3]), np.array([1e3]), np.array([3.0]), np.array([0.5]), 1.0)
