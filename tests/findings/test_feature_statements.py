"""Features in words: where, why and how sure, whether it is heard, and what comes first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
import specimen
from closed_forms import GRID, cap, omni, responses
from features_made import H, V, causes, feature

from earwitness.derive.directivity import directivity, take_powers
from earwitness.findings.cause_words import cause_sentences, details
from earwitness.findings.feature_places import place_of, where
from earwitness.findings.feature_statements import IMPORTANCE, feature_statements
from earwitness.findings.find import find
from earwitness.findings.merging import Told, merged
from earwitness.findings.next_table import SHOWS, Possible
from earwitness.findings.references import Referent
from earwitness.records.audibility import Heard
from earwitness.records.causes import Cause
from earwitness.records.correctability import Correctability, Deviation
from earwitness.records.curves import CurveSet
from earwitness.records.features import Feature
from earwitness.records.findings import Finding
from earwitness.records.takes import Orbit

POSSIBLE = Possible(frozenset(SHOWS), needs_clock=False)
PAIR = causes((Cause.SPACED_SOURCES, 0.95), (Cause.RESONANCE, 0.2), (Cause.VOICING, 0.05))
SWEEP = [(H, a) for a in range(-60, 61, 10)] + [(V, a) for a in (-30, -20, -10, 10, 20, 30)]
ALL_ROUND = [(orbit, float(angle)) for orbit, angle in SWEEP]


def stated(*told: Told) -> tuple[Finding, ...]:
    measured = responses(omni)
    return feature_statements(
        measured, directivity(take_powers(measured)), specimen.curve_set(), told, POSSIBLE
    )


@pytest.mark.parametrize(
    ("directions", "words"),
    [
        ([(H, 0.0)], "on axis"),
        (
            [(H, 0.0), (H, 10.0), (H, -10.0), (V, 20.0)],
            "on axis, up to 10° to each side and up to 20° above the axis",
        ),
        ([(V, 20.0), (V, 60.0), (V, 40.0)], "20° to 60° above the axis"),
        ([(V, 20.0), (V, 60.0), (V, -20.0), (V, -60.0)], "20° to 60° above and below the axis"),
        ([(V, 20.0), (V, 60.0), (V, -20.0)], "20° to 60° above the axis and 20° below the axis"),
        ([(H, -30.0), (H, -40.0)], "30° to 40° to the right"),
        (
            [(o, s * a) for o in (H, V) for s in (1, -1) for a in (0.0, 30.0, 60.0)],
            "in every direction to the front",
        ),
    ],
)
def test_where_it_is(directions: list[tuple[H, float]], words: str) -> None:  # type: ignore[valid-type]
    assert str(where(feature(2000.0, -6.0, directions), "feature:1/feature")) == words


def test_the_place_is_on_the_curve_where_it_is_seen_straight_ahead_and_else_on_the_map() -> None:
    ahead = place_of(feature(2000.0, -6.0, [(V, 20.0), (H, 0.0)]), "2.83 V")
    assert (ahead.curve, ahead.level_db) == ("on_axis", None)
    above = place_of(feature(2000.0, -6.0, [(V, 30.0), (V, 20.0)]), "2.83 V")
    assert (above.curve, above.level_db) == ("coverage_vertical", 30.0)
    assert above.band_hz[0] < 2000.0 < above.band_hz[1]


def test_a_cause_with_its_runner_up() -> None:
    assert str(cause_sentences(PAIR, "feature:1/causes")) == (
        "Very likely two drive units apart (0.160 m). Next comes a resonance of a drive unit or of the box: "
        "unlikely."
    )


def test_two_causes_are_both_told() -> None:
    both = causes((Cause.SPACED_SOURCES, 0.95), (Cause.CROSSOVER_MISALIGNMENT, 0.7), (Cause.RESONANCE, 0.05))
    told = str(cause_sentences(both, "feature:1/causes"))
    assert "Very likely two drive units apart" in told
    assert "Also, likely, drive units out of step" in told
    assert told.endswith("a resonance of a drive unit or of the box: very unlikely.")


def test_what_cannot_be_told_names_no_cause() -> None:
    lost = replace(PAIR, cannot_tell=0.8, doubt="too few directions")
    assert (
        str(cause_sentences(lost, "feature:1/causes")) == "What causes it can’t be told: too few directions."
    )


def test_some_doubt_is_added() -> None:
    some = replace(PAIR, cannot_tell=0.2, doubt="two drivers don't explain it all")
    assert str(cause_sentences(some, "feature:1/causes")).endswith("two drivers don’t explain it all.")


def test_nothing_believed_is_said_so_and_still_names_the_likeliest() -> None:
    told = str(cause_sentences(causes((Cause.VOICING, 0.4), (Cause.RESONANCE, 0.1)), "feature:1/causes"))
    assert told == (
        "No cause stands out: about as likely as not it is a broad shape that all directions share; next "
        "comes a resonance of a drive unit or of the box."
    )
    faint = str(cause_sentences(causes((Cause.VOICING, 0.08), (Cause.RESONANCE, 0.03)), "feature:1/causes"))
    assert faint.startswith(
        "No cause stands out: even the likeliest, a broad shape that all directions share, is very unlikely; "
    )


def test_details_hold_the_numbers() -> None:
    told = str(details(PAIR.said[0], "feature:1/causes/said/0"))
    assert "95 %" in told
    assert "between 0.156 m and 0.164 m" in told
    assert "for it: both drivers are heard" in told


def test_a_statement_and_its_numbers() -> None:
    (found,) = stated((feature(2000.0, -6.0, ALL_ROUND), PAIR))
    assert str(found.statement).startswith("A dip of 6.0 ± 0.2 dB at 2 kHz, on axis, up to 60° to each side")
    referent = Referent(specimen.facts(), (), specimen.curve_set(), (found,))
    assert found.story is not None
    for sentence in (found.statement, found.note, found.story.cause, found.story.heard, *found.story.details):
        referent.require(sentence)


def with_heights(found: Feature, heights: Mapping[tuple[Orbit, float], float]) -> Feature:
    """One whose heights differ in some directions, as deep as it is fitted; the greatest is the feature's."""
    places = []
    for place in found.places:
        height = heights.get((place.direction.orbit, place.direction.angle_deg), place.gain_db)
        places.append(replace(place, gain_db=height, seen_db=height))
    top = max(places, key=lambda place: abs(place.gain_db))
    return replace(found, places=tuple(places), gain_db=top.gain_db)


