"""Curves through the whole floor: from responses of closed-form sources to levels in dB."""

from __future__ import annotations

import dataclasses

import closed_forms
import numpy as np
import pytest

from earwitness.derive.derivation import Derivation, derive
from earwitness.derive.directivity import directivity, take_powers
from earwitness.records.curves import CurveName as C
from earwitness.records.errors import CaseError, NotAvailableError
from earwitness.records.facts import CaseFacts, StatedUncertainty, Unit
from earwitness.records.figures import FigureName, NotAvailable
from earwitness.records.responses import Responses
from earwitness.records.takes import ON_AXIS, Direction, Drive, Orbit, Take, TakeId, TakeKey, TakeKind

FACTS = CaseFacts(Unit("Cobble"), uncertainty=StatedUncertainty(microphone_db=0.3, level_db=0.2))
#: Single precision of the responses.
PRECISION_DB = 2e-4

#: dB re on axis, computed with an independent program from the recalled method: default readings.
EXPECTED = {
    C.ON_AXIS: (0.0, 0.0),
    C.LISTENING_WINDOW: (-0.2168, -0.3519),
    C.FLOOR_REFLECTION: (-0.6368, -1.0144),
    C.CEILING_REFLECTION: (-1.7243, -2.6244),
    C.FRONT_REFLECTION: (-0.2608, -0.4224),
    C.SIDE_REFLECTION: (-2.5003, -3.5193),
    C.REAR_REFLECTION: (-7.7815, -7.7090),
    C.EARLY_REFLECTIONS: (-1.9293, -2.4266),
    C.TOTAL_HORIZONTAL_REFLECTIONS: (-2.5423, -2.9485),
    C.TOTAL_VERTICAL_REFLECTIONS: (-1.1466, -1.7452),
    C.SOUND_POWER: (-4.6796, -5.3198),
    C.ESTIMATED_IN_ROOM: (-2.6270, -3.0841),
}
INDICES = {C.SOUND_POWER_DI: (4.4628, 4.9678), C.EARLY_REFLECTIONS_DI: (1.7124, 2.0746)}


def derived(pattern: closed_forms.Pattern, **options: object) -> Derivation:
    return derive(closed_forms.responses(pattern, **options), FACTS)  # type: ignore[arg-type]


@pytest.mark.parametrize(("column", "pattern"), [(0, closed_forms.cardioid), (1, closed_forms.cap(5.0))])
def test_all_fourteen(column: int, pattern: closed_forms.Pattern) -> None:
    curves = derived(pattern).curves.curves
    assert set(curves) == set(C)
    for name, values in EXPECTED.items():
        np.testing.assert_allclose(curves[name].level_db, 86.0 + values[column], atol=PRECISION_DB)
    for name, values in INDICES.items():
        np.testing.assert_allclose(curves[name].level_db, values[column], atol=PRECISION_DB)
    assert len(curves[C.SOUND_POWER].takes) == 72
    assert len(curves[C.LISTENING_WINDOW].takes) == 10


def test_two_takes_swapped_are_noticed() -> None:
    plain = closed_forms.responses(closed_forms.cardioid)
    power = np.array(plain.pressure)
    labels = [t.key.direction for t in plain.takes]
    one, other = (labels.index(Direction(Orbit.HORIZONTAL, a)) for a in (50.0, 120.0))
    power[[one, other]] = power[[other, one]]
    swapped = derive(dataclasses.replace(plain, pressure=power), FACTS).curves.curves
    for name in (C.SIDE_REFLECTION, C.EARLY_REFLECTIONS, C.SOUND_POWER, C.ESTIMATED_IN_ROOM):
        difference = swapped[name].level_db - 86.0 - EXPECTED[name][0]
        assert np.abs(difference).min() > 10 * PRECISION_DB


@pytest.mark.parametrize("volts", [1.0, 2.83, 9.0])
def test_a_passive_loudspeaker_is_referred_to_its_voltage_once(volts: float) -> None:
    # Responses are Pa per volt: whatever the drive was, 86 dB belong to 2.83 V.
    scaled = closed_forms.responses(closed_forms.omni, drive=Drive(volts, "V"))
    per_volt = dataclasses.replace(scaled, pressure=scaled.pressure)
    result = derive(per_volt, FACTS).curves
    assert result.drive == "2.83 V"
    np.testing.assert_allclose(result.curves[C.ON_AXIS].level_db, 86.0, atol=PRECISION_DB)


def test_an_active_loudspeaker_keeps_its_drive_and_has_no_sensitivity() -> None:
    active = CaseFacts(Unit("Cobble", active=True))
    result = derive(closed_forms.responses(closed_forms.omni, drive=Drive(-20.0, "dBFS")), active)
    assert result.curves.drive == "−20 dBFS"
    np.testing.assert_allclose(result.curves.curves[C.ON_AXIS].level_db, 86.0, atol=PRECISION_DB)
    value = next(f.value for f in result.figures if f.name is FigureName.SENSITIVITY)
    assert value == NotAvailable("not applicable to an active loudspeaker")


@pytest.mark.parametrize(("active", "drive"), [(True, Drive(1.0, "V")), (False, Drive(-20.0, "dBFS"))])
def test_a_drive_that_contradicts_the_unit_is_refused(active: bool, drive: Drive) -> None:
    responses = closed_forms.responses(closed_forms.omni, directions=(ON_AXIS,), drive=drive)
    with pytest.raises(CaseError) as refused:
        derive(responses, CaseFacts(Unit("Cobble", active=active)))
    line = str(refused.value)
    assert line.startswith(f"case.toml, unit.active: is {str(active).lower()}, but take horizontal")
    assert drive.label in line
    assert f"set unit.active = {str(not active).lower()}" in line
    assert "\n" not in line


