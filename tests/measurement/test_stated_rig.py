"""What the case says of the rig, against the recordings and against itself."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from arriving import arrived
from made_recordings import FULL_SCALE_PA, Bench

from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.geometry import Turntable
from earwitness.measurement.recognise import recognise
from earwitness.measurement.reduction import reduce
from earwitness.records.errors import CaseError
from earwitness.records.facts import CaseFacts, Rig, Unit
from earwitness.records.responses import Origin, Responses
from earwitness.records.takes import Drive
from earwitness.records.uncertainty import ComponentName

RIG = Rig(distance_m=2.0, rotation_behind_m=0.1, pa_per_full_scale=FULL_SCALE_PA)
ECHO_S = 5e-3
ANGLES = (-90, -60, -30, 0, 30, 60, 90, 180)
DISAGREE = "axis of rotation and the times of flight disagree"


def reduced(folder: Path, rig: Rig, drive: Drive | None = None) -> Responses:
    takes = [r.take for r in recognise(arrived(*(p.name for p in folder.iterdir())), drive=drive) if r.take]
    responses = {t.id: r for t, r in deconvolve(folder, takes)}
    return reduce(CaseFacts(unit=Unit(name="made up"), rig=rig), takes, responses, folder)


def stated(**changes: float | None) -> Rig:
    return dataclasses.replace(RIG, **changes)  # type: ignore[arg-type]


def orbit(
    folder: Path, behind_m: float, *, late_s: tuple[float, ...] = (0.0,) * 8, side_m: float = 0.0
) -> Path:
    """One orbit about an axis `behind_m` behind the reference point; the source lies `side_m` to its left."""
    bench = Bench(folder)
    bench.stimulus()
    for angle, late in zip(ANGLES, late_s, strict=True):
        ahead, aside = Turntable(2.0, behind_m).ahead_and_aside_m(angle)
        name = f"horizontal_{angle:+04d}_2.83V.wav"
        bench.recording(name, float(np.hypot(ahead, aside - side_m)), echo_s=ECHO_S, latency_s=0.003 + late)
    return folder


@pytest.fixture(scope="module")
def turned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return orbit(tmp_path_factory.mktemp("turned"), 0.1)


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("text")
    f = np.geomspace(30.0, 18_000.0, 300)
    for angle in (0, 90):
        rows = "\n".join(f"{x:.3f}\t{90.0:.2f}" for x in f)
        (folder / f"horizontal_{angle:+04d}.txt").write_text(f"* made up\n{rows}\n")
    return folder


@pytest.mark.parametrize("form", ["turned", "text"])
def test_a_stated_gate_must_end_before_the_floor_arrives(form: str, request: pytest.FixtureRequest) -> None:
    folder: Path = request.getfixturevalue(form)
    drive = Drive(2.83) if form == "text" else None
    # FACTS §8 (computed): heights of 1.0 m at 2 m give a detour of .8284 m; the orbit's longest way is 2.2 m
    # (behind) or √(2.1² + .1²) = 2.1024 m (aside): .7732 and .7976 m, 2.253 and 2.324 ms at 343.2 m/s
    longest = {"turned": "2.25 ms", "text": "2.32 ms"}[form]
    rig = stated(height_m=1.0, microphone_height_m=1.0, gate_s=2.4e-3)
    with pytest.raises(CaseError, match=r"rig\.gate_s.*floor") as refusal:
        reduced(folder, rig, drive)
    assert longest in str(refusal.value)
    allowed = dataclasses.replace(rig, gate_s=2.2e-3)
    assert reduced(folder, allowed, drive).valid.any()


def test_a_reflection_inside_a_stated_gate_is_told(turned: Path) -> None:
    told = "reflection inside the stated gate"
    assert any(told in n for n in reduced(turned, stated(gate_s=8e-3)).notes)
    assert not any(told in n for n in reduced(turned, stated(gate_s=4e-3)).notes)


def test_ringing_of_the_bass_is_no_reflection(tmp_path: Path) -> None:
    # the made-up loudspeaker's 60 Hz corner rings for far longer than this gate of 30 ms
    bench = Bench(tmp_path)
    bench.stimulus()
    bench.recording("horizontal_+000_2.83V.wav", 2.0)
    found = reduced(tmp_path, stated(gate_s=0.03))
    assert not any("reflection" in n for n in found.notes)


def test_text_has_no_component_that_it_cannot_tell(text: Path) -> None:
    found = reduced(text, RIG, Drive(2.83))
    assert np.all(found.origin[found.valid] == Origin.AS_GIVEN)
    for name in (ComponentName.NOISE, ComponentName.GATE, ComponentName.SPLICE):
        assert np.isnan(found.components[name]).all()


def test_recordings_tell_their_components(turned: Path) -> None:
    found = reduced(turned, RIG)
    for spread in found.components.values():
        assert np.isfinite(spread[found.valid]).all()


@pytest.mark.parametrize("behind_m", [0.0, 0.2, 0.3, 0.6, -0.3])
def test_a_contradicted_rotation_point_is_told(turned: Path, behind_m: float) -> None:
    found = reduced(turned, stated(rotation_behind_m=behind_m))
    assert any(DISAGREE in n for n in found.notes)
    assert not any("clock" in n for n in found.notes)
    # levels and angles are the stated ones
    angles = [t.key.direction.angle_deg for t in found.takes if t.key.direction]
    assert found.seen_angle_deg == pytest.approx(Turntable(2.0, behind_m).seen_angles_deg(angles))
    # but the direct sound is gated where the recordings have it, whatever the case says
    peaks = np.abs(found.impulse_response).argmax(axis=-1) / found.sample_rate_hz
    assert peaks == pytest.approx(np.full(len(ANGLES), found.lead_s), abs=5e-5)


@pytest.mark.parametrize("behind_m", [0.1, 0.115])
def test_a_rotation_point_that_holds_is_believed(turned: Path, behind_m: float) -> None:
    found = reduced(turned, stated(rotation_behind_m=behind_m))
    assert not any(DISAGREE in n or "clock" in n for n in found.notes)
    angles = [t.key.direction.angle_deg for t in found.takes if t.key.direction]
    assert found.seen_angle_deg == pytest.approx(Turntable(2.0, behind_m).seen_angles_deg(angles))


def test_a_source_beside_the_axis_does_not_move_the_rotation_point(tmp_path: Path) -> None:
    found = reduced(orbit(tmp_path, 0.1, side_m=0.06), RIG)
    assert not any(DISAGREE in n or "clock" in n for n in found.notes)


@pytest.mark.parametrize("jitter_s", [5e-4, 2e-3, 2e-2])
def test_clocks_that_wander_are_told(tmp_path: Path, jitter_s: float) -> None:
    # no rotation point makes neighbours early and late in turn; half a millisecond is 17 cm
    late_s = tuple(jitter_s * part for part in (0.0, 1.0, 0.0, 0.5, 1.0, 0.0, 1.0, 0.5))
    found = reduced(orbit(tmp_path, 0.1, late_s=late_s), RIG)
    assert any("don't share a clock" in n for n in found.notes)
    assert not any(DISAGREE in n for n in found.notes)


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"rotation_behind_m": -2.0}, r"rig\.rotation_behind_m"),
        ({"rotation_behind_m": -2.5}, r"rig\.rotation_behind_m"),
        ({"height_m": 3.1, "microphone_height_m": 1.0}, r"rig\.microphone_height_m"),
        ({"height_m": 1.0, "microphone_height_m": 3.0}, r"rig\.microphone_height_m"),
    ],
)
@pytest.mark.parametrize("form", ["turned", "text"])
def test_geometry_that_cannot_be(
    form: str, changes: dict[str, float], place: str, request: pytest.FixtureRequest
) -> None:
    drive = Drive(2.83) if form == "text" else None
    with pytest.raises(CaseError, match=place):
        reduced(request.getfixturevalue(form), stated(**changes), drive)


@pytest.mark.parametrize(("distance_m", "told"), [(1.0, True), (1.95, True), (2.0, False), (3.0, False)])
def test_what_a_short_distance_does_is_told(text: Path, distance_m: float, told: bool) -> None:
    found = reduced(text, stated(distance_m=distance_m), Drive(2.83))
    assert any("nearer than two metres" in n for n in found.notes) is told


def test_every_note_is_without_digits(turned: Path, text: Path) -> None:
    close = stated(distance_m=1.0, gate_s=8e-3, rotation_behind_m=0.5)
    notes = (*reduced(turned, close).notes, *reduced(text, close, Drive(2.83)).notes)
    assert not any(c.isdigit() for note in notes for c in note)
