"""A part of the population's impedances: what docs/accuracy.md says of them holds."""

from __future__ import annotations

import numpy as np
import pytest
from evaluation.impedance import case

pytestmark = pytest.mark.slow


def test_minimum_tuning_rating_and_resonances() -> None:
    """Of the first twelve of the seeds that were not looked at."""
    cases = [case(seed) for seed in range(50_000, 50_012)]
    assert np.abs([one.minimum for one in cases]).max() < 0.005
    tunings = [one.tuning for one in cases if one.tuning is not None]
    assert len(tunings) >= 11
    assert np.abs(tunings).max() < 0.02
    assert all(one.kept == one.verdict for one in cases)
    assert sum(one.false for one in cases) == 0
    there = sum(len(one.there) for one in cases)
    hits = [error for one in cases for error in one.hits]
    assert there >= 2
    assert len(hits) >= there - 1
    assert np.abs(hits).max() < 0.01
