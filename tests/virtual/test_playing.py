"""What is played at large signal: its limits, its harmonics, its heat."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
import scipy.fft
from virtual.large_rig import AIR, boxed, unit

from earwitness.virtual.arrays import Floats
from earwitness.virtual.electronics import PLAIN
from earwitness.virtual.heating import Heating
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.playing import Player
from earwitness.virtual.radiator import Cap, SphericalCabinet
from earwitness.virtual.scenario import FOLDER, from_text
from earwitness.virtual.stimulus import Sweep
from earwitness.virtual.tones import ORDERS, Tones
from earwitness.virtual.voice_coil import VoiceCoil

RATE = 48_000
SHAPES = "force_half_m = 0.006, force_offset_m = 0.0003, stiffness_double_m = 0.005"
LARGE = f"damping = 0.85\nlarge_signal = {{ {SHAPES} }}"


def padded(samples: Floats, count: int) -> Floats:
    return np.concatenate([samples, np.zeros(count - len(samples))])


def demo_made_large(drive_v: float) -> str:
    text = (FOLDER / "cobble_two.toml").read_text(encoding="utf-8").replace("damping = 0.85", LARGE)
    return text + f"\n[levels]\ndrives_v = [{drive_v}]\n"


def test_small_signals_are_recorded_as_those_of_the_linear_loudspeaker() -> None:
    """Within 0.01 dB from 20 Hz to 20 kHz, a sweep of 10 mV, before noise is added."""
    session = from_text("demo", demo_made_large(0.01)).session
    assert session.player is not None
    sweep = replace(session.sweep, wanted_s=1.0)
    (name,) = (take.name for take in session.levels)
    ((_, large),) = session.recordings([name], sweep)
    linear = session.played(session.levels[0], session.impulse_responses([name])[name], sweep)
    # Both have the same noise: it drops out of their difference.
    played = 0.01 * np.sqrt(2.0) / sweep.peak * padded(sweep.samples(), len(large))
    frequencies = scipy.fft.rfftfreq(len(large), 1.0 / RATE)
    heard = (frequencies >= 20.0) & (frequencies <= 20_000.0)
    background = session.played(session.levels[0], np.zeros(session.workshop.chain.response_samples), sweep)
    expected = scipy.fft.rfft(linear - background)[heard]
    error = scipy.fft.rfft(large - linear)[heard]
    assert np.max(np.abs(played)) > 0.0
    assert np.max(np.abs(error) / np.abs(expected)) < 10.0 ** (0.01 / 20.0) - 1.0


@pytest.mark.parametrize(
    "coil", [None, VoiceCoil(5.6, 0.0, 0.022, 0.0015)], ids=["inductance", "semi-inductance"]
)
def test_the_sweeps_harmonics_are_those_of_steady_tones(coil: VoiceCoil | None) -> None:
    """Two computations: all bins of a record, and each tone at its harmonics. Novak et al. 2015 between them.

    In a small ball whose one radiator is a point, pressure is the volume velocity's derivative.
    """
    source = boxed(unit(coil=coil))
    sweep = Sweep(10.0, 8000.0, 5.0, 1.0, RATE)
    count = 2**18 + 2**15
    player = Player(source, AIR, RATE)
    whole = padded(sweep.samples(), player.period_samples(count))
    drive = 8.0
    played = player.play(drive * np.sqrt(2.0) * whole)
    quotient = played.volume_velocity[0] / scipy.fft.rfft(whole)
    bins = scipy.fft.rfftfreq(len(whole), 1.0 / RATE)
    quotient[(bins < 10.5) | (bins > 7600.0)] = 0.0
    response = scipy.fft.irfft(quotient, len(whole))
    tones = np.array([40.0, 63.0, 100.0, 160.0])
    cabinet = SphericalCabinet(0.14, (Cap(0.11, 0.0),))
    asked = Tones(Loudspeaker(source, cabinet), PLAIN, AIR, tones, np.array([[2.0, 0.0, 0.0]]))
    (pressure,) = asked.pressures(asked.volume_velocities([drive]))
    half = round(0.09 * RATE)
    window = np.hanning(2 * half)
    for place, order in enumerate(ORDERS[:4]):
        at = round(-sweep.lead_s(order) * RATE)
        stretch = response[np.arange(at - half, at + half) % len(response)] * window
        spectrum = scipy.fft.rfft(stretch, 2**16)
        # A peak of 1 in gives a peak out: √2 times its RMS.
        found = np.sqrt(0.5) * np.interp(
            order * tones, scipy.fft.rfftfreq(2**16, 1.0 / RATE), np.abs(spectrum)
        )
        heard = cabinet.transfer(asked.points, order * tones, AIR)[0, 0]
        expected = np.abs(pressure[place] / heard)
        difference = 20.0 * np.log10(found / expected)
        assert np.max(np.abs(difference)) < 0.3, (order, difference)


@pytest.mark.parametrize("ohms", [(5.6, 0.0), (5.6, 0.0005)], ids=["resistor", "coil"])
def test_a_warm_coil_is_quieter_by_its_share_of_the_impedance(ohms: tuple[float, float]) -> None:
    """20 lg|Z/(Z + ΔR)|, Z at the terminals when cold; 100 K of copper at most 2.879 dB (FACTS: 1.3930)."""
    driver = replace(unit(coil=VoiceCoil(*ohms)), heating=Heating(4.0, 1e5, 3.0, 1e6))
    player = Player(boxed(driver), AIR, RATE)
    impulse = np.zeros(player.period_samples(2**15))
    impulse[1000] = 0.5
    cold, warm = player.play(impulse), player.play(impulse, [(80.0, 20.0)])
    bins = scipy.fft.rfftfreq(len(impulse), 1.0 / RATE)
    places = np.searchsorted(bins, [25.0, 60.0, 90.0, 200.0, 1000.0, 5000.0])
    frequencies = bins[places]
    loss = 20.0 * np.log10(np.abs(warm.volume_velocity[0] / cold.volume_velocity[0])[places])
    impedance = player.source.impedance(frequencies, AIR)
    expected = 20.0 * np.log10(np.abs(impedance / (impedance + 5.6 * 0.393)))
    assert loss == pytest.approx(expected, abs=2e-3)
    assert np.min(loss) >= -2.8790


def test_heat_and_resistance_go_with_each_other_while_it_plays() -> None:
    """Energy: the rise is R_th·(1 − e^(−t/τ)) of a steady tone's own power at that resistance, to 1 %."""
    heating = Heating(6.0, 0.8, 3.0, 600.0)
    player = Player(boxed(replace(unit(), heating=heating)), AIR, RATE)
    count = player.period_samples(2**17)
    rate = count / RATE
    cycles = round(500.0 * rate)
    played = player.play(20.0 * np.sin(2.0 * np.pi * cycles * np.arange(count) / count))
    ohms = 5.6 * (1.0 + 0.00393 * played.kelvins[0])
    watts = ohms * played.current[0] ** 2
    step = 1.0 / (2.0 * RATE)
    weight = np.exp(-(rate - step * np.arange(2 * count)) / 0.8)
    expected = 6.0 / 0.8 * np.sum(watts * weight) * step
    assert played.rises[0][0] > 50.0
    assert played.rises[0][0] == pytest.approx(expected, rel=2e-3)
    assert np.max(np.abs(played.current[0][-9600:])) < 0.9 * np.max(np.abs(played.current[0][9600:19200]))


@pytest.mark.alone
def test_a_sweep_of_2_18_samples_takes_less_than_two_seconds() -> None:
    """At 15 V RMS, 7 mm, where Bl has fallen to a half: processor time of one core."""
    player = Player(boxed(unit()), AIR, RATE)
    sweep = padded(Sweep(10.0, 22_000.0, 5.0, 1.0, RATE).samples(), 2**18)
    assert player.period_samples(2**18) == 2**18
    start = time.process_time()
    played = player.play(15.0 * np.sqrt(2.0) * sweep)
    assert time.process_time() - start < 2.0
    assert np.max(np.abs(played.displacement)) > 0.006
