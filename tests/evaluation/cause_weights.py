"""How the weights and priors of `findings.causes.weights` were found: from tuning seeds alone.

``PYTHONPATH=tests python -m evaluation.cause_weights FIRST LAST`` makes those loudspeakers, looks at them and
prints both tables. Priors are how often a cause is there among found features of an octave band, a band
counting as if it had ten more that are alike all bands; weights a logistic regression of the margins on top
of the prior's odds, held towards nothing by a normal prior of standard deviation 3.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from evaluation.baselines import Frequencies
from evaluation.case import look
from evaluation.population import TUNING
from evaluation.scores import CAUSES

from earwitness.findings.causes.judge import margins
from earwitness.findings.causes.weights import LEAST_PRIOR, PRIOR_WEIGHT, band
from earwitness.records.causes import FeatureCauses

Floats = npt.NDArray[np.float64]
Example = tuple[float, frozenset[str], dict[str, float]]

WIDTH = 3.0


def example(frequency_hz: float, true: frozenset[str], told: FeatureCauses) -> Example | None:
    """Frequency, true set and margins; None where nothing was fitted."""
    fitted = [each for each in told.said if each.effect_db is not None]
    if not fitted:
        return None
    found = margins([each.effect_db or 0.0 for each in fitted])
    by_cause = {each.cause.value: float(m) for each, m in zip(fitted, found, strict=True)}
    return frequency_hz, true, by_cause


def tables(examples: Sequence[Example]) -> tuple[dict[str, list[float]], dict[str, tuple[float, float]]]:
    """Priors by band −1 … 4 re 1 kHz, and (constant, slope) by cause."""
    by_band = Frequencies.of([(f, true) for f, true, _ in examples])
    priors, weights = {}, {}
    for cause in CAUSES:
        row = [by_band.say(1000.0 * 2.0**octave).probability.get(cause, 0.0) for octave in range(-1, 5)]
        priors[cause] = [float(np.clip(round(p, 2), LEAST_PRIOR, 1.0 - LEAST_PRIOR)) for p in row]
        own = [(f, cause in true, found[cause]) for f, true, found in examples if cause in found]
        if not own:
            continue
        p = np.array([priors[cause][band(f)] for f, _, _ in own])
        offset = PRIOR_WEIGHT * np.log(p / (1.0 - p))
        there = np.array([float(y) for _, y, _ in own])
        weights[cause] = logistic(np.array([[1.0, m] for _, _, m in own]), there, offset)
    return priors, weights


def logistic(x: Floats, there: Floats, offset: Floats) -> tuple[float, float]:
    """Newton's steps."""
    beta = np.zeros(2)
    for _ in range(50):
        p = 1.0 / (1.0 + np.exp(-(x @ beta + offset)))
        slope = x.T @ (there - p) - beta / WIDTH**2
        curve = (x * (p * (1.0 - p))[:, None]).T @ x + np.eye(2) / WIDTH**2
        beta = beta + np.linalg.solve(curve, slope)
    return float(round(beta[0], 2)), float(round(beta[1], 2))


def main(first: int, last: int) -> None:
    """Print both tables."""
    assert first in TUNING
    assert last in TUNING
    found = []
    for seed in range(first, last + 1):
        case = look(seed)
        pairs = zip(case.found_examples, case.told, strict=True)
        found += [e for (f, true), told in pairs if (e := example(f, true, told)) is not None]
    for table in tables(found):
        print(*(f"{name}: {row}" for name, row in table.items()), sep="\n")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
