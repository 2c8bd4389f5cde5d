"""A load that lasts, and self-noise, as figures of merit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from earwitness.derive.formatting import frequency_text
from earwitness.derive.numerals import quantity
from earwitness.methods import iec_61672
from earwitness.records.figures import Bound, Evidence, Figure, FigureName, NotAvailable, Quantity, Value
from earwitness.records.long_term import (
    CauseVerdict,
    Endurance,
    LoadCause,
    LongTerm,
    SelfNoise,
    TimeConstantFound,
)
from earwitness.records.sentences import Term, say
from earwitness.records.sources import Source, Standing
from earwitness.records.uncertainty import ComponentName

#: Intervals that reach from one end to the other by more than this factor determine nothing.
WIDEST: Final = 4.0
#: Standard deviations from a value to the end of its interval.
WITHIN: Final = 1.96
LEVEL: Final = "level at one metre, dB"
LOADED: Final = "seconds of load"
#: How long a day NIOSH allows at the load's level, taken as A-weighted.
ALLOWED: Final = "a day allowed by NIOSH, h"
DISTANCE: Final = "distance, m"

UNITS: Final = {
    FigureName.LOAD_CHANGE: "dB",
    FigureName.LIMITING: "dB",
    FigureName.COIL_TIME: "s",
    FigureName.MAGNET_TIME: "s",
}
CONDITIONS: Final = {
    FigureName.LOAD_CHANGE: say("the octave that changes most, re a weak signal"),
    FigureName.LIMITING: say("what acts at once, alike in all octaves of a path, and is gone after the load"),
    FigureName.COIL_TIME: say("fitted to what of the change lasts beyond the load"),
    FigureName.MAGNET_TIME: say("fitted to what of the change lasts beyond the load"),
}

SOURCE: Final = Source("Earwitness", "", "endurance", Standing.OWN)


def long_term_figures(found: LongTerm) -> tuple[Figure, ...]:
    """All that there are."""
    figures: tuple[Figure, ...] = ()
    if found.endurance is not None:
        run = found.endurance
        figures += (_change(run), _limiting(run))
        figures += tuple(_time(run, name) for name in (FigureName.COIL_TIME, FigureName.MAGNET_TIME))
    if found.self_noise is not None:
        figures += (_noise(found.self_noise),)
    return figures


def _change(run: Endurance) -> Figure:
    """The octave that changes most: under the load's last second, with what of it lasts beside it."""
    name = FigureName.LOAD_CHANGE
    most = int(np.argmax(np.abs(run.change_db)))
    also = {"frequency": run.octaves_hz[most], "lasting": run.lasting_db[most]}
    for hz, change in zip(run.octaves_hz, run.change_db, strict=True):
        also[f"octave of {frequency_text(hz, 3)}"] = change
    return _figure(run, name, Quantity(run.change_db[most]), also, run.uncertainty_db[most])


def _limiting(run: Endurance) -> Figure:
    """By how much a limiter lowers the level, where it is told from heat."""
    name = FigureName.LIMITING
    weighed = run.weighed(LoadCause.LIMITER)
    also = {f"probability of {cause.cause}": cause.probability for cause in run.causes}
    value: Value
    if weighed.verdict is CauseVerdict.CANNOT_TELL:
        value = NotAvailable("a limiter can't be told from heat here")
    elif weighed.verdict is CauseVerdict.NOT_SEEN:
        value = NotAvailable("no limiter is seen at this level")
    else:
        value = Quantity(weighed.effect_db)
    return _figure(run, name, value, also)


def _time(run: Endurance, name: FigureName) -> Figure:
    """A time constant of the coil that warms most."""
    coil = name is FigureName.COIL_TIME
    weighed = run.weighed(LoadCause.HEAT)
    if not run.coils or weighed.verdict is not CauseVerdict.ACTS:
        return _figure(run, name, NotAvailable("no heat is surely seen"), {})
    warmest = run.coils[0]
    constant = warmest.coil if coil else warmest.magnet
    also = {"from": constant.low_s, "to": constant.high_s, "part of the change": constant.part}
    if constant.high_s > WIDEST * constant.low_s:
        reason = NotAvailable("the load and what came after it were too short to tell")
        return _figure(run, name, reason, {})
    return _figure(run, name, Quantity(constant.value_s), also, _uncertainty(constant))


def _uncertainty(constant: TimeConstantFound) -> float:
    return 0.5 * (constant.high_s - constant.low_s) / WITHIN


def _figure(
    run: Endurance,
    name: FigureName,
    value: Value,
    also: Mapping[str, float],
    uncertainty: float | None = None,
) -> Figure:
    here = f"figure:{name}/also"
    more, conditions = dict(also), CONDITIONS[name]
    if not isinstance(value, NotAvailable):
        more[LOADED] = run.load_s
        conditions += say(", ", quantity(run.load_s, "s", f"{here}/{LOADED}", 0), " of pink noise")
        if run.level_db is not None:
            more[LEVEL] = run.level_db
            if run.hours is not None:
                more[ALLOWED] = run.hours
            conditions += say(" at ", quantity(run.level_db, "dB", f"{here}/{LEVEL}", 0), " at one metre")
    return Figure(
        name=name,
        value=value,
        unit=UNITS[name],
        uncertainty=uncertainty,
        components={} if uncertainty is None else {ComponentName.NOISE: uncertainty},
        conditions=conditions,
        reading="a run",
        valid_band_hz=None if isinstance(value, NotAvailable) else (run.octaves_hz[0], run.octaves_hz[-1]),
        method="acoustics.load_causes.load_causes",
        source=SOURCE,
        evidence=Evidence((), (run.take,)),
        also=more,
    )


def _noise(found: SelfNoise) -> Figure:
    """A-weighted, at the distance at which it was recorded."""
    name = FigureName.SELF_NOISE
    also = {DISTANCE: found.distance_m}
    if found.room_dba is not None:
        also["the room alone, dB(A)"] = found.room_dba
    for hz, level in zip(found.third_octaves_hz, found.third_octaves_db, strict=True):
        also[f"third octave of {frequency_text(hz, 3)}"] = level
    value: Value = Quantity(found.level_dba)
    if found.is_bound:
        value = Bound(found.level_dba, "at most")
    conditions = say(
        Term("A"), "-weighted, at ", quantity(found.distance_m, "m", f"figure:{name}/also/{DISTANCE}", 1)
    )
    return Figure(
        name=name,
        value=value,
        unit="dB",
        uncertainty=None if found.is_bound else found.uncertainty_db,
        components={} if found.is_bound else {ComponentName.NOISE: found.uncertainty_db},
        conditions=conditions,
        reading="A-weighted",
        valid_band_hz=None,
        method="measurement.self_noise.self_noise",
        source=iec_61672.SOURCE,
        evidence=Evidence((), found.takes),
        also=also,
    )
