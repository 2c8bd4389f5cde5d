"""Reduction of tiny made-up recordings, where the truth is a filter's closed form."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from arriving import arrived
from made_recordings import FULL_SCALE_PA, SPEED, Bench, true_level_db

from earwitness.measurement.cut_off import cut_off_db
from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.geometry import Turntable
from earwitness.measurement.recognise import recognise
from earwitness.measurement.reduction import reduce
from earwitness.records.errors import CallError, CaseError, NotAvailableError
from earwitness.records.facts import CaseFacts, Radiator, Rig, Sphere, Unit
from earwitness.records.responses import Origin, Responses
from earwitness.records.takes import Drive, Take
from earwitness.records.uncertainty import ComponentName

RIG = Rig(distance_m=2.0, rotation_behind_m=0.1, pa_per_full_scale=FULL_SCALE_PA)
ECHO_S = 5e-3
ANGLES = (-90, -60, -30, 0, 30, 60, 90, 180)


def facts(rig: Rig = RIG, unit: Unit | None = None) -> CaseFacts:
    return CaseFacts(unit=unit or Unit(name="made up"), rig=rig)


def takes(folder: Path, drive: Drive | None = None) -> list[Take]:
    found = recognise(arrived(*(p.name for p in folder.iterdir())), drive=drive)
    assert not [r.doubts for r in found if r.doubts]
    return [r.take for r in found if r.take is not None]


def reduced(folder: Path, case: CaseFacts) -> Responses:
    all_takes = takes(folder)
    return reduce(case, all_takes, {t.id: r for t, r in deconvolve(folder, all_takes)}, folder)


def level_db(responses: Responses) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return np.asarray(20.0 * np.log10(np.abs(responses.pressure) * 2.83 / 20e-6))


@pytest.fixture(scope="module")
def turned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One orbit with an echo, on a turntable that turns 0.1 m behind the reference point."""
    bench = Bench(tmp_path_factory.mktemp("turned"))
    bench.stimulus()
    distances = Turntable(2.0, 0.1).distances_m(ANGLES)
    for angle, distance in zip(ANGLES, distances, strict=True):
        bench.recording(f"horizontal_{angle:+04d}_2.83V.wav", float(distance), echo_s=ECHO_S)
    return bench.folder


def test_gated_level_at_one_metre(turned: Path) -> None:
    found = reduced(turned, facts())
    # the first reflection is found; the level holds in every direction, whatever its distance
    assert any("first reflection" in note for note in found.notes)
    assert ECHO_S - 4e-4 < found.gate_s[0] < ECHO_S
    error = np.abs(level_db(found) - true_level_db(found.frequency_hz))
    # DEFINITIONS: 0.1 dB from 3.3/T, 0.3 dB from 2/T
    assert np.nanmax(error[:, found.frequency_hz >= 3.3 / found.gate_s[0]]) < 0.1
    assert np.nanmax(error) < 0.3
    assert found.valid.any(axis=-1).all()


def test_valid_band(turned: Path) -> None:
    found = reduced(turned, facts(dataclasses.replace(RIG, gate_s=4e-3)))
    f = found.frequency_hz
    # DEFINITIONS: valid from 2/T (0.3 dB)
    assert found.gate_s == pytest.approx([4e-3] * len(ANGLES))
    assert found.valid_from_hz == pytest.approx(500.0, rel=0.01)
    assert not found.valid[:, f < 500.0].any()
    assert found.valid[:, (f > 504.0) & (f < 19_000.0)].all()
    assert np.isnan(found.pressure[~found.valid]).all()
    assert np.all(found.origin[found.valid] == Origin.GATED)
    assert np.all(found.origin[~found.valid] == Origin.NOTHING)
    assert any("near field" in note for note in found.notes)


def test_gate_component_is_the_change_to_a_shorter_gate(turned: Path) -> None:
    found = reduced(turned, facts(dataclasses.replace(RIG, gate_s=4e-3)))
    shorter = reduced(turned, facts(dataclasses.replace(RIG, gate_s=0.7 * 4e-3)))
    change = level_db(shorter) - level_db(found)
    # root mean square over a third of an octave: 33 points of the grid, where all of them are valid
    rows, points = np.nonzero(shorter.valid)
    inside = (points > np.argmax(shorter.valid[0]) + 16) & (found.frequency_hz[points] < 15_000.0)
    rows, points = rows[inside][::50], points[inside][::50]
    expected = [np.sqrt(np.mean(change[r, p - 16 : p + 17] ** 2)) for r, p in zip(rows, points, strict=True)]
    # or what the gate does to the usual roll-offs, where that is more (`test_roll_off`)
    usual = cut_off_db(np.asarray(found.frequency_hz, dtype=np.float64), 4e-3, None)[points]
    assert 0.2 < np.mean(usual < expected) < 1.0
    expected = list(np.maximum(expected, usual))
    component = found.components[ComponentName.GATE][rows, points]
    # levels in single precision are rounded at 10⁻⁵ dB
    assert component == pytest.approx(np.array(expected), rel=0.01, abs=1e-4)
    assert component.max() > 0.01


