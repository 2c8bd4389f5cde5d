"""The impedance of a driver in a sealed or vented box, and the one that lies nearest to a measured one.

R. H. Small, JAES 20 (5) and (10), 1972, for the driver and the closed box, JAES 21 (5), 1973, for the vented
one with a leak; both recalled. A sealed box may leak, too: its part K of the spring becomes K/(1 − j·fl/f),
fl being where the leak takes as much as the spring. The first order in fl/f counts, a loss as 1/f² (worked
out here); higher ones can't be told from coil and crossover. The coil is a resistance, an inductance and a
semi-inductance K√(jω) (Vanderkooy, JAES 37 (3), 1989; recalled). An inductance before the driver, and a
capacitance with a resistor across it, stand for a crossover at low frequencies.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import least_squares

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: Points of a fit count as independent so many to the octave: what a model lacks is smooth.
INDEPENDENT_PER_OCTAVE: Final = 6.0
#: A sealed box's leak is told where the fit with it leaves less than this part of what it leaves without.
LEAK_LEAVES: Final = 0.6
LEAK_START: Final = 30.0
#: Logarithms of parameters may move so far from where the fit begins.
REACH: Final = 5.0


@dataclass(frozen=True, slots=True)
class Box:
    """Parameters of a driver in a box.

    Attributes
    ----------
    resistance_ohm
        In series with the motion: coil and crossover.
    motional_ohm
        What the motion adds at resonance.
    resonance_hz, q_mechanical
        Of the driver in its sealed box, without its leak's losses; as mounted, but without the box's spring,
        where it is vented.
    inductance_h, semi_inductance, capacitance_f, damper_ohm
        Of crossover and coil: H before the driver, Ω√s of its coil, F and Ω in series across it.
    q_leak
        Of the box at its tuning where it is vented, of the driver at its resonance where it is sealed; None
        of a sealed box that shows no leak.
    compliance_ratio, tuning_hz
        Of a vented box; None for a sealed one.
    """

    resistance_ohm: float
    motional_ohm: float
    resonance_hz: float
    q_mechanical: float
    inductance_h: float
    semi_inductance: float
    capacitance_f: float
    damper_ohm: float
    q_leak: float | None = None
    compliance_ratio: float | None = None
    tuning_hz: float | None = None

    @property
    def q_electrical(self) -> float:
        """Qm·R/Rm: from an amplifier without resistance."""
        return self.q_mechanical * self.resistance_ohm / self.motional_ohm

    @property
    def q_total(self) -> float:
        """Qm ∥ Qe, of a sealed box ∥ its leak's."""
        return 1.0 / (1.0 / self.q_mechanical + 1.0 / self.q_electrical + self.leak_in_all)

    @property
    def leak_in_all(self) -> float:
        """What a sealed box's leak adds to 1/Q."""
        return 1.0 / self.q_leak if self.q_leak is not None and self.tuning_hz is None else 0.0

    def impedance(self, frequency_hz: Float64s) -> Complex128s:
        """Ohms, shape (F,), f > 0."""
        s = 2j * np.pi * frequency_hz
        ratio = frequency_hz / self.resonance_hz
        braked = 1.0 + 1j * self.q_mechanical * (ratio - 1.0 / ratio)
        if self.compliance_ratio is None or self.tuning_hz is None or self.q_leak is None:
            braked = braked + self.q_mechanical * self.leak_in_all / ratio**2
        else:
            port = self.tuning_hz / frequency_hz
            spring = self.q_mechanical * self.compliance_ratio / (1j * ratio)
            braked = braked + spring / (1.0 - port**2 - 1j * port / self.q_leak)
        driver = self.resistance_ohm + self.semi_inductance * np.sqrt(s) + self.motional_ohm / braked
        beside = self.damper_ohm + 1.0 / (s * self.capacitance_f)
        return np.asarray(s * self.inductance_h + 1.0 / (1.0 / driver + 1.0 / beside))


@dataclass(frozen=True, slots=True)
class Fitted:
    """The box nearest to a measured impedance.

    `residual` is what it leaves, root mean square, re the magnitude; `relative` one standard uncertainty of
    each parameter, and of `q_total`, re itself, by name, from that residual.
    """

    box: Box
    residual: float
    relative: dict[str, float]


