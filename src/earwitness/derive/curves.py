"""The fourteen curves of CTA-2034-A with their uncertainties, from the takes at one drive."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.derive.directivity import TakePowers, directivity, level_db
from earwitness.derive.draws import Drawn, UnitDraws, draw, draw_component_db, shared_draw
from earwitness.derive.sound_power import separable_sound_power
from earwitness.derive.uncertainty import TakeErrors, curve_components_db, repeat_degrees
from earwitness.methods import cta_2034
from earwitness.methods.gum import combined, effective_degrees
from earwitness.methods.student import student_factor
from earwitness.records.curves import Curve, CurveName
from earwitness.records.grid import Bools, Floats
from earwitness.records.responses import Directivity
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import Direction, TakeId
from earwitness.records.uncertainty import NEGLIGIBLE, ComponentName

#: All takes' errors are drawn at every n-th grid point, 1/12 octave apart.
EVERY: Final = 8
#: What draws make of a mean of power is told where a curve's spread is more than this, dB.
LEAST_SPREAD_DB: Final = 1e-3

#: Each index and the curve that it holds against the listening window.
INDICES: Final[Mapping[CurveName, CurveName]] = {
    CurveName.EARLY_REFLECTIONS_DI: CurveName.EARLY_REFLECTIONS,
    CurveName.SOUND_POWER_DI: CurveName.SOUND_POWER,
}


#: Curves from which figures of merit are read.
FIGURE_CURVES: Final = (CurveName.ON_AXIS, CurveName.LISTENING_WINDOW, CurveName.ESTIMATED_IN_ROOM)

#: How the words of the source name each curve's clause.
_CLAUSES: Final[Mapping[CurveName, str]] = {
    CurveName.ON_AXIS: "on axis",
    CurveName.LISTENING_WINDOW: "listening window",
    CurveName.SOUND_POWER: "sound power",
    CurveName.EARLY_REFLECTIONS_DI: "directivity indices",
    CurveName.SOUND_POWER_DI: "directivity indices",
    CurveName.ESTIMATED_IN_ROOM: "estimated in-room response",
}


@dataclass(frozen=True)
class DerivedCurves:
    """The curves, and what figures of merit need to carry uncertainty on.

    Attributes
    ----------
    sampling_db
        For each curve that rests on sound power shape (F,): what the step from the second estimate of sound
        power to the first changes in it, with its sign.
    separable_db
        Shape (F,): the second estimate of sound power; None where directions are missing.
    component_draws_db
        For each available curve of `FIGURE_CURVES` the draws of each component's error, shape (N, F); None
        for one that isn't known.
    repeat_degrees
        For each available curve shape (F,): degrees of freedom of its repeat component.
    """

    field: Directivity
    takes: TakePowers
    errors: TakeErrors
    drawn: Drawn
    curves: Mapping[CurveName, Curve]
    sampling_db: Mapping[CurveName, Floats]
    separable_db: Floats | None
    component_draws_db: Mapping[CurveName, Mapping[ComponentName, Floats | None]]
    repeat_degrees: Mapping[CurveName, Floats]


@dataclass
class _Means:
    """What is known of each curve while it is put together: power, dB, shares, validity, takes' weights."""

    power: dict[CurveName, Floats]
    level_db: dict[CurveName, Floats]
    share: dict[CurveName, Floats]
    valid: dict[CurveName, Bools]
    weights: dict[CurveName, Floats]


