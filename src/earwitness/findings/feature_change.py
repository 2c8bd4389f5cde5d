"""What a feature does to the sound on axis and to the estimated in-room response: with it over without it.

Each place of a feature is a section of second order. On axis it is that of the axis, and nothing where the
feature isn't there. In the room every direction counts as in the estimated in-room response (CTA-2034-A);
directions to the front in which the feature isn't seen stay as they are. Farther out it isn't sought: there
it may be as in the outermost place of that side, or not at all, and the truth lies between the two. A shelf
or a tilt is alike in all directions, and heard as what it does to the balance: a listener sets the level by
the whole of it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.sections import gated_sections, q_of_width
from earwitness.findings.audibility import Change
from earwitness.findings.features import REACH_DEG
from earwitness.findings.shapes import level_db
from earwitness.methods import cta_2034
from earwitness.records.curves import CurveName
from earwitness.records.features import Feature, FeaturePlace
from earwitness.records.responses import Directivity
from earwitness.records.takes import ON_AXIS, Direction

Float64s = npt.NDArray[np.float64]

#: A section of a lower Q has no pair of poles.
LEAST_Q = 0.501


def feature_changes(feature: Feature, field: Directivity) -> tuple[Change, ...]:
    """What the feature changes on axis, and in the room where all directions were measured."""
    frequency_hz = np.asarray(field.frequency_hz, dtype=np.float64)
    if feature.broad:
        return _broad_changes(feature, frequency_hz)
    section = dict(zip((p.direction for p in feature.places), _sections(frequency_hz, feature), strict=True))
    ahead = section.get(ON_AXIS, np.zeros(frequency_hz.shape))
    changes = [Change("on axis", ahead, ahead)]
    room = _in_room(feature, field, section)
    return tuple(changes if room is None else [*changes, room])


def _broad_changes(feature: Feature, frequency_hz: Float64s) -> tuple[Change, ...]:
    """A shelf or tilt: alike in all directions, as loud in the mean (dB over octaves) with it as without.

    Beyond the band in which it was looked for it may go on, or not be there at all.
    """
    assert feature.band_hz is not None
    level = level_db(feature, frequency_hz)
    seen = (frequency_hz >= feature.band_hz[0]) & (frequency_hz <= feature.band_hz[1])
    level = np.asarray(level - level[seen].mean())
    least = np.where(seen, level, 0.0)
    return (Change("on axis", least, level), Change("in the room", least, level))


def part_unsure(feature: Feature) -> float:
    """Standard uncertainty of the feature's height as a part of it, at most the whole of it."""
    return min(feature.gain_u_db / max(abs(feature.gain_db), 1e-9), 1.0)


def _sections(frequency_hz: Float64s, feature: Feature) -> Float64s:
    """Level of the section at each place, without any gate, dB, shape (K, F)."""
    centre, gain, width = (
        np.array([getattr(place, name) for place in feature.places], dtype=np.float64)
        for name in ("frequency_hz", "gain_db", "width_octaves")
    )
    q = np.maximum(q_of_width(gain, width), LEAST_Q)
    return np.asarray(20.0 * np.log10(np.abs(gated_sections(frequency_hz, centre, gain, q, np.inf))))


def _in_room(feature: Feature, field: Directivity, section: dict[Direction, Float64s]) -> Change | None:
    """Change of the estimated in-room response; none at frequencies where a direction isn't valid."""
    weights = cta_2034.direction_weights(CurveName.ESTIMATED_IN_ROOM)
    if field.missing(tuple(weights)):
        return None
    rows = field.rows(tuple(weights))
    share = np.array(list(weights.values()))[:, None] * field.power[rows]
    nothing = np.zeros(share.shape[-1])
    near = np.stack([section.get(direction, nothing) for direction in weights])
    wide = np.stack([_outermost(direction, feature, section, nothing) for direction in weights])
    valid = field.valid[rows].all(axis=0)
    with_it = np.where(valid, share.sum(axis=0), 1.0)
    changes = [
        10.0 * np.log10(with_it / np.where(valid, (share * 10.0 ** (-0.1 * level)).sum(axis=0), 1.0))
        for level in (near, near + wide)
    ]
    return Change("in the room", np.asarray(changes[0]), np.asarray(changes[1]))


def _outermost(
    direction: Direction, feature: Feature, section: dict[Direction, Float64s], nothing: Float64s
) -> Float64s:
    """What the feature may do farther out than it is sought: as at the outermost place of that side."""
    if abs(direction.angle_deg) <= REACH_DEG:
        return nothing
    side = [place for place in feature.places if _beside(place, direction)]
    return section[max(side, key=lambda p: abs(p.direction.angle_deg)).direction] if side else nothing


def _beside(place: FeaturePlace, direction: Direction) -> bool:
    """Whether a place lies on the same side of the same orbit, or on the axis."""
    here = place.direction
    if here.angle_deg == 0.0 or direction.angle_deg == 180.0:
        return True
    return here.orbit is direction.orbit and here.angle_deg * direction.angle_deg > 0.0
