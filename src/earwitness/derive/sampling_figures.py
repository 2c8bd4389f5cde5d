"""How far two orbits can be trusted to see the sound power, as a figure of merit."""

from __future__ import annotations

import numpy as np

from earwitness.derive.curves import DerivedCurves
from earwitness.derive.sound_power import SAMPLING_WARNING_DB, SOURCE
from earwitness.derive.wording import module_number
from earwitness.records.curves import CurveName
from earwitness.records.figures import Evidence, Figure, FigureName, NotAvailable, Quantity, Value
from earwitness.records.sentences import say


def sound_power_sampling(derived: DerivedCurves) -> Figure:
    """The largest difference of the two estimates of sound power over the valid band."""
    curve = derived.curves[CurveName.SOUND_POWER]
    value: Value
    band, also = None, {}
    if curve.missing:
        value = NotAvailable("directions were not measured", missing=tuple(d.label for d in curve.missing))
    elif not curve.available:
        value = NotAvailable("nothing is valid")
    else:
        frequency = derived.field.frequency_hz[curve.valid]
        difference = np.abs(derived.sampling_db[CurveName.SOUND_POWER][curve.valid])
        largest = int(np.argmax(difference))
        value = Quantity(float(difference[largest]))
        band = (float(frequency[0]), float(frequency[-1]))
        also = {"frequency": float(frequency[largest])}
    return Figure(
        name=FigureName.SOUND_POWER_SAMPLING,
        value=value,
        unit="dB",
        uncertainty=None,
        components={},
        conditions=say(
            "largest difference of two estimates of sound power over the valid band; a warning above ",
            module_number(
                f"{SAMPLING_WARNING_DB:g} dB", SAMPLING_WARNING_DB, "derive.sound_power/SAMPLING_WARNING_DB"
            ),
        ),
        reading="separable in direction cosines",
        valid_band_hz=band,
        method="derive.sound_power.separable_sound_power",
        source=SOURCE,
        evidence=Evidence((CurveName.SOUND_POWER,), curve.takes),
        also=also,
    )
