"""Near fields carried far by a sphere: where radiators sit, and what leaks between them."""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.radiation import Cap, far_over_near
from earwitness.measurement.carrying import PlacedSphere, carried, model_uncertainty_db
from earwitness.measurement.near_field import NearField
from earwitness.records.errors import CaseError
from earwitness.records.facts import Radiator
from earwitness.records.grid import derived_grid
from earwitness.records.takes import TakeId
from earwitness.virtual import radiator as truth
from earwitness.virtual.air import Air

GRID = derived_grid()
SPEED = 343.2
RADIUS = 0.15
WOOFER = Radiator("woofer", 0.16)
Complexes = npt.NDArray[np.complex128]


def near(*radiators: Radiator, pressure: Complexes | None = None, gap_m: float = 0.005) -> NearField:
    """Radiators with 1 Pa per volt in front of each at all frequencies, or as given."""
    shape = (len(radiators), GRID.size)
    return NearField(
        takes=tuple(TakeId(r.name) for r in radiators),
        radiators=radiators,
        pressure=np.ones(shape, dtype=np.complex128) if pressure is None else pressure,
        noise_power=np.full(shape, 1e-6),
        valid=GRID <= 1_000.0,
        gap_m=np.full(len(radiators), gap_m),
        notes=(),
    )


@pytest.mark.parametrize(
    ("radiator", "microphone", "angle_deg"),
    [
        (WOOFER, (2.0, 0.0, 0.0), 0.0),
        # from the sphere's centre: 30° to the left and 30° up, and microphones at 90° on each side
        (Radiator("woofer", 0.1, left_m=0.5 * RADIUS), (-RADIUS, 2.0, 0.0), 60.0),
        (Radiator("woofer", 0.1, left_m=0.5 * RADIUS), (-RADIUS, -2.0, 0.0), 120.0),
        (Radiator("woofer", 0.1, up_m=0.5 * RADIUS), (-RADIUS, 0.0, 2.0), 60.0),
        (Radiator("woofer", 0.1, up_m=0.5 * RADIUS), (-RADIUS, 0.0, -2.0), 120.0),
    ],
)
def test_radiators_sit_where_the_case_says(
    radiator: Radiator, microphone: tuple[float, float, float], angle_deg: float
) -> None:
    place = np.array([microphone])
    frequency = GRID[:500]
    found, _ = carried(near(radiator), PlacedSphere(RADIUS, place), frequency, SPEED)
    from_centre = np.linalg.norm(place + np.array([RADIUS, 0.0, 0.0]), axis=-1)
    expected = far_over_near(
        2.0 * np.pi * frequency / SPEED,
        Cap(RADIUS, radiator.diameter_m / 2.0, 0.005),
        from_centre,
        np.deg2rad([angle_deg]),
    )
    # at most frequencies cubics join what was computed at some: 10⁻⁴ dB
    assert found[0] == pytest.approx(expected[0] * np.linalg.norm(microphone), rel=1e-5)


@pytest.mark.parametrize("port_part", [1.0, 0.3 - 0.2j, -0.5j])
def test_leakage_between_a_cone_and_a_port_is_taken_off(port_part: complex) -> None:
    """Both microphones hear both: the virtual loudspeaker's own series says what, near and far."""
    cone, port = Radiator("woofer", 0.13, up_m=0.05), Radiator("port", 0.05, left_m=0.02, up_m=-0.08)
    caps = tuple(
        truth.Cap(
            r.diameter_m,
            float(np.rad2deg(np.arcsin(r.up_m / RADIUS))),
            float(np.rad2deg(np.arctan2(r.left_m, np.sqrt(RADIUS**2 - r.up_m**2 - r.left_m**2)))),
        )
        for r in (cone, port)
    )
    cabinet = truth.SphericalCabinet(2.0 * RADIUS, caps)
    air = Air()
    frequency = GRID[:450]
    ears = np.stack([cabinet.in_front_of(0, 0.005), cabinet.in_front_of(1, 0.005)])
    microphones = np.array([[2.0, 0.0, 0.0], [0.0, 1.9, 0.0], [-1.0, 0.5, -1.5]])
    volume = np.array([1.0, port_part])
    heard = np.einsum("c,cdf->df", volume, cabinet.transfer(ears, frequency, air))
    far = np.einsum("c,cdf->df", volume, cabinet.transfer(microphones, frequency, air))
    pressure = np.ones((2, GRID.size), dtype=np.complex128)
    pressure[:, :450] = heard
    found, _ = carried(
        near(cone, port, pressure=pressure), PlacedSphere(RADIUS, microphones), frequency, air.speed
    )
    expected = far * np.linalg.norm(microphones, axis=-1)[:, None]
    # the leakage is interpolated over a twelfth of an octave
    assert np.max(np.abs(found / expected - 1.0)) < 1e-3
    # and it is worth taking off: adding both microphones as they are is wrong by more than half a decibel
    alone = sum(
        carried(near(r, pressure=pressure[[i]]), PlacedSphere(RADIUS, microphones), frequency, air.speed)[0]
        for i, r in enumerate((cone, port))
    )
    assert np.max(np.abs(20.0 * np.log10(np.abs(alone / expected)))) > 0.5


