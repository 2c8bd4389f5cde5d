"""Notes against curves of closed form, and hits by chance against SciPy's distributions."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import specimen
from closed_forms import omni, orbits, responses
from features_made import causes, feature
from scipy.stats import binom

from earwitness.derive.directivity import directivity, take_powers
from earwitness.findings.feature_statements import feature_statements
from earwitness.findings.next_table import Possible
from earwitness.findings.testimony import as_many_by_chance, held, note_statements, tally
from earwitness.records.causes import Cause
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.distortion import ChangeWithLevel
from earwitness.records.findings import Finding
from earwitness.records.grid import Floats
from earwitness.records.qualities import MEANINGS
from earwitness.records.responses import Directivity
from earwitness.records.sources import Standing
from earwitness.records.takes import Direction, Drive, Orbit, TakeId
from earwitness.records.testimony import Amount, HeardAt, HeardFrom, Note, Outcome, Quality

GRID = specimen.GRID
MUCH, LITTLE = Amount.TOO_MUCH, Amount.TOO_LITTLE


def note(amount: Amount | None, band_hz: tuple[float, float] | None, number: int = 1, **more: str) -> Note:
    return Note(
        number,
        "as it sounded",
        amount,
        band_hz,
        HeardFrom.IN_THE_ROOM,
        "2026-11-20T12:00:00+00:00",
        more.get("built", ""),
        "",
        "",
        "s",
    )


def curves(level_db: Floats, name: CurveName = CurveName.ESTIMATED_IN_ROOM) -> CurveSet:
    whole = specimen.curve_set()
    changed = replace(whole.curves[name], level_db=level_db)
    return replace(whole, curves={**whole.curves, name: changed})


def hump(height_db: float) -> Floats:
    """On a slope of −1 dB an octave, one octave wide about 2.8 kHz."""
    octaves = np.log2(GRID / 1000.0)
    inside = (GRID >= 2000.0) & (GRID < 4000.0)
    return np.asarray(80.0 - octaves + height_db * inside)


@pytest.mark.parametrize(
    ("amount", "height_db", "outcome"),
    [
        (MUCH, 4.0, Outcome.SUPPORTED),
        (LITTLE, 4.0, Outcome.CONTRADICTED),
        (LITTLE, -4.0, Outcome.SUPPORTED),
        (MUCH, -4.0, Outcome.CONTRADICTED),
        (MUCH, 0.3, Outcome.NOT_SEEN),
        (MUCH, 0.0, Outcome.NOT_SEEN),
    ],
)
def test_a_hump_speaks_for_too_much_and_against_too_little(
    amount: Amount, height_db: float, outcome: Outcome
) -> None:
    (found,) = held([note(amount, (2000.0, 4000.0))], curves(hump(height_db)))
    assert found.outcome is outcome
    assert found.deviation_db is not None
    # least squares takes away the mean over 7.3 octaves, and little more: the hump lies near their middle
    assert found.deviation_db == pytest.approx(height_db * (1.0 - 1.0 / 7.3), abs=0.1 * abs(height_db) + 0.02)


def test_a_tilt_alone_supports_nothing() -> None:
    """What was heard is held against the trend, not against a level line."""
    (found,) = held([note(LITTLE, (8000.0, 16_000.0))], curves(hump(0.0)))
    assert found.outcome is Outcome.NOT_SEEN


def test_where_it_was_heard_names_the_curve() -> None:
    ahead = replace(note(MUCH, (2000.0, 4000.0)), heard_from=HeardFrom.STRAIGHT_AHEAD)
    both = held([ahead, note(MUCH, (2000.0, 4000.0))], curves(hump(4.0), CurveName.LISTENING_WINDOW))
    assert [one.outcome for one in both] == [Outcome.SUPPORTED, Outcome.NOT_SEEN]


def test_what_names_no_band_or_lies_outside_what_is_valid_is_not_testable() -> None:
    some = [note(None, None), note(MUCH, (25.0, 40.0))]
    found = held(some, specimen.curve_set(valid_from_hz=100.0))
    assert {one.outcome for one in found} == {Outcome.NOT_TESTABLE}
    assert tally(found).testable == 0


def test_by_chance_is_the_share_of_places() -> None:
    """Bands of an octave whose mean reaches the limit: those that overlap the hump by a third or so."""
    (found,) = held([note(MUCH, (2000.0, 4000.0))], curves(hump(4.0)))
    assert found.by_chance is not None
    # 4 dB over its part, less the trend's 0.55 dB, reaches 1 dB from 0.39 on: 1.22 of 6.3 octaves
    assert found.by_chance == pytest.approx(1.22 / 6.3, abs=0.03)


@pytest.mark.parametrize(("share", "count", "hits"), [(0.2, 6, 3), (0.5, 5, 0), (0.1, 4, 4)])
def test_hits_by_chance_with_equal_shares_are_binomial(share: float, count: int, hits: int) -> None:
    assert as_many_by_chance([share] * count, hits) == pytest.approx(float(binom.sf(hits - 1, count, share)))


def test_hits_by_chance_with_unequal_shares() -> None:
    """At least one of 0.1, 0.2 and 0.3: 1 − 0.9·0.8·0.7."""
    assert as_many_by_chance([0.1, 0.2, 0.3], 1) == pytest.approx(1.0 - 0.9 * 0.8 * 0.7)


def test_the_tally_counts_and_holds_others_beside() -> None:
    case = curves(hump(4.0))
    some = held([note(MUCH, (2000.0, 4000.0)), note(LITTLE, (2000.0, 4000.0)), note(None, None)], case)
    others = held([note(MUCH, (200.0, 400.0)), note(MUCH, (2000.0, 4000.0))], case)
    found = tally(some, others)
    assert (found.testable, found.supported, found.contradicted) == (2, 1, 1)
    assert (found.others, found.others_supported) == (2, 1)
    assert 0.0 < found.by_chance < 2.0


def test_a_note_sealed_after_results_is_held_but_doesnt_count() -> None:
    """Whoever has seen the page can write what it says."""
    case = curves(hump(4.0))
    late = held([note(MUCH, (2000.0, 4000.0), built="b")], case)
    assert late[0].outcome is Outcome.SUPPORTED
    assert (tally(late).testable, tally(late).supported) == (0, 0)


def test_a_statement_says_when_it_was_sealed() -> None:
    case = curves(hump(4.0))
    found = note_statements(
        held([note(MUCH, (2000.0, 4000.0)), note(MUCH, (2000.0, 4000.0), 2, built="b")], case), case
    )
    assert str(found[0].statement) == "“as it sounded”: supported."
    assert str(found[0].explanation).startswith(
        "It says too much from 2 kHz to 4 kHz, heard in the room. There"
    )
    assert "before any results" in str(found[0].note)
    assert "after any results" in str(found[1].note)
    assert [f.id for f in found] == ["testimony-001", "testimony-002"]


@pytest.mark.parametrize("quality", list(Quality))
def test_every_word_has_a_band_that_can_be_held_against_data(quality: Quality) -> None:
    """Inside the trend's band of 100 Hz to 16 kHz, an octave wide or more; the standard gives no bands."""
    meaning = MEANINGS[quality]
    low, high = meaning.band_hz
    assert low >= 100.0
    assert high <= 16_000.0
    assert 2.0 * low <= high
    assert meaning.source.standing in (Standing.RECALLED, Standing.COMMON_PRACTICE)
    (found,) = held([note(meaning.amount, meaning.band_hz)], curves(hump(0.0)))
    assert found.outcome is Outcome.NOT_SEEN


