"""Level series of drawn loudspeakers in the virtual workshop, and what heat, limits and limiters do to them.

Ladle's woofer is drawn anew as in `made_runs`, with its own impedance; rising sweeps at five to seven drives
are played one after another at 8 kHz, where the physics is the same, and each warms the coil for the
next. The sound is that of all radiators at one place. What a mechanism does is what its absence changes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
import numpy.typing as npt
from made_runs import Drawn, scenario_of
from made_runs import drawn as drawn_run

from earwitness.derive.change_with_level import change_with_level
from earwitness.derive.impedance import derive_impedance
from earwitness.records.distortion import ChangeWithLevel, LevelSeries
from earwitness.records.facts import StatedUncertainty
from earwitness.records.grid import derived_grid
from earwitness.records.impedance import Impedance, MeasuredImpedance
from earwitness.records.takes import Drive, TakeId
from earwitness.virtual.playing import Playing
from earwitness.virtual.stimulus import Sweep

Floats = npt.NDArray[np.float64]

RATE_HZ: Final = 8000
GRID: Final = derived_grid()
#: The sweep, and what is heard of it with all its harmonics within the recording's band.
BAND_HZ: Final = (20.0, 3700.0)
VALID_HZ: Final = (30.0, 3400.0)
ORDERS: Final = 5
LOWEST_V: Final = 0.7
#: Pressure at 1 m of noise at each frequency, re that of the lowest drive.
NOISE_PART: Final = 2e-3
#: A coil that can't move far enough for its force or its spring to change.
STIFF: Final = 1e4


@dataclass(frozen=True)
class Drawing:
    """A loudspeaker, its drives in volts, and how it is swept."""

    loudspeaker: Drawn
    drives_v: tuple[float, ...]
    sweep_s: float
    pause_s: float
    seed: int


def drawn(seed: int) -> Drawing:
    """Half of them have heat, half a limiter, each by itself; the cone moves more or less in all."""
    one = drawn_run(seed)
    random = np.random.default_rng([7020, seed])
    top = float(np.exp(random.uniform(np.log(9.0), np.log(24.0))))
    threshold = None if one.threshold_v is None else top * float(np.exp(random.uniform(-0.4, 0.5)))
    soft = float(np.exp(random.uniform(np.log(1.0), np.log(2.5))))
    drives = np.geomspace(LOWEST_V, top, int(random.integers(5, 8)))
    loudspeaker = replace(one, drive_v=top, threshold_v=threshold, softness=soft)
    return Drawing(
        loudspeaker,
        tuple(float(f"{volts:.3g}") for volts in drives),
        float(random.uniform(3.0, 8.0)),
        float(random.uniform(0.5, 5.0)),
        seed,
    )


@dataclass(frozen=True)
class MadeLevels:
    """One of them, played."""

    drawing: Drawing

    @cached_property
    def series(self) -> LevelSeries:
        """As it would be measured, with a little noise."""
        pressure = _played(self.drawing, self.drawing.loudspeaker)
        random = np.random.default_rng([7021, self.drawing.seed])
        size = NOISE_PART * float(np.median(np.abs(pressure[0, 0])))
        noise = size * (random.standard_normal((2, *pressure.shape)).T @ [1.0, 1j]).T / np.sqrt(2.0)
        orders = np.arange(1, ORDERS + 1)
        inside = (VALID_HZ[0] <= GRID) & (np.multiply.outer(orders, GRID) <= VALID_HZ[1])
        valid = np.broadcast_to(inside, pressure.shape).copy()
        drives = self.drawing.drives_v
        return LevelSeries(
            radiator=None,
            takes=tuple(TakeId(f"{volts:g}V.wav") for volts in drives),
            drives=tuple(Drive(volts) for volts in drives),
            frequency_hz=GRID,
            order=tuple(orders.tolist()),
            pressure=np.where(valid, pressure + noise, 0.0).astype(np.complex64),
            noise_power=np.full(pressure.shape, size**2),
            valid=valid,
            free_field=valid[0],
        )

    @cached_property
    def level(self) -> ChangeWithLevel:
        """What the product makes of it."""
        found = change_with_level([self.series])
        assert found is not None
        return found

    @cached_property
    def impedance(self) -> Impedance:
        """Of the cold loudspeaker, as it would be measured at a low drive."""
        scenario = scenario_of(self.drawing.loudspeaker)
        ohms = scenario.loudspeaker.impedance(GRID, scenario.air)
        every, none = np.ones(GRID.shape, dtype=np.bool_), np.zeros(GRID.shape)
        takes = (TakeId("impedance.wav"),)
        measured = MeasuredImpedance(takes, "", ohms, every, has_phase=True, noise_ohm=none + 1e-3)
        return derive_impedance(measured, StatedUncertainty())

    @cached_property
    def effects_db(self) -> dict[str, Floats]:
        """What heat, and what the limiter with the cone's limits, does at the highest drive, dB (F,)."""
        one = self.drawing.loudspeaker
        whole = self._change_db(one)
        cold = self._change_db(replace(one, coil_k_per_w=None))
        linear = self._change_db(replace(one, threshold_v=None, softness=STIFF))
        return {"thermal": whole - cold, "nonlinear": whole - linear}

    def _change_db(self, one: Drawn) -> Floats:
        pressure = np.abs(_played(self.drawing, one)[:, 0])
        return np.asarray(20.0 * np.log10(pressure[-1] / pressure[0]))

    def true_causes(self, band_hz: tuple[float, float], sign: int) -> frozenset[str]:
        """Those that do half of the largest effect in the band's mean, and a quarter of a decibel."""
        inside = (band_hz[0] <= GRID) & (band_hz[1] >= GRID)
        found = {cause: sign * float(effect[inside].mean()) for cause, effect in self.effects_db.items()}
        least = max(0.25, 0.5 * max(found.values()))
        return frozenset(cause for cause, effect in found.items() if effect >= least)


