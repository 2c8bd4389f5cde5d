"""Everything that goes out, in one typed context: page, PDF and data pack read this and nothing else."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.description import Exhibit, Mark
from earwitness.exhibits.places import locate
from earwitness.findings.claims import reading_number
from earwitness.findings.references import Referent
from earwitness.publication import verdict
from earwitness.publication.header import Header, header
from earwitness.publication.material import Built, CaseFiles
from earwitness.publication.origins import Origin, numbers_in, origins
from earwitness.publication.quality import QualityPart, quality_part
from earwitness.publication.rows import Row, table
from earwitness.publication.stories import story_lines
from earwitness.publication.take_sets import TakeSet, take_sets
from earwitness.publication.tally import tally_sentence
from earwitness.publication.told_apart import SeparationPart, rests_on_surfaces, separation_part
from earwitness.publication.trust import Trust, trust
from earwitness.publication.wording import Line, date_words
from earwitness.records.audibility import Heard
from earwitness.records.curves import CurveSet
from earwitness.records.errors import IntegrityError
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Results
from earwitness.records.findings import Finding
from earwitness.records.quality import Quality
from earwitness.records.responses import Responses
from earwitness.records.sentences import Number, Quoted, Sentence, say
from earwitness.records.takes import TakeId
from earwitness.records.testimony import Tally


@dataclass(frozen=True, slots=True)
class RawFile:
    """One raw file, its hash, and its name in page and PDF."""

    path: str
    sha256: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Download:
    """One file of the data pack: path beside the page, size in bytes with its words, hash."""

    name: str
    size_bytes: int
    size: Sentence
    sha256: str


@dataclass(frozen=True, slots=True)
class RevisionLine:
    """What was published or changed on a day."""

    date: Sentence
    text: Sentence


@dataclass(frozen=True)
class PublicationContext:
    """One case, ready to go out.

    Attributes
    ----------
    facts
        The case's facts, as its prose refers to them.
    title
        The loudspeaker's name as plain text, for the window's title and the PDF's metadata.
    header
        Part one: what it is, its price on a day, where it came from, who paid for what.
    verdict
        Part two: the reviewer's own words as blocks; empty where there is none yet.
    rows
        The table of part two, at most ten figures, available ones only.
    findings
        Part three, the most important first.
    marks
        For each finding's id its places in exhibits; no entry where there is nothing to point at.
    readings
        For the id of each finding on a maker's claim, what every admissible definition finds, and whether the
        claim holds by it.
    stories
        For the id of each finding on a feature: why, whether it is heard, what to do.
    tally
        How all listening notes fare together; empty where there are none.
    exhibits
        Part four.
    trust
        Part seven: how it was measured, what was not, what the data can't tell, the caution.
    origins
        The appendix: where each number comes from.
    take_sets
        Long lists of takes, each once; `take_set` finds the one of an entry.
    raw_files
        Every raw file with its SHA-256, by path.
    take_paths
        The raw file of each take; its name may hold a # as the id of a take in it does.
    downloads
        Files of the data pack, with size and SHA-256; empty until they are written.
    revisions
        What was published when, oldest first.
    revised_on
        The day of the newest revision; None where there is none.
    results, curves, responses
        The machine-readable results, the curves and the reduced responses, for the data pack.
    build_id, program
        Which build of which program this is.
    checked
        The points of quality as part seven says them, with their pictures; None where none were looked at.
    quality
        The same as the build has them.
    told_together
        How listening notes fare together, as the build has it.
    separation
        How two surfaces told waves apart, in part seven; None where none were measured.
    """

    facts: CaseFacts
    title: str
    header: Header
    verdict: tuple[verdict.Block, ...]
    rows: tuple[Row, ...]
    findings: tuple[Finding, ...]
    marks: Mapping[str, tuple[Mark, ...]]
    readings: Mapping[str, tuple[Sentence, ...]]
    stories: Mapping[str, tuple[Line, ...]]
    tally: Sentence
    exhibits: tuple[Exhibit, ...]
    trust: Trust
    origins: tuple[Origin, ...]
    take_sets: tuple[TakeSet, ...]
    raw_files: tuple[RawFile, ...]
    take_paths: Mapping[TakeId, str]
    downloads: tuple[Download, ...]
    revisions: tuple[RevisionLine, ...]
    revised_on: dt.date | None
    results: Results
    curves: CurveSet
    responses: Responses
    build_id: str
    program: str
    checked: QualityPart | None = None
    quality: Quality | None = None
    told_together: Tally | None = None
    separation: SeparationPart | None = None

    def resolve(self, reference: str) -> float:
        """The number that a `Number.reference` in any prose of the publication names.

        ``publication:trust/exposure/hours`` is a field of this context by attribute and index,
        ``quality:orbits/worst_db`` a value of a point of quality; everything else is as `findings.references`
        says.

        Raises
        ------
        LookupError
            If it names nothing, or nothing that is a number.
        """
        scheme, _, path = reference.partition(":")
        if scheme == "quality" and self.quality is not None:
            return self.quality.resolve(path)
        if scheme != "publication":
            return Referent(self.facts, self.results.figures, self.curves, self.findings).resolve(reference)
        here: object = self
        for step in path.split("/"):
            here = here[int(step)] if isinstance(here, tuple) else getattr(here, step, None)
        if isinstance(here, int | float):
            return float(here)
        raise LookupError(f"{reference} is not a number")

    @property
    def testimony(self) -> tuple[Finding, ...]:
        """Findings on listening notes, in the order of their sealing, which is that of their ids."""
        return tuple(finding for finding in self.findings if finding.testimony is not None)

    @property
    def unheard(self) -> tuple[Finding, ...]:
        """Findings on what is unlikely to be heard, or is too unsure to tell: the last of all."""
        return tuple(
            finding
            for finding in self.findings
            if finding.feature is not None
            and (finding.audibility is None or finding.audibility.verdict is Heard.UNLIKELY)
        )

    @property
    def pictured(self) -> tuple[Exhibit, ...]:
        """Every exhibit that is drawn: those of part four, then those of part seven."""
        apart = () if self.separation is None else (self.separation.exhibit,)
        return (*self.exhibits, *apart, *(() if self.checked is None else self.checked.exhibits))

    def raw_file(self, take: TakeId) -> RawFile:
        """The raw file that holds a take."""
        path = self.take_paths[take]
        return next(f for f in self.raw_files if f.path == path)

    def take_set(self, takes: tuple[TakeId, ...]) -> TakeSet | None:
        """The named list of these takes; None where it is short and stands where it is needed."""
        return next((found for found in self.take_sets if found.takes == takes), None)

    def with_downloads(self, files: Mapping[str, tuple[int, str]]) -> PublicationContext:
        """This context with the data pack's files, name → (bytes, SHA-256)."""
        found = tuple(
            Download(name, size, _size(size, f"publication:downloads/{i}/size_bytes"), digest)
            for i, (name, (size, digest)) in enumerate(files.items())
        )
        return replace(self, downloads=found)


