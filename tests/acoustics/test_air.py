from __future__ import annotations

import pytest

from earwitness.acoustics.air import speed_of_sound_m_s


# FACTS §14 (computed from 331.3·√(1 + t/273.15))
@pytest.mark.parametrize(
    ("temperature_c", "speed"), [(0.0, 331.3), (10.0, 337.3099), (20.0, 343.2146), (25.0, 346.1292)]
)
def test_speed_of_sound(temperature_c: float, speed: float) -> None:
    assert speed_of_sound_m_s(temperature_c) == pytest.approx(speed, abs=5e-5)


def test_speed_where_no_temperature_is_stated() -> None:
    assert speed_of_sound_m_s(None) == 343.2
