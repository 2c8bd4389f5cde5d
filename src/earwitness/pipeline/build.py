"""The one list of build steps, from raw files to findings."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from earwitness import __version__
from earwitness.case.datasets import (
    load_curves,
    load_levels,
    load_responses,
    save_curves,
    save_levels,
    save_responses,
)
from earwitness.case.documents import Document, from_json, to_json
from earwitness.case.incremental import Build, Key, Outcome
from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive
from earwitness.derive.derivation import derive
from earwitness.findings.find import field_of, find
from earwitness.findings.testimony import held, tally
from earwitness.measurement.deconvolution import RECORDED, deconvolve
from earwitness.measurement.electrical import measured_impedance
from earwitness.measurement.endurance import endured
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.latency import latency
from earwitness.measurement.levels import level_series
from earwitness.measurement.rattling import rattled
from earwitness.measurement.reduction import reduce
from earwitness.measurement.self_noise import self_noise
from earwitness.measurement.silence import silences
from earwitness.measurement.toned import toned
from earwitness.pipeline.points.material import Material
from earwitness.pipeline.quality import points_of
from earwitness.pipeline.stated import FIND_FLOORS, Stated, Step
from earwitness.records.active import Latency
from earwitness.records.curves import CurveSet
from earwitness.records.distortion import LevelSeries
from earwitness.records.figures import Figure, Results
from earwitness.records.findings import Findings
from earwitness.records.long_term import LongTerm
from earwitness.records.quality import Quality
from earwitness.records.responses import Responses
from earwitness.records.takes import Take, TakeId
from earwitness.records.tones import ToneSet

Progress = Callable[[str, int, int], None]

SCHEMA_VERSION: Final = 1
RESPONSES: Final = "responses.nc"
CURVES: Final = "curves.nc"
DISTORTION: Final = "distortion.nc"
LONG_TERM: Final = "long_term.json"
TONES: Final = "tones.json"
LATENCY: Final = "latency.json"
RESULTS: Final = "results.json"
FINDINGS: Final = "findings.json"
QUALITY: Final = "quality.json"
_PART: Final = "impulse-response"


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
        self._stated = Stated.of(case)
        self._raw, self._facts, self._takes = self._stated.raw, self._stated.facts, self._stated.takes
        self._build = Build(case)
        self._responses: Responses | None = None
        self._series: Sequence[LevelSeries] | None = None
        self._derived: tuple[CurveSet, tuple[Figure, ...]] | None = None
        self._documents: dict[str, object] = {}
        self._heard: Mapping[TakeId, ImpulseResponse] | None = None

    def run(self) -> Built:
        """All steps in order, and the set named at the end."""
        reduce, derive, find, look = self._stated.steps()
        reduced = self._step(reduce, self._reduce)
        derived = self._step(derive, lambda to: self._derive(reduced.folder, to))
        found = self._step(find, lambda to: self._find(reduced.folder, derived.folder, to))
        looked = self._step(look, lambda to: self._look(reduced.folder, derived.folder, to))
        build_id = self._build.identity(self._raw.raw_digest)
        naming = Step("name", FIND_FLOORS, (derived.key, found.key, looked.key), build_id)
        named = self._step(naming, lambda to: self._name(build_id, (derived, found, looked), to))
        files = {
            RESPONSES: reduced,
            DISTORTION: reduced,
            CURVES: derived,
            RESULTS: named,
            FINDINGS: named,
            QUALITY: named,
        }
        self._build.commit(build_id, {name: step.folder / name for name, step in files.items()})
        steps = {"responses": reduced, "curves and figures": derived, "findings": found, "quality": looked}
        return Built(
            build_id=build_id,
            made=tuple(name for name, step in steps.items() if step.ran),
            kept=tuple(name for name, step in steps.items() if not step.ran),
            notes=self._responses_from(reduced.folder).notes if reduced.ran else (),
        )

    def _step(self, step: Step, make: Callable[[Path], None]) -> Outcome:
        return self._build.step(
            step.name, floors=step.floors, inputs=step.inputs, options=step.options, make=make
        )

    def _reduce(self, folder: Path) -> None:
        self._heard = self._impulse_responses()
        responses = reduce(self._facts, self._takes, self._heard, self._case.raw)
        impedance = measured_impedance(self._case.raw, self._takes, self._stated.stimuli)
        responses = replace(responses, impedance=impedance)
        save_responses(folder / RESPONSES, responses)
        self._series = level_series(self._facts, self._takes, self._heard, responses, self._case.raw)
        save_levels(folder / DISTORTION, self._series)
        long_term = LongTerm(
            endured(self._facts, self._takes, self._case.raw),
            self_noise(self._facts, self._takes, self._case.raw),
        )
        self._write(folder / LONG_TERM, long_term)
        tones = replace(
            toned(self._facts, self._takes, self._case.raw),
            rattles=rattled(self._case.raw, self._takes, self._stated.stimuli),
        )
        self._write(folder / TONES, tones)
        self._write(folder / LATENCY, latency(self._facts.rig, self._takes, self._heard))
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
        missing, quiet = [take for take in recorded if take.id not in found], silences(self._takes)
        for done, (take, response) in enumerate(
            deconvolve(self._case.raw, [*missing, *quiet], self._stated.stimuli), 1
        ):
            self._build.store(keys[take.id], {_PART: np.frombuffer(response.to_bytes(), dtype=np.uint8)})
            found[take.id] = response
            self._progress("deconvolving", done, len(missing))
        return found

    def _part_key(self, take: Take) -> Key:
        inputs = [self._stated.identity_of(one) for one in (take, *silences(self._takes))]
        return self._build.key(
            _PART, floors=("records", "acoustics", "measurement"), inputs=inputs, options={}
        )

    def _derive(self, reduced: Path, folder: Path) -> None:
        self._progress("deriving", 0, 1)
        series = load_levels(reduced / DISTORTION) if self._series is None else self._series
        long_term = self._read(reduced / LONG_TERM, LongTerm)
        tones, late = self._read(reduced / TONES, ToneSet), self._read(reduced / LATENCY, Latency)
        derivation = derive(self._responses_from(reduced), self._facts, series, long_term, tones, late=late)
        save_curves(folder / CURVES, derivation.curves)
        self._write(folder / RESULTS, self._results("", derivation.figures))
        self._derived = derivation.curves, derivation.figures
        self._progress("deriving", 1, 1)

    def _find(self, reduced: Path, derived: Path, folder: Path) -> None:
        self._progress("finding", 0, 1)
        curves, figures = self._derived_from(derived)
        notes, elsewhere = self._stated.notes, self._stated.notes_elsewhere
        responses = self._responses_from(reduced)
        found = find(curves, figures, self._facts, responses, notes, self._takes)
        told = [finding.testimony for finding in found if finding.testimony is not None]
        others = held(elsewhere, curves, field_of(responses, self._facts)) if told and elsewhere else ()
        together = tally(told, others) if told else None
        self._progress("finding", 1, 1)
        self._write(folder / FINDINGS, Findings(SCHEMA_VERSION, "", self._facts.unit.name, found, together))

    def _look(self, reduced: Path, derived: Path, folder: Path) -> None:
        curves, figures = self._derived_from(derived)
        material = Material(
            facts=self._facts,
            takes=self._takes,
            impulse_responses=self._impulse_responses() if self._heard is None else self._heard,
            responses=self._responses_from(reduced),
            curves=curves,
            figures=figures,
        )
        points, reading = points_of(material, self._case.raw, self._stated.earlier)
        self._write(folder / QUALITY, Quality(SCHEMA_VERSION, "", self._facts.unit.name, points, reading))

    def _name(self, build_id: str, steps: tuple[Outcome, Outcome, Outcome], folder: Path) -> None:
        derived, found, looked = (step.folder for step in steps)
        _, figures = self._derived_from(derived)
        findings = self._read(found / FINDINGS, Findings)
        quality = self._read(looked / QUALITY, Quality)
        (folder / QUALITY).write_bytes(to_json(replace(quality, build_id=build_id)))
        (folder / RESULTS).write_bytes(to_json(self._results(build_id, figures)))
        (folder / FINDINGS).write_bytes(to_json(replace(findings, build_id=build_id)))

    def _results(self, build_id: str, figures: tuple[Figure, ...]) -> Results:
        return Results(
            schema_version=SCHEMA_VERSION,
            build_id=build_id,
            program=f"earwitness {__version__}",
            case=self._facts.unit.name,
            raw_digest=self._raw.raw_digest,
            figures=figures,
        )

    def _responses_from(self, reduced: Path) -> Responses:
        if self._responses is None:
            self._responses = load_responses(reduced / RESPONSES)
        return self._responses

    def _derived_from(self, derived: Path) -> tuple[CurveSet, tuple[Figure, ...]]:
        if self._derived is None:
            results = self._read(derived / RESULTS, Results)
            self._derived = load_curves(derived / CURVES), results.figures
        return self._derived

    def _write(self, file: Path, document: object) -> None:
        file.write_bytes(to_json(document, indent=None))
        self._documents[file.name] = document

    def _read(self, file: Path, kind: type[Document]) -> Document:
        made = self._documents.get(file.name)
        return made if isinstance(made, kind) else from_json(kind, file.read_bytes())