def assemble(case: CaseFiles, built: Built) -> PublicationContext:
    """The context of a case from its records; reads and writes nothing.

    Raises
    ------
    IntegrityError
        If a number in the prose doesn't lead to where it says it comes from: nothing is published then.
    """
    exhibits = describe(built.curves)
    findings = tuple(sorted(built.findings.findings, key=lambda f: -f.importance))
    marks = {f.id: locate(f.place, exhibits, f.id) for f in findings if f.place is not None}
    head, rows, belief = header(case.facts), table(built.results.figures), trust(case, built)
    listed = {take.id for take in case.takes if take.path in case.raw_sha256}
    surfaces = rests_on_surfaces(built.responses)
    apart = separation_part(built.responses.told_apart, len(exhibits), joined=surfaces)
    lettered = len(exhibits) + (0 if apart is None else 1)
    checked = None if built.quality is None else quality_part(built.quality, lettered, listed)
    together = tally_sentence(built.findings.tally)
    prose = (head, rows, findings, exhibits, belief, checked, apart, together)
    context = PublicationContext(
        facts=case.facts,
        title=case.facts.unit.name,
        header=head,
        verdict=verdict.parse(case.verdict),
        rows=rows,
        findings=findings,
        marks={key: found for key, found in marks.items() if found},
        readings={f.id: _readings(f) for f in findings if f.claim},
        tally=together,
        stories={f.id: story_lines(f.story) for f in findings if f.story},
        exhibits=exhibits,
        trust=belief,
        origins=(),
        take_sets=(),
        raw_files=tuple(
            RawFile(path, digest, f"raw-{i}")
            for i, (path, digest) in enumerate(sorted(case.raw_sha256.items()))
        ),
        take_paths={take.id: take.path for take in case.takes},
        downloads=(),
        revisions=tuple(
            RevisionLine(
                say(Quoted(date_words(r.date), f"case:revisions/{i}/date")),
                say(Quoted(r.text, f"case:revisions/{i}/text")),
            )
            for i, r in enumerate(case.revisions)
        ),
        revised_on=max((r.date for r in case.revisions), default=None),
        results=built.results,
        curves=built.curves,
        responses=built.responses,
        build_id=built.results.build_id,
        program=built.results.program,
        checked=checked,
        separation=apart,
        quality=built.quality,
        told_together=built.findings.tally,
    )
    _check(context)
    lines = () if checked is None else checked.lines
    entries = origins(built.curves, built.results.figures, prose, findings, lines)
    lists = take_sets((entry.takes for entry in entries), case.takes)
    context = replace(context, origins=entries, take_sets=lists)
    _check(context)
    return context


def _check(context: PublicationContext) -> None:
    for number in numbers_in(context):
        try:
            found = context.resolve(number.reference)
        except (LookupError, ValueError) as error:
            raise IntegrityError(
                "build", f"{number.text} comes from nowhere: {error}", "build again"
            ) from error
        if not math.isclose(found, number.value, rel_tol=1e-9, abs_tol=1e-12):
            problem = f"{number.text} isn't what {number.reference} says ({found:g})"
            raise IntegrityError("build", problem, "build again")


def _readings(finding: Finding) -> tuple[Sentence, ...]:
    if finding.claim is None:
        return ()
    path = f"claim:{finding.claim.index}/readings"
    return tuple(
        reading.definition + say(": ", reading_number(reading, f"{path}/{i}/value"), _OUTCOME[reading.holds])
        for i, reading in enumerate(finding.claim.readings)
    )


_OUTCOME: Final[Mapping[bool | None, str]] = {
    True: ", holds",
    False: ", doesn't hold",
    None: ", can't be judged",
}


def _size(count: int, reference: str) -> Sentence:
    unit, factor = next((u for u in (("MB", 1e6), ("kB", 1e3)) if count >= u[1]), ("bytes", 1.0))
    return say(Number(f"{float(f'{count / factor:.3g}'):g} {unit}", float(count), reference))