@pytest.mark.parametrize(
    ("directions", "heights", "words"),
    [
        (
            ALL_ROUND,
            {(V, 30.0): -31.0},
            "A dip of 3.0 ± 0.2 dB at 2 kHz, on axis, up to 60° to each side and up to 30° above and below "
            "the axis; deepest 30° above the axis, by 31.0 ± 0.2 dB.",
        ),
        (
            [(o, s * a) for o in (H, V) for s in (1, -1) for a in (0.0, 30.0, 60.0)],
            {(H, -60.0): -9.0},
            "A dip of 3.0 ± 0.2 dB at 2 kHz on axis, and in every direction to the front; deepest 60° to the "
            "right, by 9.0 ± 0.2 dB.",
        ),
        # 1.4 dB more is within half of it
        (
            [(H, 0.0), (H, 10.0)],
            {(H, 10.0): -4.4},
            "A dip of 4.4 ± 0.2 dB at 2 kHz, on axis and up to 10° to the left.",
        ),
        (
            [(V, 20.0), (V, 60.0)],
            {(V, 60.0): -9.0},
            "A dip of up to 9.0 ± 0.2 dB at 2 kHz, 20° to 60° above the axis.",
        ),
        ([(V, 20.0), (V, 60.0)], {}, "A dip of 3.0 ± 0.2 dB at 2 kHz, 20° to 60° above the axis."),
    ],
)
def test_the_height_is_that_of_the_places_it_is_said_of(
    directions: list[tuple[Orbit, float]], heights: dict[tuple[Orbit, float], float], words: str
) -> None:
    (found,) = [
        f for f in stated((with_heights(feature(2000.0, -3.0, directions), heights), PAIR)) if f.feature
    ]
    assert str(found.statement) == words
    Referent(specimen.facts(), (), specimen.curve_set(), (found,)).require(found.statement)


