"""Recordings on surfaces: where they are, and that a loudspeaker that stands still is heard in its room."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from earwitness.virtual.room import Room
from earwitness.virtual.scenario import load
from earwitness.virtual.surfaces import SurfacePoint, all_round, recordings


def test_names_say_where() -> None:
    assert SurfacePoint(30.0, -12.5, 0.45, 2.83).name == "surface_+030.0_-12.5_0.45_2.83V.wav"
    assert SurfacePoint(0.0, 0.0, 1.0, 0.1, full_scale_v=1.0).name == "surface_+000.0_+00.0_1_-20dBFS.wav"


def test_azimuth_is_to_the_left_and_elevation_upward() -> None:
    # AES69: x ahead, y left, z up
    assert SurfacePoint(90.0, 0.0, 0.5, 1.0).from_axis_m == pytest.approx([0.0, 0.5, 0.0], abs=1e-15)
    assert SurfacePoint(0.0, 90.0, 0.5, 1.0).from_axis_m == pytest.approx([0.0, 0.0, 0.5], abs=1e-15)


def test_points_cover_the_sphere_evenly() -> None:
    ways = np.stack([point.from_axis_m for point in all_round(200, 1.0, 1.0)])
    # an even cover integrates low orders: means 0, mean squares a third
    assert np.abs(ways.mean(axis=0)).max() < 0.005
    assert ways.T @ ways / 200.0 == pytest.approx(np.eye(3) / 3.0, abs=0.003)
    assert len({point.name for point in all_round(200, 1.0, 1.0)}) == 200


def test_ahead_it_is_the_turntables_microphone_as_near() -> None:
    scenario = load("dewdrop", "workshop")
    session = scenario.session
    behind = session.turntable.rotation_behind_m
    ahead = SurfacePoint(0.0, 0.0, session.turntable.distance_m + behind, 2.83)
    quiet = replace(
        session,
        workshop=replace(
            session.workshop,
            microphone=replace(session.workshop.microphone, noise_pa=0.0),
            room=replace(session.workshop.room, ambient_pa=0.0),
        ),
        sweep=replace(session.sweep, wanted_s=0.5),
    )
    turn = "horizontal_+000_2.83V.wav"
    on_turntable = dict(quiet.recordings([turn], quiet.sweep))[turn]
    on_surface = dict(recordings(quiet, [ahead]))[ahead.name]
    assert on_surface == pytest.approx(on_turntable, abs=1e-9 * np.abs(on_turntable).max())


def test_the_room_is_heard() -> None:
    session = load("dewdrop", "workshop").session
    above = SurfacePoint(0.0, 90.0, 0.4, 2.83)
    free = replace(session, workshop=replace(session.workshop, room=Room()))
    heard, alone = (dict(recordings(one, [above]))[above.name] for one in (session, free))
    # the ceiling at 2.5 m and the floor at 1.9 m send back some tenth of what comes straight over 0.4 m
    part = np.linalg.norm(heard - alone) / np.linalg.norm(alone)
    assert 0.05 < part < 0.4
