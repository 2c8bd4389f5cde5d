"""What is stated of a file's arrays is refused where it, or a wrapped phase's numbers, say otherwise."""

from __future__ import annotations

import math
from pathlib import Path

import h5py
import numpy as np
import pytest

from earwitness.measurement.readers.contents import MeasuredResponse, Source
from earwitness.measurement.readers.hdf5_arrays import READER
from earwitness.measurement.readers.wrapping import proven_without_name, rows_proven
from earwitness.records.errors import ReadError
from earwitness.records.takes import ReadOption

TURNS = {"deg": 360.0, "rad": 2.0 * math.pi, "gon": 400.0}
HZ = 20.0 * np.arange(1.0, 101.0)
LEVEL = {"frequency": "f", "level": "L", "phase": "p", "unit": "dB SPL"}
PARTS = {"frequency": "f", "real": "L", "imaginary": "p", "unit": "Pa"}


def wrapped(unit: str, low: float = -0.5, step: float = -0.1) -> np.ndarray:
    """A phase that falls by a tenth of a turn a row; `low` is where a turn begins, in turns."""
    return TURNS[unit] * ((step * np.arange(HZ.size) - low) % 1.0 + low)


def source(folder: Path, numbers: np.ndarray, /, **options: ReadOption) -> Source:
    file = folder / "arrays.h5"
    with h5py.File(file, "w") as made:
        made["f"], made["L"], made["p"] = HZ, np.full(numbers.shape, 80.0), numbers
    return Source(file, "arrays.h5", tuple(options.items()))


def refusal(given: Source) -> str:
    with pytest.raises(ReadError) as looked:
        READER.look(given)
    with pytest.raises(ReadError) as read:
        READER.read(given, [""])
    assert str(looked.value) == str(read.value)
    return str(looked.value)


@pytest.mark.parametrize(("low", "proven"), [(-0.5, "deg"), (-0.5, "rad"), (-0.5, "gon"), (0.0, "deg")])
@pytest.mark.parametrize("said", ["deg", "rad"])
def test_a_phase_that_jumps_in_another_unit(tmp_path: Path, said: str, proven: str, low: float) -> None:
    given = source(tmp_path, wrapped(proven, low), **LEVEL, phase_unit=said)
    if said == proven:
        (found,) = READER.read(given, [""])
        assert isinstance(found, MeasuredResponse)
        assert found.phase_deg is not None
        assert found.phase_deg == pytest.approx(wrapped("deg", low), abs=1e-9)
        return
    assert refusal(given) == (
        f"arrays.h5, p: is said to be in {said}, and jumps as a phase in {proven} does; "
        "export it again, or correct read.phase_unit"
    )


def test_one_of_many_phases_that_jumps_in_another_unit(tmp_path: Path) -> None:
    phases = np.zeros((300, HZ.size))
    phases[217] = wrapped("deg")
    given = source(tmp_path, phases, **LEVEL, phase_unit="rad")
    with pytest.raises(ReadError, match="p, response 218: is said to be in rad"):
        READER.look(given)


def test_a_phase_that_proves_nothing_is_taken_at_its_word(tmp_path: Path) -> None:
    for phase in (np.linspace(0.0, -900.0, HZ.size), np.zeros(HZ.size), wrapped("deg", step=-0.005)):
        for said in ("deg", "rad"):
            READER.look(source(tmp_path, phase, **LEVEL, phase_unit=said))


@pytest.mark.parametrize(
    ("options", "first", "second"),
    [
        ({**PARTS, "imaginary": "L"}, "real", "imaginary"),
        ({**PARTS, "real": "f"}, "frequency", "real"),
        ({**LEVEL, "phase": "L", "phase_unit": "deg"}, "level", "phase"),
        ({**LEVEL, "phase": "f", "phase_unit": "deg"}, "frequency", "phase"),
        ({**LEVEL, "phase_unit": "deg", "azimuth": "f", "elevation": 0}, "frequency", "azimuth"),
        ({**LEVEL, "phase_unit": "deg", "azimuth": "p", "elevation": "p"}, "phase", "azimuth"),
    ],
)
def test_one_array_can_not_be_two_things(
    tmp_path: Path, options: dict[str, ReadOption], first: str, second: str
) -> None:
    line = refusal(source(tmp_path, wrapped("deg"), **options))
    array = options[second]
    assert line == (
        f"arrays.h5, read.{second}: {array} is stated as {first} and as {second}; "
        "name the array that holds each"
    )


def test_rows_are_proven_as_each_alone() -> None:
    rng = np.random.default_rng(3)
    rows = [wrapped(unit, low, step) for unit in TURNS for low in (-0.5, 0.0) for step in (-0.1, 0.03, 0.2)]
    rows += [rng.uniform(-180.0, 180.0, HZ.size), rng.uniform(0.0, 1.0, HZ.size), np.zeros(HZ.size)]
    assert rows_proven(np.array(rows)) == [proven_without_name(row) for row in rows]