def test_geometry_gate(turned: Path) -> None:
    rig = dataclasses.replace(RIG, height_m=1.0, microphone_height_m=1.0)
    found = reduced(turned, facts(rig))
    # FACTS §8: 1 m, 1 m, 2 m: 2.4138 ms on axis; behind, at 2.2 m, √(4.84 + 4) − 2.2 = 0.7732 m, 2.2529 ms
    assert found.gate_s == pytest.approx([2.2529e-3 - 2.5e-4] * len(ANGLES), rel=2e-4)
    assert any("floor" in note for note in found.notes)


def test_a_reflection_before_the_floors_ends_the_gate_and_is_pointed_out(turned: Path) -> None:
    # FACTS §8: 1.5 m, 1.5 m, 1 m: 6.3003 ms, where an echo comes after 5 ms; at 2 m √(4 + 9) − 2 = 4.678 ms
    high = reduced(turned, facts(dataclasses.replace(RIG, height_m=3.0, microphone_height_m=3.0)))
    assert ECHO_S - 4e-4 < high.gate_s[0] < ECHO_S
    assert any("before the floor's is due" in note for note in high.notes)
    agreed = reduced(turned, facts(dataclasses.replace(RIG, height_m=1.56, microphone_height_m=1.56)))
    assert not any("heights" in note for note in agreed.notes)
    low = reduced(turned, facts(dataclasses.replace(RIG, height_m=1.0, microphone_height_m=1.0)))
    # that of the floor at 2.4 ms isn't there
    assert any("but one later" in note for note in low.notes)


