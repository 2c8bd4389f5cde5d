"""What is true of a scenario at large signal: levels of each order by drive, what does it, and heat.

Levels are those of steady tones on axis (`tones`), with cold coils, at the rig's distance and referred to 1 m
by it, for volts at the terminals. What a mechanism does is counterfactual: the levels at the largest drive
without it, all others in place.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from earwitness.virtual.arrays import Complexes
from earwitness.virtual.bodies import DriveUnit
from earwitness.virtual.electronics import Electronics
from earwitness.virtual.heating import Heating
from earwitness.virtual.large_signal import LargeSignal
from earwitness.virtual.loudspeaker import Loudspeaker
from earwitness.virtual.playing import Player, Playing
from earwitness.virtual.scenario import Scenario
from earwitness.virtual.source import Source
from earwitness.virtual.tones import FLOOR_DB, HIGHEST_HZ, ORDERS, Tones
from earwitness.virtual.truth_json import DECIMALS, NUMBER, TEXT, rounded, strict_object

#: f = 1000·2^(k/12) Hz, 20 Hz to 20 kHz.
FREQUENCIES: Final = 1000.0 * 2.0 ** (np.arange(-67, 52) / 12.0)
REFERENCE_PA: Final = 20e-6
#: A driver's mechanisms: which of its large-signal facts are set to rest.
FIELDS: Final[dict[str, tuple[str, ...]]] = {
    "force_factor": ("force_half_m", "force_offset_m"),
    "stiffness": ("stiffness_double_m", "stiffness_offset_m"),
    "inductance": ("inductance_fall", "inductance_reach_m"),
    "contact": ("contact_m", "contact_stiffness"),
}


@dataclass(frozen=True, slots=True)
class Without:
    """A mechanism, whose it is, and loudspeaker and electronics without it."""

    name: str
    of: str
    loudspeaker: Loudspeaker
    electronics: Electronics


def large_signal_truth(scenario: Scenario) -> dict[str, Any] | None:
    """It, ready for JSON; None for a scenario in which everything is linear."""
    player = scenario.session.player
    if player is None:
        return None
    drives = sorted({take.drive_v for take in (*scenario.session.turns, *scenario.session.levels)})
    asked = _tones(scenario, scenario.loudspeaker, player.electronics)
    moved = asked.volume_velocities(drives)
    pressures = asked.pressures(moved)
    linear = asked.linear(1.0)
    distance = scenario.turntable.distance_m
    return {
        "frequency_hz": rounded(FREQUENCIES),
        "orders": list(ORDERS),
        "drives": [
            {
                "drive_v": drive,
                "levels_db": _levels(pressure, distance),
                "compression_db": rounded(20.0 * np.log10(np.abs(pressure[0] / (drive * linear)))),
            }
            for drive, pressure in zip(drives, pressures, strict=True)
        ],
        "mechanisms": [
            {
                "name": each.name,
                "of": each.of,
                "drive_v": drives[-1],
                "levels_without_db": _levels(_at(scenario, each, drives), distance),
            }
            for each in mechanisms(scenario.loudspeaker, player.electronics)
        ],
        "ports": _ports(player, drives, moved),
        "heating": _heating(scenario, player),
    }


def mechanisms(loudspeaker: Loudspeaker, electronics: Electronics) -> Iterator[Without]:
    """All that isn't linear, one at a time."""
    rest = LargeSignal()
    for box in loudspeaker.source.enclosures:
        for unit in box.drive_units:
            if unit.large_signal is None:
                continue
            for name, keys in FIELDS.items():
                still = replace(unit.large_signal, **{key: getattr(rest, key) for key in keys})
                if still != unit.large_signal:
                    source = _with(loudspeaker.source, replace(unit, large_signal=still))
                    yield Without(name, unit.name, replace(loudspeaker, source=source), electronics)
    if electronics.limiter is not None:
        yield Without("limiter", "amplifier", loudspeaker, replace(electronics, limiter=None))
    if electronics.clipping is not None:
        yield Without("clipping", "amplifier", loudspeaker, replace(electronics, clipping=None))


def _with(source: Source, changed: DriveUnit) -> Source:
    """The source with one driver in another's place, by its name."""
    boxes = tuple(
        replace(
            box,
            drive_units=tuple(changed if unit.name == changed.name else unit for unit in box.drive_units),
        )
        for box in source.enclosures
    )
    return replace(source, enclosures=boxes)


def _tones(scenario: Scenario, loudspeaker: Loudspeaker, electronics: Electronics) -> Tones:
    point = np.array([[scenario.turntable.distance_m, 0.0, 0.0]])
    return Tones(loudspeaker, electronics, scenario.air, FREQUENCIES, point)


