"""How often `earwitness check` tells what was done to a set of takes, and how often where nothing was.

    PYTHONPATH=tests python -m evaluation.blind_spots 1000 60

Loudspeakers drawn by the generator and those of the scenarios, as both orbits see them. What was done has the
stated size, half and twice of it. A swap counts as told where both takes are named.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from evaluation.physics import make
from evaluation.population import Drawn, draw

from earwitness.derive.directivity import take_powers
from earwitness.measurement.quality_pace import FRONT_DEG, slopes_s
from earwitness.pipeline.points.clocks import OTHER_CLOCK_S, OWN_SLOPE_S
from earwitness.pipeline.points.smooth import levels, orbits_of, order, zero
from earwitness.records.quality import Point, PointName, Verdict
from earwitness.records.responses import Responses
from earwitness.records.takes import Direction, Orbit
from earwitness.virtual.scenario import load, names

#: Rises by the factor e in so many seconds: a sweep of three seconds over eleven octaves.
RATE_S: Final = 0.39
SWAPS: Final = (
    (Orbit.HORIZONTAL, 30, 50),
    (Orbit.HORIZONTAL, 30, 40),
    (Orbit.HORIZONTAL, 30, -30),
    (Orbit.VERTICAL, 30, 50),
    (Orbit.VERTICAL, 30, -30),
    (Orbit.VERTICAL, 10, -10),
)
SIZES: Final = (0.5, 1.0, 2.0)
Told = Callable[[Responses], bool]


def drawn(first: int, count: int) -> Iterator[Drawn]:
    """The seeds' loudspeakers, then those of the scenarios that can be seen so."""
    for seed in range(first, first + count):
        yield draw(seed)
    for name in names():
        yield Drawn(0, load(name))


def row_of(responses: Responses, orbit: Orbit, angle: float) -> int:
    """The row of a direction."""
    return [t.key.direction for t in responses.takes].index(Direction(orbit, float(angle)))


def points(responses: Responses) -> dict[PointName, Point]:
    """The points that look at directions."""
    orbits = orbits_of(take_powers(responses), responses)
    return {point.name: point for point in (order(orbits), levels(orbits), zero(orbits))}


def beyond_own_s(responses: Responses) -> float:
    """How much later treble arrives for each factor e than loudspeakers do by themselves."""
    rows = [
        i
        for i, take in enumerate(responses.takes)
        if take.key.direction and abs(take.key.direction.angle_deg) <= FRONT_DEG
    ]
    return float(np.nanmedian(slopes_s(responses, rows))) - OWN_SLOPE_S


def put(responses: Responses, rows: list[int], taken: list[int]) -> Responses:
    """With what other rows hold in these rows."""
    pressure = np.array(responses.pressure)
    pressure[rows] = np.asarray(responses.pressure)[taken]
    return replace(responses, pressure=pressure)


def louder(responses: Responses, row: int, db: float) -> Responses:
    """With one take louder."""
    pressure = np.array(responses.pressure)
    pressure[row] *= 10.0 ** (db / 20.0)
    return replace(responses, pressure=pressure)


def turned(responses: Responses, orbit: Orbit, degrees: float) -> Responses:
    """With an orbit's levels those of angles that lie further, by a trigonometric polynomial."""
    angles = np.arange(-170.0, 190.0, 10.0)
    rows = np.array([row_of(responses, orbit, angle) for angle in angles])
    pressure = np.array(responses.pressure)
    valid = np.asarray(responses.valid[rows]).all(axis=0)
    level = np.log(np.maximum(np.abs(pressure[np.ix_(rows, np.flatnonzero(valid))]), 1e-12))
    turn = np.exp(1j * np.radians(degrees) * np.arange(angles.size // 2 + 1))
    level = np.fft.irfft(np.fft.rfft(level, axis=0) * turn[:, None], angles.size, axis=0)
    pressure[np.ix_(rows, np.flatnonzero(valid))] = np.exp(level)
    return replace(responses, pressure=pressure)


def clocked(responses: Responses, ppm: float) -> Responses:
    """As recorded by a clock that is fast by so much: f comes ε·L·ln f later."""
    f = np.asarray(responses.frequency_hz)
    phase = -2.0 * np.pi * 1e-6 * ppm * RATE_S * f * (np.log(f / f[0]) - 1.0)
    return replace(responses, pressure=(responses.pressure * np.exp(1j * phase)).astype(np.complex64))


def main(first: int, count: int) -> None:
    """Print the tables."""
    alarms: Counter[str] = Counter()
    told: Counter[str] = Counter()
    tried = 0
    for one in drawn(first, count):
        try:
            clean = make(one).responses
        except AssertionError:
            print(f"{one.scenario.name} can't be seen so")
            continue
        tried += 1
        for name, point in points(clean).items():
            if point.verdict is not Verdict.FINE:
                alarms[str(name)] += 1
                print(f"{one.scenario.name}: {point.sentence}")
        if abs(beyond_own_s(clean)) > OTHER_CLOCK_S:
            alarms["clocks"] += 1
            print(f"{one.scenario.name}: {1e6 * beyond_own_s(clean):.0f} µs for a factor e")
        told.update(what for what, seen in _spoiled(clean) if seen)
    print(f"{tried} clean sets, false alarms: {dict(alarms)}")
    for what, seen in told.items():
        print(f"{what}: told in {seen}")


def _spoiled(clean: Responses) -> Iterator[tuple[str, bool]]:
    for orbit, a, b in SWAPS:
        rows = [row_of(clean, orbit, a), row_of(clean, orbit, b)]
        swapped = points(put(clean, rows, rows[::-1]))[PointName.ORDER]
        yield f"{orbit} {a} for {b}", set(swapped.takes[:2]) == {clean.takes[i].id for i in rows}
    for size in SIZES:
        row = row_of(clean, Orbit.HORIZONTAL, 60)
        found = points(louder(clean, row, size))[PointName.LEVELS]
        yield f"{size:g} dB", found.takes == (clean.takes[row].id,)
        for orbit in Orbit:
            zeroed = points(turned(clean, orbit, 10.0 * size))[PointName.ZERO]
            off = zeroed.values.get(f"{orbit}_axis_deg", zeroed.values.get(f"{orbit}_met_deg", 0.0))
            yield f"{orbit} orbit turned by {10 * size:g}°", abs(off + 10.0 * size) < 3.0
        for sign in (1.0, -1.0):
            ppm = 200.0 * size * sign
            beyond = beyond_own_s(clocked(clean, ppm))
            yield f"{ppm:+g} ppm", beyond * sign > OTHER_CLOCK_S


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
