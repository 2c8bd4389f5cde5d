"""The strip by octave: where each band of the on-axis response comes from, and how sure it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.derive.numerals import spread
from earwitness.methods.iec_61260 import band_edges_hz
from earwitness.records.curves import Curve
from earwitness.records.grid import Bools
from earwitness.records.responses import Origin, Responses
from earwitness.records.sentences import Sentence, Term, say
from earwitness.records.takes import ON_AXIS

#: Nominal names of the octaves (IEC 61260-1, ISO 266) and their steps from 1 kHz.
OCTAVES: Final = {
    -5: "31.5", -4: "63", -3: "125", -2: "250", -1: "500", 0: "1k", 1: "2k", 2: "4k", 3: "8k", 4: "16k",
}  # fmt: skip
ORIGIN_WORDS: Final[Mapping[Origin, str]] = {
    Origin.NOTHING: "nothing valid",
    Origin.GATED: "gated",
    Origin.NEAR_FIELD: "near field",
    Origin.BLENDED: "near field into gated",
    Origin.AS_GIVEN: "as given",
    Origin.SEPARATED: "separated",
    Origin.SEPARATED_INTO_GATED: "separated into gated",
    Origin.NEAR_FIELD_INTO_SEPARATED: "near field into separated",
}


@dataclass(frozen=True, slots=True)
class Band:
    """One octave of the on-axis response.

    `origin` is where most of its valid points come from; `uncertainty_db` the median of the curve's standard
    uncertainty in it, None where nothing is valid or stated.
    """

    label: Sentence
    origin: Origin
    words: Sentence
    uncertainty_db: float | None
    uncertainty: Sentence


def octaves(responses: Responses, on_axis: Curve) -> tuple[Band, ...]:
    """The ten octaves from 31.5 Hz to 16 kHz; none where no on-axis take was reduced."""
    rows = [i for i, t in enumerate(responses.takes) if t.key.direction and t.key.direction.shared == ON_AXIS]
    return tuple(_band(i, responses, rows[0], on_axis) for i in range(len(OCTAVES))) if rows else ()


def _band(index: int, responses: Responses, row: int, on_axis: Curve) -> Band:
    step = list(OCTAVES)[index]
    inside = _inside(responses, step)
    shown = inside & responses.valid[row]
    if not shown.any():
        return Band(
            say(Term(OCTAVES[step])), Origin.NOTHING, say(ORIGIN_WORDS[Origin.NOTHING]), None, say("–")
        )
    origin = Origin(int(np.bincount(responses.origin[row][shown]).argmax()))
    words = say(ORIGIN_WORDS[origin])
    if not shown[inside].all():
        words = words + say(", in part")
    known = on_axis.uncertainty_db[inside & np.isfinite(on_axis.uncertainty_db)]
    if not known.size:
        return Band(say(Term(OCTAVES[step])), origin, words, None, say("not stated"))
    value = float(np.median(known))
    stated = say("± ", spread(value, "dB", f"publication:trust/bands/{index}/uncertainty_db"))
    return Band(say(Term(OCTAVES[step])), origin, words, value, stated)


def _inside(responses: Responses, step: int) -> Bools:
    low, high = band_edges_hz(step, 1)
    return np.asarray((responses.frequency_hz >= low) & (responses.frequency_hz < high))
