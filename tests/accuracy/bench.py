"""The bench: a scenario is recorded under a stated noise, and the files go through the product's own steps.

**The noise.** On axis the RMS of the sweep's direct sound is 60 dB above the noise's RMS between 20 Hz and
20 kHz. Half of the noise's power is equal in every octave from 10 Hz (a room's), half is white (a
microphone's). The same noise is in every file, those close to a cone too.

**What is recorded.** Real 24-bit WAV files: the stimulus (a sweep of 1.5 s), a microphone's calibration, the
takes that are asked for. Levels rest on the chain's stated sensitivity. A repeat is the same take in other
noise and with another error of its angle.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import scipy.fft
from accuracy.loudspeakers import Made
from pydantic import TypeAdapter

from earwitness.derive.derivation import Derivation, derive
from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.reduction import reduce
from earwitness.records.facts import CaseFacts
from earwitness.records.responses import Responses
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeId, TakeKey, TakeKind
from earwitness.virtual.files import MICROPHONE, STIMULUS, NearField, Turn
from earwitness.virtual.noise import PINK_FROM_HZ
from earwitness.virtual.recording import Session
from earwitness.virtual.stimulus import Sweep

Floats = npt.NDArray[np.floating]

SNR_DB: Final = 60.0
HEARD_HZ: Final = (20.0, 20_000.0)
SWEEP_S: Final = 1.5
#: Points of a sweep at which its sound is worked out.
SWEEP_POINTS: Final = 200
#: Both orbits on axis, and what tells the slope along each.
NEAR_AXIS: Final = tuple((orbit, angle) for orbit in Orbit for angle in (-10, 0, 10))
ON_AXIS_ALONE: Final = ((Orbit.HORIZONTAL, 0),)
ADAPTER: Final = TypeAdapter(CaseFacts)


@dataclass(frozen=True)
class Recorded:
    """A case on disk: where its files are, what they hold, and what the case states."""

    made: Made
    session: Session
    raw: Path
    takes: tuple[Take, ...]

    def facts(self, stated: dict[str, Any] | None = None) -> CaseFacts:
        """What the case states; `stated` replaces single fields of its tables."""
        document = {table: dict(values) for table, values in self.made.facts.items()}
        for table, values in (stated or {}).items():
            document[table] |= values
        return ADAPTER.validate_python(document)

    def impulse_responses(self) -> dict[TakeId, ImpulseResponse]:
        """The product's own deconvolution."""
        return {take.id: response for take, response in deconvolve(self.raw, self.takes)}


@dataclass(frozen=True)
class Measured:
    """What the product made of a case."""

    recorded: Recorded
    responses: Responses
    derivation: Derivation


def quiet(made: Made, snr_db: float = SNR_DB) -> Session:
    """The scenario's session under the stated noise."""
    session, chain = made.scenario.session, made.scenario.session.workshop.chain
    sweep = dataclasses.replace(session.sweep, wanted_s=SWEEP_S)
    noise_pa = _sweep_pa(made, sweep) * 10.0 ** (-snr_db / 20.0)
    half = noise_pa / np.sqrt(2.0)
    nyquist = chain.sample_rate_hz / 2.0
    pink = half / np.sqrt(np.log(HEARD_HZ[1] / HEARD_HZ[0]) / np.log(nyquist / PINK_FROM_HZ))
    white = half / np.sqrt((HEARD_HZ[1] - HEARD_HZ[0]) / nyquist)
    workshop = dataclasses.replace(
        session.workshop,
        room=dataclasses.replace(session.workshop.room, ambient_pa=float(pink)),
        microphone=dataclasses.replace(session.workshop.microphone, noise_pa=float(white)),
    )
    return dataclasses.replace(session, sweep=sweep, workshop=workshop)


