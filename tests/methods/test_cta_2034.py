"""CTA-2034-A against closed-form sources.

The expected levels were computed with an independent program from the recalled groups and weights (numpy and
scipy; standing: computed), and are rounded to 0.0001 dB.
"""

from __future__ import annotations

import closed_forms
import numpy as np
import pytest

from earwitness.methods import cta_2034
from earwitness.methods.cta_2034 import Readings, combine, curve_weights, power_weight
from earwitness.records.curves import CurveName as C
from earwitness.records.takes import Direction, Orbit

#: Recalled table of the document: weight by angle from the axis.
TABLE = {
    0: 0.000604486,
    10: 0.004730188,
    20: 0.008955027,
    30: 0.012387354,
    40: 0.014989611,
    50: 0.016868154,
    60: 0.018165962,
    70: 0.019006744,
    80: 0.019477787,
    90: 0.019629373,
}

PATTERNS = {
    "omni": closed_forms.omni,
    "cardioid": closed_forms.cardioid,
    "dipole": closed_forms.dipole,
    "cap ka 2": closed_forms.cap(2.0),
    "cap ka 5": closed_forms.cap(5.0),
    "cardioid 15° up": closed_forms.cardioid_up15,
}

A, B = Readings(), Readings(rear="nineteen")
FLAT_A, FLAT_B = Readings(early="flat"), Readings(rear="nineteen", early="flat")
RAW, AREA = Readings(sound_power="raw"), Readings(sound_power="area")

#: Level in dB re on axis (the tilted cardioid: re its own axis) of each pattern, in the order of `PATTERNS`.
VECTORS: list[tuple[C, Readings, tuple[float, ...]]] = [
    (C.LISTENING_WINDOW, A, (0, -0.2168, -0.4333, -0.1910, -0.3519, -0.3618)),
    (C.FLOOR_REFLECTION, A, (0, -0.6368, -1.3080, -0.5478, -1.0144, -1.3968)),
    (C.CEILING_REFLECTION, A, (0, -1.7243, -3.8021, -1.3567, -2.6244, -0.8541)),
    (C.FRONT_REFLECTION, A, (0, -0.2608, -0.5230, -0.2294, -0.4224, -0.4056)),
    (C.SIDE_REFLECTION, A, (0, -2.5003, -5.5373, -1.8076, -3.5193, -2.6014)),
    (C.REAR_REFLECTION, A, (0, -7.7815, -4.7712, -3.6153, -7.7090, -7.7790)),
    (C.REAR_REFLECTION, B, (0, -11.6986, -3.2451, -5.4473, -10.6265, -11.5523)),
    (C.EARLY_REFLECTIONS, A, (0, -1.9293, -2.7476, -1.3593, -2.4266, -1.9744)),
    (C.EARLY_REFLECTIONS, B, (0, -2.0655, -2.5239, -1.5409, -2.5543, -2.1090)),
    (C.EARLY_REFLECTIONS, FLAT_A, (0, -1.7636, -2.8561, -1.2762, -2.2968, -1.8429)),
    (C.EARLY_REFLECTIONS, FLAT_B, (0, -3.6538, -2.9142, -2.5227, -4.0689, -3.7191)),
    (C.TOTAL_HORIZONTAL_REFLECTIONS, A, (0, -2.5423, -3.0123, -1.6684, -2.9485, -2.6574)),
    (C.TOTAL_HORIZONTAL_REFLECTIONS, B, (0, -2.8077, -2.6237, -1.9988, -3.1919, -2.9239)),
    (C.TOTAL_VERTICAL_REFLECTIONS, A, (0, -1.1466, -2.3784, -0.9334, -1.7452, -1.1170)),
    (C.SOUND_POWER, A, (0, -4.6796, -4.4159, -3.2112, -5.3198, -4.6887)),
    (C.SOUND_POWER, RAW, (-0.0158, -4.6954, -4.4317, -3.2270, -5.3356, -4.7045)),
    (C.SOUND_POWER, AREA, (0, -4.6723, -4.3882, -3.2038, -5.3048, -4.6821)),
    (C.ESTIMATED_IN_ROOM, A, (0, -2.6270, -2.9973, -1.8934, -3.0841, -2.6829)),
    (C.ESTIMATED_IN_ROOM, B, (0, -2.6969, -2.8917, -1.9827, -3.1491, -2.7521)),
]

