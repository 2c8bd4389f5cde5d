"""What an outcome is expected to tell: mutual information of a cause and what a take would show.

I = H(cause) − E[H(cause | outcome)] (C. E. Shannon, 1948; recalled). Outcomes that show or don't have it in
closed form. A cause counts where its effect lies above a threshold; where the effect is known to a standard
uncertainty s and a take measures it again to σ, all errors normal, it depends on the probability p alone and
on ρ² = s²/(s² + σ²): with u standard normal, E of H(Φ((Φ⁻¹(p) + ρ·u)/√(1 − ρ²))), by Gauss and Hermite.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

Float64s = npt.NDArray[np.float64]

#: Nodes of the quadrature.
NODES: Final = 96
#: Probabilities and correlations stay so far within their ends.
WITHIN: Final = 1e-9


def entropy_bits(probability: Float64s) -> float:
    """−Σ p·log₂ p."""
    some = probability[probability > 0.0]
    return float(-np.sum(some * np.log2(some)))


def information_bits(odds: Sequence[float] | Float64s, shows: Sequence[float] | Float64s) -> float:
    """Mutual information of K hypotheses, by their odds, and an outcome that shows by `shows` for each."""
    prior, shown = np.asarray(odds, dtype=np.float64), np.asarray(shows, dtype=np.float64)
    prior = prior / prior.sum()
    left = 0.0
    for likelihood in (shown, 1.0 - shown):
        joint = prior * likelihood
        if joint.sum() > 0.0:
            left += float(joint.sum()) * entropy_bits(joint / joint.sum())
    return max(entropy_bits(prior) - left, 0.0)


def open_bits(probability: float) -> float:
    """Entropy of one cause that acts or doesn't."""
    return entropy_bits(np.array([probability, 1.0 - probability]))


def threshold_bits(probability: float, told: float) -> float:
    """Mutual information of whether an effect passes its threshold and a measured value of the effect.

    Parameters
    ----------
    probability
        That it does, before.
    told
        ρ² = s²/(s² + σ²), 0 … 1.
    """
    told = float(np.clip(told, 0.0, 1.0 - WITHIN))
    p = float(np.clip(probability, WITHIN, 1.0 - WITHIN))
    nodes, weights = np.polynomial.hermite_e.hermegauss(NODES)
    after = ndtr((ndtri(p) + np.sqrt(told) * nodes) / np.sqrt(1.0 - told))
    left = -sum(np.where(q > 0.0, q * np.log2(np.maximum(q, 1e-300)), 0.0) for q in (after, 1.0 - after))
    return max(open_bits(p) - float(left @ weights) / float(weights.sum()), 0.0)
