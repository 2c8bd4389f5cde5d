"""Statements on bands that change with the drive: from where, by how much, and why.

Each is told once: where the figure of compression names a frequency in such a band, its sentence stands here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from earwitness.derive.formatting import value_text
from earwitness.derive.numerals import frequency, hours_a_day, quantity
from earwitness.findings.cause_words import BELIEVED, LOST, NAMES, cause_sentences, details
from earwitness.findings.causes.level_judge import causes_of_change
from earwitness.findings.causes.stretch import octaves_wide, stretch_of
from earwitness.findings.level_changes import find_changes
from earwitness.findings.next_measurement import (
    LEAST_BITS,
    WORDS,
    entropy_bits,
    in_question,
    information_bits,
)
from earwitness.records.causes import OF_LEVEL, Cause, FeatureCauses
from earwitness.records.curves import CurveSet
from earwitness.records.distortion import ChangeWithLevel
from earwitness.records.facts import CaseFacts
from earwitness.records.figures import Evidence
from earwitness.records.findings import Finding, Place, Story
from earwitness.records.level_changes import LevelChange
from earwitness.records.next_measurement import NextMeasurement, NextTake
from earwitness.records.sentences import EMPTY, Number, Sentence, Term, say
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import TakeId

#: The printed order, by whether the change reaches `GREAT_DB`.
GREAT_DB: Final = 1.0
GREAT, SMALL = 0.66, 0.40
SOURCE: Final = Source("Earwitness", "", "change with the level and its causes", Standing.OWN)
#: A band that is wider is told by its ends and not by its middle.
BROAD_OCTAVES: Final = 3.0
CAUTION: Final = (
    " Such levels can hurt hearing and the loudspeaker: leave the room or wear protection; local law and "
    "qualified advice come first."
)
#: Two bands speak of the same where they share this part of the narrower, in octaves: what holds the level
#: down is looked for from 316 Hz up, and heat begins below.
SHARED: Final = 0.1
#: What its figure is called that is told with it.
COMPRESSION: Final = "figure-compression"
#: What its figure is called that tells what holds the level down.
HELD: Final = "figure-held_level"
BY_DRIVES_ALONE: Final = (
    " From the drives alone a limiter, an amplifier that clips and heat can't be told apart; drives closer "
    "to each other would tell more."
)
#: How often each take shows what a cause of the level foretells, in the order of `OF_LEVEL`: a loss that
#: follows the impedance, one that grows as the sweep lasts, one that stays after a load, one that comes back.
SHOWS: Final[Mapping[NextTake, tuple[float, ...]]] = {
    NextTake.IMPEDANCE: (0.8, 0.2, 0.2),
    NextTake.LONGER_SWEEP: (0.85, 0.15, 0.1),
    NextTake.LOAD: (0.9, 0.3, 0.1),
    NextTake.DRIVE_AGAIN: (0.9, 0.9, 0.1),
}


def change_statements(curves: CurveSet, facts: CaseFacts) -> tuple[Finding, ...]:
    """One a band that changes with the drive; none where nothing was played at several drives."""
    level = curves.level
    if level is None:
        return ()
    hertz = np.asarray(curves.frequency_hz, dtype=np.float64)
    found = []
    for change in find_changes(level, hertz):
        stretch = stretch_of(change, level, hertz, curves.impedance)
        causes = causes_of_change(stretch, curves.long_term, active=facts.unit.active)
        found.append(_finding(change, causes, curves, level))
    return tuple(found)


def told_once(
    of_figures: Sequence[Finding],
    changes: Sequence[Finding],
    level: ChangeWithLevel | None,
    narrow: Sentence = EMPTY,
) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Figures of the level and changes, each thing once.

    What holds the level down (`held_level`) is told by its own sentence, with the causes of the band that it
    speaks of; where drives alone don't tell it, a change whose cause is said says that too. Then the figure
    of compression is quoted by the change that lies where it has its frequency, with what is said of
    `narrow` bands beside it.
    """
    figures, left = list(of_figures), list(changes)
    untold = next((one for one in figures if one.id == HELD and one.place is None), None)
    clear = next((place for place, change in enumerate(left) if _is_settled(change)), None)
    if untold is not None and clear is not None:
        figures.remove(untold)
        left[clear] = replace(left[clear], explanation=say(left[clear].explanation, BY_DRIVES_ALONE))
    for index, held in enumerate(figures):
        same = next((one for one in left if held.id == HELD and _overlap(held.place, one.change)), None)
        if same is not None and level is not None:
            left.remove(same)
            figures[index] = _held(held, same, level)
    compression = next((one for one in figures if one.id == COMPRESSION), None)
    for found in (left, figures):
        for index, one in enumerate(found):
            if compression is not None and compression in figures and _within(compression, one.change):
                found[index] = _quoting(one, compression, narrow)
                figures.remove(compression)
    return tuple(figures), tuple(left)


