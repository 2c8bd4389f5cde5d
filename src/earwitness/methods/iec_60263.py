"""IEC 60263 (1982): scales and sizes for plotting frequency characteristics.

A decade of frequency is as long as 25 dB; 50 dB is admitted too, 10 dB permitted. Recalled.
"""

from __future__ import annotations

from typing import Final

from earwitness.records.sources import Source, Standing

#: Decibels on the ordinate that are as long as one decade on the abscissa (recalled).
DB_PER_DECADE: Final = 25.0
#: Ends of the audible band on the abscissa, Hz.
FREQUENCY_LIMITS_HZ: Final = (20.0, 20_000.0)
#: Labelled ticks of the abscissa, Hz (common practice).
FREQUENCY_TICKS_HZ: Final = (20.0, 50.0, 100.0, 200.0, 500.0, 1e3, 2e3, 5e3, 10e3, 20e3)

SOURCE: Final = Source("IEC 60263", "1982", "", Standing.RECALLED)


def width_over_height(decades: float, span_db: float, db_per_decade: float = DB_PER_DECADE) -> float:
    """Width of the plot area over its height; three decades over 50 dB at 25 dB to the decade: 1.5."""
    return decades * db_per_decade / span_db
