"""Errors of the takes: standard uncertainties by component, and seeded draws of them.

What a take's level may be wrong by is a sum of components, each in dB:

noise and repeat
    independent from take to take; over frequency they vary as fast as a gate of length T lets anything vary,
    so they are drawn at knots 1/T apart and joined (a response that came as a response has no gate: drawn
    anew at each point). Noise is found in the data, repeat is stated.
gate and splice
    one draw for all takes and frequencies times what the reduction found.
angle
    one error of the turntable for each take, times the slope of the level along its orbit.
microphone
    shared by all takes; over frequency its correlation falls to 1/e in an octave.
level
    one draw for everything.
temperature
    one draw for everything: distance is taken from time of flight, so an error of the speed of sound is one
    of the level, 20·lg(e)·u_T/(2T) = 0.015 dB for 1 K.

The total comes from draws: every take is multiplied by its error, and the same weighted means are formed
again (`derive.draws`). Components come by linear propagation, which costs no draws: an error shared by all
takes adds up along the weights with its sign, one that is independent adds in squares. Both are compared in a
test.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.derive.directivity import MAX_STEP_DEG, TakePowers, directivity, level_db, orbit_rows
from earwitness.records.facts import CaseFacts
from earwitness.records.grid import Floats
from earwitness.records.responses import Responses
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
)


@dataclass(frozen=True)
class TakeErrors:
    """Standard uncertainties of T takes, and the random numbers that go with them.

    Attributes
    ----------
    standard_db
        For each of `TAKE_COMPONENTS` shape (T, F), or None where it is neither stated nor found. Of the angle
        it is signed, as the slope along the orbit is.
    gate_s
        Shape (T,): length of the gate, 0 where there was none.
    """

    frequency_hz: Floats
    standard_db: Mapping[ComponentName, Floats | None]
    gate_s: Floats

    @property
    def stated(self) -> tuple[ComponentName, ...]:
        """The components that are known."""
        return tuple(c for c in TAKE_COMPONENTS if self.standard_db[c] is not None)


def take_errors(responses: Responses, takes: TakePowers, facts: CaseFacts) -> TakeErrors:
    """Standard uncertainties of the takes, from the data and from what the case states.

    The angle's is None also where no neighbouring direction tells the slope.
    """
    rows = list(takes.rows)
    shape = takes.power.shape
    found = {
        name: np.where(takes.valid, np.nan_to_num(np.asarray(value, dtype=np.float64)[rows]), 0.0)
        for name, value in responses.components.items()
    }
    stated = facts.uncertainty
    temperature_c = facts.rig.temperature_c
    kelvin = 273.15 + (NOMINAL_TEMPERATURE_C if temperature_c is None else temperature_c)
    slope = level_slope_db_per_deg(takes) if stated.angle_deg is not None else None
    scalar: Mapping[ComponentName, float | None] = {
        ComponentName.REPEAT: stated.repeat_db,
        ComponentName.MICROPHONE: stated.microphone_db,
        ComponentName.LEVEL: stated.level_db,
        ComponentName.TEMPERATURE: None
        if stated.temperature_k is None
        else 20.0 * np.log10(np.e) * stated.temperature_k / (2.0 * kelvin),
    }
    standard: dict[ComponentName, Floats | None] = {}
    for name in TAKE_COMPONENTS:
        value = scalar.get(name)
        standard[name] = found.get(name) if value is None else np.full(shape, value)
    if slope is not None and stated.angle_deg is not None:
        standard[ComponentName.ANGLE] = slope * stated.angle_deg
    gate_s = np.asarray(responses.gate_s, dtype=np.float64)[rows]
    return TakeErrors(takes.frequency_hz, standard, gate_s)


def level_slope_db_per_deg(takes: TakePowers) -> Floats | None:
    """Slope of the level along each take's orbit at its own direction, shape (T, F).

    Central differences over the neighbouring directions; zero where a neighbour isn't valid. None where no
    orbit has two directions.
    """
    field = directivity(takes)
    level = level_db(field.power)
    slopes: dict[tuple[Orbit, Direction], Floats] = {}
    for orbit in Orbit:
        rows, angle = orbit_rows(field, orbit)
        if len(rows) < 2:
            continue
        closed = angle[0] + 360.0 - angle[-1] <= MAX_STEP_DEG
        around = [rows[-1], *rows, rows[0]] if closed else rows
        turned = np.concatenate(([angle[-1] - 360.0], angle, [angle[0] + 360.0])) if closed else angle
        gradient = np.gradient(level[around], turned, axis=0)
        for row, slope in zip(rows, gradient[1:-1] if closed else gradient, strict=True):
            slopes[orbit, field.directions[row]] = np.nan_to_num(slope)
    if not slopes:
        return None
    flat = np.zeros_like(takes.frequency_hz)
    keys = [t.key.direction for t in takes.takes]
    return np.stack([slopes.get((d.orbit, d.shared), flat) if d else flat for d in keys])


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
        For each of `TAKE_COMPONENTS` shape (..., F); of a shared one with its sign, None where not known.
    """
    result: dict[ComponentName, Floats | None] = {}
    for name in TAKE_COMPONENTS:
        standard = errors.standard_db[name]
        if standard is None:
            result[name] = None
            continue
        spread = sensitivity * standard
        shared = SHARING[name].over_takes
        result[name] = spread.sum(axis=-2) if shared else np.sqrt((spread**2).sum(axis=-2))
    return result
