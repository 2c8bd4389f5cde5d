"""AES69 files of any writer: which way each direction lies, how loud it is, what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from aes69_files import FREQUENCIES, Aes69, grid, plane_law, sphere, two_sources, vectors
from aes69_oracle import sofar
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from earwitness.measurement.readers.aes69 import READER
from earwitness.measurement.readers.contents import LevelUnit, Source
from earwitness.records.errors import ReadError
from earwitness.records.takes import Direction, Drive, Orbit, ReadOptions

PASCAL: ReadOptions = (("level", "Pa"),)


def source(path: Path, options: ReadOptions = ()) -> Source:
    return Source(path, path.name, options)


def told(file: Aes69, path: Path, options: ReadOptions = ()) -> dict[tuple[float, float], str]:
    parts = READER.look(source(file.write(path), options)).parts
    return {part.position_deg: part.selector for part in parts if part.position_deg}


def level_at(
    path: Path, selector: str, options: ReadOptions = ()
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    (response,) = READER.read(source(path, options), [selector])
    return 10.0 ** (response.level_db / 20.0)


def test_each_direction_is_a_part_with_its_own_pressure(tmp_path: Path) -> None:
    positions = grid(30.0)
    path = sphere(positions).write(tmp_path / "s.sofa")
    contents = READER.look(source(path))
    assert [part.position_deg for part in contents.parts] == [tuple(p) for p in positions.tolist()]
    assert contents.words == ("made up",)
    assert "0 Hz is left out" in contents.remark
    selectors = [part.selector for part in contents.parts]
    assert {"az 30 el 0", "az 300 el -60", "az 0 el 90"} <= set(selectors)
    responses = READER.read(source(path), list(reversed(selectors)))
    expected = np.abs(plane_law(vectors(positions), FREQUENCIES))[:, 1:] / 2.0
    for response, size in zip(reversed(responses), expected, strict=True):
        assert response.frequency_hz == pytest.approx(FREQUENCIES[1:], abs=1e-9)
        assert 10.0 ** (response.level_db / 20.0) == pytest.approx(size, rel=1e-9)
        assert response.unit is LevelUnit.PASCAL
        assert response.placed is not None
        assert response.placed.distance_m == pytest.approx(2.0)


def test_phase_is_that_of_a_delay(tmp_path: Path) -> None:
    path = sphere(grid(30.0)).write(tmp_path / "s.sofa")
    (response,) = READER.read(source(path), ["az 90 el 0"])
    assert response.phase_deg is not None
    turned = (-360.0 * FREQUENCIES[1:] * 2.0 / 343.2 - response.phase_deg + 180.0) % 360.0 - 180.0
    assert np.abs(turned).max() < 1e-6


# FACTS §19: AES69 azimuth is counter-clockwise from +x, +90 the loudspeaker's left; V+a beyond 90 lies behind
@pytest.mark.parametrize(
    ("position", "orbit", "angle"),
    [
        ((30.0, 0.0), Orbit.HORIZONTAL, 30.0),
        ((330.0, 0.0), Orbit.HORIZONTAL, -30.0),
        ((180.0, 0.0), Orbit.HORIZONTAL, 180.0),
        ((0.0, 40.0), Orbit.VERTICAL, 40.0),
        ((180.0, 60.0), Orbit.VERTICAL, 120.0),
        ((180.0, -60.0), Orbit.VERTICAL, -120.0),
        ((77.0, 90.0), Orbit.VERTICAL, 90.0),
    ],
)
def test_directions_on_the_orbits(
    position: tuple[float, float], orbit: Orbit, angle: float, tmp_path: Path
) -> None:
    ((found, _),) = told(sphere(np.array([position])), tmp_path / "s.sofa").items()
    assert Direction.at(*found) == Direction(orbit, angle)


CARTESIAN = {"Type": "cartesian", "Units": "metre"}


def test_cartesian_positions_within_a_hundredth_of_a_degree(tmp_path: Path) -> None:
    off = np.deg2rad(0.009)
    positions = 2.0 * np.array([[np.cos(np.pi / 6 + off), np.sin(np.pi / 6 + off), 0.0], [0.0, 1e-4, 1.0]])
    made = replace(sphere(np.zeros((2, 2))), changes={"ReceiverPosition": (("R", "C"), positions, CARTESIAN)})
    assert set(told(made, tmp_path / "s.sofa")) == {(30.0, 0.0), (0.0, 90.0)}


def test_a_pole_in_single_precision(tmp_path: Path) -> None:
    # pi/2 as float32 is 1.5707964 rad, 90.0000025 degrees
    over = np.rad2deg(float(np.float32(np.pi / 2.0)))
    assert over > 90.0
    made = sphere(np.array([[0.0, over], [120.0, -over], [0.0, 0.0]]))
    assert set(told(made, tmp_path / "s.sofa")) == {(0.0, 90.0), (0.0, -90.0), (0.0, 0.0)}


def test_a_tenth_of_a_degree_off_is_off(tmp_path: Path) -> None:
    assert set(told(sphere(np.array([[30.1, 0.05]])), tmp_path / "s.sofa")) == {(30.1, 0.05)}


def test_a_turning_source_and_one_receiver(tmp_path: Path) -> None:
    # the loudspeaker turns to its left by 40°: a microphone ahead is then 40° to its right
    turns = np.array([0.0, 40.0, -90.0, 180.0])
    views = np.column_stack([vectors(np.column_stack([turns, 0.0 * turns]))])
    pressure = plane_law(vectors(np.column_stack([-turns, 0.0 * turns])), FREQUENCIES)[:, None]
    made = Aes69(
        np.array([[2.0, 0.0, 0.0]]),
        FREQUENCIES,
        pressure,
        changes={
            "ReceiverPosition": (("R", "C"), np.array([[2.0, 0.0, 0.0]]), CARTESIAN),
            "SourceView": (("M", "C"), views, CARTESIAN),
            "SourceUp": (("I", "C"), np.array([[0.0, 0.0, 1.0]]), {}),
        },
    )
    found = told(made, tmp_path / "s.sofa")
    assert set(found) == {(0.0, 0.0), (320.0, 0.0), (90.0, 0.0), (180.0, 0.0)}
    for row, turn in enumerate(turns):
        selector = found[-turn % 360.0, 0.0]
        assert level_at(tmp_path / "s.sofa", selector) == pytest.approx(np.abs(pressure[row, 0, 1:]))


def test_a_source_on_its_side_is_turned_upright(tmp_path: Path) -> None:
    # its top points to the room's left: what is left of it in the room is above it
    positions = np.array([[90.0, 0.0, 2.0], [0.0, 90.0, 2.0]])
    made = Aes69(
        positions,
        FREQUENCIES,
        np.ones((1, 2, FREQUENCIES.size), dtype=np.complex128),
        changes={
            "SourceView": (("I", "C"), np.array([[1.0, 0.0, 0.0]]), CARTESIAN),
            "SourceUp": (("I", "C"), np.array([[0.0, 1.0, 0.0]]), {}),
        },
    )
    assert list(told(made, tmp_path / "s.sofa")) == [(0.0, 90.0), (270.0, 0.0)]


def test_a_listener_that_moves_and_turns(tmp_path: Path) -> None:
    # an array two metres behind the source, looking back at it; its receiver stands a metre ahead of it
    made = Aes69(
        np.array([[1.0, 0.0, 0.0]]),
        FREQUENCIES,
        np.ones((1, 1, FREQUENCIES.size), dtype=np.complex128),
        changes={
            "ReceiverPosition": (("R", "C"), np.array([[1.0, 0.0, 0.0]]), CARTESIAN),
            "ListenerPosition": (
                ("I", "C"),
                np.array([[180.0, 0.0, 3.0]]),
                {"Type": "spherical", "Units": "degree, degree, metre"},
            ),
            "ListenerView": (("I", "C"), np.array([[1.0, 0.0, 0.0]]), CARTESIAN),
            "ListenerUp": (("I", "C"), np.array([[0.0, 0.0, 1.0]]), {}),
            "SourcePosition": (("I", "C"), np.array([[-0.5, 0.0, 0.0]]), CARTESIAN),
        },
    )
    assert set(told(made, tmp_path / "s.sofa")) == {(180.0, 0.0)}
    (response,) = READER.read(source(tmp_path / "s.sofa"), ["az 180 el 0"])
    assert response.placed is not None
    assert response.placed.distance_m == pytest.approx(1.5)


def test_drives_of_measurements(tmp_path: Path) -> None:
    one = sphere(grid(90.0))
    made = replace(one, pressure=np.concatenate([one.pressure, 3.0 * one.pressure]))
    path = made.write(tmp_path / "s.sofa")
    options: ReadOptions = (("drives", "1 V, 2.83 V"),)
    parts = READER.look(source(path, options)).parts
    assert [part.drive for part in parts] == [Drive(1.0)] * 6 + [Drive(2.83)] * 6
    loud = next(p for p in parts if p.drive == Drive(2.83) and p.position_deg == (90.0, 0.0))
    expected = 3.0 * np.abs(plane_law(np.array([[0.0, 1.0, 0.0]]), FREQUENCIES))[0, 1:] / 2.0
    assert level_at(path, loud.selector, options) == pytest.approx(expected)


def test_repeats_of_measurements(tmp_path: Path) -> None:
    made = sphere(np.array([[0.0, 90.0], [120.0, 90.0], [0.0, 0.0]]))
    parts = READER.look(source(made.write(tmp_path / "s.sofa"), (("repeats", True),))).parts
    assert [part.repeat for part in parts] == [1, 2, 1]
    assert len({part.selector for part in parts}) == 3
    with pytest.raises(ReadError, match=r"read.repeats can't be 'yes'; state true or false"):
        READER.look(source(made.write(tmp_path / "s.sofa"), (("repeats", "yes"),)))


def test_zeros_at_the_ends_are_no_response(tmp_path: Path) -> None:
    made = sphere(grid(90.0))
    made.pressure[0, 0, :20] = 0.0
    made.pressure[0, 0, -30:] = 0.0
    path = made.write(tmp_path / "s.sofa")
    first = READER.look(source(path)).parts[0].selector
    (response,) = READER.read(source(path), [first])
    assert response.frequency_hz[0] == FREQUENCIES[20]
    assert response.frequency_hz[-1] == FREQUENCIES[-31]


def test_no_phase_where_all_is_real(tmp_path: Path) -> None:
    made = sphere(grid(90.0))
    path = replace(made, pressure=np.abs(made.pressure).astype(np.complex128)).write(tmp_path / "s.sofa")
    (response,) = READER.read(source(path), ["az 0 el 0"])
    assert response.phase_deg is None


def test_phase_of_nothing_is_a_phase_where_others_have_one(tmp_path: Path) -> None:
    made = sphere(grid(90.0))
    made.pressure[0, 1] = np.abs(made.pressure[0, 1])
    path = made.write(tmp_path / "s.sofa")
    (response,) = READER.read(source(path), [READER.look(source(path)).parts[1].selector])
    assert response.phase_deg is not None
    assert np.abs(response.phase_deg).max() == 0.0


def test_kilohertz(tmp_path: Path) -> None:
    made = sphere(grid(90.0))
    changes = {"N": (("N",), FREQUENCIES / 1_000.0, {"Units": "kHz"})}
    path = replace(made, changes=changes).write(tmp_path / "s.sofa")
    (response,) = READER.read(source(path), ["az 0 el 0"])
    assert response.frequency_hz == pytest.approx(FREQUENCIES[1:])


def test_what_the_case_states_of_the_level_counts(tmp_path: Path) -> None:
    path = replace(sphere(grid(90.0)), units=None).write(tmp_path / "s.sofa")
    per_drive: ReadOptions = (("level", "Pa per unit of drive"),)
    assert READER.read(source(path, PASCAL), ["az 0 el 0"])[0].unit is LevelUnit.PASCAL
    assert READER.read(source(path, per_drive), ["az 0 el 0"])[0].unit is LevelUnit.PASCAL_PER_DRIVE


def test_single_precision(tmp_path: Path) -> None:
    path = replace(sphere(grid(90.0)), dtype="f4").write(tmp_path / "s.sofa")
    expected = np.abs(plane_law(np.array([[0.0, 1.0, 0.0]]), FREQUENCIES))[0, 1:] / 2.0
    assert level_at(path, "az 90 el 0") == pytest.approx(expected, rel=1e-6)


def test_what_sofar_writes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    positions = grid(30.0)
    made = sphere(positions, two_sources)
    example = sofar.Sofa("FreeFieldDirectivityTF")
    example.ReceiverPosition = made.position
    example.Data_Real, example.Data_Imag, example.N = made.pressure.real, made.pressure.imag, FREQUENCIES
    sofar.write_sofa(str(tmp_path / "s.sofa"), example)
    path = tmp_path / "s.sofa"
    parts = READER.look(source(path, PASCAL)).parts
    for part, response in zip(
        parts, READER.read(source(path, PASCAL), [p.selector for p in parts]), strict=True
    ):
        assert part.position_deg is not None
        expected = two_sources(vectors(np.array([part.position_deg])), FREQUENCIES)[0, 1:]
        # what is near nothing is left to the absolute tolerance: a millionth of the loudest
        assert 10.0 ** (response.level_db / 20.0) == pytest.approx(np.abs(expected) / 2.0, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(
    "convention", ["FreeFieldDirectivityTF", "FreeFieldHRIR", "GeneralTF", "SimpleFreeFieldHRTF"]
)
def test_sofars_own_examples_are_refused_by_what_is_wrong(convention: str, tmp_path: Path) -> None:
    try:
        example = sofar.Sofa(convention)
    except ValueError:
        pytest.skip("sofar has no such convention")
    sofar.write_sofa(str(tmp_path / "s.sofa"), example)
    with pytest.raises(ReadError) as refused:
        READER.look(source(tmp_path / "s.sofa", PASCAL))
    # its example of a directivity has one receiver in the middle of the source, and one frequency
    wanted = "2 to" if convention == "FreeFieldDirectivityTF" else convention
    assert wanted in str(refused.value)


angles = st.tuples(st.integers(0, 71).map(lambda i: 5.0 * i), st.integers(-17, 17).map(lambda i: 5.0 * i))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    positions=st.lists(angles, min_size=1, max_size=12, unique=True),
    distance=st.floats(0.5, 20.0),
    turned=st.tuples(st.tuples(st.floats(-179.0, 179.0), st.floats(-80.0, 80.0)), st.floats(-179.0, 179.0)),
    at=st.tuples(*[st.floats(-3.0, 3.0)] * 3),
)
def test_a_source_anywhere_turned_anyhow(
    positions: list[tuple[float, float]],
    distance: float,
    turned: tuple[tuple[float, float], float],
    at: tuple[float, float, float],
    *,
    tmp_path: Path,
) -> None:
    own, (view, roll) = np.array(positions), turned
    ahead = vectors(np.array(view))
    level = np.cross([0.0, 0.0, 1.0], ahead)
    level /= np.linalg.norm(level)
    up = np.cross(ahead, level)
    turn = np.deg2rad(roll)
    left = np.cos(turn) * level + np.sin(turn) * up
    frame = np.stack([ahead, left, np.cross(ahead, left)], axis=-1)
    in_room = distance * vectors(own) @ frame.T + np.array(at)
    made = replace(
        sphere(own, distance_m=distance, hz=np.array([100.0, 200.0, 300.0])),
        changes={
            "ReceiverPosition": (("R", "C"), in_room, CARTESIAN),
            "SourcePosition": (("I", "C"), np.array([at]), CARTESIAN),
            "SourceView": (("I", "C"), ahead[None], CARTESIAN),
            "SourceUp": (("I", "C"), frame[:, 2][None], {}),
        },
    )
    assert list(told(made, tmp_path / "s.sofa")) == [tuple(p) for p in own.tolist()]
