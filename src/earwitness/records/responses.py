"""Reduced responses, long: one row a take."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum

from earwitness.records.grid import Bools, Bytes, Complexes, Floats
from earwitness.records.impedance import MeasuredImpedance
from earwitness.records.takes import Direction, Drive, Take, TakeId
from earwitness.records.uncertainty import ComponentName


class Origin(IntEnum):
    """Where the value at one frequency of a response comes from."""

    NOTHING = 0
    GATED = 1
    NEAR_FIELD = 2
    BLENDED = 3
    AS_GIVEN = 4
    SEPARATED = 5
    SEPARATED_INTO_GATED = 6
    NEAR_FIELD_INTO_SEPARATED = 7


@dataclass(frozen=True, slots=True)
class Splice:
    """Where a near field was joined to a gated response, and how the two differ there.

    `mismatch_db` is the mean level of the gated response over the near field as theory carries it, from
    `low_hz` to `high_hz`. The near field's level was left as theory has it.
    """

    low_hz: float
    high_hz: float
    mismatch_db: float


@dataclass(frozen=True)
class ToldApart:
    """How two surfaces told waves that leave from waves that the room sends back, at F frequencies.

    Each of shape (F,): the order of outgoing waves, the condition of the matrix of all waves, what they leave
    of the pressures (root mean square re theirs), and whether the result was `taken`.
    """

    frequency_hz: Floats
    order: Floats
    condition: Floats
    residual: Floats
    taken: Bools


@dataclass(frozen=True)
class Responses:
    """All directional responses of a case on the derived grid.

    Attributes
    ----------
    takes
        T takes, of directional kinds, in the order of their ids.
    frequency_hz
        Shape (F,).
    pressure
        Shape (T, F), complex64: Pa per unit of drive (volt, or digital full scale) at 1 m from the
        reference point, time of flight removed. Where `has_phase` is False the phase is zero and means
        nothing.
    valid
        Shape (T, F): nothing outside becomes a number, a line or a cause.
    origin
        Shape (T, F), uint8 of `Origin`.
    has_phase
        Shape (T,).
    microphone_m
        Shape (T, 3): where the microphone stood from the reference point, in the unit's frame; the time of
        flight that was removed is that of its distance, but for a constant of its orbit. NaN in takes that
        don't share a clock, where each was taken off by its own arrival; None where no take has a place.
    seen_angle_deg
        Shape (T,): the angle at which the microphone stood as seen from the reference point, which differs
        from the turntable's when the point of rotation lies elsewhere.
    components
        Standard uncertainties found in the data (noise, gate, splice), dB, each of shape (T, F). NaN at a
        valid point is one that can't be told, as in responses that came as text.
    impulse_response
        Shape (T, N), float32, Pa per unit of drive at 1 m: gated, beginning `lead_s` before the arrival.
        Zeros for takes that came as responses.
    sample_rate_hz, gate_s
        Shape (T,); zero for takes that came as responses.
    near_field_takes
        For each take the ids of the near-field takes that were spliced in.
    splices
        For each take that a near field was spliced into, how.
    set_aside
        Repeats that depart from the others so far that they count for nothing: valid nowhere. `notes` say
        why.
    repeat_degrees
        Shape (F,): degrees of freedom of the component of repetition, which is what near fields tell; None
        where none of them was repeated.
    notes
        What the reduction decided and why, in words without digits where they can be (see `sentences`).
    impedance
        At the terminals; None where none was measured.
    told_apart
        How two surfaces told waves apart; None where none were measured.
    """

    takes: tuple[Take, ...]
    frequency_hz: Floats
    pressure: Complexes
    valid: Bools
    origin: Bytes
    has_phase: Bools
    seen_angle_deg: Floats
    components: Mapping[ComponentName, Floats]
    impulse_response: Floats
    sample_rate_hz: Floats
    gate_s: Floats
    lead_s: float
    near_field_takes: tuple[tuple[TakeId, ...], ...]
    valid_from_hz: float
    notes: tuple[str, ...] = ()
    splices: Mapping[TakeId, Splice] = field(default_factory=dict)
    set_aside: tuple[TakeId, ...] = ()
    repeat_degrees: Floats | None = None
    impedance: MeasuredImpedance | None = None
    told_apart: ToldApart | None = None
    microphone_m: Floats | None = None


@dataclass(frozen=True)
class Directivity:
    """The two orbits at one named drive, one row a direction.

    Attributes
    ----------
    directions
        D directions in canonical form (0 and 180 once), sorted.
    power
        Shape (D, F) or (draws, D, F): mean square pressure in Pa² at 1 m for `drive`.
    valid
        Shape (D, F).
    seen_angle_deg
        Shape (D,).
    takes
        For each direction the takes it rests on.
    """

    drive: Drive
    frequency_hz: Floats
    directions: tuple[Direction, ...]
    power: Floats
    valid: Bools
    seen_angle_deg: Floats
    takes: tuple[tuple[TakeId, ...], ...]

    def rows(self, wanted: tuple[Direction, ...]) -> list[int]:
        """Row numbers of `wanted`, which must all be there."""
        index = {d: i for i, d in enumerate(self.directions)}
        return [index[d.shared] for d in wanted]

    def missing(self, wanted: tuple[Direction, ...]) -> tuple[Direction, ...]:
        """Those of `wanted` that were not measured."""
        have = set(self.directions)
        return tuple(d for d in wanted if d.shared not in have)
