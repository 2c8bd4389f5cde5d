"""Seventy files in a few rows, with every angle accounted for."""

from __future__ import annotations

import pytest

from earwitness.cli.takes_table import runs


@pytest.mark.parametrize(
    ("angles", "words"),
    [
        (range(-170, 181, 10), "−170° to +180° every 10°"),
        ([-30, -20, -10, 10, 20, 30], "−30° to −10° every 10°, +10° to +30° every 10°"),
        ([0, 10, 20, 40, 50, 60], "+0° to +20° every 10°, +40° to +60° every 10°"),
        ([-5, 0, 40, 45], "−5°, +0°, +40°, +45°"),
        ([7.5, 15, 22.5], "+7.5° to +22.5° every 7.5°"),
        ([90], "+90°"),
        ([n * n for n in range(14)], "and more (--all lists them)"),
    ],
)
def test_angles_in_words(angles: list[float], words: str) -> None:
    assert runs(angles).endswith(words)
    assert runs(angles) == words or "more" in words
