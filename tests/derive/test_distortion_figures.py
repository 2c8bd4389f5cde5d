"""Figures of distortion and output, against closed forms of a polynomial through falling harmonics."""

from __future__ import annotations

from dataclasses import replace

import closed_forms
import numpy as np
import pytest
from made_series import PA_PER_VOLT, VOLTS, series

from earwitness.derive.derivation import derive
from earwitness.derive.distortion_figures import NAMES, distortion_figures
from earwitness.findings.references import Referent
from earwitness.publication.rows import row
from earwitness.records.facts import CaseFacts, Unit
from earwitness.records.figures import Bound, Figure, FigureName, NotAvailable, Quantity
from earwitness.records.uncertainty import ComponentName

A = 0.01


def by_name(figures: tuple[Figure, ...]) -> dict[FigureName, Figure]:
    return {figure.name: figure for figure in figures}


@pytest.fixture(scope="module")
def falling() -> dict[FigureName, Figure]:
    """H2 re H1 is a·A/2 at 200 Hz and falls as 1/f; at 8 V the level is 92.04 dB, at 4 V 86.02 dB."""
    return by_name(distortion_figures((series({1: 1.0, 2: A}, corner_hz=200.0),)))


def test_distortion_stays_below_from_where_it_does(falling: dict[FigureName, Figure]) -> None:
    volts = 8.0
    level = 20.0 * np.log10(volts * PA_PER_VOLT / 20e-6)
    assert level == pytest.approx(92.04, abs=0.01)
    for name, limit in zip(NAMES, (0.003, 0.01, 0.03, 0.1), strict=True):
        figure = falling[name]
        assert isinstance(figure.value, Quantity)
        expected_hz = 200.0 * A * volts * np.sqrt(2.0) / 2.0 / limit
        assert figure.value.value == pytest.approx(expected_hz, rel=0.005)
        assert figure.also["level at one metre, dB"] == pytest.approx(level, abs=0.01)
        assert figure.evidence.takes == tuple(f"{v:g}V.wav" for v in VOLTS)
    assert falling[FigureName.DISTORTION_1].also["at 86 dB"] == pytest.approx(
        200.0 * A * 4.0 * np.sqrt(2.0) / 2.0 / 0.01, rel=0.005
    )


def test_a_limit_that_is_never_passed_and_one_that_always_is() -> None:
    clean = by_name(distortion_figures((series({1: 1.0, 2: 1e-6}),)))
    below, output = clean[FigureName.DISTORTION_1].value, clean[FigureName.CLEAN_OUTPUT].value
    assert isinstance(below, Bound)
    assert below.sense == "at most"
    assert isinstance(clean[FigureName.COMPRESSION].value, Bound)
    assert isinstance(output, Bound)
    assert output.sense == "at least"
    assert output.value == pytest.approx(98.06, abs=0.01)
    dirty = by_name(distortion_figures((series({1: 1.0, 2: 0.3}),)))
    assert isinstance(dirty[FigureName.DISTORTION_1].value, NotAvailable)


def test_noise_that_hides_the_limit_says_so() -> None:
    noisy = by_name(distortion_figures((series({1: 1.0, 2: 1e-6}, (0.02 * PA_PER_VOLT) ** 2, 3),)))
    value = noisy[FigureName.DISTORTION_0_3].value
    assert isinstance(value, NotAvailable)
    assert "noise" in value.reason


def test_compression_by_level() -> None:
    """x − a·x³ has its fundamental at A·(1 − ¾·a·A²): the level at which that is off is a closed form.

    Drives 6 dB apart meet it within a tenth of a decibel.
    """
    a = 5e-4
    found = by_name(distortion_figures((series({1: 1.0, 3: -a}),)))[FigureName.COMPRESSION]
    lowest = 1.0 - 0.75 * a * 2.0 * VOLTS[0] ** 2

    def passed_db(limit_db: float) -> float:
        squared = (1.0 - lowest * 10.0 ** (-limit_db / 20.0)) / (0.75 * a)
        return float(20.0 * np.log10(lowest * PA_PER_VOLT * np.sqrt(0.5 * squared) / 20e-6))

    assert isinstance(found.value, Quantity)
    assert found.value.value == pytest.approx(passed_db(1.0), abs=0.1)
    assert found.also["0.5 dB"] == pytest.approx(passed_db(0.5), abs=0.1)
    between = found.components[ComponentName.INTERPOLATION]
    assert between is not None
    assert 0.0 < between < 0.1


def test_one_drive_gives_none() -> None:
    one = series({1: 1.0, 2: A})
    single = replace(
        one,
        takes=one.takes[:1],
        drives=one.drives[:1],
        pressure=one.pressure[:1],
        noise_power=one.noise_power[:1],
        valid=one.valid[:1],
    )
    assert distortion_figures((single,)) == ()


def test_every_number_in_words_is_what_it_refers_to(falling: dict[FigureName, Figure]) -> None:
    derived = derive(
        closed_forms.responses(closed_forms.omni),
        CaseFacts(Unit("Cobble")),
        (series({1: 1.0, 2: A}, corner_hz=200.0),),
    )
    referent = Referent(CaseFacts(Unit("Cobble")), derived.figures, derived.curves)
    told = by_name(derived.figures)
    for name in (*NAMES, FigureName.COMPRESSION, FigureName.CLEAN_OUTPUT):
        assert told[name].value == falling[name].value
        line = row(told[name])
        referent.require(line.value + line.conditions)
    assert "92 dB" in str(row(told[FigureName.DISTORTION_1]).conditions)
