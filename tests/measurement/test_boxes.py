"""Near fields carried by a box: against the workshop's box, and what contradicts a box as described."""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.measurement.boxes import placed_box
from earwitness.measurement.carrying import carried, model_uncertainty_db
from earwitness.measurement.near_field import NearField
from earwitness.records.errors import CaseError
from earwitness.records.facts import Box, Radiator
from earwitness.records.takes import TakeId
from earwitness.virtual.air import Air
from earwitness.virtual.box import BoxCabinet, RoundRadiator

FREQUENCY = np.geomspace(20.0, 500.0, 60)
AIR = Air(20.0)
HIGHEST = 2.0 * np.pi * 500.0 / AIR.speed
BOX = Box(0.2, 0.36, 0.28, reference_up_m=0.11)
MICROPHONES = np.array(
    [
        [2.0, 0.0, 0.0],
        [1.7, 1.0, 0.0],
        [-0.1, 2.1, 0.0],
        [-0.1, -2.1, 0.0],
        [-0.1, 0.0, 2.1],
        [-2.2, 0.0, 0.0],
    ]
)
GAP_M = 0.007
PLACES = {
    "front": ({"up_m": -0.25, "left_m": 0.03}, {"up_m": -0.25, "across_m": 0.03}),
    "back": ({"up_m": -0.03}, {"up_m": -0.03}),
    "right": ({"up_m": -0.2, "behind_m": 0.2}, {"up_m": -0.2, "across_m": -0.2}),
    "bottom": ({"left_m": 0.02, "behind_m": 0.1}, {"across_m": 0.02, "up_m": -0.1}),
}


def near(*radiators: Radiator, pressure: npt.NDArray[np.complex128] | None = None) -> NearField:
    """1 Pa per volt in front of each radiator, or as given."""
    shape = (len(radiators), FREQUENCY.size)
    return NearField(
        takes=tuple(TakeId(r.name) for r in radiators),
        radiators=radiators,
        pressure=np.ones(shape, dtype=np.complex128) if pressure is None else pressure,
        noise_power=np.full(shape, 1e-6),
        valid=np.ones(FREQUENCY.size, dtype=np.bool_),
        gap_m=np.full(len(radiators), GAP_M),
        notes=(),
    )


@pytest.mark.parametrize("face", PLACES)
@pytest.mark.parametrize("port_part", [1.0, -0.4j, -0.8])
def test_a_cone_and_a_port_anywhere(face: str, port_part: complex) -> None:
    """The workshop's edge sources say what both microphones hear, and what is heard far away."""
    stated, true = PLACES[face]
    port = Radiator("port", 0.05, face=face, **stated)  # type: ignore[arg-type]
    cone = Radiator("woofer", 0.133, up_m=-0.115)
    cabinet = BoxCabinet(
        0.2,
        0.36,
        0.28,
        (RoundRadiator(0.133, -0.115), RoundRadiator(0.05, face=face, **true)),  # type: ignore[arg-type]
        reference_up_m=0.11,
    )
    ears = np.stack([cabinet.in_front_of(number, GAP_M) for number in range(2)])
    volume = np.array([1.0, port_part])
    everywhere = np.einsum(
        "c,cdf->df", volume, cabinet.transfer(np.concatenate([ears, MICROPHONES]), FREQUENCY, AIR)
    )
    heard = near(cone, port, pressure=everywhere[:2])
    placed = placed_box(BOX, [cone, port], heard, MICROPHONES, HIGHEST)
    found, noise_power = carried(heard, placed, FREQUENCY, AIR.speed)
    expected = everywhere[2:] * np.linalg.norm(MICROPHONES, axis=-1)[:, None]
    apart = np.abs(20.0 * np.log10(np.abs(found / expected)))
    # where both nearly cancel, what is left is that much less sure
    loud = np.abs(expected) > 0.3 * np.abs(expected).max(axis=0)
    assert apart[loud].max() < 0.5
    assert apart[:, FREQUENCY < 150.0].max() < 0.2
    assert np.all(noise_power > 0.0)
    model_db = model_uncertainty_db(heard, placed, FREQUENCY, AIR.speed)
    assert model_db.min() > 0.0005
    assert model_db[0].max() < 0.2