def derive_curves(takes: TakePowers, errors: TakeErrors) -> DerivedCurves:
    """All fourteen curves in the default readings; one that lacks directions lists them, not available."""
    field = directivity(takes)
    missing = {name: field.missing(needed_directions(name)) for name in CurveName}
    names = tuple(name for name in cta_2034.POWER_CURVES if not missing[name])
    means = _means(takes, field, names)
    separable, sampling = _sampling(field, means)
    weights = np.array([means.weights[n] for n in names]).reshape(len(names), len(takes.takes))
    units = UnitDraws(errors)
    drawn = draw(errors, units, takes.power, weights, EVERY)
    draws = _level_draws(names, drawn, sampling.get(CurveName.SOUND_POWER))
    _add_indices(means, draws, sampling, tuple(i for i in INDICES if not missing[i]))
    first_order = _first_order_db(drawn, means.share, sampling)
    curves, degrees = {}, {}
    for name in CurveName:
        if missing[name]:
            curves[name] = _absent(name, len(takes.frequency_hz), missing[name])
            continue
        components = dict(curve_components_db(errors, means.share[name]))
        if name in sampling:
            components[ComponentName.SAMPLING] = sampling[name]
        growth = _growth(errors.frequency_hz, draws[name], first_order[name])
        repeat = components[ComponentName.REPEAT]
        degrees[name] = (
            errors.repeat_degrees if repeat is None else repeat_degrees(errors, means.share[name], repeat)
        )
        total = _total_db(degrees[name], components, growth)
        curves[name] = _curve(name, means, total, components, takes.ids(means.weights[name]))
    by_component = {
        name: _component_draws_db(errors, units, means.share[name], sampling.get(name))
        for name in FIGURE_CURVES
        if not missing[name]
    }
    return DerivedCurves(field, takes, errors, drawn, curves, sampling, separable, by_component, degrees)


def needed_directions(curve: CurveName) -> tuple[Direction, ...]:
    """The directions that a curve needs."""
    if curve in INDICES:
        parts = (CurveName.LISTENING_WINDOW, INDICES[curve])
        return tuple(sorted({d for part in parts for d in cta_2034.direction_weights(part)}))
    return tuple(sorted(cta_2034.direction_weights(curve)))


def _means(takes: TakePowers, field: Directivity, names: tuple[CurveName, ...]) -> _Means:
    """Every available curve that is a weighted mean of power."""
    means = _Means({}, {}, {}, {}, {})
    for name in names:
        row = cta_2034.curve_weights(name, field.directions)
        weights = row @ takes.mixing
        power = cta_2034.combine(takes.power, weights)
        positive = power > 0
        means.power[name] = np.where(positive, power, np.nan)
        means.level_db[name] = level_db(power)
        means.share[name] = weights[:, None] * takes.power / np.where(positive, power, np.inf)
        means.valid[name] = field.valid[row > 0].all(axis=0) & positive
        means.weights[name] = weights
    return means


def _sampling(field: Directivity, means: _Means) -> tuple[Floats | None, dict[CurveName, Floats]]:
    """The second estimate of sound power, and what it changes in sound power and in-room (0: not valid)."""
    power, room = CurveName.SOUND_POWER, CurveName.ESTIMATED_IN_ROOM
    if power not in means.level_db:
        return None, {}
    valid = means.valid[power]
    separable = np.where(valid, level_db(separable_sound_power(field)), np.nan)
    difference = np.where(valid, means.level_db[power] - separable, 0.0)
    share = cta_2034.IN_ROOM_WEIGHTS[2] * 10.0 ** (0.1 * (means.level_db[power] - means.level_db[room]))
    return separable, {power: difference, room: np.nan_to_num(share) * difference}


def _level_draws(
    names: tuple[CurveName, ...], drawn: Drawn, sampling_db: Floats | None
) -> dict[CurveName, Floats]:
    """Levels of the drawn means, with the sampling of sound power drawn on top, shape (N, F') each."""
    power: dict[CurveName, Floats] = {name: drawn.power[:, i] for i, name in enumerate(names)}
    if sampling_db is not None:
        factor = 10.0 ** (0.1 * shared_draw(ComponentName.SAMPLING) * sampling_db[::EVERY])
        plain = power[CurveName.SOUND_POWER]
        power[CurveName.SOUND_POWER] = plain * factor
        added = cta_2034.IN_ROOM_WEIGHTS[2] * plain * (factor - 1.0)
        power[CurveName.ESTIMATED_IN_ROOM] = power[CurveName.ESTIMATED_IN_ROOM] + added
    return {name: level_db(value) for name, value in power.items()}


def _add_indices(
    means: _Means,
    draws: dict[CurveName, Floats],
    sampling: dict[CurveName, Floats],
    indices: tuple[CurveName, ...],
) -> None:
    """Add the directivity indices: the listening window less another curve."""
    window = CurveName.LISTENING_WINDOW
    for index in indices:
        other = INDICES[index]
        means.level_db[index] = cta_2034.directivity_index_db(means.power[window], means.power[other])
        means.share[index] = means.share[window] - means.share[other]
        means.valid[index] = means.valid[window] & means.valid[other]
        means.weights[index] = means.weights[window] + means.weights[other]
        draws[index] = draws[window] - draws[other]
        if other in sampling:
            sampling[index] = -sampling[other]


