"""Coverage summed up as plateaus, as a figure of merit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from earwitness.derive.coverage import EDGE_DB, SOURCE, OrbitCoverage, missing_directions
from earwitness.derive.curves import EVERY, DerivedCurves
from earwitness.derive.formatting import frequency_text
from earwitness.derive.plateaus import Stretch, stretches
from earwitness.derive.wording import band_words, module_number
from earwitness.methods.cta_2034 import STEP_DEG
from earwitness.methods.gum import combined
from earwitness.records.curves import CurveName
from earwitness.records.figures import (
    Evidence,
    Figure,
    FigureName,
    NotAvailable,
    Plateau,
    Plateaus,
    Value,
)
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Floats
from earwitness.records.sentences import Term, say
from earwitness.records.takes import Orbit

#: Coverage is summed up over at most this band.
COVERAGE_BAND_HZ: Final = (300.0, 16_000.0)
#: Both sides are given apart where they differ by more than this.
SIDES_APART_DEG: Final = 5.0
#: What is known over less than this isn't summed up.
LEAST_OCTAVES: Final = 1.0

NAMES: Final[Mapping[Orbit, FigureName]] = {
    Orbit.HORIZONTAL: FigureName.COVERAGE_HORIZONTAL,
    Orbit.VERTICAL: FigureName.COVERAGE_VERTICAL,
}


def coverage(derived: DerivedCurves, orbit: Orbit, found: OrbitCoverage | None) -> Figure:
    """Coverage of one orbit in at most four plateaus."""
    value = _value(derived, orbit, found)
    clauses = value.clauses if isinstance(value, Plateaus) else ()
    return Figure(
        name=NAMES[orbit],
        value=value,
        unit="°",
        uncertainty=None,
        components={},
        conditions=say(
            "first fall to ",
            module_number(f"−{-EDGE_DB:g} dB", EDGE_DB, "derive.coverage/EDGE_DB"),
            " outward from the main lobe, about the on-axis response smoothed by ",
            Term("1/3 octave"),
            ", ",
            band_words("derive.coverage_figures", "COVERAGE_BAND_HZ", COVERAGE_BAND_HZ),
        ),
        reading="half-angles, each side apart",
        valid_band_hz=(clauses[0].from_hz, clauses[-1].to_hz) if clauses else None,
        method="derive.coverage.crossings_deg",
        source=SOURCE,
        evidence=Evidence((CurveName.ON_AXIS,), found.chart.takes if found else ()),
        also={},
    )


def _value(derived: DerivedCurves, orbit: Orbit, found: OrbitCoverage | None) -> Value:
    wanted = np.arange(-180.0 + STEP_DEG, 180.0 + STEP_DEG, STEP_DEG)
    missing = missing_directions(derived.field, orbit, wanted)
    if found is None:
        return NotAvailable("directions were not measured", missing=missing)
    sides = np.stack((found.positive_deg, found.negative_deg))[:, ::EVERY]
    frequency = derived.field.frequency_hz[::EVERY]
    inside = (frequency >= COVERAGE_BAND_HZ[0]) & (frequency <= COVERAGE_BAND_HZ[1])
    run = _longest_run(inside & ~np.isnan(sides).any(axis=0))
    if len(run) < LEAST_OCTAVES * POINTS_PER_OCTAVE / EVERY:
        if missing:
            return NotAvailable("directions were not measured", missing=missing)
        return _too_little(derived, found)
    clauses = [_clause(derived, found, sides, run, s) for s in stretches(sides[:, run])]
    return Plateaus(tuple(clauses))


def _too_little(derived: DerivedCurves, found: OrbitCoverage) -> NotAvailable:
    valid = found.chart.valid.all(axis=0)
    if not valid.any():
        return NotAvailable("nothing is valid")
    lowest = float(derived.field.frequency_hz[np.flatnonzero(valid)[0]])
    return NotAvailable(f"not available: valid from {frequency_text(lowest, 3)}", valid_from_hz=lowest)


def _clause(
    derived: DerivedCurves, found: OrbitCoverage, sides: Floats, run: list[int], stretch: Stretch
) -> Plateau:
    """The plateau over one stretch of the samples `run`: means, and their standard uncertainty.

    That is the spread of the mean over the draws and the scatter of the samples about it, combined: the
    number speaks for all of them.
    """
    samples = run[stretch.first : stretch.last + 1]
    frequency = derived.field.frequency_hz[::EVERY]
    draws = [side[:, samples] for side in (found.positive_draws_deg, found.negative_draws_deg)]
    means = [_mean_or_never(side[samples]) for side in sides]
    drawn = [_mean_of_finite(side) for side in draws]
    positive, negative = means
    if positive is not None and negative is not None and abs(positive - negative) <= SIDES_APART_DEG:
        means = [0.5 * (positive + negative)] * 2
        drawn = [0.5 * (drawn[0] + drawn[1])] * 2
    stated = bool(derived.errors.stated)
    scatter = [_scatter(side[samples]) for side in sides]
    spread = [
        _deviation(drawn[i], scatter[i]) if stated and means[i] is not None else None
        for i in range(len(means))
    ]
    return Plateau(
        from_hz=float(frequency[samples[0]]),
        to_hz=float(frequency[samples[-1]]),
        positive_deg=means[0],
        negative_deg=means[1],
        positive_uncertainty_deg=spread[0],
        negative_uncertainty_deg=spread[1],
    )


def _mean_or_never(angle_deg: Floats) -> float | None:
    finite = angle_deg[np.isfinite(angle_deg)]
    return float(finite.mean()) if 2 * len(finite) > len(angle_deg) else None


def _mean_of_finite(angle_deg: Floats) -> Floats:
    """Mean over the samples of each draw, those that never fall left out; NaN where none is left."""
    finite = np.isfinite(angle_deg)
    count = finite.sum(axis=-1)
    total = np.where(finite, angle_deg, 0.0).sum(axis=-1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _scatter(angle_deg: Floats) -> float:
    finite = angle_deg[np.isfinite(angle_deg)]
    return float(finite.std(ddof=1)) if len(finite) > 1 else 0.0


def _deviation(draws: Floats, scatter: float) -> float | None:
    finite = draws[np.isfinite(draws)]
    return float(combined([finite.std(ddof=1), scatter])) if 2 * len(finite) > len(draws) else None


def _longest_run(flags: Bools) -> list[int]:
    """Indices of the longest unbroken run."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], flags.astype(int), [0]))))
    if not len(edges):
        return []
    starts, stops = edges[::2], edges[1::2]
    longest = int(np.argmax(stops - starts))
    return list(range(int(starts[longest]), int(stops[longest])))
