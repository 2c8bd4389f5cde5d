"""All findings of a case, in their printed order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.derive.directivity import directivity, take_powers
from earwitness.findings.causes.beside import Beside, with_beside
from earwitness.findings.causes.judge import causes_in, gate_of, scene_of
from earwitness.findings.change_statements import change_statements, told_once
from earwitness.findings.claim_takes import Deciding
from earwitness.findings.claims import judge_claims
from earwitness.findings.feature_statements import feature_statements
from earwitness.findings.features import find_features
from earwitness.findings.impedance_statements import impedance_statements
from earwitness.findings.level_statements import level_statements, narrow_words
from earwitness.findings.long_term_statements import long_term_statements
from earwitness.findings.merging import merged, with_shapes
from earwitness.findings.next_question import asking
from earwitness.findings.next_table import Possible
from earwitness.findings.references import Referent
from earwitness.findings.shapes import find_shapes
from earwitness.findings.statements import statements
from earwitness.findings.testimony import held, note_statements
from earwitness.findings.tone_statements import tone_statements
from earwitness.records.curves import CurveSet
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Figure, FigureName
from earwitness.records.findings import Finding
from earwitness.records.responses import Directivity, Responses
from earwitness.records.takes import Take
from earwitness.records.testimony import Note

#: Features are sought from so many times the gate's reciprocal up.
GATES: Final = 2.0


def find(  # noqa: PLR0917
    curves: CurveSet,
    figures: tuple[Figure, ...],
    facts: CaseFacts,
    responses: Responses | None = None,
    notes: Sequence[Note] = (),
    takes: Sequence[Take] = (),
) -> tuple[Finding, ...]:
    """Findings on figures, claims, features of the responses and listening notes, the most important first.

    `takes` are all of the case, which tell what was measured already.

    Raises
    ------
    LookupError
        A number in a statement refers to nothing, or to another value: a defect of this program.
    """
    named = {figure.name: figure for figure in figures}
    levels, changes = told_once(
        level_statements(curves, named),
        change_statements(curves, facts),
        curves.level,
        narrow_words(named.get(FigureName.COMPRESSION_NARROW)),
    )
    field = None if responses is None else field_of(responses, facts)
    features = () if responses is None or field is None else _features(responses, field, curves, facts, takes)
    deciding = Deciding() if responses is None else Deciding(Possible.of(responses, facts, takes), responses)
    found = [
        *features,
        *statements(curves, named),
        *levels,
        *changes,
        *impedance_statements(curves, named),
        *long_term_statements(curves, named),
        *tone_statements(curves, named),
        *judge_claims(curves, named, facts, deciding),
        *note_statements(held(notes, curves, field), curves, features),
    ]
    referent = Referent(facts, figures, curves, tuple(found))
    for finding in found:
        for sentence in (finding.statement, finding.explanation, finding.note):
            referent.require(sentence)
    return tuple(sorted(found, key=lambda finding: (-finding.importance, finding.id)))


def field_of(responses: Responses, facts: CaseFacts) -> Directivity:
    """All directions, at the case's drive."""
    return directivity(take_powers(responses, facts.unit.symmetry))


def _features(
    responses: Responses, field: Directivity, curves: CurveSet, facts: CaseFacts, takes: Sequence[Take]
) -> tuple[Finding, ...]:
    heard = gated(responses)
    features = find_features(heard)
    scene = scene_of(heard, speed_of_sound_m_s(facts.rig.temperature_c), facts.unit)
    causes = with_beside(features, causes_in(scene, heard, features), Beside.of(curves, facts, heard))
    possible = Possible.of(responses, facts, takes)
    ask = asking(scene, heard, facts.uncertainty.angle_deg)
    told = with_shapes(merged(features, causes), find_shapes(scene, gate_of(heard)))
    return feature_statements(responses, field, curves, told, possible, ask)


def gated(responses: Responses) -> Responses:
    """Without what lies below twice the gate's reciprocal: there all directions share a near field."""
    gates = responses.gate_s[responses.gate_s > 0.0]
    if not gates.size:
        return responses
    return replace(responses, valid=responses.valid & (responses.frequency_hz >= GATES / gates.min()))
