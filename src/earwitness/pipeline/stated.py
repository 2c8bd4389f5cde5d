"""What a build rests on: raw files, takes and facts as the case has them now, and the keys that follow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from earwitness.case.documents import plain
from earwitness.case.incremental import Build, Key, build_id
from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import read_facts
from earwitness.case.raw_store import RawState, check_raw
from earwitness.case.takes import read_takes
from earwitness.case.testimony import notes_of, read_notes
from earwitness.measurement.answers import stimuli_of
from earwitness.measurement.expansion import expanded
from earwitness.measurement.readers.registry import identity
from earwitness.measurement.readers.signals import source_of
from earwitness.pipeline.orientation import turned
from earwitness.pipeline.points.reference import Earlier, earlier_readings
from earwitness.records.errors import CaseError
from earwitness.records.facts import CaseFacts
from earwitness.records.takes import Take, TakeId, TakeKind
from earwitness.records.testimony import Note

#: The floors that each step may import: their sources are part of its key.
REDUCE_FLOORS: Final = ("records", "acoustics", "methods", "measurement", "case", "pipeline")
DERIVE_FLOORS: Final = ("records", "acoustics", "methods", "derive", "case", "pipeline")
FIND_FLOORS: Final = (*DERIVE_FLOORS, "findings")
QUALITY_FLOORS: Final = (*DERIVE_FLOORS, "measurement")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a build by what its result depends on."""

    name: str
    floors: Sequence[str]
    inputs: Sequence[str]
    options: object

    @property
    def key(self) -> Key:
        """All of it as one digest."""
        return Build.key(self.name, floors=self.floors, inputs=self.inputs, options=self.options)


@dataclass(frozen=True, slots=True)
class Stated:
    """The case as it is now.

    `takes` are turned as AES69 has angles, one for each part of a file; `stimuli` are those that were played,
    by path; `earlier` is how the rig's reference loudspeaker read in earlier cases. `notes` are listening
    notes, `notes_elsewhere` those of earlier cases.
    """

    case: CaseFolder
    raw: RawState
    facts: CaseFacts
    takes: tuple[Take, ...]
    stimuli: Mapping[str, Take]
    earlier: tuple[Earlier, ...] = ()
    notes: tuple[Note, ...] = ()
    notes_elsewhere: tuple[Note, ...] = ()
    _known: dict[tuple[TakeId, TakeKind], str] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @classmethod
    def of(cls, case: CaseFolder) -> Stated:
        """What a case states.

        Raises
        ------
        IntegrityError
            A raw file is missing or has changed.
        CaseError
            The case's files can't be understood, or a take's file isn't listed in ``raw.sha256``: it came
            into ``raw/`` past `earwitness add`.
        ReadError
            A file doesn't say what its parts are, or one that was played holds two stimuli.
        """
        raw = check_raw(case, full=False)
        facts = read_facts(case)
        takes = read_takes(case)
        files = [path for take in takes for path in (take.path, take.stimulus) if path is not None]
        unknown = [path for path in files if path not in raw.sha256]
        if unknown:
            remedy = f"add it with `earwitness add {case.root} FILE`"
            raise CaseError(f"raw/{unknown[0]}", "is not listed in raw.sha256", remedy)
        every = expanded(turned(takes, facts.rig), case.raw)
        earlier = earlier_readings(case.root, facts.rig.earlier)
        elsewhere = notes_of(case.root, facts.rig.earlier)
        return cls(case, raw, facts, every, stimuli_of(every), earlier, read_notes(case), elsewhere)

    def steps(self) -> tuple[Step, Step, Step, Step]:
        """The steps that reduce, derive, find, and look at the quality of the data."""
        unit = self.facts.unit
        rig = {key: value for key, value in plain(self.facts.rig).items() if key != "earlier"}
        inputs = [self.identity_of(take) for take in self.takes]
        geometry = [rig, plain(unit.cabinet), plain(unit.radiators), self.facts.uncertainty.surface_m]
        reduce = Step("reduce", REDUCE_FLOORS, inputs, geometry)
        rated = [unit.rated_impedance_ohm, unit.rated_band_hz]
        stated = [plain(self.facts.uncertainty), rig, unit.active, unit.symmetry, rated]
        derive = Step("derive", DERIVE_FLOORS, (reduce.key.sha256,), stated)
        heard = [[plain(note) for note in some] for some in (self.notes, self.notes_elsewhere)]
        find = Step("find", FIND_FLOORS, (derive.key.sha256,), [plain(self.facts), heard])
        earlier = [plain(one) for one in self.earlier]
        looked_at = [stated, unit.name, plain(unit.radiators), earlier]
        return reduce, derive, find, Step("quality", QUALITY_FLOORS, (derive.key.sha256,), looked_at)

    def build_id(self) -> str:
        """The id that a build of the case has now."""
        return build_id((step.key.sha256 for step in self.steps()), self.raw.raw_digest)

    def identity_of(self, take: Take) -> str:
        """All that a take's response depends on: what it and its stimulus are, their files and readers."""
        played = [] if take.stimulus is None else [self.stimuli[take.stimulus]]
        return " ".join(self._alone(one) for one in (take, *played))

    def _alone(self, take: Take) -> str:
        key = (take.id, take.key.kind)
        if key not in self._known:
            reader = identity(source_of(self.case.raw, take))
            self._known[key] = f"{plain(take)} {self.raw.sha256[take.path]} {reader}"
        return self._known[key]
