"""Time behaviour as figures of merit: delay at the bass corner, delay in excess, and decay in cycles.

Their uncertainty comes from the same draws as that of the on-axis curve. An error of the level is taken to
come with its own minimum phase where it acts on the group delay, and without any where it acts on what
exceeds it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from earwitness.acoustics import bursts, phase
from earwitness.derive.curves import DerivedCurves
from earwitness.derive.spread import NOTHING_KNOWN, Spread, spread_of
from earwitness.derive.time_behaviour import (
    CYCLE_STEP,
    DELAY_POINTS,
    LOG_STEP,
    Indices,
    burst_levels_db,
)
from earwitness.derive.time_terms import ARRIVAL_BAND_HZ, FALL_DB, SOURCE
from earwitness.derive.validity import not_valid, within
from earwitness.derive.wording import band_words, module_number
from earwitness.methods.iec_60268_5 import SENSITIVITY_BAND_HZ, mean_level_db
from earwitness.records.curves import CurveName
from earwitness.records.figures import (
    Bound,
    Evidence,
    Figure,
    FigureName,
    NotAvailable,
    Quantity,
    Value,
)
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Complexes, Floats
from earwitness.records.sentences import Sentence, say
from earwitness.records.time import TimeBehaviour
from earwitness.records.uncertainty import ComponentName

#: Where the excess delay is read off, against the arrival's band: a woofer against a tweeter.
EXCESS_BAND_HZ: Final = (500.0, 1_000.0)
#: Decay is judged where the level is no further below the mean of the sensitivity band.
DECAY_FLOOR_DB: Final = 10.0
#: Draws of a fall are followed so many cycles about it.
DRAWN_CYCLES: Final = 1.5
#: The frequency of what rings is read off over so many cycles before the fall.
RINGING_CYCLES: Final = 1.0
CURVE: Final = CurveName.ON_AXIS
NEPER_PER_DB: Final = float(np.log(10.0)) / 20.0
NO_PHASE: Final = NotAvailable("no response on axis has a phase that reaches to the treble")


@dataclass(frozen=True, slots=True)
class _Told:
    """What one figure says."""

    value: Value
    unit: str
    spread: Spread
    conditions: Sentence
    also: Mapping[str, float]


def time_figures(
    derived: DerivedCurves, time: TimeBehaviour | None, extensions: Sequence[Figure], pressure: Complexes
) -> tuple[Figure, ...]:
    """All three; `pressure` (F,) is that of the take behind `time`."""
    f6 = next(figure for figure in extensions if figure.name is FigureName.F6)
    return (group_delay(derived, time, f6), excess_delay(derived, time), burst_decay(derived, time, pressure))


def group_delay(derived: DerivedCurves, time: TimeBehaviour | None, f6: Figure) -> Figure:
    """Group delay on axis at F6, ms, re the sound's arrival; in periods of that frequency beside it."""
    value: Value = NO_PHASE
    spread, also, corner = NOTHING_KNOWN, {}, np.nan
    if not isinstance(f6.value, Quantity):
        value = f6.value if isinstance(f6.value, NotAvailable) else NotAvailable("there is no corner: no F6")
    elif time is not None and time.delays is not None:
        corner = f6.value.value
        frequency = derived.field.frequency_hz
        delay_ms = 1e3 * float(np.interp(np.log(corner), np.log(frequency), time.delays.group_s))
        if np.isfinite(delay_ms):
            nearest = int(np.argmin(np.abs(np.log(frequency / corner))))
            value, also = Quantity(delay_ms), {"frequency": corner}
            spread = _spread(derived, np.array([nearest]), sign=1.0)
    conditions = say(
        "on axis, at the frequency of the corner that is ",
        module_number("6 dB", 6.0, "derive.low_frequency/FALL_DB/1"),
        " down, later than ",
        _arrival(),
    )
    told = _Told(value, "ms", spread, conditions, also)
    return _figure(FigureName.GROUP_DELAY, told, derived, time)


