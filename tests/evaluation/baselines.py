"""What a program that has looked at nothing would say: the mark that causes have to beat.

`majority` is sure of the most frequent set of causes. `frequencies` says, for the octave band that a
feature lies in, how often each cause is there; a band of few examples borrows from all. Both know the
tuning seeds alone.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from evaluation.scores import CAUSES, Statement

#: A band counts as if it had so many more examples, which are alike all bands.
BORROWED: Final = 10.0

Example = tuple[float, frozenset[str]]


def base_rates(examples: Sequence[Example]) -> dict[str, float]:
    """How often each cause is there."""
    return {cause: float(np.mean([cause in true for _, true in examples])) for cause in CAUSES}


def majority(examples: Sequence[Example]) -> Statement:
    """Sure of the most frequent set."""
    most = Counter(true for _, true in examples).most_common(1)[0][0]
    return Statement(dict.fromkeys(most, 1.0))


@dataclass(frozen=True)
class Frequencies:
    """By octave band (whole number of octaves re 1 kHz)."""

    by_band: Mapping[int, Mapping[str, float]]
    overall: Mapping[str, float]

    @classmethod
    def of(cls, examples: Sequence[Example]) -> Frequencies:
        """From frequencies with their sets."""
        overall = base_rates(examples)
        bands: dict[int, list[Example]] = {}
        for example in examples:
            bands.setdefault(band(example[0]), []).append(example)
        by_band = {
            number: {
                cause: (sum(cause in true for _, true in some) + BORROWED * overall[cause])
                / (len(some) + BORROWED)
                for cause in CAUSES
            }
            for number, some in bands.items()
        }
        return cls(by_band, overall)

    def say(self, frequency_hz: float) -> Statement:
        """Of a feature at a frequency."""
        return Statement(self.by_band.get(band(frequency_hz), self.overall))


def band(frequency_hz: float) -> int:
    """Octave band re 1 kHz."""
    return int(np.floor(np.log2(frequency_hz / 1000.0) + 0.5))