def test_the_documentation_lists_every_word_with_its_meaning() -> None:
    text = (Path(__file__).parents[2] / "docs" / "testimony.md").read_text("utf-8")
    rows = [line for line in text.splitlines() if line.startswith("| ") and "too " in line]
    expected = []
    for quality, meaning in MEANINGS.items():
        low, high = (f"{edge:.0f} Hz" for edge in meaning.band_hz)
        expected.append(f"| {quality} | {meaning.amount} | {low} to {high} | {meaning.source.document} |")
    assert rows == expected


def test_words_that_say_the_opposite_have_opposite_amounts() -> None:
    for one, other in ((Quality.BRIGHT, Quality.DARK), (Quality.FORWARD, Quality.DISTANT)):
        assert MEANINGS[one].band_hz == MEANINGS[other].band_hz
        assert MEANINGS[one].amount is not MEANINGS[other].amount


def lifted(only: Direction) -> Directivity:
    """All directions alike, but one octave about 2.8 kHz 8 dB up in one."""
    every = orbits()
    inside = (GRID >= 2000.0) & (GRID < 4000.0)
    power = np.stack([10.0 ** (0.8 * (inside & (d == only))) for d in every])
    seen = np.array([d.angle_deg for d in every])
    return Directivity(
        Drive(2.83), GRID, every, power, np.ones(power.shape, dtype=bool), seen, ((),) * len(every)
    )


