"""The words under and behind a picture: conditions, and what a reader hears who can't see it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.derive.numerals import frequency, quantity
from earwitness.methods.iec_60263 import DB_PER_DECADE, FREQUENCY_LIMITS_HZ
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.sentences import Sentence, Term, say

#: Where a picture of curves is read out, as far as the curves reach.
READ_OUT_HZ: Final = (100.0, 1000.0, 10_000.0)


def axis_span() -> Sentence:
    """``20 Hz to 20 kHz``, the ends of the frequency axis."""
    low, high = FREQUENCY_LIMITS_HZ
    return say(
        frequency(low, "method:iec_60263/FREQUENCY_LIMITS_HZ/0"),
        " to ",
        frequency(high, "method:iec_60263/FREQUENCY_LIMITS_HZ/1"),
    )


def proportion() -> Sentence:
    """``25 dB to the decade``."""
    return say(quantity(DB_PER_DECADE, "dB", "method:iec_60263/DB_PER_DECADE", 0), " to the decade")


def valid_from(curves: CurveSet, name: CurveName) -> Sentence:
    """``valid from 31.2 Hz``, of a curve that has a valid band."""
    band = curves.valid_band_hz(name)
    if band is None:
        raise ValueError(f"{name} isn't valid anywhere")
    return say("valid from ", frequency(band[0], f"curve:{name}/valid_from_hz"))


def conditions(curves: CurveSet, name: CurveName) -> Sentence:
    """The quiet line under a picture of levels: unit, drive, proportion, and from where it is valid."""
    unit = say(Term("dB re 20 µPa at 1 m"), " for ", Term(curves.drive))
    return say(unit, " · ", proportion(), " · ", valid_from(curves, name))


def read_out(curves: CurveSet, names: Sequence[CurveName]) -> Sentence:
    """The level of each curve at three frequencies: ``on axis: 86.0 dB at 100 Hz, …``."""
    told = [text for name in names if (text := _levels(curves, name)) is not None]
    return joined(told, "; ")


def joined(parts: Sequence[Sentence], separator: str) -> Sentence:
    """Sentences with a separator between them."""
    if not parts:
        return say()
    return say(parts[0], *(piece for part in parts[1:] for piece in (separator, part)))


def _levels(curves: CurveSet, name: CurveName) -> Sentence | None:
    curve = curves.curves[name]
    told = []
    for i, frequency_hz in enumerate(READ_OUT_HZ):
        nearest = int(np.argmin(np.abs(np.log(curves.frequency_hz / frequency_hz))))
        if not curve.valid[nearest]:
            continue
        level = float(curve.level_db[nearest])
        told.append(
            say(
                quantity(level, "dB", f"curve:{name}/at/{frequency_hz:g}"),
                " at ",
                frequency(frequency_hz, f"method:exhibits.wording/READ_OUT_HZ/{i}"),
            )
        )
    return say(f"{name.words}: ", joined(told, ", ")) if told else None
