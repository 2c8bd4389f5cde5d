"""Would anyone hear it? The largest change of what an auditory filter passes, against what is just noticed.

A programme excites the ear with and without the feature; the filter whose level changes most decides. About
1 dB is just noticed (E. Zwicker and H. Fastl, Psychoacoustics, chapter 7; recalled). Listeners and programmes
differ: half a decibel either way is the project's own. What lies below the threshold of hearing changes
nothing, since noise of the ear's own stands in each filter at that level.

The published orders come out of it by themselves: a narrow peak must be higher than a broad one (Toole and
Olive, JAES 36 (1988) 122), a dip is heard less than its peak (Buecklein, JAES 29 (1981) 126); both recalled.
Below 200 Hz a peak's ringing may be heard besides (Olive et al., JAES 45 (1997) 116; recalled), which
excitation doesn't hold: there none of 1 dB or more is called unlikely.

Pink noise is the programme, since it shows most. Music and speech show less.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from earwitness.derive.formatting import decimals_for, number_text, value_text
from earwitness.derive.numerals import frequency, quantity
from earwitness.methods import glasberg_moore_1990 as ear
from earwitness.methods.terhardt_1979 import threshold_db
from earwitness.records.audibility import Audibility, Heard, HeardIn
from earwitness.records.sentences import EMPTY, Number, Sentence, Term, say
from earwitness.records.sources import Source, Standing

Float64s = npt.NDArray[np.float64]

#: The least change of level that is noticed (recalled), and how it differs between listeners (own), dB.
NOTICED_DB: Final = 1.0
NOTICED_SPREAD_DB: Final = 0.5
#: Pink noise from 20 Hz to 20 kHz at the listener, dB SPL: a lively level that harms nobody in a working day.
PROGRAMME_DB: Final = 75.0
PROGRAMME_HZ: Final = (20.0, 20_000.0)
#: Below this a peak's ringing is heard besides its level (recalled).
RINGING_BELOW_HZ: Final = 200.0
#: Centres of filters, Hz, and how many to the ERB.
CENTRES_HZ: Final = (30.0, 16_000.0)
FILTERS_PER_ERB: Final = 25.0

#: No change is told closer than this, dB.
LEAST_TOLD_DB: Final = 0.05
GEDDES_AND_LEE: Final = Term("Geddes and Lee, AES 5890 and 5891")

SOURCE: Final = Source("Zwicker and Fastl, Psychoacoustics", "1999", "7", Standing.RECALLED)
_HERE: Final = "method:findings.audibility"


@dataclass(frozen=True)
class Change:
    """What a feature does to a sound: level with it over level without it, dB, shape (F,).

    Where that isn't sure it lies between `least_db` and `most_db`; else they are the same.
    """

    heard_in: HeardIn
    least_db: Float64s
    most_db: Float64s


class _Hearing(NamedTuple):
    """Power of the programme (F,), centres of filters (K,), what they pass (K, F), the ear's noise (K,)."""

    power: Float64s
    centres: Float64s
    passed: Float64s
    rest: Float64s


@dataclass(frozen=True)
class _Change:
    """How the filter that changes most does, and how far the plain programme is over quiet in it."""

    heard_in: HeardIn
    db: float
    uncertainty_db: float
    centre_hz: float
    over_quiet_db: float = 0.0


def audibility(
    frequency_hz: Float64s,
    changes: Sequence[Change],
    part_unsure: float = 0.0,
    programme_db: float = PROGRAMME_DB,
    here: str = "audibility",
) -> Audibility:
    """Whether a change of the response would be heard with pink noise.

    Parameters
    ----------
    frequency_hz
        Shape (F,), ascending, no coarser than 24 points an octave.
    changes
        What changes on axis and in the room, one at least.
    part_unsure
        Standard uncertainty of the feature's height as a part of it.
    programme_db
        Level of the noise at the listener, dB SPL.
    here
        Where the result will stand, for the references of its numbers.

    Raises
    ------
    ValueError
        There is no change to judge.
    """
    if not changes:
        raise ValueError("there is no change to judge")
    hearing = _hearing(frequency_hz, programme_db)
    found = [_most_changed(change, part_unsure, hearing) for change in changes]
    most = max(found, key=lambda one: abs(one.db))
    height_db = max(float(np.abs([change.least_db, change.most_db]).max()) for change in changes)
    rings = (
        most.db > 0.0
        and most.centre_hz < RINGING_BELOW_HZ
        and height_db >= NOTICED_DB
        and most.over_quiet_db + height_db > 0.0
    )
    verdict = _verdict(most.db, most.uncertainty_db)
    if verdict is Heard.UNLIKELY and rings:
        verdict = Heard.MAYBE
    return Audibility(
        verdict=verdict,
        excitation_change_db=most.db,
        uncertainty_db=most.uncertainty_db,
        frequency_hz=most.centre_hz,
        heard_in=most.heard_in,
        level_db=programme_db,
        reason=_reason(most, programme_db, here) + _more(height_db, most, rings=rings),
    )


