"""The splice of made-up near and far fields that agree, or don't."""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.noise import level_uncertainty_db
from earwitness.acoustics.splice import crossfade_weight
from earwitness.measurement.boxes import placed_box
from earwitness.measurement.calibration import Calibration
from earwitness.measurement.carrying import PlacedCabinet, PlacedSphere, carried, model_uncertainty_db
from earwitness.measurement.cut_off import cut_off_db
from earwitness.measurement.gated import Gated
from earwitness.measurement.joining import Joined, best_overlap, common, join
from earwitness.measurement.near_field import NearField
from earwitness.measurement.setting import Setting
from earwitness.records.facts import Box, Radiator
from earwitness.records.grid import derived_grid
from earwitness.records.responses import Origin
from earwitness.records.takes import TakeId

GRID = derived_grid()
SETTING = Setting(GRID, 343.2, Calibration(1.0, None, None, ()))
RADIUS = 0.15
MICROPHONES = np.array([[2.0, 0.0, 0.0], [-0.1, 2.0, 0.0]])
PLAIN = PlacedSphere(RADIUS, MICROPHONES)
FAR_NOISE_DB = 0.2
NEAR = NearField(
    takes=(TakeId("woofer"),),
    radiators=(Radiator("woofer", 0.105),),
    pressure=np.ones((1, GRID.size), dtype=np.complex128),
    noise_power=np.full((1, GRID.size), 1e-4),
    valid=GRID <= 1_000.0,
    gap_m=np.array([0.005]),
    notes=(),
)
WITHIN = common(NEAR, GRID, 500.0)
OVER = WITHIN
GATE_S = 4e-3


def joined(
    ratio_db: npt.NDArray[np.float64],
    cabinet: PlacedCabinet = PLAIN,
    pressure: npt.NDArray[np.complex128] | None = None,
    *,
    near: NearField = NEAR,
    noise_db: float = FAR_NOISE_DB,
) -> Joined:
    """Near field joined with a far field that is higher by `ratio_db` (F,) in every direction."""
    over = common(near, GRID, 500.0)
    assert over is not None
    if pressure is None:
        pressure, _ = carried(NEAR, PLAIN, GRID, SETTING.speed_m_s)
    gated = Gated(
        pressure=(pressure * 10.0 ** (ratio_db / 20.0)).astype(np.complex64),
        valid=np.broadcast_to(GRID >= 500.0, pressure.shape),
        noise_db=np.full(pressure.shape, noise_db),
        gate_db=np.zeros(pressure.shape),
        impulse_response=np.zeros((len(pressure), 1), dtype=np.float32),
        gate_s=GATE_S,
    )
    return join(near, gated, over, cabinet, SETTING)


def test_what_agrees_is_joined_without_a_word() -> None:
    found = joined(np.zeros(GRID.size))
    assert found.notes == ()
    assert found.valid.sum(axis=-1).tolist() == [GRID.size] * 2
    # complex64 holds a level to 10⁻⁶ dB
    assert np.max(found.splice_db) < 1e-5


@pytest.mark.parametrize("depth_db", [3.0, 6.0])
def test_a_comb_is_pointed_out_although_its_mean_is_nothing(depth_db: float) -> None:
    assert OVER is not None
    comb = depth_db * np.sin(2.0 * np.pi * 6.0 * np.log2(GRID / GRID[OVER.start]))
    assert abs(np.mean(comb[OVER])) < 0.05
    found = joined(comb)
    assert any("don't agree" in note for note in found.notes)
    # a sine's root mean square is its depth over √2; noise and gate explain a part of its square
    gate_db = cut_off_db(GRID, GATE_S, None)
    explained = FAR_NOISE_DB**2 + np.mean(gate_db[OVER] ** 2)
    assert explained < 0.1
    assert found.splice_db[:, 0] == pytest.approx([np.sqrt(depth_db**2 / 2.0 - explained)] * 2, rel=0.01)


def test_a_mismatch_that_noise_explains_still_leaves_the_error_of_its_mean() -> None:
    assert OVER is not None
    found = joined(np.where(GRID < 700.0, FAR_NOISE_DB, -FAR_NOISE_DB))
    # an octave of 500 Hz and a gate of 4 ms: two independent values
    assert found.splice_db[:, 0] == pytest.approx([FAR_NOISE_DB / np.sqrt(2.0)] * 2, rel=0.01)


def test_the_octave_is_the_one_in_which_they_agree() -> None:
    within = common(dataclasses.replace(NEAR, valid=GRID <= 3_000.0), GRID, 500.0)
    assert within is not None
    assert GRID[[within.start, within.stop - 1]] == pytest.approx([500.0, 2_000.0], rel=0.0073)
    for low_hz in (500.0, 700.0, 990.0):
        agrees = (low_hz * 0.97 < GRID) & (low_hz * 2.06 > GRID)
        differ = np.where(agrees, 0.1, 1.0) * np.ones((2, 1))
        over = best_overlap(differ, within, np.ones(differ.shape))
        assert GRID[over.start] == pytest.approx(low_hz, rel=0.04)
        assert GRID[over.stop - 1] == pytest.approx(2.0 * GRID[over.start], rel=1e-9)


