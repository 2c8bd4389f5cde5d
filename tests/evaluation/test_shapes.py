"""What a true shelf is: a step by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from evaluation.shapes import judged as shape_judged
from evaluation.shapes import rise_db, true_db

from earwitness.records.features import Feature, FeaturePlace
from earwitness.records.takes import ON_AXIS
from earwitness.virtual.standard_curves import DIRECTIONS

FREQUENCY = np.geomspace(500.0, 16_000.0, 481)


def made(cause: str, height_db: float, corner_hz: float = 2000.0) -> SimpleNamespace:
    effect = np.tile(np.where(corner_hz <= FREQUENCY, height_db, 0.0), (len(DIRECTIONS), 1))
    return SimpleNamespace(
        frequency_hz=FREQUENCY, mechanisms=[SimpleNamespace(name="it", cause=cause, effect_db=effect)]
    )


def told(gain_db: float, corner_hz: float = 2000.0) -> Feature:
    place = FeaturePlace(ON_AXIS, corner_hz, gain_db, 1.0, 10.0, 0.3, gain_db)
    return Feature("shelf", corner_hz, 10.0, gain_db, 0.3, None, None, (place,), (500.0, 16_000.0))


def test_a_step_rises_by_itself() -> None:
    case = made("voicing", 3.0)
    assert rise_db(case, case.mechanisms[0].effect_db[0], 2000.0, 1.0) == pytest.approx(3.0)  # type: ignore[arg-type]
    assert true_db(case) == pytest.approx(3.0)  # type: ignore[arg-type]
    assert true_db(made("resonance", 3.0)) == 0.0  # type: ignore[arg-type]


def test_right_wrong_and_a_false_alarm() -> None:
    case = made("voicing", 3.0)
    assert shape_judged(case, told(2.0)) == (True, True)  # type: ignore[arg-type]
    assert shape_judged(case, told(-2.0)) == (False, False)  # type: ignore[arg-type]
    # another mechanism's shelf is there, and isn't this cause's
    assert shape_judged(made("resonance", 3.0), told(2.0)) == (False, True)  # type: ignore[arg-type]
