"""The budget on axis, drawn from curves whose parts are known."""

from __future__ import annotations

import closed_forms
import numpy as np
import pytest

from earwitness.derive.derivation import Derivation, derive
from earwitness.exhibits.budget import budget
from earwitness.exhibits.description import Line
from earwitness.findings.references import Referent
from earwitness.records.facts import CaseFacts, StatedUncertainty, Unit
from earwitness.records.uncertainty import ComponentName as N


def derived(components: dict[N, float] | None = None, **stated: float) -> Derivation:
    facts = CaseFacts(Unit("Cobble"), uncertainty=StatedUncertainty(**stated))
    return derive(closed_forms.responses(closed_forms.omni, components=components), facts)


def lines(derivation: Derivation) -> dict[str, Line]:
    exhibit = budget(derivation.curves)
    assert exhibit is not None
    assert len(exhibit.panels) == 1
    return {line.label: line for line in exhibit.panels[0].lines}


def test_each_part_has_its_size_and_the_total_is_theirs() -> None:
    """Gate 0.4 dB, shared by both takes; microphone 0.3 dB: 0.5 dB together."""
    shown = lines(derived({N.GATE: 0.4}, microphone_db=0.3))
    assert list(shown) == ["total", "gate", "microphone"]
    for label, expected in (("gate", 0.4), ("microphone", 0.3), ("total", 0.5)):
        np.testing.assert_allclose(shown[label].y, expected, rtol=2e-3)


def test_bands_are_thirds_of_an_octave_and_root_mean_squares() -> None:
    derivation = derived({N.GATE: 0.1})
    gate = derivation.curves.curves
    on_axis = next(c for n, c in gate.items() if n == "on_axis")
    part = on_axis.components_db[N.GATE]
    assert part is not None
    octaves = np.log2(closed_forms.GRID / 1000.0)
    part[:] = np.where(octaves < 0.0, 0.1, 0.7)
    line = lines(derivation)["gate"]
    np.testing.assert_allclose(np.diff(np.log2(line.x)), 1.0 / 3.0)
    at = {round(float(x)): float(y) for x, y in zip(line.x, line.y, strict=True)}
    assert at[794] == pytest.approx(0.1)
    assert at[1260] == pytest.approx(0.7)
    # of the 32 points about 1 kHz fifteen lie below
    assert at[1000] == pytest.approx(np.sqrt((15 * 0.1**2 + 17 * 0.7**2) / 32.0))


def test_small_parts_share_a_line() -> None:
    stated = {N.GATE: 0.002, N.SPLICE: 0.0015, N.NOISE: 0.0}
    shown = lines(derived(stated, microphone_db=0.3))
    assert list(shown) == ["total", "microphone", "all others"]
    np.testing.assert_allclose(shown["all others"].y, 0.0025, rtol=1e-3)


def test_what_is_not_known_is_said() -> None:
    known = {N.GATE: 0.1, N.NOISE: 0.1, N.SPLICE: 0.1}
    exhibit = budget(derived(known, level_db=0.2, microphone_db=0.2, angle_deg=1.0).curves)
    assert exhibit is not None
    for told in (str(exhibit.caption), str(exhibit.alt)):
        assert told.endswith("Neither stated nor found in the data: repeat, temperature.")
    known_all = budget(
        derived(
            known, level_db=0.2, microphone_db=0.2, angle_deg=1.0, repeat_db=0.1, temperature_k=1.0
        ).curves
    )
    assert known_all is not None
    assert "Neither stated" not in str(known_all.caption)


def test_the_numbers_in_words_are_those_of_the_curve() -> None:
    derivation = derived({N.GATE: 0.4}, microphone_db=0.3)
    exhibit = budget(derivation.curves)
    assert exhibit is not None
    assert "total: 0.50 dB at 100 Hz" in str(exhibit.alt)
    assert "microphone: 0.30 dB at 100 Hz, 0.30 dB at 1 kHz, 0.30 dB at 10 kHz" in str(exhibit.alt)
    facts = CaseFacts(Unit("Cobble"))
    Referent(facts, derivation.figures, derivation.curves).require(exhibit.alt)


def test_nothing_known_is_no_exhibit() -> None:
    assert budget(derived().curves) is None