def test_two_alike_cones_from_one_near_field() -> None:
    """On a ball, beside a port with its own near field; the virtual loudspeaker's own series says what."""
    cones = (
        Radiator("upper", 0.1, up_m=0.06, left_m=0.02),
        Radiator("lower", 0.1, up_m=-0.06, left_m=-0.02, same_as="upper"),
    )
    port = Radiator("port", 0.04, left_m=0.12)
    caps = tuple(
        truth.Cap(
            r.diameter_m,
            float(np.rad2deg(np.arcsin(r.up_m / RADIUS))),
            float(np.rad2deg(np.arctan2(r.left_m, np.sqrt(RADIUS**2 - r.up_m**2 - r.left_m**2)))),
        )
        for r in (cones[0], port, cones[1])
    )
    cabinet = truth.SphericalCabinet(2.0 * RADIUS, caps)
    air, frequency = Air(), GRID[:450]
    ears = np.stack([cabinet.in_front_of(0, 0.005), cabinet.in_front_of(1, 0.005)])
    microphones = np.array([[2.0, 0.0, 0.0], [0.0, 1.9, 0.0], [-1.0, 0.5, -1.5]])
    volume = np.array([1.0, -0.7j, 1.0])
    pressure = np.ones((2, GRID.size), dtype=np.complex128)
    pressure[:, :450] = np.einsum("c,cdf->df", volume, cabinet.transfer(ears, frequency, air))
    far = np.einsum("c,cdf->df", volume, cabinet.transfer(microphones, frequency, air))
    heard = dataclasses.replace(near(cones[0], port, pressure=pressure), alike=((cones[1], 0),))
    sphere = PlacedSphere(RADIUS, microphones)
    found, noise_power = carried(heard, sphere, frequency, air.speed)
    expected = far * np.linalg.norm(microphones, axis=-1)[:, None]
    assert np.max(np.abs(found / expected - 1.0)) < 1e-3
    unsure = model_uncertainty_db(heard, sphere, frequency, air.speed)
    assert 0.05 < unsure.min() < unsure.max() < 1.5
    assert np.all(noise_power > 0.0)


def test_radiators_that_overlap_are_refused() -> None:
    both = near(Radiator("woofer", 0.16), Radiator("port", 0.05, up_m=0.09))
    with pytest.raises(CaseError, match=r"unit\.radiators.*overlap"):
        carried(both, PlacedSphere(RADIUS, np.array([[2.0, 0.0, 0.0]])), GRID[:300], SPEED)


def test_noise_of_both_adds() -> None:
    # on a sphere of 100 m two cones 6 m apart hear next to nothing of each other
    cabinet = PlacedSphere(100.0, np.array([[2_000.0, 0.0, 0.0]]))
    upper, lower = Radiator("upper", 0.08, up_m=3.0), Radiator("lower", 0.08, up_m=-3.0)
    _, one = carried(near(upper, gap_m=0.5), cabinet, GRID[:60], SPEED)
    _, two = carried(near(upper, lower, gap_m=0.5), cabinet, GRID[:60], SPEED)
    assert two == pytest.approx(2.0 * one, rel=0.03)
    # that of one microphone that stands for both comes as twice the pressure, less the part of its sound that
    # it hears of the other: like two points on a plane, 0.5 and √(6² + 0.5²) m away
    alike = dataclasses.replace(near(upper, gap_m=0.5), alike=((lower, 0),))
    _, both = carried(alike, cabinet, GRID[:60], SPEED)
    away = np.hypot(6.0, 0.5)
    heard = 1.0 + 0.5 / away * np.exp(-2j * np.pi * GRID[:60] / SPEED * (away - 0.5))
    assert both == pytest.approx(4.0 * one / np.abs(heard) ** 2, rel=0.03)


def test_a_radiator_on_the_back_of_a_sphere_is_heard_behind() -> None:
    ahead, behind = np.array([[2.0, 0.0, 0.0]]), np.array([[-2.0 - 2.0 * RADIUS, 0.0, 0.0]])
    front, back = Radiator("woofer", 0.16), Radiator("woofer", 0.16, face="back")
    one, _ = carried(near(front), PlacedSphere(RADIUS, ahead), GRID[:300], SPEED)
    two, _ = carried(near(back), PlacedSphere(RADIUS, behind), GRID[:300], SPEED)
    assert two / np.linalg.norm(behind) == pytest.approx(one / 2.0, rel=1e-9)


def test_a_sphere_has_no_sides() -> None:
    both = near(Radiator("port", 0.05, face="left", behind_m=0.1))
    with pytest.raises(CaseError, match=r"unit\.radiators.*port is on a sphere"):
        carried(both, PlacedSphere(RADIUS, np.array([[2.0, 0.0, 0.0]])), GRID[:300], SPEED)


def test_a_sphere_is_its_own_model() -> None:
    sphere = PlacedSphere(0.14, np.array([[2.0, 0.0, 0.0]]))
    assert not model_uncertainty_db(near(WOOFER), sphere, GRID[:450], SPEED).any()
