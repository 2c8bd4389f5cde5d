"""The fourteen curves against sources whose curves are computed elsewhere (design notes, FACTS section 1)."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.virtual.arrays import Floats
from earwitness.virtual.standard_curves import CURVES, DIRECTIONS, areas, power_curves

#: dB re on axis; computed independently of this package, at four decimals. Dipole: cos; cardioid: half of
#: 1 + cos; aimed: a cardioid 15 degrees up, not normalised.
EXPECTED = {
    "dipole": (
        ("listening_window", -0.4333),
        ("floor_reflection", -1.3080),
        ("ceiling_reflection", -3.8021),
        ("front_reflection", -0.5230),
        ("side_reflection", -5.5373),
        ("rear_reflection", -4.7712),
        ("early_reflections", -2.7476),
        ("total_horizontal_reflections", -3.0123),
        ("total_vertical_reflections", -2.3784),
        ("sound_power", -4.4159),
        ("estimated_in_room", -2.9973),
        ("sound_power_di", 3.9826),
        ("early_reflections_di", 2.3143),
    ),
    "cardioid": (
        ("listening_window", -0.2168),
        ("floor_reflection", -0.6368),
        ("ceiling_reflection", -1.7243),
        ("front_reflection", -0.2608),
        ("side_reflection", -2.5003),
        ("rear_reflection", -7.7815),
        ("early_reflections", -1.9293),
        ("total_horizontal_reflections", -2.5423),
        ("total_vertical_reflections", -1.1466),
        ("sound_power", -4.6796),
        ("estimated_in_room", -2.6270),
        ("sound_power_di", 4.4628),
        ("early_reflections_di", 1.7124),
    ),
    "aimed": (
        ("listening_window", -0.3618),
        ("floor_reflection", -1.3968),
        ("ceiling_reflection", -0.8541),
        ("front_reflection", -0.4056),
        ("side_reflection", -2.6014),
        ("rear_reflection", -7.7790),
        ("early_reflections", -1.9744),
        ("total_horizontal_reflections", -2.6574),
        ("total_vertical_reflections", -1.1170),
        ("sound_power", -4.6887),
        ("estimated_in_room", -2.6829),
        ("sound_power_di", 4.3269),
        ("early_reflections_di", 1.6126),
    ),
}


def cosines(up_deg: float = 0.0) -> Floats:
    """Between each direction and one that lies so high, shape (72, 1)."""
    aim = np.radians(up_deg)
    found = []
    for orbit, angle in DIRECTIONS:
        along, across = np.cos(np.radians(angle)), np.sin(np.radians(angle))
        found.append(along * np.cos(aim) + (across * np.sin(aim) if orbit == "vertical" else 0.0))
    return np.array(found)[:, None]


SOURCES = {"dipole": cosines(), "cardioid": (1.0 + cosines()) / 2.0, "aimed": (1.0 + cosines(15.0)) / 2.0}


@pytest.mark.parametrize("source", EXPECTED)
def test_curves_of_known_sources(source: str) -> None:
    found = power_curves(SOURCES[source])
    for name, level in EXPECTED[source]:
        assert 10.0 * np.log10(found[name][0]) == pytest.approx(level, abs=6e-5), name


def test_a_ball_of_sound_is_alike_in_every_curve() -> None:
    found = power_curves(np.full((72, 3), 2.0))
    assert tuple(found) == CURVES
    for name, power in found.items():
        np.testing.assert_allclose(power, 1.0 if name.endswith("_di") else 4.0, rtol=1e-12)


def test_areas_are_those_of_the_table() -> None:
    """Entries of ANSI/CTA-2034-A (recalled), divided by the sum of all 70 (computed: 0.996373083)."""
    weights = dict(zip(DIRECTIONS, areas(), strict=True))
    for angle, entry in ((0, 0.000604486), (30, 0.012387354), (90, 0.019629373), (-170, 0.004730188)):
        assert weights["horizontal", angle] == pytest.approx(entry / 0.996373083, rel=2e-7)
    assert weights["vertical", 0] == weights["vertical", 180] == 0.0
    assert weights["vertical", 90] == weights["horizontal", -90]