#: In-room weights on dB, readings A and B; and the indices.
IN_ROOM_LEVEL = {
    "three": (0, -2.9339, -3.2039, -2.0340, -3.4506, -2.9752),
    "nineteen": (0, -2.9939, -3.1055, -2.1138, -3.5068, -3.0344),
}
SOUND_POWER_DI = (0, 4.4628, 3.9826, 3.0202, 4.9678, 4.3269)
EARLY_DI = {
    "three": (0, 1.7124, 2.3143, 1.1683, 2.0746, 1.6126),
    "nineteen": (0, 1.8487, 2.0906, 1.3499, 2.2024, 1.7472),
}

DIRECTIONS = cta_2034.DIRECTIONS
VECTORS_OF_DIRECTIONS = closed_forms.unit_vectors(DIRECTIONS)
ROUNDING_DB = 1e-4


def pattern_power(name: str) -> np.ndarray:
    return np.array(PATTERNS[name](VECTORS_OF_DIRECTIONS, np.array([1000.0])))


def mean_db(power: np.ndarray, curve: C, readings: Readings = A) -> float:
    return float(10 * np.log10(combine(power, curve_weights(curve, DIRECTIONS, readings))[0]))


@pytest.mark.parametrize(("angle", "weight"), TABLE.items())
def test_weights_against_the_recalled_table(angle: int, weight: float) -> None:
    assert power_weight(angle) == pytest.approx(weight, abs=1e-9)
    assert power_weight(180 - angle) == pytest.approx(weight, abs=1e-9)
    assert power_weight(-angle) == pytest.approx(weight, abs=1e-9)


def test_weights_over_the_directions() -> None:
    # Computed: 70 directions once 0.996373083, 72 entries 0.997582056, poles four times exactly one.
    assert len(DIRECTIONS) == 70
    weights = power_weight([d.angle_deg for d in DIRECTIONS])
    poles = power_weight([0.0, 180.0])
    assert weights.sum() == pytest.approx(0.996373083, abs=1e-9)
    assert weights.sum() + poles.sum() == pytest.approx(0.997582056, abs=1e-9)
    assert weights.sum() + 3 * poles.sum() == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(("curve", "readings", "expected"), VECTORS)
def test_curves_of_closed_form_sources(curve: C, readings: Readings, expected: tuple[float, ...]) -> None:
    found = [mean_db(pattern_power(name), curve, readings) for name in PATTERNS]
    np.testing.assert_allclose(found, expected, atol=ROUNDING_DB)


@pytest.mark.parametrize("rear", ["three", "nineteen"])
def test_in_room_on_decibels_and_indices(rear: str) -> None:
    readings = B if rear == "nineteen" else A
    on_level = Readings(rear=readings.rear, in_room="level")
    for i, name in enumerate(PATTERNS):
        power = pattern_power(name)
        window, early, sound = (
            combine(power, curve_weights(c, DIRECTIONS, readings))
            for c in (C.LISTENING_WINDOW, C.EARLY_REFLECTIONS, C.SOUND_POWER)
        )
        room = cta_2034.estimated_in_room(window, early, sound, on_level)
        assert 10 * np.log10(room[0]) == pytest.approx(IN_ROOM_LEVEL[rear][i], abs=ROUNDING_DB)
        assert cta_2034.directivity_index_db(window, sound)[0] == pytest.approx(
            SOUND_POWER_DI[i], abs=ROUNDING_DB
        )
        assert cta_2034.directivity_index_db(window, early)[0] == pytest.approx(
            EARLY_DI[rear][i], abs=ROUNDING_DB
        )
        by_weights = combine(power, curve_weights(C.ESTIMATED_IN_ROOM, DIRECTIONS, readings))
        np.testing.assert_allclose(cta_2034.estimated_in_room(window, early, sound, readings), by_weights)


