"""What comes again each period above the tenth order, as a figure: where most of it is, from which drive."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from earwitness.acoustics import recurring
from earwitness.derive.numerals import quantity
from earwitness.derive.tone_figures import HOURS, LEVEL
from earwitness.methods.hearing_exposure import niosh_hours_a_day
from earwitness.methods.iec_60268_5 import REFERENCE_VOLTAGE_V
from earwitness.records.figures import Evidence, Figure, FigureName, Quantity
from earwitness.records.sentences import Term, say
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import Drive
from earwitness.records.tones import Rattle

FROM: Final = "from a drive of"
PART: Final = "there re the whole sound, dB"
SIXTH: Final = 2.0 ** (1.0 / 6.0)

SOURCE: Final = Source("Earwitness", "", "what comes again each period", Standing.OWN)


def rattle_figures(found: Sequence[Rattle], sensitivity: Figure | None = None) -> tuple[Figure, ...]:
    """One where it is seen at the greatest drive; none elsewhere.

    By the `sensitivity` follows how loud the greatest drive is, and the hours that NIOSH allows there.
    """
    rattling: list[tuple[Rattle, int]] = []
    for one in sorted(found, key=lambda rattle: rattle.drive, reverse=True):
        band = strongest(one)
        if band is None:
            break
        rattling.append((one, band))
    if not rattling:
        return ()
    lowest, _ = rattling[-1]
    loudest, band = rattling[0]
    name = FigureName.RATTLE
    hertz = loudest.bands_hz[band]
    here = f"figure:{name}/also/{PART}"
    return (
        Figure(
            name=name,
            value=Quantity(hertz),
            unit="Hz",
            uncertainty=None,
            components={},
            conditions=say(
                "from ",
                Term(lowest.drive.label),
                " up; at ",
                Term(loudest.drive.label),
                " ",
                quantity(loudest.part_db[band], "dB", here, 0),
                " re the whole sound",
            ),
            reading="alike from period to period, above the tenth order",
            valid_band_hz=(hertz / SIXTH, hertz * SIXTH),
            method="acoustics.recurrence.recurrence",
            source=SOURCE,
            evidence=Evidence((), tuple(one.take for one, _ in reversed(rattling))),
            also={FROM: lowest.drive.value, PART: loudest.part_db[band]}
            | _exposure(loudest.drive, sensitivity),
        ),
    )


def _exposure(drive: Drive, sensitivity: Figure | None) -> dict[str, float]:
    if drive.unit != "V" or sensitivity is None or not isinstance(sensitivity.value, Quantity):
        return {}
    level_db = sensitivity.value.value + 20.0 * math.log10(drive.value / REFERENCE_VOLTAGE_V)
    return {LEVEL: level_db, HOURS: float(niosh_hours_a_day(level_db))}


def strongest(one: Rattle) -> int | None:
    """The band in which it is strongest re the whole sound; None where it isn't seen."""
    bands = (i for i, is_seen in enumerate(seen(one)) if is_seen)
    return max(bands, key=lambda i: one.part_db[i], default=None)


def seen(one: Rattle) -> tuple[bool, ...]:
    """In which of its bands it is seen."""
    return tuple(recurring.seen(one.alike, one.part_db, one.rest_db, one.noise_db).tolist())
