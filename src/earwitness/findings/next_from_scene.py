"""The take that tells most by the fitted scene: new directions, a near field, felt, or what the table knows.

A cause is in question where it is neither sure nor ruled out: the scene then knows what the mechanism does at
the feature to some `EFFECT_U_DB`, and the threshold from which it counts lies within that. A take measures
that effect again, to an uncertainty of its own: in new directions by what the scene foretells there with and
without the mechanism (`findings.predicted`), beyond what measured neighbours tell already, against the case's
noise, its uncertainty of angles times the level's slope over the angle, and what the scene leaves
unexplained. What that is expected to tell is in `findings.outcomes`. Of takes that tell alike, the one that
takes least time is proposed (minutes in `findings.next_table`: common practice).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.next_question import ALIKE_DEG, LEAST_DB, NOTHING, InQuestion, Question
from earwitness.findings.next_table import (
    A_DIRECTION_MIN,
    BY_CHANCE,
    COLUMNS,
    EFFORT_MIN,
    RULER_MIN,
    SHOWS,
    Possible,
    column,
)
from earwitness.findings.outcomes import information_bits, threshold_bits
from earwitness.records.causes import Cause
from earwitness.records.next_measurement import Apart, NextMeasurement, NextTake, Steps
from earwitness.records.takes import Direction, Orbit

Float64s = npt.NDArray[np.float64]

#: A take that tells less isn't worth the walk, bits; takes that tell alike within this are tied.
LEAST_BITS, TIED_BITS = 0.1, 0.03
#: What fits know of an effect, dB: the logistics of `causes.weights` have slopes of 2 to 4 a decibel, and one
#: of slope k is nearly the integral of a normal distribution of 1.7/k (D. C. Haley 1952, recalled).
EFFECT_U_DB: Final = 0.7
#: Of edges, which what was heard tells already (`causes.edge_diffraction`): tuning seeds 20 600 to 20 639.
EDGES_U_DB: Final = 0.2
#: ρ² of what a ruler tells of a cause: what took the Brier score of open causes from where it was to where it
#: went, on the same seeds, before edges were judged by what was heard; nine of drivers out of step (0.6) are
#: taken for no better than beaming. Of broad shapes it told nothing.
RULER_TELLS: Final[Mapping[Cause, float]] = {
    Cause.DRIVER_DIRECTIVITY: 0.4,
    Cause.EDGE_DIFFRACTION: 0.3,
    Cause.CROSSOVER_MISALIGNMENT: 0.4,
    Cause.RESONANCE: 0.2,
    Cause.SPACED_SOURCES: 0.1,
}
#: New directions lie at these steps, so far from the axis at most; a side that is new, at these.
FINE_DEG, REACH_DEG, COARSE_DEG = 5.0, 60.0, 10.0
#: Of what a side's directions tell, the stretch that is proposed has this part.
KEPT_PART: Final = 0.8
#: A near field tells what rings to this, dB.
NEAR_DB: Final = 1.0
#: Felt over the edges takes this part of what they do, in decibels; so much it may be off; and so well a take
#: can be taken again, dB.
FELT_PART, FELT_PART_U, AGAIN_DB = 0.5, 0.15, 0.4
#: A driver is told by its near field where it has this share of the power.
HEARD: Final = 0.05
#: What is the same in all of a driver's directions, or in all, isn't told by more of them.
IN_ALL_DIRECTIONS: Final = (Cause.RESONANCE, Cause.VOICING, Cause.PORT_OR_CAVITY, Cause.ARTEFACT)


@dataclass(frozen=True)
class Proposal:
    """One possible take: what it is expected to tell, and how long it takes."""

    found: NextMeasurement
    minutes: float


@dataclass(frozen=True)
class Side:
    """New directions of one side of one orbit, and what each tells of the causes.

    `worth` is (C, D): 1/σ² of each effect as a direction measures it, dB⁻².
    """

    directions: tuple[Direction, ...]
    step_deg: float
    is_new: bool
    worth: Float64s


def proposed(asked: Question, possible: Possible) -> NextMeasurement | None:
    """The take that tells most, the quickest of those that tell as much; None where none tells anything."""
    offers = [
        *_ruled(asked, possible),
        *_directions(asked, possible),
        *_near_fields(asked, possible),
        *_others(asked, possible),
    ]
    most = max((offer.found.information_bits for offer in offers), default=0.0)
    if most < LEAST_BITS:
        return None
    tied = [offer for offer in offers if offer.found.information_bits >= most - TIED_BITS]
    return min(tied, key=lambda offer: (offer.minutes, -offer.found.information_bits)).found


def told_part(worth: float, effect_u_db: float = EFFECT_U_DB) -> float:
    """ρ² of an effect that is known to `effect_u_db` and measured again with 1/σ² = `worth`, dB⁻²."""
    return effect_u_db**2 * worth / (1.0 + effect_u_db**2 * worth)


def known_to_db(cause: Cause) -> float:
    """What is known of an effect before a take, dB."""
    return EDGES_U_DB if cause is Cause.EDGE_DIFFRACTION else EFFECT_U_DB


def _ruled(asked: Question, possible: Possible) -> Iterator[Proposal]:
    """A ruler, where its sizes aren't stated: a scene that is held to them knows effects better."""
    if possible.ruler:
        bits = sum(threshold_bits(one.probability, RULER_TELLS.get(one.cause, 0.0)) for one in asked.asked)
        yield Proposal(asked.next(NextTake.RULER, bits), RULER_MIN)


