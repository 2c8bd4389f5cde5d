"""Harmonics of one place at several drives, on the derived grid."""

from __future__ import annotations

from dataclasses import dataclass

from earwitness.records.grid import Bools, Complexes, Floats
from earwitness.records.takes import Drive, TakeId


@dataclass(frozen=True)
class LevelSeries:
    """What a loudspeaker adds to a sine, by order, at each drive.

    Attributes
    ----------
    radiator
        The radiator that was measured near by; None on axis.
    takes, drives
        D takes in the order of rising drive, one for each drive.
    frequency_hz
        Shape (F,): frequencies of excitation; order n sounds at n times each.
    order
        N orders from 1, the fundamental.
    pressure
        Shape (D, N, F), complex64: Pa RMS at 1 m at that drive. 0 where not valid.
    noise_power
        Shape (D, N, F): what noise alone adds to the square of its magnitude; NaN where it can't be told.
    valid
        Shape (D, N, F): where the sweep and its windows hold the order; what noise hides is valid too.
    free_field
        Shape (N, F): where the level is that of the free field, as the linear response at n·f has it;
        elsewhere the room has its part in it.
    notes
        What was decided, in words.
    """

    radiator: str | None
    takes: tuple[TakeId, ...]
    drives: tuple[Drive, ...]
    frequency_hz: Floats
    order: tuple[int, ...]
    pressure: Complexes
    noise_power: Floats
    valid: Bools
    free_field: Bools
    notes: tuple[str, ...] = ()
