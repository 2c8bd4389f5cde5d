"""Directions between those of a sphere, against the source itself, and how far they may be trusted."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from aes69_files import SOUND_SPEED, Aes69, Complexes, Floats, grid, sphere, two_sources, vectors

from earwitness.acoustics.spherical import cover, harmonics, unit_vectors
from earwitness.measurement.expansion import expanded, is_interpolated
from earwitness.measurement.readers.contents import LevelUnit
from earwitness.measurement.reduction import reduce
from earwitness.measurement.spheres import Interpolation, MeasuredSphere, interpolated, lacking
from earwitness.methods.cta_2034 import DIRECTIONS
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.facts import Box, CaseFacts, Rig, Unit
from earwitness.records.facts import Sphere as RoundCabinet
from earwitness.records.responses import Responses
from earwitness.records.takes import EVERY_PART, Direction, Drive, Orbit, Take, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName

HZ = np.arange(50.0, 8_001.0, 50.0)
FINE = np.arange(0.0, 8_001.0, 20.0)
WANTED = unit_vectors([d.azimuth_deg for d in DIRECTIONS], [d.elevation_deg for d in DIRECTIONS])
#: A sphere in steps of 10° that lies between the standard's directions, order 17.
BETWEEN = grid(10.0, turned=5.0)


def positions(found: Floats) -> list[tuple[float, float]]:
    return [(float(a), float(e)) for a, e in found]


def behind_front(n: Floats, hz: Floats) -> Complexes:
    """Sources 0.3 m apart, front to back, as on a deep cabinet: the reference point is at the front one."""
    k = 2.0 * np.pi * hz / SOUND_SPEED
    return np.asarray(1.0 + 0.6 * np.exp(-1j * np.multiply.outer(n[:, 0], 0.3 * k)))


def measured(of: object = two_sources, phase: bool = True, noise: float = 0.0) -> MeasuredSphere:
    assert callable(of)
    pressure = of(vectors(BETWEEN), HZ)
    random = np.random.default_rng(11)
    shape = pressure.shape
    pressure = pressure + noise * (random.standard_normal(shape) + 1j * random.standard_normal(shape))
    kept = pressure if phase else np.abs(pressure)
    return MeasuredSphere(vectors(BETWEEN), HZ, kept.astype(np.complex64), phase, LevelUnit.PASCAL)


def error_db(found: Interpolation, of: object = two_sources) -> Floats:
    assert callable(of)
    level = np.stack([response.level_db for response in found.responses])
    return np.asarray(level - 20.0 * np.log10(np.abs(of(WANTED, HZ))))


def spread_db(found: Interpolation) -> Floats:
    return np.stack([r.interpolation_db for r in found.responses if r.interpolation_db is not None])


def test_a_sphere_on_the_grid_lacks_nothing() -> None:
    assert lacking(positions(grid(10.0))) == ()
    assert lacking(positions(grid(5.0))) == ()


def test_what_a_sphere_between_lacks() -> None:
    # only the poles of such a sphere are among the standard's directions
    poles = {Direction(Orbit.VERTICAL, 90.0), Direction(Orbit.VERTICAL, -90.0)}
    assert set(lacking(positions(BETWEEN))) == set(DIRECTIONS) - poles


def test_orbits_and_half_spheres_are_no_spheres() -> None:
    orbits = [(d.azimuth_deg, d.elevation_deg) for d in DIRECTIONS if d != Direction(Orbit.HORIZONTAL, 30.0)]
    assert lacking(orbits) == ()
    assert lacking([p for p in orbits if p[1] == 0.0]) == ()
    assert lacking([p for p in positions(BETWEEN) if p[1] > 0.0]) == ()


def test_pressure_is_found_up_to_the_cabinets_limit() -> None:
    cabinet = Box(0.24, 0.4, 0.3)
    found = interpolated(measured(), WANTED, cabinet, SOUND_SPEED)
    # r = √(0.24² + 0.4² + 0.3²)/2 = 0.27731 m; kr = 17: 3348.5 Hz
    assert found.order == 17
    assert found.with_phase
    assert found.limit_hz == pytest.approx(3348.5, abs=0.1)
    valid = np.isfinite(spread_db(found))
    assert np.array_equal(valid, np.broadcast_to(found.limit_hz >= HZ, valid.shape))
    # the sources lie 0.18 m from the centre, so that the field's order is 0.65 of what is supported: next to
    # nothing is missed, and at half of the limit no more than single precision leaves
    assert np.nanmax(np.abs(error_db(found))) < 0.02
    assert np.nanmax(np.abs(error_db(found)[:, found.limit_hz >= 2.0 * HZ])) < 1e-5


def test_phase_is_that_of_the_reference_point() -> None:
    found = interpolated(measured(behind_front), WANTED, Box(0.2, 0.2, 0.3), SOUND_SPEED)
    inside = found.limit_hz >= 2.0 * HZ
    phase = np.stack([r.phase_deg for r in found.responses if r.phase_deg is not None])
    turned = np.exp(1j * np.deg2rad(phase)) / np.exp(1j * np.angle(behind_front(WANTED, HZ)))
    assert np.abs(turned[:, inside] - 1.0).max() < 1e-4


def test_a_deep_cabinet_is_fitted_about_its_centre() -> None:
    # from the front the source reaches 0.3 m back, from the centre 0.15 m: an octave later
    deep = interpolated(measured(behind_front), WANTED, RoundCabinet(0.3), SOUND_SPEED)
    front = interpolated(measured(behind_front), WANTED, None, SOUND_SPEED)
    first = [HZ[int(np.argmax(found.missed > 1e-3))] for found in (deep, front)]
    assert first[0] > 1.5 * first[1]


def test_squares_reach_half_as_far() -> None:
    cabinet = Box(0.24, 0.4, 0.3)
    found = interpolated(measured(phase=False), WANTED, cabinet, SOUND_SPEED)
    assert not found.with_phase
    assert found.limit_hz == pytest.approx(3348.5 / 2.0, abs=0.1)
    assert np.nanmax(np.abs(error_db(found))) < 1e-3
    assert all(response.phase_deg is None for response in found.responses)


@pytest.mark.parametrize("phase", [True, False])
def test_without_a_cabinet_what_is_missed_sets_the_limit(phase: bool) -> None:
    found = interpolated(measured(phase=phase), WANTED, None, SOUND_SPEED)
    assert np.isinf(found.limit_hz)
    valid = np.asarray(np.isfinite(spread_db(found)).any(axis=0))
    last = int(np.flatnonzero(valid)[-1])
    assert found.missed[: last + 1].max() <= 0.1
    assert found.missed[last + 1] > 0.1
    # one band: nothing that begins again
    assert valid[: last + 1].all()
    # errors are those that are told, also in the tails
    told = np.isfinite(error_db(found)) & (spread_db(found) > 1e-2)
    part = np.abs(error_db(found))[told] / spread_db(found)[told]
    assert part.size > 500
    assert np.mean(part < 1.0) > 0.6827
    assert np.mean(part < 2.0) > 0.9545
    # missed most where the samples are sparsest, so that the far tail isn't quite a normal law's 0.9973
    assert np.mean(part < 3.0) > 0.995


def test_noise_is_told() -> None:
    found = interpolated(measured(noise=0.02), WANTED, Box(0.24, 0.4, 0.3), SOUND_SPEED)
    ratio = error_db(found) / spread_db(found)
    # leaving one out tells the noise of the sample that is left out, too: the fit itself errs less
    assert 0.2 < np.sqrt(np.nanmean(ratio**2)) < 1.0


def test_an_error_in_a_random_phase_moves_the_level_by_its_part_in_line() -> None:
    """White noise of one standard deviation in each quadrature on a pressure of one, in closed form.

    Left out, a sample of weight h in its own fit is missed by 2σ²/(1 − h) in the mean square (least squares);
    of that, half lies in line with the pressure and moves its level by 20/ln 10 dB a part.
    """
    sigma = 1e-3
    found = interpolated(measured(lambda n, hz: np.ones((len(n), len(hz))), noise=sigma), WANTED, None, 343.2)
    directions = vectors(BETWEEN)
    root = np.sqrt(cover(directions).area_sr)[:, None]
    terms = harmonics(found.order, directions) * root
    own = np.einsum("dk,kd->d", terms, np.linalg.pinv(terms))
    area = root[:, 0] ** 2 / (4.0 * np.pi)
    expected = 20.0 / np.log(10.0) * sigma * np.sqrt(area @ (1.0 / (1.0 - own)))
    # 648 samples at 160 frequencies scatter by under 1 %
    assert np.nanmedian(spread_db(found)) == pytest.approx(expected, rel=0.02)


def test_clocks_that_arent_one_leave_the_squares() -> None:
    good = measured()
    turns = np.exp(2j * np.pi * np.random.default_rng(2).random((len(BETWEEN), 1)))
    bad = replace(good, pressure=(good.pressure * turns).astype(np.complex64))
    found = interpolated(bad, WANTED, Box(0.24, 0.4, 0.3), SOUND_SPEED)
    assert not found.with_phase
    assert np.nanmax(np.abs(error_db(found))) < 1e-3


def case(tmp_path: Path, made: Aes69, facts: CaseFacts) -> tuple[Responses, tuple[Take, ...]]:
    """What becomes of one file as a case's only one."""
    made.write(tmp_path / "s.sofa")
    whole = Take("s.sofa", TakeKey(TakeKind.RESPONSE, drive=Drive(2.83)), EVERY_PART)
    takes = expanded([whole], tmp_path)
    return reduce(facts, takes, {}, tmp_path), takes