#: Error of the sound power against the exact mean over the sphere, cap of 20° on a rigid sphere, dB: table
#: normalised, raw, exact areas (computed).
POWER_ERRORS = {
    0.5: (0.0229, 0.0071, 0.0247),
    1.0: (0.0703, 0.0546, 0.0760),
    2.0: (0.0513, 0.0355, 0.0587),
    5.0: (0.1374, 0.1216, 0.1524),
    10.0: (0.5062, 0.4904, 0.5723),
    20.0: (0.6037, 0.5879, 0.8747),
}


@pytest.mark.parametrize("ka", POWER_ERRORS)
def test_sound_power_of_a_cap_on_a_sphere(ka: float) -> None:
    pattern = closed_forms.cap(ka)
    cosine, weight = np.polynomial.legendre.leggauss(200)
    ring = np.stack((cosine, np.sqrt(1 - cosine**2), np.zeros(200)), axis=-1)
    exact_db = 10 * np.log10(0.5 * weight @ pattern(ring, np.array([1.0]))[:, 0])
    power = np.array(pattern(VECTORS_OF_DIRECTIONS, np.array([1.0])))
    found = [mean_db(power, C.SOUND_POWER, r) - exact_db for r in (A, RAW, AREA)]
    np.testing.assert_allclose(found, POWER_ERRORS[ka], atol=ROUNDING_DB)


def test_dipoles_across_the_axis() -> None:
    # Computed: dipole along y or z, −4.9604 dB.
    for axis in (1, 2):
        power = VECTORS_OF_DIRECTIONS[:, axis, None] ** 2
        assert mean_db(power, C.SOUND_POWER) == pytest.approx(-4.9604, abs=ROUNDING_DB)


def test_directions_in_any_place_and_draws_in_front() -> None:
    power = np.random.default_rng(2).random((4, 70, 3))
    row = curve_weights(C.EARLY_REFLECTIONS, DIRECTIONS)
    expected = (row[None, :, None] * power).sum(axis=1)
    np.testing.assert_allclose(combine(power, row), expected)
    np.testing.assert_allclose(combine(np.moveaxis(power, 1, 0), row, axis=0), expected)
    assert combine(power, np.stack((row, row))).shape == (4, 2, 3)


def test_an_index_is_no_mean() -> None:
    with pytest.raises(KeyError):
        cta_2034.direction_weights(C.SOUND_POWER_DI)


def vectors_hold(power_of: dict[str, np.ndarray], rows: dict[tuple[C, Readings], np.ndarray]) -> bool:
    return all(
        abs(10 * np.log10((rows[curve, readings] @ power_of[name])[0]) - expected[i]) <= ROUNDING_DB
        for curve, readings, expected in VECTORS
        for i, name in enumerate(PATTERNS)
    )


def test_a_weight_one_percent_off_or_two_directions_swapped_are_noticed() -> None:
    powers = {name: pattern_power(name) for name in PATTERNS}
    rows = {(c, r): curve_weights(c, DIRECTIONS, r) for c, r, _ in VECTORS}
    assert vectors_hold(powers, rows)
    place = DIRECTIONS.index(Direction(Orbit.HORIZONTAL, 50.0))
    heavier = {key: row * np.where(np.arange(70) == place, 1.01, 1.0) for key, row in rows.items()}
    assert not vectors_hold(powers, heavier)
    other = DIRECTIONS.index(Direction(Orbit.VERTICAL, 50.0))
    order = np.arange(70)
    order[[place, other]] = other, place
    assert not vectors_hold({name: power[order] for name, power in powers.items()}, rows)


def test_each_curve_says_which_reading_it_follows() -> None:
    assert cta_2034.reading_words(C.ON_AXIS) == ""
    assert cta_2034.reading_words(C.LISTENING_WINDOW) == ""
    assert cta_2034.reading_words(C.EARLY_REFLECTIONS) == (
        "rear as three directions; groups with equal weight"
    )
    other = cta_2034.Readings("nineteen", "flat", "level", "area")
    for curve in C:
        words = cta_2034.reading_words(curve)
        assert not any(c.isdigit() for c in words)
        assert (cta_2034.reading_words(curve, other) == words) is (words == "")
    assert cta_2034.reading_words(C.ESTIMATED_IN_ROOM, other) == (
        "rear as nineteen directions; all directions with equal weight; sound-power weights as exact areas; "
        "in-room weights on level"
    )
