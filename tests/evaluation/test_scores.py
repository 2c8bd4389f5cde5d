"""Scores against tables worked by hand, and against what a constant and a perfect statement must get."""

from __future__ import annotations

import numpy as np
import pytest
from evaluation.baselines import BORROWED, Frequencies, band, base_rates, majority
from evaluation.scores import (
    CAUSES,
    Judged,
    Statement,
    brier,
    brier_interval,
    cannot_tell_share,
    confusion,
    even,
    exact_share,
    reliability,
    shifted,
)

R, E = frozenset({"resonance"}), frozenset({"edge_diffraction"})
BOTH = R | E
NOTHING: dict[str, float] = {}


def of(true: frozenset[str], group: int = 0, cannot_tell: float = 0.0, **said: float) -> Judged:
    return Judged(group, true, Statement(said, cannot_tell))


def test_perfect_is_nothing_and_wrong_is_two() -> None:
    assert brier([of(R, resonance=1.0), of(BOTH, resonance=1.0, edge_diffraction=1.0)], NOTHING) == 0.0
    assert brier([of(R, edge_diffraction=1.0)], NOTHING) == 2.0


def test_a_constant_gets_its_variance_and_its_bias() -> None:
    """Said p where a share q is so: q(1 − q) + (p − q)² (closed form; Murphy 1973, two terms)."""
    q, p = 0.3, 0.45
    judged = [of(R if k < 30 else frozenset(), resonance=p) for k in range(100)]
    assert brier(judged, NOTHING) == pytest.approx(q * (1 - q) + (p - q) ** 2, rel=1e-12)


def test_what_cant_be_told_counts_as_the_population() -> None:
    """0.5 of 0.8 and 0.5 of 0.2 are 0.5: (0.5 − 1)² = 0.25; the other cause 0.5·0.6 = 0.3: 0.09."""
    base = {"resonance": 0.2, "edge_diffraction": 0.6}
    assert brier([of(R, cannot_tell=0.5, resonance=0.8)], base) == pytest.approx(0.34, rel=1e-12)
    silent = [of(R, cannot_tell=1.0, edge_diffraction=1.0)]
    assert brier(silent, base) == pytest.approx(0.64 + 0.36, rel=1e-12)
    assert cannot_tell_share([*silent, of(R, cannot_tell=0.4)]) == 0.5


def test_the_bootstrap_draws_loudspeakers() -> None:
    """Ten features each of two loudspeakers, scores 0 and 2: means of two draws are 0, 1 or 2."""
    judged = [of(R, 1, resonance=1.0)] * 10 + [of(R, 2, edge_diffraction=1.0)] * 10
    assert brier_interval(judged, NOTHING) == (0.0, 2.0)
    alike = [of(R if k % 2 else E, k // 2, resonance=1.0) for k in range(40)]
    assert brier_interval(alike, NOTHING) == (1.0, 1.0)


def test_the_bootstrap_is_as_wide_as_theory_says() -> None:
    """200 loudspeakers of one feature each, 0 or 2 alike often: ±1.96·1/√200 about 1 (central limit)."""
    judged = [of(R if k % 2 else E, k, resonance=1.0) for k in range(200)]
    low, high = brier_interval(judged, NOTHING, resamples=4000)
    assert high - low == pytest.approx(2 * 1.96 / np.sqrt(200), rel=0.06)


def test_reliability_by_hand() -> None:
    """Of four said with 0.25 one is so; seven causes, the six others said with 0."""
    judged = [of(R, resonance=0.25), *[of(frozenset(), resonance=0.25)] * 3]
    low, quarter = reliability(judged, NOTHING)
    assert (low.said, low.observed, low.count) == (0.0, 0.0, 4 * (len(CAUSES) - 1))
    assert (quarter.said, quarter.observed, quarter.count) == (0.25, 0.25, 4)
    (top,) = [b for b in reliability([of(R, resonance=1.0)], NOTHING) if b.said > 0.5]
    assert (top.said, top.observed, top.count) == (1.0, 1.0, 1)


def test_sets_are_confused_as_counted() -> None:
    judged = [
        of(R, resonance=0.9),
        of(R, resonance=0.9),
        of(BOTH, resonance=0.9, edge_diffraction=0.3),
        of(E, cannot_tell=0.7, resonance=1.0),
        of(frozenset(), resonance=0.2),
    ]
    assert confusion(judged) == {
        ("resonance", "resonance"): 2,
        ("edge_diffraction + resonance", "resonance"): 1,
        ("edge_diffraction", "cannot_tell"): 1,
        ("nothing", "nothing"): 1,
    }
    assert exact_share(judged) == pytest.approx(0.6)


def test_other_priors_weigh() -> None:
    """Three right, one wrong (2): the mean is 0.5; evenly 1; with wrong ones twice as frequent 4/5."""
    judged = [*[of(R, k, resonance=1.0) for k in range(3)], of(E, 3, resonance=1.0)]
    assert brier(judged, NOTHING) == pytest.approx(0.5)
    assert brier(even(judged), NOTHING) == pytest.approx(1.0)
    assert brier(shifted(judged, "edge_diffraction", 2.0), NOTHING) == pytest.approx(0.8)


def test_baselines_by_hand() -> None:
    examples = [(1000.0, R), (1000.0, R), (8000.0, E), (8000.0, BOTH), (8000.0, E)]
    assert base_rates(examples)["resonance"] == pytest.approx(0.6)
    assert majority([*examples, (900.0, R)]).said == R
    frequencies = Frequencies.of(examples)
    assert frequencies.say(1100.0).probability["resonance"] == pytest.approx(
        (2 + BORROWED * 0.6) / (2 + BORROWED)
    )
    assert frequencies.say(7900.0).probability["resonance"] == pytest.approx(
        (1 + BORROWED * 0.6) / (3 + BORROWED)
    )
    assert frequencies.say(100.0).probability["resonance"] == pytest.approx(0.6)
    assert [band(f) for f in (1000.0, 1400.0, 1420.0, 710.0, 700.0)] == [0, 0, 1, 0, -1]
