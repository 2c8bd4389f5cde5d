"""All findings of a case, in their printed order."""

from __future__ import annotations

from earwitness.findings.claims import judge_claims
from earwitness.findings.impedance_statements import impedance_statements
from earwitness.findings.level_statements import level_statements
from earwitness.findings.long_term_statements import long_term_statements
from earwitness.findings.references import Referent
from earwitness.findings.statements import statements
from earwitness.records.curves import CurveSet
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Figure
from earwitness.records.findings import Finding


def find(curves: CurveSet, figures: tuple[Figure, ...], facts: CaseFacts) -> tuple[Finding, ...]:
    """Findings on figures and claims, the most important first, then by id.

    Raises
    ------
    LookupError
        A number in a statement refers to nothing, or to another value: a defect of this program.
    """
    named = {figure.name: figure for figure in figures}
    found = [
        *statements(curves, named),
        *level_statements(curves, named),
        *impedance_statements(curves, named),
        *long_term_statements(curves, named),
        *judge_claims(curves, named, facts),
    ]
    referent = Referent(facts, figures, curves, tuple(found))
    for finding in found:
        for sentence in (finding.statement, finding.explanation, finding.note):
            referent.require(sentence)
    return tuple(sorted(found, key=lambda finding: (-finding.importance, finding.id)))
