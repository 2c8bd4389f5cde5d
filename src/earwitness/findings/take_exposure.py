"""How loud a proposed take is where ears may be, how long that is allowed, and what to do.

Far takes are reckoned at one metre, at the highest voltage that the case used. A near field is reckoned in
front of the radiator at a tenth of that voltage: small against a wave, a disc of radius a makes 2r/a times
the pressure that it makes at r in a wide baffle (D. B. Keele, JAES 22(3), 1974; recalled), and twice that if
sound goes all round; the louder is taken. Levels count as A-weighted, which errs to the safe side at low
frequencies.
"""

from __future__ import annotations

import math
from typing import Final

from earwitness.derive.numerals import hours_a_day, quantity
from earwitness.methods.hearing_exposure import niosh_hours_a_day
from earwitness.methods.iec_60268_5 import REFERENCE_VOLTAGE_V, SENSITIVITY_BAND_HZ, mean_level_db
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.next_measurement import NextTake, TakeExposure
from earwitness.records.responses import Responses
from earwitness.records.sentences import Sentence, Term, say

#: The part of the case's voltage that a near field is taken at.
NEAR_PART: Final = 0.1
#: In front of a disc over what it makes at 1 m where sound goes all round, times its radius in metres.
NEAR_OVER_FAR_M: Final = 4.0
#: Takes that play nothing.
SILENT: Final = (NextTake.CALIBRATION, NextTake.RULER)
CLOSE: Final = (NextTake.NEAR_DRIVERS, NextTake.NEAR_PORT)
_ADVICE: Final = (
    "leave the room or wear protection while it plays; local law and qualified advice come first."
)


def exposure_of(
    take: NextTake, radius_m: float | None, curves: CurveSet, responses: Responses
) -> TakeExposure | None:
    """None where nothing plays, no voltage or no level is known, or the radiator's size isn't."""
    if take in SILENT:
        return None
    drives = [t.key.drive for t in responses.takes if t.key.drive is not None]
    volts = max((d.value for d in drives if d.unit == "V"), default=None)
    curve = curves.curves[CurveName.ON_AXIS]
    low, high = SENSITIVITY_BAND_HZ
    inside = (curves.frequency_hz >= low) & (curves.frequency_hz <= high)
    if volts is None or not bool(curve.valid[inside].all()):
        return None
    level = float(mean_level_db(curves.frequency_hz, curve.level_db))
    near_m = None
    if take in CLOSE:
        if radius_m is None:
            return None
        volts, near_m = NEAR_PART * volts, radius_m
        level += 20.0 * math.log10(NEAR_OVER_FAR_M / radius_m)
    level += 20.0 * math.log10(volts / REFERENCE_VOLTAGE_V)
    return TakeExposure(volts, level, float(niosh_hours_a_day(level)), near_m)


def caution(found: TakeExposure | None, here: str) -> Sentence:
    """What a take may do to ears, and the advice; `here` is the exposure's reference."""
    if found is None:
        return say("How loud that is isn't known here: start low, ", _ADVICE)
    place = "at one metre" if found.near_m is None else "in front of the radiator"
    away = "" if found.near_m is None else "keep ears away from it, "
    return say(
        "At ",
        quantity(found.drive_v, "V", f"{here}/drive_v", 2),
        " it plays some ",
        quantity(found.level_db, "dB", f"{here}/level_db", 0),
        f" {place}; taken as A-weighted, ",
        Term("NIOSH 98-126"),
        " allows ",
        hours_a_day(found.hours, f"{here}/hours"),
        f" there without protection: {away}",
        _ADVICE,
    )
