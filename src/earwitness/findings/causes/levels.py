"""What each radiator sends, from levels in many directions alone: phase is lost, but not how parts add.

|Σ a_s·K_s(n)| is known in D directions, the patterns K too. Amplitudes a follow up to one common turn: by
turns the phase is taken from the sum and the amplitudes by least squares (R. W. Gerchberg and W. O. Saxton,
Optik 35, 1972: recalled), from several starts; Gauss and Newton end it. Two radiators differ in their ways by
direction, so that both their levels and the phase between them are told where both are heard.
"""

from __future__ import annotations

from itertools import product
from typing import Final

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: Turns by which starts differ, and the most starts.
TURNS: Final = (0.0, 1.0 / 3.0, 2.0 / 3.0)
MOST_STARTS: Final = 9
#: Rounds of the first kind, and steps of the second.
ROUNDS, STEPS = 12, 8
#: Damping of the steps, as a part of the mean curvature.
DAMPED: Final = 1e-3
#: Rounds by which neighbouring frequencies come to agree, and the least share of one that is heard.
SHARPENED, LEAST_SHARE = 3, 0.03
LEAST: Final = 1e-30


def of_levels(
    kernel: Complex128s, level: Float64s, ridge: float | Float64s, near: Complex128s | None = None
) -> Complex128s:
    """Amplitudes (S, F) with the strongest of each frequency turned to 0.

    Parameters
    ----------
    kernel, level
        Patterns (S, D, F) and what is heard, as an amplitude (D, F).
    ridge
        Held towards nothing, as a part of the patterns' mean power; one, or (S, F).
    near
        Amplitudes (S, F) to begin at; else several starts are tried.
    """
    patterns, heard = np.moveaxis(kernel, -1, 0).swapaxes(1, 2), level.T
    power = np.sum(np.abs(patterns) ** 2, axis=(1, 2)) / patterns.shape[-1]
    held = power[:, None] * np.broadcast_to(ridge, (len(kernel), power.size)).T
    found = _begun(patterns, heard, held) if near is None else near.T
    for _ in range(STEPS):
        found = _stepped(patterns, heard, found, held)
    strongest = np.take_along_axis(found, np.argmax(np.abs(found), axis=1)[:, None], axis=1)
    return np.asarray((found * np.exp(-1j * np.angle(strongest))).T)


def of_levels_of_ways(kernel: Complex128s, level: Float64s, ridge: Float64s, points: int) -> Complex128s:
    """The same, where neighbouring frequencies are sent by the same radiators.

    Where ways differ by little against the wave, levels tell the sum and not whose it is. What a radiator
    hardly sends within `points` to either side it is held from sending, by so much the more.
    """
    found = of_levels(kernel, level, ridge)
    window = np.hanning(2 * points + 3)[1:-1]
    for _ in range(SHARPENED):
        power = np.abs(found) ** 2
        share = power / np.maximum(power.sum(axis=0), LEAST)
        padded = np.pad(share, ((0, 0), (points, points)), mode="edge")
        common = np.stack([np.convolve(row, window / window.sum(), "valid") for row in padded])
        found = of_levels(kernel, level, ridge / (common + LEAST_SHARE))
    return found


def _begun(patterns: Complex128s, heard: Float64s, ridge: Float64s) -> Complex128s:
    """The best of several starts by turns, (F, S), from patterns (F, D, S) and levels (F, D)."""
    count = patterns.shape[-1]
    turned = patterns.conj().swapaxes(1, 2)
    solved = np.linalg.solve(turned @ patterns + ridge[..., None] * np.eye(count), turned)
    turns = [(0.0, *rest) for rest in product(TURNS, repeat=count - 1)][:MOST_STARTS]
    begun = np.exp(2j * np.pi * np.array(turns))[:, None, :, None] * np.ones((heard.shape[0], 1, 1))
    found = np.asarray(begun, dtype=np.complex128)
    for _ in range(ROUNDS):
        sums = patterns @ found
        found = solved @ (heard[..., None] * sums / np.maximum(np.abs(sums), LEAST))
    missed = np.sum((np.abs(patterns @ found)[..., 0] - heard) ** 2, axis=-1)
    missed += np.sum(ridge * np.abs(found[..., 0]) ** 2, axis=-1)
    best = np.argmin(missed, axis=0)
    return np.asarray(found[best, np.arange(best.size), :, 0])


def _stepped(patterns: Complex128s, heard: Float64s, sent: Complex128s, ridge: Float64s) -> Complex128s:
    """One damped step on real and imaginary parts, (F, S)."""
    count = patterns.shape[-1]
    sums = (patterns @ sent[..., None])[..., 0]
    size = np.abs(sums)
    along = (sums / np.maximum(size, LEAST)).conj()[..., None] * patterns
    slopes = np.concatenate([along.real, -along.imag], axis=-1)
    parts = np.concatenate([sent.real, sent.imag], axis=-1)
    both = np.concatenate([ridge, ridge], axis=-1)
    down = np.einsum("fdp,fd->fp", slopes, heard - size) - both * parts
    curved = np.einsum("fdp,fdq->fpq", slopes, slopes)
    damping = DAMPED * np.einsum("fpp->f", curved) / count
    curved += (both + damping[:, None])[..., None] * np.eye(2 * count)
    step = np.linalg.solve(curved, down[..., None])[..., 0]
    return np.asarray(sent + step[:, :count] + 1j * step[:, count:])
