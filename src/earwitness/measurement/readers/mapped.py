"""Responses and recordings from a file of arrays, by what the case states of them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.readers.arrays import Array, ArrayFile, as_matrix
from earwitness.measurement.readers.contents import (
    MAX_FREQUENCY_HZ,
    MAX_LEVEL_DB,
    SAMPLE_RATES_HZ,
    Contents,
    Float64s,
    MeasuredResponse,
    Part,
    Recording,
    Source,
    rows_of,
)
from earwitness.measurement.readers.mapping import (
    ANGLE_UNITS,
    FREQUENCY_UNITS,
    ArrayMapping,
    Way,
    stated_mapping,
)
from earwitness.measurement.readers.options import stated_unit
from earwitness.measurement.readers.placing import parts_of
from earwitness.measurement.readers.sound_options import require_possible
from earwitness.measurement.readers.units import LINEAR, STATED, ValueUnit
from earwitness.measurement.readers.wrapping import rows_proven
from earwitness.records.errors import ReadError

#: Frequencies that reach so far, and no further, are in Hz: in kHz or rad/s that is no measurement's end.
_REACHED_IN_HZ: Final = (1_000.0, 100_000.0)
_ANGULAR: Final = re.compile(r"(?:^|[._/])(?:w|omega)$", re.IGNORECASE)
#: So many values are looked at at once.
_BLOCK: Final = 2**20


def look_at_arrays(source: Source, file: ArrayFile) -> Contents:
    """What a file of arrays holds, after all of it was found to be readable.

    Raises
    ------
    ReadError
        What its arrays are isn't stated or can't be so, or a value is none that a response has.
    """
    mapping = stated_mapping(source, file.arrays)
    if mapping.way is Way.SAMPLES:
        require_possible(source)
        sounds = _sounds(source, file, mapping)
        for row in range(len(sounds.samples)):
            sounds.recording(row)
        return Contents(mapping.form, sounds.parts, sample_rate_hz=sounds.sample_rate_hz)
    held = _responses(source, file, mapping)
    held.require_all()
    return Contents(mapping.form, held.parts, remark=held.remark)


def read_arrays(
    source: Source, file: ArrayFile, selectors: Sequence[str]
) -> Sequence[Recording] | Sequence[MeasuredResponse]:
    """The parts that `selectors` name, in their order.

    Raises
    ------
    ReadError
        As `look_at_arrays`, or there is no such part.
    """
    mapping = stated_mapping(source, file.arrays)
    if mapping.way is Way.SAMPLES:
        sounds = _sounds(source, file, mapping)
        return [
            sounds.recording(row)
            for row in rows_of(source, [part.selector for part in sounds.parts], selectors)
        ]
    held = _responses(source, file, mapping)
    return list(held.of(rows_of(source, [part.selector for part in held.parts], selectors)))


@dataclass(frozen=True)
class _Sounds:
    """Samples of shape (parts, n) at one rate."""

    source: Source
    mapping: ArrayMapping
    parts: tuple[Part, ...]
    samples: Array
    sample_rate_hz: int

    def recording(self, row: int) -> Recording:
        """One of them, checked."""
        where = _place(self.mapping.values, row, len(self.parts))
        with np.errstate(over="ignore"):
            samples = np.asarray(self.samples[row : row + 1], dtype=np.float32)
        if not np.isfinite(samples).all():
            sample = int(np.argmin(np.isfinite(samples[0])))
            raise ReadError(
                self.source.name, "is not a number", "export it again", f"{where}, sample {sample}"
            )
        if not samples.any():
            raise ReadError(self.source.name, "is silent", "export it again", where)
        return Recording(samples, self.sample_rate_hz)


def _sounds(source: Source, file: ArrayFile, mapping: ArrayMapping) -> _Sounds:
    rate = _sample_rate(source, file, mapping)
    count = _count(file, mapping)
    lengths = file.arrays[mapping.values].lengths
    axis = _time_axis(source, mapping, lengths, count)
    samples = as_matrix(file.numbers(mapping.values), axis)
    return _Sounds(source, mapping, parts_of(source, file, mapping, len(samples)), samples, rate)


def _sample_rate(source: Source, file: ArrayFile, mapping: ArrayMapping) -> int:
    stated = mapping.sample_rate
    found = file.numbers(stated).ravel() if isinstance(stated, str) else np.array([stated])
    low, high = SAMPLE_RATES_HZ
    if found.size != 1 or not low <= float(found[0]) <= high or float(found[0]) % 1.0:
        told = f"{found[0]:g} Hz" if found.size == 1 else f"{found.size} numbers"
        problem, remedy = f"{told} is no sample rate", f"state one of {low} to {high} Hz"
        raise ReadError(source.name, problem, remedy, "read.sample_rate")
    return int(found[0])


def _count(file: ArrayFile, mapping: ArrayMapping) -> int | None:
    """How many parts the file has by what is said of each; None where nothing is."""
    names = [name for name in (mapping.azimuth, mapping.elevation, mapping.angle) if isinstance(name, str)]
    if names:
        return file.arrays[names[0]].size
    return len(file.texts(mapping.labels)) if mapping.labels is not None else None


def _time_axis(source: Source, mapping: ArrayMapping, lengths: tuple[int, ...], count: int | None) -> int:
    """Which of the axes longer than 1 is time."""
    if len(lengths) < 2:
        return 0
    _require_two_axes(source, mapping.values, lengths)
    if mapping.axis is not None:
        return mapping.axis
    fits = [axis for axis in (0, 1) if lengths[1 - axis] == count]
    if len(fits) != 1:
        raise _which_axis(source, mapping.values, lengths, "time")
    return fits[0]


def _frequency_axis(
    source: Source, mapping: ArrayMapping, name: str, lengths: tuple[int, ...], count: int
) -> int:
    """Which of the axes longer than 1 is frequency."""
    _require_two_axes(source, name, lengths)
    fits = [axis for axis, length in enumerate(lengths) if length == count]
    if not fits or (len(lengths) == 2 and mapping.axis is not None and mapping.axis not in fits):
        shape = " × ".join(str(length) for length in lengths) or "1"
        problem = f"{name} has {shape} entries for {count} frequencies"
        raise ReadError(source.name, problem, "name the frequencies that belong to it", "read.frequency")
    if len(fits) == 1:
        return fits[0]
    if mapping.axis is None:
        raise _which_axis(source, name, lengths, "frequency")
    return mapping.axis


def _require_two_axes(source: Source, name: str, lengths: tuple[int, ...]) -> None:
    if len(lengths) > 2:
        shape = " × ".join(str(length) for length in lengths)
        raise ReadError(
            source.name, f"has more than two axes ({shape})", "export it as responses × frequencies", name
        )


def _which_axis(source: Source, name: str, lengths: tuple[int, ...], what: str) -> ReadError:
    problem = f"{name} ({lengths[0]} × {lengths[1]}) doesn't say along which axis {what} runs"
    return ReadError(source.name, problem, "state it: axis = 1 or axis = 2", "read.axis")


def _place(name: str, row: int, rows: int) -> str:
    return name if rows == 1 else f"{name}, response {row + 1}"


@dataclass(frozen=True)
class _Responses:
    """Values of shape (parts, n) over frequencies that rise; `taken` are they on the file's axis."""

    source: Source
    mapping: ArrayMapping
    parts: tuple[Part, ...]
    frequency_hz: Float64s
    taken: slice
    values: Array
    second: Array | None
    unit: ValueUnit
    phase_unit: str
    remark: str

    def require_all(self) -> None:
        """Refuse what is no level that a response has, anywhere in the file."""
        for rows in self._blocks(range(len(self.parts))):
            self._sizes(rows, *self._numbers(rows))

    def of(self, rows: Sequence[int]) -> Iterator[MeasuredResponse]:
        """The responses of `rows`, checked, some at a time."""
        for these in self._blocks(rows):
            values, second = self._numbers(these)
            sizes = self._sizes(these, values, second)
            level = 20.0 * np.log10(sizes) if self.unit.linear else sizes
            phase = self._phases(values, second)
            for k in range(len(these)):
                yield MeasuredResponse(
                    self.frequency_hz, level[k], None if phase is None else phase[k], self.unit.level
                )

    def _blocks(self, rows: Sequence[int]) -> Iterator[npt.NDArray[np.intp]]:
        step = max(1, _BLOCK // self.frequency_hz.size)
        for first in range(0, len(rows), step):
            yield np.asarray(rows[first : first + step], dtype=np.intp)

    def _numbers(self, rows: npt.NDArray[np.intp]) -> tuple[Array, Array | None]:
        """The two arrays at these rows, all of them numbers."""
        values = self.values[rows][:, self.taken]
        self._require(rows, np.isfinite(values), "is not a number", self.mapping.values)
        if self.second is None:
            return values, None
        second = self.second[rows][:, self.taken]
        self._require(rows, np.isfinite(second), "is not a number", str(self.mapping.second))
        second = second.astype(np.float64)
        if self.mapping.way is Way.LEVEL:
            self._require_phase_unit(rows, second)
        return values, second

    def _require_phase_unit(self, rows: npt.NDArray[np.intp], phases: Float64s) -> None:
        """Refuse phases whose jumps prove that they are in another unit."""
        said = self.phase_unit
        for row, proven in zip(rows, rows_proven(phases), strict=True):
            if proven not in (None, said):
                problem = f"is said to be in {said}, and jumps as a phase in {proven} does"
                remedy = "export it again, or correct read.phase_unit"
                where = _place(str(self.mapping.second), int(row), len(self.parts))
                raise ReadError(self.source.name, problem, remedy, where)

    def _sizes(self, rows: npt.NDArray[np.intp], values: Array, second: Array | None) -> Float64s:
        """Levels, or magnitudes where the values aren't levels yet."""
        with np.errstate(over="ignore"):
            if second is not None and self.mapping.way is Way.PARTS:
                sizes = np.hypot(values.astype(np.float64), second)
            elif self.mapping.way is Way.COMPLEX:
                sizes = np.abs(values.astype(np.complex128, copy=False))
            else:
                sizes = values.astype(np.float64)
        name = self.mapping.values
        if not self.unit.linear:
            possible = np.abs(sizes) <= MAX_LEVEL_DB
        else:
            self._require(rows, sizes > 0.0, "is no magnitude over 0", name)
            possible = (sizes >= 10.0 ** (-MAX_LEVEL_DB / 20.0)) & (sizes <= 10.0 ** (MAX_LEVEL_DB / 20.0))
        self._require(rows, possible, "is no level that a response has", name)
        return np.asarray(sizes)

    def _phases(self, values: Array, second: Array | None) -> Float64s | None:
        """Phases in degrees; None where there are none."""
        if self.mapping.way is Way.COMPLEX:
            return np.asarray(np.angle(values.astype(np.complex128, copy=False), deg=True))
        if second is None:
            return None
        if self.mapping.way is Way.PARTS:
            return np.asarray(np.degrees(np.arctan2(second, values.astype(np.float64))))
        return np.asarray(second * ANGLE_UNITS[self.phase_unit])

    def _require(
        self, rows: npt.NDArray[np.intp], good: npt.NDArray[np.bool_], problem: str, name: str
    ) -> None:
        if good.all():
            return
        row, k = np.unravel_index(int(np.argmin(good)), good.shape)
        where = f"{_place(name, int(rows[row]), len(self.parts))}, {self.frequency_hz[k]:g} Hz"
        raise ReadError(self.source.name, problem, "export it again", where)


def _responses(source: Source, file: ArrayFile, mapping: ArrayMapping) -> _Responses:
    name = str(mapping.frequency)
    unit = _unit(source, file, mapping)
    raw = np.asarray(file.numbers(name), dtype=np.float64).ravel()
    in_words = _frequency_unit(source, file, name, raw)
    frequency, taken = _rising(source, name, raw * FREQUENCY_UNITS[in_words])
    axis = _frequency_axis(source, mapping, mapping.values, file.arrays[mapping.values].lengths, raw.size)
    phase_unit = _phase_unit(source, file, mapping)
    if (
        mapping.second is not None
        and file.arrays[mapping.second].lengths != file.arrays[mapping.values].lengths
    ):
        problem = f"{mapping.second} and {mapping.values} have other shapes"
        raise ReadError(source.name, problem, "name arrays of the same shape", f"read.{mapping.way}")
    values = as_matrix(file.numbers(mapping.values), axis)
    second = None if mapping.second is None else as_matrix(file.numbers(mapping.second), axis)
    parts = parts_of(source, file, mapping, len(values))
    remark = f"{len(parts)} responses of {frequency.size} frequencies in {in_words}, {unit.level}"
    return _Responses(source, mapping, parts, frequency, taken, values, second, unit, phase_unit, remark)


def _unit(source: Source, file: ArrayFile, mapping: ArrayMapping) -> ValueUnit:
    stated = stated_unit(source, "unit", file.unit(mapping.values), STATED)
    if stated is None:
        problem = f"what {mapping.values} is in isn't stated"
        raise ReadError(source.name, problem, f"state unit: one of {', '.join(STATED)}", "read.unit")
    unit = STATED[stated]
    if not unit.linear and mapping.way is not Way.LEVEL:
        problem = f"{stated} is stated for {mapping.way} numbers"
        raise ReadError(source.name, problem, f"state one of {', '.join(LINEAR)}", "read.unit")
    return unit


def _phase_unit(source: Source, file: ArrayFile, mapping: ArrayMapping) -> str:
    if mapping.way is not Way.LEVEL or mapping.second is None:
        return "deg"
    unit = stated_unit(source, "phase_unit", file.unit(mapping.second), ANGLE_UNITS)
    if unit is None:
        problem = f"what {mapping.second} is in isn't stated"
        raise ReadError(source.name, problem, "state phase_unit: deg or rad", "read.phase_unit")
    return unit


def _frequency_unit(source: Source, file: ArrayFile, name: str, values: Float64s) -> str:
    """What frequencies are in: as stated, or Hz where their range leaves no doubt."""
    unit = stated_unit(source, "frequency_unit", file.unit(name), FREQUENCY_UNITS)
    if unit is not None:
        return unit
    low, high = _REACHED_IN_HZ
    top = float(np.max(np.abs(values[np.isfinite(values)]), initial=0.0))
    if not low < top <= high or _ANGULAR.search(name):
        problem = f"{name} reaches {top:g}, which may be Hz, kHz or rad/s"
        raise ReadError(source.name, problem, "state frequency_unit", "read.frequency_unit")
    return "Hz"


def _rising(source: Source, name: str, found: Float64s) -> tuple[Float64s, slice]:
    """Frequencies that rise, and which of those that were found (in Hz) they are.

    A frequency of 0, where a Fourier transform begins, is left aside.
    """
    finite = np.isfinite(found)
    if not finite.all():
        where = f"{name}, entry {int(np.argmin(finite)) + 1}"
        raise ReadError(source.name, "is not a number", "export it again", where)
    falls = found[0] > found[-1]
    first = int(found[-1 if falls else 0] == 0.0)
    taken = slice(found.size - 1 - first, None, -1) if falls else slice(first, None)
    frequency = found[taken]
    if frequency.size < 2:
        raise ReadError(source.name, f"{name} has {frequency.size} frequencies", "export at least two")
    wrong = np.diff(frequency, prepend=0.0) <= 0.0
    if wrong.any():
        k = int(np.argmax(wrong))
        where = f"{name}, entry {int(np.arange(found.size)[taken][k]) + 1}"
        problem = f"{frequency[k]:g} Hz " + (f"follows {frequency[k - 1]:g} Hz" if k else "is no frequency")
        raise ReadError(source.name, problem, "export each frequency once, in order", where)
    if frequency[-1] > MAX_FREQUENCY_HZ:
        problem = f"{frequency[-1]:g} Hz is no audible frequency"
        raise ReadError(source.name, problem, "correct frequency_unit, or export it again", name)
    return frequency, taken
