"""What is said of what holds a level down: series whose losses are closed forms."""

from __future__ import annotations

from dataclasses import replace

import closed_forms
import numpy as np
import pytest
from made_series import GRID, PA_PER_VOLT, VOLTS, series

from earwitness.acoustics.held_level import clipped_third, knee_loss_db
from earwitness.derive.derivation import Derivation, derive
from earwitness.findings.find import find
from earwitness.findings.level_statements import level_statements
from earwitness.records.distortion import LevelSeries
from earwitness.records.facts import CaseFacts, Unit
from earwitness.records.figures import Figure, FigureName, NotAvailable, Quantity
from earwitness.records.takes import Drive

FACTS = CaseFacts(Unit("Cobble"))
NOISE = (1e-5 * PA_PER_VOLT) ** 2
GAIN_DB = 20.0 * np.log10(VOLTS)


def held(loss_db: np.ndarray, third: float = 1e-4, low_hz: float = 0.0) -> LevelSeries:
    """A flat loudspeaker that loses so much at each drive from a frequency up, with that third harmonic."""
    one = series({1: 1.0}, NOISE, 3)
    kept = np.where(low_hz < GRID, 10.0 ** (-loss_db[:, None] / 20.0), 1.0)
    one.pressure[:, 0] *= kept
    one.pressure[:, 2] = third * one.pressure[:, 0]
    return one


def told(one: LevelSeries) -> tuple[Derivation, dict[FigureName, Figure], dict[str, str]]:
    derived = derive(closed_forms.responses(closed_forms.omni), FACTS, (one,))
    found = {f.id: f"{f.statement} {f.explanation}" for f in find(derived.curves, derived.figures, FACTS)}
    return derived, {figure.name: figure for figure in derived.figures}, found


def test_a_limiter_is_told_by_level_and_drive() -> None:
    """Twelve dB over 1 V are 4 V, which 0.1 Pa/V make 86.02 dB: there is the middle of the knee."""
    _, figures, said = told(held(knee_loss_db(GAIN_DB - 12.04, 4.0, 1.0)))
    threshold = figures[FigureName.LIMITER_THRESHOLD]
    assert isinstance(threshold.value, Quantity)
    assert threshold.also["95 % from, dB"] <= 86.02 <= threshold.also["95 % to, dB"]
    assert threshold.also["95 % from, drive, V"] <= 4.0 <= threshold.also["95 % to, drive, V"]
    assert threshold.uncertainty is not None
    assert 0.05 < threshold.uncertainty < 2.0
    taken = figures[FigureName.HELD_LEVEL]
    assert isinstance(taken.value, Quantity)
    assert taken.value.value == pytest.approx(12.04, abs=0.1)
    assert taken.reading == "limiter"
    statement = said["figure-held_level"]
    assert statement.startswith("A limiter holds its level from ")
    assert "alike over all that was looked at, 316 Hz to" in statement
    assert "at 16 V it takes 12.0 dB" in statement
    assert "local law and qualified advice come first" in statement


def test_a_limiter_of_the_treble_alone() -> None:
    _, figures, said = told(held(knee_loss_db(GAIN_DB - 14.0, 2.0, 1.0), low_hz=2000.0))
    assert "and not beyond" in said["figure-held_level"]
    path = figures[FigureName.HELD_LEVEL].also["path from, Hz"]
    assert path == pytest.approx(2000.0, rel=0.7)


def test_clipping_and_heat_are_told_as_what_they_are() -> None:
    loss = np.array([0.0, 0.0, 0.0, 0.4, 5.0])
    _, figures, said = told(held(loss, float(clipped_third(5.0))))
    assert said["figure-held_level"].startswith("An amplifier clips: at 16 V it takes 5.0 dB")
    absent = figures[FigureName.LIMITER_THRESHOLD].value
    assert isinstance(absent, NotAvailable)
    assert "clips" in absent.reason
    # an impedance that rises from one way to the next: half of the loss from 2 kHz up
    share = np.where(GRID < 2000.0, 1.0, 0.5)
    warm = 20.0 * np.log10(1.0 + 0.3 * np.multiply.outer((np.array(VOLTS) / 16.0) ** 2, share))
    one = held(np.zeros(5))
    one.pressure[:, 0] *= 10.0 ** (-warm / 20.0)
    _, _, said = told(one)
    # 20 lg 1.3 = 2.28 dB, but for what the lowest drive has of it
    assert said["figure-held_level"].startswith(
        "Within a sweep at 16 V the heat of its coils takes up to 2.3 dB"
    )


def test_what_cannot_be_told_is_said() -> None:
    loss = np.array([0.0, 0.0, 0.0, 0.4, 5.0])
    _, figures, said = told(held(loss, 0.3 * float(clipped_third(5.0))))
    assert "figure-held_level" not in said
    assert "can’t be told apart" in " ".join(said.values())
    assert not figures[FigureName.HELD_LEVEL].available
    _, figures, said = told(held(np.zeros(5)))
    assert "figure-held_level" not in said
    assert figures[FigureName.LIMITER_THRESHOLD].also["probability of a limiter or clipping"] < 0.05


def test_drives_in_dbu_are_told_in_dbu() -> None:
    one = held(knee_loss_db(GAIN_DB - 12.0, 4.0, 1.0))
    levels = tuple(Drive(-20.0 + float(gain), "dBu") for gain in GAIN_DB)
    active = CaseFacts(Unit("Cobble", active=True))
    responses = closed_forms.responses(closed_forms.omni, drive=Drive(-20.0, "dBu"))
    derived = derive(responses, active, (replace(one, drives=levels),))
    figures = {figure.name: figure for figure in derived.figures}
    assert figures[FigureName.LIMITER_THRESHOLD].also["drive, dBu"] == pytest.approx(-8.0, abs=1.0)
    found = {f.id: str(f.statement) for f in find(derived.curves, derived.figures, active)}
    assert "dBu) up" in found["figure-held_level"]


def test_narrow_change_is_told_beside_broad() -> None:
    """A cubic in a band of a sixth of an octave about 1 kHz alone: an octave hardly changes."""
    bent = series({1: 1.0, 3: -5e-4})
    flat = series({1: 1.0})
    inside = np.abs(np.log2(GRID / 1000.0)) < 1.0 / 10.0
    flat.pressure[:, 0, inside] = bent.pressure[:, 0, inside]
    derived, figures, _ = told(flat)
    said = {f.id: str(f.explanation) for f in level_statements(derived.curves, figures)}
    narrow, broad = figures[FigureName.COMPRESSION_NARROW], figures[FigureName.COMPRESSION]
    assert isinstance(narrow.value, Quantity)
    assert narrow.value.value == pytest.approx(95.6, abs=0.2)
    # ¾·a·A² = 1 − 10^(−1/20) of the lowest: A = 17.08, 12.08 V
    assert narrow.also["drive, V"] == pytest.approx(12.08, rel=0.02)
    assert narrow.also["frequency"] == pytest.approx(1000.0, rel=0.06)
    assert narrow.also["0.5 dB, drive, V"] < narrow.also["drive, V"]
    assert abs(broad.also["greatest change at the highest drive, dB"]) < 0.5
    assert "A sixth of an octave does so from 95." in said["figure-compression"]
    assert "(12 V) up, first about" in said["figure-compression"]