def truth_db(responses: Responses) -> Floats:
    found = [take.key.direction for take in responses.takes]
    n = np.concatenate([unit_vectors([d.azimuth_deg], [d.elevation_deg]) for d in found if d])
    hz = np.asarray(responses.frequency_hz, dtype=np.float64)
    return np.asarray(20.0 * np.log10(np.abs(two_sources(n, hz)) / 2.83))


def test_a_file_between_becomes_a_case_of_all_directions(tmp_path: Path) -> None:
    facts = CaseFacts(Unit("x", cabinet=Box(0.24, 0.4, 0.3)))
    responses, takes = case(tmp_path, sphere(BETWEEN, two_sources, FINE), facts)
    between = np.array([is_interpolated(take) for take in takes])
    assert {t.key.direction.shared for t in takes if t.key.direction} >= set(DIRECTIONS)
    assert between.sum() == 68
    hz = responses.frequency_hz
    # rows 20 Hz apart, read between: up to 0.01 dB where the interference bends most
    error = 20.0 * np.log10(np.abs(responses.pressure)) - truth_db(responses)
    inside = (hz > 200.0) & (hz < 3_300.0)
    assert responses.valid[:, inside].all()
    assert np.abs(error[:, inside]).max() < 0.02
    assert not responses.valid[between][:, hz > 3_349.0].any()
    assert responses.valid[~between][:, (hz > 3_349.0) & (hz < 8_000.0)].all()
    component = responses.components[ComponentName.INTERPOLATION]
    assert (component[~between][:, inside] == 0.0).all()
    assert np.isfinite(component[between][:, inside]).all()
    note = next(n for n in responses.notes if "interpolated" in n)
    assert "68 directions are interpolated from 614" in note
    assert "up to order 17" in note
    assert "3348 Hz" in note or "3349 Hz" in note
    assert "dB at 1000 Hz" in note


