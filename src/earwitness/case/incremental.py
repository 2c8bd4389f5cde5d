"""A build: steps that run only when their key is new, and one set of named files at the end.

A step's key is the SHA-256 of its name, its options, the keys of its inputs and the sources of the floors
that it may import. Its result lies in ``build/steps/<name>-<key>/``; what it caches a part at a time (a take,
say) in ``build/parts/``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.case import durable
from earwitness.case.layout import CaseFolder
from earwitness.case.named_set import NamedSet, current_set, replace_set
from earwitness.case.source_digest import source_digest
from earwitness.case.step_store import (
    Arrays,
    StepRecord,
    digest,
    intact,
    make_folder,
    read_part,
    read_record,
    write_part,
)
from earwitness.records.errors import CallError

_SHOWN: Final = 16


@dataclass(frozen=True, slots=True)
class Key:
    """What a result depends on, as one SHA-256, with the name of the step that makes it."""

    name: str
    sha256: str

    @property
    def entry(self) -> str:
        """The name of its folder or file."""
        return f"{self.name}-{self.sha256[:_SHOWN]}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """A step's result: its key (an input for later steps), its folder, and whether it had to run."""

    key: str
    folder: Path
    ran: bool


def build_id(keys: Iterable[str], *also: str) -> str:
    """The id of a build whose steps have `keys`; `also` is what else its documents state."""
    return digest([sorted(keys), also])[:_SHOWN]


class Build:
    """One build of a case. The caller holds the case's lock (`lock.exclusive`) all the while.

    >>> build = Build(case)                                                       # doctest: +SKIP
    >>> reduced = build.step("reduce", floors=("records", "acoustics", "measurement"),
    ...                      inputs=hashes, options={}, make=write_responses)     # doctest: +SKIP
    >>> build.commit(build.identity(), {"responses.nc": reduced.folder / "responses.nc"})  # doctest: +SKIP
    """

    def __init__(self, case: CaseFolder) -> None:
        self._case = case
        self._records: dict[str, StepRecord] = {}
        self._used: list[str] = []
        case.steps.mkdir(parents=True, exist_ok=True)
        durable.remove_temporaries(case.root)

    @staticmethod
    def key(name: str, *, floors: Sequence[str], inputs: Sequence[str], options: object) -> Key:
        """The key of a step or part: `inputs` are keys and hashes in an order that matters.

        Raises
        ------
        TypeError, ValueError
            `options` isn't plain JSON, or holds NaN.
        """
        return Key(name, digest([name, options, list(inputs), source_digest(floors)]))

    def step(
        self,
        name: str,
        *,
        floors: Sequence[str],
        inputs: Sequence[str],
        options: object,
        make: Callable[[Path], None],
    ) -> Outcome:
        """The result of a step: what is there for its key if every file is whole, else what `make` writes.

        `make` gets an empty folder and fills it. An error in it leaves no trace.
        """
        key = self.key(name, floors=floors, inputs=inputs, options=options)
        folder = self._case.steps / key.entry
        record = intact(folder, key.sha256)
        ran = record is None
        if record is None:
            record = make_folder(folder, key.sha256, lambda target: self._filled(make, target))
        self._records[key.entry] = record
        return Outcome(key.sha256, folder, ran)

    def cached(self, key: Key) -> dict[str, npt.NDArray[np.generic]] | None:
        """The arrays that an earlier build kept for `key`; None where there are none, or not whole.

        Called inside a step's `make`: what that step used stays as long as the step's own result does.
        """
        arrays = read_part(self._case, key.entry)
        if arrays is not None:
            self._used.append(key.entry)
        return arrays

    def store(self, key: Key, arrays: Arrays) -> None:
        """Keep `arrays` for `key`, to be found by `cached` in a later build."""
        write_part(self._case, key.entry, arrays)
        self._used.append(key.entry)

    def identity(self, *also: str) -> str:
        """The build id: a digest of the keys of all steps so far, and of what else the documents state.

        The same case gives the same id, wherever and whenever it is built.
        """
        return build_id((record.key for record in self._records.values()), *also)

    def commit(self, build_id: str, named: Mapping[str, Path]) -> NamedSet:
        """Make `named` (file names in ``build/``, and the step's file behind each) the built set, at once.

        Steps and parts that neither this set nor the one before it used are removed.

        Raises
        ------
        CallError
            A file is none of a step of this build.
        """
        files = {name: self._digest_of(path) for name, path in sorted(named.items())}
        built = NamedSet(build_id, files, tuple(sorted(self._records)))
        if built != current_set(self._case):
            self._remove_unused()
        replace_set(self._case, built, named)
        return built

    def _filled(self, make: Callable[[Path], None], folder: Path) -> list[str]:
        outer, self._used = self._used, []
        try:
            make(folder)
            return self._used
        finally:
            self._used = outer

    def _digest_of(self, path: Path) -> str:
        for entry, record in self._records.items():
            folder = self._case.steps / entry
            if path.is_relative_to(folder):
                name = path.relative_to(folder).as_posix()
                if name in record.files:
                    return record.files[name]
        raise CallError(f"{path} was made by no step of this build")

    def _remove_unused(self) -> None:
        """Before the new set is named: a kill in between removes nothing that either set needs."""
        current = current_set(self._case)
        before = {
            entry: read_record(self._case.steps / entry) for entry in (current.steps if current else ())
        }
        records = [*self._records.values(), *(record for record in before.values() if record is not None)]
        keep = {*self._records, *before, *(part for record in records for part in record.parts)}
        for folder in (self._case.steps, self._case.parts):
            for path in folder.iterdir() if folder.is_dir() else ():
                if path.name not in keep:
                    durable.remove(path)
