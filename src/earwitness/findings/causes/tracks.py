"""How a dip moves over the directions of each orbit's side: a witness that needs neither phase nor scene.

The kind of line (`acoustics.dip_tracks`) doesn't depend on whether the copy is turned over: both parts of it
grow alike. The scale does: an edge's copy is turned over, that of a second driver is in phase.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from earwitness.acoustics.dip_tracks import DipTrack, dip_track
from earwitness.findings.causes.form import Judged
from earwitness.records.causes import Cause
from earwitness.records.features import Feature
from earwitness.records.takes import Orbit

#: What a line may leave, as a part of its longest way.
LEAVES: Final = 0.05
#: Waves by which a copy is late at its first dip: turned over, and in phase.
TURNED, IN_PHASE = 1.0, 0.5


@dataclass(frozen=True, slots=True)
class Track:
    """The line of a dip on one side of an orbit, as of a copy turned over (`line`)."""

    orbit: Orbit
    line: DipTrack

    @property
    def edge_m(self) -> float:
        """How far away an edge would be."""
        return abs(self.line.ahead_m)

    @property
    def spacing_m(self) -> float:
        """How far apart two in phase would be."""
        return abs(self.line.across_m) * IN_PHASE / TURNED


def tracks(feature: Feature, speed_m_s: float) -> tuple[Track, ...]:
    """Of a dip, by orbit and side; none of a peak, nor where it isn't a line."""
    if feature.sign > 0:
        return ()
    found = []
    for orbit in Orbit:
        for side in (1.0, -1.0):
            places = [
                place
                for place in feature.places
                if place.direction.angle_deg == 0.0
                or (place.direction.orbit is orbit and side * place.direction.angle_deg > 0.0)
            ]
            angle = np.array([place.direction.angle_deg for place in places])
            frequency = np.array([place.frequency_hz for place in places])
            line = dip_track(angle, frequency, TURNED, speed_m_s)
            if line is not None and line.left_m <= LEAVES * TURNED * speed_m_s / float(frequency.min()):
                found.append(Track(orbit, line))
    return tuple(found)


def witnessed(found: Sequence[Judged], of: Sequence[Track]) -> list[Judged]:
    """What modules found, with what the dip's own way over the directions says for or against it."""
    if not of:
        return list(found)
    upright = [track.line.kind for track in of if track.orbit is Orbit.VERTICAL]
    level = [track.line.kind for track in of if track.orbit is Orbit.HORIZONTAL]
    moves = any(kind != "fixed" for kind in upright)
    stays = bool(upright) and bool(level) and not moves and all(kind == "fixed" for kind in level)
    said: dict[Cause, tuple[tuple[str, ...], tuple[str, ...]]] = {}
    if moves:
        said[Cause.SPACED_SOURCES] = (("the dip moves from direction to direction up and down",), ())
    if stays:
        said[Cause.RESONANCE] = (("the dip stays at its frequency in all directions",), ())
        said[Cause.SPACED_SOURCES] = ((), ("the dip stays at its frequency in all directions",))
    if level and all(kind == "fixed" for kind in level):
        said[Cause.EDGE_DIFFRACTION] = ((), ("the dip stays at its frequency from side to side",))
    return [
        replace(
            one,
            evidence=one.evidence + said.get(one.cause, ((), ()))[0],
            against=one.against + said.get(one.cause, ((), ()))[1],
        )
        for one in found
    ]
