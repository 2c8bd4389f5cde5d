"""The specimen's map falls as −6 (θ/half)² dB, so that its −6 dB line stands at ± half."""

from __future__ import annotations

import numpy as np
import pytest
from specimen import curve_set

from earwitness.exhibits.coverage import coverage
from earwitness.exhibits.description import LevelMap
from earwitness.exhibits.level_regions import Region, level_lines, regions
from earwitness.records.grid import Floats


def specimen_map(valid_from_hz: float = 20.0) -> LevelMap:
    exhibit = coverage(curve_set(valid_from_hz), "horizontal")
    assert exhibit is not None
    shown = exhibit.panels[0].level_map
    assert shown is not None
    return shown


def half_deg(frequency_hz: Floats) -> Floats:
    octaves = np.log2(np.clip(frequency_hz, 300.0, None) / 300.0)
    return np.asarray(np.clip(90.0 - 9.6 * octaves, 20.0, 90.0))


def area(region: Region) -> float:
    """In decades times degrees; rings turn one way outside and the other way round holes."""
    total = 0.0
    for ring in region.rings:
        x, y = np.log10(ring[:, 0]), ring[:, 1]
        total += 0.5 * float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
    return total


def test_the_heavy_line_is_the_6_decibel_line() -> None:
    lines = {line.level_db: line for line in level_lines(specimen_map())}
    assert [level for level, line in lines.items() if line.heavy] == [-6.0]
    found = np.vstack(lines[-6.0].paths)
    # Linear interpolation of a parabola between 10° steps is off by less than half a degree.
    assert np.abs(np.abs(found[:, 1]) - half_deg(found[:, 0])).max() < 0.5
    assert set(np.sign(found[:, 1])) == {-1.0, 1.0}


def test_regions_lie_within_each_other() -> None:
    areas = [area(region) for region in regions(specimen_map())]
    assert areas == sorted(areas, reverse=True)
    assert areas[0] == pytest.approx(360.0 * np.log10(specimen_map().x[-1] / specimen_map().x[0]), rel=1e-6)


def test_a_hole_turns_the_other_way() -> None:
    x, y = np.geomspace(100.0, 10_000.0, 41), np.linspace(-90.0, 90.0, 41)
    across, up = np.meshgrid(np.log10(x) - 3.0, y / 90.0)
    z = -12.0 * np.exp(-(across**2 + up**2) * 8.0)
    shown = LevelMap("coverage_horizontal", x, y, z, (-6.0,), -6.0)
    everywhere, loud = regions(shown)
    # Below −6 dB inside the circle exp(−8 r²) = 1/2, whose radius is sqrt(ln 2 / 8).
    hole = np.pi * np.log(2.0) / 8.0 * 90.0
    assert area(everywhere) - area(loud) == pytest.approx(hole, rel=0.01)
    assert len(loud.rings) == 2


def test_nothing_is_drawn_where_nothing_is_valid() -> None:
    shown = specimen_map(valid_from_hz=500.0)
    for region in regions(shown):
        assert min(ring[:, 0].min() for ring in region.rings) >= 500.0 * (1 - 1e-9)
    for line in level_lines(shown):
        assert all(path[:, 0].min() >= 500.0 * (1 - 1e-9) for path in line.paths)
