"""AES69 directivities (``FreeFieldDirectivityTF``): every direction of a loudspeaker in one file.

The directions are those in which the receivers stand as the source sees them: positions, views and ups of
listener and source are all taken into account, whichever of them the file moves. Each direction is a part;
its selector names it (``az 30 el 0``). What the data are in, the convention doesn't say: the file does beside
``Data.Real``, or the case states it (``level``).

Source: AES69-2022, conventions FreeFieldDirectivityTF 1.0 and 1.1, as the convention files of sofar 1.3.0
have them (read).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Final, cast

import numpy as np
import numpy.typing as npt

from earwitness.measurement.readers.contents import (
    MAX_FREQUENCY_HZ,
    MAX_LEVEL_DB,
    Contents,
    Form,
    LevelUnit,
    MeasuredResponse,
    Part,
    Placed,
    Source,
    rows_of,
)
from earwitness.measurement.readers.hdf5_file import Hdf5File, hdf5_file
from earwitness.measurement.readers.options import stated_unit, truth
from earwitness.measurement.readers.placement import Placement, by_selector, read_placement
from earwitness.measurement.readers.units import PRESSURES
from earwitness.records.errors import ReadError
from earwitness.records.takes import Drive, DriveUnit, TakeKind

Float64s = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

CONVENTION: Final = "FreeFieldDirectivityTF"
VERSIONS: Final = ("1.0", "1.1")
MAX_FREQUENCIES: Final = 2**17
MAX_DIRECTIONS: Final = 20_000
#: Responses of one direction whose distances differ by more were measured on several surfaces.
SURFACES_APART_M: Final = 0.005
#: Decimals of a distance in metres that count: single precision keeps no more.
DISTANCE_DECIMALS: Final = 5
#: Data read at a time, bytes.
BLOCK_BYTES: Final = 2**25
HERTZ: Final[Mapping[str, float]] = {"hertz": 1.0, "hz": 1.0, "kilohertz": 1e3, "khz": 1e3}
#: Units of the data as AES69 files spell them.
SPELT: Final[Mapping[str, str]] = {"pascal": "Pa", "pascal per volt": "Pa/V"}
_DRIVE: Final = re.compile(r"\s*(?P<value>[+−-]?\d{1,4}(?:\.\d+)?)\s*(?P<unit>V|dBFS|dBu)\s*", re.ASCII)


class Aes69Reader:
    """The reader of AES69 files."""

    name = "aes69"
    suffixes = frozenset({".sofa"})
    level_option = "level"
    options: Mapping[str, str] = {
        "level": f"what the data are in, RMS at the drive of the take: {', '.join(PRESSURES)}",
        "drives": 'the drive of each measurement in the file, as in "1 V, 2.83 V"',
        "repeats": "true where several measurements in the file are repeats of one another",
    }

    def look(self, source: Source) -> Contents:
        """What the file holds, after all of it was read once."""
        with hdf5_file(source) as file:
            held = _held(file, source)
            for first, block in _blocks(file, held):
                _require_levels(source, held, first, block)
            title = file.attribute("", "Title")
        flat = "; the bin at 0 Hz is left out" if held.skipped else ""
        remark = f"{len(held.parts)} directions, {held.frequency_hz.size} frequencies{flat}"
        return Contents(Form.RESPONSES, held.parts, (str(title),) if title else (), remark)

    def read(self, source: Source, selectors: Sequence[str]) -> Sequence[MeasuredResponse]:
        """The responses in the directions that `selectors` name."""
        with hdf5_file(source) as file:
            held = _held(file, source)
            wanted = rows_of(source, [part.selector for part in held.parts], selectors)
            has_phase = _has_phase(file, held)
            found: dict[int, MeasuredResponse] = {}
            for first, block in _blocks(file, held, set(wanted)):
                for row in {r for r in wanted if first <= r < first + len(block)}:
                    _require_levels(source, held, row, block[row - first : row - first + 1])
                    found[row] = _response(held, row, block[row - first], has_phase)
        return [found[row] for row in wanted]


READER: Final = Aes69Reader()


@dataclass(frozen=True)
class _Held:
    """What is in the file beside the data: (M, R) receivers in measurements, parts and distances (M·R,)."""

    measurements: int
    receivers: int
    frequency_hz: Float64s
    skipped: int
    unit: LevelUnit
    parts: tuple[Part, ...]
    distance_m: Float64s


def _held(file: Hdf5File, source: Source) -> _Held:
    """Everything but the data, checked."""
    _require_convention(file, source)
    shapes = [_shape(file, source, variable) for variable in ("Data.Real", "Data.Imag")]
    if shapes[0] != shapes[1]:
        raise ReadError(source.name, "has another shape than Data.Real", "export it again", "Data.Imag")
    measurements, receivers, bins = shapes[0]
    if not (0 < measurements * receivers <= MAX_DIRECTIONS and 2 <= bins <= MAX_FREQUENCIES):
        problem = f"has {measurements * receivers} responses of {bins} frequencies"
        remedy = f"export up to {MAX_DIRECTIONS} of 2 to {MAX_FREQUENCIES}"
        raise ReadError(source.name, problem, remedy, "Data.Real")
    frequency, skipped = _frequencies(file, source, bins)
    placement = read_placement(file, source.name, measurements, receivers)
    parts = _parts(source, placement, receivers)
    unit = _unit(file, source)
    return _Held(measurements, receivers, frequency, skipped, unit, parts, placement.distance_m.ravel())


def _require_convention(file: Hdf5File, source: Source) -> None:
    """Refuse another format, convention or version by its name."""
    stated = {key: file.attribute("", key) for key in ("Conventions", "SOFAConventions", "DataType")}
    if stated["Conventions"] != "SOFA":
        raise ReadError(source.name, "is HDF5, and no AES69 file", "name its reader with read.reader")
    if stated["SOFAConventions"] != CONVENTION or stated["DataType"] != "TF":
        problem = f"follows the convention {stated['SOFAConventions']!r} ({stated['DataType']})"
        raise ReadError(source.name, problem, f"export it as {CONVENTION}", "SOFAConventions")
    version = file.attribute("", "SOFAConventionsVersion")
    if version not in VERSIONS:
        problem = f"follows version {version!r} of its convention"
        raise ReadError(source.name, problem, f"export version {VERSIONS[-1]}", "SOFAConventionsVersion")


def _shape(file: Hdf5File, source: Source, variable: str) -> tuple[int, int, int]:
    """The shape of one of the two data variables."""
    found = file.datasets.get(variable)
    if found is None:
        raise ReadError(source.name, f"has no {variable}", "export it again")
    if found.is_text or len(found.shape) != 3:
        raise ReadError(
            source.name, "isn't measurements × receivers × frequencies", "export it again", variable
        )
    measurements, receivers, bins = found.shape
    return measurements, receivers, bins


def _frequencies(file: Hdf5File, source: Source, bins: int) -> tuple[Float64s, int]:
    """Rising frequencies in Hz, and how many bins at 0 Hz come before them."""
    if "N" not in file.datasets:
        raise ReadError(source.name, "has no frequencies", "export it again", "N")
    units = str(file.attribute("N", "Units") or "").strip().lower()
    if units not in HERTZ:
        raise ReadError(source.name, f"is in {units!r}", "give frequencies in hertz", "N")
    frequency = file.reals("N").ravel() * HERTZ[units]
    if frequency.size != bins:
        raise ReadError(
            source.name, f"has {frequency.size} frequencies for {bins} values", "export it again", "N"
        )
    skipped = int(frequency[0] == 0.0)
    rising = frequency[skipped:]
    if not np.isfinite(rising).all() or rising[0] <= 0.0 or rising[-1] > MAX_FREQUENCY_HZ:
        raise ReadError(source.name, "holds what is no audible frequency", "export it again", "N")
    falls = np.diff(rising) <= 0.0
    if falls.any():
        at = int(np.argmax(falls))
        problem = f"{rising[at + 1]:g} Hz follows {rising[at]:g} Hz"
        raise ReadError(source.name, problem, "export the frequencies in rising order", "N")
    if rising.size < 2:
        raise ReadError(source.name, "has one frequency", "export at least two", "N")
    return rising, skipped


def _unit(file: Hdf5File, source: Source) -> LevelUnit:
    """What the data are in, as the case states it or the file says beside them."""
    told = str(file.attribute("Data.Real", "Units") or "").strip().lower()
    unit = stated_unit(source, "level", SPELT.get(told, told), PRESSURES)
    if unit is None:
        problem = "doesn't say what its data are in"
        raise ReadError(source.name, problem, 'state it, as in read = { level = "Pa" }', "Data.Real")
    return PRESSURES[unit].level


def _parts(
    source: Source,
    placement: Placement,
    receivers: int,
) -> tuple[Part, ...]:
    """One part a response; several of one direction are told apart by their distances.

    Where these are the same, by what the case states of them.
    """
    positions_deg, distance_m = placement.positions_deg, placement.distance_m.ravel()
    drives = _drives(source, len(positions_deg) // receivers)
    repeats = truth(source, "repeats")
    parts: dict[int, Part] = {}
    for selector, these in by_selector(placement, apart_m=SURFACES_APART_M).items():
        counted: dict[Drive | None, int] = {}
        for row in these:
            drive = drives[row // receivers] if drives else None
            counted[drive] = counted.get(drive, 0) + 1
            if counted[drive] > 1 and not repeats:
                problem = f"has {len(these)} responses at {selector}, and doesn't say in what they differ"
                remedy = 'state read.drives, as in "1 V, 2.83 V", or read.repeats = true'
                raise ReadError(source.name, problem, remedy)
            name = selector if len(these) == 1 else f"{selector} response {these.index(row) + 1}"
            parts[row] = Part(
                name,
                position_deg=positions_deg[row],
                kind=TakeKind.RESPONSE,
                drive=drive,
                repeat=counted[drive],
                distance_m=round(float(distance_m[row]), DISTANCE_DECIMALS),
            )
    return tuple(parts[row] for row in range(len(positions_deg)))


def _drives(source: Source, measurements: int) -> tuple[Drive, ...]:
    """The stated drive of each measurement; empty where none is stated."""
    stated = source.option("drives")
    if stated is None:
        return ()
    found = [_DRIVE.fullmatch(text.replace("−", "-")) for text in str(stated).split(",")]
    drives = [Drive(float(m["value"]), cast(DriveUnit, m["unit"])) for m in found if m]
    possible = all(d.unit == "dBu" or (d.value > 0.0 if d.unit == "V" else d.value <= 0.0) for d in drives)
    if len(drives) != len(found) or not possible or len(drives) != measurements:
        problem = f"read.drives {stated!r} isn't a drive for each of {measurements} measurements"
        raise ReadError(source.name, problem, 'write it like "1 V, 2.83 V" or "-20 dBFS, -10 dBFS"')
    return tuple(drives)


def _blocks(file: Hdf5File, held: _Held, wanted: Set[int] | None = None) -> Iterator[tuple[int, Complexes]]:
    """Pressures of some responses at a time, shape (rows, F), with the row of the first.

    Those that hold none of the `wanted` rows are left out.
    """
    bins = held.frequency_hz.size + held.skipped
    most = max(1, BLOCK_BYTES // (16 * bins))
    together = max(1, most // held.receivers)
    for first in range(0, held.measurements, together):
        last = min(first + together, held.measurements)
        for start in range(0, held.receivers, most):
            stop = min(start + most, held.receivers)
            row, end = first * held.receivers + start, (last - 1) * held.receivers + stop
            if wanted is not None and wanted.isdisjoint(range(row, end)):
                continue
            part = (slice(first, last), slice(start, stop))
            real, imaginary = (file.reals(f"Data.{name}", part) for name in ("Real", "Imag"))
            block = np.empty(real.shape, dtype=np.complex128)
            block.real, block.imag = real, imaginary
            yield row, block[..., held.skipped :].reshape(-1, bins - held.skipped)


def _require_levels(source: Source, held: _Held, first: int, block: Complexes) -> None:
    """Refuse what is no number, silence, holes and levels that no response has."""
    # of real and imaginary part the larger one: within 3 dB of the size, and quicker
    size = np.maximum(np.abs(block.real), np.abs(block.imag))
    sound = size > 0.0
    count = sound.sum(axis=-1)
    beginning, end = sound.argmax(axis=-1), sound.shape[-1] - sound[:, ::-1].argmax(axis=-1)
    quiet, loud = (10.0 ** (sign * MAX_LEVEL_DB / 20.0) for sign in (-1.0, 1.0))
    wrong = {
        "isn't a number": ~np.isfinite(size).all(axis=-1),
        "is silent": count < 2,
        "is zero between frequencies where it isn't": count != end - beginning,
        "has a level that no loudspeaker has": (sound & ((size < quiet) | (size > loud))).any(axis=-1),
    }
    for problem, rows in wrong.items():
        if rows.any():
            where = held.parts[first + int(rows.argmax())].selector
            raise ReadError(source.name, problem, "measure or export it again", where)


def _has_phase(file: Hdf5File, held: _Held) -> bool:
    """Whether any of the data isn't real and positive; where all are, they are magnitudes."""
    return any(
        bool((block.imag != 0.0).any() or (block.real < 0.0).any()) for _, block in _blocks(file, held)
    )


def _response(held: _Held, row: int, pressure: Complexes, has_phase: bool) -> MeasuredResponse:
    """One response where it isn't zero."""
    sound = (pressure.real != 0.0) | (pressure.imag != 0.0)
    pressure = pressure[sound]
    return MeasuredResponse(
        held.frequency_hz[sound],
        20.0 * np.log10(np.abs(pressure)),
        np.rad2deg(np.angle(pressure)) if has_phase else None,
        held.unit,
        Placed(float(held.distance_m[row])),
    )
