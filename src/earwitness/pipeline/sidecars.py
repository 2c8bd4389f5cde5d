"""Sidecars of stimuli on their way into a case: which sound each belongs to, and what follows from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final

from earwitness.case import durable
from earwitness.case.sidecar import SUFFIX, read_sidecar, sidecar_of
from earwitness.measurement.readers.registry import OWN
from earwitness.measurement.readers.sound_options import SWEEP_FROM, SWEEP_RATE, SWEEP_TO
from earwitness.measurement.recognition.kind import says_stimulus
from earwitness.measurement.recognition.stimulus import Step
from earwitness.methods.line_level import dbu_of_volts
from earwitness.pipeline.arrivals import Doubt
from earwitness.records.errors import CaseError
from earwitness.records.stimuli import MultitoneSignal, RunSignal, StimulusFacts, SweepSignal
from earwitness.records.takes import Drive, ReadOptions

Sources = Sequence[tuple[Path, str]]
_SOUNDS: Final = frozenset(OWN["audio"])


def with_sidecars(sources: Sources) -> tuple[tuple[Path, str], ...]:
    """The files, and the sidecars that lie beside stimuli among them."""
    found = {name: path for path, name in sources}
    for path, name in sources:
        beside, called = sidecar_of(path), _of_name(name)
        if _is_sound(name) and says_stimulus(name) and called not in found and beside.is_file():
            found[called] = beside
    return tuple((path, name) for name, path in sorted(found.items()))


def sidecars_among(sources: Sources) -> Mapping[str, str]:
    """The names of sound files by those of the sidecars that belong to them."""
    names = {name for _, name in sources}
    return {_of_name(name): name for name in names if _is_sound(name) and _of_name(name) in names}


@dataclass(frozen=True)
class Told:
    """What sidecars say: facts of stimuli by name, and doubts of those that can't be used."""

    facts: Mapping[str, StimulusFacts]
    doubts: tuple[Doubt, ...]

    @classmethod
    def by(cls, places: Mapping[str, Path]) -> Told:
        """What the sidecars among files say; `places` is where each file lies, by its name."""
        facts: dict[str, StimulusFacts] = {}
        doubts: list[Doubt] = []
        for sidecar, sound in sorted(sidecars_among([(path, name) for name, path in places.items()]).items()):
            try:
                said = read_sidecar(places[sidecar])
            except CaseError as error:
                problem = f"{error.where}: {error.problem}" if error.where else error.problem
                doubts.append(Doubt(sidecar, problem, error.remedy))
                continue
            wrong = _why_not(said, places[sound], sidecar, sound)
            if wrong is None:
                facts[sound] = said
            else:
                doubts.append(wrong)
        return cls(facts, tuple(doubts))

    def read(self, sound: str, stated: ReadOptions) -> ReadOptions:
        """What a stimulus' entry states: what the call does, and its sweep as the sidecar has it."""
        facts = self.facts.get(sound)
        if facts is None or not isinstance(facts.signal, SweepSignal):
            return stated
        low, high = facts.signal.unfaded_hz
        said = {SWEEP_FROM: low, SWEEP_TO: high, SWEEP_RATE: float(f"{facts.signal.rate_s:.9g}")}
        return tuple(sorted({**said, **dict(stated)}.items()))

    @property
    def steps(self) -> Mapping[str, Step]:
        """Which stimuli are one sweep at several levels."""
        return {name: _step(facts) for name, facts in self.facts.items()}

    @property
    def remarks(self) -> Mapping[str, str]:
        """What was understood, by name."""
        return {name: _remark(facts) for name, facts in self.facts.items()}


def _step(facts: StimulusFacts) -> Step:
    laid_out = (facts.sample_rate_hz, facts.samples, facts.lead_s, facts.tail_s)
    drives = {Drive(round(facts.level_dbfs, 3), "dBFS")}
    if facts.drive_v is not None:
        drives |= {
            Drive(float(f"{facts.drive_v:.4g}"), "V"),
            Drive(round(dbu_of_volts(facts.drive_v), 3), "dBu"),
        }
    return Step(repr((facts.signal, laid_out)), frozenset(drives))


def _remark(facts: StimulusFacts) -> str:
    if isinstance(facts.signal, RunSignal):
        return f"by its sidecar a run, {facts.signal.load_s} s of load and {facts.signal.rest_s} s after it"
    if isinstance(facts.signal, MultitoneSignal):
        return f"by its sidecar {len(facts.signal.tones_hz)} tones for {facts.signal.length_s:.1f} s"
    if not isinstance(facts.signal, SweepSignal):
        return ""
    low, high = facts.signal.unfaded_hz
    return f"by its sidecar a sweep, {low:g} Hz to {high:g} Hz in {facts.signal.length_s:.1f} s"


def _why_not(said: StimulusFacts, file: Path, sidecar: str, sound: str) -> Doubt | None:
    """Why a sound isn't what its sidecar says, or is nothing that a response is made from."""
    if durable.file_digest(file) != said.sha256:
        problem = f"isn't the file that {sidecar} was written for (its SHA-256 differs)"
        return Doubt(sound, problem, f"give the file as it was written, or move {sidecar} away")
    if not isinstance(said.signal, SweepSignal | RunSignal | MultitoneSignal):
        problem = f"is {said.kind}, as {sidecar} says, and responses are made from sweeps"
        return Doubt(sound, problem, "leave both out")
    return None


def _is_sound(name: str) -> bool:
    return PurePosixPath(name).suffix.lower() in _SOUNDS


def _of_name(name: str) -> str:
    return str(PurePosixPath(name).with_suffix(SUFFIX))
