"""Directions: whether all are there, and alike where they must be."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np

from earwitness.acoustics.smoothing import smooth_power
from earwitness.derive.orbit_figures import AGREEMENT_FRACTION, AGREEMENT_WARNING_DB
from earwitness.derive.sides import SIDES_WARNING_DB, sides_difference_db, sides_over_frequency_db
from earwitness.derive.symmetry import ORBITS, Symmetry
from earwitness.pipeline.points.material import Material, Teller, joined, over_angle, series
from earwitness.records.figures import FigureName, Quantity
from earwitness.records.grid import POINTS_PER_OCTAVE, Floats
from earwitness.records.quality import Point, PointName, Series, Verdict
from earwitness.records.sentences import Term, say
from earwitness.records.takes import Direction

#: Orbits that differ by more than this where they meet don't show one loudspeaker.
ORBITS_UNFIT_DB: Final = 3.0
#: So many points of a picture to the octave.
PICTURE_STEP: Final = 8


def missing(material: Material) -> Point:
    """Whether the directions that the curves need were all measured."""
    tell = Teller(PointName.MISSING)
    wanted = {d for curve in material.curves.curves.values() for d in curve.missing}
    lacking = sorted(wanted)
    limit = say("the directions of ", Term("CTA-2034-A"), ", both orbits every ", Term("10°"))
    measured = {d.shared for d in material.directions}
    picture = _how_often(material, wanted)
    if not lacking:
        mirrored = int(material.powers.mirrored.sum())
        stood = (
            say(", ", tell.count("mirrored", mirrored), " of them by the stated symmetry")
            if mirrored
            else say()
        )
        said = say("No direction that a curve needs is missing", stood, ".")
        return tell.point(Verdict.FINE, said, limit, series=picture)
    labels = [d.label for d in lacking]
    orbits = {d.orbit for d in material.directions if d.angle_deg not in (0.0, 180.0)}
    gaps = [d.label for d in lacking if d.orbit in orbits]
    sentence = say(
        tell.count("missing", len(lacking)),
        " directions are missing beside the ",
        tell.count("measured", len(measured)),
        " measured: ",
        joined(labels, 6),
        ". Curves that need them aren't drawn.",
    )
    one = "Record it" if len(lacking) == 1 else "Record them"
    remedy = (
        say(f"{one}, or look whether a file got another angle in takes.toml.")
        if gaps
        else say("Record the other orbit too, where sound power and reflections are wanted.")
    )
    return tell.point(Verdict.LOOK, sentence, limit, remedy, series=picture)


def _how_often(material: Material, wanted: Iterable[Direction]) -> list[Series]:
    """How many takes there are of each direction that was measured, or that a curve lacks."""
    taken = Counter(material.directions)
    every = sorted({*taken, *wanted})
    return over_angle(every, [taken[d] for d in every])


def orbits(material: Material) -> Point:
    """Whether both orbits show one loudspeaker where they meet; what differs is the room, or the turning."""
    tell = Teller(PointName.ORBITS)
    figure = next(f for f in material.figures if f.name is FigureName.ORBIT_AGREEMENT)
    if not isinstance(figure.value, Quantity):
        return tell.cannot_tell(
            "Only one orbit was measured on axis, so the room can't show in the difference of two.",
            "Measure on axis on the other orbit too.",
        )
    worst = figure.value.value
    verdict = (
        Verdict.UNFIT
        if worst > ORBITS_UNFIT_DB
        else Verdict.LOOK
        if worst > AGREEMENT_WARNING_DB
        else Verdict.FINE
    )
    sentence = say(
        "On axis the two orbits differ by ",
        tell.db("worst_db", worst, 2),
        " at most, at ",
        tell.hz("worst_hz", figure.also["frequency"]),
    )
    if "behind" in figure.also:
        sentence = sentence + say("; behind by ", tell.db("behind_db", figure.also["behind"], 2))
    return tell.point(
        verdict,
        sentence + say("."),
        say(
            "to look at from ",
            tell.db("look_db", AGREEMENT_WARNING_DB, 0),
            ", unfit from ",
            tell.db("unfit_db", ORBITS_UNFIT_DB, 0),
            ", each smoothed by ",
            Term("1/3 octave"),
            " (defined here)",
        ),
        say(
            "What differs isn't the loudspeaker: look at the height of the cabinet on both orbits, at what "
            "stands near, and whether a level was changed in between."
        )
        if verdict is not Verdict.FINE
        else say(),
        takes=figure.evidence.takes[:2],
        series=_meeting(material),
    )


def _meeting(material: Material) -> list[Series]:
    words = {"on_axis": "on axis", "behind": "behind"}
    f = np.asarray(material.curves.frequency_hz)
    return [
        series(words[name], f[::PICTURE_STEP], _smooth(difference)[::PICTURE_STEP])
        for name, difference in material.curves.meeting_difference_db.items()
        if np.isfinite(difference).any()
    ]


def _smooth(difference_db: Floats) -> Floats:
    power = 10.0 ** (np.nan_to_num(difference_db) / 10.0)
    smooth, valid = smooth_power(power, np.isfinite(difference_db), AGREEMENT_FRACTION, POINTS_PER_OCTAVE)
    return np.where(valid, 10.0 * np.log10(np.where(valid, smooth, 1.0)), np.nan)


_SIDES: Final[Mapping[PointName, tuple[Symmetry, str]]] = {
    PointName.LEFT_RIGHT: ("left-right", "Left and right"),
    PointName.UP_DOWN: ("up-down", "Up and down"),
}


def sides(material: Material, name: PointName) -> Point:
    """Whether both sides of an orbit are alike, as the case states; unstated, they may be anything."""
    tell = Teller(name)
    symmetry, words = _SIDES[name]
    difference = sides_difference_db(material.powers, ORBITS[symmetry], material.field)
    if difference is None:
        return tell.cannot_tell(
            f"{words} weren't both measured.", "Measure both sides, if only at a few angles."
        )
    apart = tell.db("difference_db", difference, 2)
    f = np.asarray(material.field.frequency_hz)[::PICTURE_STEP]
    over_f = sides_over_frequency_db(material.powers, ORBITS[symmetry], material.field)[::PICTURE_STEP]
    picture = (series("both sides", f, over_f),)
    sentence = say(f"{words} differ by ", apart, " (root mean square over angles and frequencies)")
    limit = say(
        "to look at from ", tell.db("limit_db", SIDES_WARNING_DB, 0), " where the case states symmetry"
    )
    if symmetry not in material.facts.unit.symmetry:
        return tell.point(
            Verdict.FINE,
            sentence
            + say(
                "; the case doesn't state that they are alike, so whether that is the unit's own or comes of "
                "the room and the turning can't be told."
            ),
            limit,
            series=picture,
        )
    apart_too_far = difference > SIDES_WARNING_DB
    return tell.point(
        Verdict.LOOK if apart_too_far else Verdict.FINE,
        sentence + say("; the case states that they are alike."),
        limit,
        say(
            "Look at unit.symmetry in case.toml, and at the axis: a cabinet that was turned aside shows here."
        )
        if apart_too_far
        else say(),
        series=picture,
    )
