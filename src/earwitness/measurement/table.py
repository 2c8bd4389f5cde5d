"""The long table of responses while it is being filled."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from earwitness.records.responses import Responses, Splice, ToldApart
from earwitness.records.takes import Take, TakeId
from earwitness.records.uncertainty import ComponentName

Float64s = npt.NDArray[np.float64]


@dataclass
class Table:
    """T rows over F frequencies; rows are filled in as their takes are reduced."""

    takes: tuple[Take, ...]
    frequency_hz: Float64s
    pressure: npt.NDArray[np.complex64]
    valid: npt.NDArray[np.bool_]
    origin: npt.NDArray[np.uint8]
    has_phase: npt.NDArray[np.bool_]
    seen_angle_deg: Float64s
    noise_db: Float64s
    gate_db: Float64s
    splice_db: Float64s
    interpolation_db: Float64s
    sample_rate_hz: Float64s
    gate_s: Float64s
    impulse_responses: dict[int, npt.NDArray[np.float32]] = field(default_factory=dict)
    near_field_takes: dict[int, tuple[TakeId, ...]] = field(default_factory=dict)
    splices: dict[int, Splice] = field(default_factory=dict)
    set_aside: list[TakeId] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    separation_db: dict[int, Float64s] = field(default_factory=dict)
    told_apart: ToldApart | None = None
    repeat_db: dict[int, Float64s] = field(default_factory=dict)
    air_db: dict[int, Float64s] = field(default_factory=dict)
    repeat_degrees: Float64s | None = None
    microphones_m: dict[int, Float64s] = field(default_factory=dict)

    @classmethod
    def empty(cls, takes: tuple[Take, ...], frequency_hz: Float64s) -> Table:
        """A table in which nothing is valid yet."""
        rows, shape = len(takes), (len(takes), frequency_hz.size)
        return cls(
            takes=takes,
            frequency_hz=frequency_hz,
            pressure=np.zeros(shape, dtype=np.complex64),
            valid=np.zeros(shape, dtype=np.bool_),
            origin=np.zeros(shape, dtype=np.uint8),
            has_phase=np.zeros(rows, dtype=np.bool_),
            seen_angle_deg=np.zeros(rows),
            noise_db=np.zeros(shape),
            gate_db=np.zeros(shape),
            splice_db=np.zeros(shape),
            interpolation_db=np.zeros(shape),
            sample_rate_hz=np.zeros(rows),
            gate_s=np.zeros(rows),
        )

    @property
    def angles_deg(self) -> Float64s:
        """The orbit angle of each row."""
        return np.array([0.0 if t.key.direction is None else t.key.direction.angle_deg for t in self.takes])

    def say(self, *notes: str) -> None:
        """Add notes once each, leaving out empty ones."""
        self.notes += [n for n in dict.fromkeys(notes) if n and n not in self.notes]

    def _components(self) -> dict[ComponentName, Float64s]:
        """What was found of each component; of interpolation only where a direction is."""
        found = {
            ComponentName.NOISE: self.noise_db,
            ComponentName.GATE: self.gate_db,
            ComponentName.SPLICE: self.splice_db,
        }
        between = {ComponentName.INTERPOLATION: self.interpolation_db} if self.interpolation_db.any() else {}
        return found | between | self._of_some_rows()

    def _of_some_rows(self) -> dict[ComponentName, Float64s]:
        """What the separation of waves, repeats of near fields and the air leave unsure.

        NaN where it can't be told: in rows that rest on no near field, or that came as responses.
        """
        return (
            self._of_rows(ComponentName.SEPARATION, self.separation_db)
            | self._of_rows(ComponentName.REPEAT, self.repeat_db, np.nan)
            | self._of_rows(ComponentName.AIR, self.air_db, np.nan)
        )

    def _of_rows(
        self, name: ComponentName, by_row: dict[int, Float64s], elsewhere: float = 0.0
    ) -> dict[ComponentName, Float64s]:
        """A component that some rows have; none where none has."""
        if not by_row:
            return {}
        found = np.full(self.valid.shape, elsewhere)
        for row, spread in by_row.items():
            found[row] = spread
        return {name: found}

    def responses(self, lead_s: float) -> Responses:
        """The finished record."""
        rows = len(self.takes)
        longest = max((r.size for r in self.impulse_responses.values()), default=0)
        stacked = np.zeros((rows, longest), dtype=np.float32)
        for row, response in self.impulse_responses.items():
            stacked[row, : response.size] = response
        valid = self.valid & np.isfinite(self.pressure)
        return Responses(
            takes=self.takes,
            frequency_hz=self.frequency_hz,
            pressure=np.where(valid, self.pressure, np.complex64(complex(np.nan, np.nan))),
            valid=valid,
            origin=np.where(valid, self.origin, np.uint8(0)),
            has_phase=self.has_phase,
            seen_angle_deg=self.seen_angle_deg,
            components={name: np.where(valid, spread, np.nan) for name, spread in self._components().items()},
            impulse_response=stacked,
            sample_rate_hz=self.sample_rate_hz,
            gate_s=self.gate_s,
            lead_s=lead_s,
            near_field_takes=tuple(self.near_field_takes.get(row, ()) for row in range(rows)),
            valid_from_hz=_valid_from_hz(valid, self.frequency_hz),
            notes=tuple(self.notes),
            splices={self.takes[row].id: self.splices[row] for row in sorted(self.splices)},
            set_aside=tuple(self.set_aside),
            told_apart=self.told_apart,
            repeat_degrees=self.repeat_degrees,
            microphone_m=self._microphone_m(),
        )

    def _microphone_m(self) -> Float64s | None:
        """Where the microphone stood by row, (T, 3); None where no row has a place."""
        if not self.microphones_m:
            return None
        places = np.full((len(self.takes), 3), np.nan)
        for row, place in self.microphones_m.items():
            places[row] = place
        return places


def _valid_from_hz(valid: npt.NDArray[np.bool_], frequency_hz: Float64s) -> float:
    """The frequency from which every take that is valid anywhere has begun to be; 0 where none is."""
    begun = valid.any(axis=-1)
    if not begun.any():
        return 0.0
    return float(frequency_hz[valid[begun].argmax(axis=-1)].max())
