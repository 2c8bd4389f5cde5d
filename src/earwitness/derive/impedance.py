"""Impedance: minima and maxima, the box it shows, narrow resonances, and what it asks of an amplifier."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from earwitness.acoustics import box_impedance, turning_points, wrinkles
from earwitness.acoustics.turning_points import TurningPoint
from earwitness.methods.benjamin_1994 import load_part
from earwitness.methods.gum import combined
from earwitness.records.facts import StatedUncertainty
from earwitness.records.grid import POINTS_PER_OCTAVE, Bools, Complexes, Floats, derived_grid
from earwitness.records.impedance import BoxFit, Extreme, Impedance, MeasuredImpedance, Wrinkle
from earwitness.records.sources import Source, Standing
from earwitness.records.uncertainty import ComponentName

SOURCE: Final = Source("Earwitness", "", "impedance", Standing.OWN)
BOX_SOURCE: Final = Source("Small, JAES 20 and 21", "1972, 1973", "", Standing.RECALLED)
#: A minimum or maximum stands out by so much of itself, and by so many standard uncertainties.
LEAST_PROMINENCE: Final = 0.03
SURE_BY: Final = 4.0
#: Peaks that a box makes lie below this, Hz, and stand out by so much.
BOX_PEAKS_TO_HZ: Final = 200.0
BOX_PROMINENCE: Final = 0.2
#: A box is fitted up to the first minimum above its peaks, or so many times the highest of these.
BOX_REACH: Final = 4.0
#: A fit that leaves more (part of the magnitude, root mean square) shows another kind of box.
BOX_RESIDUAL: Final = 0.02
#: The same box is fitted up to this part of that, too: how far its values move is part of their uncertainty,
#: and so is what a model of lumps leaves out of frequencies and of all else (part of the value).
NARROWER: Final = 0.75
LUMPED_HZ, LUMPED_Q = 0.005, 0.02
#: Of fitted values those are told that are as sure as this, re themselves.
BOX_SURE: Final = 0.1
_BOX_VALUES: Final = (
    "resonance_hz",
    "tuning_hz",
    "resistance_ohm",
    "q_mechanical",
    "q_total",
    "compliance_ratio",
)
#: Narrow resonances are told from this height on, re the magnitude.
LEAST_WRINKLE: Final = 0.003


def derive_impedance(measured: MeasuredImpedance, stated: StatedUncertainty) -> Impedance:
    """All that follows from a measured impedance on the derived grid."""
    valid = measured.valid
    magnitude = np.where(valid, np.abs(measured.ohms), np.nan)
    phase = np.rad2deg(np.angle(measured.ohms))
    phase = np.where(valid & measured.has_phase, phase, np.nan)
    components = _components(measured, magnitude, stated)
    known = [part for part in components.values() if part is not None]
    uncertainty = np.asarray(combined(known)) if known else np.full(magnitude.shape, np.nan)
    noise = measured.noise_ohm / np.where(valid, np.abs(measured.ohms), 1.0)
    run = _longest(valid)
    minima, maxima = (
        _extremes(find(np.log(magnitude[run]), LEAST_PROMINENCE), run, phase, uncertainty, noise)
        for find in (turning_points.minima, turning_points.maxima)
    )
    return Impedance(
        takes=measured.takes,
        drive=measured.drive,
        known_resistor=measured.known_resistor,
        magnitude_ohm=magnitude,
        phase_deg=phase,
        uncertainty_ohm=uncertainty,
        load_ohm=magnitude * load_part(np.clip(phase, -90.0, 90.0)),
        components_ohm=components,
        minima=minima,
        maxima=maxima,
        wrinkles=_wrinkles(measured.ohms, run, noise) if measured.has_phase else (),
        box=_box(measured, run),
    )


def _components(
    measured: MeasuredImpedance, magnitude: Floats, stated: StatedUncertainty
) -> Mapping[ComponentName, Floats | None]:
    """Parts of the magnitude's standard uncertainty, ohms."""
    percent = stated.impedance_percent
    components: dict[ComponentName, Floats | None] = {}
    if np.isfinite(measured.noise_ohm).any():
        components[ComponentName.NOISE] = np.where(measured.valid, measured.noise_ohm, np.nan)
    if measured.repeat_ohm is not None:
        components[ComponentName.REPEAT] = np.where(measured.valid, measured.repeat_ohm, np.nan)
    components[ComponentName.LEVEL] = None if percent is None else percent / 100.0 * magnitude
    return components