def test_a_height_that_is_not_sure_is_told_as_it_is_seen() -> None:
    (found,) = stated((feature(2000.0, -6.0, ALL_ROUND, gain_u_db=2.5), PAIR))
    assert str(found.statement).startswith("A dip of some 6 dB at 2 kHz")


def test_a_height_whose_interval_reaches_nothing_is_not_told() -> None:
    """95 % of a normal distribution lie within 1.96: 3.1 dB of uncertainty leave 6 dB open, 3.0 don't."""
    unsure, glad = stated((feature(2000.0, -6.0, ALL_ROUND, gain_u_db=3.1), PAIR))
    assert str(unsure.statement).startswith("A dip about 2 kHz, on axis")
    assert str(unsure.statement).endswith("of no height that could be told.")
    assert unsure.story is not None
    assert "two drive units" not in str(unsure.story.cause)
    assert (unsure.audibility, unsure.next_measurement) == (None, None)
    assert unsure.importance < min(min(pair) for pair in IMPORTANCE.values())
    assert glad.id == "no-feature"
    (sure,) = stated((feature(2000.0, -6.0, ALL_ROUND, gain_u_db=3.0), PAIR))
    assert "some 6 dB" in str(sure.statement)


def test_a_width_that_the_gate_bounds() -> None:
    (found,) = stated((feature(2000.0, 6.0, ALL_ROUND, q=None), PAIR))
    assert str(found.note).startswith("Q at least 9")


def test_what_is_heard_comes_before_what_is_not() -> None:
    """1 dB is just noticed (Zwicker and Fastl, chapter 7; recalled): 12 dB over an octave is, 0.3 isn't."""
    loud, faint = stated(
        (feature(1000.0, 12.0, ALL_ROUND, width_octaves=1.0), PAIR),
        (feature(4000.0, 0.3, ALL_ROUND, gain_u_db=0.05), PAIR),
    )
    assert loud.audibility is not None
    assert faint.audibility is not None
    assert (loud.audibility.verdict, faint.audibility.verdict) == (Heard.LIKELY, Heard.UNLIKELY)
    assert loud.importance > 0.8
    assert faint.importance < 0.1
    assert loud.story is not None
    assert str(loud.story.heard).startswith("Likely. Pink noise")


def mended(common_db2: float) -> CurveSet:
    """Curves of which all directions deviate alike, or hardly have anything in common."""
    flat = np.full(GRID.shape, common_db2)
    plane = Deviation(flat, np.ones(GRID.shape), np.full(GRID.shape, 0.01))
    told = Correctability(GRID, np.ones(GRID.shape, dtype=bool), plane, plane, plane)
    return replace(specimen.curve_set(), correctability=told)


@pytest.mark.parametrize(
    ("gain_db", "common_db2", "words", "first"),
    [
        (12.0, 99.0, "An equaliser mends it for every seat.", False),
        (12.0, 0.1, "No equaliser mends it.", True),
        (-12.0, 99.0, "An equaliser could fill it, but shouldn’t: 6 dB more is a fourfold power.", True),
        (-5.9, 99.0, "An equaliser mends it for every seat.", False),
    ],
)
def test_what_no_equaliser_should_mend_comes_first(
    gain_db: float, common_db2: float, words: str, first: bool
) -> None:
    measured = responses(omni)
    told = feature(1000.0, gain_db, ALL_ROUND, width_octaves=1.0), PAIR
    (found,) = feature_statements(
        measured, directivity(take_powers(measured)), mended(common_db2), [told], POSSIBLE
    )
    assert found.story is not None
    assert str(found.story.mend) == words
    assert found.audibility is not None
    assert found.audibility.verdict is Heard.LIKELY
    assert found.importance == IMPORTANCE[Heard.LIKELY][int(first)]


