from __future__ import annotations

import pytest
from fontTools.ttLib import TTFont

from earwitness.exhibits.typefaces import FONTS, LICENCES, WEB_FONTS, Cut

NEEDED = "−×±≤≥°µμλΩθ√–—“”‘’…→←•½·≈∞²³≠″′ćßłéÅ"
MOST_BYTES = 1_200_000


@pytest.mark.parametrize("cut", Cut)
def test_every_sign_of_our_prose_is_in_every_cut(cut: Cut) -> None:
    with TTFont(cut.path) as font:
        drawn = font.getBestCmap()
    assert [sign for sign in NEEDED if ord(sign) not in drawn] == []


@pytest.mark.parametrize("cut", Cut)
def test_modified_fonts_dont_carry_the_reserved_name(cut: Cut) -> None:
    # SIL Open Font License 1.1, condition 3.
    with TTFont(cut.path) as font:
        assert "Source" not in (font["name"].getBestFamilyName() or "")
        assert font["name"].getDebugName(1).startswith("Earwitness")


def test_the_fonts_are_small_and_carry_their_licences() -> None:
    files = [*(cut.path for cut in Cut), *(font.path for font in WEB_FONTS)]
    assert sum(path.stat().st_size for path in files) < MOST_BYTES
    assert {path.name for path in files} == {
        p.name for p in FONTS.iterdir() if p.suffix in {".ttf", ".woff2"}
    }
    assert all("SIL OPEN FONT LICENSE" in path.read_text("utf-8") for path in LICENCES)


def test_the_pages_fonts_are_woff2() -> None:
    # W3C WOFF File Format 2.0, section 4: the signature is "wOF2".
    assert all(font.path.read_bytes()[:4] == b"wOF2" for font in WEB_FONTS)
