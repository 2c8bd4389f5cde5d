"""Notes against curves of closed form, and hits by chance against SciPy's distributions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import specimen
from scipy.stats import binom

from earwitness.findings.testimony import as_many_by_chance, held, note_statements, tally
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.grid import Floats
from earwitness.records.testimony import Amount, HeardFrom, Note, Outcome

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
