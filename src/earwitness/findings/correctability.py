"""What an equaliser mends: every seat, one seat, or nothing, and how sure that is.

It is called mended where at most half of the deviation (root mean square, dB) is left: C of at least 3/4. For
every seat the smaller of the two planes decides; for one, the listening window. Where next to nothing stands
out within the window, an equaliser would spoil the direct sound for the sake of the rest: nothing is mended.
What the data leave open within one standard uncertainty isn't told. Source: defined here.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.derive.numerals import quantity
from earwitness.records.correctability import Correctability, Correctable, Deviation, Mends
from earwitness.records.grid import Floats
from earwitness.records.sentences import EMPTY, Number, Sentence, say
from earwitness.records.sources import Source, Standing

#: C from which half of the deviation at most is left.
MENDED: Final = 0.75
#: Smaller deviations (root mean square over directions, dB) need no mending.
LEAST_DB: Final = 0.5
PER_CENT: Final = 100.0
MENDED_PERCENT: Final = PER_CENT * MENDED

SOURCE: Final = Source("Earwitness", "", "what an equaliser mends", Standing.OWN)


def mends(told: Correctability) -> tuple[Mends | None, ...]:
    """For whom an equaliser mends at each frequency; None where not valid or where nothing needs mending."""
    part, uncertainty = smaller(told)
    size = np.maximum(told.horizontal.size_db, told.vertical.size_db)
    window, window_u = told.window.part, told.window.uncertainty
    columns = zip(part, uncertainty, window, window_u, told.window.size_db, size, told.valid, strict=True)
    return tuple(
        judged(*values) if valid and deviates >= LEAST_DB else None for *values, deviates, valid in columns
    )


def smaller(told: Correctability) -> tuple[Floats, Floats]:
    """C of the plane that has less of it, and its standard uncertainty, shape (F,) each."""
    first, second = told.horizontal, told.vertical
    lower = first.part <= second.part
    return np.where(lower, first.part, second.part), np.where(lower, first.uncertainty, second.uncertainty)


def judged(
    part: float, uncertainty: float, window: float, window_uncertainty: float, window_db: float
) -> Mends:
    """For whom, from C of the smaller plane and of the listening window, and what stands out within that."""
    if window_db < LEAST_DB:
        return Mends.NOWHERE
    if not np.isfinite([part, window]).all():
        return Mends.CANNOT_TELL
    every = _over(part, uncertainty)
    if every:
        return Mends.EVERY_SEAT
    one = _over(window, window_uncertainty)
    if every is None or one is None:
        return Mends.CANNOT_TELL
    return Mends.ONE_SEAT if one else Mends.NOWHERE


def correctable(
    told: Correctability, band_hz: tuple[float, float], here: str = "correctable"
) -> Correctable | None:
    """Whether an equaliser mends what stands out in a band; None where that isn't valid throughout.

    Parameters
    ----------
    band_hz
        The feature's; one that is narrower than the points of `told` takes the point nearest to its middle.
    here
        Where the result will stand, for the references of its numbers.
    """
    inside = _inside(told.frequency_hz, band_hz)
    if not told.valid[inside].all():
        return None
    planes = [_in_band(plane, inside) for plane in (told.horizontal, told.vertical)]
    part, uncertainty = min(planes)
    window, window_uncertainty = _in_band(told.window, inside)
    if not np.isfinite([part, window]).all():
        return None
    window_db = float(np.sqrt(np.mean(told.window.size_db[inside] ** 2)))
    verdict = judged(part, uncertainty, window, window_uncertainty, window_db)
    in_plane = "horizontal" if planes[0] <= planes[1] else "vertical"
    seats = _percent(part, f"{here}/part", uncertainty, f"{here}/part_uncertainty")
    ahead = _percent(window, f"{here}/window_part", window_uncertainty, f"{here}/window_uncertainty")
    reason = say(
        SAID[verdict],
        ": of what stands out there (its square), ",
        seats,
        f" is the same all round in the {in_plane} plane, and ",
        ahead,
        " within the listening window. An equaliser takes away what is the same; ",
        quantity(MENDED_PERCENT, "%", "method:findings.correctability/MENDED_PERCENT", 0),
        " leaves half the decibels.",
        EMPTY if window_db >= LEAST_DB else say(" Straight ahead next to nothing stands out."),
    )
    return Correctable(verdict, part, uncertainty, window, window_uncertainty, reason)


#: What is said of each, without its numbers.
SAID: Final = {
    Mends.EVERY_SEAT: "An equaliser mends it for every seat",
    Mends.ONE_SEAT: "An equaliser mends it straight ahead, and not to the sides or in the room",
    Mends.NOWHERE: "No equaliser mends it",
    Mends.CANNOT_TELL: "The data can't tell whether an equaliser mends it",
}


def _over(part: float, uncertainty: float) -> bool | None:
    """Whether C reaches `MENDED`; None where that isn't sure."""
    over = part - MENDED
    return None if abs(over) < uncertainty else over >= 0.0


def _inside(frequency_hz: Floats, band_hz: tuple[float, float]) -> npt.NDArray[np.bool_]:
    inside = (frequency_hz >= band_hz[0]) & (frequency_hz <= band_hz[1])
    if not inside.any():
        middle = np.sqrt(band_hz[0] * band_hz[1])
        inside[int(np.argmin(np.abs(np.log(frequency_hz / middle))))] = True
    return np.asarray(inside)


def _in_band(plane: Deviation, inside: npt.NDArray[np.bool_]) -> tuple[float, float]:
    """C of a band and its uncertainty, as if errors of its points were one."""
    common, apart = plane.common_db2[inside].mean(), plane.apart_db2[inside].mean()
    part = common / (common + apart) if common + apart > 0.0 else np.nan
    return float(part), float(plane.uncertainty[inside].mean())


def _percent(part: float, name: str, uncertainty: float, doubt: str) -> Sentence:
    """``92 % ± 4 %``; no uncertainty is told below one per cent."""
    return say(
        Number(f"{PER_CENT * part:.0f} %", part, name),
        " ± ",
        Number(f"{max(PER_CENT * uncertainty, 1.0):.0f} %", uncertainty, doubt),
    )
