"""What is said of distortion and clean output, from a polynomial's closed form."""

from __future__ import annotations

import re

import closed_forms
import pytest
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


def said(*coefficients: tuple[int, float]) -> dict[str, str]:
    told = derive(closed_forms.responses(closed_forms.omni), FACTS, (series(dict(coefficients)),))
    return {f.id: f"{f.statement} {f.explanation}" for f in find(told.curves, told.figures, FACTS)}


def test_what_is_said_of_change_with_the_level() -> None:
    """x − a·x³ has changed by 1 dB at ¾·a·A² = 1 − 10^(−1/20): A = 17.05, 12.06 V of 0.1 Pa/V, 95.6 dB.

    The drives are 6 dB apart, and between them a straight line stands for the bend.
    """
    bent = said((1, 1.0), (3, -5e-4))["change-1"]
    told = re.search(
        r"From ([0-9.]+)(?: ± [0-9.]+)? dB up its balance changes by more than 1 dB, first", bent
    )
    assert told is not None, bent
    assert float(told[1]) == pytest.approx(95.6, abs=1.5)
    straight = said((1, 1.0), (2, 1e-6))["figure-compression"]
    # 16 V · 0.1 Pa/V: 98.1 dB
    assert straight.startswith("Up to 98.1 dB no octave changes by more than 1 dB.")


def test_the_exposure_stands_beside_clean_output() -> None:
    """98.06 dB: 8 h/2^((98.06 − 85)/3) = 23.5 min (NIOSH 98-126, chapter 1)."""
    clean = said((1, 1.0), (2, 1e-6))["figure-clean_output"]
    assert clean.startswith("It plays at least 98.1 dB cleanly")
    assert "it played 98 dB at one metre; taken as A-weighted, NIOSH 98-126 allows 23 min a day" in clean
    assert "local law and qualified advice come first" in clean
