"""Coils, the air in a box, ports and resonances against textbook physics."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from earwitness.virtual.air import Air
from earwitness.virtual.bodies import Bending, DriveUnit, Port, resonant
from earwitness.virtual.enclosure import Enclosure
from earwitness.virtual.interior import Interior, Opening, StandingWave
from earwitness.virtual.voice_coil import VoiceCoil

REFERENCE: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "virtual_drivers.toml").read_text(encoding="utf-8")
)
AIR = Air(20.0)


def test_a_semi_inductance_rises_by_half_an_octave_an_octave_at_45_degrees() -> None:
    """Vanderkooy, JAES 37 (3), 1989 (recalled): deep eddy currents make √(jω) of jω."""
    coil = VoiceCoil(0.0, semi_inductance=0.04)
    value = coil.impedance(np.array([1000.0, 4000.0]))
    assert np.abs(value[1] / value[0]) == pytest.approx(2.0, rel=1e-12)
    np.testing.assert_allclose(np.angle(value, deg=True), 45.0, rtol=1e-12)
    assert np.abs(value[0]) == pytest.approx(0.04 * math.sqrt(2000.0 * math.pi), rel=1e-12)


def test_a_coil_is_an_inductance_low_down_and_a_ring_high_up() -> None:
    coil = VoiceCoil(3.0, 1e-6, 0.5, 0.001, 4.0)
    low, high = (
        coil.impedance(np.array([0.01])),
        VoiceCoil(3.0, 0.0, 0.5, 0.001, 4.0).impedance(np.array([1e12])),
    )
    assert low[0].real == pytest.approx(3.0, rel=1e-5)
    assert low[0].imag == pytest.approx(2.0 * math.pi * 0.01 * 0.001001, rel=2e-2)  # √ω closes in slowly
    assert high[0] == pytest.approx(7.0, rel=1e-5)


@settings(deadline=None)
@given(
    st.floats(0.0, 2e-3),
    st.floats(1e-4, 0.5),
    st.floats(1e-5, 1e-2) | st.just(math.inf),
    st.floats(0.5, 100.0),
)
def test_no_coil_gives_power(series: float, semi: float, core: float, ring: float) -> None:
    value = VoiceCoil(3.0, series, semi, core, ring).impedance(np.geomspace(1.0, 1e5, 50))
    assert np.all(value.real > 3.0)
    assert np.all(value.imag > 0.0)


def test_a_box_is_a_spring_low_down() -> None:
    box = Interior(0.02)
    value = box.impedance([Opening("a"), Opening("b")], np.array([50.0]), AIR)[0]
    expected = AIR.density * AIR.speed**2 / 0.02 / (2j * math.pi * 50.0)
    np.testing.assert_allclose(value, np.full((2, 2), expected), rtol=1e-12)


def test_standing_waves_add_up_to_a_closed_tube() -> None:
    """A tube of length L closed at its far end: −j(ρc/S) cot kL at its mouth (Kinsler, ch. 10; recalled)."""
    size = (0.8, 0.1, 0.1)
    waves = tuple(StandingWave(f"{n}", (n, 0, 0), 1e9) for n in range(1, 3001))
    frequencies = np.array([50.0, 150.0, 300.0, 480.0])
    box = Interior(0.008, size, waves)
    wavenumber = 2.0 * math.pi * frequencies / AIR.speed
    characteristic = AIR.density * AIR.speed / 0.01
    mouth = box.impedance([Opening("near"), Opening("far", (0.0, 0.5, 0.5))], frequencies, AIR)
    np.testing.assert_allclose(mouth[:, 0, 0], -1j * characteristic / np.tan(wavenumber * 0.8), rtol=2e-3)
    np.testing.assert_allclose(mouth[:, 1, 0], -1j * characteristic / np.sin(wavenumber * 0.8), rtol=2e-3)


def test_a_standing_wave_has_its_frequency_and_its_nodes() -> None:
    wave = StandingWave("depth", (1, 0, 0), 40.0)
    box = Interior(0.02, (0.343, 0.2, 0.3), (wave,))
    assert box.wave_hz(wave, AIR) == pytest.approx(AIR.speed / 0.686, rel=1e-12)
    assert box.wave_hz(StandingWave("x", (1, 0, 2), 9.0), AIR) == pytest.approx(
        AIR.speed / 2.0 * math.hypot(1 / 0.343, 2 / 0.3), rel=1e-12
    )
    openings = [Opening("end"), Opening("middle", (0.5, 0.5, 0.5)), Opening("rear", (0.0, 0.5, 0.5))]
    value = box.impedance(openings, np.array([box.wave_hz(wave, AIR)]), AIR)[0]
    spring = replace(box, waves=()).impedance(openings, np.array([box.wave_hz(wave, AIR)]), AIR)[0]
    assert (value - spring)[0, 0].real == pytest.approx(2.0 * 40.0 * abs(spring[0, 0]), rel=1e-9)
    assert (value - spring)[0, 2] == pytest.approx(-(value - spring)[0, 0], rel=1e-9)
    assert abs((value - spring)[0, 1]) < 1e-9 * abs(value[0, 0])


def test_standing_waves_without_a_size_are_refused() -> None:
    with pytest.raises(ValueError, match="standing waves need the size of the box"):
        Interior(0.02, waves=(StandingWave("depth", (1, 0, 0), 40.0),))


@pytest.mark.parametrize("row", REFERENCE["band_pass"]["rows"], ids=lambda row: f"Q{row['q']:g}")
def test_bandwidth_of_a_resonance(row: dict[str, Any]) -> None:
    def fall(octaves: float) -> float:
        peak, aside = np.abs(resonant(0.01, 900.0, row["q"], 900.0 * np.array([1.0, 2.0**octaves])))
        return float((aside / peak) ** 2 - 2.0)

    assert 2.0 * brentq(fall, 1e-4, 3.0) == pytest.approx(row["octaves"], abs=5e-6)


def test_a_port_of_one_lump_is_its_mass_with_both_ends() -> None:
    port = Port(Opening("port"), 0.05, 0.12, resonant=False)
    body = port.bodies(np.array([40.0]), AIR, 0.0)[0]
    ends = REFERENCE["pipe_ends"]["free"] + REFERENCE["pipe_ends"]["flanged"]
    mass = AIR.density * math.pi * 0.025**2 * (0.12 + 0.025 * ends)
    assert body.impedance[0] == pytest.approx(2j * math.pi * 40.0 * mass, rel=1e-12)
    assert port.tuning_hz(0.02, AIR) == pytest.approx(
        math.sqrt(AIR.density * AIR.speed**2 * port.area_m2**2 / 0.02 / mass) / (2.0 * math.pi), rel=1e-12
    )


def test_a_pipe_is_a_lump_low_down_and_resonates_at_half_waves() -> None:
    """Zeros of its impedance where its length with both ends is a whole number of half waves (textbook)."""
    pipe = Port(Opening("port"), 0.02, 0.30)
    lump = replace(pipe, resonant=False)
    low = np.array([5.0])
    assert pipe.bodies(low, AIR, 0.0)[0].impedance[0].imag == pytest.approx(
        lump.bodies(low, AIR, 0.0)[0].impedance[0].imag, rel=1e-3
    )
    assert pipe.bodies(low, AIR, 0.0)[0].emitted == pytest.approx(1.0, abs=1e-3)
    for half_waves in (1, 2, 3):
        expected = half_waves * AIR.speed / (2.0 * (0.30 + pipe.ends_m))
        found = brentq(
            lambda f: pipe.bodies(np.array([f]), AIR, 0.0)[0].impedance[0].imag,
            0.95 * expected,
            1.05 * expected,
        )
        assert found == pytest.approx(expected, rel=1e-3)


def test_what_enters_a_pipe_and_what_leaves_it() -> None:
    """1/(cos kL + j ζ sin kL), ζ the end's impedance re ρc/S (Kinsler, ch. 10; recalled), k complex for the
    walls."""
    pipe = Port(Opening("port"), 0.06, 0.15)
    frequencies = np.array([100.0, 490.0, 1000.0, 1500.0])
    real = 2.0 * math.pi * frequencies / AIR.speed
    ka = real * 0.03
    # The series of 1 − J₁(2ka)/ka.
    resistance = ka**2 / 2.0 - ka**4 / 12.0 + ka**6 / 144.0 - ka**8 / 2880.0
    wavenumber = real - 1j * 3e-5 * np.sqrt(frequencies) / 0.03
    end = resistance + 1j * ka * REFERENCE["pipe_ends"]["flanged"]
    expected = 1.0 / (np.cos(wavenumber * 0.15) + 1j * end * np.sin(wavenumber * 0.15))
    np.testing.assert_allclose(pipe.bodies(frequencies, AIR, 0.0)[0].emitted, expected, rtol=1e-4)


@pytest.mark.parametrize("diameter_m", [0.02, 0.05])
def test_walls_and_radiation_set_the_q_of_a_pipe(diameter_m: float) -> None:
    """1/Q = 2α/k + 2R/(kL) at its first half wave: energy over loss, R of ρc/S at its end (textbook).

    α = 3·10⁻⁵ √f/a (Fletcher & Rossing, recalled); R = (ka)²/2 (Kinsler, recalled). The masses of air at the
    ends store energy and lose none.
    """
    pipe = Port(Opening("port"), diameter_m, 0.5)
    frequencies = np.linspace(200.0, 400.0, 200_001)
    response = np.abs(1.0 / pipe.bodies(frequencies, AIR, 0.0)[0].impedance)
    peak = int(np.argmax(response))
    wide = frequencies[response > response[peak] / math.sqrt(2.0)]
    radius, whole = diameter_m / 2.0, 0.5 + pipe.ends_m
    wavenumber = 2.0 * math.pi * frequencies[peak] / AIR.speed
    walls = 2.0 * 3e-5 * math.sqrt(frequencies[peak]) / radius / wavenumber * 0.5 / whole
    radiation = (wavenumber * radius) ** 2 / (wavenumber * whole)
    assert (wide[-1] - wide[0]) / frequencies[peak] == pytest.approx(walls + radiation, rel=0.02)


def test_a_port_is_made_for_its_tuning_or_refused() -> None:
    port = Port.tuned(Opening("port"), 0.05, 45.0, 0.015, AIR)
    assert port.tuning_hz(0.015, AIR) == pytest.approx(45.0, rel=1e-12)
    with pytest.raises(ValueError, match=r"a port of 0.02 m can't tune 0.001 m³ to 300 Hz; make it wider"):
        Port.tuned(Opening("port"), 0.02, 300.0, 0.001, AIR)


def test_a_bending_cone_multiplies_what_the_piston_does() -> None:
    """Piston and mode are two masses under one force: 1 + (σ/μ) f²/(f² − f₀² − j f f₀/Q), from Newton's law.

    A coil of high resistance drives with a force that doesn't depend on the motion; a soft suspension leaves
    the cone free.
    """
    mode = Bending("edge", 4000.0, 12.0, 0.5, -0.2)
    unit = DriveUnit(Opening("woofer"), VoiceCoil(1e9), 5.0, 0.012, 1e-3, 0.0, 0.13, (mode,))
    box = Enclosure(Interior(10.0), (unit,))
    frequencies = np.array([500.0, 2000.0, 3900.0, 4000.0, 4100.0, 9000.0])
    ratio = (
        box.motion(frequencies, AIR).volume_velocity[0, 0]
        / box.without("edge").motion(frequencies, AIR).volume_velocity[0, 0]
    )
    expected = 1.0 - 0.4 * frequencies**2 / (frequencies**2 - 4000.0**2 - 1j * frequencies * 4000.0 / 12.0)
    np.testing.assert_allclose(ratio, expected, rtol=2e-3)
    assert np.abs(ratio[3]) == pytest.approx(abs(1.0 - 0.4j * 12.0), rel=2e-3)
