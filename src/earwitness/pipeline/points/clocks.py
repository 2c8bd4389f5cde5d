"""Clocks, air and heights: whether what times rest on is what it was taken for."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import arrival
from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.measurement.gated import LATER_THAN_STATED, SOONER_THAN_STATED
from earwitness.measurement.quality_pace import FRONT_DEG, late_in_treble_s, slopes_s
from earwitness.measurement.stated import floor_arrives_s
from earwitness.pipeline.points.material import Material, Teller, over_angle, series
from earwitness.records.quality import Point, PointName, Series, Verdict
from earwitness.records.sentences import say
from earwitness.records.takes import Take, TakeId

Float64s = npt.NDArray[np.float64]

#: A loudspeaker's own treble comes so much later for a factor e in frequency, by the middle of those of the
#: virtual workshop, and no further from that than what tells of another clock.
OWN_SLOPE_S: Final = -25e-6
OTHER_CLOCK_S: Final = 40e-6
#: Sound comes no sooner than by the straight way; stated lengths and arrivals are good to so much.
TOO_SOON_S: Final = 30e-6
#: What a picture shows of the energy-time curve: so long before direct sound and after the floor's, s, and
#: the least of it, dB re the former.
SHOWN_S: Final = (1e-3, 2e-3)
LOWEST_DB: Final = -60.0
#: Absolute zero in °C; the speed of sound goes with the root of what lies above.
_ZERO_C: Final = -273.15


def clocks(material: Material) -> Point:
    """Whether what played and what recorded kept the same time."""
    tell = Teller(PointName.CLOCKS)
    responses = material.responses
    rows = [
        i
        for i, take in enumerate(responses.takes)
        if take.stimulus is not None
        and (d := take.key.direction) is not None
        and abs(d.angle_deg) <= FRONT_DEG
    ]
    slope = slopes_s(responses, rows)
    rate = np.array([_rate_s(material, responses.takes[row].id) for row in rows])
    told = np.flatnonzero(np.isfinite(slope) & np.isfinite(rate))
    if not told.size:
        return tell.cannot_tell(
            "No recorded sweep reaches up to where a clock that differs would show.",
            "Record sweeps up to at least sixteen kilohertz.",
        )
    beyond = slope[told] - OWN_SLOPE_S
    middle, length = float(np.median(beyond)), float(np.median(rate[told]))
    ppm = tell.number("apart_ppm", 1e6 * abs(middle) / length, "ppm", 0)
    least = tell.number("limit_ppm", 1e6 * OTHER_CLOCK_S / length, "ppm", 0)
    picture = over_angle(
        [d for k in told if (d := responses.takes[rows[k]].key.direction)], 1e6 * slope[told]
    )
    limit = say(
        "to look at from ",
        least,
        ", which with these sweeps is what loudspeakers do by themselves (defined here)",
    )
    if abs(middle) <= OTHER_CLOCK_S:
        return tell.point(
            Verdict.FINE,
            say("What played and what recorded kept the same time as far as can be told: to ", least, "."),
            limit,
            series=picture,
        )
    way = "fast" if middle > 0.0 else "slow"
    return tell.point(
        Verdict.LOOK,
        say(
            "Treble arrives ",
            tell.number("slope_us", 1e6 * abs(middle), "µs", 0),
            " later" if middle > 0.0 else " sooner",
            " for each factor e in frequency than loudspeakers do by themselves, as where the recorder's "
            f"clock is {way} re the player's by ",
            ppm,
            ".",
        ),
        limit,
        say(
            "Play and record on one interface, or resample the recordings by as much. Filters that turn the "
            "phase in the treble show the same."
        ),
        takes=[responses.takes[rows[k]].id for k in told],
        series=picture,
    )


def _rate_s(material: Material, take: TakeId) -> float:
    """How long a take's sweep takes for a factor e in frequency; NaN where it is none."""
    response = material.impulse_responses.get(take)
    return np.nan if response is None or response.rate_s is None else response.rate_s


