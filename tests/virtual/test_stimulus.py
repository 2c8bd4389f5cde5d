"""Air and stimulus against published values."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.fft

from earwitness.virtual.air import Air
from earwitness.virtual.stimulus import Sweep

REFERENCE: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "virtual_physics.toml").read_text(encoding="utf-8")
)


@pytest.mark.parametrize("row", REFERENCE["air"]["rows"], ids=lambda row: f"{row['temperature_c']}C")
def test_air(row: dict[str, Any]) -> None:
    air = Air(row["temperature_c"])
    assert air.speed == pytest.approx(row["speed"], abs=5e-5)
    assert air.density == pytest.approx(row["density"], abs=5e-6)


@pytest.mark.parametrize("row", REFERENCE["sweep"]["rows"], ids=lambda row: f"{row['wanted_s']}s")
def test_rates_and_leads_of_the_sweep(row: dict[str, Any]) -> None:
    sweep = Sweep(row["first_hz"], row["last_hz"], row["wanted_s"], 0.5, 48_000)
    assert sweep.rate_s == pytest.approx(row["rate_s"], abs=1e-9)
    assert sweep.duration_s == pytest.approx(row["duration_s"], abs=5e-7)
    np.testing.assert_allclose([sweep.lead_s(n) for n in range(2, 7)], row["leads_s"], atol=5e-7)


@pytest.mark.parametrize("order", [2, 3])
def test_harmonics_of_the_samples_lead_as_the_table_says(order: int) -> None:
    """A power of the sweep holds its harmonic, whose response comes earlier by the table's lead."""
    row, rate = REFERENCE["sweep"]["rows"][1], 96_000
    samples = Sweep(row["first_hz"], row["last_hz"], row["wanted_s"], 1.0, rate).samples()
    size = scipy.fft.next_fast_len(2 * len(samples))
    spectrum = scipy.fft.rfft(samples, size)
    bent = scipy.fft.rfft(samples**order, size)
    inside = np.abs(np.fft.rfftfreq(size, 1.0 / rate) - 9000.0) < 8000.0
    response = np.abs(scipy.fft.irfft(np.where(inside, bent / spectrum, 0.0), size))
    expected = row["leads_s"][order - 2]
    early = round((expected + 0.05) * rate)
    lead = early - int(np.argmax(response[size - early : size - early + round(0.1 * rate)]))
    assert lead / rate == pytest.approx(expected, abs=2.5 / rate)


def test_the_sweep_starts_and_ends_softly_and_keeps_its_peak() -> None:
    samples = Sweep(10.0, 22_000.0, 1.0, 0.5, 48_000).samples()
    assert samples[0] == 0.0
    assert samples[-1] == 0.0
    assert np.max(np.abs(samples)) == pytest.approx(0.5, rel=1e-4)


def test_a_sweep_without_a_whole_first_cycle_is_refused() -> None:
    with pytest.raises(ValueError, match="too short"):
        Sweep(10.0, 22_000.0, 0.1, 0.5, 48_000).samples()
