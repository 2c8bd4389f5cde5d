from __future__ import annotations

import numpy as np
import pytest

from earwitness.measurement.given import on_grid
from earwitness.measurement.readers.contents import LevelUnit, MeasuredResponse

F = np.geomspace(20.0, 20_000.0, 500)


def rows(frequency: np.ndarray[tuple[int], np.dtype[np.float64]], delay_s: float = 0.0) -> MeasuredResponse:
    phase = -360.0 * frequency * delay_s + 20.0 * np.sin(np.log(frequency))
    return MeasuredResponse(
        frequency, 90.0 - 3.0 * np.log2(frequency / 1_000.0), (phase + 180.0) % 360.0 - 180.0
    )


def test_level_is_referred_to_one_metre_and_one_volt() -> None:
    found = on_grid(rows(np.geomspace(50.0, 15_000.0, 200)), F, 2.0, 2.83)
    level = 20.0 * np.log10(np.abs(found.pressure) * 2.83 / 20e-6)
    inside = (F >= 50.0) & (F <= 15_000.0)
    assert np.array_equal(found.valid, inside)
    # a line over log f stays a line; twice the distance is 6.0206 dB (FACTS §2)
    assert level[inside] == pytest.approx(90.0 - 3.0 * np.log2(F[inside] / 1_000.0) + 6.0206, abs=1e-3)


def test_wide_gaps_are_not_bridged() -> None:
    found = on_grid(
        rows(np.r_[np.geomspace(50.0, 200.0, 40), np.geomspace(400.0, 15_000.0, 200)]), F, 1.0, 1.0
    )
    assert not found.valid[(F > 200.0) & (F < 400.0)].any()
    assert found.valid[(F > 60.0) & (F < 200.0)].all()
    assert found.valid[(F > 401.0) & (F < 15_000.0)].all()


def test_phase_without_its_delay() -> None:
    found = on_grid(rows(np.geomspace(20.0, 20_000.0, 3_000), delay_s=5e-4), F, 1.0, 1.0)
    assert found.has_phase
    expected = np.deg2rad(20.0 * np.sin(np.log(F)))
    turn = np.unwrap(np.angle(found.pressure * np.exp(-1j * expected)))
    # the 0.5 ms are gone but for what a line takes of the phase itself, and nothing else is changed
    slope, constant = np.polyfit(F, turn, 1)
    assert abs(slope) / (2.0 * np.pi) < 0.02 * 5e-4
    assert turn == pytest.approx(slope * F + constant, abs=1e-3)


def test_phase_that_turns_too_fast_is_no_phase() -> None:
    found = on_grid(rows(np.geomspace(20.0, 20_000.0, 200), delay_s=5e-3), F, 1.0, 1.0)
    assert not found.has_phase
    assert np.all(found.pressure.imag == 0.0)


def test_no_phase() -> None:
    response = rows(np.geomspace(20.0, 20_000.0, 200))
    assert not on_grid(
        MeasuredResponse(response.frequency_hz, response.level_db, None), F, 1.0, 1.0
    ).has_phase


@pytest.mark.parametrize(
    ("unit", "level_db"),
    [
        (LevelUnit.DB, 90.0),
        (LevelUnit.SPL, 90.0),
        # 1 Pa is 93.9794 dB re 20 µPa (FACTS §2), and 2.83 V are 9.0357 dB re 1 V: 20 lg 2.83, by hand
        (LevelUnit.PASCAL, 90.0 - 93.9794),
        (LevelUnit.PASCAL_PER_DRIVE, 90.0 - 93.9794 - 9.0357),
    ],
)
def test_one_pressure_in_every_unit(unit: LevelUnit, level_db: float) -> None:
    rows_hz = np.geomspace(20.0, 20_000.0, 100)
    response = MeasuredResponse(rows_hz, np.full(rows_hz.size, level_db), None, unit)
    found = on_grid(response, F, 1.0, 2.83)
    # 90 dB re 20 µPa are .632456 Pa; a volt's worth is .223483 Pa
    assert np.abs(found.pressure) == pytest.approx(np.full(F.size, 0.223483), rel=1e-4)