def test_what_was_heard_standing_is_held_against_directions_above() -> None:
    """Half of a power of 6.31, half of 1: 5.6 dB in the mean of two directions, less the trend's part."""
    standing = replace(note(MUCH, (2000.0, 4000.0)), heard_from=HeardFrom.STANDING)
    case = curves(hump(0.0))
    (found,) = held([standing], case, lifted(Direction(Orbit.VERTICAL, 20.0)))
    assert found.outcome is Outcome.SUPPORTED
    assert found.deviation_db == pytest.approx(10.0 * np.log10(0.5 * (10.0**0.8 + 1.0)), rel=0.2)
    (below,) = held([standing], case, lifted(Direction(Orbit.VERTICAL, -20.0)))
    assert below.outcome is Outcome.NOT_SEEN
    (nowhere,) = held([standing], case)
    assert nowhere.outcome is Outcome.NOT_TESTABLE
    (finding,) = note_statements([found], case)
    assert finding.place is not None
    assert (finding.place.curve, finding.place.level_db) == ("coverage_vertical", 15.0)


def test_what_was_heard_off_to_the_side_is_held_against_the_side() -> None:
    aside = replace(note(MUCH, (2000.0, 4000.0)), heard_from=HeardFrom.OFF_TO_THE_SIDE)
    (found,) = held([aside], curves(hump(4.0), CurveName.SIDE_REFLECTION))
    assert found.outcome is Outcome.SUPPORTED
    assert "side reflection" in str(found.reason)


def loud(change_db: Floats, ratio: Floats | None = None) -> CurveSet:
    """Two drives: the higher one changes so, and has so much distortion."""
    nothing = np.zeros(GRID.size)
    added = np.stack([nothing, nothing if ratio is None else ratio])
    level = ChangeWithLevel(
        takes=(TakeId("quiet.wav"), TakeId("loud.wav")),
        drives=(Drive(2.83), Drive(11.3)),
        stated=0,
        arrived_db=np.array([86.0, 98.0]),
        hours=0.4,
        ratio=added,
        re_mean=added,
        heard=added > 0.0,
        uncertainty=np.zeros(added.shape),
        order=(2,),
        order_ratio=added[:1],
        change_db=np.stack([nothing, change_db]),
        band_hz=np.array([1000.0]),
        output_db=np.array([100.0]),
        told=np.array([0], dtype=np.uint8),
    )
    return replace(specimen.curve_set(), level=level)


