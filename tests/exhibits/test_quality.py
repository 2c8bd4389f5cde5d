"""Pictures of points of quality: which there are, what they show, and that both renderers draw them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from earwitness.exhibits import matplotlib, plotly
from earwitness.exhibits.bands import outlines
from earwitness.exhibits.description import Role
from earwitness.exhibits.quality import describe_quality, picture
from earwitness.publication.quality import quality_part
from earwitness.records.quality import Point, PointName, Quality, Series, Verdict
from earwitness.records.sentences import EMPTY, say

X = (500.0, 1000.0, 2000.0)
SERIES = {
    PointName.SIGNAL_TO_NOISE: (
        Series("on axis", X, (60.0, 120.0, 40.0)),
        Series("worst take", X, (30.0, None, 20.0)),
    ),
    PointName.CLIPPING: (
        Series("peaks", (1.0, 2.0), (-12.0, -3.0)),
        Series("limit", (1.0, 2.0), (-1.0, -1.0)),
    ),
    PointName.HUM: (
        Series("multiples", (50.0, 100.0), (1.0, 22.0)),
        Series("limit", (50.0, 100.0), (12.0, 12.0)),
    ),
    PointName.FLIGHT: (Series("takes on axis", (1.0,), (12.0,)), Series("limit", (1.0, 2.0), (-30.0, -30.0))),
    PointName.POLARITY: (Series("horizontal", (-90.0, 0.0, 90.0), (1.0, -0.98, 0.99)),),
    PointName.MISSING: (Series("vertical", (-90.0, 0.0, 90.0), (1.0, 6.0, 0.0)),),
    PointName.REPEATS: (
        Series("1", X, (0.1, -0.1, 0.0)),
        Series("2", X, (-0.1, 0.1, 0.0)),
        Series("3, set aside", X, (4.0, None, 3.0)),
    ),
    PointName.HEIGHTS: (
        Series("on axis", (-1.0, 0.0, 3.0), (-60.0, 0.0, -20.0)),
        Series("floor due", (3.3, 3.3), (-60.0, 0.0)),
    ),
    PointName.SPLICE: (Series("horizontal", (-90.0, 0.0, 90.0), (0.4, 0.1, None)),),
    PointName.CALIBRATION: (Series("chain", (1.0, 2.0), (0.0, 0.31)),),
    PointName.LATENCY: (Series("horizontal", (-90.0, 0.0, 90.0), (0.1, 0.0, 0.6)),),
    PointName.CLOCKS: (Series("vertical", (-30.0, 0.0, 30.0), (-25.0, -20.0, -30.0)),),
    PointName.ORDER: (Series("horizontal", (-90.0, 0.0, 90.0), (-6.0, 0.0, -7.0)),),
    PointName.LEVELS: (Series("horizontal", (-90.0, 0.0, 90.0), (0.1, 1.2, None)),),
    PointName.ZERO: (Series("horizontal", (-30.0, 0.0, 30.0), (4.0, 0.5, 5.0)),),
    PointName.FIRST_LAST: (Series("last less first", X, (0.0, -0.1, -1.0), (0.05, 0.05, 0.1)),),
    PointName.ORBITS: (Series("on axis", X, (0.2, -0.3, 1.4)), Series("behind", X, (None, 0.1, 0.2))),
    PointName.LEFT_RIGHT: (Series("both sides", X, (0.1, 0.4, 2.2)),),
    PointName.REFERENCE: (
        Series("mean level", (1.0, 2.0, 3.0, 4.0), (84.0, 84.1, 83.9, 85.2)),
        Series("upper limit", (1.0, 2.0, 3.0, 4.0), (84.4,) * 4),
        Series("lower limit", (1.0, 2.0, 3.0, 4.0), (83.6,) * 4),
    ),
}
ENDS = (PointName.SIGNAL_TO_NOISE, PointName.FIRST_LAST, PointName.REFERENCE)


def quality() -> Quality:
    points = [
        Point(
            name,
            Verdict.LOOK if name is PointName.ORBITS else Verdict.FINE,
            say("Said."),
            say("so much"),
            series=s,
        )
        for name, s in SERIES.items()
    ]
    points.sort(key=lambda point: list(PointName).index(point.name))
    bare = Point(PointName.RECORDINGS, Verdict.CANNOT_TELL, say("Untold."), EMPTY, say("Do."))
    return Quality(1, "id", "case", (bare, *points))


def test_each_point_with_lines_has_a_picture_lettered_on() -> None:
    shown = describe_quality(quality(), after=8)
    letters = ["I", "J", "K", "L", "M", "N", "O", "P", "Q", "R", "S", "T", "U", "V", "W", "X", "Y", "Z", "AA"]
    points = [name for name in PointName if name in SERIES]
    assert [e.letter for e in shown] == letters[: len(points)]
    assert [e.id for e in shown] == [f"quality-{str(name).replace('_', '-')}" for name in points]
    assert all("Said." in str(e.alt) for e in shown)


def test_every_point_but_the_refusals_has_a_picture() -> None:
    line = (Series("horizontal", (-90.0, 0.0), (-0.5, 0.1)), Series("limit", (-90.0, 0.0), (1.0, 1.0)))
    without = set()
    for name in PointName:
        try:
            picture(Point(name, Verdict.FINE, say("Said."), EMPTY, series=line))
        except LookupError:
            without.add(name)
    # A recording that doesn't hold its whole sweep is refused, and never comes this far.
    assert without == {PointName.RECORDINGS}


def test_axes_that_count_or_compare_hold_what_can_come() -> None:
    shown = {e.id: e.panels[0] for e in describe_quality(quality())}
    polarity = shown["quality-polarity"].y_axis
    assert (polarity.minimum, polarity.maximum, polarity.heading) == (-1.2, 1.2, "alike")
    missing = shown["quality-missing-directions"].y_axis
    assert (missing.minimum, missing.maximum) == (0.0, 7.0)
    heights = shown["quality-heights"]
    assert (heights.x_axis.minimum, heights.x_axis.maximum) == (-1.0, 3.3)
    assert (heights.y_axis.minimum, heights.y_axis.maximum) == (-60.0, 0.0)
    assert shown["quality-hum"].y_axis.heading == "over the noise, dB"
    roles = [line.role for line in shown["quality-repeats"].lines]
    assert roles == [Role.QUIET, Role.QUIET, Role.SOUND_POWER]


def test_letters_go_on_after_z() -> None:
    shown = describe_quality(quality(), after=24)
    assert [e.letter for e in shown[:4]] == ["Y", "Z", "AA", "AB"]


def test_pictures_over_the_angle_reach_as_far_as_what_was_measured() -> None:
    shown = {e.id: e.panels[0] for e in describe_quality(quality())}
    clocks = shown["quality-clocks"]
    assert (clocks.x_axis.minimum, clocks.x_axis.maximum) == (-30.0, 30.0)
    assert clocks.y_axis.unit == "µs"
    assert clocks.y_axis.minimum < -30.0
    assert shown["quality-order-of-directions"].x_axis.maximum == 90.0


def test_takes_on_axis_alone_have_a_picture() -> None:
    alone = replace(
        quality().point(PointName.LATENCY), series=(Series("horizontal", (0.0, 0.0), (0.1, 0.2)),)
    )
    axis = picture(alone).panels[0].x_axis
    assert (axis.minimum, axis.maximum) == (-10.0, 10.0)


def test_a_point_without_anything_known_has_none() -> None:
    bare = replace(quality().point(PointName.ORBITS), series=(Series("on axis", X, (None, None, None)),))
    assert describe_quality(replace(quality(), points=(bare,))) == ()
    with pytest.raises(LookupError):
        picture(quality().point(PointName.RECORDINGS))


def test_lines_keep_their_values_gaps_and_bands() -> None:
    noise, last, chart = (picture(quality().point(name)) for name in ENDS)
    on_axis, worst = noise.panels[0].lines
    assert on_axis.y.tolist() == [60.0, 90.0, 40.0]  # 90 dB are as good as 120
    assert worst.y[0] == 30.0
    assert worst.y[1] != worst.y[1]
    assert last.panels[0].lines[0].uncertainty is not None
    low, high = chart.panels[0].y_axis.minimum, chart.panels[0].y_axis.maximum
    assert low < 83.6
    assert high > 85.2
    assert [line.role for line in chart.panels[0].lines] == [Role.ON_AXIS, Role.TREND, Role.TREND]


def test_a_band_of_octaves_keeps_every_octave() -> None:
    (line,) = picture(quality().point(PointName.FIRST_LAST)).panels[0].lines
    (ring,) = outlines(line)
    # Up along the upper edge, back along the lower: 0.0 ± 0.05, −0.1 ± 0.05, −1.0 ± 0.1.
    assert ring[:6, 1] == pytest.approx([0.05, -0.05, -0.9, -1.1, -0.15, -0.05])


def test_both_renderers_draw_them() -> None:
    for exhibit in describe_quality(quality()):
        assert matplotlib.draw(exhibit).startswith(b"<?xml")
        assert plotly.interactive(exhibit)


def test_what_wants_attention_stands_first_on_the_page() -> None:
    part = quality_part(quality(), after=3)
    assert [line.verdict for line in part.lines] == [Verdict.LOOK, Verdict.CANNOT_TELL, *[Verdict.FINE] * 18]
    assert [line.wants_attention for line in part.lines] == [True, *[False] * 19]
    assert str(part.summary) == "The data are fit to conclude from; to look at: orbits on axis."
    assert part.lines[0].picture is not None
    assert (part.lines[0].picture.id, part.lines[0].picture.letter) == ("quality-orbits", "D")
    assert part.lines[1].picture is None
    assert part.fit
    unfit = replace(quality(), points=(replace(quality().points[0], verdict=Verdict.UNFIT),))
    assert str(quality_part(unfit).summary) == "The data aren’t fit to conclude from: recordings."
    fine = replace(quality(), points=(replace(quality().points[1], verdict=Verdict.FINE),))
    assert "nothing that could be checked is wrong" in str(quality_part(fine).summary)
    untold = replace(quality(), points=quality().points[:1])
    assert str(quality_part(untold).summary).startswith("Whether the data are fit to conclude from can’t be")
    both = replace(quality(), points=quality().points[:2])
    assert str(quality_part(both).summary).endswith("is wrong. What can’t be told: recordings.")
