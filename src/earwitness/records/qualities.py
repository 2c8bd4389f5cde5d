"""Words for what is heard, and the band and amount that each is held to mean: a small closed vocabulary.

The words marked so stand in Recommendation ITU-R BS.2399, which gives no bands (recalled); the others are in
common use. All bands and amounts are common practice, to a third of an octave or so: a reviewer who means
another band says so, and it is taken instead.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from earwitness.records.sources import Source, Standing
from earwitness.records.testimony import Amount, Quality

_BS_2399: Final = Source("ITU-R BS.2399", "2017", "attributes of timbre; no bands", Standing.RECALLED)
_USE: Final = Source("common use", "", "a word and its band", Standing.COMMON_PRACTICE)


@dataclass(frozen=True, slots=True)
class Meaning:
    """Where a quality lies, whether there is too much or too little, and where the word is from."""

    band_hz: tuple[float, float]
    amount: Amount
    source: Source


MEANINGS: Final[Mapping[Quality, Meaning]] = {
    Quality.BOOMY: Meaning((100.0, 200.0), Amount.TOO_MUCH, _BS_2399),
    Quality.THIN: Meaning((100.0, 400.0), Amount.TOO_LITTLE, _USE),
    Quality.MUDDY: Meaning((160.0, 400.0), Amount.TOO_MUCH, _USE),
    Quality.BOXY: Meaning((250.0, 800.0), Amount.TOO_MUCH, _USE),
    Quality.NASAL: Meaning((630.0, 1600.0), Amount.TOO_MUCH, _BS_2399),
    Quality.FORWARD: Meaning((1000.0, 4000.0), Amount.TOO_MUCH, _USE),
    Quality.DISTANT: Meaning((1000.0, 4000.0), Amount.TOO_LITTLE, _USE),
    Quality.HARSH: Meaning((2000.0, 5000.0), Amount.TOO_MUCH, _USE),
    Quality.SIBILANT: Meaning((5000.0, 10_000.0), Amount.TOO_MUCH, _USE),
    Quality.BRIGHT: Meaning((4000.0, 16_000.0), Amount.TOO_MUCH, _BS_2399),
    Quality.DARK: Meaning((4000.0, 16_000.0), Amount.TOO_LITTLE, _BS_2399),
    Quality.DULL: Meaning((4000.0, 16_000.0), Amount.TOO_LITTLE, _USE),
}