@pytest.mark.parametrize(
    ("amount", "change_db", "outcome"),
    [
        (LITTLE, -3.0, Outcome.SUPPORTED),
        (MUCH, -3.0, Outcome.CONTRADICTED),
        (MUCH, 3.0, Outcome.SUPPORTED),
        (LITTLE, -0.4, Outcome.NOT_SEEN),
    ],
)
def test_a_high_level_is_held_against_what_changes_there(
    amount: Amount, change_db: float, outcome: Outcome
) -> None:
    """A loss that all bands share is no change of balance: −2 dB everywhere count for nothing."""
    inside = (GRID >= 100.0) & (GRID < 200.0)
    case = loud(np.asarray(-2.0 + change_db * inside))
    at_level = replace(note(amount, (100.0, 199.0)), heard_at=HeardAt.HIGH_LEVEL)
    (found,) = held([at_level], case)
    assert found.outcome is outcome
    assert found.deviation_db == pytest.approx(change_db, abs=0.01)
    assert "heard at high level" in str(note_statements([found], case)[0].explanation)


def test_harmonics_speak_for_too_much_at_a_high_level() -> None:
    inside = (GRID >= 2000.0) & (GRID < 5000.0)
    for percent, outcome in ((4.0, Outcome.SUPPORTED), (2.0, Outcome.NOT_SEEN)):
        case = loud(np.zeros(GRID.size), np.asarray(0.01 * percent * inside))
        harsh = replace(note(MUCH, (2000.0, 5000.0)), heard_at=HeardAt.HIGH_LEVEL)
        (found,) = held([harsh], case)
        assert found.outcome is outcome
        assert found.by_chance is not None
        assert found.by_chance < 1.0


def test_a_level_that_was_not_looked_at_is_not_testable() -> None:
    at_level = replace(note(MUCH, (100.0, 200.0)), heard_at=HeardAt.HIGH_LEVEL)
    (found,) = held([at_level], replace(specimen.curve_set(), level=None))
    assert found.outcome is Outcome.NOT_TESTABLE


def found_at(*directions: tuple[Orbit, float]) -> tuple[Finding, ...]:
    """A peak at 2.8 kHz there."""
    return feature_statements(
        responses(omni),
        directivity(take_powers(responses(omni))),
        specimen.curve_set(),
        [(feature(2800.0, 4.0, directions), causes((Cause.VOICING, 0.9)))],
        Possible(frozenset(), needs_clock=False),
    )


def test_a_feature_of_its_kind_in_the_band_is_told_beside() -> None:
    case = curves(hump(4.0))
    some = held([note(MUCH, (2000.0, 4000.0)), note(LITTLE, (2000.0, 4000.0), 2)], case)
    much, little = note_statements(some, case, found_at((Orbit.HORIZONTAL, 0.0)))
    assert str(much.explanation).endswith("A peak of its kind stands at 2.8 kHz.")
    assert "of its kind" not in str(little.explanation)


@pytest.mark.parametrize(
    ("heard_from", "there", "elsewhere"),
    [
        (HeardFrom.STANDING, (Orbit.VERTICAL, 20.0), (Orbit.VERTICAL, -20.0)),
        (HeardFrom.STRAIGHT_AHEAD, (Orbit.HORIZONTAL, 10.0), (Orbit.HORIZONTAL, 40.0)),
        (HeardFrom.OFF_TO_THE_SIDE, (Orbit.HORIZONTAL, -40.0), (Orbit.VERTICAL, 40.0)),
    ],
)
def test_a_feature_beside_a_note_lies_where_it_was_heard(
    heard_from: HeardFrom, there: tuple[Orbit, float], elsewhere: tuple[Orbit, float]
) -> None:
    case = curves(hump(0.0))
    some = held([replace(note(MUCH, (2000.0, 4000.0)), heard_from=heard_from)], case)
    assert "of its kind" in str(note_statements(some, case, found_at(there))[0].explanation)
    assert "of its kind" not in str(note_statements(some, case, found_at(elsewhere))[0].explanation)
