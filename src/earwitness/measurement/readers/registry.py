"""Which reader a raw file goes to: by the end of its name, or by what the case states.

Other distributions bring readers of their own through the entry point group ``earwitness.readers``; the
entry's name is the reader's, its object the `Reader` itself. A file whose end of name one of our own readers
has goes to that, so that nothing is read otherwise because something was installed; ``read.reader`` names
another.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.metadata import EntryPoint, entry_points
from pathlib import PurePosixPath
from typing import Final

from earwitness.measurement.readers.contents import Contents, Part, Reader, Source, require_known_options
from earwitness.measurement.readers.foreign import ForeignReader, called
from earwitness.records.errors import ReadError

GROUP: Final = "earwitness.readers"
#: Our own readers by name: the module that has each as READER, and the ends of names that go to it.
OWN: Final[Mapping[str, tuple[str, ...]]] = {
    "audio": (".aif", ".aifc", ".aiff", ".flac", ".rf64", ".wav", ".wave"),
    "aes69": (".sofa",),
    "netcdf": (".nc",),
    "matlab": (".mat",),
    "hdf5_arrays": (".h5", ".hdf5"),
    "text": (".txt", ".csv", ".tsv", ".dat"),
}


@dataclass(frozen=True)
class Known:
    """A reader as a person is told of it.

    `origin` is ``earwitness``, or the distribution that brings it with its version; `problem` says why it
    can't be used, and is empty where it can.
    """

    name: str
    suffixes: tuple[str, ...]
    options: Mapping[str, str]
    origin: str
    problem: str = ""


def reader_of(source: Source) -> Reader:
    """The reader of a file: the one that ``read.reader`` names, else that of the end of its name.

    Raises
    ------
    ReadError
        Nothing reads such a file, more than one does, or the named one isn't there.
    """
    stated = source.option("reader")
    if stated is not None:
        return _named(source, str(stated))
    suffix = PurePosixPath(source.name).suffix.lower()
    own = [name for name, suffixes in OWN.items() if suffix in suffixes]
    found = own or _others_for(source, suffix)
    if not found:
        has_kind = _says_kind(suffix)
        raise ReadError(
            source.name,
            f"{suffix} is not a kind of file that is read" if has_kind else "its name doesn't say its kind",
            f"give one of {', '.join(sorted({s for all_of in OWN.values() for s in all_of}))}",
        )
    if len(found) > 1:
        problem = f"is read by more than one reader: {', '.join(sorted(found))}"
        raise ReadError(source.name, problem, 'state which, as in read = { reader = "…" }')
    return _named(source, found[0])


def _says_kind(suffix: str) -> bool:
    """Whether the end of a name is that of a kind of file, and not of a number such as ``2.83V``."""
    return suffix[1:2].isalpha() and suffix[1:].isalnum()


def look(source: Source) -> Contents:
    """What the file holds, by the reader that it goes to.

    Raises
    ------
    ReadError
        See `reader_of`; an option is stated that the reader doesn't have; the file can't be read, or says
        the same of two of its parts.
    """
    reader = reader_of(source)
    require_known_options(reader, source)
    contents = reader.look(source)
    _refuse_same_place(source, contents.parts)
    return contents


def identity(source: Source) -> str:
    """What a result depends on beside our own sources: the name and version of a reader from elsewhere."""
    name = reader_of(source).name
    entry = _others().get(name)
    if entry is None:
        return ""
    return called(entry)


def names() -> tuple[str, ...]:
    """All readers by name, our own first."""
    return (*OWN, *sorted(_others()))


def _refuse_same_place(source: Source, parts: Sequence[Part]) -> None:
    """Refuse parts that say they are the same response in the same direction."""
    there: dict[tuple[object, ...], Part] = {}
    for part in parts:
        if part.position_deg is None:
            continue
        azimuth, elevation = part.position_deg
        at = (0.0 if abs(elevation) == 90.0 else azimuth % 360.0, elevation)
        key = (part.direction or at, part.distance_m, part.kind, part.drive, part.repeat)
        other = there.setdefault(key, part)
        if other is not part:
            both = f"{other.selector!r} and {part.selector!r}"
            problem = f"has two responses at azimuth {at[0]:g}°, elevation {elevation:g}° ({both})"
            remedy = "correct its positions, or leave them out and write an entry for each in takes.toml"
            raise ReadError(source.name, problem, remedy)


def known() -> tuple[Known, ...]:
    """All readers, our own first; one that can't be loaded says why, and stands in no other's way."""
    return (*map(_own, OWN), *(_other(entry) for _, entry in sorted(_others().items())))


def _own(name: str) -> Known:
    return Known(name, OWN[name], dict(_own_reader(name).options), "earwitness")


def _other(entry: EntryPoint) -> Known:
    origin = called(entry).removeprefix(f"{entry.name} of ")
    try:
        reader = _loaded(entry, entry.name)
        return Known(entry.name, tuple(sorted(reader.suffixes)), reader.options, origin)
    except ReadError as error:
        return Known(entry.name, (), {}, origin, error.problem)


def _own_reader(name: str) -> Reader:
    own: Reader = import_module(f"earwitness.measurement.readers.{name}").READER
    return own


def _named(source: Source, name: str) -> Reader:
    if name in OWN:
        return _own_reader(name)
    entry = _others().get(name)
    if entry is None:
        raise ReadError(source.name, f"there is no reader {name!r}", f"the readers are {', '.join(names())}")
    return _loaded(entry, source.name)


def _others_for(source: Source, suffix: str) -> list[str]:
    """The readers of other distributions that read such a file; one that can't be loaded reads none.

    Raises
    ------
    ReadError
        None does, and one can't be loaded.
    """
    found: list[str] = []
    broken: ReadError | None = None
    for name, entry in _others().items():
        try:
            if suffix in _loaded(entry, source.name).suffixes:
                found.append(name)
        except ReadError as error:
            broken = error
    if broken is not None and not found:
        raise broken
    return found


def _loaded(entry: EntryPoint, name: str) -> ForeignReader:
    return ForeignReader(entry, name)


@cache
def _others() -> Mapping[str, EntryPoint]:
    """Readers of other distributions by name; none takes the name of one of ours."""
    return {entry.name: entry for entry in entry_points(group=GROUP) if entry.name not in OWN}
