"""MATLAB files of level 5 (what ``save -v6`` and ``save -v7`` write): their variables as named arrays.

Elements follow the format's own description (MathWorks, *MAT-File Format*, "Level 5 MAT-File Format",
recalled; held in the tests against files that SciPy writes): a tag of type and length, then data; a matrix is
made of such elements and may be deflated. What a file declares is held against what is there before memory is
taken for it. Structures of one element are opened (``a.b``); cells, objects, functions and sparse matrices
are named, and not read.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import BinaryIO, Final

import numpy as np

from earwitness.measurement.readers.arrays import Array, ArrayInfo, Holding
from earwitness.records.errors import ReadError

HEADER_BYTES: Final = 128
MAX_VARIABLES: Final = 1_000
MAX_DIMENSIONS: Final = 8
MAX_DEPTH: Final = 4
MAX_NAME: Final = 63
#: What one variable, and what all structures of a file together, may unpack to.
MAX_UNPACKED: Final = 2**28 + 2**16
#: A variable's flags, shape and name lie within so many bytes.
_HEAD: Final = 1_024
_PIECE: Final = 2**20

_MATRIX, _COMPRESSED = 14, 15
_CHAR, _STRUCT = 4, 2
#: Classes of matrices that aren't read, by number.
_OTHER: Final = {1: "cell", 2: "structure", 3: "object", 5: "sparse", 16: "function", 17: "object"}
_NUMERIC: Final = range(6, 16)
_COMPLEX: Final = 0x0800
#: How numbers are stored, by number of the data type.
_STORED: Final = {
    1: "i1",
    2: "u1",
    3: "i2",
    4: "u2",
    5: "i4",
    6: "u4",
    7: "f4",
    9: "f8",
    12: "i8",
    13: "u8",
}
#: How characters are stored; the widths of "utf-16" and "utf-32" follow the file's byte order.
_CHARACTERS: Final = {1: "latin-1", 2: "latin-1", 4: "utf-16", 16: "utf-8", 17: "utf-16", 18: "utf-32"}


@dataclass(frozen=True, slots=True)
class _Variable:
    """What a matrix is, where its element lies in the file, and where in the unpacked one its data begin."""

    info: ArrayInfo
    start: int
    end: int
    packed: bool
    data: int
    is_complex: bool


class Level5File:
    """An open file of level 5; `arrays` are its variables.

    Raises
    ------
    ReadError
        It is cut short, damaged, holds more than 1,000 variables, or more than 256 MiB of structures.
    """

    def __init__(self, stream: BinaryIO, size: int, name: str) -> None:
        self._stream, self._size, self._name = stream, size, name
        head = self._bytes(0, HEADER_BYTES)
        self._little = head[126:128] == b"IM"
        self._budget = MAX_UNPACKED
        self._variables = dict(self._walked())

    @property
    def arrays(self) -> Mapping[str, ArrayInfo]:
        """What it holds, in the file's order."""
        return {name: variable.info for name, variable in self._variables.items()}

    def numbers(self, name: str) -> Array:
        """An array of real or complex numbers."""
        variable = self._variables[name]
        element = self._element(variable.start, variable.end, variable.packed)
        real, after = self._stored(element, variable.data, variable.info, name)
        if not variable.is_complex:
            return real
        imaginary, _ = self._stored(element, after, variable.info, name)
        whole = np.empty(real.shape, np.complex128, order="F")
        whole.real, whole.imag = real, imaginary
        return whole

    def texts(self, name: str) -> list[str]:
        """The rows of a matrix of characters, without the blanks that fill them up."""
        variable = self._variables[name]
        element = self._element(variable.start, variable.end, variable.packed)
        kind, start, end, _ = self._tag(element, variable.data, name)
        coding = _CHARACTERS.get(kind, "")
        wide = coding in ("utf-16", "utf-32")
        try:
            text = bytes(element[start:end]).decode(
                f"{coding}-{'le' if self._little else 'be'}" if wide else coding
            )
        except (UnicodeDecodeError, LookupError) as error:
            raise self._damaged(name) from error
        shape = variable.info.shape
        if len(shape) != 2 or len(text) != variable.info.size:
            raise self._damaged(name)
        return [text[row :: shape[0]].rstrip("\x00 ") for row in range(shape[0])]

    def unit(self, name: str) -> str:  # noqa: ARG002 - asked of every file of arrays
        """Nothing: the format has no place for units."""
        return ""

    def _walked(self) -> Iterator[tuple[str, _Variable]]:
        """All variables by name; of what has the same name the first."""
        seen: set[str] = set()
        position = HEADER_BYTES
        while position < self._size:
            tag = self._bytes(position, 8)
            kind, length = self._word(tag, 0), self._word(tag, 4)
            start, end = position + 8, position + 8 + length
            if kind not in (_MATRIX, _COMPRESSED) or end > self._size:
                raise self._cut_short(f"byte {position}")
            packed = kind == _COMPRESSED
            head = (
                self._unpacked(start, end, _HEAD, whole=False)
                if packed
                else self._bytes(position, min(_HEAD, 8 + length))
            )
            for name, variable in self._variable(head, start if packed else position, end, packed):
                if name not in seen:
                    seen.add(name)
                    yield name, variable
            if len(seen) > MAX_VARIABLES:
                raise ReadError(self._name, f"holds more than {MAX_VARIABLES} variables", "save fewer")
            position = end

    def _variable(self, head: bytes, start: int, end: int, packed: bool) -> Iterator[tuple[str, _Variable]]:
        """The variable whose element begins with `head`, and the fields of a structure."""
        where = f"byte {start}"
        if self._word(head, 0, where) != _MATRIX:
            raise self._damaged(where)
        name, info, number, is_complex, data = self._described(head, 8, where)
        if not name:
            return
        if number != _STRUCT or info.size != 1:
            yield name, _Variable(info, start, end, packed, data, is_complex)
            return
        element = self._element(start, end, packed)
        self._budget -= len(element)
        if self._budget < 0:
            raise ReadError(self._name, "holds larger structures than are read", "save plain arrays", name)
        for label, inner, place, inner_complex in self._fields(element, data, name, 1):
            yield label, _Variable(inner, start, end, packed, place, inner_complex)

    def _fields(
        self, element: memoryview, position: int, prefix: str, depth: int
    ) -> Iterator[tuple[str, ArrayInfo, int, bool]]:
        """The fields of a structure of one element: name, what it is, where its data begin, if complex."""
        _, start, end, position = self._tag(element, position, prefix)
        width = self._word(element, start, prefix) if end - start == 4 else 0
        _, start, end, position = self._tag(element, position, prefix)
        if not 0 < width <= MAX_NAME + 1 or (end - start) % width or (end - start) // width > MAX_VARIABLES:
            raise self._damaged(prefix)
        for place in range(start, end, width):
            field = _name(element[place : place + width])
            kind, inside, _, after = self._tag(element, position, prefix)
            if kind != _MATRIX or not field:
                raise self._damaged(prefix)
            label = f"{prefix}.{field}"
            if after > inside:
                _, info, number, is_complex, data = self._described(element, inside, label)
                if number == _STRUCT and info.size == 1 and depth < MAX_DEPTH:
                    yield from self._fields(element, data, label, depth + 1)
                else:
                    yield label, info, data, is_complex
            position = after

    def _described(
        self, element: bytes | memoryview, position: int, where: str
    ) -> tuple[str, ArrayInfo, int, bool, int]:
        """A matrix's name, what it is, its class, whether it is complex, and where its data begin."""
        _, start, end, position = self._tag(element, position, where)
        if end - start != 8:
            raise self._damaged(where)
        flags = self._word(element, start, where)
        number = flags & 0xFF
        if number == 17:
            _, start, end, position = self._tag(element, position, where)
            return (
                _name(element[start:end]),
                ArrayInfo((1,), Holding.OTHER, "object"),
                number,
                False,
                position,
            )
        _, start, end, position = self._tag(element, position, where)
        shape = (
            tuple(np.frombuffer(element[start:end], self._type("i4")).tolist())
            if (end - start) % 4 == 0
            else ()
        )
        if not 2 <= len(shape) <= MAX_DIMENSIONS or min(shape) < 0:
            raise self._damaged(where)
        _, start, end, position = self._tag(element, position, where)
        if end - start > MAX_NAME:
            raise self._damaged(where)
        name = _name(element[start:end])
        return name, _info(shape, number, flags), number, bool(flags & _COMPLEX), position

    def _stored(self, element: memoryview, position: int, info: ArrayInfo, name: str) -> tuple[Array, int]:
        """Numbers in the shape of `info`, and where the next element begins."""
        kind, start, end, after = self._tag(element, position, name)
        stored = self._type(_STORED.get(kind, ""))
        if not stored or end - start != info.size * np.dtype(stored).itemsize:
            raise self._damaged(name)
        return np.frombuffer(element[start:end], stored).reshape(info.shape, order="F"), after

    def _tag(self, element: bytes | memoryview, position: int, where: str) -> tuple[int, int, int, int]:
        """Type of an element, where its data begin and end, and where the next one begins."""
        word = self._word(element, position, where)
        if word >> 16:
            kind, start, end, after = word & 0xFFFF, position + 4, position + 4 + (word >> 16), position + 8
        else:
            kind, start = word, position + 8
            end = start + self._word(element, position + 4, where)
            after = end + (-end % 8 if kind != _COMPRESSED else 0)
        if end > len(element) or (word >> 16) > 4:
            raise self._damaged(where)
        return kind, start, end, after

    def _word(self, element: bytes | memoryview, position: int, where: str = "") -> int:
        """A whole number of four bytes."""
        if position + 4 > len(element):
            raise self._damaged(where)
        return int.from_bytes(element[position : position + 4], "little" if self._little else "big")

    def _type(self, plain: str) -> str:
        return f"{'<' if self._little else '>'}{plain}" if plain else ""

    def _element(self, start: int, end: int, packed: bool) -> memoryview:
        """A matrix's element with its tag, unpacked."""
        if not packed:
            if end - start > MAX_UNPACKED:
                raise self._too_large(start)
            return memoryview(self._bytes(start, end - start))
        head = self._unpacked(start, end, 8, whole=False)
        declared = 8 + self._word(head, 4, f"byte {start}")
        if declared > MAX_UNPACKED:
            raise self._too_large(start)
        return memoryview(self._unpacked(start, end, declared, whole=True))

    def _unpacked(self, start: int, end: int, limit: int, *, whole: bool) -> bytes:
        """At most `limit` bytes of a packed element; where they shall be the whole of it, exactly so many."""
        unpacking, out, position = zlib.decompressobj(), bytearray(), start
        wanted = limit + 1 if whole else limit
        try:
            while position < end and len(out) < wanted and not unpacking.eof:
                piece = self._bytes(position, min(_PIECE, end - position))
                out += unpacking.decompress(piece, wanted - len(out))
                position += len(piece)
        except zlib.error as error:
            raise self._damaged(f"byte {start}") from error
        if whole and len(out) != limit:
            raise self._damaged(f"byte {start}")
        return bytes(out)

    def _bytes(self, position: int, length: int) -> bytes:
        self._stream.seek(position)
        found = self._stream.read(length)
        if len(found) < length:
            raise self._cut_short(f"byte {position}")
        return found

    def _damaged(self, where: str) -> ReadError:
        return ReadError(self._name, "is damaged, or no MATLAB file", "copy or save it again", where)

    def _cut_short(self, where: str) -> ReadError:
        return ReadError(self._name, "is cut short or damaged", "copy the whole file again", where)

    def _too_large(self, start: int) -> ReadError:
        problem = f"holds a variable of more than {MAX_UNPACKED >> 20} MiB"
        return ReadError(self._name, problem, "save fewer frequencies or directions", f"byte {start}")


def _info(shape: tuple[int, ...], number: int, flags: int) -> ArrayInfo:
    if number == _CHAR:
        return ArrayInfo(shape, Holding.TEXT)
    if number in _NUMERIC:
        return ArrayInfo(shape, Holding.COMPLEX if flags & _COMPLEX else Holding.NUMBERS)
    return ArrayInfo(shape, Holding.OTHER, _OTHER.get(number, "unknown"))


def _name(raw: bytes | memoryview) -> str:
    return bytes(raw).split(b"\x00")[0].decode("ascii", "replace")
