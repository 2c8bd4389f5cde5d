"""A note on how it sounds at a high level, held against what changes there.

The change of the fundamental at the highest drive against the lowest, over its own median, is to a high level
what a curve over its trend is to the rest: a band that gives in beside the others is heard as too little.
Where a note says too much, harmonics speak for it as well, from three per cent of the fundamental on
(defined here; harmonics sound in the band above the note's own or in it, which isn't told apart).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.derive.formatting import value_text
from earwitness.records.curves import CurveSet
from earwitness.records.sentences import Number, say
from earwitness.records.testimony import Amount, Note, NoteHeld, Outcome

Float64s = npt.NDArray[np.float64]
ByChance = Callable[[Float64s, Float64s, tuple[float, float], float], float]

#: Total harmonic distortion from which it counts as too much.
DISTORTED: Final = 0.03
#: The least number of drives that tell of a change.
LEAST_DRIVES: Final = 2


def held_at_high_level(note: Note, curves: CurveSet, least_db: float, by_chance: ByChance) -> NoteHeld:
    """A note with a band and an amount against the highest drive."""
    level = curves.level
    assert note.band_hz is not None
    if level is None or len(level.drives) < LEAST_DRIVES:
        reason = say("How it changes with the level wasn't measured.")
        return NoteHeld(note, Outcome.NOT_TESTABLE, None, None, None, reason)
    hz = np.asarray(curves.frequency_hz, dtype=np.float64)
    change = np.asarray(level.change_db[-1], dtype=np.float64)
    valid = np.isfinite(change)
    wanted = (hz >= note.band_hz[0]) & (hz <= note.band_hz[1])
    if not wanted.any() or not valid[wanted].all():
        reason = say("The change with the level isn't valid throughout its band.")
        return NoteHeld(note, Outcome.NOT_TESTABLE, None, None, None, reason)
    beside = change - float(np.median(change[valid]))
    deviation = float(beside[wanted].mean())
    sign = 1.0 if note.amount is Amount.TOO_MUCH else -1.0
    added = np.where(level.heard[-1] & np.isfinite(level.ratio[-1]), level.ratio[-1], 0.0)
    harmonics = note.amount is Amount.TOO_MUCH and float(added[wanted].max()) >= DISTORTED
    counted = sign * beside
    if note.amount is Amount.TOO_MUCH:
        counted = np.where(added >= DISTORTED, np.maximum(counted, least_db), counted)
    chance = by_chance(np.log2(hz[valid]), counted[valid], note.band_hz, least_db)
    supported = harmonics or sign * deviation >= least_db
    outcome = (
        Outcome.SUPPORTED
        if supported
        else Outcome.CONTRADICTED
        if sign * deviation <= -least_db
        else Outcome.NOT_SEEN
    )
    here = f"testimony:{note.number}/deviation_db"
    shown = Number(value_text(abs(deviation), "dB", 1), deviation, here)
    side = "more" if deviation >= 0.0 else "less"
    reason = say(
        "At the highest drive it plays ", shown, f" {side} there beside the rest than at the lowest."
    )
    if harmonics:
        reason += say(" Harmonics of what plays there are strong.")
    return NoteHeld(note, outcome, deviation, None, chance, reason)