def fit(
    frequency_hz: Float64s,
    ohms: Complex128s,
    *,
    peaks_hz: tuple[float, ...],
    dip_hz: float | None = None,
    has_phase: bool = True,
) -> Fitted:
    """Least squares of the relative difference of complex impedances, or of magnitudes alone.

    Parameters
    ----------
    frequency_hz, ohms
        Shape (F,) each.
    peaks_hz, dip_hz
        Where the magnitude peaks: once for a sealed box, or twice with a dip between for a vented one.
    """
    start = _start(frequency_hz, np.abs(ohms), peaks_hz, dip_hz)
    found = _nearest(frequency_hz, ohms, start, has_phase=has_phase)
    if dip_hz is not None:
        return found
    leaking = _nearest(frequency_hz, ohms, replace(found.box, q_leak=LEAK_START), has_phase=has_phase)
    return leaking if leaking.residual < LEAK_LEAVES * found.residual else found


def _nearest(frequency_hz: Float64s, ohms: Complex128s, start: Box, *, has_phase: bool) -> Fitted:
    """The least squares from one start, with what it has."""
    names = [name for name in Box.__slots__ if getattr(start, name) is not None]
    begin = np.log([getattr(start, name) for name in names])

    def away(logs: Float64s) -> Float64s:
        made = Box(**dict(zip(names, np.exp(logs).tolist(), strict=True))).impedance(frequency_hz)
        if has_phase:
            left = (made - ohms) / np.abs(ohms)
            return np.concatenate([left.real, left.imag])
        return np.asarray(np.abs(made) / np.abs(ohms) - 1.0)

    found = least_squares(away, begin, bounds=(begin - REACH, begin + REACH), x_scale=0.1)
    octaves = float(np.log2(frequency_hz[-1] / frequency_hz[0]))
    counted = max(len(names) + 1.0, INDEPENDENT_PER_OCTAVE * octaves * (2.0 if has_phase else 1.0))
    variance = 2.0 * float(found.cost) / found.fun.size
    slopes = np.asarray(found.jac, dtype=np.float64)
    shared = slopes.T @ slopes * (counted / found.fun.size)
    covariance = np.linalg.pinv(shared) * variance
    box = Box(**dict(zip(names, np.exp(found.x).tolist(), strict=True)))
    part = box.q_total / box.q_electrical
    leak = box.q_total * box.leak_in_all
    acts = {"q_mechanical": 1.0 - leak, "q_leak": leak, "resistance_ohm": part, "motional_ohm": -part}
    total = np.array([acts.get(name, 0.0) for name in names])
    each = np.sqrt(np.maximum(np.diag(covariance), 0.0)).tolist()
    return Fitted(
        box,
        float(np.sqrt(variance * (2.0 if has_phase else 1.0))),
        {
            **dict(zip(names, each, strict=True)),
            "q_total": float(np.sqrt(max(total @ covariance @ total, 0.0))),
        },
    )


def _start(
    frequency_hz: Float64s, magnitude: Float64s, peaks_hz: tuple[float, ...], dip_hz: float | None
) -> Box:
    """A box to begin with, read off the curve: three frequencies tell a vented one (Small 1973)."""
    heights = np.interp(np.log(peaks_hz), np.log(frequency_hz), magnitude)
    least = float(magnitude.min())
    motional = max(float(heights.max()) - least, 0.1 * least)
    coil = {
        "inductance_h": 1e-4,
        "semi_inductance": 1e-2,
        "capacitance_f": 1e-5,
        "damper_ohm": 3.0,
    }
    if dip_hz is None:
        return Box(0.95 * least, motional, peaks_hz[0], _q_of(frequency_hz, magnitude, peaks_hz[0]), **coil)
    low, high = peaks_hz
    resonance = low * high / dip_hz
    ratio = (high**2 - dip_hz**2) * (dip_hz**2 - low**2) / (low * high) ** 2
    return Box(
        0.95 * least,
        motional,
        resonance,
        4.0,
        **coil,
        compliance_ratio=max(ratio, 0.1),
        tuning_hz=dip_hz,
        q_leak=10.0,
    )


def _q_of(frequency_hz: Float64s, magnitude: Float64s, peak_hz: float) -> float:
    """Mechanical Q from where the magnitude is the geometric mean of its peak and its least (Small 1972)."""
    top, least = float(np.interp(peak_hz, frequency_hz, magnitude)), float(magnitude.min())
    inside = frequency_hz[magnitude >= np.sqrt(top * least)]
    width = max(float(inside[-1] - inside[0]), 0.02 * peak_hz) if inside.size else peak_hz
    return float(np.clip(peak_hz * np.sqrt(top / least) / width, 0.5, 30.0))
