"""Make the vendored fonts again from the upstream variable fonts: `make_fonts.py SANS SERIF SERIF_ITALIC`.

Needs fontTools and brotli. The three arguments are the upstream variable TTF files; the results are written
beside this script. The families are renamed because the licence reserves the upstream name for unmodified
fonts, and a subset is a modified one.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from fontTools import subset
from fontTools.ttLib import TTFont
from fontTools.varLib import instancer

HERE: Final = Path(__file__).parent
VERSION: Final = "Version 1.0"

#: Basic Latin to Latin Extended-A, Greek, general punctuation, arrows, mathematical signs.
CHARACTERS: Final = (
    *range(0x20, 0x7F),
    *range(0xA0, 0x180),
    *(0x218, 0x219, 0x21A, 0x21B, 0x1E9E, 0x2C6, 0x2C7, 0x2DA, 0x2DC),
    *range(0x391, 0x3CA),
    *range(0x2010, 0x2028),
    *(0x202F, 0x2030, 0x2032, 0x2033, 0x2039, 0x203A, 0x2044, 0x2070, 0x20AC, 0x2116, 0x2122, 0x2126),
    *range(0x2074, 0x208F),
    *range(0x2150, 0x215F),
    *range(0x2190, 0x2194),
    *(0x2202, 0x2206, 0x220F, 0x2211, 0x2212, 0x2215, 0x221A, 0x221E, 0x222B, 0x2248, 0x2260, 0x2264, 0x2265),
)
FEATURES: Final = (
    "kern",
    "liga",
    "ccmp",
    "locl",
    "mark",
    "mkmk",
    "tnum",
    "lnum",
    "pnum",
    "sups",
    "subs",
    "frac",
)

#: The optical size that suits sentences of 15 to 21 px and still carries a title.
OPTICAL_SIZE: Final = 16.0


@dataclass(frozen=True, slots=True)
class Cut:
    """One font to make: its file, family and style, and the weight (one value, or a range for the page)."""

    file: str
    family: str
    style: str
    weight: float | tuple[float, float]


CUTS: Final = {
    "sans": (
        Cut("earwitness-sans.woff2", "Earwitness Sans", "Regular", (400.0, 700.0)),
        Cut("EarwitnessSans-Regular.ttf", "Earwitness Sans", "Regular", 400.0),
        Cut("EarwitnessSans-Semibold.ttf", "Earwitness Sans", "Semibold", 600.0),
    ),
    "serif": (
        Cut("earwitness-serif.woff2", "Earwitness Serif", "Regular", (400.0, 700.0)),
        Cut("EarwitnessSerif-Regular.ttf", "Earwitness Serif", "Regular", 400.0),
        Cut("EarwitnessSerif-Semibold.ttf", "Earwitness Serif", "Semibold", 600.0),
    ),
    "serif_italic": (
        Cut("earwitness-serif-italic.woff2", "Earwitness Serif", "Italic", (400.0, 700.0)),
        Cut("EarwitnessSerif-Italic.ttf", "Earwitness Serif", "Italic", 400.0),
    ),
}


def cut(upstream: Path, wanted: Cut) -> TTFont:
    """Subset the upstream variable font, pin or limit its axes, and rename it."""
    font = TTFont(upstream)
    options = subset.Options(
        layout_features=list(FEATURES),
        name_IDs=["*"],
        hinting=False,
        notdef_outline=True,
        drop_tables=["STAT"],
    )
    subsetter = subset.Subsetter(options)
    subsetter.populate(unicodes=CHARACTERS)
    subsetter.subset(font)
    limits: dict[str, float | tuple[float, float]] = {"wght": wanted.weight}
    if any(axis.axisTag == "opsz" for axis in font["fvar"].axes):
        limits["opsz"] = OPTICAL_SIZE
    font = instancer.instantiateVariableFont(font, limits)
    rename(font, wanted)
    return font


def rename(font: TTFont, wanted: Cut) -> None:
    """Give the font its own family name, style and weight class, and a fixed date."""
    names = font["name"]
    kept = {record.nameID: record.toUnicode() for record in names.names if record.nameID in {0, 13, 14}}
    names.names = []
    plain = wanted.style in {"Regular", "Italic"}
    full = f"{wanted.family} {wanted.style}"
    entries = {
        **kept,
        1: wanted.family if plain else full,
        2: wanted.style if plain else "Regular",
        3: f"{VERSION};{full}",
        4: full,
        5: VERSION,
        6: full.replace(" ", "", 1).replace(" ", "-"),
        16: wanted.family,
        17: wanted.style,
    }
    for number, text in sorted(entries.items()):
        names.setName(text, number, 3, 1, 0x409)
    font["OS/2"].usWeightClass = 400 if isinstance(wanted.weight, tuple) else int(wanted.weight)
    font["head"].modified = font["head"].created
    font.recalcTimestamp = False


def main(arguments: list[str]) -> None:
    """Make every font from the three upstream files."""
    for (upstream, cuts), path in zip(CUTS.items(), arguments, strict=True):
        for wanted in cuts:
            font = cut(Path(path), wanted)
            font.flavor = "woff2" if wanted.file.endswith(".woff2") else None
            font.save(HERE / wanted.file)
            print(f"{upstream}: {wanted.file} {(HERE / wanted.file).stat().st_size // 1024} KiB")


if __name__ == "__main__":
    main(sys.argv[1:])
