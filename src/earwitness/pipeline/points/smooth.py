"""Whether levels follow each other from direction to direction as those of one loudspeaker do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.derive.directivity import TakePowers
from earwitness.measurement.quality_angles import (
    MIRROR_BRINGS,
    OUT_OF_LEVEL_DB,
    SWAP_BRINGS,
    Disorder,
    Meeting,
    Symmetry,
    axis_of_symmetry,
    disorder,
    meeting,
)
from earwitness.methods.iec_61260 import band_levels_db
from earwitness.pipeline.points.material import Teller, joined, named, series
from earwitness.records.quality import Point, PointName, Verdict
from earwitness.records.responses import Origin, Responses
from earwitness.records.sentences import EMPTY, Sentence, say
from earwitness.records.takes import Orbit, TakeId

Float64s = npt.NDArray[np.float64]

#: Sixths of an octave from 100 Hz to 10 kHz.
BANDS: Final = tuple(range(-20, 21))
FRACTION: Final = 6
#: Below this a near field that was joined in is the same in all directions, or the model's.
_CLOSE: Final = (Origin.NEAR_FIELD, Origin.BLENDED, Origin.NEAR_FIELD_INTO_SEPARATED)
#: A take that is out of level by more is unfit.
LEVEL_UNFIT_DB: Final = 1.5
#: An axis of symmetry so far from zero is pointed out, where both sides are so much more alike about it, and
#: no further apart in all; about zero they differ by no less.
AXIS_DEG: Final = 2.0
ALIKE_PART: Final = 0.2
ALIKE_DB: Final = 0.5
APART_DB: Final = 0.25


@dataclass(frozen=True)
class OrbitTaken:
    """The takes of one orbit in rising order: ids, angles (N,), levels in bands (N, B), what is wrong."""

    orbit: Orbit
    takes: tuple[TakeId, ...]
    angle_deg: Float64s
    level_db: Float64s
    disorder: Disorder | None

    @property
    def on_axis_db(self) -> Float64s | None:
        """Levels on axis (B,); None where that wasn't measured on this orbit."""
        (rows,) = np.nonzero(self.angle_deg == 0.0)
        return self.level_db[rows[0]] if rows.size else None


def orbits_of(powers: TakePowers, responses: Responses) -> tuple[OrbitTaken, ...]:
    """Both orbits at the reference drive, one take a direction."""
    origin = np.asarray(responses.origin)[list(powers.rows)]
    valid = powers.valid & ~np.isin(origin, _CLOSE)
    levels = band_levels_db(powers.power, valid, powers.frequency_hz, BANDS, FRACTION)
    found = []
    for orbit in Orbit:
        first: dict[float, int] = {}
        for row, take in sorted(enumerate(powers.takes), key=lambda pair: pair[1].key.repeat):
            if (d := take.key.direction) and d.orbit is orbit and powers.valid[row].any():
                first.setdefault(d.angle_deg, row)
        angles = sorted(first)
        rows = [first[a] for a in angles]
        angle = np.array(angles)
        level = levels[rows] if rows else np.empty((0, len(BANDS)))
        wrong = disorder(angle, level) if rows else None
        found.append(OrbitTaken(orbit, tuple(powers.takes[i].id for i in rows), angle, level, wrong))
    return tuple(found)


