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
    bare = Point(PointName.HUM, Verdict.CANNOT_TELL, say("Untold."), EMPTY, say("Do."))
    return Quality(1, "id", "case", (bare, *points))


def test_each_point_with_lines_has_a_picture_lettered_on() -> None:
    shown = describe_quality(quality(), after=8)
    assert [(e.letter, e.id) for e in shown] == [
        ("I", "quality-signal-to-noise"),
        ("J", "quality-latency"),
        ("K", "quality-clocks"),
        ("L", "quality-order-of-directions"),
        ("M", "quality-levels-of-directions"),
        ("N", "quality-zero-of-angles"),
        ("O", "quality-first-against-last"),
        ("P", "quality-orbits"),
        ("Q", "quality-left-against-right"),
        ("R", "quality-reference-loudspeaker"),
    ]
    assert all("Said." in str(e.alt) for e in shown)


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
        picture(quality().point(PointName.HUM))


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
    assert [line.verdict for line in part.lines] == [Verdict.LOOK, Verdict.CANNOT_TELL, *[Verdict.FINE] * 9]
    assert [line.wants_attention for line in part.lines] == [True, *[False] * 10]
    assert str(part.summary) == "The data are fit to conclude from; to look at: orbits on axis."
    assert part.lines[0].picture is not None
    assert (part.lines[0].picture.id, part.lines[0].picture.letter) == ("quality-orbits", "D")
    assert part.lines[1].picture is None
    assert part.fit
    unfit = replace(quality(), points=(replace(quality().points[0], verdict=Verdict.UNFIT),))
    assert str(quality_part(unfit).summary) == "The data aren’t fit to conclude from: hum."
    fine = replace(quality(), points=(replace(quality().points[1], verdict=Verdict.FINE),))
    assert "nothing that could be checked is wrong" in str(quality_part(fine).summary)
    untold = replace(quality(), points=quality().points[:1])
    assert str(quality_part(untold).summary).startswith("Whether the data are fit to conclude from can’t be")
    both = replace(quality(), points=quality().points[:2])
    assert str(quality_part(both).summary).endswith("is wrong. What can’t be told: hum.")
