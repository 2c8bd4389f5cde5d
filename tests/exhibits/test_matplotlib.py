from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from specimen import curve_set, findings

from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.description import Exhibit
from earwitness.exhibits.geometry import frame
from earwitness.exhibits.matplotlib import MARGINS, POINTS_PER_PX, WIDTH_MM, Format, draw
from earwitness.exhibits.palette import TOKENS, Mode
from earwitness.exhibits.places import locate

CURVES = curve_set(valid_from_hz=31.0)
EXHIBITS = describe(CURVES)
SVG = "{http://www.w3.org/2000/svg}"
MOST_BYTES = 400_000
NUMBER = re.compile(r"-?\d+\.?\d*(?:e-?\d+)?")


def group(root: ET.Element, name: str) -> ET.Element:
    return next(e for e in root.iter(f"{SVG}g") if e.get("id") == name)


def points(element: ET.Element) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """The corners of the first path in an element, shape (N, 2), in points from the upper left."""
    path = next(element.iter(f"{SVG}path"))
    return np.array([float(n) for n in NUMBER.findall(path.get("d") or "")]).reshape(-1, 2)


def sizes(root: ET.Element) -> list[float]:
    return [float((root.get(side) or "").removesuffix("pt")) for side in ("width", "height")]


def axes_box(root: ET.Element, index: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Width and height of the axes, from the path that clips them."""
    rectangles = list(root.iter(f"{SVG}clipPath"))
    boxes = {tuple(float(r[0].get(k) or "nan") for k in ("x", "y", "width", "height")) for r in rectangles}
    return np.array(sorted(boxes, key=lambda b: b[1])[index][2:])


@pytest.mark.parametrize("exhibit", EXHIBITS, ids=lambda e: e.id)
@pytest.mark.parametrize(
    ("mode", "file_format"),
    [(Mode.LIGHT, "svg"), (Mode.DARK, "svg"), (Mode.LIGHT, "pdf"), (Mode.LIGHT, "png")],
)
def test_the_same_bytes_every_time_and_not_too_many(
    exhibit: Exhibit, file_format: Format, mode: Mode
) -> None:
    made = draw(exhibit, mode, file_format)
    assert made == draw(exhibit, mode, file_format)
    assert len(made) < MOST_BYTES
    assert made.startswith({"svg": b"<?xml", "pdf": b"%PDF", "png": b"\x89PNG"}[file_format])
    assert b"CreationDate" not in made
    assert b"<dc:date>" not in made


@pytest.mark.parametrize("width_mm", [90.0, 165.0])
@pytest.mark.parametrize("panel", [0, 1])
def test_a_decade_is_as_long_as_25_decibels(width_mm: float, panel: int) -> None:
    root = ET.fromstring(draw(EXHIBITS[0], width_mm=width_mm))
    assert sizes(root)[0] == pytest.approx(width_mm * 72 / 25.4)
    width, height = axes_box(root, panel)
    axis = EXHIBITS[0].panels[panel].y_axis
    assert (width / 3) / (height / (axis.maximum - axis.minimum)) == pytest.approx(25.0, rel=1e-4)


def test_panels_stand_where_the_geometry_puts_them() -> None:
    root = ET.fromstring(draw(EXHIBITS[0]))
    clips = {tuple(float(c[0].get(k) or "nan") for k in ("x", "y")) for c in root.iter(f"{SVG}clipPath")}
    placed = frame(EXHIBITS[0], WIDTH_MM, MARGINS)
    expected = [(box.left * 72 / 25.4, box.top * 72 / 25.4) for box in placed.boxes]
    assert np.array(sorted(clips, key=lambda c: c[1])) == pytest.approx(np.array(expected), abs=0.01)


def test_dashes_are_as_long_as_on_the_page() -> None:
    root = ET.fromstring(draw(EXHIBITS[0]))
    style = next(group(root, "line-early-reflections").iter(f"{SVG}path")).get("style") or ""
    found = re.search(r"stroke-dasharray: ([\d.]+),([\d.]+)", style)
    assert found is not None
    assert [float(n) for n in found.groups()] == pytest.approx([7 * POINTS_PER_PX, 3 * POINTS_PER_PX])


def test_a_line_stands_where_its_levels_are() -> None:
    root = ET.fromstring(draw(EXHIBITS[0]))
    path = points(group(root, "line-on-axis"))
    clip = next(c[0] for c in root.iter(f"{SVG}clipPath"))
    left, top, width, height = (float(clip.get(k) or "nan") for k in ("x", "y", "width", "height"))
    axis = EXHIBITS[0].panels[0].y_axis
    frequency = 20.0 * 1000.0 ** ((path[:, 0] - left) / width)
    level = axis.maximum - (path[:, 1] - top) / height * (axis.maximum - axis.minimum)
    drawn = EXHIBITS[0].panels[0].lines[0]
    ok = np.isfinite(drawn.y)
    # The outline is simplified to within 1/9 pixel, which is 0.02 dB here.
    assert np.abs(level - np.interp(np.log(frequency), np.log(drawn.x[ok]), drawn.y[ok])).max() < 0.03
    assert frequency.min() == pytest.approx(drawn.x[ok][0], rel=1e-3)


def test_a_gap_breaks_the_path() -> None:
    line = EXHIBITS[1].panels[0].lines[0]
    away = np.abs(np.log2(line.x / 1000.0)) > 1.0
    holed = replace(line, y=np.where(away, line.y, np.nan))
    panel = replace(EXHIBITS[1].panels[0], lines=(holed,))
    root = ET.fromstring(draw(replace(EXHIBITS[1], panels=(panel,))))
    for name in ("line-on-axis", "band-on_axis"):
        path = next(group(root, name).iter(f"{SVG}path")).get("d") or ""
        assert path.count("M") == 2


def test_the_band_is_there_in_the_lines_own_colour() -> None:
    root = ET.fromstring(draw(EXHIBITS[0], Mode.DARK))
    style = next(group(root, "band-sound_power").iter(f"{SVG}path")).get("style") or ""
    assert "fill: #e0b45c; opacity: 0.16" in style or "fill: #e0b45c; fill-opacity: 0.16" in style


@pytest.mark.parametrize("mode", Mode)
def test_the_modes_colours(mode: Mode) -> None:
    made = draw(EXHIBITS[0], mode).decode()
    tokens = TOKENS[mode]
    for colour in (
        tokens.ground,
        tokens.grid,
        tokens.quiet,
        *(tokens.roles[r.role] for r in EXHIBITS[0].panels[0].lines),
    ):
        assert colour in made
    assert TOKENS[Mode.DARK if mode is Mode.LIGHT else Mode.LIGHT].ground not in made


def test_a_mark_is_a_band_with_its_number() -> None:
    told = findings().findings[1]
    assert told.place is not None
    marks = dict.fromkeys(locate(told.place, EXHIBITS, told.id), "2")
    plain, marked = draw(EXHIBITS[0]), draw(EXHIBITS[0], marks=marks)
    root = ET.fromstring(marked)
    corners = points(group(root, "mark"))
    clip = next(c[0] for c in root.iter(f"{SVG}clipPath"))
    left, width = (float(clip.get(k) or "nan") for k in ("x", "width"))
    edges = 20.0 * 1000.0 ** ((np.array([corners[:, 0].min(), corners[:, 0].max()]) - left) / width)
    assert edges == pytest.approx([300.0, 3000.0], rel=1e-3)
    assert b'id="mark"' not in plain
    assert draw(EXHIBITS[4], marks=marks) == draw(EXHIBITS[4])


def test_areas_of_a_map_reach_the_specimens_half_angle() -> None:
    root = ET.fromstring(draw(EXHIBITS[3]))
    clip = next(c[0] for c in root.iter(f"{SVG}clipPath"))
    _, top, _, height = (float(clip.get(k) or "nan") for k in ("x", "y", "width", "height"))
    path = points(group(root, "area--6"))
    angle = 180.0 - (path[:, 1] - top) / height * 360.0
    assert (angle.max(), angle.min()) == pytest.approx((90.0, -90.0), abs=0.1)


def test_positive_angles_are_above() -> None:
    panel = EXHIBITS[4].panels[0]
    assert panel.level_map is not None
    # Louder the higher: the −3 dB area reaches from +90° up.
    slope = np.broadcast_to((panel.level_map.y[:, None] - 120.0) / 10.0, panel.level_map.z.shape)
    upward = replace(panel, level_map=replace(panel.level_map, z=slope))
    root = ET.fromstring(draw(replace(EXHIBITS[4], panels=(upward,))))
    clip = next(c[0] for c in root.iter(f"{SVG}clipPath"))
    top, height = (float(clip.get(k) or "nan") for k in ("y", "height"))
    path = points(group(root, "area--3"))
    assert (path[:, 1].min(), path[:, 1].max()) == pytest.approx((top, top + height / 4), abs=0.1)
