"""The rig's reference loudspeaker on a control chart over cases."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from earwitness.case.documents import from_json
from earwitness.methods.iso_7870_2 import LEAST_VALUES, MOVING_RANGE_FACTOR, individuals
from earwitness.pipeline.points.material import Teller, joined, series
from earwitness.records.errors import IntegrityError
from earwitness.records.grid import Floats
from earwitness.records.quality import Point, PointName, Quality, ReferenceReading, Verdict
from earwitness.records.sentences import Sentence, Term, say

#: Limits are never closer than this to the centre: a loudspeaker and a room move by as much (defined here).
CLOSEST_DB: Final = 0.2
#: Where fewer than three earlier cases give no limits, a difference from their mean that is looked at.
FEW_DB: Final = 0.5
#: A result file is no longer than this.
_LARGEST_BYTES: Final = 2**22


@dataclass(frozen=True, slots=True)
class Earlier:
    """An earlier case: its folder as it was named, and its reading; None where it can't be had."""

    folder: str
    reading: ReferenceReading | None


def earlier_readings(root: Path, folders: Sequence[str]) -> tuple[Earlier, ...]:
    """The readings of earlier cases in their order; folders count from the case's own, `root`."""
    return tuple(Earlier(folder, _reading(root / folder)) for folder in folders)


def _reading(folder: Path) -> ReferenceReading | None:
    file = folder / "build" / "quality.json"
    try:
        if not file.is_file() or file.stat().st_size > _LARGEST_BYTES:
            return None
        return from_json(Quality, file.read_bytes(), str(file)).reference
    except (OSError, IntegrityError):
        return None


def reference(reading: ReferenceReading | None, earlier: Sequence[Earlier]) -> Point:
    """Whether the reference loudspeaker reads as it did in earlier cases."""
    tell = Teller(PointName.REFERENCE)
    if reading is None:
        return tell.cannot_tell(
            "No reference loudspeaker was recorded, so a change of the rig from case to case can't be told.",
            "Keep a small loudspeaker for the rig alone, record it on axis at the same place in each case, "
            "and state the take as kind reference.",
        )
    absent = [one.folder for one in earlier if one.reading is None]
    there = [one for one in earlier if one.reading is not None]
    said = say(" Not to be had: ", joined(absent), ".") if absent else say()
    if not there:
        return tell.cannot_tell(
            say("No earlier case is named that has a reading of the reference loudspeaker.") + said,
            "Name them in case.toml as rig.earlier, oldest first, and build them with today's program.",
        )
    now, then, names = _aligned(reading, [one.reading for one in there if one.reading is not None])
    lower, upper, centre = _limits(then)
    over = np.maximum(now - upper, lower - now)
    worst = int(np.nanargmax(np.where(np.isfinite(over), over, -np.inf)))
    out = [i for i in range(over.size) if over[i] > 0.0]
    cases = say(tell.count("earlier", len(there)), " earlier case" if len(there) == 1 else " earlier cases")
    if not out:
        sentence = say(
            "The rig's reference loudspeaker reads as it did in ", cases, ": its mean level is off by "
        )
        sentence = sentence + say(tell.db("mean_off_db", float(now[-1] - centre[-1]), 2), ".")
    else:
        way = "louder" if now[worst] > upper[worst] else "quieter"
        sentence = say(
            "The rig's reference loudspeaker doesn't read as it did in ",
            cases,
            f": it is {way} by ",
            tell.db("worst_off_db", abs(float(now[worst] - centre[worst])), 2),
            *_place(tell, names[worst]),
            ", outside the limits of ± ",
            tell.db("reach_db", float(upper[worst] - centre[worst]), 2),
            ".",
        )
    verdict = Verdict.LOOK if out or absent else Verdict.FINE
    cases_x = np.arange(1, len(there) + 2)
    mean = np.append(then[:, -1], now[-1])
    return tell.point(
        verdict,
        sentence + said,
        _limit_words(tell, len(there)),
        say("Look at calibrator, microphone, gains and place before you believe any level of this case.")
        if out
        else say(),
        takes=reading.takes,
        series=(
            series("mean level", cases_x, mean),
            series("lower limit", cases_x, np.full(cases_x.size, lower[-1])),
            series("centre", cases_x, np.full(cases_x.size, centre[-1])),
            series("upper limit", cases_x, np.full(cases_x.size, upper[-1])),
        ),
    )


def _place(tell: Teller, middle_hz: float) -> tuple[Sentence, ...]:
    if not middle_hz:
        return (say(" in its mean level"),)
    return (say(" in the octave about ", tell.hz("worst_hz", middle_hz)),)


def _aligned(
    reading: ReferenceReading, earlier: Sequence[ReferenceReading]
) -> tuple[Floats, Floats, tuple[float, ...]]:
    """Octave levels and their mean last, now (B+1,) and earlier (N, B+1); each one's octave, 0 for the mean.

    Only octaves that every case holds are there.
    """
    tables = [dict(zip(one.middle_hz, one.level_db, strict=True)) for one in (*earlier, reading)]
    shared = [f for f in reading.middle_hz if all(table.get(f) is not None for table in tables)]
    levels = np.array([[table[f] for f in shared] for table in tables], dtype=np.float64)
    whole = np.column_stack([levels, levels.mean(axis=-1)])
    return whole[-1], whole[:-1], (*shared, 0.0)


def _limits(then: Floats) -> tuple[Floats, Floats, Floats]:
    """Lower and upper limit and centre of each column of earlier values (N, B)."""
    centre = then.mean(axis=0)
    if len(then) < LEAST_VALUES:
        return centre - FEW_DB, centre + FEW_DB, centre
    reach = np.array([individuals(column).upper for column in then.T]) - centre
    reach = np.maximum(reach, CLOSEST_DB)
    return centre - reach, centre + reach, centre


def _limit_words(tell: Teller, earlier: int) -> Sentence:
    if earlier < LEAST_VALUES:
        return say(
            "± ",
            tell.db("few_db", FEW_DB),
            " about the mean of so few earlier cases (defined here); from ",
            tell.count("least", LEAST_VALUES),
            " on, by ",
            Term("ISO 7870-2"),
        )
    return say(
        "mean ± ",
        tell.number("factor", MOVING_RANGE_FACTOR, "", 2),
        " mean moving ranges (",
        Term("ISO 7870-2"),
        ", after Shewhart; recalled), and no closer than ",
        tell.db("closest_db", CLOSEST_DB),
    )
