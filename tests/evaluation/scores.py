"""How good statements about causes are. Everything is about `Judged` features: what was said, what is true.

A statement gives, for each cause, the probability that it is one of the feature's causes, and a share of
"can't tell". That share is filled with what is true of the population at large, so that a program which
can't tell is scored as what it admits to know. The Brier score is the sum over causes of (p − y)², y 1
where the cause is there: 0 is perfect, and a statement that is sure of one wrong cause where another is
true gets 2.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

CAUSES: Final = (
    "resonance",
    "edge_diffraction",
    "spaced_sources",
    "crossover_misalignment",
    "driver_directivity",
    "voicing",
    "port_or_cavity",
)
CANNOT_TELL: Final = "cannot_tell"
NONE: Final = "nothing"
#: From here on a cause counts as said.
SAID: Final = 0.5
BINS: Final = 10
RESAMPLES: Final = 1000


@dataclass(frozen=True)
class Statement:
    """Probabilities by cause, each of 0 … 1, and the share that can't be told."""

    probability: Mapping[str, float]
    cannot_tell: float = 0.0

    def filled(self, base: Mapping[str, float]) -> Floats:
        """Probabilities in the order of `CAUSES`, with `base` for what can't be told."""
        mine = np.array([self.probability.get(cause, 0.0) for cause in CAUSES])
        at_large = np.array([base.get(cause, 0.0) for cause in CAUSES])
        return np.asarray((1.0 - self.cannot_tell) * mine + self.cannot_tell * at_large)

    @property
    def said(self) -> frozenset[str]:
        """The set that it comes down to."""
        if self.cannot_tell >= SAID:
            return frozenset({CANNOT_TELL})
        return frozenset(cause for cause, p in self.probability.items() if p >= SAID)


@dataclass(frozen=True)
class Judged:
    """A feature: which loudspeaker's, its true causes, what was said of it, and how much it counts."""

    group: int
    true: frozenset[str]
    statement: Statement
    weight: float = 1.0
    errors: Mapping[str, float] = field(default_factory=dict)


def truth_of(judged: Judged) -> Floats:
    """1 for each cause that is there."""
    return np.array([float(cause in judged.true) for cause in CAUSES])


def brier(judged: Sequence[Judged], base: Mapping[str, float]) -> float:
    """Weighted mean; NaN of nothing."""
    if not judged:
        return float("nan")
    each = [float(np.sum((j.statement.filled(base) - truth_of(j)) ** 2)) for j in judged]
    return float(np.average(each, weights=[j.weight for j in judged]))


def brier_interval(
    judged: Sequence[Judged], base: Mapping[str, float], seed: int = 0, resamples: int = RESAMPLES
) -> tuple[float, float]:
    """95 % by the bootstrap over loudspeakers: features of one are no independent draws."""
    groups: dict[int, list[Judged]] = {}
    for one in judged:
        groups.setdefault(one.group, []).append(one)
    sums = np.array(
        [
            [sum(j.weight * brier([j], base) for j in of_one), sum(j.weight for j in of_one)]
            for of_one in groups.values()
        ]
    )
    lots = np.random.default_rng(seed)
    drawn = sums[lots.integers(len(sums), size=(resamples, len(sums)))].sum(axis=1)
    low, high = np.quantile(drawn[:, 0] / drawn[:, 1], [0.025, 0.975])
    return float(low), float(high)


@dataclass(frozen=True)
class ReliabilityBin:
    """Of all pairs of feature and cause said with about this probability, how often it was so."""

    said: float
    observed: float
    count: int


def reliability(judged: Sequence[Judged], base: Mapping[str, float]) -> list[ReliabilityBin]:
    """In ten bins; empty ones are left out."""
    said = np.array([j.statement.filled(base) for j in judged]).ravel()
    true = np.array([truth_of(j) for j in judged]).ravel()
    index = np.minimum((said * BINS).astype(int), BINS - 1)
    return [
        ReliabilityBin(
            float(said[index == k].mean()), float(true[index == k].mean()), int((index == k).sum())
        )
        for k in range(BINS)
        if (index == k).any()
    ]


def confusion(judged: Sequence[Judged]) -> dict[tuple[str, str], int]:
    """How often (true set, said set)."""
    return dict(Counter((named(j.true), named(j.statement.said)) for j in judged))


def named(causes: frozenset[str]) -> str:
    """A set in words."""
    return " + ".join(sorted(causes)) or NONE


def cannot_tell_share(judged: Sequence[Judged]) -> float:
    """Share of features of which it is said that it can't be told."""
    return float(np.mean([CANNOT_TELL in j.statement.said for j in judged])) if judged else float("nan")


def exact_share(judged: Sequence[Judged]) -> float:
    """Share of features whose set is said exactly."""
    return float(np.average([j.true == j.statement.said for j in judged], weights=[j.weight for j in judged]))


def even(judged: Sequence[Judged]) -> list[Judged]:
    """The same under other priors: each true set weighs alike."""
    counts = Counter(j.true for j in judged)
    return [
        Judged(j.group, j.true, j.statement, len(judged) / len(counts) / counts[j.true], j.errors)
        for j in judged
    ]


def shifted(judged: Sequence[Judged], cause: str, factor: float) -> list[Judged]:
    """The same where features with a cause are so many times as frequent."""
    return [
        Judged(j.group, j.true, j.statement, j.weight * (factor if cause in j.true else 1.0), j.errors)
        for j in judged
    ]
