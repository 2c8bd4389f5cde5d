"""Arrays in HDF5 files, MATLAB's of version 7.3 among them. What is what in them the case states."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Final

import numpy as np

from earwitness.measurement.readers.arrays import Array, ArrayFile, ArrayInfo, Holding
from earwitness.measurement.readers.contents import Contents, MeasuredResponse, Recording, Source
from earwitness.measurement.readers.hdf5_file import Dataset, Hdf5File, hdf5_file
from earwitness.measurement.readers.mapped import look_at_arrays, read_arrays
from earwitness.measurement.readers.mapping import OPTIONS
from earwitness.records.errors import ReadError


class Hdf5ArraysReader:
    """The reader of HDF5 files that follow no convention."""

    name = "hdf5_arrays"
    suffixes = frozenset({".h5", ".hdf5"})
    level_option = "unit"
    options: Mapping[str, str] = OPTIONS

    def look(self, source: Source) -> Contents:
        """What the file holds, by what the case states of its arrays."""
        with hdf5_file(source, leave_others=True) as file:
            return look_at_arrays(source, _Arrays(file))

    def read(
        self, source: Source, selectors: Sequence[str]
    ) -> Sequence[Recording] | Sequence[MeasuredResponse]:
        """The responses or recordings that `selectors` number."""
        with hdf5_file(source, leave_others=True) as file:
            return read_arrays(source, _Arrays(file), selectors)


READER: Final = Hdf5ArraysReader()


@contextmanager
def matlab_73_file(source: Source) -> Iterator[ArrayFile]:
    """A MATLAB file of version 7.3: axes in MATLAB's order, fields of structures as ``a.b``.

    Raises
    ------
    ReadError
        See `hdf5_file`.
    """
    with hdf5_file(source, user_block=True, leave_others=True) as file:
        yield _MatlabArrays(file, source.name)


class _Arrays:
    """Arrays by their paths in the file."""

    def __init__(self, file: Hdf5File) -> None:
        self._file = file
        self._arrays = {path: _info(dataset) for path, dataset in file.datasets.items()}
        self._arrays |= {
            path: ArrayInfo(shape, Holding.OTHER, "other") for path, shape in file.others.items()
        }

    @property
    def arrays(self) -> Mapping[str, ArrayInfo]:
        return self._arrays

    def numbers(self, name: str) -> Array:
        return _plain(self._file.numbers(name))

    def texts(self, name: str) -> list[str]:
        return self._file.texts(name)

    def unit(self, name: str) -> str:
        return str(self._file.attribute(name, "units") or "")


class _MatlabArrays:
    """Arrays as MATLAB names and shapes them: HDF5 holds their axes the other way round."""

    def __init__(self, file: Hdf5File, name: str) -> None:
        self._file, self._name = file, name
        shown = {path: dataset for path, dataset in file.datasets.items() if not path.startswith("#")}
        self._paths = {path.replace("/", "."): path for path in (*shown, *file.others)}
        self._arrays = {path.replace("/", "."): self._told(path, dataset) for path, dataset in shown.items()}
        self._arrays |= {
            path.replace("/", "."): ArrayInfo(shape[::-1], Holding.OTHER, "cell or object")
            for path, shape in file.others.items()
            if not path.startswith("#")
        }

    @property
    def arrays(self) -> Mapping[str, ArrayInfo]:
        return self._arrays

    def numbers(self, name: str) -> Array:
        return _plain(self._file.numbers(self._paths[name])).T

    def texts(self, name: str) -> list[str]:
        """The rows of a matrix of characters, without the blanks that fill them up."""
        codes = self._file.numbers(self._paths[name])
        if codes.dtype != np.uint16 or codes.ndim != 2:
            raise ReadError(self._name, "isn't a matrix of characters", "save it as char", name)
        try:
            return [
                np.ascontiguousarray(row).astype("<u2").tobytes().decode("utf-16-le").rstrip("\x00 ")
                for row in codes.T
            ]
        except UnicodeDecodeError as error:
            raise ReadError(self._name, "holds no text", "save it again", name) from error

    def unit(self, name: str) -> str:
        return str(self._file.attribute(self._paths[name], "units") or "")

    def _told(self, path: str, dataset: Dataset) -> ArrayInfo:
        info = _info(dataset)
        shape = info.shape[::-1]
        if self._file.attribute(path, "MATLAB_class") == "char":
            return ArrayInfo(shape, Holding.TEXT)
        return ArrayInfo(shape, info.holding)


def _info(dataset: Dataset) -> ArrayInfo:
    if dataset.is_text:
        return ArrayInfo(dataset.shape, Holding.TEXT)
    return ArrayInfo(dataset.shape, Holding.COMPLEX if dataset.is_complex else Holding.NUMBERS)


def _plain(values: Array) -> Array:
    """Numbers as they are; pairs of real and imaginary parts as complex ones."""
    if values.dtype.names is None:
        return values
    whole = np.empty(values.shape, np.complex128)
    whole.real, whole.imag = values["real"], values["imag"]
    return whole