def _overlap(place: Place | None, change: LevelChange | None) -> bool:
    """Whether a change's band and a place's share enough."""
    if place is None or change is None:
        return False
    (low, high), (first, last) = np.log2(place.band_hz), np.log2(change.band_hz)
    shared = min(high, last) - max(low, first)
    return bool(shared >= SHARED * min(high - low, last - first))


def _within(compression: Finding, change: LevelChange | None) -> bool:
    """Whether the frequency that the figure of compression names lies in a change's band."""
    named = [n.value for n in compression.statement.numbers if n.reference.endswith("also/frequency")]
    return change is not None and any(change.band_hz[0] <= hertz <= change.band_hz[1] for hertz in named)


def _held(held: Finding, change: Finding, level: ChangeWithLevel) -> Finding:
    return replace(
        held,
        explanation=say(held.explanation, " To find it, it played ", _exposure(level)),
        importance=max(held.importance, change.importance),
        evidence=Evidence(
            held.evidence.curves, tuple(sorted({*held.evidence.takes, *change.evidence.takes}))
        ),
        change=change.change,
        causes=change.causes,
        story=change.story,
        next_measurement=change.next_measurement,
    )


def _is_settled(change: Finding) -> bool:
    """Whether a cause of a change is said."""
    causes = change.causes
    if causes is None or causes.cannot_tell >= LOST:
        return False
    return any(each.probability >= BELIEVED for each in causes.said)


def _quoting(one: Finding, compression: Finding, narrow: Sentence) -> Finding:
    return replace(
        one,
        explanation=say(compression.statement, " ", narrow, one.explanation),
        importance=max(one.importance, compression.importance),
        figures=tuple(dict.fromkeys((*one.figures, *compression.figures))),
    )


def _finding(change: LevelChange, causes: FeatureCauses, curves: CurveSet, level: ChangeWithLevel) -> Finding:
    root = f"change:{change.number}"
    takes: tuple[TakeId, ...] = (level.takes[0], *level.takes[change.from_row :])
    impedance = curves.impedance
    following = _next(causes, curves)
    return Finding(
        id=f"change-{change.number}",
        subject="level",
        statement=_statement(change, f"{root}/change"),
        explanation=_explanation(change, f"{root}/change", level),
        note=say(
            "On axis: change of the fundamental against the lowest drive, means over a sixth of an octave."
        ),
        importance=GREAT if abs(change.change_db) >= GREAT_DB else SMALL,
        place=Place("change", change.band_hz, "on axis", curves.drive, change.change_db),
        figures=(),
        evidence=Evidence((), (*takes, *(() if impedance is None else impedance.takes))),
        change=change,
        causes=causes,
        story=Story(
            cause=cause_sentences(causes, f"{root}/causes"),
            mend=say("No equaliser mends it: at lower levels there is nothing to mend. Play it less loud."),
            settle=_settle(following, level),
            details=tuple(details(said, f"{root}/causes/said/{i}") for i, said in enumerate(causes.said)),
        ),
        next_measurement=following,
    )