def _first_order_db(
    drawn: Drawn, shares: Mapping[CurveName, Floats], sampling: Mapping[CurveName, Floats]
) -> Mapping[CurveName, Floats]:
    """What the takes' drawn errors make of each curve to first order, dB, shape (N, F')."""
    if not shares:
        return {}
    by_take = np.stack([share[:, ::EVERY].T for share in shares.values()], axis=-1).astype(np.float32)
    error = np.matmul(drawn.error_db.transpose(2, 0, 1), by_take).T.astype(np.float64)
    made = dict(zip(shares, error, strict=True))
    for name, sampling_db in sampling.items():
        made[name] = made[name] + shared_draw(ComponentName.SAMPLING) * sampling_db[::EVERY]
    return made


def _growth(frequency_hz: Floats, draws_db: Floats, first_order_db: Floats) -> Floats:
    """By how much a curve scatters over the same draws more than to first order, shape (F,)."""
    spread = first_order_db.std(axis=0, ddof=1)
    growth = draws_db.std(axis=0, ddof=1, dtype=np.float64) / np.maximum(spread, LEAST_SPREAD_DB)
    told = (spread > LEAST_SPREAD_DB) & np.isfinite(growth)
    if not told.any():
        return np.ones(frequency_hz.shape)
    octave = np.log2(frequency_hz)
    return np.asarray(np.interp(octave, octave[::EVERY][told], growth[told]))


def _total_db(
    degrees_of_repeat: Floats, components: Mapping[ComponentName, Floats | None], growth: Floats
) -> Floats:
    """Standard uncertainty of a curve; 1.96 of it hold 95 % where few repeats tell most of it, too."""
    known = [part for part in components.values() if part is not None]
    if not known:
        return np.zeros(growth.shape)
    total = combined(known)
    repeat = components[ComponentName.REPEAT]
    if repeat is None:
        return total * growth
    degrees = effective_degrees(total, np.abs(repeat), degrees_of_repeat)
    return total * growth * student_factor(degrees)


def _component_draws_db(
    errors: TakeErrors, units: UnitDraws, share: Floats, sampling_db: Floats | None
) -> Mapping[ComponentName, Floats | None]:
    draws = {name: draw_component_db(errors, units, name, share) for name in errors.standard_db}
    if sampling_db is not None:
        draws[ComponentName.SAMPLING] = shared_draw(ComponentName.SAMPLING) * sampling_db
    return draws


def _curve(
    name: CurveName,
    means: _Means,
    total_db: Floats,
    components: Mapping[ComponentName, Floats | None],
    takes: tuple[TakeId, ...],
) -> Curve:
    valid = means.valid[name]
    acting = [np.abs(c) >= NEGLIGIBLE for c in components.values() if c is not None]
    acts = np.any(acting, axis=0) if acting else np.zeros(valid.shape, dtype=np.bool_)
    return Curve(
        name=name,
        level_db=np.where(valid, means.level_db[name], np.nan),
        valid=valid,
        uncertainty_db=np.where(valid & acts, total_db, np.nan),
        components_db={
            c: None if u is None else np.where(valid, np.abs(u), np.nan) for c, u in components.items()
        },
        method="methods.cta_2034.direction_weights",
        source=_source(name),
        takes=takes,
        reading=cta_2034.reading_words(name),
    )


def _absent(name: CurveName, points: int, missing: tuple[Direction, ...]) -> Curve:
    nothing = np.full(points, np.nan)
    return Curve(
        name=name,
        level_db=nothing,
        valid=np.zeros(points, dtype=np.bool_),
        uncertainty_db=nothing,
        components_db={},
        method="methods.cta_2034.direction_weights",
        source=_source(name),
        takes=(),
        missing=missing,
        reading=cta_2034.reading_words(name),
    )


def _source(name: CurveName) -> Source:
    computed = name in (CurveName.SOUND_POWER, CurveName.SOUND_POWER_DI)
    standing = Standing.COMPUTED if computed else Standing.RECALLED
    return cta_2034.source(_CLAUSES.get(name, "early reflections"), standing)
