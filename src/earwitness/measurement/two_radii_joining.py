"""The join: separated waves below gated responses, near fields below those, where separation is refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import splice
from earwitness.measurement.joining import (
    CONTRADICTED_DB,
    CONTRADICTED_TIMES,
    LEAST_OVERLAP_OCTAVES,
    OVERLAP_OCTAVES,
    best_overlap,
)
from earwitness.measurement.table import Table
from earwitness.measurement.two_radii import FreeField
from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.records.responses import Origin, Splice, ToldApart

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

#: Separated and gated responses that differ by more in the overlap, as a root mean square, are pointed out.
WARN_DB: Final = 0.5
#: Both are levels of the same place, neither is shifted to fit: so a third of an octave in common will do,
#: where they agree in it as well as they are known.
LEAST_COMMON_OCTAVES: Final = 1.0 / 3.0
#: What the note of a join that wasn't made begins with.
NOT_JOINED: Final = "Separated responses hold up to "
CONTRADICTED: Final = "Separated and gated responses differ by "


@dataclass(frozen=True)
class Layer:
    """What some rows of a table hold at one moment, each of shape (R, F)."""

    pressure: Complex128s
    valid: Bools
    origin: npt.NDArray[np.uint8]
    noise_db: Float64s
    gate_db: Float64s
    splice_db: Float64s

    @classmethod
    def of(cls, table: Table, rows: Sequence[int]) -> Layer:
        """The rows as they are now, for good."""
        rows = list(rows)
        return cls(
            pressure=table.pressure[rows].astype(np.complex128),
            valid=table.valid[rows],
            origin=table.origin[rows],
            noise_db=table.noise_db[rows],
            gate_db=table.gate_db[rows],
            splice_db=table.splice_db[rows],
        )


@dataclass(frozen=True)
class Bands:
    """Where separated responses stand, as slices of the grid.

    `held` is the band that they hold, `over` its upper part, in which they go over into gated ones, and
    `under` the lowest, in which near fields go over into them; None where there are none.
    """

    held: slice
    over: slice
    under: slice | None


def enter_separated(
    table: Table,
    rows: Sequence[int],
    gated: Layer,
    field: FreeField,
    *,
    distances_m: Float64s,
    speed_m_s: float,
) -> None:
    """Separated responses into `rows` of the table, which hold near fields below gated ones, or these alone.

    They are joined to the gated ones in the octave in which both agree best, as near fields are, and to the
    near fields in the lowest octave in which separation holds. Levels stay as they are. Where they have less
    than half an octave in common they are joined only if they agree there.

    Parameters
    ----------
    gated
        The same rows before near fields were joined to them.
    field
        At the R microphones, `distances_m` (R,) from the reference point.
    """
    rows = list(rows)
    table.say(*field.notes)
    table.told_apart = _told_apart(field)
    count = field.frequency_hz.size
    turn = np.exp(2j * np.pi / speed_m_s * np.multiply.outer(distances_m, field.frequency_hz))
    separated = field.pressure * turn * distances_m[:, None]
    from_gate = np.asarray(gated.valid.all(axis=0))
    within = _common(field.accepted & from_gate[:count])
    if within is None:
        table.say(_hardly_common(field, grid_hz=table.frequency_hz, from_gate=from_gate))
        return
    far = gated.pressure[:, :count]
    difference = splice.difference_db(separated[:, : within.stop], far[:, : within.stop])
    over = best_overlap(difference, within)
    if contradiction := _contradiction(field, gated, difference, over):
        table.say(contradiction)
        return
    near = Layer.of(table, rows)
    bands = _bands(field, near, over)
    separated = splice.aligned(separated, far, field.frequency_hz, over)
    _enter(table, rows, field, separated, bands, gated=gated, near=near)
    rms = splice.root_mean_square(difference[:, over])
    low, high = (float(field.frequency_hz[i]) for i in (over.start, over.stop - 1))
    for row, mismatch in zip(rows, difference[:, over].mean(axis=-1), strict=True):
        table.splices[row] = Splice(low, high, float(mismatch))
        table.near_field_takes[row] = (*table.near_field_takes.get(row, ()), *field.takes)
    if (rms > WARN_DB).any():
        where = "every direction" if (rms > WARN_DB).all() else "some directions"
        table.say(f"Separated and gated responses don't agree in level where they overlap, in {where}.")


def _told_apart(field: FreeField) -> ToldApart:
    found = field.separation
    order = found.orders.outgoing.astype(np.float64)
    return ToldApart(field.frequency_hz, order, found.condition, found.residual, field.accepted)


def _common(both: Bools) -> slice | None:
    """The lowest band in which both hold; None where none is a third of an octave wide."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], both.astype(np.int8), [0]])))
    for first, stop in zip(edges[::2], edges[1::2], strict=True):
        if stop - first > LEAST_COMMON_OCTAVES * POINTS_PER_OCTAVE:
            return slice(int(first), int(stop))
    return None


def _hardly_common(field: FreeField, *, grid_hz: Float64s, from_gate: Bools) -> str:
    """Why nothing is joined, and what would help; nothing where nothing was separated."""
    if not field.accepted.any() or not from_gate.any():
        return ""
    highest, lowest = field.frequency_hz[field.accepted][-1], grid_hz[from_gate][0]
    shared = (field.accepted & from_gate[: field.accepted.size]).sum() - 1
    how = f"they share {shared / POINTS_PER_OCTAVE:.2f} octave" if shared > 0 else "they share nothing"
    return (
        f"{NOT_JOINED}{highest:.0f} Hz, gated ones from {lowest:.0f} Hz: {how}, and a third of one in one "
        f"piece is needed, so nothing below {lowest:.0f} Hz is taken from the surfaces; get further away "
        "from what reflects, for a longer gate, or measure at more points, for separation to reach higher."
    )


