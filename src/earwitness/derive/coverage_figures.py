"""Coverage summed up as plateaus, as a figure of merit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from earwitness.derive.coverage import EDGE_DB, SOURCE, OrbitCoverage, missing_directions
from earwitness.derive.curves import EVERY, DerivedCurves
from earwitness.derive.plateaus import KNOT_STEP, Stretch, stretches
from earwitness.derive.validity import not_valid, within
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
from earwitness.records.sentences import EMPTY, Term, say
from earwitness.records.takes import Orbit

#: Coverage is summed up over at most this band.
COVERAGE_BAND_HZ: Final = (300.0, 16_000.0)
#: Both sides are given apart where they differ by more than this.
SIDES_APART_DEG: Final = 5.0
#: What is known over less than this isn't summed up.
LEAST_OCTAVES: Final = 1.0

_NULL: Final = "the axis lies in a null: beside it, it is louder by more than the fall looked for"

NAMES: Final[Mapping[Orbit, FigureName]] = {
    Orbit.HORIZONTAL: FigureName.COVERAGE_HORIZONTAL,
    Orbit.VERTICAL: FigureName.COVERAGE_VERTICAL,
}


def coverage(derived: DerivedCurves, orbit: Orbit, found: OrbitCoverage | None) -> Figure:
    """Coverage of one orbit in at most four plateaus."""
    value = _value(derived, orbit, found)
    clauses = value.clauses if isinstance(value, Plateaus) else ()
    also = _narrowest(derived, found, clauses) if found and clauses else {}
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
            say("; what wasn't measured is the mirror image of the other side")
            if found and found.chart.mirrored_deg
            else EMPTY,
        ),
        reading="half-angles, each side apart",
        valid_band_hz=(clauses[0].from_hz, clauses[-1].to_hz) if clauses else None,
        method="derive.coverage.crossings_deg",
        source=SOURCE,
        evidence=Evidence((CurveName.ON_AXIS,), found.chart.takes if found else ()),
        also=also,
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
        if found.about_a_null[::EVERY][inside].mean() > 0.5:
            return NotAvailable(_NULL)
        if missing:
            return NotAvailable("directions were not measured", missing=missing)
        return _too_little(derived, found)
    clauses = [_clause(derived, found, sides, run, s) for s in stretches(sides[:, run])]
    return Plateaus(tuple(clauses))


def _too_little(derived: DerivedCurves, found: OrbitCoverage) -> NotAvailable:
    valid = np.asarray(found.chart.valid.all(axis=0))
    reason = not_valid(derived.field.frequency_hz, valid, COVERAGE_BAND_HZ)
    return reason or NotAvailable("the edges of the coverage aren't known over an octave")


def _narrowest(
    derived: DerivedCurves, found: OrbitCoverage, clauses: tuple[Plateau, ...]
) -> Mapping[str, float]:
    """The least half-angle of all that the clauses sum up, on either side, and its frequency.

    The same about the unsmoothed on-axis response. Empty where no side ever falls so far.
    """
    frequency = derived.field.frequency_hz
    inside = within(frequency, (clauses[0].from_hz, clauses[-1].to_hz))
    least = np.fmin(found.positive_deg, found.negative_deg)[inside]
    if not np.isfinite(least).any():
        return {}
    at = int(np.nanargmin(least))
    also = {"narrowest": float(least[at]), "narrowest at": float(frequency[inside][at])}
    raw = np.fmin(found.raw_positive_deg, found.raw_negative_deg)[inside]
    if np.isfinite(raw).any():
        also["narrowest about the unsmoothed response"] = float(np.nanmin(raw))
    return also


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
        least_deg=_least_deg(found, _points(run, stretch)),
    )


def _mean_or_never(angle_deg: Floats) -> float | None:
    """Mean of the samples that fall by 6 dB; None where not a single one does."""
    finite = angle_deg[np.isfinite(angle_deg)]
    return float(finite.mean()) if finite.size else None


def _points(run: list[int], stretch: Stretch) -> range:
    """Grid points of a stretch of samples; of a bend also what lies between it and where else it could be."""
    around = KNOT_STEP - 1 if stretch.first == stretch.last else 0
    first = run[max(stretch.first - around, 0)]
    last = run[min(stretch.last + around, len(run) - 1)]
    return range(EVERY * first, EVERY * last + 1)


def _least_deg(found: OrbitCoverage, points: range) -> float | None:
    """The least half-angle over grid points, between the samples too; None where the level never falls."""
    sides = np.stack((found.positive_deg, found.negative_deg))[:, points]
    least = sides.min(axis=None, initial=np.inf, where=np.isfinite(sides))
    return float(least) if np.isfinite(least) else None


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
