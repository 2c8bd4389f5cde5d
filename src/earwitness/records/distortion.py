"""Harmonics of one place at several drives, on the derived grid."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

from earwitness.records.grid import Bools, Bytes, Complexes, Floats
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
        Shape (D, N, F), complex64: Pa RMS at that drive, at 1 m on axis, or in front of the radiator. 0 where
        not valid.
    noise_power
        Shape (D, N, F): what noise alone adds to the square of its magnitude, and in the bass as much again
        as stands for a sweep that is too fast (`settling.unsettled_power`); NaN where it can't be told.
    valid
        Shape (D, N, F): where the sweep and its windows hold the order; what noise hides is valid too.
    free_field
        Shape (N, F): where the level is that of the free field, as the linear response at n·f has it;
        elsewhere the room has its part in it.
    notes
        What was decided, in words.
    carried
        Shape (N, F): near a radiator, pressure at 1 m on axis re that in front of it, at n·f; NaN where not
        known. None on axis.
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
    carried: Floats | None = None


class Told(IntEnum):
    """What is known of the clean output of a band."""

    UNKNOWN = 0
    DISTORTION = 1
    CHANGE = 2
    AT_LEAST = 3
    LESS_THAN = 4


@dataclass(frozen=True)
class NearDistortion:
    """Total harmonic distortion of one radiator by itself, at the highest drive of its near fields.

    Attributes
    ----------
    radiator, drive
        Which, and at what.
    ratio
        Shape (F,): re its own fundamental, in front of it; NaN where not heard.
    at_1m
        Shape (F,): both carried to 1 m on axis; NaN where not heard or not known.
    """

    radiator: str
    drive: Drive
    ratio: Floats
    at_1m: Floats


@dataclass(frozen=True)
class ChangeWithLevel:
    """Distortion, change of the fundamental and clean output on axis, as they are drawn.

    Attributes
    ----------
    takes, drives
        D takes in the order of rising drive.
    stated
        The row of the drive at which figures of distortion are stated.
    arrived_db
        Shape (D,): mean level at 1 m from 300 Hz to 3 kHz, as it was found.
    hours
        How long a day NIOSH allows at the highest of these, taken as A-weighted.
    ratio, re_mean
        Shape (D, F): total harmonic distortion re the fundamental, and re its mean level. Where `heard` is
        False: what it stays below. NaN where not valid.
    heard
        Shape (D, F).
    uncertainty
        Shape (D, F): of `ratio`, by noise; NaN where not heard or not known.
    order
        K orders of harmonics.
    order_ratio
        Shape (K, F): each order re the fundamental at the stated drive; NaN where not heard.
    change_db
        Shape (D, F): change of the fundamental against the lowest drive.
    band_hz, output_db, told
        Shape (B,): middles of third octaves, clean output, and what is known of it (`Told`).
    notes
        What was decided, in words.
    near
        Of each radiator that was heard near by at several drives.
    """

    takes: tuple[TakeId, ...]
    drives: tuple[Drive, ...]
    stated: int
    arrived_db: Floats
    hours: float
    ratio: Floats
    re_mean: Floats
    heard: Bools
    uncertainty: Floats
    order: tuple[int, ...]
    order_ratio: Floats
    change_db: Floats
    band_hz: Floats
    output_db: Floats
    told: Bytes
    notes: tuple[str, ...] = ()
    near: tuple[NearDistortion, ...] = ()
