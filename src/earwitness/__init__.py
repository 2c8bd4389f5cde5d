"""Earwitness: from raw loudspeaker measurements to statements that stand up."""

from typing import Final

__version__: Final = "0.1.0"