def distortion_audibility(
    fundamental_hz: float,
    fundamental_db: float,
    products_db: Mapping[int, float],
    uncertainty_db: float = 0.0,
    here: str = "audibility",
) -> Audibility | None:
    """Whether harmonics are heard beside their fundamental, a single tone, at the level where they appear.

    The fundamental excites filters above it the more, the louder it is; a harmonic under that is masked. What
    is heard of it is the change of excitation that all products make together.

    Parameters
    ----------
    products_db
        Level of each harmonic by its order, dB SPL at the listener as `fundamental_db`.
    uncertainty_db
        Standard uncertainty of the products' levels.

    Returns
    -------
    Audibility or None
        None where the law of the ear isn't known: a fundamental beyond 20 to 100 dB SPL or outside 30 Hz to
        16 kHz, or no product below that.
    """
    low_db, high_db = ear.LEVELS_DB
    kept = {order: level for order, level in products_db.items() if order * fundamental_hz <= CENTRES_HZ[1]}
    if not (low_db <= fundamental_db <= high_db and fundamental_hz >= CENTRES_HZ[0] and kept):
        return None
    tones_hz = fundamental_hz * np.array([1, *kept], dtype=np.float64)
    levels_db = np.array([fundamental_db, *kept.values()], dtype=np.float64)
    centres, passed, rest = _filters(tones_hz, levels_db)
    products = np.array([0.0, uncertainty_db])[:, None] + levels_db[1:]
    added = ear.excitation(10.0 ** (0.1 * products), passed[:, 1:])
    alone = ear.excitation(10.0 ** (0.1 * levels_db[:1]), passed[:, :1]) + rest
    change, higher = 10.0 * np.log10(1.0 + added / alone)
    k = int(np.argmax(change))
    most = _Change(
        "beside the fundamental", float(change[k]), float(higher[k] - change[k]), float(centres[k])
    )
    return Audibility(
        verdict=_verdict(most.db, most.uncertainty_db),
        excitation_change_db=most.db,
        uncertainty_db=most.uncertainty_db,
        frequency_hz=most.centre_hz,
        heard_in=most.heard_in,
        level_db=fundamental_db,
        reason=_masking(most, fundamental_db, here),
    )


def _pink(frequency_hz: Float64s, programme_db: float) -> tuple[Float64s, Float64s]:
    """Power of pink noise in each step of the grid, and its level in an ERB about each point; (F,) each."""
    octaves = np.log(PROGRAMME_HZ[1] / PROGRAMME_HZ[0])
    power = 10.0 ** (0.1 * programme_db) * np.gradient(np.log(frequency_hz)) / octaves
    half = 0.5 * ear.erb_hz(frequency_hz)
    low, high = (np.clip(frequency_hz + side * half, *PROGRAMME_HZ) for side in (-1.0, 1.0))
    share = np.maximum(np.log(high / low) / octaves, 1e-12)
    return np.asarray(power), np.asarray(programme_db + 10.0 * np.log10(share))


def _hearing(frequency_hz: Float64s, programme_db: float) -> _Hearing:
    """How a programme is heard: made once for one grid and level."""
    return _heard_at(tuple(frequency_hz.tolist()), programme_db)


@lru_cache(maxsize=2)
def _heard_at(frequency_hz: tuple[float, ...], programme_db: float) -> _Hearing:
    grid = np.array(frequency_hz)
    power, level_db = _pink(grid, programme_db)
    return _Hearing(power, *_filters(grid, level_db))