def excess_delay(derived: DerivedCurves, time: TimeBehaviour | None) -> Figure:
    """How much later than the treble a lower octave comes beyond what its level demands, ms."""
    value: Value = NO_PHASE
    spread = NOTHING_KNOWN
    if time is not None and time.delays is not None:
        frequency = derived.field.frequency_hz
        inside = within(frequency, EXCESS_BAND_HZ)
        reason = not_valid(frequency, np.isfinite(time.delays.excess_s), EXCESS_BAND_HZ)
        value = reason or Quantity(1e3 * float(time.delays.excess_s[inside].mean()))
        if reason is None:
            of_slope = 1e3 * float(time.delays.excess_uncertainty_s[inside].mean())
            known = _spread(derived, np.flatnonzero(inside), sign=-1.0)
            spread = known.plus(ComponentName.FIT, of_slope)
    conditions = say(
        "on axis, mean group delay beyond that of minimum phase from ",
        band_words("derive.time_figures", "EXCESS_BAND_HZ", EXCESS_BAND_HZ),
        ", later than ",
        _arrival(),
    )
    told = _Told(value, "ms", spread, conditions, {})
    return _figure(FigureName.EXCESS_DELAY, told, derived, time)


def burst_decay(derived: DerivedCurves, time: TimeBehaviour | None, pressure: Complexes) -> Figure:
    """The longest time, in cycles, after which a short tone stays below −20 dB, and what rings then.

    `pressure` (F,) is that of the take behind `time`.
    """
    value: Value = NotAvailable("no gated impulse response on axis")
    spread, also = NOTHING_KNOWN, {}
    level = derived.curves[CURVE].level_db
    if time is not None and time.bursts is not None:
        found = time.bursts
        frequency = derived.field.frequency_hz
        centres = np.searchsorted(frequency, found.frequency_hz * (1 - 1e-9))
        reason = not_valid(frequency, derived.curves[CURVE].valid, SENSITIVITY_BAND_HZ)
        value = reason or NotAvailable("no short tone can be followed so far before the measurement ends")
        if reason is None:
            loud = level[centres] >= mean_level_db(frequency, level) - DECAY_FLOOR_DB
            value, worst = _longest(found.fall_cycles, found.end_cycles, loud, value)
            if worst is not None:
                also = {"frequency": _rings_hz(pressure, int(centres[worst]), value, frequency)}
            if isinstance(value, Quantity) and worst is not None:
                spread = _decay_spread(derived, pressure, int(centres[worst]), value)
    conditions = say(
        "on axis, cycles after its peak until a short tone stays below ",
        module_number(f"−{-FALL_DB:g} dB", FALL_DB, "derive.time_terms/FALL_DB"),
        ", the longest of all that can be followed so far and are within ",
        module_number(f"{DECAY_FLOOR_DB:g} dB", DECAY_FLOOR_DB, "derive.time_figures/DECAY_FLOOR_DB"),
        " of the mean level; one that nothing prolongs takes ",
        module_number(
            f"{bursts.BURST_FALL_CYCLES:.1f}", bursts.BURST_FALL_CYCLES, "acoustics.bursts/BURST_FALL_CYCLES"
        ),
    )
    told = _Told(value, "cycles", spread, conditions, also)
    return _figure(FigureName.BURST_DECAY, told, derived, time)


def _longest(fall: Floats, end: Floats, loud: Bools, nothing: Value) -> tuple[Value, int | None]:
    """The longest fall, or a bound where a tone is followed for longer than that and hasn't fallen."""
    fallen = np.where(loud, fall, np.nan)
    if not np.isfinite(fallen).any():
        return nothing, None
    worst = int(np.nanargmax(fallen))
    still = np.where(loud & np.isnan(fall), end, 0.0)
    if still.max() > fallen[worst]:
        return Bound(float(still.max()), "at least"), int(np.argmax(still))
    return Quantity(float(fallen[worst])), worst


def _spread(derived: DerivedCurves, at: Indices, sign: float) -> Spread:
    """Spread of the mean minimum-phase delay at grid points, less that of the arrival's band, ms."""
    frequency = derived.field.frequency_hz
    inside = _whole_run(derived.curves[CURVE].valid, int(at[0]))
    start = int(np.flatnonzero(inside)[0])
    arrival = np.flatnonzero(within(frequency, ARRIVAL_BAND_HZ))
    weights = _delay_weights(frequency[inside], np.asarray(at) - start)
    weights = weights - _delay_weights(frequency[inside], arrival - start) if sign < 0.0 else weights
    return spread_of(derived, CURVE, inside, lambda level_db: level_db @ weights)


