"""Of an active loudspeaker: how loud it plays at the drive that was used, and how late."""

from __future__ import annotations

from typing import Final

from earwitness.derive.curves import DerivedCurves
from earwitness.derive.level_figures import mean_on_axis
from earwitness.derive.level_form import drive_key
from earwitness.derive.reference_drive import at_terminals
from earwitness.derive.wording import band_words, module_number
from earwitness.methods.gum import combined
from earwitness.methods.hearing_exposure import niosh_hours_a_day
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ
from earwitness.records.active import Latency
from earwitness.records.curves import CurveName
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Evidence, Figure, FigureName, NotAvailable, Quantity, Value
from earwitness.records.sentences import Term, say
from earwitness.records.sources import Source, Standing
from earwitness.records.uncertainty import NEGLIGIBLE, ComponentName

SOURCE: Final = Source("Earwitness", "", "active loudspeakers", Standing.OWN)
#: How long a day NIOSH allows that level, taken as A-weighted.
HOURS: Final = "time a day at that level by NIOSH, h"
FLIGHT: Final = "of the way through the air, ms"
_MS: Final = 1e3
_ZERO_K: Final = 273.15


def active_figures(derived: DerivedCurves, found: Latency, facts: CaseFacts) -> tuple[Figure, ...]:
    """Both of an active loudspeaker; none of a passive one."""
    if at_terminals(derived.takes.drive):
        return ()
    return _level(derived), _latency(found, facts)


def _level(derived: DerivedCurves) -> Figure:
    """Mean level on axis from 300 Hz to 3 kHz at 1 m at the drive of the takes, read as sensitivity is."""
    curve, drive = CurveName.ON_AXIS, derived.takes.drive
    value, spread = mean_on_axis(derived)
    also = {drive_key(drive.unit): drive.value}
    if isinstance(value, Quantity):
        also[HOURS] = float(niosh_hours_a_day(value.value))
    return Figure(
        name=FigureName.LEVEL_AT_DRIVE,
        value=value,
        unit="dB",
        uncertainty=spread.total,
        components=spread.components,
        conditions=say(
            "on axis, mean power over log frequency, ",
            band_words("iec_60268_5", "SENSITIVITY_BAND_HZ", SENSITIVITY_BAND_HZ),
            ", driven with ",
            Term(drive.label),
            ", at ",
            module_number("1 m", 1.0, "iec_60268_5/REFERENCE_DISTANCE_M"),
        ),
        reading="power mean",
        valid_band_hz=None if isinstance(value, NotAvailable) else SENSITIVITY_BAND_HZ,
        method="derive.active_figures.active_figures",
        source=SOURCE,
        evidence=Evidence((curve,), derived.curves[curve].takes),
        also=also,
    )


def _latency(found: Latency, facts: CaseFacts) -> Figure:
    """Of the treble on axis, after the loopback, less the way through the air, ms."""
    value: Value = NotAvailable(found.missing)
    also: dict[str, float] = {}
    components: dict[ComponentName, float | None] = {}
    if found.latency_s is not None and found.flight_s is not None:
        value = Quantity(_MS * found.latency_s)
        also[FLIGHT] = _MS * found.flight_s
        warmth, unsure_k = facts.rig.temperature_c, facts.uncertainty.temperature_k
        air_s = None
        if warmth is not None and unsure_k is not None:
            # the speed of sound goes with the root of the absolute temperature
            air_s = 0.5 * found.flight_s * unsure_k / (_ZERO_K + warmth)
        parts = {ComponentName.REPEAT: found.scatter_s, ComponentName.TEMPERATURE: air_s}
        components = {name: None if part is None else _MS * part for name, part in parts.items()}
    known = [part for part in components.values() if part is not None and part >= NEGLIGIBLE]
    return Figure(
        name=FigureName.LATENCY,
        value=value,
        unit="ms",
        uncertainty=float(combined(known)) if known else None,
        components=components,
        conditions=say(
            "treble on axis, from ",
            Term("4 kHz"),
            " to ",
            Term("16 kHz"),
            ", after the loopback, less the way through the air",
        ),
        reading="treble",
        valid_band_hz=None,
        method="measurement.latency.latency",
        source=SOURCE,
        evidence=Evidence((), found.takes),
        also=also,
    )
