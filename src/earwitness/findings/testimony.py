"""Testimony held against the data: each note, and how often notes at shuffled places would fare as well.

A note that says too much or too little of a band is held against a curve over its own trend (a straight line
over log frequency, 100 Hz to 16 kHz): the listening window for what was heard straight ahead, the side
reflection for what was heard off to the side, the directions ten and twenty degrees up for what was heard
standing, else the estimated in-room response. It is supported where the band's mean lies a decibel or more to
its side and beyond twice its uncertainty, contradicted where it lies so to the other. One about a high level
is held against what changes with the drive (`findings.testimony_level`). Source: defined here.

**By chance.** The same note at every other place of the valid band, as wide in octaves, would be supported in
so many of them. Notes are taken for independent: the number of hits by chance is a sum of trials with those
shares (Poisson binomial; closed form by convolution).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.derive.directivity import level_db
from earwitness.derive.formatting import value_text
from earwitness.derive.in_room import TREND_BAND_HZ, trend
from earwitness.derive.numerals import frequency, quantity
from earwitness.findings.testimony_level import held_at_high_level
from earwitness.records.curves import Curve, CurveName, CurveSet
from earwitness.records.figures import Evidence
from earwitness.records.findings import Finding, Place
from earwitness.records.responses import Directivity
from earwitness.records.sentences import EMPTY, Number, Quoted, Sentence, say
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import Direction, Orbit
from earwitness.records.testimony import Amount, HeardFrom, Note, NoteHeld, Outcome, Tally
from earwitness.records.uncertainty import SHARING

Float64s = npt.NDArray[np.float64]

#: So far to its side the band's mean lies where a note is supported, dB, and so many times its uncertainty.
LEAST_DB: Final = 1.0
TIMES: Final = 2.0
#: The printed order: after what the data say by themselves.
IMPORTANCE: Final = 0.09
CURVES: Final = {
    HeardFrom.STRAIGHT_AHEAD: CurveName.LISTENING_WINDOW,
    HeardFrom.IN_THE_ROOM: CurveName.ESTIMATED_IN_ROOM,
    HeardFrom.OFF_TO_THE_SIDE: CurveName.SIDE_REFLECTION,
}
#: Features straight ahead lie no farther from the axis than this, those off to the side no nearer than that.
AHEAD_DEG, ASIDE_DEG = 10.0, 30.0
#: Directions in which somebody hears who stands two to three metres away (common practice).
STANDING: Final = (Direction(Orbit.VERTICAL, 10.0), Direction(Orbit.VERTICAL, 20.0))
SOURCE: Final = Source("Earwitness", "", "testimony against a curve over its trend", Standing.OWN)


def held(notes: Sequence[Note], curves: CurveSet, field: Directivity | None = None) -> tuple[NoteHeld, ...]:
    """Each note against the data, in order; `field` holds single directions, where they are known."""
    return tuple(_held(note, curves, field) for note in notes)


def tally(found: Sequence[NoteHeld], others: Sequence[NoteHeld] = ()) -> Tally:
    """All testable notes that were sealed before any results; `others` are those of earlier cases."""
    testable = [one for one in found if one.outcome is not Outcome.NOT_TESTABLE and not one.note.built]
    shares = [one.by_chance or 0.0 for one in testable]
    hits = sum(one.outcome is Outcome.SUPPORTED for one in testable)
    elsewhere = [one for one in others if one.outcome is not Outcome.NOT_TESTABLE]
    return Tally(
        testable=len(testable),
        supported=hits,
        contradicted=sum(one.outcome is Outcome.CONTRADICTED for one in testable),
        by_chance=float(sum(shares)),
        as_many=as_many_by_chance(shares, hits),
        others=len(elsewhere),
        others_supported=sum(one.outcome is Outcome.SUPPORTED for one in elsewhere),
    )


def as_many_by_chance(shares: Sequence[float], hits: int) -> float:
    """Probability of `hits` or more successes in trials with these shares."""
    count = np.ones(1)
    for share in shares:
        count = np.convolve(count, [1.0 - share, share])
    return float(min(count[hits:].sum(), 1.0))


def note_statements(
    found: Sequence[NoteHeld], curves: CurveSet, features: Sequence[Finding] = ()
) -> tuple[Finding, ...]:
    """One finding a note, in order, with the features that lie in its band."""
    return tuple(_finding(one, curves, features) for one in found)


def _held(note: Note, curves: CurveSet, field: Directivity | None) -> NoteHeld:
    here = f"testimony:{note.number}"
    if note.band_hz is None or note.amount is None:
        reason = say("It names no band, so that no curve can speak for or against it.")
        return NoteHeld(note, Outcome.NOT_TESTABLE, None, None, None, reason)
    if note.heard_at is not None:
        return held_at_high_level(note, curves, LEAST_DB, by_chance)
    curve = _curve_of(note.heard_from, curves, field)
    over = None if curve is None else _over_trend(curve, curves.frequency_hz, note.band_hz)
    words = _words(note.heard_from)
    if curve is None or over is None:
        reason = say(f"The {words} isn't valid throughout its band.")
        return NoteHeld(note, Outcome.NOT_TESTABLE, None, None, None, reason)
    octaves, residual, inside = over
    deviation = float(residual[inside].mean())
    unsure = _uncertainty_db(curve, curves.frequency_hz, note.band_hz)
    least = max(LEAST_DB, TIMES * unsure)
    sign = 1.0 if note.amount is Amount.TOO_MUCH else -1.0
    outcome = (
        Outcome.SUPPORTED
        if sign * deviation >= least
        else Outcome.CONTRADICTED
        if sign * deviation <= -least
        else Outcome.NOT_SEEN
    )
    chance = by_chance(octaves, sign * residual, note.band_hz, least)
    shown = Number(value_text(abs(deviation), "dB", 1), deviation, f"{here}/deviation_db")
    side = "above" if deviation >= 0.0 else "below"
    reason = say(
        f"There the {words} lies ",
        shown,
        f" {side} its trend (± ",
        quantity(unsure, "dB", f"{here}/uncertainty_db"),
        ").",
    )
    return NoteHeld(note, outcome, deviation, unsure, chance, reason)


def _curve_of(heard_from: HeardFrom, curves: CurveSet, field: Directivity | None) -> Curve | None:
    """What a note is held against; None where its directions weren't measured."""
    if heard_from is not HeardFrom.STANDING:
        return curves.curves[CURVES[heard_from]]
    if field is None or field.missing(STANDING):
        return None
    rows = field.rows(STANDING)
    valid = np.asarray(field.valid[rows].all(axis=0))
    power = np.where(valid, field.power[rows].mean(axis=0), 1.0)
    level = np.where(valid, level_db(power), np.nan)
    # a level of two directions is as unsure as that of the axis
    return replace(curves.curves[CurveName.ON_AXIS], level_db=level, valid=valid)


