"""Cases that go the whole way: 24-bit WAV files of a virtual session, the product's own reduction, findings.

    PYTHONPATH=tests python -m evaluation.through_files 20200 20

Everything that a reviewer's recordings have is in them: the room beyond the gate, noise, errors of angle,
near fields. The truth is that of `evaluation.physics`, through the gate that the product chose.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from accuracy.bench import Recorded, measure, record
from accuracy.loudspeakers import described
from evaluation.baselines import Frequencies, base_rates
from evaluation.case import Looked, looked, spots
from evaluation.physics import make
from evaluation.population import draw
from evaluation.ruler import unit
from evaluation.run import feature_table, found_table
from evaluation.truth import true_features

from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.findings.causes.judge import causes_of
from earwitness.findings.features import find_features
from earwitness.findings.find import gated
from earwitness.records.takes import Orbit
from earwitness.virtual.standard_curves import DIRECTIONS


def look_through_files(seed: int) -> Looked:
    """Record a case, reduce it, look at it, and hold it against its truth."""
    drawn = draw(seed)
    made = described(drawn.scenario)
    start = time.perf_counter()
    with TemporaryDirectory(prefix="earwitness-") as folder:
        turns = tuple((Orbit(orbit), angle) for orbit, angle in DIRECTIONS)
        recorded: Recorded = record(made, Path(folder), turns)
        measured = measure(recorded)
    responses = gated(measured.responses)
    recorded_s = time.perf_counter() - start
    start = time.perf_counter()
    found = find_features(responses)
    looked_s = time.perf_counter() - start
    speed = speed_of_sound_m_s(recorded.facts().rig.temperature_c)
    told = causes_of(responses, found, speed, unit(drawn.scenario))
    told_s = time.perf_counter() - start - looked_s
    truth = make(drawn, float(responses.gate_s[responses.gate_s > 0.0].min()))
    true = tuple(true_features(truth))
    return looked(truth, true, [spots(each) for each in found], told, (recorded_s, looked_s, told_s))


def main(words: Sequence[str] | None = None) -> int:
    """Read the call, run, print."""
    first, count = (int(word) for word in (words or sys.argv[1:]))
    some = []
    for seed in range(first, first + count):
        some.append(look_through_files(seed))
        print(f"\r{len(some)} of {count} cases", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    title = f"through files, seeds {first} to {first + count - 1}"
    feature_table(title, some)
    examples = [example for case in some for example in case.found_examples]
    found_table(title, some, Frequencies.of(examples), base_rates([e for c in some for e in c.examples]))
    for name in ("made_s", "looked_s", "told_s"):
        print(f"{name} {np.median([getattr(case, name) for case in some]):.2f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