def flight(material: Material) -> Point:
    """Whether sound takes as long as distance and temperature have it, where a loopback tells how long."""
    tell = Teller(PointName.FLIGHT)
    rig = material.facts.rig
    wired = _wired_on_axis(material)
    if not wired or rig.distance_m is None or rig.temperature_c is None:
        return tell.cannot_tell(
            "Without a loopback, a distance and a temperature the time of flight can't be held against them: "
            "a wrong temperature can't be told.",
            "Record a loopback beside each take, and state rig.distance_m and rig.temperature_c.",
        )
    due_s = rig.distance_m / speed_of_sound_m_s(rig.temperature_c)
    late = late_in_treble_s(wired, material.impulse_responses, due_s)
    if material.facts.unit.active and not np.any(late <= -TOO_SOON_S):
        return tell.cannot_tell(
            "An active loudspeaker's own latency is in the time after the loopback, so that the way through "
            "the air can't be held against it.",
            "Its latency is among the figures; a wrong temperature or distance can't be told here.",
        )
    if not np.isfinite(late).any():
        return tell.cannot_tell(
            "No direct sound lies near its place by distance and temperature after the loopback.",
            "Look at rig.distance_m, and whether the loopback goes round what delays the sound.",
        )
    middle = float(np.nanmedian(late))
    limit = say(
        "to look at where it comes sooner by ",
        tell.number("limit_us", 1e6 * TOO_SOON_S, "µs", 0),
        " or more (defined here); later it may come by the loudspeaker's own delay, so a temperature that is "
        "stated too high can't be told",
    )
    amount = tell.number("late_us", 1e6 * abs(middle), "µs", 0)
    count = np.arange(1, late.size + 1)
    picture = (
        series("takes on axis", count, 1e6 * late),
        series("limit", [1, max(late.size, 2)], [-1e6 * TOO_SOON_S, -1e6 * TOO_SOON_S]),
    )
    if middle > -TOO_SOON_S:
        way = "later" if middle >= 0.0 else "sooner"
        return tell.point(
            Verdict.FINE,
            say(
                "Treble arrives ",
                amount,
                f" {way} after its loopback than the straight way takes, which it may.",
            ),
            limit,
            series=picture,
        )
    return tell.point(
        Verdict.LOOK,
        say(
            "Treble arrives ",
            amount,
            " sooner after its loopback than the straight way takes: the stated distance is ",
            tell.number("shorter_mm", -1e3 * middle * rig.distance_m / due_s, "mm", 0),
            " too long or more, or the air was ",
            tell.number("warmer_k", _warmer_k(middle, due_s, rig.temperature_c), "K", 0),
            " warmer or more.",
        ),
        limit,
        say("Measure distance and temperature again, and correct rig.distance_m or rig.temperature_c."),
        takes=[take.id for take in wired],
        series=picture,
    )


def _wired_on_axis(material: Material) -> list[Take]:
    """Takes on axis that have a loopback beside them."""
    return [
        take
        for take in material.responses.takes
        if (d := take.key.direction) is not None
        and d.angle_deg == 0.0
        and dict(take.read).get("loopback") is not None
        and take.id in material.impulse_responses
    ]


def _warmer_k(late_s: float, due_s: float, stated_c: float) -> float:
    """By how much warmer air would bring sound so much sooner: its speed goes with the root of T."""
    faster: float = due_s / (due_s + late_s)
    return (stated_c - _ZERO_C) * (faster**2 - 1.0)


def heights(material: Material) -> Point:
    """Whether reflections lie where the stated heights have the floor's."""
    tell = Teller(PointName.HEIGHTS)
    rig, notes = material.facts.rig, material.responses.notes
    if rig.height_m is None or rig.microphone_height_m is None or rig.gate_s is not None or rig.ground_plane:
        return tell.cannot_tell(
            "The gate doesn't rest on both heights, so they aren't held against what reflects.",
            "State rig.height_m and rig.microphone_height_m, and leave rig.gate_s out.",
        )
    limit = say(
        "to look at where a reflection on axis comes ",
        tell.number("limit_ms", 0.75, "ms", 2),
        " before the floor's is due, or none when it is due, but one so much later (defined here)",
    )
    picture = _energy_on_axis(material)
    if SOONER_THAN_STATED in notes:
        sentence = "A reflection was found on axis before the floor's is due by the stated heights."
        remedy = (
            "Measure rig.height_m and rig.microphone_height_m again; if they hold, take away what "
            "reflects nearer."
        )
    elif LATER_THAN_STATED in notes:
        sentence = (
            "No reflection was found on axis where the floor's is due by the stated heights, but one later."
        )
        remedy = (
            "Measure rig.height_m and rig.microphone_height_m again: the gate may be too short. If they "
            "hold, the floor takes up sound, or noise hides it."
        )
    else:
        sentence = "No reflection on axis contradicts the stated heights."
        return tell.point(Verdict.FINE, say(sentence), limit, series=picture)
    return tell.point(Verdict.LOOK, say(sentence), limit, say(remedy), series=picture)


def _energy_on_axis(material: Material) -> list[Series]:
    """The energy-time curve of the first take on axis, and when the floor's reflection is due."""
    rig = material.facts.rig
    for take in material.responses.takes:
        response, d = material.impulse_responses.get(take.id), take.key.direction
        if response is not None and d is not None and d.angle_deg == 0.0 and rig.distance_m is not None:
            break
    else:
        return []
    rate = response.sample_rate_hz
    level = arrival.energy_db(response.samples, rate)
    time_s = (np.arange(level.size) - int(np.argmax(level))) / rate
    floor_s = floor_arrives_s(rig, np.array([rig.distance_m]), speed_of_sound_m_s(rig.temperature_c))
    if floor_s is None:
        return []
    shown = (time_s >= -SHOWN_S[0]) & (time_s <= floor_s + SHOWN_S[1])
    return [
        series("on axis", 1e3 * time_s[shown], np.maximum(level[shown], LOWEST_DB)),
        series("floor due", [1e3 * floor_s] * 2, [LOWEST_DB, 0.0]),
    ]
