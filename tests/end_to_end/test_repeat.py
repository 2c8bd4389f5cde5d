"""A repeat makes the demo surer: through the command line, from a recording with other noise."""

from __future__ import annotations

import dataclasses
import shutil
from pathlib import Path

import numpy as np
import pytest
from user import SCENARIO, earwitness

from earwitness.case.datasets import load_curves
from earwitness.case.documents import from_json
from earwitness.records.curves import Curve, CurveName
from earwitness.records.figures import Figure, FigureName, Quantity, Results
from earwitness.records.uncertainty import ComponentName
from earwitness.virtual.scenario import load

ON_AXIS_TAKE = "horizontal_+000_2.83V.wav"
AGAIN = "horizontal_+000_2.83V_rep2.wav"


@pytest.fixture(scope="module")
def repeated(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo with its take on axis recorded once more, in other noise."""
    folder = tmp_path_factory.mktemp("repeated")
    root = folder / "case"
    shutil.copytree(demo, root)
    session = load(SCENARIO).session
    dataclasses.replace(session, seed=session.seed + 1).record(folder / "again", only=[ON_AXIS_TAKE])
    (folder / "again" / ON_AXIS_TAKE).rename(folder / AGAIN)
    earwitness("add", root, folder / AGAIN, "--yes")
    earwitness("build", root)
    return root


def f6(root: Path) -> Figure:
    results = from_json(Results, (root / "build" / "results.json").read_bytes())
    return next(f for f in results.figures if f.name is FigureName.F6)


def on_axis(root: Path) -> Curve:
    return load_curves(root / "build" / "curves.nc").curves[CurveName.ON_AXIS]


def test_f6_is_surer_with_a_repeat(demo: Path, repeated: Path) -> None:
    before, after = f6(demo), f6(repeated)
    assert before.uncertainty is not None
    assert after.uncertainty is not None
    assert after.uncertainty < before.uncertainty
    was, now = (figure.components[ComponentName.REPEAT] for figure in (before, after))
    assert was is not None
    assert now is not None
    assert now < was
    assert any(str(take).endswith(AGAIN) for take in after.evidence.takes)
    # it is the same loudspeaker, and noise alone is another
    assert isinstance(before.value, Quantity)
    assert isinstance(after.value, Quantity)
    assert after.value.value == pytest.approx(before.value.value, abs=0.01)


def test_a_repeat_helps_where_the_take_itself_is_heard_and_not_below(demo: Path, repeated: Path) -> None:
    """On axis two takes had 1/2 each of the mean; now three have 1/4, 1/4 and 1/2: √(3/8) instead of √(1/2).

    Below the gate's reach all rest on the one near field, which wasn't repeated.
    """
    grid = load_curves(demo / "build" / "curves.nc").frequency_hz
    was, now = (on_axis(root).components_db[ComponentName.REPEAT] for root in (demo, repeated))
    assert was is not None
    assert now is not None
    ratio = now / was
    np.testing.assert_allclose(ratio[grid > 3000.0], np.sqrt(3 / 8) / np.sqrt(1 / 2), rtol=0.01)
    bass = (grid > 40.0) & (grid < 200.0)
    np.testing.assert_allclose(ratio[bass], 1.0, rtol=1e-6)