def test_what_would_settle_it_stands_where_causes_are_close_and_it_may_be_heard() -> None:
    open_ = causes((Cause.SPACED_SOURCES, 0.5), (Cause.RESONANCE, 0.4))
    loud, faint = feature(1000.0, 12.0, ALL_ROUND, width_octaves=1.0), feature(4000.0, 0.3, ALL_ROUND)
    found = stated((loud, open_), (faint, open_))
    assert found[0].next_measurement is not None
    assert found[0].story is not None
    assert "would tell most between two drive units apart and" in str(found[0].story.settle)
    assert found[1].next_measurement is None


def test_a_loudspeaker_without_a_fault_is_told_so_gladly() -> None:
    (found,) = stated()
    assert str(found.statement) == "Nothing stands out of its response."
    faint, glad = stated((feature(4000.0, 0.3, ALL_ROUND, gain_u_db=0.05), PAIR))
    assert str(glad.statement) == "Nothing stands out of its response that anyone would be likely to hear."
    assert glad.importance > faint.importance


def test_one_cause_above_and_below_is_one_finding() -> None:
    above, below = (
        feature(f, g, [(V, s * 20.0), (V, s * 30.0)]) for f, g, s in ((2000.0, -9.0, 1), (2500.0, -6.0, -1))
    )
    ((one, said),) = merged([below, above], [PAIR, PAIR])
    assert one.frequency_hz == 2000.0
    assert [p.direction.angle_deg for p in one.places] == [-30.0, -20.0, 20.0, 30.0]
    assert said is PAIR


@pytest.mark.parametrize(
    ("frequency_hz", "gain_db", "said"),
    [
        (4000.0, -6.0, PAIR),
        (2500.0, 6.0, PAIR),
        (2500.0, -6.0, causes((Cause.RESONANCE, 0.9))),
        (2500.0, -6.0, replace(PAIR, cannot_tell=0.9)),
    ],
    ids=["far away", "other sign", "other cause", "not told"],
)
def test_what_is_not_one_stays_two(frequency_hz: float, gain_db: float, said: object) -> None:
    first, second = feature(2000.0, -9.0, [(V, 20.0)]), feature(frequency_hz, gain_db, [(V, -20.0)])
    assert len(merged([first, second], [PAIR, said])) == 2  # type: ignore[list-item]


def test_features_without_any_cause_are_not_one() -> None:
    nothing = causes((Cause.VOICING, 0.1))
    first, second = feature(2000.0, -9.0, [(V, 20.0)]), feature(2100.0, -6.0, [(V, -20.0)])
    assert len(merged([first, second], [nothing, nothing])) == 2


def test_one_direction_keeps_its_more_pronounced_place() -> None:
    first, second = feature(2000.0, -9.0, [(V, 20.0)]), feature(2500.0, -6.0, [(V, 20.0)])
    ((one, _),) = merged([first, second], [PAIR, PAIR])
    assert [p.frequency_hz for p in one.places] == [2000.0]


def test_responses_without_a_fault_lead_to_a_glad_finding() -> None:
    """A cap on a ball, on which nothing is found (Morse and Ingard 7.2: recalled)."""
    found = find(specimen.curve_set(), specimen.results().figures, specimen.facts(), responses(cap(1.0)))
    assert found[0].id == "no-feature"


def test_a_peak_in_all_responses_is_found_and_told() -> None:
    octaves = np.log2(GRID / 2000.0)
    bell = 86.0 + 8.0 * np.exp(-0.5 * (octaves / 0.15) ** 2)
    case = find(
        specimen.curve_set(), specimen.results().figures, specimen.facts(), responses(omni, on_axis_db=bell)
    )
    (told,) = [f for f in case if f.subject == "feature"]
    assert told.feature is not None
    assert told.feature.frequency_hz == pytest.approx(2000.0, rel=0.01)
    assert told.importance == max(f.importance for f in case)
    assert told.causes is not None
    assert told.causes.cannot_tell == 1.0


def test_what_the_gate_doesnt_reach_is_no_feature() -> None:
    octaves = np.log2(GRID / 200.0)
    bell = 86.0 + 8.0 * np.exp(-0.5 * (octaves / 0.1) ** 2)
    measured = responses(omni, on_axis_db=bell, gate_s=0.005)
    case = find(specimen.curve_set(), specimen.results().figures, specimen.facts(), measured)
    assert [f.id for f in case if f.subject == "feature"] == ["no-feature"]
