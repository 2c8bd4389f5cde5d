"""Words for probabilities: IPCC guidance note of 2010, table 1 (recalled)."""

from __future__ import annotations

import pytest

from earwitness.methods.ipcc_2010 import likelihood


@pytest.mark.parametrize(
    ("probability", "word"),
    [
        (1.0, "very likely"),
        (0.9, "very likely"),
        (0.89, "likely"),
        (0.66, "likely"),
        (0.5, "about as likely as not"),
        (0.32, "unlikely"),
        (0.1, "unlikely"),
        (0.09, "very unlikely"),
        (0.0, "very unlikely"),
    ],
)
def test_each_range_has_its_word(probability: float, word: str) -> None:
    assert likelihood(probability) == word


@pytest.mark.parametrize("wrong", [-0.01, 1.01, float("nan")])
def test_what_is_no_probability_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match="no probability"):
        likelihood(wrong)