def order(orbits: Sequence[OrbitTaken]) -> Point:
    """Whether two takes stand in each other's place."""
    tell = Teller(PointName.ORDER)
    told = [one for one in orbits if one.disorder is not None]
    picture = [series(str(o.orbit), o.angle_deg, _mean_re_greatest_db(o.level_db)) for o in told]
    if not told:
        return tell.cannot_tell(
            "Too few directions lie side by side to tell whether two were swapped.", "Record more directions."
        )
    limit = say(
        "to look at where a swap makes levels follow each other better by ",
        tell.number("limit", SWAP_BRINGS, decimals=1),
        " a band, of mirror images by ",
        tell.number("limit_mirrored", MIRROR_BRINGS, decimals=0),
        " (sums of logarithms, defined here); what radiates alike to both sides may be swapped unseen, and "
        "unharmed",
    )
    swaps = [(o, o.disorder.swap) for o in told if o.disorder and o.disorder.swap]
    if not swaps:
        brings = max((o.disorder.best.brings for o in told if o.disorder and o.disorder.best), default=0.0)
        best = tell.number("brings", brings, decimals=1)
        return tell.point(
            Verdict.FINE,
            say("The directions follow each other; no swap of two brings more than ", best, "."),
            limit,
            series=picture,
        )
    sentence, takes = EMPTY, []
    for orbit, swap in sorted(swaps, key=lambda pair: -pair[1].brings):
        one, other = orbit.takes[swap.one], orbit.takes[swap.other]
        takes += [one, other]
        said = tell.number("brings" if len(takes) == 2 else "brings_too", swap.brings, decimals=1)
        sentence = sentence + say(
            " " if len(takes) > 2 else "",
            "Swapping ",
            named(one),
            " and ",
            named(other),
            " would make levels follow each other better round the orbit, by ",
            said,
            " a band.",
        )
    return tell.point(
        Verdict.LOOK,
        sentence,
        limit,
        say("Look whether the two files were swapped: their angles in takes.toml, or the turntable's list."),
        takes=takes,
        series=picture,
    )


def _mean_re_greatest_db(level_db: Float64s) -> Float64s:
    """The mean of takes' levels (N, B) over bands that all of them have, re the greatest, (N,)."""
    known = np.isfinite(level_db).all(axis=0)
    mean = level_db[:, known].mean(axis=-1) if known.any() else np.full(len(level_db), np.nan)
    return np.asarray(mean - mean.max())


def levels(orbits: Sequence[OrbitTaken]) -> Point:
    """Whether a take is louder or quieter at all frequencies than the takes beside it foretell."""
    tell = Teller(PointName.LEVELS)
    told = [one for one in orbits if one.disorder is not None and one.disorder.tells_level]
    if not told:
        return tell.cannot_tell(
            "Too few directions lie side by side, or too little below the crossovers is valid, to hold "
            "levels against each other.",
            "Record more directions, or get further away from what reflects, for a longer gate.",
        )
    out = [(o.takes[p.place], p.louder_db) for o in told if o.disorder for p in o.disorder.out_of_level]
    out.sort(key=lambda pair: -abs(pair[1]))
    picture = [series(str(o.orbit), o.angle_deg, o.disorder.louder_db) for o in told if o.disorder]
    limit = say(
        "to look at from ",
        tell.db("look_db", OUT_OF_LEVEL_DB),
        " at nearly all frequencies, unfit from ",
        tell.db("unfit_db", LEVEL_UNFIT_DB),
        " (defined here)",
    )
    if not out:
        return tell.point(
            Verdict.FINE,
            say("No take is louder or quieter at all frequencies than those beside it foretell."),
            limit,
            series=picture,
        )
    worst, by_db = out[0]
    sentence = say(
        named(worst),
        " is ",
        tell.db("worst_db", abs(by_db), 2),
        " louder" if by_db > 0.0 else " quieter",
        " than the takes beside it foretell, at all frequencies alike.",
    )
    if len(out) > 1:
        sentence = sentence + say(" Out of level too: ", joined([take for take, _ in out[1:]]), ".")
    return tell.point(
        Verdict.UNFIT if abs(by_db) > LEVEL_UNFIT_DB else Verdict.LOOK,
        sentence,
        limit,
        say("A gain was touched, or the drive isn't the stated one: look at both, and record it again."),
        takes=[take for take, _ in out],
        series=picture,
    )


