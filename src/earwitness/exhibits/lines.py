"""Lines of a picture, from curves: only where valid, only those that have something to show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from earwitness.exhibits.description import Line, Role
from earwitness.records.curves import Curve, CurveName, CurveSet
from earwitness.records.grid import Floats

#: Shorter names at line ends, for narrow screens.
SHORT: Final[Mapping[CurveName, str]] = {
    CurveName.LISTENING_WINDOW: "window",
    CurveName.EARLY_REFLECTIONS: "early",
    CurveName.EARLY_REFLECTIONS_DI: "early",
    CurveName.SOUND_POWER: "power",
    CurveName.SOUND_POWER_DI: "power",
    CurveName.ESTIMATED_IN_ROOM: "in-room",
}
#: In a panel that shows nothing but indices, the word would only repeat its heading.
LONG: Final[Mapping[CurveName, str]] = {
    CurveName.EARLY_REFLECTIONS_DI: "early reflections",
    CurveName.SOUND_POWER_DI: "sound power",
}


def lines(curves: CurveSet, roles: Mapping[CurveName, Role]) -> tuple[Line, ...]:
    """The available curves of `roles`, in its order."""
    return tuple(
        line(curves.frequency_hz, curves.curves[name], role)
        for name, role in roles.items()
        if name in curves.curves and curves.curves[name].available
    )


def line(frequency_hz: Floats, curve: Curve, role: Role) -> Line:
    """One curve as a line with its uncertainty, NaN where it isn't valid."""
    return Line(
        curve=curve.name.value,
        label=LONG.get(curve.name, curve.name.words),
        role=role,
        x=frequency_hz,
        y=np.where(curve.valid, curve.level_db, np.nan),
        uncertainty=np.where(curve.valid, curve.uncertainty_db, np.nan),
        short=SHORT.get(curve.name, ""),
    )