def test_repeats_are_averaged_before_the_orbits_meet() -> None:
    plain = closed_forms.responses(closed_forms.omni)
    index = next(i for i, t in enumerate(plain.takes) if t.key.direction == ON_AXIS)
    first = plain.takes[index]
    again = Take("again.wav", dataclasses.replace(first.key, repeat=2))
    third = Take("third.wav", dataclasses.replace(first.key, repeat=3))
    more = with_more_takes(plain, index, (again, third), (1.1, 1.2))
    field = directivity(take_powers(more))
    # Power 1, 1.21, 1.44 on the horizontal orbit and 1 on the vertical one: (3.65/3 + 1)/2.
    row = field.directions.index(ON_AXIS)
    rise_db = 10 * np.log10(field.power[row] / field.power[row + 1])
    np.testing.assert_allclose(rise_db, 10 * np.log10((3.65 / 3 + 1) / 2), atol=PRECISION_DB)
    assert set(field.takes[row]) >= {TakeId("again.wav"), TakeId("third.wav")}
    meeting = derive(more, FACTS).curves.meeting_difference_db
    np.testing.assert_allclose(meeting["on_axis"], 10 * np.log10(3.65 / 3), atol=PRECISION_DB)
    np.testing.assert_allclose(meeting["behind"], 0.0, atol=PRECISION_DB)


def with_more_takes(
    plain: Responses, index: int, takes: tuple[Take, ...], factors: tuple[float, ...]
) -> Responses:
    count = len(takes)

    def longer(values: np.ndarray) -> np.ndarray:
        return np.concatenate((values, np.repeat(values[index : index + 1], count, axis=0)))

    extra = np.array(factors, dtype=np.complex64)[:, None] * plain.pressure[index]
    return dataclasses.replace(
        plain,
        takes=plain.takes + takes,
        pressure=np.concatenate((plain.pressure, extra)),
        valid=longer(plain.valid),
        origin=longer(plain.origin),
        has_phase=longer(plain.has_phase),
        seen_angle_deg=longer(plain.seen_angle_deg),
        impulse_response=longer(plain.impulse_response),
        sample_rate_hz=longer(plain.sample_rate_hz),
        gate_s=longer(plain.gate_s),
        near_field_takes=plain.near_field_takes + ((),) * count,
    )


def test_a_curve_that_lacks_directions_lists_them() -> None:
    horizontal = tuple(d for d in closed_forms.orbits() if d.orbit is Orbit.HORIZONTAL)
    curves = derived(closed_forms.cardioid, directions=horizontal).curves.curves
    window = curves[C.LISTENING_WINDOW]
    assert window.missing == (Direction(Orbit.VERTICAL, -10.0), Direction(Orbit.VERTICAL, 10.0))
    assert not window.available
    assert np.isnan(window.level_db).all()
    assert curves[C.SOUND_POWER_DI].missing
    np.testing.assert_allclose(curves[C.SIDE_REFLECTION].level_db, 86 - 2.5003, atol=PRECISION_DB)


def test_on_axis_alone_is_enough_for_on_axis() -> None:
    result = derived(closed_forms.cardioid, directions=(ON_AXIS,))
    available = {name for name, curve in result.curves.curves.items() if curve.available}
    assert available == {C.ON_AXIS}
    figures = {f.name: f for f in result.figures}
    assert figures[FigureName.SENSITIVITY].available
    coverage = figures[FigureName.COVERAGE_HORIZONTAL].value
    assert isinstance(coverage, NotAvailable)
    assert len(coverage.missing) == 35
    tilt = figures[FigureName.IN_ROOM_TILT].value
    assert isinstance(tilt, NotAvailable)
    assert len(tilt.missing) == 69


def test_no_axis_at_all_is_answered_without_a_number() -> None:
    result = derived(closed_forms.cardioid, directions=(Direction(Orbit.VERTICAL, 40.0),))
    assert not any(curve.available for curve in result.curves.curves.values())
    assert not any(f.available for f in result.figures)


def test_no_drive_is_refused() -> None:
    plain = closed_forms.responses(closed_forms.omni, directions=(ON_AXIS,))
    take = Take("x.txt", TakeKey(TakeKind.RESPONSE, ON_AXIS))
    with pytest.raises(NotAvailableError, match="drive"):
        derive(dataclasses.replace(plain, takes=(take,)), FACTS)


def test_nothing_outside_validity_becomes_a_number() -> None:
    result = derived(closed_forms.cardioid, valid_from_hz=480.0)
    low = closed_forms.GRID < 480.0
    for curve in result.curves.curves.values():
        assert np.isnan(curve.level_db[low]).all()
        assert np.isnan(curve.uncertainty_db[low]).all()
        assert not curve.valid[low].any()
        assert np.isfinite(curve.level_db[~low]).all()
    assert result.curves.separable_sound_power_db is not None
    assert np.isnan(result.curves.separable_sound_power_db[low]).all()
    for chart in result.curves.coverage.values():
        assert np.isnan(chart.relative_db[:, low]).all()
        assert np.isnan(chart.positive_deg[low]).all()


def test_of_several_drives_the_fullest_is_taken() -> None:
    plain = closed_forms.responses(closed_forms.omni)
    loud = Take("loud.wav", TakeKey(TakeKind.SWEEP, ON_AXIS, Drive(9.0, "V")))
    more = with_more_takes(plain, 0, (loud,), (5.0,))
    assert TakeId("loud.wav") not in derive(more, FACTS).curves.curves[C.ON_AXIS].takes
