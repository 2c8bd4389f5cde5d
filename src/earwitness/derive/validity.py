"""Whether a curve can be judged over a band, and why not."""

from __future__ import annotations

import numpy as np

from earwitness.derive.curves import DerivedCurves
from earwitness.derive.formatting import frequency_text
from earwitness.records.curves import CurveName
from earwitness.records.figures import NotAvailable
from earwitness.records.grid import Bools, Floats


def unavailable(
    derived: DerivedCurves, curve: CurveName, band_hz: tuple[float, float]
) -> NotAvailable | None:
    """Why a curve can't be judged over a band, or None where it is valid throughout."""
    found = derived.curves[curve]
    if found.missing:
        labels = tuple(d.label for d in found.missing)
        return NotAvailable("directions were not measured", missing=labels)
    return not_valid(derived.field.frequency_hz, found.valid, band_hz)


def not_valid(frequency_hz: Floats, valid: Bools, band_hz: tuple[float, float]) -> NotAvailable | None:
    """What of a band isn't valid, or None where all of it is.

    A hole between valid points is named first, then the lower limit of what is valid, then the upper one.
    """
    lacking = np.flatnonzero(around(frequency_hz, band_hz) & ~valid)
    if not lacking.size:
        return None
    if not valid.any():
        return NotAvailable("nothing is valid")
    lowest, highest = np.flatnonzero(valid)[[0, -1]]
    inside = lacking[(lacking > lowest) & (lacking < highest)]
    if inside.size:
        return hole(frequency_hz, valid, int(inside[0]))
    if lacking[0] < lowest:
        limit = float(frequency_hz[lowest])
        return NotAvailable(f"not available: valid from {_limit_text(limit, band_hz[0])}", limit)
    limit = float(frequency_hz[highest])
    return NotAvailable(f"not available: valid up to {_limit_text(limit, band_hz[1])}")


def hole(frequency_hz: Floats, valid: Bools, index: int) -> NotAvailable:
    """The run of points about `index` that aren't valid, as the reason for no number."""
    before, after = np.flatnonzero(valid[:index]), np.flatnonzero(valid[index:])
    first = int(before[-1]) + 1 if before.size else 0
    last = index + int(after[0]) - 1 if after.size else len(valid) - 1
    low, high = float(frequency_hz[first]), float(frequency_hz[last])
    words = f"from {frequency_text(low, 3)} to {frequency_text(high, 3)}"
    if frequency_text(low, 3) == frequency_text(high, 3):
        words = f"at {frequency_text(low, 3)}"
    return NotAvailable(f"not available: not valid {words}", invalid_band_hz=(low, high))


def around(frequency_hz: Floats, band_hz: tuple[float, float]) -> Bools:
    """Grid points of a band, with the nearest ones outside where its edges fall between two points."""
    low = np.searchsorted(frequency_hz, band_hz[0] * (1 + 1e-9), side="right") - 1
    high = np.searchsorted(frequency_hz, band_hz[1] * (1 - 1e-9), side="left")
    place = np.arange(len(frequency_hz))
    return np.asarray((place >= low) & (place <= high))


def within(frequency_hz: Floats, band_hz: tuple[float, float]) -> Bools:
    """Grid points inside a band."""
    return np.asarray((frequency_hz >= band_hz[0] * (1 - 1e-9)) & (frequency_hz <= band_hz[1] * (1 + 1e-9)))


def _limit_text(limit_hz: float, needed_hz: float) -> str:
    """A limit to three digits, or to four where three would print it as what is needed."""
    text = frequency_text(limit_hz, 3)
    return text if text != frequency_text(needed_hz, 3) else frequency_text(limit_hz, 4)
