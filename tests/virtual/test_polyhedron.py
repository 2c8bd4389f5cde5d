"""Boxes with and without bevels, against solid geometry."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from earwitness.virtual.polyhedron import Polyhedron, bevelled, cuboid

LOW, HIGH = np.array([-0.3, -0.1, -0.2]), np.array([0.0, 0.1, 0.15])
LEG_M = 0.02
BODIES = {"sharp": cuboid(LOW, HIGH), "bevelled": bevelled(LOW, HIGH, LEG_M)}


@pytest.mark.parametrize("body", BODIES.values(), ids=BODIES)
def test_faces_close_the_body(body: Polyhedron) -> None:
    """Euler: corners − edges + faces = 2; Gauss: areas times normals vanish; the hull of the corners."""
    assert len(body.corners) - len(body.edges()) + len(body.faces) == 2
    hull = ConvexHull(body.corners)
    area, closed = 0.0, np.zeros(3)
    for face, ring in enumerate(body.faces):
        corners = body.corners[list(ring)]
        np.testing.assert_allclose(body.height(face, corners), 0.0, atol=1e-15)
        assert np.all(body.height(face, body.corners) < 1e-15)
        size = float(np.linalg.norm(np.cross(corners[2] - corners[0], corners[3] - corners[1])) / 2.0)
        area += size
        closed += size * body.normal(face)
    np.testing.assert_allclose(closed, 0.0, atol=1e-15)
    assert area == pytest.approx(hull.area, rel=1e-12)


def test_openings() -> None:
    """Through the air: 270° at a box's edges, 225° at a bevel's, 240° where two bevels meet (cos = 1/2)."""
    openings = sorted(round(float(np.degrees(edge.opening)), 9) for edge in BODIES["bevelled"].edges())
    assert openings == [225.0] * 8 + [240.0] * 4 + [270.0] * 8


def test_a_bevel_takes_a_prism_off_each_edge() -> None:
    """Four prisms, whose mitred corners are counted twice; each is the third of a cube of the leg."""
    lost = ConvexHull(BODIES["sharp"].corners).volume - ConvexHull(BODIES["bevelled"].corners).volume
    assert lost == pytest.approx(LEG_M**2 / 2.0 * 2.0 * (0.2 + 0.35) - 4.0 * LEG_M**3 / 3.0, rel=1e-9)
