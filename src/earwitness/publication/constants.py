"""The constants that a method's sentences quote, in words."""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Final

from earwitness.derive.wording import listing
from earwitness.records.sentences import Number, Sentence, say

#: What each constant is, for a reader who hasn't seen the code.
CONSTANT_WORDS: Final[Mapping[str, str]] = {
    "AGREEMENT_BAND_HZ": "orbits compared from",
    "AGREEMENT_WARNING_DB": "warning above",
    "ARRIVAL_BAND_HZ": "against the mean from",
    "AUDIBLE_HZ": "heard from",
    "BURST_FALL_CYCLES": "a tone that nothing prolongs falls so far in",
    "CHANGES_DB": "changed by",
    "CHANGE_BAND_HZ": "looked for from",
    "CLEAN_CHANGE_DB": "level changed by up to",
    "CLEAN_DISTORTION": "distortion up to",
    "COVERAGE_BAND_HZ": "summed up from",
    "DB_PER_DECADE": "a decade as long as",
    "DECAY_FLOOR_DB": "drawn down to",
    "EDGE_DB": "coverage ends at",
    "EXCESS_BAND_HZ": "mean from",
    "FALL_DB": "falls below the mean",
    "FREQUENCY_LIMITS_HZ": "frequency axis from",
    "HEAVY_DB": "heavy line at",
    "LARGEST_CONDITION": "condition no more than",
    "LARGEST_RESIDUAL": "part of the pressures left over, no more than",
    "LEAST_PART_OF_RATED": "part of the rated impedance, no less than",
    "LIMITS": "limits",
    "MENDED_PERCENT": "mended from",
    "MOST_BOOST_DB": "an equaliser lifts by no more than",
    "NIOSH_CRITERION_DB": "level",
    "NIOSH_CRITERION_H": "time a day at that level",
    "NIOSH_EXCHANGE_DB": "half the time for every",
    "NOTICED_DB": "just noticed at",
    "REACH_DEG": "looked for within",
    "PLAYS_DB": "plays within",
    "READ_OUT_HZ": "read out at",
    "READ_OUT_S": "read out after",
    "REFERENCE_DISTANCE_M": "distance",
    "REFERENCE_VOLTAGE_V": "voltage",
    "RISE_S": "window rises over",
    "SAMPLING_WARNING_DB": "warning above",
    "SEARCH_FROM_HZ": "searched downward from",
    "SENSITIVITY_BAND_HZ": "mean from",
    "TOP_DB": "stands out by at least",
    "TOLERANCE_BAND_HZ": "extremes from",
    "TREND_BAND_HZ": "line from",
}


def constants(numbers: Iterable[Number]) -> Sentence:
    """``a decade as long as 25 dB; frequency axis from 20 Hz to 20 kHz``.

    A constant that has no words of its own is called by its name without the unit.
    """
    found = sorted(numbers, key=lambda n: n.reference)
    return listing(
        (say(_words(name), " ", _values(name, tuple(group))) for name, group in groupby(found, key=_name)),
        "; ",
        "; ",
    )


def about(module: str) -> tuple[str, str]:
    """A module's name for readers and the first sentence about it: ``IEC 60263 (1982)`` and what it sets."""
    first = (inspect.getdoc(importlib.import_module(f"earwitness.{module}")) or module).splitlines()[0]
    name, _, _ = first.partition(":")
    return name.rstrip("."), first


def _name(number: Number) -> str:
    return number.reference.split("/")[1]


def _words(name: str) -> str:
    return CONSTANT_WORDS.get(name, name.rpartition("_")[0].replace("_", " ").lower() or name.lower())


def _values(name: str, numbers: tuple[Number, ...]) -> Sentence:
    if name.endswith(("BAND_HZ", "LIMITS_HZ")) and len(numbers) == 2:
        return say(numbers[0], " to ", numbers[1])
    return listing(say(n) for n in numbers)
