"""Exhibits of change with level, from series whose orders are closed forms of a polynomial."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_series import PA_PER_VOLT, VOLTS, series
from specimen import curve_set, facts, results

from earwitness.derive.change_with_level import change_with_level
from earwitness.exhibits.by_drive import drawn_rows
from earwitness.exhibits.clean_output import clean_output
from earwitness.exhibits.compression import compression
from earwitness.exhibits.description import Exhibit, Line, Role
from earwitness.exhibits.distortion import distortion
from earwitness.exhibits.line_ends import line_ends
from earwitness.findings.references import Referent
from earwitness.records.curves import CurveSet
from earwitness.records.distortion import LevelSeries, NearDistortion, Told
from earwitness.records.takes import Drive

A2, A3 = 0.01, -5e-4


def curves(made: LevelSeries) -> CurveSet:
    return replace(curve_set(), level=change_with_level((made,)))


def near(line: Line, hertz: float) -> float:
    return float(line.x[np.argmin(np.abs(np.log(line.x / hertz)))])


def at(line: Line, hertz: float) -> float:
    return float(line.y[np.argmin(np.abs(np.log(line.x / hertz)))])


@pytest.fixture(scope="module")
def bent() -> CurveSet:
    return curves(series({1: 1.0, 2: A2, 3: A3}, corner_hz=200.0))


def shown(exhibit: Exhibit | None) -> Exhibit:
    assert exhibit is not None
    return exhibit


def test_total_and_orders_are_the_polynomials(bent: CurveSet) -> None:
    """x = V√2·cos: fundamental 1 + ¾·a3·x², second a2·x/2, third a3·x²/4, of the corner's 200/f."""
    totals, orders = shown(distortion(bent)).panels
    loudest = 16.0 * np.sqrt(2.0)
    fundamental = 1.0 + 0.75 * A3 * loudest**2
    second, third = 0.5 * A2 * loudest / fundamental, 0.25 * abs(A3) * loudest**2 / fundamental
    first = totals.lines[0]
    assert first.label == "96 dB"
    assert first.label == f"{20 * np.log10(16.0 * fundamental * PA_PER_VOLT / 20e-6):.0f} dB"
    # a mean over a sixth of an octave of what falls as 1/f
    share = 200.0 / near(first, 500.0)
    assert at(first, 500.0) == pytest.approx(100.0 * share * np.hypot(second, third), rel=0.003)
    named = {line.label: line for line in orders.lines}
    x = 8.0 * np.sqrt(2.0)
    whole = 1.0 + 0.75 * A3 * x**2
    assert at(named["second"], 500.0) == pytest.approx(100.0 * share * 0.5 * A2 * x / whole, rel=0.003)
    assert at(named["third"], 500.0) == pytest.approx(
        100.0 * share * 0.25 * abs(A3) * x**2 / whole, rel=0.003
    )
    assert orders.y_axis.label == "orders at 92 dB"
    for panel in (totals, orders):
        assert {text for _, text in panel.y_axis.ticks} >= {"0.3", "1", "3", "10"}
        assert panel.y_axis.logarithmic


def test_what_noise_hides_goes_on_in_dots_below() -> None:
    """H2 re H1 falls as 1/f; noise of one power at all frequencies hides it from some frequency up."""
    made = series({1: 1.0, 2: A2}, noise_power=(0.02 * PA_PER_VOLT) ** 2, seed=5, corner_hz=200.0)
    exhibit = shown(distortion(curves(made)))
    loudest, below, *_ = exhibit.panels[0].lines
    assert (loudest.role, below.role) == (Role.DRIVE_5, Role.BELOW)
    assert below.label == f"{loudest.label}, below"
    last_heard = loudest.x[np.isfinite(loudest.y)][-1]
    first_below = below.x[np.isfinite(below.y)][0]
    assert first_below >= 0.9 * last_heard
    assert "below" in str(exhibit.alt)
    # a name a drive, none twice
    names = [end.text for end in line_ends(exhibit.panels[0])]
    # the louder, the farther down it is heard; names stand in the order of the levels all the same
    heights = [end.y for end in line_ends(exhibit.panels[0])]
    assert heights == sorted(heights, reverse=True)
    # H2 at 1 V is 0.141 Pa/f: ten times the noise of nine orders, 0.019 Pa in all, is above it from 8 Hz up
    assert len(names) == len(set(names)) == len(VOLTS) - 1


def test_names_stand_in_the_order_of_the_lines(bent: CurveSet) -> None:
    ends = line_ends(shown(distortion(bent)).panels[0])
    heights = [end.y for end in ends]
    assert heights == sorted(heights, reverse=True)


def test_change_of_level_is_the_cubics(bent: CurveSet) -> None:
    exhibit = shown(compression(bent))
    kept = 1.0 + 0.75 * A3 * 2.0 * np.array(VOLTS) ** 2
    lost = 20.0 * np.log10(kept / kept[0])
    assert [line.label for line in exhibit.panels[0].lines] == ["96 dB", "92 dB", "86 dB", "80 dB"]
    for line, expected in zip(exhibit.panels[0].lines, lost[:0:-1], strict=True):
        assert at(line, 1000.0) == pytest.approx(expected, abs=1e-3)
    assert f"−{-lost[-1]:.1f} dB at 1 kHz" in str(exhibit.alt)