def _statement(change: LevelChange, here: str) -> Sentence:
    size = Number(value_text(abs(change.change_db), "dB", 1), change.change_db, f"{here}/change_db")
    broad = octaves_wide(change) > BROAD_OCTAVES
    at = (
        say("from ", _band(change, here))
        if broad
        else say("about ", frequency(change.frequency_hz, f"{here}/frequency_hz"))
    )
    most = "up to " if broad else ""
    top = _drive(change.top_drive, change.unit, f"{here}/top_drive")
    if change.from_drive == change.top_drive:
        return say("At ", top, " it plays ", most, size, f" {change.kind} ", at, " than its drive has it.")
    start = _drive(change.from_drive, change.unit, f"{here}/from_drive")
    return say("From ", start, f" up it plays {change.kind} ", at, ", at ", top, f" by {most}", size, ".")


def _band(change: LevelChange, here: str) -> Sentence:
    low, high = (frequency(edge, f"{here}/band_hz/{i}") for i, edge in enumerate(change.band_hz))
    return say(low, " to ", high)


def _drive(value: float, unit: str, reference: str) -> Number:
    return Number(f"{value:g} {unit}".replace("-", "−"), value, reference)


def _explanation(change: LevelChange, here: str, level: ChangeWithLevel) -> Sentence:
    narrow = octaves_wide(change) <= BROAD_OCTAVES
    where = (say("That is so from ", _band(change, here)), ", and gone") if narrow else ("That is gone",)
    return say(*where, " at lower levels. To find it, it played ", _exposure(level), CAUTION)


def _exposure(level: ChangeWithLevel) -> Sentence:
    """How loud the highest drive was, and how long that is allowed."""
    row = len(level.drives) - 1
    return say(
        quantity(float(level.arrived_db[row]), "dB", f"level:arrived_db/{row}", 0),
        " at one metre; taken as A-weighted, ",
        Term("NIOSH 98-126"),
        " allows ",
        hours_a_day(level.hours, "level:hours"),
        " there without protection.",
    )


def _next(causes: FeatureCauses, curves: CurveSet) -> NextMeasurement | None:
    """What would tell most between the causes in question; the quiet take first where it tells as much."""
    takes = set(SHOWS)
    takes -= {NextTake.IMPEDANCE} if curves.impedance is not None else set()
    takes -= {NextTake.LOAD} if curves.long_term.endurance is not None else set()
    between = in_question(causes) if causes.cannot_tell < LOST else _all(causes)
    if len(between) < 2:
        return None
    odds = np.array([max(probability, 0.01) for _, probability in between])
    columns = [OF_LEVEL.index(cause) for cause, _ in between]
    told = {take: information_bits(odds, np.array(SHOWS[take])[columns]) for take in SHOWS if take in takes}
    if told.get(NextTake.IMPEDANCE, 0.0) >= LEAST_BITS:
        best = NextTake.IMPEDANCE
    else:
        best = max(told, key=lambda take: told[take])
    if told[best] < LEAST_BITS:
        return None
    open_bits = entropy_bits(odds / odds.sum())
    return NextMeasurement(best, told[best], open_bits, tuple(cause for cause, _ in between))


def _all(causes: FeatureCauses) -> tuple[tuple[Cause, float], ...]:
    return tuple((each.cause, each.probability) for each in causes.said)


def _settle(found: NextMeasurement | None, level: ChangeWithLevel) -> Sentence:
    """In words, with the caution where it is as loud again."""
    if found is None:
        return say("")
    names = [NAMES[cause] for cause in found.between]
    told = say(WORDS[found.take], f" would tell most between {', '.join(names[:-1])} and {names[-1]}.")
    if found.take is NextTake.IMPEDANCE:
        return told
    return told + say(" That is as loud again: ", _exposure(level), CAUTION)
