"""What features and causes reach on a few tuning seeds: a regression, far below docs/evaluation.md."""

from __future__ import annotations

import numpy as np
import pytest
from evaluation.baselines import base_rates
from evaluation.case import look
from evaluation.run import modules_of_found
from evaluation.scores import brier

SEEDS = range(20_100, 20_108)


@pytest.mark.slow
def test_features_and_causes_reach_what_they_did() -> None:
    cases = [look(seed) for seed in SEEDS]
    hits = [h for c in cases for t, h in zip(c.true, c.hit, strict=True) if t.shows and not t.broad]
    assert len(hits) > 40
    assert np.mean(hits) >= 0.85
    assert np.mean([c.false_alarms for c in cases]) <= 0.6
    said = modules_of_found(cases)
    assert brier(said, base_rates([e for c in cases for e in c.examples])) <= 0.35