def test_two_alike_cones_from_one_near_field() -> None:
    """The workshop's edge sources: one microphone hears both cones, and one near field stands for both."""
    upper, lower = Radiator("upper", 0.12, up_m=-0.06), Radiator("lower", 0.12, up_m=-0.2, same_as="upper")
    cabinet = BoxCabinet(
        0.2, 0.36, 0.28, (RoundRadiator(0.12, -0.06), RoundRadiator(0.12, -0.2)), reference_up_m=0.11
    )
    ear = cabinet.in_front_of(0, GAP_M)[None]
    everywhere = cabinet.transfer(np.concatenate([ear, MICROPHONES]), FREQUENCY, AIR).sum(axis=0)
    heard = dataclasses.replace(near(upper, pressure=everywhere[:1]), alike=((lower, 0),))
    placed = placed_box(BOX, [upper, lower], heard, MICROPHONES, HIGHEST)
    found, _ = carried(heard, placed, FREQUENCY, AIR.speed)
    expected = everywhere[1:] * np.linalg.norm(MICROPHONES, axis=-1)[:, None]
    apart = np.abs(20.0 * np.log10(np.abs(found / expected)))
    assert apart.max() < 0.3
    assert apart[:, FREQUENCY < 150.0].max() < 0.1
    # at half the sum, what its own microphone hears of it (a fifth) taken off: 1 dB is some 0.4, over √3
    model_db = model_uncertainty_db(heard, placed, FREQUENCY, AIR.speed)
    assert 0.15 < model_db[0, FREQUENCY < 150.0].min() <= model_db[0, FREQUENCY < 150.0].max() < 0.3


def test_alike_radiators_that_overlap_are_refused() -> None:
    cone, other = Radiator("woofer", 0.133, up_m=-0.115), Radiator("low", 0.133, up_m=-0.2)
    heard = dataclasses.replace(near(cone), alike=((other, 0),))
    with pytest.raises(CaseError, match=r"unit\.radiators.*woofer and low overlap"):
        placed_box(BOX, [cone, other], heard, MICROPHONES, HIGHEST)


def test_the_same_place_twice_is_computed_once_and_given_twice() -> None:
    cone = Radiator("woofer", 0.133, up_m=-0.115)
    twice = MICROPHONES[[2, 0, 2, 1]]
    placed = placed_box(BOX, [cone], near(cone), twice, HIGHEST)
    found, _ = carried(near(cone), placed, FREQUENCY, AIR.speed)
    alone, _ = carried(
        near(cone), placed_box(BOX, [cone], near(cone), MICROPHONES[:3], HIGHEST), FREQUENCY, AIR.speed
    )
    assert found == pytest.approx(alone[[2, 0, 2, 1]], rel=1e-9)
    assert placed.best.values.shape[1] == 1 + 3


def test_noise_is_carried_as_sound_is() -> None:
    cone = Radiator("woofer", 0.133, up_m=-0.115)
    placed = placed_box(BOX, [cone], near(cone), MICROPHONES, HIGHEST)
    found, noise_power = carried(near(cone), placed, FREQUENCY, AIR.speed)
    assert noise_power == pytest.approx(1e-6 * np.abs(found) ** 2, rel=1e-9)


def test_rounded_edges_make_the_model_less_sure() -> None:
    cone = Radiator("woofer", 0.133, up_m=-0.115)
    sharp, rounded = (
        model_uncertainty_db(
            near(cone),
            placed_box(dataclasses.replace(BOX, edge_m=edge), [cone], near(cone), MICROPHONES[:2], HIGHEST),
            FREQUENCY,
            AIR.speed,
        )
        for edge in (0.0, 0.03)
    )
    assert np.all(rounded > sharp)
    # 3 cm of rounding are a box 9 mm wider each way, or a step that comes some 7 % lower
    assert 0.03 < rounded[0].max() < 0.3


