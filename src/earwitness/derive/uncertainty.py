"""Errors of the takes: standard uncertainties by component, and seeded draws of them.

What a take's level may be wrong by is a sum of components, each in dB:

noise and repeat
    independent from take to take; over frequency they vary as fast as a gate of length T lets anything vary,
    so they are drawn at knots 1/T apart and joined (a response that came as a response has no gate: drawn
    anew at each point). Noise is found in the data. Repeat is the scatter of repeated takes (type A, see
    `derive.repeats`), or what is stated if that is more; over frequency it is broad, as the microphone's.
    Where a near-field take was spliced in, all directions rest on that one take and share its noise and how
    well it repeats: takes from afar that are repeated make nothing better there. What the two orbits show
    apart on axis beyond all that counts as repetition too, and is shared by all takes of an orbit.
gate
    what is cut off alternates over frequency with a period of about 1/T, and alike in all takes: drawn at
    knots 1/T apart, shared by all takes.
splice
    one draw for all takes and frequencies times what the reduction found.
angle
    one error of the turntable for each take, times the slope of the level along its orbit; to second order,
    where the level peaks as it does on axis, u² = (L'·σ)² + (L''·σ²)²/2 (JCGM 100, note to 5.1.2; recalled).
microphone
    shared by all takes; over frequency its correlation falls to 1/e in an octave.
level
    one draw for everything.
interpolation
    of directions between those that were measured, one draw for each times what the fit misses of a direction
    that is left out; only in cases that have such directions.
air
    one draw for everything times what the air may have absorbed; only in cases that don't state it.
temperature
    one draw for everything: distance is taken from time of flight, so an error of the speed of sound is one
    of the level, 20·lg(e)·u_T/(2T) = 0.015 dB for 1 K.

Components come by linear propagation: an error shared by all takes adds up along the weights with its sign,
one that is independent adds in squares. The total is their root sum of squares, times what draws say that a
mean of power does to it (`derive.draws`: every take is multiplied by its error, and the same weighted means
are formed again), and times Student's factor where most of it rests on few repeats.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.derive.directivity import MAX_STEP_DEG, TakePowers, directivity, level_db, orbit_rows
from earwitness.derive.repeats import Repeatability, orbit_repeatability, repeatability
from earwitness.methods.gum import combined
from earwitness.records.facts import CaseFacts
from earwitness.records.grid import Bools, Floats
from earwitness.records.responses import Origin, Responses
from earwitness.records.takes import Direction, Orbit
from earwitness.records.uncertainty import SHARING, ComponentName

#: Temperature, °C, at which that component is worked out where none is stated.
NOMINAL_TEMPERATURE_C: Final = 20.0

#: The components of a take, in the order in which they are drawn.
TAKE_COMPONENTS: Final = (
    ComponentName.NOISE,
    ComponentName.REPEAT,
    ComponentName.MICROPHONE,
    ComponentName.LEVEL,
    ComponentName.ANGLE,
    ComponentName.GATE,
    ComponentName.SPLICE,
    ComponentName.TEMPERATURE,
    ComponentName.INTERPOLATION,
    ComponentName.SEPARATION,
    ComponentName.AIR,
)
#: Components that few cases have: they are left out where no take has them.
_SELDOM: Final = frozenset({ComponentName.INTERPOLATION, ComponentName.SEPARATION, ComponentName.AIR})
#: Where the value of a take rests, wholly or in part, on takes that others share.
_SHARED: Final = (
    Origin.NEAR_FIELD,
    Origin.BLENDED,
    Origin.SEPARATED,
    Origin.SEPARATED_INTO_GATED,
    Origin.NEAR_FIELD_INTO_SEPARATED,
)


#: Errors of a recording itself: where takes share a near-field recording they share these.
OF_THE_TAKE: Final = (ComponentName.NOISE, ComponentName.REPEAT)


@dataclass(frozen=True)
class TakeErrors:
    """Standard uncertainties of T takes, and the random numbers that go with them.

    Attributes
    ----------
    standard_db
        For each of `TAKE_COMPONENTS` shape (T, F), or None where it is neither stated nor found. Of the angle
        it is signed, as the slope along the orbit is. Interpolation, separation and
        air are there only where a take has them.
    unknown
        For components found in the data shape (T,): the takes of which they can't be told. They count as
        zero in `standard_db`.
    near_field
        Shape (T, F): where a take is, wholly or in part, near fields or surfaces that others share.
    gate_s
        Shape (T,): length of the gate, 0 where there was none.
    repeat_degrees
        Shape (F,): degrees of freedom of the repeat component of single takes.
    by_orbit
        Shape (O, T, F): the part of the repeat component that all takes of one orbit share, for each orbit;
        O is 0 where the orbits agree, or don't meet.
    orbit_degrees
        Shape (F,): degrees of freedom of that part.
    """

    frequency_hz: Floats
    standard_db: Mapping[ComponentName, Floats | None]
    unknown: Mapping[ComponentName, Bools]
    near_field: Bools
    gate_s: Floats
    repeat_degrees: Floats
    by_orbit: Floats
    orbit_degrees: Floats

    @property
    def stated(self) -> tuple[ComponentName, ...]:
        """The components that are known."""
        return tuple(c for c, standard in self.standard_db.items() if standard is not None)

    def known(self, name: ComponentName, sensitivity: Floats) -> bool:
        """Whether a component is known of every take that a sensitivity (..., T, F) rests on."""
        if self.standard_db[name] is None:
            return False
        unknown = self.unknown.get(name)
        return unknown is None or not bool(sensitivity[..., unknown, :].any())


def take_errors(responses: Responses, takes: TakePowers, facts: CaseFacts) -> TakeErrors:
    """Standard uncertainties of the takes, from the data and from what the case states.

    The angle's is None also where no neighbouring direction tells the slope.
    """
    rows = list(takes.rows)
    shape = takes.power.shape
    found, unknown = _found(responses, takes)
    stated = facts.uncertainty
    temperature_c = facts.rig.temperature_c
    kelvin = 273.15 + (NOMINAL_TEMPERATURE_C if temperature_c is None else temperature_c)
    scalar: Mapping[ComponentName, float | None] = {
        ComponentName.MICROPHONE: stated.microphone_db,
        ComponentName.LEVEL: stated.level_db,
        ComponentName.TEMPERATURE: None
        if stated.temperature_k is None
        else 20.0 * np.log10(np.e) * stated.temperature_k / (2.0 * kelvin),
    }
    standard: dict[ComponentName, Floats | None] = {}
    for name in TAKE_COMPONENTS:
        if name in _SELDOM and name not in found:
            continue
        value = scalar.get(name)
        standard[name] = found.get(name) if value is None else np.full(shape, value)
    near_field = np.isin(np.asarray(responses.origin)[rows], _SHARED)
    repeat = repeatability(takes, standard[ComponentName.NOISE], near_field, stated.repeat_db)
    repeat_db, degrees = _of_repeats(responses, found.get(ComponentName.REPEAT), repeat, rows)
    standard[ComponentName.REPEAT] = repeat_db
    if stated.angle_deg is not None:
        standard[ComponentName.ANGLE] = _of_angle_db(takes, stated.angle_deg)
    single = [standard[name] for name in (ComponentName.NOISE, ComponentName.ANGLE)]
    known_db = combined([np.zeros(shape), *(one for one in single if one is not None)])
    orbit = orbit_repeatability(takes, known_db, near_field, repeat)
    if orbit is not None and repeat is None:
        untold = unknown.get(ComponentName.REPEAT, np.zeros(shape[0], dtype=np.bool_))[:, None]
        shown_db = np.zeros(shape) if repeat_db is None else repeat_db
        standard[ComponentName.REPEAT] = np.where(near_field & untold, orbit.standard_db, shown_db)
        degrees = orbit.degrees if repeat_db is None else degrees
    if orbit is not None or repeat is not None:
        unknown.pop(ComponentName.REPEAT, None)
    return TakeErrors(
        takes.frequency_hz,
        standard,
        unknown,
        near_field,
        gate_s=np.asarray(responses.gate_s, dtype=np.float64)[rows],
        repeat_degrees=degrees,
        by_orbit=np.zeros((0, *shape)) if orbit is None else _by_orbit(takes, orbit, near_field),
        orbit_degrees=np.full(shape[1], np.inf) if orbit is None else orbit.degrees,
    )


def _by_orbit(takes: TakePowers, orbit: Repeatability, near_field: Bools) -> Floats:
    """What the takes of each orbit share of how well they repeat, (O, T, F); nothing in near fields."""
    on = [
        [t.key.direction is not None and t.key.direction.orbit is one for t in takes.takes] for one in Orbit
    ]
    return np.where(np.array(on)[:, :, None] & ~near_field, orbit.standard_db, 0.0)


def _of_repeats(
    responses: Responses, near_db: Floats | None, single: Repeatability | None, rows: list[int]
) -> tuple[Floats | None, Floats]:
    """How well takes repeat, (T, F), and degrees of freedom (F,): in near fields by their own repeats.

    Where near field and gated response are blended the greater counts, with its degrees of freedom.
    """
    points = len(responses.frequency_hz)
    afar_db = None if single is None else np.tile(single.standard_db, (len(rows), 1))
    afar = np.full(points, np.inf) if single is None else single.degrees
    if near_db is None or responses.repeat_degrees is None:
        return afar_db, afar
    if afar_db is None:
        return near_db, responses.repeat_degrees
    origin = np.asarray(responses.origin)[rows]
    blended = np.isin(origin, (Origin.BLENDED, Origin.NEAR_FIELD_INTO_SEPARATED))
    from_near = (origin == Origin.NEAR_FIELD) | (blended & (near_db > afar_db))
    degrees = np.where(from_near.any(axis=0), responses.repeat_degrees, afar)
    return np.where(from_near, near_db, afar_db), degrees


def _found(
    responses: Responses, takes: TakePowers
) -> tuple[dict[ComponentName, Floats | None], dict[ComponentName, Bools]]:
    """What the reduction found of each component, shape (T, F), and of which takes it couldn't tell it, (T,).

    NaN at a valid point says that it can't be told. None where it can't be told of any take.
    """
    found: dict[ComponentName, Floats | None] = {}
    unknown: dict[ComponentName, Bools] = {}
    for name, every in responses.components.items():
        value = np.asarray(every, dtype=np.float64)[list(takes.rows)]
        absent = np.asarray((takes.valid & np.isnan(value)).any(axis=1))
        found[name] = None if absent.all() else np.where(takes.valid & np.isfinite(value), value, 0.0)
        unknown[name] = absent
    return found, unknown


def _of_angle_db(takes: TakePowers, angle_deg: float) -> Floats | None:
    """Level error of each take by that of its angle, to second order, with the sign of the slope, (T, F)."""
    found = level_slopes(takes)
    if found is None:
        return None
    slope, bend = found
    first, second = slope * angle_deg, bend * angle_deg**2
    return np.asarray(np.copysign(np.sqrt(first**2 + 0.5 * second**2), first))


def level_slopes(takes: TakePowers) -> tuple[Floats, Floats] | None:
    """Slope and bend of the level along each take's orbit at its own direction, dB/° and dB/°², (T, F) each.

    Central differences over the neighbouring directions; zero where a neighbour isn't valid. The bend is
    zero at an orbit's open ends. None where no orbit has two directions.
    """
    field = directivity(takes)
    level = level_db(field.power)
    found: dict[tuple[Orbit, Direction], tuple[Floats, Floats]] = {}
    flat = np.zeros_like(takes.frequency_hz)
    for orbit in Orbit:
        rows, angle = orbit_rows(field, orbit)
        if len(rows) < 2:
            continue
        closed = angle[0] + 360.0 - angle[-1] <= MAX_STEP_DEG
        around = [rows[-1], *rows, rows[0]] if closed else rows
        turned = np.concatenate(([angle[-1] - 360.0], angle, [angle[0] + 360.0])) if closed else angle
        along = level[around]
        steps = np.diff(along, axis=0) / np.diff(turned)[:, None]
        bends = 2.0 * np.diff(steps, axis=0) / (turned[2:] - turned[:-2])[:, None]
        slopes = np.gradient(along, turned, axis=0)
        if closed:
            slopes = slopes[1:-1]
        else:
            bends = np.concatenate((flat[None], bends, flat[None]))
        for row, slope, bend in zip(rows, slopes, bends, strict=True):
            found[orbit, field.directions[row]] = np.nan_to_num(slope), np.nan_to_num(bend)
    if not found:
        return None
    keys = [(t.key.direction.orbit, t.key.direction.shared) for t in takes.takes if t.key.direction]
    each = [found.get(key, (flat, flat)) for key in keys]
    return np.stack([slope for slope, _ in each]), np.stack([bend for _, bend in each])


def curve_components_db(errors: TakeErrors, sensitivity: Floats) -> Mapping[ComponentName, Floats | None]:
    """Standard uncertainty of curves by component, dB, from their sensitivity to each take's level.

    Parameters
    ----------
    sensitivity
        Shape (..., T, F): change of the curve in dB for 1 dB on one take. For a weighted mean of power it is
        the take's share of the sum, for an index the difference of two shares.

    Returns
    -------
    mapping
        For each component of `errors` shape (..., F); of a shared one with its sign, None where not known.
    """
    result: dict[ComponentName, Floats | None] = {}
    for name, standard in errors.standard_db.items():
        if standard is None or not errors.known(name, sensitivity):
            result[name] = None
            continue
        spread = sensitivity * standard
        if SHARING[name].over_takes:
            result[name] = spread.sum(axis=-2)
            continue
        common = shared_part(errors, name, spread)
        own = np.where(errors.near_field, 0.0, spread) if common is not None else spread
        squares = (own**2).sum(axis=-2)
        for part in orbit_parts(errors, name, sensitivity):
            squares = squares + part**2
        result[name] = np.sqrt(squares if common is None else squares + common.sum(axis=-2) ** 2)
    return result


def shared_part(errors: TakeErrors, name: ComponentName, spread: Floats) -> Floats | None:
    """The part of `spread` (..., T, F) that one near-field take makes in all others; None where none does."""
    if name not in OF_THE_TAKE or not errors.near_field.any():
        return None
    return np.where(errors.near_field, spread, 0.0)


def orbit_parts(errors: TakeErrors, name: ComponentName, sensitivity: Floats) -> Sequence[Floats]:
    """What the takes of each orbit share of a component, along a `sensitivity` (..., T, F): (..., F) each."""
    if name is not ComponentName.REPEAT:
        return ()
    return [(sensitivity * shared).sum(axis=-2) for shared in errors.by_orbit]


def repeat_degrees(errors: TakeErrors, sensitivity: Floats, repeat_db: Floats) -> Floats:
    """Degrees of freedom of a curve's repeat component `repeat_db` (F,), which its two parts make.

    Welch and Satterthwaite's formula (JCGM 100, G.4.1).
    """
    parts = orbit_parts(errors, ComponentName.REPEAT, sensitivity)
    if not parts:
        return errors.repeat_degrees
    orbits = np.square(parts).sum(axis=0)
    singles = np.maximum(repeat_db**2 - orbits, 0.0)
    known = singles**2 / errors.repeat_degrees + orbits**2 / errors.orbit_degrees
    found = np.divide(repeat_db**4, known, out=np.full(known.shape, np.inf), where=known > 0.0)
    return np.asarray(found)
