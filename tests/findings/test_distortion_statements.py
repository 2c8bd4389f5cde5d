"""What is said of distortion and clean output, from a polynomial's closed form."""

from __future__ import annotations

import closed_forms
from made_series import series

from earwitness.derive.derivation import derive
from earwitness.findings.find import find
from earwitness.findings.references import Referent
from earwitness.records.facts import CaseFacts, Unit

FACTS = CaseFacts(Unit("Cobble"))


def test_what_is_said_of_distortion() -> None:
    """H2 re H1 is 0.01·A/2·200 Hz/f: 1 % at 8 V from 1131 Hz up; 3 % is passed first at 50 Hz."""
    told = derive(
        closed_forms.responses(closed_forms.omni), FACTS, (series({1: 1.0, 2: 0.01}, corner_hz=200.0),)
    )
    found = {f.id: f for f in find(told.curves, told.figures, FACTS)}
    below, clean = found["figure-distortion_1"], found["figure-clean_output"]
    assert str(below.statement) == ("Total harmonic distortion stays below 1 % from 1.13 kHz up, at 92 dB.")
    # 3 % at 0.06/0.01·50.1/200 of amplitude: 1.06 V and 74.5 dB
    assert str(clean.statement).startswith("It plays 74.5 dB cleanly, where it plays least so, at 50.1 Hz")
    referent = Referent(FACTS, told.figures, told.curves, tuple(found.values()))
    for finding in (below, clean):
        for sentence in (finding.statement, finding.explanation, finding.note):
            referent.require(sentence)
