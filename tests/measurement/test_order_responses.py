"""Orders on their way from recordings: what is kept is what was found, and calibrated by nothing yet."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile
from made_harmonics import PolynomialLoudspeaker
from made_recordings import PEAK, RATE, Bench

from earwitness.acoustics.sweeps import sweep_rate_s
from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind

POLYNOMIAL = {1: 0.1, 2: 0.002, 3: 0.001}


def test_orders_are_kept_beside_the_response(tmp_path: Path) -> None:
    """0.1·x + 0.002·x² + 0.001·x³ of x = cos φ: orders 0.10075, 0.001 and 0.00025 (power identities)."""
    bench = Bench(tmp_path, sweep_s=3.0)
    stimulus = bench.stimulus()
    rate_s = sweep_rate_s(15.0, 22_000.0, 3.0)
    recording = PolynomialLoudspeaker(POLYNOMIAL).recorded(
        15.0, rate_s, rate_s * np.log(22_000.0 / 15.0), 1.0, silence=(0.005, 0.5)
    )
    soundfile.write(tmp_path / "on.wav", recording, RATE, subtype="FLOAT")
    drive = Drive(2.0)
    takes = [
        Take(name, TakeKey(TakeKind.SWEEP, Direction(Orbit.HORIZONTAL, angle), drive), stimulus=stimulus)
        for name, angle in (("on.wav", 0.0), ("off.wav", 10.0))
    ]
    (tmp_path / "off.wav").write_bytes((tmp_path / "on.wav").read_bytes())
    found = {take.path: response for take, response in deconvolve(tmp_path, takes)}
    assert found["off.wav"].orders is None
    told = found["on.wav"].orders
    assert told is not None
    grid = told.orders.frequency_hz
    some = (grid > 60.0) & (grid < 5_000.0)
    for order, amplitude in ((1, 0.10075), (2, 0.001), (3, 0.00025)):
        rms = np.abs(told.orders.amplitude[order - 1, some])
        assert np.allclose(rms, amplitude / np.sqrt(2.0), rtol=0.012, atol=0)
        assert np.allclose(np.abs(told.linear[order - 1, some]), 0.10075 / np.sqrt(2.0), rtol=0.012, atol=0)
    assert PEAK == 0.5
    again = ImpulseResponse.from_bytes(found["on.wav"].to_bytes()).orders
    assert again is not None
    assert np.array_equal(again.orders.amplitude, told.orders.amplitude)
    assert np.array_equal(again.linear, told.linear)
    assert np.array_equal(again.orders.valid, told.orders.valid)
    assert np.allclose(again.orders.noise_power, told.orders.noise_power, rtol=1e-6, atol=0, equal_nan=True)
