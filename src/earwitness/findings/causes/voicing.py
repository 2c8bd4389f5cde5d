"""A broad shape that all directions share: a shelf, a hump, a tilt, or a driver that is too loud throughout.

What all drivers send, freed of what rings and added in step at one place on a smooth body, is free of
spacing, edges, beaming and misalignment. What a loudspeaker without faults has there (`PLAIN_DB`) is taken
off; of what is left every shape is weighed (`shapes_fit`), and beside them the level of all drivers from one
up against those below, a step where the scene has them change over. A shape counts from where the response is
as it was: a hump from both its sides, a shelf and a tilt from the side on which 1 kHz lies, a step from the
lower drivers. A shelf or step that what was measured ahead contradicts, edges and all, is none. Whose
intention it is isn't said, and that a loudspeaker is meant to be straight is taken for granted.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.findings.causes.form import Judged
from earwitness.findings.causes.resonance import Ringing
from earwitness.findings.causes.scene import Scene, Without, patterns
from earwitness.findings.shapes_fit import KINDS, MADE_DB, Candidates, Kind, Weighed, candidates, weigh
from earwitness.records.causes import Cause
from earwitness.records.features import Feature

Float64s = npt.NDArray[np.float64]

CAUSE: Final = Cause.VOICING
FLOOR: Final = 1e-15
#: Levels count from the side on which this lies.
REFERENCE_HZ: Final = 1000.0
#: What loudspeakers without a broad fault have, by body, dB at `PLAIN_HZ`: medians of tuning seeds 20 500 to
#: 20 559 (computed): two ways of fourth order, the coils' and the dome's own falling.
PLAIN_HZ: Final = np.array(
    [500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10_000, 12_500, 16_000.0]
)
PLAIN_DB: Final[Mapping[str, tuple[float, ...]]] = {
    "box": (-1.0, -0.5, 0.3, 0.2, 0.0, -0.1, 0.1, 0.2, 0.5, 0.6, 0.5, 0.3, 0.0, -0.4, -0.8, -1.1),
    "ball": (0.1, -0.3, -0.8, -0.9, -0.9, -0.6, -0.1, 0.5, 0.7, 0.8, 0.7, 0.6, 0.4, 0.2, -0.2, -0.6),
}
#: How much of that is expected, and its standard deviation: other loudspeakers may be straighter.
PLAIN_MEAN, PLAIN_U = 0.7, 0.3
#: What is said for it, by the likeliest kind of shape.
SAID: Final[Mapping[Kind, str]] = {
    "shelf": "all directions share it: a shelf",
    "tilt": "all directions share it: a tilt over the whole band",
    "hump": "all directions share it: a broad hump or hollow",
    "step": "one drive unit is louder or softer than the other throughout",
}
#: Directions so near the axis have to bear a shelf out.
AHEAD_DEG: Final = 30.0
#: It is said where it does this much, dB.
LEAST_DB: Final = 1.0


@dataclass(frozen=True, slots=True)
class Shape:
    """The shape (F,) in dB from where it counts, its likeliest kind, and all that were weighed."""

    level_db: Float64s
    kind: Kind
    weighed: Weighed


def shape(scene: Scene, rings: Sequence[Ringing], gate_s: float) -> Shape:
    """Mean over all shapes that were weighed."""
    frequency = scene.heard.frequency_hz
    levels = _in_step(scene, rings)
    whole = levels.sum(axis=0)
    plain = np.interp(np.log(frequency), np.log(PLAIN_HZ), PLAIN_DB[scene.geometry.body])
    level = 20.0 * np.log10(whole) - PLAIN_MEAN * plain
    shapes = _with_steps(candidates(frequency, gate_s), frequency, levels)
    weighed = weigh(np.asarray(level), shapes, PLAIN_U * plain)
    weighed = weighed.borne_out(_ahead_db(scene), np.log2(frequency))
    weighed = weighed.beside(np.log2([one.frequency_hz for one in rings]))
    return Shape(_counted(weighed, frequency), max(KINDS, key=weighed.of), weighed)


def _ahead_db(scene: Scene) -> Float64s:
    """The mean over directions ahead as it was measured, edges and all, dB (F,)."""
    ahead = [row for row, each in enumerate(scene.heard.directions) if abs(each.angle_deg) <= AHEAD_DEG]
    power = np.mean(np.abs(scene.heard.pressure[ahead]) ** 2, axis=0)
    return np.asarray(10.0 * np.log10(np.maximum(power, FLOOR)))


def _in_step(scene: Scene, rings: Sequence[Ringing]) -> Float64s:
    """Of each driver on axis, without what rings, at one place on a smooth body; (S, F), lowest first."""
    directions = scene.heard.directions
    axis = min(range(len(directions)), key=lambda row: abs(directions[row].angle_deg))
    plain = patterns(scene.heard, scene.geometry, Without(spacing=True, edges=True, beaming=True))[:, axis]
    sent = scene.amplitude.copy()
    for one in rings:
        sent[one.driver] = sent[one.driver] - one.sound
    levels = np.maximum(np.abs(sent * plain), FLOOR)
    middles = (levels**2 @ np.log(scene.heard.frequency_hz)) / np.sum(levels**2, axis=1)
    return np.asarray(levels[np.argsort(middles)])


def _with_steps(shapes: Candidates, frequency_hz: Float64s, levels: Float64s) -> Candidates:
    """And all drivers from one up louder than those below, for each but the lowest."""
    louder = 10.0 ** (MADE_DB / 20.0)
    whole = levels.sum(axis=0)
    steps = np.zeros((len(levels) - 1, frequency_hz.size))
    for number in range(1, len(levels)):
        raised = whole + (louder - 1.0) * levels[number:].sum(axis=0)
        steps[number - 1] = 20.0 * np.log10(raised / whole) / MADE_DB
    middles = np.log2(frequency_hz[np.argmin(np.abs(steps - 0.5), axis=1)])
    return Candidates(
        np.vstack([shapes.level_db, steps]),
        np.append(shapes.kind, np.full(len(steps), KINDS.index("step"))),
        np.append(shapes.octave, middles),
        np.append(shapes.width_octaves, np.ones(len(steps))),
    )


def _counted(weighed: Weighed, frequency_hz: Float64s) -> Float64s:
    """The mean shape, each from where it counts, (F,)."""
    shapes = weighed.candidates
    there = shapes.level_db[:, int(np.argmin(np.abs(frequency_hz - REFERENCE_HZ)))]
    zero = np.where(shapes.kind == KINDS.index("shelf"), np.round(there), 0.0)
    zero = np.where(shapes.kind == KINDS.index("tilt"), there, zero)
    return np.asarray((weighed.probability * weighed.height_db) @ (shapes.level_db - zero[:, None]))


def judge(scene: Scene, feature: Feature, found: Shape) -> Judged:
    """By the shape at the feature's places."""
    octaves = np.log2(scene.heard.frequency_hz)
    levels = [float(np.interp(np.log2(p.frequency_hz), octaves, found.level_db)) for p in feature.places]
    effect = feature.sign * float(np.mean(levels))
    return Judged(CAUSE, effect, (), (SAID[found.kind],) if effect >= LEAST_DB else ())