def _played(drawing: Drawing, one: Drawn) -> npt.NDArray[np.complex128]:
    """Pressure at 1 m of the orders at each drive, Pa RMS, (D, N, F), without noise."""
    player = scenario_of(one).session.player
    assert player is not None
    sweep = Sweep(*BAND_HZ, drawing.sweep_s, 1.0, RATE_HZ)
    stimulus = sweep.samples()
    playing = Playing(player, stimulus, 1.0, stimulus.size + RATE_HZ, drawing.pause_s)
    count = playing._volt.size
    sent = np.fft.rfft(playing._volt)
    lines = np.fft.rfftfreq(count, 1.0 / RATE_HZ)
    floor = 1e-3 * float(np.abs(sent).max())
    inverse = sent.conj() / (np.abs(sent) ** 2 + floor**2)
    found = []
    for volts in drawing.drives_v:
        moved = playing.after(drawing.drives_v, volts).volume_velocity.sum(axis=0)
        pressure = 1.2 * 1j * lines / 2.0 * moved
        response = np.fft.irfft(pressure * inverse, count)
        found.append(np.stack([_order(response, sweep, n) for n in range(1, ORDERS + 1)]))
    return np.stack(found)


def _order(response: Floats, sweep: Sweep, order: int) -> npt.NDArray[np.complex128]:
    """One order at n times each frequency, from its window of the response (Farina 2000, recalled)."""
    shift = round(sweep.lead_s(order) * RATE_HZ)
    lead = round(0.4 * (sweep.lead_s(order + 1) - sweep.lead_s(order)) * RATE_HZ)
    length = (
        min(
            round(0.35 * RATE_HZ),
            round(0.5 * (sweep.lead_s(order) - sweep.lead_s(max(order - 1, 1))) * RATE_HZ),
        )
        if order > 1
        else round(0.35 * RATE_HZ)
    )
    piece = np.roll(response, shift + lead)[: lead + length]
    spectrum = np.fft.rfft(piece, 4 * RATE_HZ)
    at = np.clip(np.round(order * GRID * 4.0).astype(int), 0, spectrum.size - 1)
    return np.asarray(spectrum[at])
