"""Whether the two orbits agree where they meet, as a figure of merit.

A loudspeaker has one level on axis: what the two orbits show there apart is an error of the measurement (a
loudspeaker that was turned about another point, a level that was changed, a cabinet that wasn't level), which
the mean of both would hide. Source: defined here.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.curves import DerivedCurves
from earwitness.derive.directivity import level_db, orbit_powers
from earwitness.derive.wording import band_words, module_number
from earwitness.records.curves import CurveName
from earwitness.records.figures import Evidence, Figure, FigureName, NotAvailable, Quantity, Value
from earwitness.records.grid import POINTS_PER_OCTAVE, Floats
from earwitness.records.sentences import Term, say
from earwitness.records.sources import Source, Standing

#: A difference between the orbits above this calls for a warning, dB.
AGREEMENT_WARNING_DB: Final = 1.0
#: Where the orbits are compared; below it, both rest on the same near-field take.
AGREEMENT_BAND_HZ: Final = (200.0, 20_000.0)
#: Each orbit's response is smoothed by one over this many octaves.
AGREEMENT_FRACTION: Final = 3

SOURCE: Final = Source("Earwitness", "", "agreement of the orbits", Standing.OWN)


def orbit_agreement(derived: DerivedCurves) -> Figure:
    """The largest difference between the orbits on axis; behind, where they meet again, beside it."""
    curve = derived.curves[CurveName.ON_AXIS]
    front, behind = (_difference_db(derived, angle) for angle in (0.0, 180.0))
    value: Value
    band, also = None, {}
    if front is None:
        value = NotAvailable("the axis wasn't measured on both orbits")
    elif not np.isfinite(front).any():
        value = NotAvailable("nothing is valid on axis on both orbits")
    else:
        frequency = derived.field.frequency_hz
        largest = int(np.nanargmax(front))
        value = Quantity(float(front[largest]))
        known = frequency[np.isfinite(front)]
        band = (float(known[0]), float(known[-1]))
        also = {"frequency": float(frequency[largest])}
        if behind is not None and np.isfinite(behind).any():
            also["behind"] = float(np.nanmax(behind))
    return Figure(
        name=FigureName.ORBIT_AGREEMENT,
        value=value,
        unit="dB",
        uncertainty=None,
        components={},
        conditions=say(
            "largest difference of the two orbits on axis, each smoothed by ",
            Term("1/3 octave"),
            ", where valid from ",
            band_words("derive.orbit_figures", "AGREEMENT_BAND_HZ", AGREEMENT_BAND_HZ),
            "; a warning above ",
            module_number(
                f"{AGREEMENT_WARNING_DB:g} dB",
                AGREEMENT_WARNING_DB,
                "derive.orbit_figures/AGREEMENT_WARNING_DB",
            ),
        ),
        reading="absolute difference of levels",
        valid_band_hz=band,
        method="derive.orbit_figures.orbit_agreement",
        source=SOURCE,
        evidence=Evidence((CurveName.ON_AXIS,), curve.takes),
        also=also,
    )


def _difference_db(derived: DerivedCurves, angle_deg: float) -> Floats | None:
    """Size of the smoothed difference at one meeting angle, (F,), NaN outside; None where one is missing."""
    found = orbit_powers(derived.takes, angle_deg)
    if found is None:
        return None
    power, valid = found
    smooth, _ = smooth_power(np.where(valid, power, 0.0), valid, AGREEMENT_FRACTION, POINTS_PER_OCTAVE)
    level = level_db(smooth)
    inside = derived.field.frequency_hz >= AGREEMENT_BAND_HZ[0]
    return np.where(inside, np.abs(level[0] - level[1]), np.nan)