def _at(scenario: Scenario, without: Without, drives: Sequence[float]) -> Complexes:
    """Pressure at the largest drive."""
    asked = _tones(scenario, without.loudspeaker, without.electronics)
    return asked.pressures(asked.volume_velocities(drives[-1:]))[0]


def _levels(pressure: Complexes, distance_m: float) -> list[list[float | None]]:
    """By order: dB re 20 µPa at 1 m; None above `HIGHEST_HZ` and too far below the fundamental."""
    sizes = np.abs(pressure) * distance_m / REFERENCE_PA
    told = sizes > sizes[0] * 10.0 ** (-FLOOR_DB / 20.0)
    told &= np.outer(ORDERS, FREQUENCIES) <= HIGHEST_HZ
    level = 20.0 * np.log10(np.where(told, sizes, 1.0))
    return [
        [round(value, DECIMALS) + 0.0 if there else None for value, there in zip(*row, strict=True)]
        for row in zip(level.tolist(), told.tolist(), strict=True)
    ]


def _ports(player: Player, drives: Sequence[float], moved: Sequence[Complexes]) -> list[dict[str, Any]]:
    names = player.source.radiators
    return [
        {
            "of": port.name,
            "level_db": port.noise.level_db,
            "at_m_s": port.noise.at_m_s,
            "speeds_m_s": [
                {"drive_v": drive, "rms": rounded(np.abs(each[names.index(port.name), 0]) / port.area_m2)}
                for drive, each in zip(drives, moved, strict=True)
            ],
        }
        for port in player.noisy_ports
        if port.noise is not None
    ]


def _heating(scenario: Scenario, player: Player) -> list[dict[str, Any]]:
    """Each warm coil's constants, and how warm it is at the end of each take of the series."""
    warm = [
        (place, unit, unit.heating) for place, unit in enumerate(player.units) if unit.heating is not None
    ]
    session, drives = scenario.session, tuple(take.drive_v for take in scenario.session.levels)
    if not warm:
        return []
    samples = session.sweep.samples()
    count = len(samples) + round(session.tail_s * player.sample_rate_hz)
    playing = Playing(player, samples, session.sweep.peak, count, session.pause_s)
    ends = [(drive, playing.after(drives, drive).rises) for drive in drives]
    return [
        {
            "of": unit.name,
            **_constants(heating),
            "takes": [
                {
                    "drive_v": drive,
                    "coil_k": round(rises[place][0], DECIMALS),
                    "magnet_k": round(rises[place][1], DECIMALS),
                    "resistance_ratio": round(float(heating.resistance_share(sum(rises[place]))), 6),
                }
                for drive, rises in ends
            ],
        }
        for place, unit, heating in warm
    ]


def _constants(heating: Heating) -> dict[str, Any]:
    return {
        "coil_k_per_w": heating.coil_k_per_w,
        "coil_s": heating.coil_s,
        "magnet_k_per_w": heating.magnet_k_per_w,
        "magnet_s": heating.magnet_s,
        "wire": heating.wire,
    }


def _list(items: dict[str, Any], count: int | None = None) -> dict[str, Any]:
    sized = {} if count is None else {"minItems": count, "maxItems": count}
    return {"type": "array", "items": items, **sized}


_CURVE: Final = _list(NUMBER, len(FREQUENCIES))
_BY_ORDER: Final = _list(_list({"type": ["number", "null"]}, len(FREQUENCIES)), len(ORDERS))
#: The form of it.
LARGE_SCHEMA: Final = {
    "anyOf": [
        {"type": "null"},
        strict_object(
            {
                "frequency_hz": _CURVE,
                "orders": {"const": list(ORDERS)},
                "drives": _list(
                    strict_object({"drive_v": NUMBER, "levels_db": _BY_ORDER, "compression_db": _CURVE})
                ),
                "mechanisms": _list(
                    strict_object(
                        {
                            "name": {"enum": [*FIELDS, "limiter", "clipping"]},
                            "of": TEXT,
                            "drive_v": NUMBER,
                            "levels_without_db": _BY_ORDER,
                        }
                    )
                ),
                "ports": _list(
                    strict_object(
                        {
                            "of": TEXT,
                            "level_db": NUMBER,
                            "at_m_s": NUMBER,
                            "speeds_m_s": _list(strict_object({"drive_v": NUMBER, "rms": _CURVE})),
                        }
                    )
                ),
                "heating": _list(
                    strict_object(
                        {
                            "of": TEXT,
                            **dict.fromkeys(("coil_k_per_w", "coil_s", "magnet_k_per_w", "magnet_s"), NUMBER),
                            "wire": {"enum": ["copper", "aluminium"]},
                            "takes": _list(
                                strict_object(
                                    dict.fromkeys(
                                        ("drive_v", "coil_k", "magnet_k", "resistance_ratio"), NUMBER
                                    )
                                )
                            ),
                        }
                    )
                ),
            }
        ),
    ]
}