def _filters(frequency_hz: Float64s, level_db: Float64s) -> tuple[Float64s, Float64s, Float64s]:
    """Centres (K,), what each filter passes (K, F), and the ear's own noise in it (K,)."""
    low, high = ear.erb_number(CENTRES_HZ)
    centres = ear.frequency_of_hz(np.linspace(low, high, round((high - low) * FILTERS_PER_ERB) + 1))
    rest = 10.0 ** (0.1 * threshold_db(centres))
    return centres, ear.filters(centres, frequency_hz, level_db), np.asarray(rest)


def _most_changed(change: Change, part_unsure: float, hearing: _Hearing) -> _Change:
    power, centres, passed, rest = hearing
    ends = np.stack([change.least_db, change.most_db])
    scaled = np.concatenate([ends, ends * (1.0 + part_unsure)])
    plain = ear.excitation(power, passed)
    without = plain + rest
    with_it = ear.excitation(power * 10.0 ** (0.1 * scaled), passed) + rest
    least, most, least_more, most_more = 10.0 * np.log10(with_it / without)
    middle = 0.5 * (least + most)
    k = int(np.argmax(np.abs(middle)))
    by_range = (most[k] - least[k]) / np.sqrt(12.0)
    by_height = 0.5 * (least_more[k] + most_more[k]) - middle[k]
    doubt, over_quiet = float(np.hypot(by_range, by_height)), float(10.0 * np.log10(plain[k] / rest[k]))
    return _Change(change.heard_in, float(middle[k]), doubt, float(centres[k]), over_quiet)


def _verdict(change_db: float, uncertainty_db: float) -> Heard:
    """Likely or unlikely where one standard uncertainty of change and threshold together leaves no doubt."""
    over, doubt = abs(change_db) - NOTICED_DB, float(np.hypot(uncertainty_db, NOTICED_SPREAD_DB))
    if abs(over) < doubt:
        return Heard.MAYBE
    return Heard.LIKELY if over > 0.0 else Heard.UNLIKELY


def _reason(most: _Change, programme_db: float, here: str) -> Sentence:
    """``Pink noise at 75 dB gets 2.3 ± 0.4 dB louder on axis, in the ear's filter at 1.2 kHz; …``."""
    louder = "louder" if most.db > 0.0 else "softer"
    return say(
        "Pink noise at ",
        quantity(programme_db, "dB", f"{here}/level_db", 0),
        " gets ",
        _changed(most, here),
        f" {louder} {most.heard_in}, in the ear's filter at ",
        frequency(most.centre_hz, f"{here}/frequency_hz", 2),
        "; ",
        quantity(NOTICED_DB, "dB", f"{_HERE}/NOTICED_DB", 0),
        " or so is just noticed.",
    )


def _changed(most: _Change, here: str) -> Sentence:
    """``2.3 ± 0.4 dB``, without its sign."""
    told = max(most.uncertainty_db, LEAST_TOLD_DB)
    decimals = decimals_for(told)
    return say(
        Number(number_text(abs(most.db), decimals), most.db, f"{here}/excitation_change_db"),
        " ± ",
        Number(
            value_text(most.uncertainty_db, "dB", decimals), most.uncertainty_db, f"{here}/uncertainty_db"
        ),
    )


def _more(height_db: float, most: _Change, *, rings: bool) -> Sentence:
    """What a reader may wonder about: a high but narrow feature, and ringing."""
    said = EMPTY
    if height_db >= 2.0 * max(abs(most.db), NOTICED_DB):
        said += say(" It is narrower than that filter, which hears it with what lies beside it.")
    if rings:
        said += say(" So low, its ringing may be heard besides, which that doesn't hold.")
    return said


def _masking(most: _Change, fundamental_db: float, here: str) -> Sentence:
    return say(
        "A tone at ",
        quantity(fundamental_db, "dB", f"{here}/level_db", 0),
        " hides what lies under the pattern that it excites; its harmonics add ",
        _changed(most, here),
        " in the ear's filter at ",
        frequency(most.centre_hz, f"{here}/frequency_hz", 2),
        ", where ",
        quantity(NOTICED_DB, "dB", f"{_HERE}/NOTICED_DB", 0),
        " or so is just noticed. Music hides more than a tone, and total distortion says little of what is ",
        "heard (",
        GEDDES_AND_LEE,
        ").",
    )
