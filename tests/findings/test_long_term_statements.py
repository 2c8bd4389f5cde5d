"""Statements on a load that lasts and on self-noise: every number goes back to its figure."""

from __future__ import annotations

from dataclasses import replace

import pytest
import specimen

from earwitness.derive.long_term_figures import long_term_figures
from earwitness.findings.long_term_statements import long_term_statements
from earwitness.findings.references import Referent
from earwitness.publication.rows import row
from earwitness.records.facts import CaseFacts, Unit
from earwitness.records.figures import FigureName, NotAvailable, Quantity
from earwitness.records.findings import Finding
from earwitness.records.long_term import (
    CauseVerdict,
    CauseWeighed,
    Endurance,
    LoadCause,
    LongTerm,
    SelfNoise,
    TimeConstantFound,
    WarmCoil,
)
from earwitness.records.takes import Drive, TakeId

RUN = Endurance(
    take=TakeId("endurance_12V.wav"),
    drive=Drive(12.0),
    load_s=120.0,
    rest_s=125.0,
    level_db=98.0,
    hours=0.4,
    octaves_hz=(125.0, 250.0, 500.0),
    change_db=(-1.1, -2.4, -1.9),
    lasting_db=(-0.6, -0.9, -0.5),
    uncertainty_db=(0.02, 0.02, 0.02),
    causes=(
        CauseWeighed(LoadCause.HEAT, 1.0, 1.2, CauseVerdict.ACTS),
        CauseWeighed(LoadCause.LIMITER, 1.0, 1.2, CauseVerdict.ACTS),
        CauseWeighed(LoadCause.MOTION, 0.0, 0.0, CauseVerdict.NOT_SEEN),
    ),
    coils=(
        WarmCoil(
            (250.0,), 1.2, TimeConstantFound(4.0, 3.6, 4.4, 0.8), TimeConstantFound(900.0, 100.0, 8000.0, 0.2)
        ),
    ),
)
NOISE = SelfNoise((TakeId("self_noise.wav"),), 0.5, 22.0, False, 0.2, 15.0, (1000.0,), (20.0,))


def told(run: Endurance | None, noise: SelfNoise | None) -> tuple[str, dict[FigureName, object]]:
    """All that is said, its numbers checked against their references, and the figures' values."""
    figures = long_term_figures(LongTerm(run, noise))
    curves = specimen.curve_set()
    found: tuple[Finding, ...] = long_term_statements(curves, {one.name: one for one in figures})
    referent = Referent(CaseFacts(unit=Unit(name="Specimen")), figures, curves, found)
    for one in found:
        for sentence in (one.statement, one.explanation, one.note):
            referent.require(sentence)
    for figure in figures:
        row(figure)
    text = " ".join(f"{one.statement!s} {one.explanation!s}" for one in found)
    return text, {one.name: one.value for one in figures}


def test_a_limiter_and_heat_are_told_with_their_numbers_and_the_caution() -> None:
    text, values = told(RUN, None)
    assert "After 120 s of load its level has fallen by 2.4 dB about 250 Hz" in text
    assert "A limiter makes 1.2 dB of it" in text
    assert "time constant of 4.0 ± 0.2 s" in text
    assert "98 dB at one metre, where NIOSH 98-126 allows 24 min a day" in text
    assert "leave the room or wear protection" in text
    assert values[FigureName.COIL_TIME] == Quantity(4.0)
    # an interval from 100 to 8000 s determines nothing
    assert isinstance(values[FigureName.MAGNET_TIME], NotAvailable)


def test_what_cannot_be_told_is_said() -> None:
    unsure = tuple(replace(one, verdict=CauseVerdict.CANNOT_TELL) for one in RUN.causes)
    text, values = told(replace(RUN, causes=unsure, level_db=None), None)
    assert "can't be told" in text.replace("’", "'")
    assert "at one metre" not in text
    assert isinstance(values[FigureName.LIMITING], NotAvailable)
    assert isinstance(values[FigureName.COIL_TIME], NotAvailable)


@pytest.mark.parametrize("bound", [False, True])
def test_self_noise_is_told_at_its_distance(bound: bool) -> None:
    text, _ = told(None, replace(NOISE, is_bound=bound))
    assert ("at most 22.0 dB" in text) is bound
    assert "0.5 m" in text
