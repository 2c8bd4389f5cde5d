"""What else of a case tells on causes: the room, the impedance, both orbits' meeting, how takes were spliced.

Odds that the scene's modules give are multiplied by likelihood ratios, each stated where it stands.

- *The room.* What shows on axis at one roll of the loudspeaker and not at the other stays where it is when
  the loudspeaker turns: it is the laboratory's. A copy that comes as late as the floor's sound should (the
  image's detour over the speed of sound, `measurement.geometry`) is the floor's.
- *The splice.* A feature in the band where near fields were joined may be theirs.
- *The impedance.* What is moved by a coil's force, or works against a cone, wrinkles it: resonances do in six
  cases of ten, ports and cavities in five, all else in one (the judgement of `findings.next_table`).
- *The place.* What rings at a place of its own isn't a driver's resonance, though it may be told as one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.measurement.geometry import floor_detour_m
from earwitness.records.causes import OF_RESPONSE, Cause, CauseSaid, FeatureCauses
from earwitness.records.curves import CurveSet
from earwitness.records.facts import CaseFacts
from earwitness.records.features import Feature
from earwitness.records.responses import Responses

Float64s = npt.NDArray[np.float64]

#: Of what is seen on axis, so much differs between orbits where it is the room's; so little where it isn't.
ROOM_PART, ALIKE_PART = 0.8, 0.3
#: How much likelier each is where a feature is the room's than where it isn't; by hand.
ROOM_RATIO, ALIKE_RATIO = 60.0, 0.4
#: Then the loudspeaker's own causes have so much of their odds.
ROOM_ELSE: Final = 0.3
#: Of the measurement before anything is looked at (`weights.PRIOR`, a twentieth).
FORMER_ODDS: Final = 0.05 / 0.95
#: A delay is the floor's within this part; then the odds are so many times higher.
FLOOR_PART, FLOOR_RATIO = 0.04, 5.0
#: Where it isn't the floor's, which comes after the gate, they are lower.
AFTER_GATE_RATIO: Final = 0.5
#: A feature in the splice's band.
SPLICE_RATIO: Final = 4.0
#: How often a wrinkle shows for resonances and for ports, and for all else.
WRINKLES: Final[Mapping[Cause, float]] = {Cause.RESONANCE: 0.6, Cause.PORT_OR_CAVITY: 0.5}
WRINKLE_ELSE: Final = 0.1
#: A wrinkle is a feature's, and an oscillation another's, within this part of their frequency.
SAME_PART: Final = 0.04
#: What rings at a place of its own leaves so much of the odds that a driver rings.
PLACE_RATIO: Final = 0.1
#: A mechanism is seen from here on, dB.
LEAST_DB: Final = 1.0


@dataclass(frozen=True, slots=True)
class Beside:
    """Evidence beside the scene.

    Attributes
    ----------
    frequency_hz, difference_db
        Shape (F,): level on axis of the horizontal orbit over the vertical one, NaN where not valid; None
        where the axis was measured on one orbit.
    floor_late_s
        By how much the floor's sound is due after the direct sound; None where heights aren't stated, and of
        takes on the floor.
    gate_s
        The shortest gate; None where nothing was gated.
    wrinkles_hz
        Frequencies of narrow resonances in the impedance; None where it, or its phase, isn't known.
    impedance_hz
        The lowest and the highest frequency at which the impedance is known.
    splices_hz
        Bands in which near fields were joined.
    """

    frequency_hz: Float64s
    difference_db: Float64s | None = None
    floor_late_s: float | None = None
    gate_s: float | None = None
    wrinkles_hz: tuple[float, ...] | None = None
    impedance_hz: tuple[float, float] = (0.0, 0.0)
    splices_hz: tuple[tuple[float, float], ...] = ()

    @classmethod
    def of(cls, curves: CurveSet, facts: CaseFacts, responses: Responses) -> Beside:
        """What a case has of it."""
        difference = curves.meeting_difference_db.get("on_axis")
        gates = responses.gate_s[responses.gate_s > 0.0]
        found = cls(
            frequency_hz=np.asarray(curves.frequency_hz, dtype=np.float64),
            difference_db=None if difference is None else np.asarray(difference, dtype=np.float64),
            floor_late_s=_floor_late_s(facts),
            gate_s=float(gates.min()) if gates.size else None,
            splices_hz=tuple(sorted({(one.low_hz, one.high_hz) for one in responses.splices.values()})),
        )
        impedance = curves.impedance
        if impedance is None or not np.isfinite(impedance.phase_deg).any():
            return found
        known = found.frequency_hz[np.isfinite(impedance.phase_deg)]
        wrinkles = tuple(one.frequency_hz for one in impedance.wrinkles)
        return replace(found, wrinkles_hz=wrinkles, impedance_hz=(float(known[0]), float(known[-1])))


#: A likelihood ratio of one cause, with what it says for it (above 1) or against it.
Weight = tuple[Cause, float, str]


def with_beside(
    features: Sequence[Feature], causes: Sequence[FeatureCauses], beside: Beside
) -> tuple[FeatureCauses, ...]:
    """Causes of each feature with all that tells on it."""
    return tuple(_with(feature, told, beside) for feature, told in zip(features, causes, strict=True))


def _with(feature: Feature, told: FeatureCauses, beside: Beside) -> FeatureCauses:
    weights = [
        *_orbits(feature, beside),
        *_floor(told, beside),
        *_splice(feature, beside),
        *_wrinkle(feature, told, beside),
        *_place(told),
    ]
    if not weights:
        return told
    said = [_weighed(one, [w for w in weights if w[0] is one.cause]) for one in told.said]
    return replace(told, said=tuple(sorted(said, key=lambda one: -one.probability)))


def _weighed(said: CauseSaid, weights: Sequence[Weight]) -> CauseSaid:
    if not weights or said.probability in (0.0, 1.0):
        return said
    odds = said.probability / (1.0 - said.probability)
    if said.cause is Cause.ARTEFACT and max(ratio for _, ratio, _ in weights) > 1.0:
        # that the scene shows no late copy tells nothing of what else the room may do
        odds = max(odds, FORMER_ODDS)
    odds *= float(np.prod([ratio for _, ratio, _ in weights]))
    return replace(
        said,
        probability=odds / (1.0 + odds),
        evidence=(*said.evidence, *(words for _, ratio, words in weights if ratio > 1.0)),
        against=(*said.against, *(words for _, ratio, words in weights if ratio < 1.0)),
    )


def _orbits(feature: Feature, beside: Beside) -> list[Weight]:
    """Whether both orbits, which meet on axis at another roll, have it there."""
    place = feature.on_axis
    if place is None or beside.difference_db is None or abs(place.seen_db) < LEAST_DB:
        return []
    octaves = np.log2(beside.frequency_hz / place.frequency_hz)
    width = max(place.width_octaves, 1.0 / 12.0)
    inside = np.abs(octaves) <= 0.25 * width
    flanks = (np.abs(octaves) > 0.75 * width) & (np.abs(octaves) <= 1.25 * width)
    parts = [beside.difference_db[each] for each in (inside, flanks)]
    if any(not np.isfinite(part).any() for part in parts):
        return []
    bell = float(np.nanmean(parts[0]) - np.nanmean(parts[1]))
    part = abs(bell / place.seen_db)
    if part >= ROOM_PART:
        words = "on axis it shows on one orbit and not on the other"
        others = [(cause, ROOM_ELSE, words) for cause in OF_RESPONSE if cause is not Cause.ARTEFACT]
        return [(Cause.ARTEFACT, ROOM_RATIO, words), *others]
    if part <= ALIKE_PART:
        return [(Cause.ARTEFACT, ALIKE_RATIO, "on axis both orbits show it alike")]
    return []


def _floor(told: FeatureCauses, beside: Beside) -> list[Weight]:
    """Whether the late copy that was found is the floor's, or can't be."""
    said = told.of(Cause.ARTEFACT)
    late = beside.floor_late_s
    if said is None or late is None:
        return []
    delays = [one.value for one in said.parameters if one.name == "delay_s"]
    if any(abs(delay / late - 1.0) <= FLOOR_PART for delay in delays):
        return [(Cause.ARTEFACT, FLOOR_RATIO, "the copy comes when the floor's sound is due")]
    if beside.gate_s is not None and late > beside.gate_s:
        return [(Cause.ARTEFACT, AFTER_GATE_RATIO, "the floor's sound comes after the gate")]
    return []


def _splice(feature: Feature, beside: Beside) -> list[Weight]:
    if any(low <= feature.frequency_hz <= high for low, high in beside.splices_hz):
        return [(Cause.ARTEFACT, SPLICE_RATIO, "it lies where near fields were joined")]
    return []


def _wrinkle(feature: Feature, told: FeatureCauses, beside: Beside) -> list[Weight]:
    """Whether the impedance shows it: of a driver that rings, else of something with a place of its own."""
    low, high = beside.impedance_hz
    if beside.wrinkles_hz is None or not low <= feature.frequency_hz <= high:
        return []
    rings = told.of(Cause.RESONANCE)
    cone = rings is not None and rings.effect_db is not None and rings.effect_db >= LEAST_DB
    at = [one.value for said in told.said for one in said.parameters if one.name == "frequency_hz"]
    same = any(
        abs(wrinkle / hertz - 1.0) <= SAME_PART
        for wrinkle in beside.wrinkles_hz
        for hertz in (feature.frequency_hz, *(each for each in at if _near(each, feature)))
    )
    if same:
        cause = Cause.RESONANCE if cone else Cause.PORT_OR_CAVITY
        return [(cause, WRINKLES[cause] / WRINKLE_ELSE, "the impedance has a wrinkle there")]
    return [
        (cause, (1.0 - often) / (1.0 - WRINKLE_ELSE), "the impedance has no wrinkle there")
        for cause, often in WRINKLES.items()
    ]


def _near(hertz: float, feature: Feature) -> bool:
    return abs(float(np.log2(hertz / feature.frequency_hz))) <= 1.0 / 6.0


def _place(told: FeatureCauses) -> list[Weight]:
    """What rings at a place of its own may be told as a driver that rings: not both."""
    own, cone = told.of(Cause.PORT_OR_CAVITY), told.of(Cause.RESONANCE)
    if own is None or cone is None or own.effect_db is None or own.effect_db < LEAST_DB:
        return []
    poles = [[one.value for one in said.parameters if one.name == "frequency_hz"] for said in (own, cone)]
    if any(abs(a / b - 1.0) <= SAME_PART for a in poles[0] for b in poles[1]):
        return [(Cause.RESONANCE, PLACE_RATIO, "what rings there has a place of its own")]
    return []


def _floor_late_s(facts: CaseFacts) -> float | None:
    rig = facts.rig
    if rig.ground_plane or rig.distance_m is None or rig.height_m is None or rig.microphone_height_m is None:
        return None
    detour = float(floor_detour_m(rig.distance_m, rig.height_m, rig.microphone_height_m))
    return detour / speed_of_sound_m_s(rig.temperature_c)
