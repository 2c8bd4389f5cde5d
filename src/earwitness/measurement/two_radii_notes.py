"""What is said of two surfaces: order, condition, residual, and which frequencies are refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.separation import Refusal, Separation, Surfaces

Float64s = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: So many bands of refused frequencies are named.
MOST_BANDS: Final = 3
_REASONS: Final[Mapping[Refusal, str]] = {
    Refusal.FEW_POINTS: "more points would be needed",
    Refusal.SURFACES_TOO_CLOSE: "the surfaces lie too close together",
    Refusal.HALF_WAVELENGTHS_APART: "the surfaces lie half a wavelength apart, or several",
    Refusal.ILL_CONDITIONED: "the points don't tell the waves apart",
    Refusal.RESIDUAL: "what was heard isn't such a field",
}


@dataclass(frozen=True)
class Told:
    """What was told apart at F frequencies: where it holds, and where it is sure enough, each (F,)."""

    surfaces: Surfaces
    frequency_hz: Float64s
    separation: Separation
    holds: Bools
    sure: Bools

    @property
    def kept(self) -> Bools:
        """Where the separated response is taken."""
        return self.holds & self.sure


def notes_of(told: Told, *, enclosed: bool, unsure_db: float) -> tuple[str, ...]:
    """Orders, conditions, residuals and what is refused, in sentences.

    `enclosed` holds where the surfaces go all round the cabinet as described.
    """
    inner, outer = told.surfaces.radii_m
    said = (
        f"Two surfaces of {len(told.surfaces.points_m)} points at {inner:.3g} m and {outer:.3g} m tell "
        "outgoing waves from those that the room sends back"
    )
    if not enclosed:
        return (
            f"{said}, but a surface passes through the cabinet as described: nothing is taken from them.",
        )
    kept = told.kept
    if not kept.any():
        return (f"{said} at no frequency; refused {_refused(told, unsure_db)}.",)
    found, band = told.separation, told.frequency_hz[kept]
    ahead, left, up = (f"{round(1e3 * metres)} mm".replace("-", "−") for metres in found.centre_m.tolist())
    order, condition, residual = (a[kept] for a in (found.orders.outgoing, found.condition, found.residual))
    lines = [
        f"{said}, between {band[0]:.0f} Hz and {band[-1]:.0f} Hz: outgoing "
        f"{_orders(int(order.min()), int(order.max()))} about the acoustic centre ({ahead} ahead of the "
        f"reference point, {left} left, {up} up), condition {condition.min():.0f} to "
        f"{condition.max():.0f}, residual {100.0 * residual.min():.1f} % to {100.0 * residual.max():.1f} %.",
        "What the cabinet scatters of the room's sound stays in the separated response.",
    ]
    if not kept.all():
        lines.append(f"Separation is refused {_refused(told, unsure_db)}.")
    return tuple(lines)


def _orders(low: int, high: int) -> str:
    return f"order {low}" if low == high else f"orders {low} to {high}"


def _refused(told: Told, unsure_db: float) -> str:
    """Which frequencies are refused and why, in one clause."""
    found = told.separation
    why = {words: found.refusal == reason for reason, words in _REASONS.items()}
    why["the sweep doesn't reach"] = found.accepted & ~told.holds
    why[f"noise and residual leave it unsure by more than {unsure_db:g} dB"] = told.holds & ~told.sure
    parts = [f"{_bands(told.frequency_hz, at)}, where {words}" for words, at in why.items() if at.any()]
    return "; ".join(parts)


def _bands(frequency_hz: Float64s, these: Bools) -> str:
    """``from 300 Hz to 400 Hz``, ``at 22 Hz``: runs of frequencies."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], these.astype(np.int8), [0]])))
    ends = [
        (f"{frequency_hz[first]:.0f}", f"{frequency_hz[stop - 1]:.0f}")
        for first, stop in zip(edges[::2], edges[1::2], strict=True)
    ]
    runs = [f"at {low} Hz" if low == high else f"from {low} Hz to {high} Hz" for low, high in ends]
    more = [f"in {len(runs) - MOST_BANDS} more bands"] if len(runs) > MOST_BANDS else []
    return ", ".join([*runs[:MOST_BANDS], *more])