def _whole_run(valid: Bools, index: int) -> Bools:
    """The unbroken run of valid points about one."""
    gaps = np.flatnonzero(~valid)
    place = np.arange(valid.size)
    low = gaps[gaps < index].max(initial=-1)
    high = gaps[gaps > index].min(initial=valid.size)
    return np.asarray((place > low) & (place < high))


def _delay_weights(frequency_hz: Floats, at: Indices) -> Floats:
    """What 1 dB at each point (F,) does to the mean minimum-phase group delay at some, ms."""
    points = frequency_hz.size
    at = at[(at >= DELAY_POINTS) & (at < points - DELAY_POINTS)]
    above, below = at + DELAY_POINTS, at - DELAY_POINTS
    turned = phase.minimum_phase_weights(points, LOG_STEP, above)
    turned -= phase.minimum_phase_weights(points, LOG_STEP, below)
    per_point = 1.0 / (2.0 * np.pi * (frequency_hz[above] - frequency_hz[below]))
    return np.asarray(-1e3 * NEPER_PER_DB * (per_point @ turned) / max(at.size, 1))


def _decay_spread(derived: DerivedCurves, pressure: Complexes, centre: int, value: Quantity) -> Spread:
    """Spread of one burst's fall under the draws of the level; its phase and its peak's time stay."""
    below, above = bursts.burst_reach(POINTS_PER_OCTAVE)
    span = slice(centre - below, centre + above + 1)
    inside = np.zeros(derived.field.frequency_hz.shape, dtype=np.bool_)
    inside[span] = True
    turn = np.exp(1j * np.angle(pressure[span]))
    _, peak = burst_levels_db(pressure, np.array([centre]))
    first = max(CYCLE_STEP, value.value - DRAWN_CYCLES)
    cycles = np.concatenate(([0.0], np.arange(first, value.value + DRAWN_CYCLES, CYCLE_STEP)))

    def fall(level_db: Floats) -> Floats:
        drawn = 10.0 ** (level_db / 20.0) * turn
        passed = bursts.burst_response(drawn, np.array([below]), POINTS_PER_OCTAVE, cycles, peak)
        envelope = np.abs(passed[..., 0, :])
        level = 20.0 * np.log10(envelope[..., 1:] / envelope[..., :1])
        heard = np.ones(level.shape, dtype=np.bool_)
        return first + bursts.last_above(level, heard, FALL_DB, CYCLE_STEP)

    return spread_of(derived, CURVE, inside, fall)


def _rings_hz(pressure: Complexes, centre: int, value: Value, frequency_hz: Floats) -> float:
    """What still rings at the end of a burst: its own frequency, and how fast its phase turns from that."""
    _, peak = burst_levels_db(pressure, np.array([centre]))
    last = value.value if isinstance(value, Quantity | Bound) else 0.0
    cycles = np.array([max(0.0, last - RINGING_CYCLES), last])
    before, after = bursts.burst_response(pressure, np.array([centre]), POINTS_PER_OCTAVE, cycles, peak)[0]
    turned = float(np.angle(after * np.conj(before))) / (2.0 * np.pi * (cycles[1] - cycles[0]))
    return float(frequency_hz[centre] * (1.0 + turned))


def _arrival() -> Sentence:
    band = band_words("derive.time_terms", "ARRIVAL_BAND_HZ", ARRIVAL_BAND_HZ)
    return say("the mean excess from ", band)


def _figure(name: FigureName, told: _Told, derived: DerivedCurves, time: TimeBehaviour | None) -> Figure:
    absent = isinstance(told.value, NotAvailable)
    return Figure(
        name=name,
        value=told.value,
        unit=told.unit,
        uncertainty=None if absent else told.spread.total,
        components={} if absent else told.spread.components,
        conditions=told.conditions,
        reading="one take on axis",
        valid_band_hz=None,
        method=f"derive.time_figures.{name}",
        source=SOURCE,
        evidence=Evidence((), derived.curves[CURVE].takes if time is None else time.takes),
        also={} if absent else told.also,
    )
