"""Separated waves below gated responses that share little with them: what is joined, what isn't, and why.

Both are of a point source at the reference point, |p|·r = 1, told in closed form; where they hold is set.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from earwitness.acoustics.separation import Orders, Refusal, Separation
from earwitness.measurement.table import Table
from earwitness.measurement.two_radii import FreeField
from earwitness.measurement.two_radii_joining import Layer, enter_separated
from earwitness.records.grid import derived_grid
from earwitness.records.responses import Origin
from earwitness.records.takes import ON_AXIS, Drive, Take, TakeId, TakeKey, TakeKind

Floats = npt.NDArray[np.float64]

GRID = derived_grid()
SPEED_M_S, AWAY_M = 343.2, 2.0
#: Gated responses begin at the grid's point of 500 Hz.
GATED_HZ = 499.99


def point_source(hz: Floats) -> npt.NDArray[np.complex128]:
    return np.asarray(np.exp(-2j * np.pi * hz * AWAY_M / SPEED_M_S) / AWAY_M)


def separated(up_to_hz: float, off_db: Floats, unsure_db: float) -> FreeField:
    hz = GRID[: int(np.searchsorted(GRID, 1200.0))]
    count, held = hz.size, hz <= up_to_hz
    pressure = (point_source(hz) * 10.0 ** (off_db[:count] / 20.0))[None]
    orders = Orders(np.full(count, 4), np.full(count, 4), np.ones(count, dtype=np.bool_))
    found = Separation(
        wavenumber=2.0 * np.pi * hz / SPEED_M_S,
        centre_m=np.zeros(3),
        orders=orders,
        outgoing=np.zeros((count, 25), dtype=np.complex128),
        condition=np.full(count, 10.0),
        residual=np.full(count, 0.01),
        refusal=np.where(held, Refusal.ACCEPTED, Refusal.RESIDUAL),
        pressure=pressure,
        variance_gain=np.ones((1, count)),
    )
    return FreeField(
        frequency_hz=hz,
        pressure=pressure,
        accepted=held,
        valid=held[None],
        noise_db=np.zeros((1, count)),
        separation_db=np.full((1, count), unsure_db),
        separation=found,
        notes=(),
        takes=(TakeId("surface_1.wav"),),
    )


def joined(octaves: float, off_db: Floats | float = 0.0, unsure_db: float = 0.05) -> Table:
    """A table after separated waves went in, that hold up to so many octaves above the gate's limit."""
    take = Take("on_axis.wav", TakeKey(TakeKind.SWEEP, ON_AXIS, Drive(2.83)))
    table = Table.empty((take,), GRID)
    table.pressure[0] = 1.0
    table.valid[0] = GRID >= GATED_HZ
    table.origin[0] = np.where(table.valid[0], Origin.GATED, Origin.NOTHING)
    field = separated(GATED_HZ * 2.0**octaves, np.broadcast_to(off_db, GRID.shape).astype(float), unsure_db)
    enter_separated(
        table, [0], Layer.of(table, [0]), field, distances_m=np.array([AWAY_M]), speed_m_s=SPEED_M_S
    )
    return table


@pytest.mark.parametrize("octaves", [0.36, 0.45, 0.7, 1.2])
def test_a_third_of_an_octave_that_agrees_is_enough(octaves: float) -> None:
    table = joined(octaves)
    assert table.valid[0].all()
    assert (table.origin[0][GRID < GATED_HZ] == Origin.SEPARATED).all()
    np.testing.assert_allclose(np.abs(table.pressure[0]), 1.0, rtol=1e-5)
    assert not table.notes


@pytest.mark.parametrize(
    ("octaves", "highest", "shared"),
    [
        # on the grid of 96 points an octave, 500 Hz·2^(28/96), 2^(9/96), 2^(−49/96)
        (0.3, "612 Hz", "they share 0.29 octave"),
        (0.1, "534 Hz", "they share 0.09 octave"),
        (-0.5, "351 Hz", "they share nothing"),
    ],
)
def test_less_than_a_third_of_an_octave_is_not_joined_and_why_is_said(
    octaves: float, highest: str, shared: str
) -> None:
    table = joined(octaves)
    assert not table.valid[0][GRID < GATED_HZ].any()
    (note,) = table.notes
    assert note == (
        f"Separated responses hold up to {highest}, gated ones from 500 Hz: {shared}, and a third of "
        "one in one piece is needed, so nothing below 500 Hz is taken from the surfaces; get further away "
        "from what reflects, for a longer gate, or measure at more points, for separation to reach higher."
    )


def test_where_little_is_shared_it_has_to_agree() -> None:
    """1 dB apart where each is known to 0.05 dB: over 0.45 octave that isn't joined, over 0.7 it is noted."""
    narrow = joined(0.45, off_db=1.0)
    assert not narrow.valid[0][GRID < GATED_HZ].any()
    assert narrow.notes == [
        "Separated and gated responses differ by 1.0 dB in the 0.45 octave that they share, so they aren't "
        "joined: look at the surfaces' distances, or get further away from what reflects."
    ]
    wide = joined(0.7, off_db=1.0)
    assert wide.valid[0].all()
    assert "don't agree in level" in wide.notes[0]


def test_what_its_uncertainty_explains_is_no_disagreement() -> None:
    assert joined(0.45, off_db=1.0, unsure_db=0.6).valid[0].all()
    assert not joined(0.45, off_db=1.0, unsure_db=0.4).valid[0].all()
    assert joined(0.45, off_db=0.4).valid[0].all()


def test_a_comb_that_has_no_mean_is_a_disagreement() -> None:
    """±1.5 dB from point to point: the mean is nothing, the root mean square isn't."""
    comb = 1.5 * np.where(np.arange(len(GRID)) % 8 < 4, 1.0, -1.0)
    assert not joined(0.45, off_db=comb).valid[0].all()
