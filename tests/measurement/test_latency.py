"""Latency against delays that are known: made-up responses, and a loudspeaker of the virtual workshop."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.latency import IMPOSSIBLE, NO_WAY, latency
from earwitness.records.facts import Rig
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeId, TakeKey, TakeKind
from earwitness.virtual.files import STIMULUS
from earwitness.virtual.scenario import FOLDER, RIGS, from_text

RATE = 48_000
#: 331.3·√(1 + 20/273.15) = 343.21 m/s: 2 m take 5.8273 ms.
RIG = Rig(distance_m=2.0, temperature_c=20.0)
FLIGHT_S = 2.0 / 343.2146


def response(arrives_s: float, start_s: float = 0.002) -> ImpulseResponse:
    """A short sound that arrives then: a band-limited pulse between samples."""
    time = start_s + np.arange(4096) / RATE
    samples = np.sinc(0.8 * RATE * (time - arrives_s)).astype(np.float32)
    return ImpulseResponse(samples, RATE, start_s, np.zeros(8, np.float32), (20.0, 20_000.0))


def take(repeat: int, wired: bool = True) -> Take:
    key = TakeKey(TakeKind.SWEEP, Direction(Orbit.HORIZONTAL, 0.0), Drive(-20.0, "dBu"), repeat=repeat)
    return Take(f"{repeat}.wav", key, read=(("loopback", 2),) if wired else ())


def test_what_is_late_beyond_the_way() -> None:
    takes = [take(1), take(2)]
    found = latency(
        RIG,
        takes,
        {TakeId("1.wav"): response(FLIGHT_S + 3.2e-3), TakeId("2.wav"): response(FLIGHT_S + 3.3e-3)},
    )
    assert found.latency_s == pytest.approx(3.25e-3, abs=5e-6)
    # two takes 0.1 ms apart: a standard deviation of 0.0707 ms, of their mean 0.05 ms
    assert found.scatter_s == pytest.approx(5e-5, abs=5e-6)
    assert found.flight_s == pytest.approx(5.8273e-3, abs=1e-6)
    alone = latency(RIG, takes[:1], {TakeId("1.wav"): response(FLIGHT_S + 0.0203)})
    assert alone.latency_s == pytest.approx(0.0203, abs=5e-6)
    assert alone.scatter_s is None


def test_what_cannot_be_told_says_why() -> None:
    heard = {TakeId("1.wav"): response(FLIGHT_S + 3.2e-3)}
    without = latency(RIG, [take(1, wired=False)], heard)
    assert (without.latency_s, without.missing) == (None, "not determined: no loopback")
    assert latency(replace(RIG, temperature_c=None), [take(1)], heard).missing == NO_WAY
    assert latency(replace(RIG, distance_m=4.0), [take(1)], heard).missing == IMPOSSIBLE


def test_a_signal_processor_s_delay_in_the_workshop(tmp_path: Path) -> None:
    """Anvil with both ways 2.7 ms later: its tweeter 2.9 ms; the converter has 12 ms of its own."""
    text = (FOLDER / "anvil.toml").read_text(encoding="utf-8")
    assert text.count("delay_s = 0.0002") == 1
    text = text.replace("\ndelay_s = 0.0002", "\ndelay_s = 0.0029")
    text = text.replace('drivers = ["woofer"]\n', 'drivers = ["woofer"]\ndelay_s = 0.0027\n')
    rig = (RIGS / "hall.toml").read_text(encoding="utf-8")
    rig = rig.replace("latency_s = 0.0041", "latency_s = 0.012\nloopback = 0.5")
    scenario = from_text("anvil", text, rig)
    turn = next(t for t in scenario.session.turns if t.angle_deg == 0)
    scenario.record(tmp_path, only=[STIMULUS, turn.name], sweep_s=1.5)
    stimulus = Take(STIMULUS, TakeKey(TakeKind.STIMULUS))
    recorded = replace(take(1), path=turn.name, stimulus=STIMULUS)
    heard = {one.id: found for one, found in deconvolve(tmp_path, [stimulus, recorded])}
    found = latency(RIG, [recorded], heard)
    # a dome's own phase is worth some 25 µs
    assert found.latency_s == pytest.approx(0.0029, abs=5e-5)
