"""What clean output stays within; defined here."""

from __future__ import annotations

from typing import Final

#: Total harmonic distortion re the fundamental.
CLEAN_DISTORTION: Final = 0.03
#: Change of the fundamental, dB.
CLEAN_CHANGE_DB: Final = 1.0
