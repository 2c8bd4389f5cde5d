"""NetCDF-4 files, the same bytes for the same data; the one place that writes attributes."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from enum import IntEnum
from pathlib import Path
from typing import Any, Final, TypeVar

import h5netcdf
import h5py
import numpy as np
import numpy.typing as npt

from earwitness.records.errors import IntegrityError
from earwitness.records.grid import Bools, Floats

SCHEMA_VERSION: Final = 1
_TEXT: Final = h5py.string_dtype("utf-8")
Array = npt.NDArray[Any]
Attributes = Mapping[str, str | float | int | Array]
Read = TypeVar("Read")


@dataclass(frozen=True)
class Variable:
    """What a variable is: dimensions, unit (``1`` for none), meaning, and what else a reader must know."""

    dims: tuple[str, ...]
    units: str
    long_name: str
    attributes: Attributes = field(default_factory=dict)


def band_hz(frequency_hz: Floats, valid: Bools) -> Floats:
    """Lowest and highest frequency at which anything is valid, shape (2,); NaN where nothing is."""
    anywhere = valid.reshape(-1, valid.shape[-1]).any(axis=0)
    inside = frequency_hz[anywhere]
    return np.array([inside[0], inside[-1]] if inside.size else [np.nan, np.nan], dtype=np.float64)


class NetcdfWriter:
    """A new file, open for writing."""

    def __init__(self, file: Any, dims: Mapping[str, int], title: str) -> None:
        self._file = file
        file.dimensions = dict(dims)
        file.attrs["title"] = title
        file.attrs["schema_version"] = SCHEMA_VERSION

    def whole(self, attributes: Attributes) -> None:
        """Attributes of the whole file."""
        for name, value in attributes.items():
            self._file.attrs[name] = value

    def numbers(self, name: str, variable: Variable, values: npt.ArrayLike) -> None:
        """Numbers as they are: no change of precision."""
        self._written(name, variable, np.ascontiguousarray(values))

    def flags(
        self, name: str, variable: Variable, values: Array, meanings: type[IntEnum] | None = None
    ) -> None:
        """Truth values, or members of `meanings`, as bytes that say what each value means."""
        words = {m.value: m.name.lower() for m in meanings} if meanings else {0: "no", 1: "yes"}
        described = {
            **variable.attributes,
            "flag_values": np.array(sorted(words), dtype=np.uint8),
            "flag_meanings": " ".join(words[value] for value in sorted(words)),
        }
        flag = Variable(variable.dims, "1", variable.long_name, described)
        self._written(name, flag, np.ascontiguousarray(values, dtype=np.uint8))

    def texts(self, name: str, variable: Variable, values: Sequence[str]) -> None:
        """Texts of any length, UTF-8."""
        self._written(name, variable, np.array(values, dtype=object), _TEXT)

    def _written(self, name: str, variable: Variable, values: Array, dtype: Any = None) -> None:
        made = self._file.create_variable(name, variable.dims, dtype or values.dtype, data=values)
        for key, value in {
            "units": variable.units,
            "long_name": variable.long_name,
            **variable.attributes,
        }.items():
            made.attrs[key] = value


class _Opened(h5py.File):  # type: ignore[misc]
    """A file that opens each of its objects once: dimensions are asked for some thirty times a variable."""

    def __init__(self, *arguments: Any, **options: Any) -> None:
        self._objects: dict[str, Any] = {}
        super().__init__(*arguments, **options)

    def __getitem__(self, name: str) -> Any:
        if name == "/":
            return self
        if name not in self._objects:
            self._objects[name] = super().__getitem__(name)
        return self._objects[name]

    def __delitem__(self, name: str) -> None:
        self._objects.clear()
        super().__delitem__(name)


@contextmanager
def new_file(path: Path, dims: Mapping[str, int], title: str) -> Iterator[NetcdfWriter]:
    """Write a new file at `path` with the dimensions `dims`.

    It is made in memory: where a disk refuses, the library that makes it takes the whole process down.

    Raises
    ------
    OSError
        The file can't be written.
    """
    image = io.BytesIO()
    with _Opened(image, "w", track_order=True) as opened, h5netcdf.File(opened, "w") as file:
        yield NetcdfWriter(file, dims, title)
    path.write_bytes(image.getbuffer())


class NetcdfReader:
    """An open file whose variables are read whole."""

    def __init__(self, file: Any) -> None:
        self._file = file

    def whole(self, name: str) -> Any:
        """An attribute of the whole file."""
        return _plain(self._file.attrs[name])

    def has_whole(self, name: str) -> bool:
        """Whether the file has such an attribute."""
        return name in self._file.attrs

    def attribute(self, variable: str, name: str) -> Any:
        """An attribute of a variable."""
        return _plain(self._file.variables[variable].attrs[name])

    def has(self, name: str) -> bool:
        """Whether there is such a variable."""
        return name in self._file.variables

    def numbers(self, name: str) -> Array:
        """A variable's values."""
        return np.asarray(self._file.variables[name][...])

    def truths(self, name: str) -> npt.NDArray[np.bool_]:
        """A variable of truth values."""
        return self.numbers(name).astype(np.bool_)

    def texts(self, name: str) -> list[str]:
        """A variable of texts."""
        return [
            v.decode("utf-8") if isinstance(v, bytes) else str(v) for v in self._file.variables[name][...]
        ]


def read_file(path: Path, read: Callable[[NetcdfReader], Read]) -> Read:
    """What `read` makes of the file.

    Raises
    ------
    IntegrityError
        The file isn't there, or isn't one that a build wrote.
    """
    try:
        with h5netcdf.File(path, "r", decode_vlen_strings=True) as file:
            return read(NetcdfReader(file))
    except (OSError, LookupError, ValueError, TypeError) as error:
        problem = "isn't there" if isinstance(error, FileNotFoundError) else "isn't what a build writes"
        raise IntegrityError(f"build/{path.name}", problem, "build again") from error


def _plain(value: Any) -> Any:
    return value.item() if isinstance(value, np.ndarray | np.generic) and np.size(value) == 1 else value
