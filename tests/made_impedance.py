"""An impedance by its closed form: 6 Ω with 20 Ω more at 80 Hz, and 0.3 mH."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import specimen

from earwitness.derive.impedance import derive_impedance
from earwitness.derive.impedance_figures import impedance_figures
from earwitness.records.curves import CurveSet
from earwitness.records.facts import StatedUncertainty, Unit
from earwitness.records.figures import Figure
from earwitness.records.impedance import MeasuredImpedance
from earwitness.records.takes import TakeId


def measured(*, has_phase: bool = True, to_hz: float = 18e3) -> MeasuredImpedance:
    """It, with noise of a ten-thousandth, valid so far."""
    hertz = specimen.GRID
    ratio = hertz / 80.0 - 80.0 / hertz
    ohms = np.asarray(6.0 + 20.0 / (1.0 + 4j * ratio) + 2j * np.pi * hertz * 3e-4, dtype=np.complex128)
    return MeasuredImpedance(
        takes=(TakeId("impedance.wav"), TakeId("known.wav")),
        drive="0.5 V",
        ohms=ohms if has_phase else np.abs(ohms).astype(np.complex128),
        valid=hertz < to_hz,
        has_phase=has_phase,
        noise_ohm=1e-4 * np.abs(ohms),
        known_resistor=True,
    )


def with_impedance(
    curves: CurveSet, percent: float | None = 1.0, *, has_phase: bool = True, to_hz: float = 18e3
) -> CurveSet:
    """Curves with it, its scale uncertain by so many per cent (None: not stated)."""
    stated = StatedUncertainty(impedance_percent=percent)
    return replace(curves, impedance=derive_impedance(measured(has_phase=has_phase, to_hz=to_hz), stated))


def figures(curves: CurveSet, rated_ohm: float | None = None) -> tuple[Figure, ...]:
    """Its figures for a loudspeaker that is rated so."""
    return impedance_figures(curves.impedance, Unit("Cobble", rated_impedance_ohm=rated_ohm))