def _longest(valid: Bools) -> slice:
    """The longest unbroken stretch of points."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], valid, [False])).astype(np.int8)))
    if edges.size == 0:
        return slice(0, 0)
    best = int(np.argmax(edges[1::2] - edges[::2]))
    return slice(int(edges[2 * best]), int(edges[2 * best + 1]))


def _hertz(place: float) -> float:
    """The frequency of an index into the grid and parts of one."""
    grid = derived_grid()
    return float(grid[0] * 2.0 ** (place / POINTS_PER_OCTAVE))


def _extremes(
    found: Sequence[TurningPoint], run: slice, phase_deg: Floats, uncertainty: Floats, noise: Floats
) -> tuple[Extreme, ...]:
    """Those that stand out of noise."""
    told = []
    for one in found:
        at = round(run.start + one.place)
        own = float(noise[at]) if np.isfinite(noise[at]) else None
        if own is not None and one.prominence < SURE_BY * own:
            continue
        hertz = _hertz(run.start + one.place)
        spread = None if own is None else hertz * float(np.log(2.0)) / POINTS_PER_OCTAVE * one.slack * own
        angle, unsure = float(phase_deg[at]), float(uncertainty[at])
        told.append(
            Extreme(
                frequency_hz=hertz,
                frequency_uncertainty_hz=spread,
                ohms=float(np.exp(one.value)),
                phase_deg=angle if np.isfinite(angle) else None,
                uncertainty_ohm=unsure if np.isfinite(unsure) else None,
            )
        )
    return tuple(told)


def _wrinkles(ohms: Complexes, run: slice, noise: Floats) -> tuple[Wrinkle, ...]:
    quiet = np.where(np.isfinite(noise[run]), noise[run], 0.0)
    found = wrinkles.resonances(ohms[run], POINTS_PER_OCTAVE, LEAST_WRINKLE, quiet)
    return tuple(Wrinkle(_hertz(run.start + w.place), w.q, w.height, w.uncertainty) for w in found)


def _box(measured: MeasuredImpedance, run: slice) -> BoxFit | None:
    """A driver in its box, as the peaks of the lowest octaves show it; None where the fit isn't near."""
    grid = derived_grid()
    log_magnitude = np.log(np.abs(measured.ohms[run])) if run.stop > run.start else np.empty(0)
    tops = turning_points.maxima(log_magnitude, BOX_PROMINENCE)
    peaks = tuple(hz for hz in (_hertz(run.start + one.place) for one in tops) if hz <= BOX_PEAKS_TO_HZ)
    dips = [_hertz(run.start + one.place) for one in turning_points.minima(log_magnitude, LEAST_PROMINENCE)]
    if len(peaks) not in (1, 2):
        return None
    if len(peaks) == 1 and (low := _hidden_peak(log_magnitude, run, dips, peaks[0])) is not None:
        peaks = (low, *peaks)
    dip = next((hz for hz in dips if peaks[0] < hz < peaks[-1]), None)
    highest = min([hz for hz in dips if hz > peaks[-1]] + [BOX_REACH * peaks[-1]])
    inside = np.arange(run.start, run.stop)[grid[run] <= highest]
    ohms = np.asarray(measured.ohms[inside], dtype=np.complex128)
    if not measured.has_phase:
        ohms = np.abs(ohms).astype(np.complex128)
    counts = (inside.size, max(inside.size // 2, int(np.searchsorted(grid[inside], NARROWER * highest))))
    fitted, again = (
        box_impedance.fit(
            grid[inside[:count]], ohms[:count], peaks_hz=peaks, dip_hz=dip, has_phase=measured.has_phase
        )
        for count in counts
    )
    if fitted.residual > BOX_RESIDUAL or fitted.relative["resonance_hz"] > BOX_SURE:
        return None
    return _told(fitted, again, (float(grid[inside[0]]), float(grid[inside[-1]])))


def _hidden_peak(log_magnitude: Floats, run: slice, dips: Sequence[float], peak_hz: float) -> float | None:
    """About where a vented box's lower peak lies below what is valid; None where nothing shows one.

    Below the dip the magnitude rises again, by as much as a peak stands out. Both peaks lie about as far from
    the dip, in octaves.
    """
    dip_hz = max((hz for hz in dips if hz < peak_hz), default=None)
    if dip_hz is None:
        return None
    at = int(np.searchsorted(derived_grid()[run], dip_hz))
    rises = float(np.max(log_magnitude[: at + 1]) - log_magnitude[at])
    return dip_hz**2 / peak_hz if rises >= BOX_PROMINENCE else None


def _told(fitted: box_impedance.Fitted, again: box_impedance.Fitted, band_hz: tuple[float, float]) -> BoxFit:
    """What was fitted, with how unsure it is: by the fit, by the `again` narrower one, by the model."""
    box = fitted.box
    relative = {}
    for name in _BOX_VALUES:
        value, other = getattr(box, name), getattr(again.box, name)
        if value is not None:
            lumped = LUMPED_HZ if name.endswith("_hz") else LUMPED_Q
            relative[name] = float(combined([fitted.relative[name], other / value - 1.0, lumped]))
    return BoxFit(
        kind="sealed" if box.tuning_hz is None else "vented",
        resonance_hz=box.resonance_hz,
        tuning_hz=box.tuning_hz,
        resistance_ohm=box.resistance_ohm,
        q_mechanical=box.q_mechanical,
        q_electrical=box.q_electrical,
        q_total=box.q_total,
        compliance_ratio=box.compliance_ratio,
        residual=fitted.residual,
        band_hz=band_hz,
        uncertainty={name: getattr(box, name) * part for name, part in relative.items() if part <= BOX_SURE},
    )
