"""Words for probabilities, so that the same word always means the same odds.

M. D. Mastrandrea and others, Guidance Note for Lead Authors of the IPCC Fifth Assessment Report on
Consistent Treatment of Uncertainties, 2010, table 1 (recalled). Its ranges overlap; a probability gets the
narrowest word that holds for it. "Virtually certain" and its opposite are left out: no model of ours earns
them.
"""

from __future__ import annotations

from typing import Final

#: Least probability of each word, the highest first.
LEAST: Final[tuple[tuple[float, str], ...]] = (
    (0.90, "very likely"),
    (0.66, "likely"),
    (0.33, "about as likely as not"),
    (0.10, "unlikely"),
    (0.0, "very unlikely"),
)


def likelihood(probability: float) -> str:
    """``likely`` for 0.7.

    Raises
    ------
    ValueError
        It isn't a probability.
    """
    if not 0.0 <= probability <= 1.0:
        raise ValueError(f"{probability} is no probability")
    return next(word for least, word in LEAST if probability >= least)
