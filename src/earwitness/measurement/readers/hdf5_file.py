"""HDF5 files (NetCDF-4 and AES69 are such) opened so that nothing in them can lead elsewhere or grow.

A file is walked once before anything in it is read: links that lead elsewhere, data that lie in other files,
and types that are no plain numbers or texts are refused. Nothing is read before its declared size, and what
its compressed pieces grow to, were checked.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

import h5py
import numpy as np
import numpy.typing as npt

from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.files import require_regular
from earwitness.measurement.readers.hdf5_trial import MAX_TEXTS, survives
from earwitness.records.errors import ReadError

Array = npt.NDArray[Any]
Part = slice | tuple[slice, ...]

MAX_BYTES: Final = 2**29
#: What one call may bring into memory.
MAX_ARRAY_BYTES: Final = 2**28
MAX_CHUNK_BYTES: Final = 2**26
MAX_CHUNKS: Final = 100_000
MAX_OBJECTS: Final = 10_000
MAX_DEPTH: Final = 16
MAX_DIMENSIONS: Final = 8
MAX_ATTRIBUTE_BYTES: Final = 2**16
MAX_TEXT_BYTES: Final = 2**23
#: What a file is allowed to have been packed with: all of it is part of the HDF5 library itself.
FILTERS: Final = frozenset({h5py.h5z.FILTER_DEFLATE, h5py.h5z.FILTER_SHUFFLE, h5py.h5z.FILTER_FLETCHER32})
#: What checksums may add to an unpacked piece.
_CHECKSUMS: Final = 64
_WIDEST_NUMBER: Final = 16
#: Everything that the library raises on a file that is broken.
_BROKEN: Final = (OSError, RuntimeError, KeyError, ValueError, TypeError, OverflowError, MemoryError)
_NUMBERS: Final = "fiubc"
_EXPORT: Final = "export plain arrays into one file"


@dataclass(frozen=True, slots=True)
class Dataset:
    """An array in the file: its shape, and whether it holds texts instead of numbers, or complex ones."""

    shape: tuple[int, ...]
    is_text: bool
    itemsize: int
    is_complex: bool = False


class Hdf5File:
    """An open file whose every object was found harmless; `datasets` are its arrays by path (``a/b``).

    `others` are the shapes of those that hold neither plain numbers nor texts: none, unless they were
    asked to be left aside.
    """

    def __init__(self, source: Source, file: Any, size: int, *, leave_others: bool = False) -> None:
        self._name, self._file, self._size = source.name, file, size
        self._leave_others = leave_others
        self.others: dict[str, tuple[int, ...]] = {}
        self._unpacked: set[str] = set()
        self.datasets: Mapping[str, Dataset] = dict(self._walked())

    def numbers(self, path: str, part: Part = (), limit_bytes: int = MAX_ARRAY_BYTES) -> Array:
        """An array of numbers, or a part of it: a slice of its first axis, or of its first axes.

        Raises
        ------
        ReadError
            There is no such array, what is asked is larger than `limit_bytes`, it holds texts, or its data
            are broken.
        """
        dataset = self._dataset(path)
        if dataset.is_text:
            raise ReadError(self._name, "holds texts where numbers are meant", _EXPORT, path)
        slices = (part,) if isinstance(part, slice) else part
        lengths = [len(range(*one.indices(n))) for one, n in zip(slices, dataset.shape, strict=False)]
        self._require_small(path, (*lengths, *dataset.shape[len(lengths) :]), dataset.itemsize, limit_bytes)
        with self._readable(path):
            found = self._file[path]
            self._require_honest_chunks(path, found)
            return np.asarray(found[slices])

    def reals(self, path: str, part: Part = ()) -> npt.NDArray[np.float64]:
        """`numbers` that aren't complex, as float64.

        Raises
        ------
        ReadError
            As `numbers`, or they are complex.
        """
        values = self.numbers(path, part)
        if values.dtype.kind == "c":
            raise ReadError(self._name, "holds complex numbers where real ones are meant", _EXPORT, path)
        return values.astype(np.float64)

    def texts(self, path: str) -> list[str]:
        """A vector of texts.

        Raises
        ------
        ReadError
            There is no such vector, it holds numbers, is too long, isn't UTF-8, or its data are broken.
        """
        dataset = self._dataset(path)
        if not dataset.is_text or len(dataset.shape) > 1:
            raise ReadError(self._name, "is no list of texts", _EXPORT, path)
        count = dataset.shape[0] if dataset.shape else 1
        self._require_small(path, (count,), 1, MAX_TEXTS, "texts")
        self._require_small(path, (count,), dataset.itemsize, MAX_TEXT_BYTES)
        with self._readable(path):
            found = self._file[path]
            self._require_honest_chunks(path, found)
            raw = self._texts_in_pieces(path, found)
            return [text.decode("utf-8") if isinstance(text, bytes) else str(text) for text in raw]

    def attribute(self, path: str, key: str) -> str | float | None:
        """A text or a single number beside an array (or beside the whole file, at ``""``); None without it.

        Raises
        ------
        ReadError
            It is neither, too large, or broken.
        """
        where = f"{path}:{key}" if path else key
        with self._readable(where):
            attributes = (self._file[path] if path else self._file).attrs
            if key not in attributes:
                return None
            found = attributes.get_id(key)
            plain = found.dtype.kind in _NUMBERS or _is_text(found.dtype)
            entries = int(np.prod(found.shape, dtype=np.int64)) if found.shape else 1
            if not plain or entries != 1 or found.dtype.itemsize > MAX_ATTRIBUTE_BYTES:
                raise ReadError(self._name, "is neither one text nor one number", _EXPORT, where)
            value = np.asarray(attributes[key], dtype=object).ravel()[0]
            if isinstance(value, bytes):
                value = value.decode("utf-8")
        return value if isinstance(value, str) else float(value)

    def _dataset(self, path: str) -> Dataset:
        found = self.datasets.get(path)
        if found is None:
            raise ReadError(self._name, f"has no array {path!r}", _EXPORT)
        return found

    def _walked(self) -> Iterator[tuple[str, Dataset]]:
        """All arrays; each object once, whatever links lead to it."""
        pending: list[tuple[str, Any, int]] = [("", self._file, 0)]
        seen: set[int] = set()
        objects = 0
        while pending:
            prefix, group, depth = pending.pop()
            with self._readable(prefix):
                objects += len(group)
                if objects > MAX_OBJECTS or depth > MAX_DEPTH:
                    raise ReadError(self._name, "holds more groups and arrays than are read", _EXPORT, prefix)
                for key in group:
                    path = f"{prefix}/{key}" if prefix else str(key)
                    item = self._linked(group, key, path)
                    address = int(h5py.h5o.get_info(item.id).addr)
                    if address in seen:
                        continue
                    seen.add(address)
                    if isinstance(item, h5py.Group):
                        pending.append((path, item, depth + 1))
                    elif self._leave_others and _is_other(item):
                        self.others[path] = tuple(item.shape or ())
                    else:
                        yield path, self._checked(path, item)

    def _linked(self, group: Any, key: str, path: str) -> Any:
        """What a link leads to, where that lies in the file itself."""
        link = group.get(key, getlink=True)
        if isinstance(link, h5py.ExternalLink):
            raise ReadError(self._name, "leads to another file", _EXPORT, path)
        if not isinstance(link, h5py.HardLink):
            raise ReadError(self._name, "is a link and no array", _EXPORT, path)
        return group[key]

    def _checked(self, path: str, item: Any) -> Dataset:
        """An array that holds plain numbers or texts, all of them in this file."""
        if not isinstance(item, h5py.Dataset):
            raise ReadError(self._name, "is neither a group nor an array", _EXPORT, path)
        made = item.id.get_create_plist()
        if made.get_external_count():
            raise ReadError(self._name, "has its data in another file", _EXPORT, path)
        if made.get_layout() == h5py.h5d.VIRTUAL:
            raise ReadError(self._name, "is put together from other arrays", _EXPORT, path)
        packed = {made.get_filter(i)[0] for i in range(made.get_nfilters())}
        if packed - FILTERS:
            raise ReadError(
                self._name, "is packed in a way that isn't read", "export it without packing", path
            )
        kind, shape = item.dtype, item.shape
        if shape is None or len(shape) > MAX_DIMENSIONS:
            raise ReadError(self._name, "is no array of numbers", _EXPORT, path)
        if _is_other(item):
            raise ReadError(self._name, "holds neither plain numbers nor texts", _EXPORT, path)
        is_complex = kind.kind == "c" or kind.names is not None
        return Dataset(tuple(shape), _is_text(kind), kind.itemsize, is_complex)

    def _require_small(
        self, path: str, shape: tuple[int, ...], itemsize: int, limit: int, what: str = "bytes"
    ) -> None:
        size = itemsize
        for length in shape:
            size *= length
        if size > limit:
            problem = f"declares {size} {what}, more than the {limit} that are read"
            raise ReadError(self._name, problem, "export fewer frequencies or directions", path)

    def _require_honest_chunks(self, path: str, found: Any) -> None:
        """Refuse packed pieces that grow to more than a piece of the array holds."""
        if found.chunks is None or path in self._unpacked:
            return
        piece = int(np.prod(found.chunks, dtype=np.float64)) * found.dtype.itemsize
        self._require_small(path, (1,), piece, MAX_CHUNK_BYTES)
        made = found.id.get_create_plist()
        if h5py.h5z.FILTER_DEFLATE not in {made.get_filter(i)[0] for i in range(made.get_nfilters())}:
            return
        self._require_small(path, (found.id.get_num_chunks(),), 1, MAX_CHUNKS, "pieces")
        offsets: list[tuple[int, ...]] = []
        found.id.chunk_iter(lambda stored: offsets.append(stored.chunk_offset))
        for offset in offsets:
            _, packed = found.id.read_direct_chunk(offset)
            grown = _grown_bytes(packed, piece + _CHECKSUMS)
            if grown > piece + _CHECKSUMS:
                raise ReadError(self._name, "grows without end when unpacked", _EXPORT, path)
        self._unpacked.add(path)

    def _texts_in_pieces(self, path: str, found: Any) -> list[Any]:
        """Texts a few at a time: many may lead to the same long one, so that what they hold isn't bounded."""
        if not found.shape:
            return [found[()]]
        step = max(1, MAX_ARRAY_BYTES // self._size)
        texts: list[Any] = []
        held = 0
        for start in range(0, found.shape[0], step):
            block = list(found[start : start + step])
            held += sum(len(text) for text in block)
            if held > MAX_TEXT_BYTES:
                raise ReadError(self._name, "holds longer texts than are read", _EXPORT, path)
            texts += block
        return texts

    @contextmanager
    def _readable(self, where: str) -> Iterator[None]:
        with _broken(self._name, where):
            yield


@contextmanager
def hdf5_file(source: Source, *, user_block: bool = False, leave_others: bool = False) -> Iterator[Hdf5File]:
    """Open a file and check everything in it but the data.

    Parameters
    ----------
    user_block
        Whether something else may stand before the HDF5 part.
    leave_others
        Whether arrays that hold neither plain numbers nor texts are left aside, not refused.

    Raises
    ------
    ReadError
        No regular file, no HDF5 file, larger than 512 MiB, truncated or broken; a link, data in other files,
        virtual arrays, unusual types or packing, more than 10,000 objects, groups more than 16 deep.
    """
    size = require_regular(source.file, source.name, MAX_BYTES)
    with _broken(source.name, ""):
        if not survives(source.file):
            raise OSError("reading its texts has no end")
        file = h5py.File(source.file, "r", locking=False)
    with file:
        with _broken(source.name, ""):
            before = file.userblock_size
        if before and not user_block:
            raise ReadError(source.name, f"has {before} bytes of something else before its data", _EXPORT)
        yield Hdf5File(source, file, size, leave_others=leave_others)


@contextmanager
def _broken(name: str, where: str) -> Iterator[None]:
    """The library's errors as one line."""
    try:
        yield
    except _BROKEN as error:
        raise ReadError(
            name,
            "can't be read as HDF5: it is damaged, cut short or something else",
            "copy or export it again",
            where,
        ) from error


def _is_other(item: Any) -> bool:
    """Whether an array holds neither plain numbers nor texts; pairs of real and imag are complex numbers."""
    if not isinstance(item, h5py.Dataset):
        return False
    kind = item.dtype
    if kind.names == ("real", "imag") and kind.itemsize <= _WIDEST_NUMBER:
        return any(kind[part].kind != "f" or kind[part].subdtype for part in kind.names)
    return not _is_text(kind) and (
        kind.kind not in _NUMBERS or kind.itemsize > _WIDEST_NUMBER or kind.subdtype is not None
    )


def _is_text(dtype: np.dtype[Any]) -> bool:
    return dtype.kind == "S" or h5py.check_string_dtype(dtype) is not None


def _grown_bytes(packed: bytes, limit: int) -> int:
    """What a deflated piece holds, counted up to one over `limit`; one that isn't deflated, as it is."""
    try:
        return len(zlib.decompressobj().decompress(packed, limit + 1))
    except zlib.error:
        return len(packed)
