"""Repeats of one take: one that departs from the others counts for nothing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.table import Table
from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.records.takes import Take, TakeKey

Float64s = npt.NDArray[np.float64]

#: Of fewer repeats none can be told to be the odd one.
LEAST_REPEATS: Final = 3
#: One departs if it lies further from the others' median than so many times their own scatter, and further
#: than so many decibels: a chair that was moved makes less, a door that slammed makes more.
TIMES: Final = 6.0
LEAST_DB: Final = 0.5
#: Levels are compared in bands so wide; distance and scatter are pooled over so many of them.
BAND_OCTAVES: Final = 1.0 / 3.0
POOLED_BANDS: Final = 7
#: A departure is a gain's where it is alike in all bands: half the way between its fifth and its last fifth
#: is no more than this part of it, beyond what the others scatter by.
GAIN_PART: Final = 0.2
SHARED_DB: Final = 1e-3
BY_GAIN: Final = "as where a gain was changed."
#: What a departure is called by where it is greatest.
REGIONS: Final = ((250.0, "in the bass"), (4_000.0, "in the middle"), (np.inf, "in the treble"))


@dataclass(frozen=True)
class Departure:
    """A repeat, by its place among them, that departs from the others, most at `at_hz`.

    `louder_db` is by how much at all frequencies alike; None where it departs by something else than a gain.
    """

    place: int
    at_hz: float
    louder_db: float | None


def set_aside_outliers(table: Table) -> None:
    """Make repeats invalid that depart from the others of the same direction and drive; notes say which.

    See `departing`.
    """
    groups: dict[TakeKey, list[int]] = {}
    for row, take in enumerate(table.takes):
        groups.setdefault(replace(take.key, repeat=1), []).append(row)
    for rows in groups.values():
        odd = departing(table.pressure[rows], table.valid[rows], table.noise_db[rows], table.frequency_hz)
        for departure in odd:
            row = rows[departure.place]
            table.valid[row] = False
            table.set_aside.append(table.takes[row].id)
            table.say(reason(table.takes[row], departure))


def departing(
    pressure: npt.NDArray[np.complexfloating],
    valid: npt.NDArray[np.bool_],
    noise_db: Float64s,
    frequency_hz: Float64s,
) -> list[Departure]:
    """Which of R repeats (R, F) depart from the others, and how, the worst first.

    Of those that are left the worst goes again, as long as three are.
    """
    left = list(range(len(pressure)))
    odd: list[Departure] = []
    while len(left) >= LEAST_REPEATS:
        found = _worst(pressure[left], valid[left], noise_db[left], frequency_hz)
        if found is None:
            break
        odd.append(replace(found, place=left.pop(found.place)))
    return odd


def _worst(
    pressure: npt.NDArray[np.complexfloating],
    valid: npt.NDArray[np.bool_],
    noise_db: Float64s,
    frequency_hz: Float64s,
) -> Departure | None:
    """The repeat that departs most, and how; None where none does."""
    bands = band_levels_db(pressure)
    # noise that hides one repeat alone is a departure of it
    whole = _banded(valid.astype(np.float64)) == 1.0
    known = np.asarray(whole.sum(axis=0) >= len(pressure) - 1)
    if not known.any():
        return None
    noise = np.sqrt(_banded(np.nan_to_num(noise_db) ** 2))
    times = departures(bands[:, known], noise[:, known])
    which, band = np.unravel_index(int(np.argmax(times)), times.shape)
    if times[which, band] <= 1.0:
        return None
    centre = (np.flatnonzero(known)[band] + 0.5) * BAND_OCTAVES * POINTS_PER_OCTAVE
    gain = gain_db(np.delete(bands[:, known], which, axis=0), bands[which, known])
    return Departure(int(which), float(frequency_hz[int(centre)]), gain)


def gain_db(others_db: Float64s, odd_db: Float64s) -> float | None:
    """By how much bands (B,) are louder than others' median, of (R, B), if by the same in all; else None.

    Worked number: 1.0, 1.1, 0.9 dB more in three bands, where others are alike, is a gain of 1.0 dB.
    """
    away = odd_db - np.median(others_db, axis=0)
    # what a near field shares is the same to the last digit, and tells nothing
    away = away[np.abs(away) > SHARED_DB]
    scatter = float(np.mean(others_db.var(axis=0, ddof=1)))
    if away.size < 2:
        return None
    low, middle, high = np.percentile(away, (20.0, 50.0, 80.0)).tolist()
    if (0.5 * (high - low)) ** 2 <= (GAIN_PART * middle) ** 2 + 2.0 * scatter:
        return float(middle)
    return None


def band_levels_db(pressure: npt.NDArray[np.complexfloating]) -> Float64s:
    """Levels of bands of a third of an octave, shape (R, B)."""
    return np.asarray(10.0 * np.log10(np.maximum(_banded(np.abs(pressure).astype(np.float64) ** 2), 1e-30)))


def _banded(values: Float64s) -> Float64s:
    """Means over whole bands of the grid, on the last axis."""
    width = round(BAND_OCTAVES * POINTS_PER_OCTAVE)
    count = values.shape[-1] // width
    return np.asarray(values[..., : count * width].reshape(*values.shape[:-1], count, width).mean(axis=-1))


def departures(bands_db: Float64s, noise_db: Float64s) -> Float64s:
    """How far each repeat lies from the median of the others, re what is allowed, shape (R, B).

    Both are root mean squares over a little more than two octaves. What is allowed follows from the scatter
    of the others alone, so that an odd one doesn't hide in the scatter that it makes; it counts as no less
    than their noise, `noise_db` (R, B). Worked number: repeats at 80.0, 80.1 and 82.0 dB in every band; the
    third lies 1.95 dB from the others, which scatter by 0.071 dB, so 0.5 dB are allowed: it departs 3.9-fold.
    """
    result = np.empty(bands_db.shape)
    for one in range(len(bands_db)):
        others = np.delete(bands_db, one, axis=0)
        noise = np.delete(noise_db, one, axis=0).max(axis=0)
        scatter = np.maximum(_pooled(others.var(axis=0, ddof=1)), _pooled(noise**2))
        away = _pooled((bands_db[one] - np.median(others, axis=0)) ** 2)
        result[one] = np.sqrt(away) / np.maximum(TIMES * np.sqrt(scatter), LEAST_DB)
    return result


def _pooled(squares: Float64s) -> Float64s:
    """Running means over `POOLED_BANDS` bands, the first or last so many at the ends, shape (B,)."""
    count = min(POOLED_BANDS, squares.size)
    running = np.concatenate([[0.0], np.cumsum(squares)])
    first = np.clip(np.arange(squares.size) - count // 2, 0, squares.size - count)
    return np.asarray((running[first + count] - running[first]) / count)


def reason(take: Take, departure: Departure) -> str:
    """Why a take was set aside, in words."""
    if departure.louder_db is not None:
        way = "louder" if departure.louder_db > 0.0 else "quieter"
        return (
            f"{take.path} was set aside: it is {way} than the other repeats by the same at all frequencies, "
            f"{BY_GAIN}"
        )
    at_hz = departure.at_hz
    where = next(words for limit, words in REGIONS if at_hz < limit)
    return (
        f"{take.path} was set aside: {where} it departs from the other repeats by far more than these do "
        "from each other, as when something else sounded meanwhile."
    )