def test_a_gate_of_cycles_is_short_where_they_are(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.stimulus()
    bench.recording("horizontal_+000_2.83V.wav", 2.0, echo_s=2e-3, echo=0.3)
    rig = dataclasses.replace(RIG, gate_s=0.02)
    whole, short = (reduced(tmp_path, facts(r)) for r in (rig, dataclasses.replace(rig, gate_cycles=6.0)))
    f = whole.frequency_hz
    error = [np.abs(level_db(found) - true_level_db(f))[0] for found in (whole, short)]
    # an echo of 0.3 makes a comb of 20·lg 1.3 and 0.7; six cycles end before it from 3 kHz on
    high = (f > 3_600.0) & (f < 15_000.0)
    assert error[0][high].max() == pytest.approx(20.0 * np.log10(1.0 / 0.7), rel=0.02)
    assert error[1][high].max() < 0.1
    # 20 ms hold six cycles of 300 Hz: below, the gate is the same
    low = whole.valid[0] & (f < 299.0)
    assert np.array_equal(whole.pressure[0, low], short.pressure[0, low])
    assert short.valid_from_hz == whole.valid_from_hz == pytest.approx(100.0, rel=0.01)
    assert any("cycles" in note for note in short.notes)


def test_on_the_ground_pressure_is_doubled(turned: Path) -> None:
    up = reduced(turned, facts(dataclasses.replace(RIG, gate_s=4e-3)))
    down = reduced(turned, facts(dataclasses.replace(RIG, gate_s=4e-3, ground_plane=True)))
    assert level_db(up)[up.valid] - level_db(down)[up.valid] == pytest.approx(20.0 * np.log10(2.0), abs=1e-4)
    assert np.abs(down.impulse_response).max() == pytest.approx(0.5 * np.abs(up.impulse_response).max())
    # heights don't make a gate there, and a microphone on the ground has none
    flat = reduced(turned, facts(dataclasses.replace(RIG, height_m=0.1, ground_plane=True)))
    assert ECHO_S - 4e-4 < flat.gate_s[0] < ECHO_S
    with pytest.raises(CaseError, match="doesn't lie on the ground"):
        reduced(turned, facts(dataclasses.replace(RIG, microphone_height_m=1.0, ground_plane=True)))


def test_a_gate_of_nothing_is_refused(turned: Path) -> None:
    rig = dataclasses.replace(RIG, height_m=0.2, microphone_height_m=0.2)
    with pytest.raises(NotAvailableError, match="too short"):
        reduced(turned, facts(rig))


def test_a_stated_gate_longer_than_what_was_kept_says_so(turned: Path) -> None:
    found = reduced(turned, facts(dataclasses.replace(RIG, gate_s=5.0)))
    # 2^14 samples at 48 kHz are 0.341 s
    assert found.gate_s[0] < 0.341
    assert any("longer than what was kept" in note for note in found.notes)


def test_rotation_point_that_nobody_stated(turned: Path) -> None:
    found = reduced(turned, facts(dataclasses.replace(RIG, rotation_behind_m=None)))
    stated = reduced(turned, facts())
    assert any("times of flight" in note for note in found.notes)
    assert found.seen_angle_deg == pytest.approx(stated.seen_angle_deg, abs=0.1)
    assert np.nanmax(np.abs(level_db(found) - level_db(stated))) < 0.03


def test_seen_angles_and_impulse_responses(turned: Path) -> None:
    found = reduced(turned, facts())
    angles = [t.key.direction.angle_deg for t in found.takes if t.key.direction]
    assert found.seen_angle_deg == pytest.approx(Turntable(2.0, 0.1).seen_angles_deg(angles))
    assert list(found.takes) == sorted(found.takes, key=lambda t: t.id)
    # the direct sound stands `lead_s` after the beginning in every row, to a sample
    peaks = np.abs(found.impulse_response).argmax(axis=-1) / found.sample_rate_hz
    assert np.ptp(peaks) < 3e-5
    assert peaks[0] == pytest.approx(found.lead_s, abs=1e-4)


def test_recordings_without_a_common_clock(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.stimulus()
    for angle, latency in ((0, 0.01), (30, 0.13), (60, 0.05)):
        distance = float(Turntable(2.0, 0.1).distances_m(angle))
        bench.recording(f"horizontal_{angle:+04d}_2.83V.wav", distance, echo_s=ECHO_S, latency_s=latency)
    found = reduced(tmp_path, facts())
    assert any("share a clock" in note for note in found.notes)
    assert np.nanmax(np.abs(level_db(found) - true_level_db(found.frequency_hz))) < 0.3


def test_noise_limits_what_is_valid(tmp_path: Path) -> None:
    bench = Bench(tmp_path, noise_pa=0.4)
    bench.stimulus()
    bench.recording("horizontal_+000_2.83V.wav", 2.0, echo_s=ECHO_S)
    found = reduced(tmp_path, facts())
    noise = found.components[ComponentName.NOISE][0]
    error = (level_db(found) - true_level_db(found.frequency_hz))[0]
    middle = (found.frequency_hz > 2_000.0) & (found.frequency_hz < 10_000.0) & found.valid[0]
    # independent points are few (one to each 200 Hz), so the spread is known to a third
    assert np.sqrt(np.mean((error[middle] / noise[middle]) ** 2)) == pytest.approx(1.0, abs=0.35)
    # 10 dB of signal to noise is 1.94 dB of uncertainty (DEFINITIONS: 6.14·10^(−SNR/20))
    assert np.nanmax(noise) < 1.95


def test_repeats_and_drives_are_per_volt(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.stimulus()
    bench.recording("horizontal_+000_2.83V.wav", 2.0, 2.83)
    bench.recording("horizontal_+000_1V.wav", 2.0, 1.0)
    found = reduced(tmp_path, facts())
    assert np.nanmax(np.abs(np.diff(level_db(found), axis=0))) < 0.01
    # without any reflection the gate is as long as what was kept
    assert any("No reflection" in note for note in found.notes)


def test_text_responses(tmp_path: Path) -> None:
    f = np.geomspace(30.0, 18_000.0, 800)
    for angle, distance in ((0, 2.0), (180, 2.2)):
        level = true_level_db(f) - 20.0 * np.log10(distance)
        lines = "\n".join(f"{x:.3f}\t{y:.4f}" for x, y in zip(f, level, strict=True))
        (tmp_path / f"horizontal_{angle:+04d}.txt").write_text(f"* made up\n{lines}\n")
    case = facts(Rig(distance_m=2.0, rotation_behind_m=0.1))
    found = reduce(case, takes(tmp_path, Drive(2.83)), {}, tmp_path)
    assert np.nanmax(np.abs(level_db(found) - true_level_db(found.frequency_hz))) < 0.005
    assert found.valid_from_hz == pytest.approx(30.0, rel=0.01)
    assert not found.has_phase.any()
    assert np.all(found.origin[found.valid] == Origin.AS_GIVEN)
    assert found.impulse_response.shape[0] == 2
    gated = reduce(
        facts(Rig(distance_m=2.0, rotation_behind_m=0.1, gate_s=5e-3)),
        takes(tmp_path, Drive(2.83)),
        {},
        tmp_path,
    )
    assert gated.valid_from_hz == pytest.approx(660.0, rel=0.01)


def test_what_is_missing_is_refused(turned: Path, tmp_path: Path) -> None:
    with pytest.raises(CaseError, match=r"rig\.distance_m"):
        reduced(turned, facts(dataclasses.replace(RIG, distance_m=None)))
    with pytest.raises(CaseError, match=r"rig\.pa_per_full_scale"):
        reduced(turned, facts(dataclasses.replace(RIG, pa_per_full_scale=None)))
    with pytest.raises(NotAvailableError, match="no response in any direction"):
        reduce(facts(), [], {}, tmp_path)
    with pytest.raises(CallError, match="not been deconvolved"):
        reduce(facts(), takes(turned), {}, turned)


def near_field_case(folder: Path, near_m: float = 0.05) -> None:
    bench = Bench(folder)
    bench.stimulus()
    bench.recording("horizontal_+000_2.83V.wav", 2.0, echo_s=ECHO_S)
    bench.recording("near_field_woofer_5mm_0.283V.wav", near_m, 0.283)


@pytest.mark.parametrize(
    ("unit", "note"),
    [
        (Unit(name="x", radiators=(Radiator("woofer", 0.1),)), "cabinet isn't described"),
        (Unit(name="x", cabinet=Sphere(0.1), radiators=(Radiator("woofer", 0.12),)), "doesn't fit"),
        (Unit(name="x", cabinet=Sphere(0.6), radiators=(Radiator("woofer", 0.3),)), "hardly overlap"),
    ],
)
def test_no_splice_without_the_facts_for_it(tmp_path: Path, unit: Unit, note: str) -> None:
    near_field_case(tmp_path)
    found = reduced(tmp_path, facts(unit=unit))
    assert any(note in n for n in found.notes)
    assert found.valid_from_hz > 400.0
    assert found.near_field_takes == ((),)


def test_an_unknown_radiator_is_refused(tmp_path: Path) -> None:
    near_field_case(tmp_path)
    with pytest.raises(CaseError, match=r"unit\.radiators"):
        reduced(tmp_path, facts())


def test_a_near_field_of_the_wrong_level_is_pointed_out(tmp_path: Path) -> None:
    near_field_case(tmp_path, 0.04)
    unit = Unit(name="x", cabinet=Sphere(0.3), radiators=(Radiator("woofer", 0.1),))
    found = reduced(tmp_path, facts(unit=unit))
    # the made-up near field was recorded at 0.04 m of a point source; a cap of 0.1 m has another level there
    assert any("don't agree" in note for note in found.notes)
    splice = found.components[ComponentName.SPLICE][0]
    assert np.nanmax(splice) > 1.5
    assert splice[found.frequency_hz > 1_700.0] == pytest.approx(0.0)
    assert found.near_field_takes == (("near_field_woofer_5mm_0.283V.wav",),)


def test_a_near_field_of_another_loudspeaker_is_not_used(tmp_path: Path) -> None:
    # a little more than 2 dB weaker than the one before, as if a second woofer alike weren't there
    near_field_case(tmp_path, 0.055)
    unit = Unit(name="x", cabinet=Sphere(0.3), radiators=(Radiator("woofer", 0.1),))
    found = reduced(tmp_path, facts(unit=unit))
    assert any("isn't used" in note for note in found.notes)
    assert found.splices == {}
    assert found.near_field_takes == ((),)
    assert found.valid_from_hz > 400.0


def test_speed_of_sound_that_nobody_stated_is_said(turned: Path) -> None:
    assert any("temperature" in note for note in reduced(turned, facts()).notes)
    warm = reduced(turned, facts(dataclasses.replace(RIG, temperature_c=20.0)))
    assert not any("temperature" in note for note in warm.notes)
    assert SPEED == 343.2


def test_notes_hold_no_digit(turned: Path) -> None:
    for rig in (RIG, dataclasses.replace(RIG, rotation_behind_m=None), dataclasses.replace(RIG, gate_s=4e-3)):
        assert not any(c.isdigit() for note in reduced(turned, facts(rig)).notes for c in note)