def test_what_a_rounding_does_is_within_what_is_said_of_it() -> None:
    """The workshop's box with a bevel that touches a rounding of 4 cm, below and at the step."""
    turned = RoundRadiator(0.133, -0.115)
    sharp, bevelled = (
        BoxCabinet(0.2, 0.36, 0.28, (turned,), reference_up_m=0.11, edge_radius_m=radius)
        for radius in (0.0, 0.04)
    )
    ear = sharp.in_front_of(0, GAP_M)[None]
    places = np.concatenate([ear, MICROPHONES[:4]])
    of_sharp, of_bevelled = (cabinet.transfer(places, FREQUENCY, AIR)[0] for cabinet in (sharp, bevelled))
    ratio = (of_bevelled[1:] / of_bevelled[0]) / (of_sharp[1:] / of_sharp[0])
    does_db = np.sqrt(np.mean((20.0 * np.log10(np.abs(ratio))) ** 2))
    cone = Radiator("woofer", 0.133, up_m=-0.115)
    placed = placed_box(dataclasses.replace(BOX, edge_m=0.04), [cone], near(cone), MICROPHONES[:4], HIGHEST)
    said_db = np.sqrt(np.mean(model_uncertainty_db(near(cone), placed, FREQUENCY, AIR.speed) ** 2))
    assert 0.3 < does_db / said_db < 1.7


@pytest.mark.parametrize(
    ("radiator", "words"),
    [
        (Radiator("woofer", 0.133, up_m=-0.255), "woofer lies 3.2 cm outside the front"),
        (Radiator("woofer", 0.133, left_m=-0.05), "woofer lies 1.7 cm outside the front"),
        (Radiator("port", 0.05, up_m=0.06, face="back"), "port lies 1.5 cm outside the back"),
        (Radiator("port", 0.05, face="left", behind_m=0.01), "port lies 1.5 cm outside the left"),
        (Radiator("port", 0.05, face="top", behind_m=0.01), "port lies 1.5 cm outside the top"),
        (Radiator("port", 0.05, face="top"), "port is on the top, but not how far behind the front"),
        (Radiator("port", 0.05, behind_m=0.1), "port is on the front, which has no depth"),
        (Radiator("port", 0.05, face="left", behind_m=0.1, left_m=0.02), "which left_m can't change"),
        (Radiator("port", 0.05, face="bottom", behind_m=0.1, up_m=-0.2), "which up_m can't change"),
    ],
)
def test_radiators_off_their_face_are_refused(radiator: Radiator, words: str) -> None:
    with pytest.raises(CaseError, match=r"unit\.radiators.*" + words):
        placed_box(BOX, [radiator], near(radiator), MICROPHONES, HIGHEST)


def test_what_is_stated_to_the_millimetre_may_touch_the_edge() -> None:
    wide = Radiator("woofer", 0.2015, up_m=-0.12)
    placed_box(BOX, [wide], near(wide), MICROPHONES[:1], HIGHEST)


def test_a_front_without_its_reference_point_is_refused() -> None:
    cone = Radiator("woofer", 0.133)
    with pytest.raises(CaseError, match=r"unit\.cabinet\.reference_up_m"):
        placed_box(Box(0.2, 0.36, 0.28), [cone], near(cone), MICROPHONES, HIGHEST)


def test_radiators_that_overlap_are_refused() -> None:
    cone, port = Radiator("woofer", 0.133, up_m=-0.115), Radiator("port", 0.05, up_m=-0.2)
    with pytest.raises(CaseError, match=r"unit\.radiators.*overlap"):
        placed_box(BOX, [cone, port], near(cone, port), MICROPHONES, HIGHEST)