def test_microphones_at_several_distances_and_two_drives(tmp_path: Path) -> None:
    distance = 2.0 + 0.4 * np.sin(np.arange(len(BETWEEN)))
    flight = np.exp(-2j * np.pi * np.outer(distance, FINE) / SOUND_SPEED) / distance[:, None]
    pressure = two_sources(vectors(BETWEEN), FINE) * flight
    made = Aes69(np.column_stack([BETWEEN, distance]), FINE, np.stack([pressure, 10.0 * pressure]))
    made.write(tmp_path / "s.sofa")
    options = (("drives", "2.83 V, 28.3 V"),)
    whole = Take("s.sofa", TakeKey(TakeKind.RESPONSE), EVERY_PART, read=options)
    takes = expanded([whole], tmp_path)
    between = np.array([is_interpolated(take) for take in takes])
    assert (
        sorted(t.key.drive.value for t in takes if is_interpolated(t) and t.key.drive)
        == [2.83] * 68 + [28.3] * 68
    )
    responses = reduce(CaseFacts(Unit("x", cabinet=Box(0.24, 0.4, 0.3))), takes, {}, tmp_path)
    inside = (responses.frequency_hz > 200.0) & (responses.frequency_hz < 3_300.0)
    error = 20.0 * np.log10(np.abs(responses.pressure)) - truth_db(responses)
    assert responses.valid[:, inside].all()
    assert np.abs(error[:, inside]).max() < 0.02
    assert np.max(responses.components[ComponentName.INTERPOLATION][between][:, inside]) < 0.1
    assert sum("spherical harmonics of the pressure" in note for note in responses.notes) == 1


