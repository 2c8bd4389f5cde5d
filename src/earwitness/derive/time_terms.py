"""What defines time behaviour, and its source."""

from __future__ import annotations

from typing import Final

from earwitness.records.sources import Source, Standing

SOURCE: Final = Source("Earwitness", "", "time behaviour", Standing.OWN)
#: Where the mean excess group delay is zero: the sound's arrival.
ARRIVAL_BAND_HZ: Final = (5_000.0, 10_000.0)
#: The fall of a burst that is read off.
FALL_DB: Final = -20.0
#: The window of the cumulative decay rises over this, s.
RISE_S: Final = 2e-4
