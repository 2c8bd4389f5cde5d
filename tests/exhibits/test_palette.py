"""Contrast by WCAG 2.2, definition of relative luminance and success criterion 1.4.3 (4.5 : 1)."""

from __future__ import annotations

import itertools

import pytest

from earwitness.exhibits.description import Role
from earwitness.exhibits.palette import STROKES, TOKENS, Mode, steps, translucent

LEAST_CONTRAST = 4.5


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_wcags() -> None:
    # WCAG 2.2: black on white is 21 : 1; #777777 on white is 4.48 : 1 (widely quoted, just below 4.5).
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("mode", Mode)
@pytest.mark.parametrize("ground", ["ground", "raised"])
def test_everything_that_is_read_stands_out_from_its_ground(mode: Mode, ground: str) -> None:
    tokens = TOKENS[mode]
    behind = getattr(tokens, ground)
    read = [*tokens.roles.values(), tokens.text, tokens.quiet, tokens.accent]
    assert min(contrast(colour, behind) for colour in read) >= LEAST_CONTRAST


@pytest.mark.parametrize("mode", Mode)
def test_the_ladder_steps_down_from_the_direct_sound(mode: Mode) -> None:
    tokens = TOKENS[mode]
    ladder = [Role.ON_AXIS, Role.LISTENING_WINDOW, Role.EARLY_REFLECTIONS, Role.SOUND_POWER]
    seen = [contrast(tokens.roles[role], tokens.ground) for role in ladder]
    assert seen[0] == max(seen)
    weights = [STROKES[role].weight for role in ladder]
    assert weights == sorted(weights, reverse=True)
    assert len({(tokens.roles[r], STROKES[r]) for r in ladder}) == len(ladder)


@pytest.mark.parametrize("mode", Mode)
def test_the_ramp_runs_one_way_from_the_ground(mode: Mode) -> None:
    tokens = TOKENS[mode]
    away = [contrast(colour, tokens.ground) for colour in tokens.ramp]
    assert len(tokens.ramp) <= 8
    assert all(nearer * 1.05 < further for nearer, further in itertools.pairwise(away))
    assert away[0] < 1.2
    assert away[-1] > 10.0


@pytest.mark.parametrize("mode", Mode)
def test_the_heavy_line_stands_out_from_the_areas_beside_it(mode: Mode) -> None:
    tokens = TOKENS[mode]
    beside = steps(tokens, 7)[4:6]
    # WCAG 2.2, 1.4.11: graphics that carry meaning need 3 : 1.
    assert min(contrast(tokens.ground, colour) for colour in beside) >= 3.0


def test_steps_keep_both_ends_of_the_ramp() -> None:
    tokens = TOKENS[Mode.LIGHT]
    assert steps(tokens, 1) == tokens.ramp[:1]
    for count in range(2, 9):
        taken = steps(tokens, count)
        assert (taken[0], taken[-1]) == (tokens.ramp[0], tokens.ramp[-1])
        assert len(set(taken)) == count
    with pytest.raises(ValueError, match="1 to 8 steps, not 9"):
        steps(tokens, 9)


def test_translucent() -> None:
    assert translucent("#b4431f", 0.15) == "rgba(180,67,31,0.15)"
