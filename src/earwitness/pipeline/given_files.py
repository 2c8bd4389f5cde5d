"""Files that were given for a case, beside what the case has already."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Final

from earwitness.case.intake import gather
from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import read_facts
from earwitness.case.raw_store import read_hashes
from earwitness.case.removal import returning
from earwitness.case.sidecar import sidecar_of
from earwitness.case.source_files import source_digest
from earwitness.case.takes import read_takes
from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.registry import look
from earwitness.measurement.recognition.tokens import text_of
from earwitness.measurement.recognition.words import PLANES
from earwitness.pipeline.sidecars import Told, sidecars_among, with_sidecars
from earwitness.records.errors import ReadError
from earwitness.records.facts import CaseFacts
from earwitness.records.takes import Take, TakeKind

#: Larger files than this no reader takes: they aren't hashed.
_LARGEST_BYTES: Final = 2**30


@dataclass(frozen=True)
class Given:
    """What was given for a case, and what the case has already.

    `known` are the takes that the case states, `back` those of given files that were removed. `digests` are
    those of files that the case doesn't have, before they are looked at.
    """

    case: CaseFolder
    facts: CaseFacts
    sources: tuple[tuple[Path, str], ...]
    within: Mapping[str, str]
    there: frozenset[str]
    digests: Mapping[str, str]
    back: tuple[Take, ...]
    known: tuple[Take, ...]

    @classmethod
    def of(cls, case: CaseFolder, files: Sequence[Path]) -> Given:
        """What `files` (folders with everything below them) are to the case.

        Raises
        ------
        FileError
            One of the case's files can't be understood, or nothing is where `files` say.
        """
        facts = read_facts(case)
        sources = with_sidecars(gather(files))
        names = {name for _, name in sources}
        back = returning(case, sources)
        returned = {take.path for take in back}
        known = tuple(take for take in read_takes(case, awaited=names) if take.path not in returned)
        there = frozenset(read_hashes(case)) & names
        digests = {
            name: source_digest(path, name)
            for path, name in sources
            if name not in there and path.stat().st_size <= _LARGEST_BYTES
        }
        return cls(case, facts, sources, _within(files, sources), there, digests, back, known)

    @cached_property
    def places(self) -> Mapping[str, Path]:
        """Where each given file lies, by its name."""
        return {name: path for path, name in self.sources}

    @cached_property
    def told(self) -> Told:
        """What the sidecars of stimuli say, of those that come in and of those that are in the case."""
        played = [take.path for take in self.known if take.key.kind is TakeKind.STIMULUS]
        names = [name for path in played for name in (path, sidecar_of(Path(path)).as_posix())]
        held = {name: file for name in names if (file := self.case.raw / name).is_file()}
        return Told.by({**held, **self.places})

    @cached_property
    def lying(self) -> Mapping[str, Path]:
        """Where each file lies, of those that come in and of those that are in the case."""
        there = {take.path: self.case.raw / take.path for take in self.known}
        return {**{name: file for name, file in there.items() if file.exists()}, **self.places}

    @cached_property
    def stimuli(self) -> Mapping[str, float | None]:
        """The case's stimuli and their sample rates in Hz: None where its file is gone or can't be read."""
        rates: dict[str, float | None] = {}
        for take in (*self.known, *self.back):
            if take.key.kind is TakeKind.STIMULUS:
                file = self.lying.get(take.path, self.case.raw / take.path)
                try:
                    contents = look(Source(file, take.path, take.read, may_touch_full_scale=True))
                    rates[take.path] = contents.sample_rate_hz
                except ReadError:
                    # it may come in by this very call, and is a doubt of its own then
                    rates[take.path] = None
        return rates

    @cached_property
    def stated(self) -> tuple[Take, ...]:
        """What the case states of the given files."""
        names = self.places.keys()
        return tuple(take for take in self.known if take.path in names)

    @cached_property
    def settled(self) -> Mapping[str, Take]:
        """A take of each file that needs no recognition, by name."""
        return {take.path: take for take in (*self.stated, *self.back)}

    @cached_property
    def unsettled(self) -> list[tuple[Path, str]]:
        """The files to look at: those that are new, or of which nothing is stated."""
        settled, sidecars = self.settled, sidecars_among(self.sources)
        return [
            (path, name)
            for path, name in self.sources
            if name not in sidecars and (name not in self.there or name not in settled)
        ]

    @cached_property
    def returned(self) -> frozenset[str]:
        """Names of files that were removed and come back."""
        return frozenset(take.path for take in self.back)

    @cached_property
    def known_before(self) -> list[Take]:
        """What was stated before this call's new files were awaited."""
        awaited = self.places.keys() - self.there
        return [*(take for take in self.known if take.path not in awaited), *self.back]


def _within(files: Sequence[Path], sources: Sequence[tuple[Path, str]]) -> Mapping[str, str]:
    """The name of the folder that each file was given in, where that says a plane."""
    folders = [path for path in files if path.is_dir()]
    named = {path: path.resolve().name for path in folders}
    return {
        name: named[folder]
        for folder in folders
        if text_of(named[folder], "folder").words & PLANES.keys()
        for path, name in sources
        if path == folder / name
    }
