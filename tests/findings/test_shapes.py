"""Broad shapes: weighed on levels made by other formulas, found in scenes, told in words, told once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
import specimen
from closed_forms import GRID, omni, responses
from features_made import H, V, causes, feature
from scenes_made import GATE_S, SILENT, biquad, straight, ways
from scipy.signal import butter, freqs

from earwitness.derive.directivity import directivity, take_powers
from earwitness.findings import shape_words
from earwitness.findings.feature_change import feature_changes
from earwitness.findings.feature_statements import IMPORTANCE, feature_statements
from earwitness.findings.merging import with_shapes
from earwitness.findings.next_table import SHOWS, Possible
from earwitness.findings.references import Referent
from earwitness.findings.shapes import find_shapes, level_db
from earwitness.findings.shapes_fit import Weighed, candidates, weigh
from earwitness.records.audibility import Heard
from earwitness.records.causes import Cause
from earwitness.records.features import Feature, FeaturePlace
from earwitness.records.takes import Direction

POSSIBLE = Possible(frozenset(SHOWS), needs_clock=False)
Floats = npt.NDArray[np.float64]
FRONT = [(H, float(a)) for a in range(-60, 61, 10)] + [(V, float(a)) for a in range(-60, 61, 10) if a]
BAND = GRID[(GRID >= 500.0) & (GRID <= 20_000.0)].astype(np.float64)


def louder_above(corner_hz: float, gain_db: float) -> Floats:
    """Two ways of fourth order in step (S. H. Linkwitz, JAES 24 (1976) 2; recalled), the upper one louder."""
    at = 2.0 * np.pi * BAND
    low, high = (
        freqs(*butter(2, 2.0 * np.pi * corner_hz, kind, analog=True), at)[1] ** 2 for kind in ("low", "high")
    )
    return np.asarray(20.0 * np.log10(np.abs(low + 10.0 ** (gain_db / 20.0) * high)))


def weighed(level: Floats, seed: int = 1, ripple_db: float = 0.1) -> Weighed:
    noise = ripple_db * np.random.default_rng(seed).normal(size=level.size)
    return weigh(level + noise, candidates(BAND, 5e-3))


def shelf(
    corner_hz: float = 2500.0, gain_db: float = 4.0, width: float = 1.2, kind: str = "shelf"
) -> Feature:
    places = tuple(
        FeaturePlace(d, corner_hz, gain_db, width, 100.0, 0.5, gain_db)
        for d in sorted({Direction(orbit, angle).shared for orbit, angle in FRONT})
    )
    return Feature(kind, corner_hz, 100.0, gain_db, 0.5, None, None, places, (100.0, 10_000.0))  # type: ignore[arg-type]


@pytest.mark.parametrize(("corner", "gain"), [(2000.0, 4.0), (3500.0, -3.0), (1200.0, -5.0)])
def test_a_shelf_is_a_shelf(corner: float, gain: float) -> None:
    found = weighed(louder_above(corner, gain))
    assert found.of("shelf") > 0.8
    best = int(np.argmax(found.probability))
    assert found.height_db[best] == pytest.approx(gain, abs=0.15 * abs(gain))
    assert 2.0 ** found.candidates.octave[best] == pytest.approx(corner, rel=0.15)


def test_a_straight_level_has_none() -> None:
    assert weighed(np.full(BAND.size, 84.0)).none > 0.7


def test_a_bell_is_a_hump() -> None:
    bell = 20.0 * np.log10(np.abs(freqs_bell(2000.0, 4.0, 0.8)))
    assert weighed(bell).of("hump") > 0.9


def freqs_bell(centre_hz: float, gain_db: float, q: float) -> npt.NDArray[np.complex128]:
    omega, gain = 2.0 * np.pi * centre_hz, 10.0 ** (gain_db / 20.0)
    b, a = [1.0, gain * omega / q, omega**2], [1.0, omega / q, omega**2]
    return np.asarray(freqs(b, a, 2.0 * np.pi * BAND)[1])


def test_a_line_over_octaves_is_a_tilt() -> None:
    assert weighed(-1.2 * np.log2(BAND / 1000.0)).of("tilt") > 0.65


def test_what_lies_within_what_may_be_is_no_shape() -> None:
    """A level that plain loudspeakers have anyway needs no shape."""
    level = louder_above(2500.0, 2.0)
    assert weighed(level).none < 0.1
    assert weigh(level, candidates(BAND, 5e-3), level).none > 0.5


def test_heights_hold_the_truth() -> None:
    """Such shelves at random, in ripple that errs alike: two standard uncertainties hold 90 %."""
    lots = np.random.default_rng(7)
    away = []
    for _ in range(60):
        gain = float(lots.uniform(2.0, 6.0) * lots.choice([-1.0, 1.0]))
        corner = float(np.exp(lots.uniform(np.log(1200.0), np.log(6000.0))))
        waves = lots.normal(size=6) @ np.cos(
            np.outer(lots.uniform(4.0, 12.0, 6), np.log2(BAND)) + lots.uniform(0.0, 6.3, (6, 1))
        )
        found = weigh(louder_above(corner, gain) + 0.15 * waves, candidates(BAND, 5e-3))
        these = found.candidates.kind == 0
        share = found.probability[these] / found.probability[these].sum()
        mean = float(share @ found.height_db[these])
        spread = (found.height_db[these] - mean) ** 2 + found.height_u_db[these] ** 2
        away.append((mean - gain) / np.sqrt(float(share @ spread)))
    assert np.mean(np.abs(away) <= 2.0) >= 0.9
    assert 0.2 < np.sqrt(np.mean(np.square(away))) < 1.3


@pytest.mark.parametrize("step_db", [5.0, -5.0])
def test_a_driver_that_is_too_loud_is_a_shelf(step_db: float) -> None:
    """5 dB at the crossover at 2 kHz, within what the plain shape leaves open, in all directions."""
    lower, upper = ways()
    loud = straight(lower, upper * 10.0 ** (step_db / 20.0))
    ((found, said),) = find_shapes(loud, GATE_S)
    assert found.kind == "shelf"
    assert found.gain_db == pytest.approx(step_db, abs=1.2)
    assert abs(np.log2(found.frequency_hz / 2000.0)) < 0.5
    assert len(found.places) == 25
    assert [one.cause for one in said.said] == [Cause.VOICING]


def test_what_is_contradicted_counts_as_none() -> None:
    """A shelf of 4 dB: a flat level bears nothing out, and no other shape is the likelier for it."""
    found = weighed(louder_above(2000.0, 4.0))
    octaves = np.log2(BAND)
    refused = found.borne_out(np.zeros(BAND.size), octaves)
    assert refused.none == pytest.approx(1.0 - found.of("hump"), abs=1e-9)
    assert refused.of("hump") == pytest.approx(found.of("hump"), abs=1e-12)
    assert found.borne_out(louder_above(2000.0, 4.0), octaves).of("shelf") > 0.7


def test_a_hump_beside_what_rings_is_none() -> None:
    bell = weighed(20.0 * np.log10(np.abs(freqs_bell(2000.0, 4.0, 0.8))))
    assert bell.beside(np.log2([1100.0])).none > 0.9
    assert bell.beside(np.log2([600.0])).of("hump") > 0.9
    assert bell.beside(np.log2(np.array([]))).of("hump") == bell.of("hump")


def test_what_ways_in_step_have_is_no_shelf() -> None:
    assert find_shapes(straight(*ways()), GATE_S) == ()


def test_what_the_sound_ahead_contradicts_is_no_shelf() -> None:
    """The same drivers, and responses that are straight: the scene's own shelf isn't told."""
    lower, upper = ways()
    loud = straight(lower, 10.0 ** (5.0 / 20.0) * upper)
    flat = loud.heard.pressure / np.abs(loud.heard.pressure)
    assert find_shapes(replace(loud, heard=replace(loud.heard, pressure=flat)), GATE_S) == ()


def test_without_phase_or_gate_nothing_is_told() -> None:
    lower, upper = ways()
    loud = straight(lower, 10.0 ** (5.0 / 20.0) * upper)
    assert find_shapes(None, GATE_S) == ()
    assert find_shapes(loud, None) == ()
    assert find_shapes(replace(loud, heard=replace(loud.heard, has_phase=False)), GATE_S) == ()


def test_one_driver_that_rings_is_no_shelf() -> None:
    assert find_shapes(straight(biquad(3000.0, 6.0, 5.0), SILENT), GATE_S) == ()


@pytest.mark.parametrize(
    ("one", "words"),
    [
        (shelf(2500.0, 4.0), "From 2.5 kHz up it lies 4.0 ± 0.5 dB above what is lower"),
        (shelf(2500.0, -4.0), "From 2.5 kHz up it lies 4.0 ± 0.5 dB below what is lower"),
        (shelf(400.0, 3.0), "From 400 Hz down it lies 3.0 ± 0.5 dB below what is higher"),
        (shelf(400.0, -3.0), "From 400 Hz down it lies 3.0 ± 0.5 dB above what is higher"),
        (shelf(3000.0, -3.0, 5.0, "tilt"), "From 100 Hz to 10 kHz it falls by 3.0 ± 0.5 dB"),
    ],
)
def test_in_words(one: Feature, words: str) -> None:
    told = str(shape_words.statement(one, "feature:1/feature"))
    assert told == f"{words}, in every direction to the front."


def test_the_quiet_line() -> None:
    told = str(shape_words.note(shelf(), "feature:1/feature"))
    assert told.startswith("its middle ± 0.10 kHz · goes over within 1.2 octaves")


def test_a_shoulder_isnt_told_beside_its_shelf() -> None:
    """A shelf of 4 dB stands 1.9 dB out of a chord of an octave to each side at its upper bend."""
    one = shelf(2000.0, 4.0, 0.8)
    wide = feature(2600.0, 2.0, FRONT, width_octaves=1.3)
    narrow = feature(2600.0, 2.0, FRONT, width_octaves=0.4)
    elsewhere = feature(9000.0, 2.0, FRONT, width_octaves=1.3)
    said = causes((Cause.VOICING, 0.9))
    told = with_shapes([(each, said) for each in (wide, narrow, elsewhere)], [(one, said)])
    assert [each for each, _ in told] == [one, narrow, elsewhere]


def test_what_a_shelf_does_to_the_balance() -> None:
    """A step of 4 dB at 1 kHz, the middle of 100 Hz to 10 kHz: 2 dB more far above, 2 dB less far below.

    Below 100 Hz it may go on, or not.
    """
    field = directivity(take_powers(responses(omni)))
    ahead, room = feature_changes(shelf(1000.0, 4.0, 0.5), field)
    frequency = field.frequency_hz
    for change in (ahead, room):
        assert float(np.interp(8000.0, frequency, change.least_db)) == pytest.approx(2.0, abs=0.05)
        assert float(np.interp(125.0, frequency, change.most_db)) == pytest.approx(-2.0, abs=0.05)
        assert float(np.interp(50.0, frequency, change.most_db)) == pytest.approx(-2.0, abs=0.05)
        assert float(np.interp(50.0, frequency, change.least_db)) == 0.0


def test_a_shelf_is_mended_for_every_seat_and_nothing_else_is_measured() -> None:
    """And as a finding every number of its sentences is what it refers to."""
    measured = responses(omni)
    curves = specimen.curve_set()
    said = causes((Cause.VOICING, 0.9))
    (finding,) = feature_statements(
        measured, directivity(take_powers(measured)), curves, [(shelf(), said)], POSSIBLE
    )
    assert finding.story is not None
    assert finding.audibility is not None
    assert finding.audibility.verdict is Heard.LIKELY
    assert str(finding.story.mend).startswith("An equaliser mends it for every seat")
    assert finding.importance == IMPORTANCE[Heard.LIKELY][0]
    assert finding.next_measurement is None
    assert finding.place is not None
    assert finding.place.curve == "on_axis"
    referent = Referent(specimen.facts(), (), curves, (finding,))
    for sentence in (finding.statement, finding.note, finding.story.cause, finding.story.heard):
        referent.require(sentence)


def test_a_step_reaches_from_a_tenth_to_nine_tenths_over_its_width() -> None:
    levels = level_db(shelf(2000.0, 1.0, 1.0), 2000.0 * 2.0 ** np.array([-0.5, 0.0, 0.5]))
    assert levels == pytest.approx([0.1, 0.5, 0.9])