def _contradiction(field: FreeField, gated: Layer, difference_db: Float64s, over: slice) -> str:
    """Why nothing is joined over less than half an octave; nothing where both agree there, or share more.

    They agree where the root mean square over all directions is within twice what is known of both.
    """
    octaves = (over.stop - over.start - 1) / POINTS_PER_OCTAVE
    rms = float(np.sqrt(np.mean(difference_db[:, over] ** 2)))
    parts = (field.noise_db, field.separation_db, gated.noise_db, gated.gate_db)
    square = sum(np.mean(np.nan_to_num(part[:, over]) ** 2) for part in parts)
    if octaves > LEAST_OVERLAP_OCTAVES or rms <= max(CONTRADICTED_TIMES * np.sqrt(square), CONTRADICTED_DB):
        return ""
    return (
        f"{CONTRADICTED}{rms:.1f} dB in the {octaves:.2f} octave that they share, so they aren't joined: "
        "look at the surfaces' distances, or get further away from what reflects."
    )


def _bands(field: FreeField, near: Layer, over: slice) -> Bands:
    """The accepted band that reaches up to the overlap, and where near fields go over into it."""
    refused = np.flatnonzero(~field.accepted[: over.start])
    first = int(refused[-1]) + 1 if refused.size else 0
    stop = min(first + round(OVERLAP_OCTAVES * POINTS_PER_OCTAVE) + 1, over.start)
    carried = (
        np.isin(near.origin[:, first:stop], (Origin.NEAR_FIELD, Origin.BLENDED)) & near.valid[:, first:stop]
    )
    wide_enough = stop - first > LEAST_OVERLAP_OCTAVES * POINTS_PER_OCTAVE
    under = slice(first, stop) if first > 0 and wide_enough and carried.all() else None
    return Bands(slice(first, over.stop), over, under)


def _enter(
    table: Table,
    rows: list[int],
    field: FreeField,
    separated: Complex128s,
    bands: Bands,
    *,
    gated: Layer,
    near: Layer,
) -> None:
    """The three layers by their weights, which add up to 1, into the rows."""
    f, grid, held = field.frequency_hz, table.frequency_hz, bands.held
    to_far = splice.crossfade_weight(grid, f[bands.over.start], f[bands.over.stop - 1])
    to_near = np.zeros(grid.size)
    if bands.under is not None:
        low, high = f[bands.under.start], f[bands.under.stop - 1]
        to_near = 1.0 - splice.crossfade_weight(grid, low, high)
        below = splice.aligned(near.pressure[:, : f.size], separated, f, bands.under)
    else:
        to_near[: held.start] = 1.0
        below = near.pressure[:, : f.size]
    own = 1.0 - to_far - to_near
    whole = gated.pressure.copy()
    whole[:, : held.start] = below[:, : held.start]
    middle = _mixed(below, separated, to_near[: f.size])
    middle = _mixed(gated.pressure[:, : f.size], middle, to_far[: f.size])
    whole[:, held] = middle[:, held]
    inside = np.zeros((len(rows), grid.size), dtype=np.bool_)
    inside[:, : f.size] = field.valid
    parts = ((to_far, gated.valid), (own, inside), (to_near, near.valid))
    table.pressure[rows] = whole
    table.valid[rows] = np.logical_and.reduce([valid | (weight <= 0.0) for weight, valid in parts])
    table.origin[rows] = _origins(near, to_far, to_near, held)
    noise_db, separation_db = np.zeros((2, len(rows), grid.size))
    noise_db[:, : f.size], separation_db[:, : f.size] = field.noise_db, field.separation_db
    table.noise_db[rows] = np.sqrt(
        _share(to_far, gated.noise_db) ** 2 + _share(own, noise_db) ** 2 + _share(to_near, near.noise_db) ** 2
    )
    table.gate_db[rows] = _share(to_far, gated.gate_db) + _share(to_near, near.gate_db)
    table.splice_db[rows] = _share(to_near, near.splice_db)
    for row, spread in zip(rows, _share(own, separation_db), strict=True):
        table.separation_db[row] = spread


def _mixed(one: Complex128s, other: Complex128s, weight: Float64s) -> Complex128s:
    """`one` by its weight, `other` by the rest; a weight of 0 leaves out what may be nothing."""
    taken = np.where(weight > 0.0, one, other)
    return splice.blended(np.where(weight < 1.0, other, taken), taken, weight)


def _share(weight: Float64s, spread_db: Float64s) -> Float64s:
    """A layer's part of an uncertainty; what can't be told counts only where the layer does."""
    return np.asarray(weight * np.where(weight > 0.0, spread_db, 0.0))


def _origins(near: Layer, to_far: Float64s, to_near: Float64s, held: slice) -> npt.NDArray[np.uint8]:
    """Where each value comes from."""
    origin = np.full(near.origin.shape, Origin.GATED, dtype=np.uint8)
    origin[:, : held.start] = near.origin[:, : held.start]
    origin[:, held] = np.where(to_far[held] < 1.0, Origin.SEPARATED, Origin.GATED)
    origin[:, (to_far > 0.0) & (to_far < 1.0)] = Origin.SEPARATED_INTO_GATED
    origin[:, (to_near > 0.0) & (to_near < 1.0)] = Origin.NEAR_FIELD_INTO_SEPARATED
    return origin
