"""Entries of claims, features, changes, listening notes, and what an equaliser mends."""

from __future__ import annotations

from collections.abc import Mapping

from earwitness.derive.numerals import frequency, quantity
from earwitness.findings.change_statements import SOURCE as CHANGE_SOURCE
from earwitness.findings.claims import SOURCE as CLAIM_SOURCE
from earwitness.findings.correctability import SOURCE as CORRECTABLE_SOURCE
from earwitness.findings.feature_heights import height, leading
from earwitness.findings.feature_statements import SOURCE as FEATURE_SOURCE
from earwitness.findings.testimony import SOURCE as TESTIMONY_SOURCE
from earwitness.publication.entries import (
    TALLY_ANCHOR,
    Origin,
    anchor,
    curve_links,
    source_lines,
)
from earwitness.publication.wording import line
from earwitness.records.curves import Curve, CurveName
from earwitness.records.features import Feature
from earwitness.records.findings import ClaimJudgement, Finding
from earwitness.records.level_changes import LevelChange
from earwitness.records.qualities import MEANINGS
from earwitness.records.sentences import Number, Quoted, Term, say
from earwitness.records.testimony import NoteHeld


def claim_entry(finding: Finding, claim: ClaimJudgement, curves: Mapping[CurveName, Curve]) -> Origin:
    """The entry of a claim's judgement."""
    here = f"claim:{claim.index}"
    claimed = next(part for part in finding.statement.parts if isinstance(part, Quoted))
    return Origin(
        anchor=anchor(here),
        title=say("Claim “", claimed, "”"),
        value=say(str(claim.judgement)),
        method="findings.claim_readings.readings",
        lines=tuple(source_lines(CLAIM_SOURCE)),
        curves=curve_links(finding.evidence.curves, curves),
    )


def feature_entry(finding: Finding, feature: Feature, curves: Mapping[CurveName, Curve]) -> Origin:
    """The entry of a feature."""
    number = finding.id.removeprefix("feature-")
    here = f"feature:{number}/feature"
    place = leading(feature)
    at = f"{here}/places/{feature.places.index(place)}"
    lines = source_lines(FEATURE_SOURCE)
    if finding.story is not None:
        lines += [line("Cause", detail) for detail in finding.story.details]
    return Origin(
        anchor=anchor(here),
        title=say(f"Feature: {feature.kind}"),
        value=height(place, at) + say(" at ", frequency(place.frequency_hz, f"{at}/frequency_hz")),
        method="findings.shapes.find_shapes" if feature.broad else "findings.features.find_features",
        lines=tuple(lines),
        curves=curve_links(finding.evidence.curves, curves),
        takes=finding.evidence.takes,
    )


def change_entry(finding: Finding, change: LevelChange) -> Origin:
    """The entry of a change with the drive."""
    here = f"change:{change.number}"
    size = quantity(change.change_db, "dB", f"{here}/change/change_db")
    lines = source_lines(CHANGE_SOURCE)
    if finding.story is not None:
        lines += [line("Cause", detail) for detail in finding.story.details]
    return Origin(
        anchor=anchor(here),
        title=say(f"Change with the drive: {change.kind}"),
        value=say(size, " at ", frequency(change.frequency_hz, f"{here}/change/frequency_hz")),
        method="findings.causes.level_judge.causes_of_change",
        lines=tuple(lines),
        takes=finding.evidence.takes,
    )


def testimony_entry(finding: Finding, held: NoteHeld, curves: Mapping[CurveName, Curve]) -> Origin:
    """The entry of one listening note."""
    note = held.note
    lines = [
        *source_lines(TESTIMONY_SOURCE),
        *(() if note.quality is None else source_lines(MEANINGS[note.quality].source)),
        line("Sealed", say(Term(note.sealed_at))),
        line("Seal", say(Term(note.seal))),
        line("File", say(Term(f"testimony/{note.number:03}.toml"))),
    ]
    if held.by_chance is not None:
        share = Number(
            f"{100.0 * held.by_chance:.0f} %", held.by_chance, f"testimony:{note.number}/by_chance"
        )
        lines.append(
            line("By chance", say("it would be supported at ", share, " of all places of such a band"))
        )
    return Origin(
        anchor=anchor(f"testimony:{note.number}"),
        title=say("Listening note"),
        value=say(str(held.outcome)),
        method="findings.testimony.held",
        lines=tuple(lines),
        curves=curve_links(finding.evidence.curves, curves),
    )


def tally_entry() -> Origin:
    """The entry of all listening notes together."""
    return Origin(
        anchor=TALLY_ANCHOR,
        title=say("Listening notes together"),
        value=say("as sealed, and at shuffled places"),
        method="findings.testimony.tally",
        lines=(*source_lines(TESTIMONY_SOURCE), line("File", say("findings.json"))),
    )


def correctable_entry() -> Origin:
    """The entry of what an equaliser mends."""
    return Origin(
        anchor="from-correctable",
        title=say("What an equaliser mends"),
        value=say("by plane, and within the listening window"),
        method="derive.correctability",
        lines=tuple(source_lines(CORRECTABLE_SOURCE)),
    )