def _words(heard_from: HeardFrom) -> str:
    if heard_from is HeardFrom.STANDING:
        return "response ten to twenty degrees above the axis"
    return f"{CURVES[heard_from].words} response"


def _over_trend(
    curve: Curve, frequency_hz: npt.NDArray[np.floating], band_hz: tuple[float, float]
) -> tuple[Float64s, Float64s, npt.NDArray[np.bool_]] | None:
    """Octaves and the curve over its trend at the trend's points, and which of them lie in the band."""
    hz = np.asarray(frequency_hz, dtype=np.float64)
    whole = (hz >= TREND_BAND_HZ[0]) & (hz <= TREND_BAND_HZ[1]) & curve.valid
    wanted = (hz >= band_hz[0]) & (hz <= band_hz[1])
    if not wanted.any() or not whole[wanted].all():
        return None
    residual = np.asarray(trend(hz[whole], np.asarray(curve.level_db[whole])).residual_db, dtype=np.float64)
    return np.asarray(np.log2(hz[whole])), residual, wanted[whole]


def _uncertainty_db(curve: Curve, hz: npt.NDArray[np.floating], band_hz: tuple[float, float]) -> float:
    """Of the band's mean over the trend: what is the same at all frequencies cancels."""
    inside = (hz >= band_hz[0]) & (hz <= band_hz[1])
    squares = [
        float(np.nanmean(part[inside]) ** 2)
        for name, part in curve.components_db.items()
        if part is not None and not SHARING[name].over_frequency
    ]
    return float(np.sqrt(np.nansum(squares))) if squares else 0.0


