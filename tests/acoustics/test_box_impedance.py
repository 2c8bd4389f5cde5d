"""Drivers in boxes by their electrical, mechanical and acoustical parts, against what the fit finds of them.

Sealed: Zₑ + (Bl)²/(R + jωM + (K + ρc²S²/V)/jω), with fc = √((K + ρc²S²/V)/M)/2π and Q by Small (JAES 20
(10), 1972; recalled). Vented: the box's spring in parallel with the port's mass and a leak (Small, JAES 21
(5), 1973; recalled).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.box_impedance import fit

SPRING = 1.2041 * 343.2**2
MASS, STIFFNESS, LOSS, FORCE, COIL, AREA = 0.020, 1400.0, 1.1, 7.5, 5.6, 0.0137
FREQUENCIES = np.geomspace(20.0, 200.0, 300)
Complexes = npt.NDArray[np.complex128]


def sealed(volume_m3: float, leak_hz: float = 0.0) -> Complexes:
    s = 2j * np.pi * FREQUENCIES
    box = SPRING * AREA**2 / volume_m3
    # a leak beside the box's compliance: K/(jω + ωl), to the first order K/jω + K·fl/(2πf²)
    loss = LOSS + box * leak_hz / (2.0 * np.pi * FREQUENCIES**2)
    return np.asarray(COIL + 0.02 * np.sqrt(s) + FORCE**2 / (loss + s * MASS + (STIFFNESS + box) / s))


def vented(volume_m3: float, tuning_hz: float, q_leak: float) -> Complexes:
    s = 2j * np.pi * FREQUENCIES
    compliance = volume_m3 / SPRING
    port_mass = 1.0 / ((2.0 * np.pi * tuning_hz) ** 2 * compliance)
    leak = q_leak / (2.0 * np.pi * tuning_hz * compliance)
    box = 1.0 / (s * compliance + 1.0 / (s * port_mass) + 1.0 / leak)
    return np.asarray(COIL + 0.02 * np.sqrt(s) + FORCE**2 / (LOSS + s * MASS + STIFFNESS / s + AREA**2 * box))


def behind_a_crossover(driver: Complexes) -> Complexes:
    """0.9 mH before it, 22 µF with 8 Ω across it."""
    s = 2j * np.pi * FREQUENCIES
    return np.asarray(9e-4 * s + 1.0 / (1.0 / driver + 1.0 / (8.0 + 1.0 / (22e-6 * s))))


@pytest.mark.parametrize("has_phase", [True, False])
@pytest.mark.parametrize("crossed", [True, False])
def test_a_sealed_box(has_phase: bool, crossed: bool) -> None:
    whole = STIFFNESS + SPRING * AREA**2 / 0.016
    corner_hz = np.sqrt(whole / MASS) / (2.0 * np.pi)
    q_mechanical = np.sqrt(whole * MASS) / LOSS
    q_electrical = np.sqrt(whole * MASS) * COIL / FORCE**2
    q_total = 1.0 / (1.0 / q_mechanical + 1.0 / q_electrical)
    ohms = behind_a_crossover(sealed(0.016)) if crossed else sealed(0.016)
    peak_hz = float(FREQUENCIES[np.argmax(np.abs(ohms))])
    found = fit(FREQUENCIES, ohms, peaks_hz=(peak_hz,), has_phase=has_phase)
    assert found.residual < 5e-4
    assert found.box.resonance_hz == pytest.approx(corner_hz, rel=2e-3)
    assert found.box.q_total == pytest.approx(q_total, rel=5e-3)
    if not crossed:
        assert found.box.q_electrical == pytest.approx(q_electrical, rel=5e-3)
        assert found.box.q_mechanical == pytest.approx(q_mechanical, rel=5e-3)


def test_a_sealed_box_that_leaks_keeps_its_resonance() -> None:
    leak_hz, box = 6.0, SPRING * AREA**2 / 0.016
    corner_hz = np.sqrt((STIFFNESS + box) / MASS) / (2.0 * np.pi)
    found = fit(FREQUENCIES, sealed(0.016, leak_hz), peaks_hz=(60.0,)).box
    assert found.resonance_hz == pytest.approx(corner_hz, rel=2e-3)
    # at resonance 1/Q of the leak is K_box/K·fl/fc
    assert found.q_leak == pytest.approx((STIFFNESS + box) / box * corner_hz / leak_hz, rel=0.02)
    assert found.q_leak is not None
    q_electrical = np.sqrt((STIFFNESS + box) * MASS) * COIL / FORCE**2
    q_mechanical = np.sqrt((STIFFNESS + box) * MASS) / LOSS
    total = 1.0 / (1.0 / q_electrical + 1.0 / q_mechanical + 1.0 / found.q_leak)
    assert found.q_total == pytest.approx(total, rel=5e-3)


def test_no_leak_is_told_of_a_box_without_one() -> None:
    assert fit(FREQUENCIES, sealed(0.016), peaks_hz=(60.0,)).box.q_leak is None


@pytest.mark.parametrize("crossed", [True, False])
def test_a_vented_box(crossed: bool) -> None:
    ohms = vented(0.020, 43.0, 8.0)
    ohms = behind_a_crossover(ohms) if crossed else ohms
    magnitude = np.abs(ohms)
    inner = np.flatnonzero((magnitude[1:-1] > magnitude[:-2]) & (magnitude[1:-1] > magnitude[2:])) + 1
    low, high = FREQUENCIES[inner[:2]].tolist()
    between = (low < FREQUENCIES) & (high > FREQUENCIES)
    dip_hz = float(FREQUENCIES[between][np.argmin(magnitude[between])])
    found = fit(FREQUENCIES, ohms, peaks_hz=(low, high), dip_hz=dip_hz)
    assert found.residual < 5e-4
    assert found.box.tuning_hz == pytest.approx(43.0, rel=1e-3)
    assert found.box.resonance_hz == pytest.approx(np.sqrt(STIFFNESS / MASS) / (2.0 * np.pi), rel=2e-3)
    assert found.box.compliance_ratio == pytest.approx(SPRING * AREA**2 / 0.020 / STIFFNESS, rel=5e-3)
    assert found.box.q_leak == pytest.approx(8.0, rel=0.01)
    q_electrical = np.sqrt(STIFFNESS * MASS) * COIL / FORCE**2
    q_mechanical = np.sqrt(STIFFNESS * MASS) / LOSS
    assert found.box.q_total == pytest.approx(1.0 / (1.0 / q_electrical + 1.0 / q_mechanical), rel=5e-3)


def test_noise_is_told_in_the_uncertainty() -> None:
    """Of 2 % noise the spread over seeds is no more than what is stated, which counts few points alone."""
    random = np.random.default_rng(3)
    clean = sealed(0.016)
    tried = []
    for _ in range(12):
        noise = 0.02 * random.normal(size=(2, FREQUENCIES.size)) * np.abs(clean)
        tried.append(fit(FREQUENCIES, clean + noise[0] + 1j * noise[1], peaks_hz=(60.0,)))
    for name in ("resonance_hz", "q_total"):
        values = [getattr(one.box, name) for one in tried]
        stated = float(np.median([one.relative[name] for one in tried]))
        assert np.std(values, ddof=1) / np.mean(values) < stated < 0.05
