"""When and with which sign sound arrives: latency and polarity."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.measurement.quality_bands import POLARITY_HZ, upside_down
from earwitness.measurement.quality_clock import jumps_s, lateness_s
from earwitness.measurement.quality_near import near_against_far
from earwitness.pipeline.points.material import Material, Teller, joined, named, over_angle
from earwitness.records.grid import Floats
from earwitness.records.quality import Point, PointName, Verdict
from earwitness.records.sentences import Sentence, say
from earwitness.records.takes import Direction, Take, TakeId

#: A take this much later or earlier than those beside it: to look at, unfit. In front of a cabinet the
#: arrival moves from take to take by less than 0.1 ms by itself, behind it by up to 0.55 ms (computed on
#: eight loudspeakers).
FRONT_S: Final = (3e-4, 1e-3)
BEHIND_S: Final = (8e-4, 1.5e-3)
FRONT_DEG: Final = 90.0
#: Where so great a part of the takes jumps, they share no clock at all.
NO_CLOCK_PART: Final = 0.25


def latency(material: Material) -> Point:
    """Whether a take begins at another moment than geometry and the takes beside it have it."""
    tell = Teller(PointName.LATENCY)
    responses, rig = material.responses, material.facts.rig
    rows = [i for i, take in enumerate(responses.takes) if take.id in material.impulse_responses]
    if len(rows) < 3 or rig.distance_m is None:
        return tell.cannot_tell(
            "There are too few recordings of one orbit to hold their arrivals against each other.",
            "Record more directions, or a loopback beside each take.",
        )
    directions = [material.directions[i] for i in rows]
    heard = [material.impulse_responses[responses.takes[i].id] for i in rows]
    speed = speed_of_sound_m_s(rig.temperature_c)
    late = lateness_s(directions, heard, rig.distance_m, rig.rotation_behind_m or 0.0, speed)
    jump = jumps_s(directions, late)
    size = np.nan_to_num(np.abs(jump))
    if not np.isfinite(jump).any():
        return tell.cannot_tell(
            "Too few takes lie side by side to hold their arrivals against each other.",
            "Record more directions, or a loopback beside each take.",
        )
    look, unfit = _limits_s(directions)
    if np.mean(size > look) > NO_CLOCK_PART:
        return tell.cannot_tell(
            "The recordings share no clock, so a jump of the latency can't be told from a new start.",
            "Record a loopback beside each take, or play and record on one interface.",
        )
    order = np.argsort(-size / look, kind="stable")
    worst = int(order[0])
    moved = [responses.takes[rows[int(i)]].id for i in order if size[i] > look[i]]
    verdict = Verdict.UNFIT if (size > unfit).any() else Verdict.LOOK if moved else Verdict.FINE
    take = responses.takes[rows[worst]]
    return tell.point(
        verdict,
        _how_late(tell, float(np.nan_to_num(jump[worst])), take, moved),
        _latency_limit(tell),
        say("Record it again; samples may be lost, or the take is of another direction.") if moved else say(),
        takes=moved or [take.id],
        series=over_angle(directions, 1e3 * late),
    )


def _limits_s(directions: Sequence[Direction]) -> tuple[Floats, Floats]:
    """From which jump a take is to be looked at, and unfit, shape (N,) each."""
    behind = np.array([abs(d.angle_deg) > FRONT_DEG for d in directions])
    return np.where(behind, BEHIND_S[0], FRONT_S[0]), np.where(behind, BEHIND_S[1], FRONT_S[1])


def _how_late(tell: Teller, jump_s: float, take: Take, moved: Sequence[TakeId]) -> Sentence:
    """What is said of the take that jumps most; `moved` are all that jump too far, the farthest first."""
    amount = tell.number("jump_ms", 1e3 * abs(jump_s), "ms", 2)
    if not moved:
        return say(
            "Every arrival lies where geometry and the takes beside it have it, to ",
            amount,
            " (",
            named(take.key.label),
            ").",
        )
    way = "later" if jump_s > 0.0 else "earlier"
    sentence = say(
        "Sound arrives ", amount, f" {way} in ", named(take.id), " than the takes beside it and geometry say."
    )
    return sentence + say(" So or alike: ", joined(moved[1:]), ".") if len(moved) > 1 else sentence


def _latency_limit(tell: Teller) -> Sentence:
    return say(
        "to look at from ",
        tell.number("look_ms", 1e3 * FRONT_S[0], "ms", 1),
        ", unfit from ",
        tell.number("unfit_ms", 1e3 * FRONT_S[1], "ms", 1),
        "; behind the cabinet from ",
        tell.number("look_behind_ms", 1e3 * BEHIND_S[0], "ms", 1),
        " and ",
        tell.number("unfit_behind_ms", 1e3 * BEHIND_S[1], "ms", 1),
        ", since sound bends round it (defined here)",
    )


def polarity(material: Material) -> Point:
    """Whether a take, or the near field, is upside down."""
    tell = Teller(PointName.POLARITY)
    rows, told, alike = upside_down(material.responses)
    takes = material.responses.takes
    turned = [takes[i].id for i in rows]
    upright = [take for take in material.takes if take.id not in turned]
    near = near_against_far(upright, material.impulse_responses, material.facts)
    if not told and not near:
        return tell.cannot_tell(
            "Without phase, or with a single take, nothing tells which way up it is.",
            "Record sweeps, or keep the phase in what is exported.",
        )
    wrong = turned + [take for take, alike in near.items() if alike < 0.0]
    limit = say(
        "upside down: it runs against the takes beside it between ",
        tell.hz("from_hz", POLARITY_HZ[0]),
        " and ",
        tell.hz("to_hz", POLARITY_HZ[1]),
        ", or a near field against the far field where they overlap (defined here)",
    )
    picture = over_angle(material.directions, alike) if told else ()
    if not wrong:
        also = ", and near field and far field agree" if near else ""
        said = say(f"All takes are the same way up{also}.")
        return tell.point(Verdict.FINE, said, limit, series=picture)
    sentence = say("Upside down: ", joined(wrong), ".")
    return tell.point(
        Verdict.UNFIT,
        sentence,
        limit,
        say("Swap the two wires back, or switch the polarity off, and record these takes again."),
        takes=wrong,
        series=picture,
    )
