"""What the air absorbs, against published values."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from earwitness.virtual.air import Air

REFERENCE: dict[str, Any] = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "virtual_rig.toml").read_text(encoding="utf-8")
)


@pytest.mark.parametrize("row", REFERENCE["absorption"]["rows"], ids=lambda row: f"{row['frequency_hz']}Hz")
def test_the_air_absorbs_what_the_standard_says(row: dict[str, Any]) -> None:
    air = Air(row["temperature_c"], row["humidity_percent"])
    found = air.absorption_db(np.array([float(row["frequency_hz"])]))[0]
    assert found == pytest.approx(row["db_per_m"], abs=1e-6)


def test_air_without_a_humidity_absorbs_nothing() -> None:
    assert not Air(20.0).absorption_db(np.array([20_000.0])).any()