def by_chance(octaves: Float64s, signed: Float64s, band_hz: tuple[float, float], least: float) -> float:
    """Share of all places of a band as wide at which the mean reaches the least."""
    step = float(octaves[1] - octaves[0])
    points = max(round(float(np.log2(band_hz[1] / band_hz[0])) / step), 1)
    means = np.convolve(signed, np.full(points, 1.0 / points), "valid")
    return float(np.mean(means >= least)) if means.size else 1.0


def _finding(one: NoteHeld, curves: CurveSet, features: Sequence[Finding]) -> Finding:
    note = one.note
    words = Quoted(note.text, f"testimony:{note.number}/note/text")
    band = note.band_hz
    about = EMPTY if band is None else _about(note, band)
    sealed = "after" if note.built else "before"
    name = CURVES.get(note.heard_from) if note.heard_at is None else None
    takes = curves.level.takes if note.heard_at is not None and curves.level is not None else ()
    return Finding(
        id=f"testimony-{note.number:03}",
        subject="testimony",
        statement=say("“", words, f"”: {one.outcome}."),
        explanation=about + one.reason + _beside(note, features),
        note=say(f"sealed {sealed} any results were built, by the reviewer's own clock"),
        importance=IMPORTANCE,
        place=None if band is None or one.deviation_db is None else _place(note, band, curves),
        figures=(),
        evidence=Evidence((name,) if name is not None and curves.curves[name].available else (), takes),
        testimony=one,
    )


def _place(note: Note, band_hz: tuple[float, float], curves: CurveSet) -> Place:
    if note.heard_at is not None:
        return Place("change", band_hz, "on axis", curves.drive)
    if note.heard_from is HeardFrom.STANDING:
        middle = float(np.mean([direction.angle_deg for direction in STANDING]))
        return Place("coverage_vertical", band_hz, None, curves.drive, middle)
    return Place(CURVES[note.heard_from], band_hz, None, curves.drive)


def _about(note: Note, band_hz: tuple[float, float]) -> Sentence:
    low, high = (
        frequency(edge, f"testimony:{note.number}/note/band_hz/{i}") for i, edge in enumerate(band_hz)
    )
    where = f"heard {note.heard_from}" if note.heard_at is None else f"heard at {note.heard_at}"
    word = "It says" if note.quality is None else f"“{note.quality.capitalize()}” is taken for"
    return say(f"{word} {note.amount} from ", low, " to ", high, f", {where}. ")


def _is_there(direction: Direction, heard_from: HeardFrom) -> bool:
    """Whether what comes in a direction is heard there; in the room all of it is."""
    match heard_from:
        case HeardFrom.STANDING:
            return direction in STANDING
        case HeardFrom.STRAIGHT_AHEAD:
            return abs(direction.angle_deg) <= AHEAD_DEG
        case HeardFrom.OFF_TO_THE_SIDE:
            return direction.orbit is Orbit.HORIZONTAL and abs(direction.angle_deg) >= ASIDE_DEG
        case HeardFrom.IN_THE_ROOM:
            return True


def _beside(note: Note, features: Sequence[Finding]) -> Sentence:
    """The features of the note's sign in its band and direction."""
    if note.band_hz is None or note.heard_at is not None:
        return EMPTY
    low, high = note.band_hz
    sign = 1 if note.amount is Amount.TOO_MUCH else -1
    inside = [
        one
        for one in features
        if one.feature is not None
        and one.audibility is not None
        and one.feature.sign == sign
        and low <= one.feature.frequency_hz <= high
        and any(_is_there(place.direction, note.heard_from) for place in one.feature.places)
    ]
    told = EMPTY
    for one in inside:
        assert one.feature is not None
        number = one.id.removeprefix("feature-")
        at = frequency(one.feature.frequency_hz, f"feature:{number}/feature/frequency_hz")
        told += say(" and at " if told.parts else f" A {one.feature.kind} of its kind stands at ", at)
    return told + say(".") if told.parts else EMPTY
