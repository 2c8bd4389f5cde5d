"""Repeats of near fields: averaged without those that depart, and what their scatter tells.

A near microphone that is put back stands a little nearer or further, and that is most of what doesn't repeat:
a broad error of level, each radiator's own. So each radiator's variance is pooled over three octaves
(`acoustics.pooling`), without what noise explains of it. A radiator that was heard once is as unsure as a
single take of the others.

Source: JCGM 100, clauses 4.2.3 and 4.2.4 (mean and pooled variance), G.4.1 (degrees of freedom); recalled.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import noise, pooling
from earwitness.measurement.repeated import departing, reason
from earwitness.records.errors import CaseError
from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.records.takes import Take, TakeKey

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

#: Where a take's noise is more, its scatter says nothing of how well it repeats.
NOISY_DB: Final = 0.1


@dataclass(frozen=True)
class NearScatter:
    """How well near fields repeat.

    Attributes
    ----------
    single_db
        Shape (K, F): standard uncertainty of one take of each of K radiators.
    degrees
        Shape (K, F): its degrees of freedom; infinite where it is what the case states.
    counts
        Shape (K,): how many takes each radiator's mean is of.
    """

    single_db: Float64s
    degrees: Float64s
    counts: Float64s


@dataclass(frozen=True)
class Averaged:
    """K radiators, each the mean of its repeats; `used` are the places of the takes that count.

    `scatter` is None where no radiator was heard twice.
    """

    used: tuple[tuple[int, ...], ...]
    pressure: Complex128s
    noise_power: Float64s
    scatter: NearScatter | None
    notes: tuple[str, ...]


def groups(near: Sequence[Take]) -> list[list[int]]:
    """Places of the takes of each radiator, in the order of its first one.

    Raises
    ------
    CaseError
        Two takes of one radiator differ in more than `repeat`: in drive, or in the microphone's distance.
    """
    places: dict[str | None, list[int]] = {}
    for place, take in enumerate(near):
        places.setdefault(take.key.radiator, []).append(place)
    for group in places.values():
        _require_repeats([near[place] for place in group])
    return list(places.values())


def averaged(
    near: Sequence[Take],
    spectrum: Complex128s,
    noise_power: Float64s,
    frequency_hz: Float64s,
    valid: Bools,
    *,
    stated_db: float | None,
) -> Averaged:
    """Means over the repeats of each radiator, from spectra of N takes (N, F) and their noise power.

    The mean is of power; its phase is that of the sum, so that a level doesn't suffer where repeats don't
    share a clock. `valid` (F,) is where the scatter tells something; `stated_db`, the case's own standard
    uncertainty of a take, counts where it is more.
    """
    noise_db = noise.level_uncertainty_db(np.abs(spectrum) ** 2, noise_power)
    used, notes = [], []
    for group in groups(near):
        odd = departing(spectrum[group], np.tile(valid, (len(group), 1)), noise_db[group], frequency_hz)
        notes += [reason(near[group[one.place]], one) for one in odd]
        out = {one.place for one in odd}
        used.append(tuple(row for place, row in enumerate(group) if place not in out))
    total = np.stack([spectrum[list(rows)].sum(axis=0) for rows in used])
    level = np.stack([np.sqrt(np.mean(np.abs(spectrum[list(rows)]) ** 2, axis=0)) for rows in used])
    squares = np.stack([noise_power[list(rows)].sum(axis=0) / len(rows) ** 2 for rows in used])
    return Averaged(
        used=tuple(used),
        pressure=level * np.exp(1j * np.angle(total)),
        noise_power=squares,
        scatter=_scatter(used, spectrum, np.nan_to_num(noise_db), valid, stated_db),
        notes=tuple(notes),
    )


def mean_uncertainty_db(scatter: NearScatter, share: Float64s) -> tuple[Float64s, Float64s]:
    """Standard uncertainty of D sums of the radiators' means, dB (D, F), and its degrees of freedom (F,).

    `share` (K, D, F) is each radiator's part of the sum, in magnitude: more than 1 where others cancel it.
    The degrees are those of Welch and Satterthwaite (JCGM 100, G.4.1; recalled), the fewest of all sums.
    """
    of_mean = scatter.single_db / np.sqrt(scatter.counts)[:, None]
    parts = (share * of_mean[:, None, :]) ** 2
    total = parts.sum(axis=0)
    fewer = (parts**2 / scatter.degrees[:, None, :]).sum(axis=0)
    degrees = np.where(fewer > 0.0, total**2 / np.maximum(fewer, 1e-300), np.inf)
    return np.sqrt(total), np.asarray(degrees.min(axis=0))


def _scatter(
    used: Sequence[Sequence[int]],
    spectrum: Complex128s,
    noise_db: Float64s,
    valid: Bools,
    stated_db: float | None,
) -> NearScatter | None:
    shape = len(used), spectrum.shape[-1]
    squares, freedom = np.zeros(shape), np.zeros(shape)
    for number, rows in enumerate(used):
        level = 20.0 * np.log10(np.maximum(np.abs(spectrum[list(rows)]), 1e-30))
        beyond = level.var(axis=0) * len(rows) - (len(rows) - 1) * np.mean(noise_db[list(rows)] ** 2, axis=0)
        told = valid & (noise_db[list(rows)].max(axis=0) <= NOISY_DB)
        squares[number] = np.where(told, beyond, 0.0)
        freedom[number] = np.where(told, len(rows) - 1.0, 0.0)
    everyone = pooling.pooled(squares.sum(axis=0), freedom.sum(axis=0), POINTS_PER_OCTAVE)
    if everyone is None:
        return None
    each = [pooling.pooled(*own, POINTS_PER_OCTAVE) or everyone for own in zip(squares, freedom, strict=True)]
    single, degrees = (np.stack(part) for part in zip(*each, strict=True))
    single = np.sqrt(single)
    if stated_db is not None:
        degrees = np.where(single > stated_db, degrees, np.inf)
        single = np.maximum(single, stated_db)
    return NearScatter(single, degrees, np.array([float(len(rows)) for rows in used]))


def _require_repeats(takes: Sequence[Take]) -> None:
    first = takes[0]
    for take in takes[1:]:
        if _but_for_repeat(take.key) != _but_for_repeat(first.key):
            differ = "at different drives"
        elif take.distance_m != first.distance_m:
            differ = "at different distances"
        else:
            continue
        raise CaseError(
            "takes.toml",
            f"{first.path} and {take.path} are both the near field of {take.key.radiator}, {differ}",
            "keep one of them; only repeats at one drive and one distance are averaged",
        )


def _but_for_repeat(key: TakeKey) -> TakeKey:
    return dataclasses.replace(key, repeat=1)
