"""The one list of build steps, from raw files to findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from earwitness import __version__
from earwitness.case.datasets import load_curves, load_responses, save_curves, save_responses
from earwitness.case.documents import from_json, plain, to_json
from earwitness.case.incremental import Build, Key, Outcome
from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive
from earwitness.case.manifest import read_facts
from earwitness.case.raw_store import check_raw
from earwitness.case.takes import read_takes
from earwitness.derive.derivation import derive
from earwitness.findings.find import find
from earwitness.measurement.deconvolution import RECORDED, deconvolve
from earwitness.measurement.expansion import expanded
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.readers.registry import identity
from earwitness.measurement.readers.signals import source_of
from earwitness.measurement.reduction import reduce
from earwitness.pipeline.orientation import turned
from earwitness.records.curves import CurveSet
from earwitness.records.errors import CaseError
from earwitness.records.figures import Figure, Results
from earwitness.records.findings import Finding, Findings
from earwitness.records.responses import Responses
from earwitness.records.takes import Take, TakeId

Progress = Callable[[str, int, int], None]

SCHEMA_VERSION: Final = 1
RESPONSES: Final = "responses.nc"
CURVES: Final = "curves.nc"
RESULTS: Final = "results.json"
FINDINGS: Final = "findings.json"
_PART: Final = "impulse-response"

#: The floors that each step may import: their sources are part of its key.
REDUCE_FLOORS: Final = ("records", "acoustics", "measurement", "case", "pipeline")
DERIVE_FLOORS: Final = ("records", "acoustics", "methods", "derive", "case", "pipeline")
FIND_FLOORS: Final = (*DERIVE_FLOORS, "findings")


@dataclass(frozen=True, slots=True)
class Built:
    """What a build did: its id, the steps that ran and those that were kept, and notes of the reduction."""

    build_id: str
    made: tuple[str, ...]
    kept: tuple[str, ...]
    notes: tuple[str, ...]


def build(root: Path, progress: Progress = lambda _what, _done, _total: None) -> Built:
    """Build the case at `root`: only the steps whose inputs changed run.

    Raises
    ------
    BusyError
        Another process works on the case.
    IntegrityError
        A raw file is missing or has changed.
    CaseError, ReadError, NotAvailableError
        The case's files or the measurements don't allow a result.
    """
    case = CaseFolder.open(root)
    with exclusive(case):
        return _Steps(case, progress).run()


class _Steps:
    """The steps of one build.

    A step takes what an earlier one made from memory, or from that step's folder where it didn't have to run.
    """

    def __init__(self, case: CaseFolder, progress: Progress) -> None:
        self._case = case
        self._progress = progress
        self._raw = check_raw(case, full=False)
        self._facts = read_facts(case)
        self._takes = self._all_takes()
        self._build = Build(case)
        self._responses: Responses | None = None
        self._derived: tuple[CurveSet, tuple[Figure, ...]] | None = None
        self._found: tuple[Finding, ...] | None = None

    def run(self) -> Built:
        """All steps in order, and the set named at the end."""
        unit = self._facts.unit
        geometry = [plain(self._facts.rig), plain(unit.cabinet), plain(unit.radiators)]
        reduced = self._step("reduce", REDUCE_FLOORS, self._raw_inputs(), geometry, self._reduce)
        stated = [plain(self._facts.uncertainty), plain(self._facts.rig), unit.active, unit.symmetry]
        derived = self._step(
            "derive", DERIVE_FLOORS, [reduced.key], stated, lambda to: self._derive(reduced.folder, to)
        )
        found = self._step(
            "find", FIND_FLOORS, [derived.key], plain(self._facts), lambda to: self._find(derived.folder, to)
        )
        build_id = self._build.identity(self._raw.raw_digest)
        named = self._step(
            "name",
            FIND_FLOORS,
            [derived.key, found.key],
            build_id,
            lambda to: self._name(build_id, derived.folder, found.folder, to),
        )
        files = {RESPONSES: reduced, CURVES: derived, RESULTS: named, FINDINGS: named}
        self._build.commit(build_id, {name: step.folder / name for name, step in files.items()})
        steps = {"responses": reduced, "curves and figures": derived, "findings": found}
        return Built(
            build_id=build_id,
            made=tuple(name for name, step in steps.items() if step.ran),
            kept=tuple(name for name, step in steps.items() if not step.ran),
            notes=self._responses_from(reduced.folder).notes if reduced.ran else (),
        )

    def _step(
        self,
        name: str,
        floors: Sequence[str],
        inputs: Sequence[str],
        options: object,
        make: Callable[[Path], None],
    ) -> Outcome:
        return self._build.step(name, floors=floors, inputs=inputs, options=options, make=make)

    def _all_takes(self) -> tuple[Take, ...]:
        """The takes that ``takes.toml`` states, turned as AES69 has angles, one for each part of a file.

        Raises
        ------
        CaseError
            A take's file isn't listed in ``raw.sha256``: it came into ``raw/`` past `earwitness add`.
        ReadError
            A file doesn't say what its parts are.
        """
        takes = read_takes(self._case)
        files = [path for take in takes for path in (take.path, take.stimulus) if path is not None]
        unknown = [path for path in files if path not in self._raw.sha256]
        if unknown:
            remedy = f"add it with `earwitness add {self._case.root} FILE`"
            raise CaseError(f"raw/{unknown[0]}", "is not listed in raw.sha256", remedy)
        return expanded(turned(takes, self._facts.rig), self._case.raw)

    def _raw_inputs(self) -> list[str]:
        """The takes and the hashes of their files, in the order of the takes' ids."""
        return [self._identity_of(take) for take in self._takes]

    def _identity_of(self, take: Take) -> str:
        """All that a take's response depends on: what it is, its file, its reader, its stimulus' file."""
        stimulus = self._raw.sha256[take.stimulus] if take.stimulus else ""
        reader = identity(source_of(self._case.raw, take))
        return f"{plain(take)} {self._raw.sha256[take.path]} {reader} {stimulus}"

    def _reduce(self, folder: Path) -> None:
        responses = reduce(self._facts, self._takes, self._impulse_responses(), self._case.raw)
        save_responses(folder / RESPONSES, responses)
        self._responses = responses

    def _impulse_responses(self) -> Mapping[TakeId, ImpulseResponse]:
        """Those kept from an earlier build, and the others deconvolved now."""
        recorded = [take for take in self._takes if take.key.kind in RECORDED]
        keys = {take.id: self._part_key(take) for take in recorded}
        found: dict[TakeId, ImpulseResponse] = {}
        for take_id, key in keys.items():
            kept = self._build.cached(key)
            if kept is not None:
                found[take_id] = ImpulseResponse.from_bytes(kept[_PART].tobytes())
        missing = [take for take in recorded if take.id not in found]
        for done, (take, response) in enumerate(deconvolve(self._case.raw, missing), 1):
            self._build.store(keys[take.id], {_PART: np.frombuffer(response.to_bytes(), dtype=np.uint8)})
            found[take.id] = response
            self._progress("deconvolving", done, len(missing))
        return found

    def _part_key(self, take: Take) -> Key:
        inputs = [self._identity_of(take)]
        return self._build.key(
            _PART, floors=("records", "acoustics", "measurement"), inputs=inputs, options={}
        )

    def _derive(self, reduced: Path, folder: Path) -> None:
        self._progress("deriving", 0, 1)
        derivation = derive(self._responses_from(reduced), self._facts)
        save_curves(folder / CURVES, derivation.curves)
        (folder / RESULTS).write_bytes(to_json(self._results("", derivation.figures)))
        self._derived = derivation.curves, derivation.figures
        self._progress("deriving", 1, 1)

    def _find(self, derived: Path, folder: Path) -> None:
        self._found = find(*self._derived_from(derived), self._facts)
        (folder / FINDINGS).write_bytes(to_json(self._findings("", self._found)))

    def _name(self, build_id: str, derived: Path, found: Path, folder: Path) -> None:
        _, figures = self._derived_from(derived)
        findings = self._found or from_json(Findings, (found / FINDINGS).read_bytes()).findings
        (folder / RESULTS).write_bytes(to_json(self._results(build_id, figures)))
        (folder / FINDINGS).write_bytes(to_json(self._findings(build_id, findings)))

    def _results(self, build_id: str, figures: tuple[Figure, ...]) -> Results:
        return Results(
            schema_version=SCHEMA_VERSION,
            build_id=build_id,
            program=f"earwitness {__version__}",
            case=self._facts.unit.name,
            raw_digest=self._raw.raw_digest,
            figures=figures,
        )

    def _findings(self, build_id: str, findings: tuple[Finding, ...]) -> Findings:
        return Findings(SCHEMA_VERSION, build_id, self._facts.unit.name, findings)

    def _responses_from(self, reduced: Path) -> Responses:
        if self._responses is None:
            self._responses = load_responses(reduced / RESPONSES)
        return self._responses

    def _derived_from(self, derived: Path) -> tuple[CurveSet, tuple[Figure, ...]]:
        if self._derived is None:
            results = from_json(Results, (derived / RESULTS).read_bytes())
            self._derived = load_curves(derived / CURVES), results.figures
        return self._derived
