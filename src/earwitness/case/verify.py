"""Is everything still what it was? Raw files, the built set, its documents and the steps behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from earwitness.case.documents import from_json
from earwitness.case.layout import CaseFolder
from earwitness.case.named_set import NamedSet, inspect_set
from earwitness.case.raw_store import RawState, compare_raw
from earwitness.case.removal import compare_removed
from earwitness.case.step_store import intact, read_record
from earwitness.case.testimony import read_notes
from earwitness.records.errors import CaseError, IntegrityError
from earwitness.records.figures import Results
from earwitness.records.findings import Findings
from earwitness.records.quality import Quality

_DOCUMENTS: Final[dict[str, type[Any]]] = {
    "results.json": Results,
    "findings.json": Findings,
    "quality.json": Quality,
}


@dataclass(frozen=True, slots=True)
class Report:
    """What `verify` found: a line for each problem, a line for what is worth knowing but no damage."""

    problems: tuple[str, ...]
    notes: tuple[str, ...]
    raw_files: int
    build_id: str | None

    @property
    def fine(self) -> bool:
        """Whether nothing is damaged."""
        return not self.problems


def verify(case: CaseFolder) -> Report:
    """Hash every raw, removed and built file, and read the documents against their schemas.

    A build that was interrupted is a note: nothing is lost, and the next build goes on. The caller holds the
    case's lock for reading (`lock.shared`).

    Raises
    ------
    CaseError
        A list of hashes can't be understood, or something in ``raw/`` is no regular file.
    """
    raw, problems = compare_raw(case, full=True)
    notes = [f"raw/{name}: isn't in raw.sha256; add it" for name in raw.unrecorded]
    notes += [f"raw/{n}: removing it was interrupted; give `earwitness remove` again" for n in raw.leaving]
    removed_problems, removed_notes = compare_removed(case)
    problems += removed_problems
    problems += _testimony_problems(case)
    notes += removed_notes
    set_problems, set_notes, named = inspect_set(case)
    problems += set_problems
    notes += set_notes
    if named is None and not set_problems and not set_notes:
        notes.append("nothing is built yet; run `earwitness build`")
    if named is not None:
        problems += _step_problems(case, named)
        if not set_problems and not set_notes:
            for name in sorted(_DOCUMENTS.keys() & named.files.keys()):
                found = _check_document(case, named, name, raw)
                problems += found[0]
                notes += found[1]
    return Report(
        tuple(str(problem) for problem in problems),
        tuple(notes),
        len(raw.sha256),
        named.build_id if named else None,
    )


def _testimony_problems(case: CaseFolder) -> list[IntegrityError]:
    try:
        read_notes(case)
    except IntegrityError as error:
        return [error]
    except CaseError as error:
        return [IntegrityError(error.file, error.problem, error.remedy, error.where)]
    return []


def _step_problems(case: CaseFolder, named: NamedSet) -> list[IntegrityError]:
    problems = []
    for step in named.steps:
        folder = case.steps / step
        record = read_record(folder)
        if record is None or intact(folder, record.key) is None:
            problems.append(IntegrityError(f"build/steps/{step}", "isn't what was built", "build again"))
    return problems


def _check_document(
    case: CaseFolder, named: NamedSet, name: str, raw: RawState
) -> tuple[list[Any], list[str]]:
    """Problems and notes of one document of the set."""
    try:
        document = from_json(_DOCUMENTS[name], (case.build / name).read_bytes(), f"build/{name}")
    except IntegrityError as error:
        return [error], []
    problems, notes = [], []
    if document.build_id != named.build_id:
        problem = "is of another build than state.json"
        problems.append(IntegrityError(f"build/{name}", problem, "build again", "build_id"))
    if isinstance(document, Results) and document.raw_digest != raw.raw_digest:
        notes.append("raw files were added or removed since the build; build again")
    return problems, notes