@pytest.mark.parametrize(
    ("explained_db", "begins_hz"), [(0.1, 500.0), (1.4, 500.0), (1.6, 700.0), (100.0, 700.0)]
)
def test_what_near_and_far_contradict_each_other_in_is_not_passed_over(
    explained_db: float, begins_hz: float
) -> None:
    """A wall behind a tall box: 3 dB apart up to 700 Hz, alike above; twice the uncertainty is explained."""
    within = common(dataclasses.replace(NEAR, valid=GRID <= 3_000.0), GRID, 500.0)
    assert within is not None
    difference = np.where(GRID < 700.0, 3.0, 0.0) * np.ones((2, 1))
    over = best_overlap(difference, within, np.full(difference.shape, explained_db))
    assert GRID[over.start] == pytest.approx(begins_hz, rel=0.06)


def test_what_agrees_below_is_passed_over() -> None:
    """3 dB apart between 900 and 1100 Hz alone: the octave may begin up to there, and no higher."""
    within = common(dataclasses.replace(NEAR, valid=GRID <= 3_000.0), GRID, 500.0)
    assert within is not None
    apart = (GRID > 900.0) & (GRID < 1_100.0)
    difference = np.where(apart, 3.0, np.where(GRID < 600.0, 0.4, 0.0)) * np.ones((2, 1))
    over = best_overlap(difference, within, np.full(difference.shape, 0.2))
    assert GRID[over.start] <= 900.0


def test_a_join_weighs_gate_and_noise_of_both() -> None:
    """The same bump below 620 Hz: passed over where the gated response's noise explains it, and else not."""
    bump = np.where(GRID < 620.0, 2.0, 0.0)
    wide = dataclasses.replace(NEAR, valid=GRID <= 3_000.0)
    plain, noisy = joined(bump, near=wide), joined(bump, near=wide, noise_db=1.5)
    assert plain.over_hz[0] == pytest.approx(500.0, rel=0.0073)
    assert noisy.over_hz[0] == pytest.approx(620.0, rel=0.07)


def test_a_near_field_keeps_its_level_and_the_mismatch_is_told() -> None:
    found, plain = joined(np.full(GRID.size, 0.7)), joined(np.zeros(GRID.size))
    assert found.mismatch_db == pytest.approx([0.7, 0.7], abs=1e-5)
    assert found.over_hz == pytest.approx((500.0, 1_000.0), rel=0.0073)
    below = GRID < 490.0
    assert np.abs(found.pressure[:, below]) == pytest.approx(np.abs(plain.pressure[:, below]), rel=1e-5)


def test_noise_of_the_blend_is_the_root_of_both_shares_squared() -> None:
    assert OVER is not None
    found = joined(np.zeros(GRID.size))
    low, low_noise = carried(NEAR, PLAIN, GRID, SETTING.speed_m_s)
    near_db = level_uncertainty_db(np.abs(low) ** 2, low_noise)
    blended = found.origin == Origin.BLENDED
    assert np.all(found.origin[:, : OVER.start] == Origin.NEAR_FIELD)
    assert np.all(found.origin[:, OVER.stop :] == Origin.GATED)
    weight = np.broadcast_to(crossfade_weight(GRID, GRID[OVER.start], GRID[OVER.stop - 1]), blended.shape)
    expected = np.sqrt(((1.0 - weight) * near_db) ** 2 + (weight * FAR_NOISE_DB) ** 2)
    assert found.noise_db == pytest.approx(expected, rel=1e-9)
    # below the blend the near field's noise is that of one recording, alike in every direction
    assert found.noise_db[0, : OVER.start] == pytest.approx(found.noise_db[1, : OVER.start], rel=1e-9)


def test_the_splice_of_a_box_holds_what_its_model_may_be_wrong_by() -> None:
    assert OVER is not None
    described = Box(0.25, 0.35, 0.3, reference_up_m=0.0, edge_m=0.04)
    highest = 2.0 * np.pi * float(GRID[OVER.stop - 1]) / SETTING.speed_m_s
    box = placed_box(described, NEAR.radiators, NEAR, MICROPHONES, highest)
    pressure, _ = carried(NEAR, box, GRID[: OVER.stop], SETTING.speed_m_s)
    found = joined(
        np.zeros(GRID.size), box, np.pad(pressure, ((0, 0), (0, GRID.size - OVER.stop)), constant_values=1.0)
    )
    model = model_uncertainty_db(NEAR, box, GRID[: OVER.stop], SETTING.speed_m_s)[:, : OVER.start]
    assert found.splice_db[:, : OVER.start] == pytest.approx(model, abs=1e-5)
    assert found.splice_db[:, : OVER.start].min() > 0.0
    assert not found.splice_db[:, OVER.stop :].any()
