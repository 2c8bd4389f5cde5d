"""Means over log frequency: fractional-octave smoothing and band means of mean square pressure.

Smoothing a curve isn't filtering a signal: it is a moving mean of p² over a window of log frequency. The
window of 1/b octave about f reaches from f·G^(−1/2b) to f·G^(1/2b), G = 10^0.3 (the base-ten octave of
IEC 61260-1:2014; the window is common practice, defined here).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

#: The base-ten octave G of IEC 61260-1:2014 (recalled).
OCTAVE_RATIO: Final = 10.0**0.3

Floats = npt.NDArray[np.floating]
Bools = npt.NDArray[np.bool_]


def smooth_power(
    power: Floats, valid: Bools, fraction: float, points_per_octave: float
) -> tuple[Floats, Bools]:
    """Mean of `power` over a moving window of 1/`fraction` octave.

    Each point of the grid stands for one step of log frequency; the two points at the window's edges count
    with the part of their step that lies inside. So a constant stays what it is, and p² proportional to
    f^n keeps its slope and is raised by 10·lg(sinh(nh)/(nh)) dB, h = ln(G)/(2b).

    Parameters
    ----------
    power
        Mean square pressure, shape (..., F), on a grid that is uniform in log frequency.
    valid
        Shape (..., F), or (F,) for all rows alike.
    fraction
        b of "1/b octave".
    points_per_octave
        Grid points to the (factor of two) octave.

    Returns
    -------
    tuple of arrays
        The smoothed power, NaN where not valid, and its validity. A point is valid where the whole window is:
        near the ends of the grid, as near the limits of validity, the window is refused, not cut.
    """
    half = 0.5 * np.log2(OCTAVE_RATIO) / fraction * points_per_octave
    if half <= 0.5:
        return np.where(valid, power, np.nan), np.broadcast_to(valid, power.shape).copy()
    whole = int(np.floor(half - 0.5))
    reach = int(np.ceil(half - 0.5))
    points = power.shape[-1]
    smooth = np.full(power.shape, np.nan)
    smooth_valid = np.zeros(power.shape, dtype=np.bool_)
    if points <= 2 * reach:
        return smooth, smooth_valid
    known = np.where(valid, power, 0.0)
    total = _moving_sum(known, whole)[..., reach - whole : points - reach - whole]
    edges = known[..., : points - 2 * reach] + known[..., 2 * reach :]
    mean = (total + (half - 0.5 - whole) * edges) / (2 * half)
    all_valid = np.broadcast_to(_moving_sum(np.asarray(valid), reach) == 2 * reach + 1, mean.shape)
    inside = slice(reach, points - reach)
    smooth_valid[..., inside] = all_valid
    smooth[..., inside] = np.where(all_valid, mean, np.nan)
    return smooth, smooth_valid


def band_mean_weights(frequency_hz: Floats, band_hz: tuple[float, float]) -> Floats:
    """Weights w, shape (F,) and of sum 1, with which w·y is the mean of y over log frequency in a band.

    The mean is exact for a y that runs straight in log frequency between the points, also where the band's
    edges fall between two of them.

    Raises
    ------
    ValueError
        The band reaches beyond the grid.
    """
    low, high = band_hz
    if not frequency_hz[0] <= low < high <= frequency_hz[-1]:
        raise ValueError(f"band {low:g} to {high:g} Hz reaches beyond the grid")
    x = np.log(np.asarray(frequency_hz, dtype=np.float64))
    start, stop = np.log(low), np.log(high)
    left, right = np.clip(x[:-1], start, stop), np.clip(x[1:], start, stop)
    width = right - left
    towards_right = (0.5 * (left + right) - x[:-1]) / np.diff(x)
    weights = np.zeros_like(x)
    weights[:-1] += width * (1.0 - towards_right)
    weights[1:] += width * towards_right
    return np.asarray(weights / (stop - start))


def _moving_sum(values: Floats | Bools, neighbours: int) -> Floats:
    """Sum over each point and its `neighbours` on both sides, for the points that have them all."""
    running = np.cumsum(values, axis=-1, dtype=np.float64)
    running = np.concatenate((np.zeros((*running.shape[:-1], 1)), running), axis=-1)
    span = 2 * neighbours + 1
    return np.asarray(running[..., span:] - running[..., :-span])
