"""The two type families: a serif voice for sentences, a sans for data. Where their files lie.

The fonts are subsets of two families under the SIL Open Font License 1.1 (`fonts/README.md`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Final

FONTS: Final = Path(__file__).parent / "fonts"
SERIF: Final = "Earwitness Serif"
SANS: Final = "Earwitness Sans"
SERIF_STACK: Final = f'"{SERIF}", Georgia, "Times New Roman", serif'
SANS_STACK: Final = f'"{SANS}", "Helvetica Neue", Arial, sans-serif'


class Cut(StrEnum):
    """A single weight for print; the value is its file."""

    SANS = "EarwitnessSans-Regular.ttf"
    SANS_SEMIBOLD = "EarwitnessSans-Semibold.ttf"
    SERIF = "EarwitnessSerif-Regular.ttf"
    SERIF_SEMIBOLD = "EarwitnessSerif-Semibold.ttf"
    SERIF_ITALIC = "EarwitnessSerif-Italic.ttf"

    @property
    def path(self) -> Path:
        """The TTF file."""
        return FONTS / self.value


@dataclass(frozen=True, slots=True)
class WebFont:
    """A variable font for the page: its family, style, range of weights and file."""

    family: str
    style: str
    weights: tuple[int, int]
    path: Path


WEB_FONTS: Final = (
    WebFont(SANS, "normal", (400, 700), FONTS / "earwitness-sans.woff2"),
    WebFont(SERIF, "normal", (400, 700), FONTS / "earwitness-serif.woff2"),
    WebFont(SERIF, "italic", (400, 700), FONTS / "earwitness-serif-italic.woff2"),
)
LICENCES: Final = (FONTS / "LICENSE-sans.txt", FONTS / "LICENSE-serif.txt")