def _directions(asked: Question, possible: Possible) -> Iterator[Proposal]:
    """Of each side that has none yet, the stretch of new directions that tells most of it.

    Between measured directions there is nothing to be told: docs/evaluation.md counts what they did.
    """
    for orbit, take in (
        (Orbit.HORIZONTAL, NextTake.FINE_HORIZONTAL),
        (Orbit.VERTICAL, NextTake.FINE_VERTICAL),
    ):
        for towards in (1.0, -1.0):
            side = side_of(asked, orbit, towards) if take in possible.takes else None
            if side is None or not side.is_new:
                continue
            first, last = stretch(side.worth.sum(axis=0))
            worth = side.worth[:, first : last + 1].sum(axis=1)
            bits = sum(
                threshold_bits(one.probability, told_part(float(w), known_to_db(one.cause)))
                for one, w in zip(asked.asked, worth, strict=True)
            )
            chosen = side.directions[first : last + 1]
            ends = sorted((chosen[0].angle_deg, chosen[-1].angle_deg))
            steps = Steps(orbit, ends[0], ends[1], side.step_deg, side.is_new)
            found = asked.next(take, bits, steps=steps, apart=_apart(asked, chosen))
            yield Proposal(found, EFFORT_MIN[take] + A_DIRECTION_MIN * len(chosen))


def side_of(asked: Question, orbit: Orbit, towards: float) -> Side | None:
    """New directions of a side and what each tells; None where nothing is new there."""
    there = {abs(d.angle_deg) for d in asked.rig.measured if d.orbit is orbit and d.angle_deg * towards > 0.0}
    step = FINE_DEG if there else COARSE_DEG
    angles = [float(a) for a in np.arange(step, REACH_DEG + 1.0, step) if float(a) not in there]
    if not angles:
        return None
    directions = tuple(Direction(orbit, towards * angle) for angle in angles)
    spread, whole = asked.spread_db(directions), asked.levels_db(NOTHING, directions)
    worth = []
    for one in asked.asked:
        if one.cause in IN_ALL_DIRECTIONS:
            worth.append(np.zeros(len(directions)))
            continue
        change = whole - asked.levels_db(frozenset({one.cause}), directions)
        a_decibel = np.abs(change) / max(abs(one.effect_db), LEAST_DB)
        worth.append(np.max(a_decibel / spread, axis=1) ** 2)
    # neighbours that err alike count once together
    return Side(directions, step, not there, np.array(worth) * min(step / ALIKE_DEG, 1.0))


