"""What is said to be heard: against quadrature, published orders, and what a level must do to it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy.integrate import quad

from earwitness.findings.audibility import Change, audibility, distortion_audibility
from earwitness.findings.feature_change import feature_changes, part_unsure
from earwitness.methods import cta_2034
from earwitness.records.audibility import Audibility, Heard
from earwitness.records.features import Feature, FeaturePlace
from earwitness.records.grid import derived_grid
from earwitness.records.responses import Directivity
from earwitness.records.sentences import Number
from earwitness.records.takes import ON_AXIS, Direction, Drive, Orbit

Float64s = npt.NDArray[np.float64]
GRID_HZ = derived_grid()


def section_db(f0: float, gain_db: float, q: float) -> Float64s:
    """Level of (s² + g·s·ω₀/Q + ω₀²)/(s² + s·ω₀/Q + ω₀²), dB."""
    s = 1j * GRID_HZ / f0
    gain = 10.0 ** (gain_db / 20.0)
    return np.asarray(20.0 * np.log10(np.abs((s * s + gain * s / q + 1.0) / (s * s + s / q + 1.0))))


def told(level_db: Float64s, programme_db: float = 75.0, unsure: float = 0.0) -> Audibility:
    return audibility(GRID_HZ, [Change("on axis", level_db, level_db)], unsure, programme_db)


def test_a_change_at_all_frequencies_is_itself() -> None:
    one = told(np.full(GRID_HZ.shape, 2.0))
    # Where the threshold in quiet is far below the noise nothing else changes it.
    assert one.excitation_change_db == pytest.approx(2.0, abs=1e-3)
    assert one.verdict is Heard.LIKELY
    assert told(np.full(GRID_HZ.shape, 0.3)).verdict is Heard.UNLIKELY
    assert told(np.full(GRID_HZ.shape, -1.2)).verdict is Heard.MAYBE


def test_a_peak_by_quadrature() -> None:
    # Level in an ERB about 1 kHz of pink noise at 75 dB: 75 + 10·lg(ln(1066.3/933.7)/ln 1000) = 57.84 dB.
    level = 75.0 + 10.0 * np.log10(np.log(1066.32 / 933.68) / np.log(1000.0))
    p_high = 4000.0 / 132.639
    p_low = p_high - 0.35 * (level - 51.0)

    def integrand(hz: float, gain_db: float) -> float:
        slope = p_low if hz < 1000.0 else p_high
        reach = slope * abs(hz - 1000.0) / 1000.0
        s = 1j * hz / 1000.0
        gain = 10.0 ** (gain_db / 20.0)
        power = abs((s * s + gain * s / 10.0 + 1.0) / (s * s + s / 10.0 + 1.0)) ** 2
        return float((1.0 + reach) * np.exp(-reach) * power / hz)

    with_it, without = (
        quad(integrand, 200.0, 3000.0, args=(gain,), points=[1000.0], limit=200)[0] for gain in (6.0, 0.0)
    )
    expected = 10.0 * np.log10(with_it / without)
    one = told(section_db(1000.0, 6.0, 10.0))
    assert one.excitation_change_db == pytest.approx(expected, abs=0.02)
    assert one.frequency_hz == pytest.approx(1000.0, rel=0.02)


def test_published_orders_come_out() -> None:
    # Toole and Olive: of one height the narrow is heard less. Buecklein: a dip less than its peak.
    peaks = [told(section_db(1000.0, 3.0, q)).excitation_change_db for q in (1.0, 10.0, 50.0)]
    assert peaks[0] > peaks[1] > peaks[2] > 0.0
    for q in (5.0, 10.0, 30.0):
        peak, dip = (told(section_db(1000.0, s * 6.0, q)).excitation_change_db for s in (1.0, -1.0))
        mirrored = told(-section_db(1000.0, 6.0, q)).excitation_change_db
        assert peak > -mirrored > -dip > 0.0


def test_verdicts_of_a_high_narrow_and_a_low_broad_feature() -> None:
    assert told(section_db(1000.0, 3.0, 2.0)).verdict is Heard.LIKELY
    narrow = told(section_db(1000.0, -3.0, 50.0))
    assert narrow.verdict is Heard.UNLIKELY
    assert "narrower than that filter" in str(narrow.reason)
    assert "softer" in str(narrow.reason)


def test_below_200_hz_a_peak_of_a_decibel_is_never_unlikely() -> None:
    low = told(section_db(60.0, 2.0, 50.0))
    assert abs(low.excitation_change_db) < 0.5
    assert low.verdict is Heard.MAYBE
    assert "ringing" in str(low.reason)
    assert told(section_db(60.0, -2.0, 50.0)).verdict is Heard.UNLIKELY
    assert told(section_db(60.0, 0.8, 50.0)).verdict is Heard.UNLIKELY


def test_what_lies_below_the_threshold_of_hearing_is_not_heard() -> None:
    bass = section_db(35.0, 6.0, 2.0)
    assert told(bass).excitation_change_db > 3.0
    # Pink noise at 30 dB has 21 dB in an ERB at 35 Hz, some thirty below the threshold in quiet.
    hidden = told(bass, programme_db=30.0)
    assert abs(hidden.excitation_change_db) < 0.2
    assert hidden.verdict is Heard.UNLIKELY


def test_what_is_unsure_widens_maybe() -> None:
    surely = told(np.full(GRID_HZ.shape, 1.8))
    assert surely.verdict is Heard.LIKELY
    unsure = told(np.full(GRID_HZ.shape, 1.8), unsure=0.5)
    assert unsure.verdict is Heard.MAYBE
    assert unsure.uncertainty_db == pytest.approx(0.9, abs=0.01)
    between = audibility(
        GRID_HZ, [Change("in the room", np.zeros(GRID_HZ.shape), np.full(GRID_HZ.shape, 2.4))]
    )
    # Anywhere between 0 and 2.4 dB: 1.2 ± 2.4/√12.
    assert between.excitation_change_db == pytest.approx(1.2, abs=1e-3)
    assert between.uncertainty_db == pytest.approx(2.4 / np.sqrt(12.0), abs=1e-3)
    assert between.heard_in == "in the room"


def test_its_numbers_refer_to_its_own_fields() -> None:
    one = audibility(GRID_HZ, [Change("on axis", *[section_db(1000.0, 6.0, 5.0)] * 2)], here="x")
    named = {n.reference: n.value for n in one.reason.numbers}
    assert named["x/excitation_change_db"] == one.excitation_change_db
    assert named["x/uncertainty_db"] == one.uncertainty_db
    assert named["x/frequency_hz"] == one.frequency_hz
    assert named["x/level_db"] == one.level_db
    assert all(isinstance(n, Number) for n in one.reason.numbers)
    with pytest.raises(ValueError, match="no change"):
        audibility(GRID_HZ, [])


def test_harmonics_are_masked_the_more_the_louder() -> None:
    quiet, loud = (distortion_audibility(500.0, level, {2: level - 36.0}) for level in (60.0, 95.0))
    assert quiet is not None
    assert loud is not None
    assert quiet.verdict is Heard.LIKELY
    assert loud.verdict is Heard.UNLIKELY
    # A high order lies where the fundamental excites nothing.
    seventh = distortion_audibility(500.0, 95.0, {7: 59.0})
    assert seventh is not None
    assert seventh.verdict is Heard.LIKELY
    assert "Geddes and Lee" in str(seventh.reason)
    assert seventh.heard_in == "beside the fundamental"


def test_a_second_harmonic_by_the_formula() -> None:
    # Filter at 2 kHz: p = 8000/240.578 = 33.253; at 80 dB its lower side 33.253 − 0.35·(33.253/30.157)·29.
    p = 8000.0 / 240.578
    low = p - 0.35 * (p / (4000.0 / 132.639)) * 29.0
    hidden_db = 80.0 + 10.0 * np.log10((1.0 + 0.5 * low) * np.exp(-0.5 * low))
    one = distortion_audibility(1000.0, 80.0, {2: hidden_db}, uncertainty_db=1.0)
    assert one is not None
    # As strong as what masks it at its own place: 3 dB there, and no less in the filter that shows most.
    assert one.excitation_change_db > 10.0 * np.log10(2.0) - 0.02
    assert 0.3 < one.uncertainty_db < 1.0


def test_beyond_the_law_nothing_is_said() -> None:
    assert distortion_audibility(1000.0, 101.0, {2: 60.0}) is None
    assert distortion_audibility(1000.0, 15.0, {2: 10.0}) is None
    assert distortion_audibility(9000.0, 80.0, {2: 60.0}) is None
    assert distortion_audibility(20.0, 80.0, {2: 60.0}) is None


def omni(places: tuple[FeaturePlace, ...]) -> tuple[Feature, Directivity]:
    """A feature of a source that radiates alike to all sides, in every direction measured."""
    power = np.broadcast_to(10.0 ** (0.1 * section_db(1000.0, 6.0, 5.0)), (70, GRID_HZ.size)).copy()
    directions = tuple(sorted(cta_2034.DIRECTIONS))
    field = Directivity(
        Drive(2.83),
        GRID_HZ,
        directions,
        power,
        np.ones(power.shape, dtype=np.bool_),
        np.zeros(70),
        ((),) * 70,
    )
    top = places[0]
    return Feature("peak", 1000.0, 5.0, top.gain_db, 0.6, 5.0, None, places), field


def place(direction: Direction) -> FeaturePlace:
    # 6 dB, Q 5: half-gain width (2/ln 2)·asinh(10^(6/40)/10) octaves.
    width = 2.0 / np.log(2.0) * np.arcsinh(10.0**0.15 / 10.0)
    return FeaturePlace(direction, 1000.0, 6.0, float(width), 5.0, 0.6, 4.0)


def test_what_a_feature_of_all_directions_changes() -> None:
    front = tuple(d for d in sorted(cta_2034.DIRECTIONS) if abs(d.angle_deg) <= 60.0)
    feature, field = omni(tuple(place(d) for d in front))
    ahead, room = feature_changes(feature, field)
    expected = section_db(1000.0, 6.0, 5.0)
    np.testing.assert_allclose(ahead.most_db, expected, rtol=0, atol=1e-6)
    # At most it is in all directions: then the room changes by all of it.
    np.testing.assert_allclose(room.most_db, expected, rtol=0, atol=1e-6)
    assert 0.0 < room.least_db.max() < expected.max() - 0.5
    assert part_unsure(feature) == pytest.approx(0.1)


def test_a_feature_of_one_side_changes_the_room_by_its_share() -> None:
    direction = Direction(Orbit.HORIZONTAL, 30.0)
    feature, field = omni((place(direction),))
    ahead, room = feature_changes(feature, field)
    assert not ahead.most_db.any()
    share = cta_2034.direction_weights(cta_2034.POWER_CURVES[-1])
    weight = share[direction] / sum(share.values())
    at = int(np.argmin(np.abs(GRID_HZ - 1000.0)))
    expected = -10.0 * np.log10(1.0 - weight * (1.0 - 10.0**-0.6))
    assert room.least_db[at] == pytest.approx(expected, abs=1e-6)
    assert room.most_db[at] > expected


def test_a_feature_of_the_axis_may_be_anywhere_beyond_where_it_is_sought() -> None:
    feature, field = omni((place(ON_AXIS),))
    _, room = feature_changes(feature, field)
    share = cta_2034.direction_weights(cta_2034.POWER_CURVES[-1])
    at = int(np.argmin(np.abs(GRID_HZ - 1000.0)))
    for beyond, found in ((181.0, room.least_db), (60.0, room.most_db)):
        held = sum(w for d, w in share.items() if d.angle_deg == 0.0 or abs(d.angle_deg) > beyond)
        weight = held / sum(share.values())
        assert found[at] == pytest.approx(-10.0 * np.log10(1.0 - weight * (1.0 - 10.0**-0.6)), abs=1e-6)


def test_without_all_directions_the_axis_alone_counts() -> None:
    feature, field = omni((place(ON_AXIS),))
    bare = Directivity(
        field.drive,
        GRID_HZ,
        field.directions[:5],
        field.power[:5],
        field.valid[:5],
        field.seen_angle_deg[:5],
        ((),) * 5,
    )
    assert [one.heard_in for one in feature_changes(feature, bare)] == ["on axis"]
