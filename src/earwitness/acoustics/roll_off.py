"""Featureless roll-offs towards the bass, and what a gate that ends too soon makes of them.

A sealed box is a high-pass of the second order (R. H. Small, JAES 20 (10), 1972; recalled), a vented one of
the fourth: two sections of the second order here, with one corner. Their responses are sums of damped
exponentials, so that what a gate cuts off them has a closed form.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics.gating import GENTLE_TAIL_PART, TAIL_PART, cut_off, gentleness

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: Qs of the sections: from over-damped to a hump of 3.5 dB; of two sections each pair, none with a double
#: pole. 1/2 would be one, and is missed by a little.
SECOND_ORDER: Final = tuple((q,) for q in (0.5001, 0.577, 0.65, 0.707, 0.8, 0.9, 1.0, 1.2, 1.5))
FOURTH_ORDER: Final = tuple(
    (one, other) for one in (0.5001, 0.541, 0.65, 0.8) for other in (0.707, 1.0, 1.307, 1.7, 2.2)
)
#: Corners that are tried, to the octave.
PER_OCTAVE: Final = 12
#: Where nothing shows the roll-off it is one of these, with a corner up to half of the gate's limit.
USUAL: Final = ((0.5001,), (0.577,), (0.707,), (1.0,), (0.541, 1.307))
USUAL_CORNERS: Final = 24
USUAL_FROM_HZ: Final = 20.0
#: Responses that were fitted are described by a model to within this, root mean square.
FIT_LIMIT_DB: Final = 1.5


@dataclass(frozen=True)
class RollOff:
    """A high-pass: its corner and the Q of each section of the second order, at least one."""

    corner_hz: float
    qs: tuple[float, ...]

    def poles(self) -> Complex128s:
        """Shape (2·sections,), rad/s; no two are alike."""
        corner = 2.0 * np.pi * self.corner_hz
        half = 0.5 / np.asarray(self.qs)
        root = np.sqrt((half**2 - 1.0).astype(np.complex128))
        return np.asarray(corner * np.concatenate([-half + root, -half - root]))

    def response(self, frequency_hz: Float64s) -> Complex128s:
        """∏ s²/(s² + sω₀/Q + ω₀²), shape (F,): 1 far above the corner."""
        s = 1j * frequency_hz / self.corner_hz
        return np.asarray(np.prod([s**2 / (s**2 + s / q + 1.0) for q in self.qs], axis=0))


def gating_error_db(model: RollOff, frequency_hz: Float64s, gate_s: float) -> Float64s:
    """Level after a gate (`gating.gate`) over the level before it, dB, shape (F,).

    Of the gate that closes gently and of the other as much as `gating.gentleness` says. The gate lets the
    impulse at the arrival through; of the tail Σ rᵢ·e^(pᵢt) it takes Σ rᵢ times `gating.cut_off`.
    """
    gentle = gentleness(frequency_hz, gate_s)
    cut = gentle * _cut_off(model, frequency_hz, gate_s, GENTLE_TAIL_PART)
    cut += (1.0 - gentle) * _cut_off(model, frequency_hz, gate_s, TAIL_PART)
    return np.asarray(20.0 * np.log10(np.abs(1.0 - cut / model.response(frequency_hz))))


def _cut_off(model: RollOff, frequency_hz: Float64s, gate_s: float, tail_part: float) -> Complex128s:
    """E of `gating_error_db`, shape (F,), of a gate that closes over a part of its length."""
    poles = model.poles()
    apart = poles[:, None] - poles[None, :]
    np.fill_diagonal(apart, 1.0)
    residue = poles**poles.size / np.prod(apart, axis=1)
    cut = cut_off(poles, frequency_hz, gate_s, tail_part)
    return np.asarray((residue[:, None] * cut).sum(axis=0))


def greatest_gating_error_db(frequency_hz: Float64s, gate_s: float, limit_hz: float) -> Float64s:
    """The greatest of `gating_error_db`, sign apart, over the usual roll-offs, shape (F,).

    Their corners reach from 20 Hz to half of `limit_hz`, from where on a gated response counts.
    """
    corners = np.geomspace(USUAL_FROM_HZ, max(0.5 * limit_hz, USUAL_FROM_HZ), USUAL_CORNERS)
    every = [gating_error_db(RollOff(float(c), qs), frequency_hz, gate_s) for qs in USUAL for c in corners]
    return np.asarray(np.max(np.abs(every), axis=0))


def fitted(frequency_hz: Float64s, level_db: Float64s) -> RollOff | None:
    """The roll-off nearest to levels (F,), their own mean apart; None where none lies near.

    Corners are tried from the lowest frequency to the highest; one at either end isn't shown by the data.
    """
    low, high = float(frequency_hz[0]), float(frequency_hz[-1])
    count = max(int(PER_OCTAVE * np.log2(high / low)), 2)
    best, chosen = np.inf, None
    corners = np.geomspace(low, high, count)
    away = frequency_hz / corners[:, None]
    for qs in (*SECOND_ORDER, *FOURTH_ORDER):
        w2 = away**2
        shape = sum(10.0 * np.log10(w2**2 / ((1.0 - w2) ** 2 + w2 / q**2)) for q in qs)
        residual = np.std(level_db - shape, axis=-1)
        at = int(np.argmin(residual))
        if residual[at] < best:
            best, chosen = float(residual[at]), (at, qs)
    if chosen is None or best > FIT_LIMIT_DB or chosen[0] in (0, count - 1):
        return None
    return RollOff(float(corners[chosen[0]]), chosen[1])