def test_a_file_on_the_grid_is_never_interpolated(tmp_path: Path) -> None:
    responses, takes = case(tmp_path, sphere(grid(10.0), two_sources, FINE), CaseFacts(Unit("x")))
    assert not any(map(is_interpolated, takes))
    assert len(takes) == 70
    assert ComponentName.INTERPOLATION not in responses.components
    error = 20.0 * np.log10(np.abs(responses.pressure)) - truth_db(responses)
    inside = (responses.frequency_hz > 200.0) & (responses.frequency_hz < 3_300.0)
    assert np.abs(error[:, inside]).max() < 0.02


def test_finer_orbits_come_whole(tmp_path: Path) -> None:
    _, takes = case(tmp_path, sphere(grid(5.0), two_sources, np.array([500.0, 600.0])), CaseFacts(Unit("x")))
    # two circles of 72, which meet twice
    assert len(takes) == 142


def test_a_take_of_its_own_stays(tmp_path: Path) -> None:
    sphere(BETWEEN, two_sources, np.array([500.0, 600.0])).write(tmp_path / "s.sofa")
    drive = Drive(2.83)
    key = TakeKey(TakeKind.RESPONSE, Direction(Orbit.HORIZONTAL, 30.0), drive)
    own = Take("horizontal_+030.txt", key)
    whole = Take("s.sofa", TakeKey(TakeKind.RESPONSE, drive=drive), EVERY_PART)
    takes = expanded([own, whole], tmp_path)
    assert [t for t in takes if t.key.direction == key.direction] == [own]


@pytest.mark.parametrize(
    ("selector", "direction", "refused"),
    [
        ("az 40 el 0", Direction(Orbit.HORIZONTAL, 30.0), True),
        ("az 40 el 0", Direction(Orbit.HORIZONTAL, -40.0), True),
        ("az 40 el 0", Direction(Orbit.VERTICAL, 40.0), True),
        ("az 40 el 0", Direction(Orbit.HORIZONTAL, 40.4), False),
        ("az 40 el 0", Direction(Orbit.HORIZONTAL, 40.6), True),
        ("az 40 el 0", Direction(Orbit.HORIZONTAL, 40.0), False),
        ("az 320 el 0", Direction(Orbit.HORIZONTAL, -40.0), False),
        ("az 180 el 60", Direction(Orbit.VERTICAL, 120.0), False),
        ("az 180 el 0", Direction(Orbit.VERTICAL, 180.0), False),
        ("az 0 el 90", Direction(Orbit.VERTICAL, 90.0), False),
    ],
)
@pytest.mark.parametrize("with_whole", [False, True])
def test_an_entry_of_its_own_says_where_the_file_does(
    tmp_path: Path, selector: str, direction: Direction, refused: bool, with_whole: bool
) -> None:
    sphere(grid(10.0), two_sources, np.array([500.0, 600.0])).write(tmp_path / "s.sofa")
    own = Take("s.sofa", TakeKey(TakeKind.RESPONSE, direction, Drive(2.83)), selector)
    whole = Take("s.sofa", TakeKey(TakeKind.RESPONSE, drive=Drive(2.83)), EVERY_PART)
    takes = [own, whole] if with_whole else [own]
    if refused:
        with pytest.raises(ReadError, match=rf"s\.sofa: says azimuth .* of its part '{selector}', and takes"):
            expanded(takes, tmp_path)
    else:
        assert own in expanded(takes, tmp_path)


def test_a_distance_that_the_case_contradicts(tmp_path: Path) -> None:
    made = sphere(grid(10.0), two_sources)
    with pytest.raises(CaseError, match=r"the case states 1 m, and raw/s.sofa says 2 m"):
        case(tmp_path, made, CaseFacts(Unit("x"), rig=Rig(distance_m=1.0)))