def zero(orbits: Sequence[OrbitTaken]) -> Point:
    """Whether the angles of an orbit begin where the loudspeaker's axis lies."""
    tell = Teller(PointName.ZERO)
    axes = {o.orbit: axis_of_symmetry(o.angle_deg, o.level_db) for o in orbits}
    meetings = _meetings(orbits)
    if not any(axes.values()) and not meetings:
        return tell.cannot_tell(
            "Neither a whole orbit nor both orbits on axis were measured, so a wrong zero of the angles "
            "can't be told.",
            "Measure an orbit all round in even steps, or both orbits on axis.",
        )
    limit = say(
        "to look at where both sides are alike about another angle, from ",
        tell.number("look_deg", AXIS_DEG, "°"),
        ", or where an orbit meets the other's axis at another angle; they have to differ there by less "
        "than ",
        tell.number("part_percent", 100.0 * ALIKE_PART, "%"),
        " of what they differ by at zero, which is ",
        tell.db("apart_db", APART_DB, 2),
        " or more (defined here)",
    )
    picture = [series(str(o), axis.tried_deg, axis.apart_db) for o, axis in axes.items() if axis is not None]
    said: list[Sentence] = []
    for orbit, axis in axes.items():
        if axis is not None and _turned_axis(axis):
            said.append(_axis_sentence(tell, orbit, axis))
    for orbit, met in meetings.items():
        turned = axes[orbit]
        if _met_elsewhere(met) and (turned is None or not _turned_axis(turned)):
            said.append(_meeting_sentence(tell, orbit, met))
    if not said:
        return tell.point(
            Verdict.FINE,
            say("Nothing shows another zero of the angles than the stated one."),
            limit,
            series=picture,
        )
    sentence = said[0]
    for more in said[1:]:
        sentence = sentence + say(" ") + more
    return tell.point(
        Verdict.LOOK,
        sentence,
        limit,
        say(
            "Look whether the zero of the turntable or the protractor was where the loudspeaker faces the "
            "microphone, and correct the angles in takes.toml, all of that orbit by as much. A loudspeaker "
            "that is built to radiate aside shows the same."
        ),
        series=picture,
    )


def _meetings(orbits: Sequence[OrbitTaken]) -> dict[Orbit, Meeting]:
    """Where each orbit meets the other's take on axis, where that can be told."""
    found = {}
    for one, other in (orbits, orbits[::-1]):
        on_axis = other.on_axis_db
        met = meeting(one.angle_deg, one.level_db, on_axis) if on_axis is not None else None
        if met is not None:
            found[one.orbit] = met
    return found


def _turned_axis(axis: Symmetry) -> bool:
    return abs(axis.axis_deg) >= AXIS_DEG and _there_not_at_zero(axis.about_axis_db, axis.about_zero_db)


def _met_elsewhere(met: Meeting) -> bool:
    return met.angle_deg != 0.0 and _there_not_at_zero(met.there_db, met.at_zero_db)


def _there_not_at_zero(there_db: float, zero_db: float) -> bool:
    """Whether what ought to be alike is so at another angle, and not at zero."""
    return zero_db >= APART_DB and there_db <= min(ALIKE_DB, ALIKE_PART * zero_db)


def _axis_sentence(tell: Teller, orbit: Orbit, axis: Symmetry) -> Sentence:
    return say(
        f"On the {orbit} orbit the axis of symmetry lies at ",
        tell.number(f"{orbit}_axis_deg", axis.axis_deg, "°", 0),
        ": both sides differ by ",
        tell.db(f"{orbit}_there_db", axis.about_axis_db, 2),
        " about that, by ",
        tell.db(f"{orbit}_zero_db", axis.about_zero_db, 2),
        " about the stated zero; was that right?",
    )


def _meeting_sentence(tell: Teller, orbit: Orbit, met: Meeting) -> Sentence:
    return say(
        f"The {orbit} orbit is like the other's take on axis at ",
        tell.number(f"{orbit}_met_deg", met.angle_deg, "°", 0),
        ", to ",
        tell.db(f"{orbit}_met_db", met.there_db, 2),
        ", and not at its own zero, to ",
        tell.db(f"{orbit}_met_zero_db", met.at_zero_db, 2),
        "; was that right?",
    )
