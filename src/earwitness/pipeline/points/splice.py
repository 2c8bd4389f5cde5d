"""How near field and far field, or what surfaces tell, agree where they were joined."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.measurement.gated import LATER_THAN_STATED, SOONER_THAN_STATED
from earwitness.measurement.joining import WARN_DB
from earwitness.measurement.recorded import FURTHEST_APART_DB, HARDLY_OVERLAP, NOT_USED
from earwitness.measurement.two_radii_joining import CONTRADICTED
from earwitness.measurement.unheard import NOTCH
from earwitness.pipeline.points.material import Material, Teller, named, over_angle, verdict_of
from earwitness.records.quality import Point, PointName, Verdict
from earwitness.records.responses import Origin
from earwitness.records.sentences import Sentence, say
from earwitness.records.takes import TakeKind

#: Near field against far field, mean over the octave in which they are joined, so near to the axis: further
#: round, the sphere that stands for a box may be wrong by as much (computed on three boxes: 2 dB).
SPLICE_FRONT_DEG: Final = 60.0
SPLICE_UNFIT_DB: Final = 3.0
_SPLICE_REMEDY: Final = (
    "Look at the near field's drive and distance, at the microphone's distance, the diameters and the "
    "cabinet in case.toml, and whether a radiator has no near field."
)
_SURFACES_REMEDY: Final = (
    "Look at the surfaces' distances in takes.toml, at the point about which the microphone was turned, at "
    "the microphone's distance in case.toml, and at what reflects within the gate."
)
_SEPARATED: Final = (Origin.SEPARATED, Origin.SEPARATED_INTO_GATED, Origin.NEAR_FIELD_INTO_SEPARATED)


def splice(material: Material) -> Point:
    """How near field and far field agree where they were joined."""
    tell = Teller(PointName.SPLICE)
    splices = material.responses.splices
    if not splices:
        return (
            _by_wrong_heights(material, tell) or _not_separated(material, tell) or _not_joined(material, tell)
        )
    surfaces = bool(np.isin(material.responses.origin, _SEPARATED).any())
    remedy = _SURFACES_REMEDY if surfaces else _SPLICE_REMEDY
    angles = {t.id: abs(d.angle_deg) for t in material.responses.takes if (d := t.key.direction)}
    ids = sorted(splices, key=lambda i: (angles[i] > SPLICE_FRONT_DEG, i))
    front = [i for i in ids if angles[i] <= SPLICE_FRONT_DEG] or ids
    mismatch = np.array([splices[i].mismatch_db for i in front])
    rms = float(np.sqrt(np.mean(mismatch**2)))
    worst = max(ids, key=lambda i: abs(splices[i].mismatch_db))
    one = splices[front[0]]
    verdict = verdict_of(rms, (WARN_DB, SPLICE_UNFIT_DB))
    missing = any(NOTCH in note for note in material.responses.notes)
    if missing and verdict is Verdict.FINE:
        verdict, remedy = Verdict.LOOK, "Add a near field of the port or passive radiator."
    also = (
        " A near field has the notch of a cone at a port's tuning, and no port's was added."
        if missing
        else ""
    )
    return tell.point(
        verdict,
        say(
            "Separated and gated responses differ by " if surfaces else "Near field and far field differ by ",
            tell.db("rms_db", rms, 2),
            " in front (root mean square) where they are joined, ",
            tell.hz("low_hz", one.low_hz),
            " to ",
            tell.hz("high_hz", one.high_hz),
            "; of all directions most by ",
            tell.db("worst_db", abs(splices[worst].mismatch_db), 2),
            ", in ",
            named(worst),
            f".{also}",
        ),
        _splice_limit(tell),
        say(remedy) if verdict is not Verdict.FINE else say(),
        takes=[worst],
        series=over_angle(
            material.directions,
            [splices[t.id].mismatch_db if t.id in splices else np.nan for t in material.responses.takes],
        ),
    )


def _splice_limit(tell: Teller) -> Sentence:
    return say(
        "to look at from ",
        tell.db("look_db", WARN_DB),
        ", unfit from ",
        tell.db("unfit_db", SPLICE_UNFIT_DB, 0),
        " up to ",
        tell.number("front_deg", SPLICE_FRONT_DEG, "°"),
        " from the axis (defined here); further round, the model of the cabinet decides",
    )


def _by_wrong_heights(material: Material, tell: Teller) -> Point | None:
    """Where the gate was chosen by heights that what was heard contradicts, and too little reaches it."""
    notes = material.responses.notes
    if HARDLY_OVERLAP not in notes and material.responses.told_apart is None:
        return None
    if LATER_THAN_STATED in notes:
        shown = (
            "no reflection was found on axis where the floor's is due by the stated heights, but one later."
        )
    elif SOONER_THAN_STATED in notes:
        shown = "a reflection was found on axis before the floor's is due by the stated heights."
    else:
        return None
    return tell.cannot_tell(
        f"Nothing could be joined below the gate, and the gate may be too short: {shown}",
        "Measure rig.height_m and rig.microphone_height_m in case.toml again; if they hold, the floor takes "
        "up sound, noise hides it, or something nearer reflects: state rig.gate_s, or take it away.",
    )


def _not_separated(material: Material, tell: Teller) -> Point | None:
    """Surfaces that weren't joined to the gated responses, where there are any: they need no near field."""
    told, notes = material.responses.told_apart, material.responses.notes
    if told is None:
        return None
    if any(note.startswith(CONTRADICTED) for note in notes):
        return tell.cannot_tell(
            "Separated and gated responses disagree in the little that they share, so they weren't joined.",
            _SURFACES_REMEDY,
        )
    if told.taken.any():
        return tell.cannot_tell(
            "Separated and gated responses share too little to be joined, so they can't be held against each "
            "other.",
            "Get further away from what reflects, for a longer gate, or measure at more points on the "
            "surfaces, for separation to reach higher.",
        )
    return tell.cannot_tell(
        "The surfaces tell the loudspeaker's waves from the room's at no frequency, so nothing was joined.",
        "The build's notes say what was refused and why.",
    )


def _not_joined(material: Material, tell: Teller) -> Point:
    """Near fields that contradict the far field are no lack of near fields."""
    near = material.of_kind(TakeKind.NEAR_FIELD)
    if not near:
        return tell.cannot_tell(
            "No near field was measured, so there is nothing to hold the far field against there.",
            "Add a near field of each woofer and port, and describe the cabinet.",
        )
    if NOT_USED in material.responses.notes:
        return tell.point(
            Verdict.UNFIT,
            say(
                "Near field and far field differ by more than ",
                tell.db("apart_db", FURTHEST_APART_DB, 0),
                " where they overlap, so they weren't joined.",
            ),
            _splice_limit(tell),
            say(_SPLICE_REMEDY),
            takes=[take.id for take in near],
        )
    return tell.cannot_tell(
        "Near field and far field weren't joined, so they can't be held against each other.",
        "Get further away from what reflects, for a longer gate reaches lower, or measure on two surfaces."
        if HARDLY_OVERLAP in material.responses.notes
        else "Look at the cabinet and the radiators in case.toml; the build's notes say what is missing.",
    )
