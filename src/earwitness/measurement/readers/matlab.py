"""MATLAB files: level 5 (``-v6``, ``-v7``), and 7.3, which is HDF5. What is what in them the case states."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import BinaryIO, Final

from earwitness.measurement.readers.arrays import ArrayFile
from earwitness.measurement.readers.contents import Contents, MeasuredResponse, Recording, Source
from earwitness.measurement.readers.files import require_regular
from earwitness.measurement.readers.hdf5_arrays import matlab_73_file
from earwitness.measurement.readers.mapped import look_at_arrays, read_arrays
from earwitness.measurement.readers.mapping import OPTIONS
from earwitness.measurement.readers.matlab_level5 import HEADER_BYTES, Level5File
from earwitness.records.errors import ReadError

#: An array as long as is read, and some more.
MAX_BYTES: Final = 2**28 + 2**24
_LEVEL_5, _LEVEL_7_3 = 0x0100, 0x0200


class MatlabReader:
    """The reader of MATLAB files."""

    name = "matlab"
    suffixes = frozenset({".mat"})
    level_option = "unit"
    options: Mapping[str, str] = OPTIONS

    def look(self, source: Source) -> Contents:
        """What the file holds, by what the case states of its arrays."""
        with _opened(source) as arrays:
            return look_at_arrays(source, arrays)

    def read(
        self, source: Source, selectors: Sequence[str]
    ) -> Sequence[Recording] | Sequence[MeasuredResponse]:
        """The responses or recordings that `selectors` number."""
        with _opened(source) as arrays:
            return read_arrays(source, arrays, selectors)


READER: Final = MatlabReader()


@contextmanager
def _opened(source: Source) -> Iterator[ArrayFile]:
    size = require_regular(source.file, source.name, MAX_BYTES)
    with source.file.open("rb") as stream:
        version = _version(stream, source.name)
        if version == _LEVEL_5:
            yield Level5File(stream, size, source.name)
            return
    with matlab_73_file(source) as arrays:
        yield arrays


def _version(stream: BinaryIO, name: str) -> int:
    """The version of the format that the file's header states."""
    head = stream.read(HEADER_BYTES)
    if head[:8] == b"\x89HDF\r\n\x1a\n":
        return _LEVEL_7_3
    order = {b"IM": "little", b"MI": "big"}.get(head[126:128])
    if order is None:
        raise ReadError(
            name,
            "is no MATLAB file of level 5 (level 4 isn't read)",
            "save it with -v7, or export it as text",
        )
    version = int.from_bytes(head[124:126], "little" if order == "little" else "big")
    if version not in (_LEVEL_5, _LEVEL_7_3):
        raise ReadError(name, f"is a MATLAB file of an unknown version ({version:#06x})", "save it with -v7")
    return version
