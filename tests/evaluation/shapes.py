"""`PYTHONPATH=tests python -m evaluation.shapes FIRST COUNT`: shelves and tilts, and the cause `voicing`.

A true shelf is a fault of cause `voicing` whose effect on axis, in the mean over two octaves above some
corner less that over two below, reaches 2 dB (`LEAST_DB`). One is found where a shelf or tilt is told of that
sign, at whose own corner all such faults together do 1 dB; it is a false alarm where no mechanism of any kind
does 0.75 dB to its sign there. Features in the way of `evaluation.case` are counted as there.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from evaluation.case import spots
from evaluation.physics import Made, make
from evaluation.population import draw
from evaluation.scores import CANNOT_TELL, SAID
from evaluation.truth import NOTHING_DB, causes

from earwitness.findings.causes.judge import causes_in, gate_of, scene_of
from earwitness.findings.features import find_features
from earwitness.findings.shapes import find_shapes
from earwitness.records.causes import Cause
from earwitness.records.features import Feature
from earwitness.virtual.standard_curves import DIRECTIONS

Floats = npt.NDArray[np.float64]

AXIS = DIRECTIONS.index(("horizontal", 0))
#: A true shelf, and what a found one has to have, dB; octaves to each side.
LEAST_DB, RIGHT_DB, SIDE_OCTAVES = 2.0, 1.0, 2.0


def rise_db(made: Made, effect_db: Floats, corner_hz: float, width_octaves: float) -> float:
    """An effect on axis (F,) in the mean above a corner less that below."""
    away = np.log2(made.frequency_hz / corner_hz)
    half = 0.5 * min(width_octaves, 2.0)
    above = (away >= half) & (away <= half + SIDE_OCTAVES)
    below = (away <= -half) & (away >= -half - SIDE_OCTAVES)
    return float(effect_db[above].mean() - effect_db[below].mean()) if above.any() and below.any() else 0.0


def true_db(made: Made) -> float:
    """The largest rise or fall of all faults of cause `voicing`, signed."""
    effect = sum((m.effect_db[AXIS] for m in made.mechanisms if m.cause == Cause.VOICING.value), np.zeros(1))
    if effect.size == 1:
        return 0.0
    corners = np.geomspace(2.0 * made.frequency_hz[0], 8000.0, 40)
    rises = [rise_db(made, effect, float(corner), 1.0) for corner in corners]
    return max(rises, key=abs)


def judged(made: Made, found: Feature) -> tuple[bool, bool]:
    """Whether faults of cause `voicing` do it, and whether anything does."""
    rises = {
        mechanism.name: found.sign
        * rise_db(made, mechanism.effect_db[AXIS], found.frequency_hz, found.top.width_octaves)
        for mechanism in made.mechanisms
    }
    voiced = sum(rises[m.name] for m in made.mechanisms if m.cause == Cause.VOICING.value)
    return voiced >= RIGHT_DB, max(rises.values(), default=0.0) >= NOTHING_DB


def main(words: Sequence[str] | None = None) -> int:
    """Look, count, print."""
    first, count = (int(word) for word in (words or sys.argv[1:]))
    shelves = found = told = alarms = said = right = there = 0
    spent = 0.0
    for seed in range(first, first + count):
        made = make(draw(seed))
        features = find_features(made.responses)
        scene = scene_of(made.responses, made.drawn.scenario.air.speed)
        judgements = causes_in(scene, made.responses, features)
        start = time.process_time()
        shapes = find_shapes(scene, gate_of(made.responses))
        spent += time.process_time() - start
        true = true_db(made)
        shelves += abs(true) >= LEAST_DB
        outcome = [judged(made, each) for each, _ in shapes]
        told += len(shapes)
        found += abs(true) >= LEAST_DB and any(ok for ok, _ in outcome)
        alarms += sum(not anything for _, anything in outcome)
        for feature, judgement in zip(features, judgements, strict=True):
            is_there = Cause.VOICING.value in causes(made, spots(feature))
            of = judgement.of(Cause.VOICING)
            is_said = of is not None and of.probability >= SAID and judgement.cannot_tell < SAID
            said, right, there = said + is_said, right + (is_said and is_there), there + is_there
        words_told = [f"{each.kind} {each.gain_db:+.1f} at {each.frequency_hz:.0f}" for each, _ in shapes]
        print(seed, made.shape, f"true {true:+.1f}", words_told, outcome, flush=True)
    print(f"true shelves {shelves}, found {found}; told {told}, false alarms {alarms}")
    print(
        f"voicing of features: right {right} of {said} said, of {there} there ({CANNOT_TELL} counts as not)"
    )
    print(f"shapes in {spent / count:.3f} s of processor time beyond the causes'")
    return 0


if __name__ == "__main__":
    sys.exit(main())
