"""What the case states of the rig and of a take: whether it can be, and what follows from it."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.geometry import floor_detour_m
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.facts import Rig
from earwitness.records.takes import Direction, Take

Float64s = npt.NDArray[np.float64]

#: From here on a loudspeaker of usual size is taken to be seen from far away.
FAR_M: Final = 2.0


def distance_m(rig: Rig) -> float:
    """The stated distance, where the rest of the rig's geometry can go with it.

    Raises
    ------
    CaseError
        It isn't stated; a microphone on the ground has a height; the axis of rotation lies at the microphone
        or beyond it; the heights differ by the distance or more.
    """
    if rig.distance_m is None:
        raise CaseError(
            "case.toml",
            "the distance isn't stated, so no level can be referred to 1 m",
            "state it",
            "rig.distance_m",
        )
    if rig.rotation_behind_m is not None and rig.distance_m + rig.rotation_behind_m <= 0.0:
        raise CaseError(
            "case.toml",
            f"an axis of rotation {-rig.rotation_behind_m:g} m in front of the reference point isn't on the "
            f"loudspeaker's side of a microphone at {rig.distance_m:g} m",
            "state how far behind the reference point the axis lies, as a positive number",
            "rig.rotation_behind_m",
        )
    if rig.ground_plane and rig.microphone_height_m:
        raise CaseError(
            "case.toml",
            f"a microphone {rig.microphone_height_m:g} m above the floor doesn't lie on the ground",
            "leave out the height, or ground_plane",
            "rig.ground_plane",
        )
    if rig.height_m is not None and rig.microphone_height_m is not None:
        apart = abs(rig.height_m - rig.microphone_height_m)
        if apart >= rig.distance_m:
            raise CaseError(
                "case.toml",
                f"heights that differ by {apart:g} m don't go with a distance of {rig.distance_m:g} m",
                "measure the heights and the distance again",
                "rig.microphone_height_m",
            )
    return rig.distance_m


def distance_notes(rig: Rig) -> tuple[str, ...]:
    """What a short distance does, where it is one."""
    if rig.distance_m is None or rig.distance_m >= FAR_M:
        return ()
    return (
        "The microphone stood nearer than two metres: paths from the several radiators and from the "
        "cabinet's edges differ from those to a listener, so crossover, edges and directivity are those of "
        "this distance; the level at one metre counts distance from the reference point alone.",
    )


def floor_arrives_s(rig: Rig, distances_m: Float64s, speed_m_s: float) -> float | None:
    """How soon after the direct sound the floor's arrives in any of the takes.

    None without both heights, and on the ground, where it comes at once.
    """
    if rig.ground_plane or rig.height_m is None or rig.microphone_height_m is None:
        return None
    return float(floor_detour_m(distances_m, rig.height_m, rig.microphone_height_m).min()) / speed_m_s


def require_gate_before_floor(rig: Rig, distances_m: Float64s, speed_m_s: float) -> None:
    """Refuse a stated gate that holds sound by way of the floor.

    Raises
    ------
    CaseError
        `rig.gate_s` is longer than the floor's detour, by both stated heights, in the worst direction.
    """
    floor_s = floor_arrives_s(rig, distances_m, speed_m_s)
    if rig.gate_s is None or floor_s is None or rig.gate_s <= floor_s:
        return
    # rounded down, so that what the message allows is allowed
    longest_ms = np.floor(1e5 * floor_s) / 1e2
    raise CaseError(
        "case.toml",
        f"the stated gate of {1e3 * rig.gate_s:.2f} ms holds sound by way of the floor, which by the stated "
        f"heights arrives after {longest_ms:.2f} ms",
        f"state at most {longest_ms:.2f} ms, or leave it out",
        "rig.gate_s",
    )


def direction(take: Take) -> Direction:
    """The direction of a take.

    Raises
    ------
    ReadError
        It isn't stated.
    """
    if take.key.direction is None:
        raise ReadError(take.path, "has no direction stated", "give it in takes.toml")
    return take.key.direction
