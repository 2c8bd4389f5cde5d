"""Our own responses.nc as a raw file: what a build wrote is what another case reads."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from closed_forms import cardioid, responses

from earwitness.case.datasets import save_responses
from earwitness.measurement.expansion import expanded
from earwitness.measurement.readers.contents import LevelUnit, Source
from earwitness.measurement.readers.netcdf import READER
from earwitness.measurement.reduction import reduce
from earwitness.records.facts import CaseFacts, Rig, Unit
from earwitness.records.responses import Responses
from earwitness.records.takes import EVERY_PART, Drive, Take, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName

WHOLE = Take("other/responses.nc", TakeKey(TakeKind.RESPONSE), EVERY_PART)


def again(tmp_path: Path, made: Responses, rig: Rig | None = None) -> Responses:
    """The responses of a case whose only raw file is another case's responses.nc."""
    (tmp_path / "other").mkdir()
    save_responses(tmp_path / WHOLE.path, made)
    takes = expanded([WHOLE], tmp_path)
    return reduce(CaseFacts(Unit("x"), rig=rig or Rig()), takes, {}, tmp_path)


def in_order(found: Responses, made: Responses) -> list[int]:
    """Rows of `found` in the order of `made`."""
    rows = {(t.key.direction, t.key.drive, t.key.repeat): i for i, t in enumerate(found.takes)}
    return [rows[t.key.direction, t.key.drive, t.key.repeat] for t in made.takes]


@pytest.fixture
def made() -> Responses:
    """Phase that bends, an axis of rotation elsewhere, a hole, a bottom and a top that aren't valid."""
    plain = responses(cardioid)
    hz = plain.frequency_hz
    bend = np.exp(1j * (np.sin(3.0 * np.log(hz)) + 0.3 * np.arange(len(plain.takes))[:, None]))
    valid = plain.valid.copy()
    valid[:, hz < 100.0] = False
    valid[3, hz > 12_000.0] = False
    valid[5, (hz > 1_000.0) & (hz < 1_100.0)] = False
    return replace(
        plain,
        pressure=np.where(valid, plain.pressure * bend + 1e-4, np.nan).astype(np.complex64),
        valid=valid,
        seen_angle_deg=plain.seen_angle_deg * 1.05,
    )


def test_every_row_comes_back(made: Responses, tmp_path: Path) -> None:
    # a rig that stood two metres off and turned about another point has nothing to do with them
    found = again(tmp_path, made, Rig(distance_m=2.0, rotation_behind_m=0.2, gate_s=0.002))
    rows = in_order(found, made)
    assert len(found.takes) == len(made.takes) == 72
    assert np.array_equal(found.valid[rows], made.valid)
    error = (found.pressure[rows] - made.pressure)[made.valid]
    assert np.abs(error).max() < 1e-6 * np.abs(made.pressure[made.valid]).max()
    assert found.seen_angle_deg[rows] == pytest.approx(made.seen_angle_deg)
    assert found.has_phase.all()


def test_both_orbits_keep_where_they_meet(made: Responses, tmp_path: Path) -> None:
    found = again(tmp_path, made)
    on_axis = [t.key.direction for t in found.takes if t.key.direction and t.key.direction.angle_deg == 0.0]
    assert sorted(str(d.orbit) for d in on_axis) == ["horizontal", "vertical"]


def test_no_phase_stays_none(made: Responses, tmp_path: Path) -> None:
    without = replace(
        made,
        pressure=np.abs(made.pressure).astype(np.complex64),
        has_phase=np.zeros(len(made.takes), dtype=np.bool_),
    )
    found = again(tmp_path, without)
    assert not found.has_phase.any()
    size = np.abs(found.pressure[in_order(found, made)])[made.valid]
    assert size == pytest.approx(np.abs(made.pressure)[made.valid], rel=1e-5)


def test_drives_and_repeats(made: Responses, tmp_path: Path) -> None:
    keys = [
        TakeKey(TakeKind.SWEEP, t.key.direction, Drive(-20.0, "dBFS"), repeat=1 + i % 2)
        for i, t in enumerate(made.takes)
    ]
    turned = replace(made, takes=tuple(replace(t, key=k) for t, k in zip(made.takes, keys, strict=True)))
    found = again(tmp_path, turned)
    rows = in_order(found, turned)
    assert {t.key.kind for t in found.takes} == {TakeKind.RESPONSE}
    size = np.abs(found.pressure[rows])[made.valid]
    assert size == pytest.approx(np.abs(made.pressure)[made.valid], rel=1e-5)


def test_interpolated_directions_keep_their_uncertainty(made: Responses, tmp_path: Path) -> None:
    spread = np.zeros(made.valid.shape)
    spread[8] = np.linspace(0.1, 2.0, made.frequency_hz.size)
    spread[~made.valid] = np.nan
    with_it = replace(made, components={ComponentName.INTERPOLATION: spread})
    found = again(tmp_path, with_it)
    read = found.components[ComponentName.INTERPOLATION][in_order(found, made)]
    assert read[made.valid] == pytest.approx(spread[made.valid], abs=1e-9)
    assert np.isnan(read[~made.valid]).all()


def test_what_it_says_of_its_level(made: Responses, tmp_path: Path) -> None:
    save_responses(tmp_path / "responses.nc", made)
    source = Source(tmp_path / "responses.nc", "responses.nc")
    contents = READER.look(source)
    assert contents.remark == "72 responses of a case, at 1 m"
    (response,) = READER.read(source, ["vertical +30 at 2.83 V"])
    assert response.unit is LevelUnit.PASCAL_PER_DRIVE
    assert response.frequency_hz[0] > 100.0