def record(
    made: Made,
    folder: Path,
    directions: Sequence[tuple[Orbit, int]] = NEAR_AXIS,
    *,
    near: bool = True,
    repeats: int = 0,
    session: Session | None = None,
) -> Recorded:
    """Record some directions, the near fields, and on axis as many repeats more."""
    session = quiet(made) if session is None else session
    turns = [_turn(session, *direction) for direction in directions]
    near_fields = session.near_fields if near else ()
    names = [*(turn.name for turn in turns), *(each.name for each in near_fields)]
    session.record(folder, only=[STIMULUS, MICROPHONE, *names])
    takes = [_far(turn, turn.name) for turn in turns] + [_close(each) for each in near_fields]
    for number in range(2, 2 + repeats):
        turn = _turn(session, Orbit.HORIZONTAL, 0)
        again = dataclasses.replace(session, seed=session.seed + 100_000 * number)
        apart = folder / f"repeat {number}"
        again.record(apart, only=[turn.name])
        takes.append(_far(turn, f"{apart.name}/{turn.name}", number))
    takes += [
        Take(STIMULUS, TakeKey(TakeKind.STIMULUS)),
        Take(MICROPHONE, TakeKey(TakeKind.MICROPHONE_CALIBRATION)),
    ]
    return Recorded(made, session, folder, tuple(takes))


def measure(recorded: Recorded, stated: dict[str, Any] | None = None) -> Measured:
    """The product's own reduction and derivation."""
    facts = recorded.facts(stated)
    responses = reduce(facts, recorded.takes, recorded.impulse_responses(), recorded.raw)
    return Measured(recorded, responses, derive(responses, facts))


def local_snr_db(recorded: Recorded, level_db: Floats, frequency_hz: Floats, gate_s: float) -> Floats:
    """Signal over noise of a gated response at single frequencies, in dB, from what was put in.

    `level_db` (..., F) is the true level at 1 m for 2.83 V. The noise's power in the spectrum of what passes
    a gate is its density over the sweep's energy density, times the gate's length, its opening included.
    """
    session, chain = recorded.session, recorded.session.workshop.chain
    samples, rate = session.sweep.samples(), chain.sample_rate_hz
    length = scipy.fft.next_fast_len(4 * len(samples), real=True)
    bins = np.fft.rfftfreq(length, 1.0 / rate)
    energy = np.interp(frequency_hz, bins, np.abs(scipy.fft.rfft(samples, length)) ** 2)
    turn = session.turns[0]
    played = energy * (turn.drive_v * np.sqrt(2.0) / session.sweep.peak) ** 2 / 2.83**2
    distance = recorded.made.scenario.turntable.distance_m
    pressure = 20e-6 * 10.0 ** (level_db / 20.0) / distance
    white, pink = session.workshop.microphone.noise_pa, session.workshop.room.ambient_pa
    octaves = np.log(rate / 2.0 / PINK_FROM_HZ)
    density = white**2 + pink**2 * (rate / 2.0) / (frequency_hz * octaves)
    opened = (gate_s + 2e-3) * rate
    return np.asarray(10.0 * np.log10(pressure**2 * played / (density * opened)))


def _sweep_pa(made: Made, sweep: Sweep) -> float:
    """RMS of the sweep's direct sound on axis: it stays as long in each octave as in any other."""
    frequency = np.geomspace(sweep.first_hz, sweep.last_hz, SWEEP_POINTS)
    scenario, drive_v = made.scenario, made.scenario.session.turns[0].drive_v
    ahead = np.array([[1.0, 0.0, 0.0]])
    pressure = scenario.pressure(ahead, frequency, drive_v, scenario.turntable.distance_m)
    return float(np.sqrt(np.mean(np.abs(pressure) ** 2)))


def _turn(session: Session, orbit: Orbit, angle: int) -> Turn:
    return next(t for t in session.turns if t.orbit == orbit and t.angle_deg == angle)


def _far(turn: Turn, path: str, repeat: int = 1) -> Take:
    direction = Direction(Orbit(turn.orbit), float(turn.angle_deg))
    key = TakeKey(TakeKind.SWEEP, direction, Drive(turn.drive_v), repeat=repeat)
    return Take(path, key, stimulus=STIMULUS)


def _close(near: NearField) -> Take:
    key = TakeKey(TakeKind.NEAR_FIELD, drive=Drive(near.drive_v), radiator=near.way)
    return Take(near.name, key, stimulus=STIMULUS, distance_m=near.gap_m)
