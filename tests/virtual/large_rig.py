"""A large-signal driver in a closed or vented box, and its equations written a second time, over time."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import scipy.fft
from scipy.integrate import solve_ivp

from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Floats
from earwitness.virtual.bodies import DriveUnit, Port
from earwitness.virtual.enclosure import Enclosure
from earwitness.virtual.interior import Interior, Opening
from earwitness.virtual.large_signal import LargeSignal
from earwitness.virtual.network import Branch
from earwitness.virtual.source import Source
from earwitness.virtual.voice_coil import VoiceCoil

AIR = Air()
VOLUME_M3 = 0.010
STRONG = LargeSignal(0.008, 0.001, 0.006, -0.001, 0.3, 0.006)


def unit(large: LargeSignal | None = STRONG, coil: VoiceCoil | None = None) -> DriveUnit:
    """An invented woofer of 11 cm."""
    own = coil or VoiceCoil(5.6, 0.0005)
    return DriveUnit(Opening("woofer"), own, 6.0, 0.012, 1200.0, 1.0, 0.11, large_signal=large)


def boxed(driver: DriveUnit, *ports: Port) -> Source:
    """It in 10 litres, at the end of a wire."""
    return Source((Enclosure(Interior(VOLUME_M3), (driver,), ports),), (Branch((driver.name,)),))


def over_time(
    large: LargeSignal,
    volts: Callable[[float], float],
    times: Floats,
    ohms: float = 5.6,
    port: Port | None = None,
) -> Floats:
    """Displacement, velocity, current at some times from rest at 0 s, (3, T): a Runge-Kutta of order 8.

    The shapes are written out again: Bl = 6/(1 + y²) and so on. A vented box adds the pressure of its air
    and the volume velocity of its port.
    """
    b0 = 1.0 + (large.force_offset_m / large.force_half_m) ** 2
    k0 = 1.0 + (large.stiffness_offset_m / large.stiffness_double_m) ** 2
    area, compliance = np.pi * 0.11**2 / 4.0, VOLUME_M3 / (AIR.density * AIR.speed**2)
    inertance = 0.0 if port is None else AIR.density * (port.length_m + port.ends_m) / port.area_m2

    def slope(t: float, state: Floats) -> list[float]:
        x, u, i, pressure, flow = state.tolist()
        bl = 6.0 * b0 / (1.0 + ((x - large.force_offset_m) / large.force_half_m) ** 2)
        k = 1200.0 * (1.0 + ((x - large.stiffness_offset_m) / large.stiffness_double_m) ** 2) / k0
        bend = float(np.tanh(x / large.inductance_reach_m))
        henries = 0.0005 * (1.0 - large.inductance_fall * bend)
        rise = -0.0005 * large.inductance_fall * (1.0 - bend**2) / large.inductance_reach_m
        hit = 0.0
        if large.contact_m is not None and x > large.contact_m:
            hit = -large.contact_stiffness * (x - large.contact_m) ** 1.5 / 0.01
        force = bl * i - k * x - u + 0.5 * i * i * rise + hit - area * pressure
        return [
            u,
            force / 0.012,
            (volts(t) - ohms * i - bl * u - rise * u * i) / henries,
            (area * u + flow) / compliance,
            -pressure / inertance if inertance else 0.0,
        ]

    solved = solve_ivp(
        slope, (0.0, times[-1]), [0.0] * 5, "DOP853", times, rtol=1e-9, atol=1e-12, max_step=1e-3
    )
    return np.asarray(solved.y[:3])


def bins(rate: float, samples: int) -> Floats:
    """Frequencies of a period's spectrum; its limit of 0 Hz in the place of 0 Hz."""
    found = scipy.fft.rfftfreq(samples, 1.0 / rate)
    found[0] = 1e-3
    return np.asarray(found)
