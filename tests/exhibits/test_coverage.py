from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from specimen import curve_set

from earwitness.exhibits.coverage import coverage
from earwitness.exhibits.description import LevelMap
from earwitness.exhibits.level_regions import regions
from earwitness.records.curves import CoverageMap, CurveSet

CURVES = curve_set()


def shown(measured: CoverageMap) -> tuple[LevelMap, tuple[float, float]]:
    exhibit = coverage(replace(CURVES, coverage={measured.orbit: measured}), measured.orbit)
    assert exhibit is not None
    panel = exhibit.panels[0]
    assert panel.level_map is not None
    return panel.level_map, (panel.y_axis.minimum, panel.y_axis.maximum)


def rows(measured: CoverageMap, kept: slice) -> CoverageMap:
    return replace(
        measured,
        angle_deg=measured.angle_deg[kept],
        relative_db=measured.relative_db[kept],
        valid=measured.valid[kept],
    )


def test_behind_is_at_both_ends() -> None:
    whole = CURVES.coverage["horizontal"]
    level = np.array(whole.relative_db)
    level[-1] = -11.0
    level_map, limits = shown(rows(replace(whole, relative_db=level), slice(1, None)))
    assert limits == (-180.0, 180.0)
    assert np.all(level_map.z[0] == -11.0)
    assert np.array_equal(level_map.z[-1], level_map.z[0])
    assert level_map.z.shape == (level_map.y.size, level_map.x.size)


def test_a_part_of_an_orbit_is_shown_as_far_as_it_was_measured() -> None:
    level_map, limits = shown(rows(CURVES.coverage["vertical"], slice(9, 28)))
    assert limits == (-90.0, 90.0)
    assert level_map.y[0] == -90.0


def test_nothing_is_drawn_across_directions_that_werent_measured() -> None:
    whole = CURVES.coverage["horizontal"]
    kept = (whole.angle_deg < 20.0) | (whole.angle_deg > 80.0)
    level_map, _ = shown(
        replace(
            whole,
            angle_deg=whole.angle_deg[kept],
            relative_db=whole.relative_db[kept],
            valid=whole.valid[kept],
        )
    )
    corners = np.vstack([ring for region in regions(level_map) for ring in region.rings])
    assert not np.any((corners[:, 1] > 10.0) & (corners[:, 1] < 90.0))
    assert np.any(corners[:, 1] == 10.0)


def test_one_angle_is_not_a_map() -> None:
    one = rows(CURVES.coverage["vertical"], slice(18, 19))
    assert coverage(replace(CURVES, coverage={"vertical": one}), "vertical") is None
    assert coverage(CurveSet(CURVES.frequency_hz, "2.83 V", CURVES.curves), "vertical") is None


def test_the_map_reaches_the_ends_of_the_grid() -> None:
    level_map, _ = shown(CURVES.coverage["horizontal"])
    assert (level_map.x[0], level_map.x[-1]) == (CURVES.frequency_hz[0], CURVES.frequency_hz[-1])
    at_1k = int(np.argmin(np.abs(level_map.x - 1000.0)))
    # The specimen at 1 kHz: −6 (60 / half)² dB with half = 90 − 9.6 log2(1000 / 300) degrees.
    half = 90.0 - 9.6 * np.log2(level_map.x[at_1k] / 300.0)
    row = int(np.flatnonzero(level_map.y == 60.0)[0])
    assert level_map.z[row, at_1k] == pytest.approx(-6.0 * (60.0 / half) ** 2)


@pytest.mark.parametrize(
    ("orbit", "words"), [("horizontal", "to the loudspeaker’s left"), ("vertical", "upward")]
)
def test_the_caption_says_which_side_is_positive(orbit: str, words: str) -> None:
    # AES69: azimuth counter-clockwise from above, +90° the loudspeaker’s left; elevation is up.
    exhibit = coverage(CURVES, orbit)
    assert exhibit is not None
    assert f"Positive angles are {words}." in str(exhibit.caption)
    assert "The heavy line is −6 dB." in str(exhibit.caption)


def test_a_mirrored_side_is_said() -> None:
    whole = CURVES.coverage["horizontal"]
    said = "mirror image of the other side"
    for mirrored, expected in (((), False), ((-20.0, -10.0), True)):
        charts = {"horizontal": replace(whole, mirrored_deg=mirrored)}
        exhibit = coverage(replace(CURVES, coverage=charts), "horizontal")
        assert exhibit is not None
        assert (said in str(exhibit.conditions)) is expected