def test_marks_of_clean_output_differ_in_form() -> None:
    """H2 re H1 passes 3 % below 200·a2·A/2/0.03 Hz; above, 16 V is at least clean."""
    level = change_with_level((series({1: 1.0, 2: A2}, corner_hz=200.0),))
    assert level is not None
    exhibit = shown(clean_output(replace(curve_set(), level=level)))
    by_label = {line.label: line for line in exhibit.panels[0].lines if line.label}
    signs = [line for line in exhibit.panels[0].lines if not line.label]
    assert set(by_label) == {"distortion first", "at least", "less than"}
    assert {sign.role for sign in signs} == {Role.LISTENING_WINDOW, Role.SOUND_POWER}
    passed_hz = 200.0 * 0.5 * A2 * 16.0 * np.sqrt(2.0) / 0.03
    found, at_least = by_label["distortion first"], by_label["at least"]
    assert found.x[np.isfinite(found.y)].max() < passed_hz * 1.3 < at_least.x.min() * 1.6
    # band at 501 Hz (IEC 61260-1, base ten): 3 % is passed at A = 2·0.03·501/200/a2
    volts = 2.0 * 0.03 * 501.2 / 200.0 / A2 / np.sqrt(2.0)
    assert at(found, 501.2) == pytest.approx(20.0 * np.log10(volts * PA_PER_VOLT / 20e-6), abs=0.1)
    assert at(at_least, 4000.0) == pytest.approx(20.0 * np.log10(16.0 * PA_PER_VOLT / 20e-6), abs=0.01)
    # every line's abscissa rises, so that a reader's pointer finds its place
    for line in exhibit.panels[0].lines:
        assert (np.diff(line.x) >= 0.0).all()


def test_change_that_comes_first_has_ends() -> None:
    level = change_with_level((series({1: 1.0, 3: -5e-4}),))
    assert level is not None
    # third: a·x²/4 = 3 % comes before ¾·a·x² = 1 − 10^(−1/20); above 6.7 kHz it doesn't count
    told = dict(zip(np.round(level.band_hz).astype(int).tolist(), level.told.tolist(), strict=True))
    assert (told[1000], told[7943]) == (Told.DISTORTION, Told.CHANGE)
    lines = shown(clean_output(replace(curve_set(), level=replace(level, told=np.where(level.told, 2, 0)))))
    assert [line.role for line in lines.panels[0].lines] == [Role.EARLY_REFLECTIONS] * 2


def test_the_exposure_is_worked_out(bent: CurveSet) -> None:
    """96.2 dB: NIOSH 98-126 allows 8 h/2^((96.2−85)/3) (closed form)."""
    caption = str(shown(clean_output(bent)).caption)
    level = bent.level
    assert level is not None
    minutes = 60.0 * 8.0 * 2.0 ** (-(float(level.arrived_db[-1]) - 85.0) / 3.0)
    assert level.hours * 60.0 == pytest.approx(minutes, rel=1e-9)
    assert f"allows {minutes:.0f} min a day" in caption
    assert "local law and qualified advice come first" in caption


def test_every_number_is_what_its_reference_names(bent: CurveSet) -> None:
    referent = Referent(facts(), results().figures, bent)
    made = [shown(family(bent)) for family in (distortion, compression, clean_output)]
    numbers = [n for e in made for s in (e.caption, e.conditions, e.alt) for n in s.numbers]
    assert len(numbers) > 40
    for number in numbers:
        assert referent.resolve(number.reference) == pytest.approx(number.value, rel=1e-9), number


def test_without_a_second_drive_there_are_none() -> None:
    one = series({1: 1.0, 2: A2})
    cut = {name: getattr(one, name)[:1] for name in ("takes", "drives", "pressure", "noise_power", "valid")}
    for family in (distortion, compression, clean_output):
        assert family(curves(replace(one, **cut))) is None
        assert family(curve_set()) is None


def test_at_most_five_drives_the_stated_and_the_highest_among_them() -> None:
    level = change_with_level((series({1: 1.0, 2: A2}),))
    assert level is not None
    for count in range(2, 12):
        for stated in range(count):
            many = replace(level, drives=level.drives[:1] * count, stated=stated)
            rows = drawn_rows(many, 0)
            assert len(rows) == min(5, count)
            assert rows[-1] == count - 1
            assert stated in rows


def test_radiators_by_themselves_have_a_panel_of_their_own(bent: CurveSet) -> None:
    assert bent.level is not None
    points = bent.frequency_hz.size
    known = np.where(bent.frequency_hz < 300.0, 0.02, np.nan)
    near = (
        NearDistortion("lower_woofer", Drive(8.0), np.full(points, 0.01), known),
        NearDistortion("port", Drive(8.0), np.full(points, 0.001), np.full(points, np.nan)),
    )
    exhibit = shown(distortion(replace(bent, level=replace(bent.level, near=near))))
    panel = exhibit.panels[-1]
    assert panel.y_axis.label == "one radiator at 8 V"
    assert [line.label for line in panel.lines] == [
        "lower woofer, at 1 m",
        "lower woofer, near",
        "port, near",
    ]
    assert at(panel.lines[0], 100.0) == pytest.approx(2.0)
    assert not np.isfinite(at(panel.lines[0], 1000.0))
    assert "each radiator by itself" in str(exhibit.caption)
    assert len(shown(distortion(bent)).panels) == 2