def stretch(worth: Float64s) -> tuple[int, int]:
    """First and last of the shortest stretch that has its part of the whole."""
    wanted = KEPT_PART * float(worth.sum())
    total = np.concatenate([[0.0], np.cumsum(worth)])
    count = worth.size
    pairs = ((last - first, first, last) for first in range(count) for last in range(first, count))
    fits = (pair for pair in pairs if total[pair[2] + 1] - total[pair[1]] >= wanted)
    _, first, last = min(fits, default=(0, 0, count - 1))
    return first, last


def _apart(asked: Question, directions: Sequence[Direction]) -> Apart:
    """Where taking one of the causes away changes most."""
    whole = asked.levels_db(NOTHING, directions)
    hz = asked.foretold.scene.heard.frequency_hz[asked.at]
    found = []
    for cause in asked.causes:
        change = whole - asked.levels_db(frozenset({cause}), directions)
        row, place = (int(i) for i in np.unravel_index(int(np.argmax(np.abs(change))), change.shape))
        found.append(Apart(cause, directions[row].angle_deg, float(hz[place]), float(change[row, place])))
    return max(found, key=lambda one: abs(one.difference_db))


def _near_fields(asked: Question, possible: Possible) -> Iterator[Proposal]:
    """Of each radiator that has none: what rings in its driver; a port's by the table.

    Near fields in the place of what the scene's drivers send told other causes worse than the scene does,
    those of drivers in step too (docs/evaluation.md).
    """
    scene = asked.foretold.scene
    heights = scene.geometry.points_m()[:, 2]
    shares = np.median(asked.foretold.shares[:, asked.at], axis=1)
    louder = int(np.argmax(shares))
    for radiator in possible.near:
        if radiator.is_port:
            bits = _by_table(asked, NextTake.NEAR_PORT)
            found = asked.next(NextTake.NEAR_PORT, bits, radiator=radiator.name)
            yield Proposal(found, EFFORT_MIN[NextTake.NEAR_PORT])
            continue
        driver = louder if radiator.up_m is None else int(np.argmin(np.abs(heights - radiator.up_m)))
        if float(shares[driver]) < HEARD:
            continue
        rings = asked.foretold.ringing_driver(asked.feature.frequency_hz, louder)
        bits = sum(
            threshold_bits(one.probability, told_part(NEAR_DB**-2))
            for one in asked.asked
            if one.cause is Cause.RESONANCE and driver == rings
        )
        found = asked.next(NextTake.NEAR_DRIVERS, bits, radiator=radiator.name)
        yield Proposal(found, EFFORT_MIN[NextTake.NEAR_DRIVERS])


def _others(asked: Question, possible: Possible) -> Iterator[Proposal]:
    """Felt by what it takes of the edges' effect; the rest by the table."""
    for take in (NextTake.IMPEDANCE, NextTake.ELSEWHERE):
        if take in possible.takes:
            yield Proposal(asked.next(take, _by_table(asked, take)), EFFORT_MIN[take])
    edges = [one for one in asked.asked if one.cause is Cause.EDGE_DIFFRACTION]
    if edges and NextTake.FELT in possible.takes:
        told = told_part(felt_u_db(asked, edges[0]) ** -2, EDGES_U_DB)
        bits = threshold_bits(edges[0].probability, told)
        places = len({place.direction for place in asked.feature.places})
        minutes = EFFORT_MIN[NextTake.FELT] + A_DIRECTION_MIN * places
        yield Proposal(asked.next(NextTake.FELT, bits), minutes)


def felt_u_db(asked: Question, edges: InQuestion) -> float:
    """Standard uncertainty to which felt tells what edges do, dB."""
    again = float(np.hypot(np.sqrt(2.0) * asked.rig.noise_db, AGAIN_DB)) / FELT_PART
    return float(np.hypot(again, FELT_PART_U / FELT_PART * abs(edges.effect_db)))


def _by_table(asked: Question, take: NextTake) -> float:
    """What a take tells that shows or doesn't."""
    return sum(
        information_bits(
            [one.probability, 1.0 - one.probability], [SHOWS[take][column(one.cause)], BY_CHANCE]
        )
        for one in asked.asked
        if one.cause in COLUMNS
    )
