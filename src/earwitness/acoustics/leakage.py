"""Near microphones that each hear several radiators: what each moves, what is heard far away, how surely.

K near microphones stand in front of K of M radiators (M ≥ K); each of the others moves as one of those does.
At low ka a radiator's sound is its volume velocity times a transfer that the cabinet alone decides, so

    heard = H·u,  H_ik = Σ over all radiators m that move as k of near_mi,  far = F·u,

and what leaks from one to another's microphone is taken off by solving for u (closed form; the Helmholtz
equation is linear).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]


@dataclass(frozen=True)
class Heard:
    """What M radiators give, each by itself and moving alike, at K near and D far microphones.

    Attributes
    ----------
    near
        Shape (M, K, F), the first K radiators being those in front of the near microphones.
    far
        Shape (M, D, F).
    like
        Shape (M,): which of the K each one moves as; 0 … K−1 for the first K.
    """

    near: Complex128s
    far: Complex128s
    like: npt.NDArray[np.intp]

    @property
    def parted(self) -> Complex128s:
        """The inverse of H, shape (F, K, K): what makes the K motions of what was heard."""
        return np.asarray(np.linalg.inv(self._together(self.near)))

    @property
    def carrying(self) -> Complex128s:
        """What makes pressures at the D microphones of what the K near ones heard, shape (F, D, K)."""
        return np.asarray(self._together(self.far) @ self.parted)

    def _together(self, transfer: Complex128s) -> Complex128s:
        """Sums (F, P, K) over radiators that move as one, of transfers (M, P, F)."""
        return together(transfer, self.like).transpose(2, 1, 0)


def together(transfer: npt.NDArray[np.complex128], like: npt.NDArray[np.intp]) -> Complex128s:
    """Sums over radiators that move as one: (M, ...) to (K, ...)."""
    total = np.zeros((int(like.max()) + 1, *transfer.shape[1:]), dtype=np.complex128)
    np.add.at(total, like, transfer)
    return total


def half_width_db(heard: Heard, pressure: Complex128s, leak: Float64s, unlike: float) -> Float64s:
    """How far far levels may be off because of what leaks, and of radiators that don't move alike: dB (D, F).

    Parameters
    ----------
    pressure
        Shape (K, F): what the near microphones heard.
    leak
        Shape (M, K): by what part of itself the transfer from each radiator to each microphone may be off; 0
        from a radiator to its own.
    unlike
        By what part of its motion each radiator that wasn't heard may move otherwise.

    Notes
    -----
    To first order, each error by itself, as the root of the sum of squares: an error δ of one transfer or
    motion changes what is carried by (δfar − C·δnear)·u, C being `Heard.carrying`.
    """
    carrying = heard.carrying
    moved = np.einsum("fij,jf->if", heard.parted, pressure)[heard.like]
    far = np.einsum("fdk,kf->df", carrying, pressure)
    shares = np.abs(heard.near) ** 2 * leak[:, :, None] ** 2 * np.abs(moved[:, None]) ** 2
    square = np.einsum("fdk,mkf->df", np.abs(carrying) ** 2, shares)
    count = heard.near.shape[1]
    others = heard.far[count:] - np.einsum("fdk,mkf->mdf", carrying, heard.near[count:])
    square += unlike**2 * np.sum(np.abs(others * moved[count:, None]) ** 2, axis=0)
    return np.asarray(20.0 * np.log10(1.0 + np.sqrt(square) / np.abs(far)))
