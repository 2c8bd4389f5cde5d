"""What is recorded besides a session: an impedance, a load that lasts, and the loudspeaker at rest.

Each is a table of the scenario. Their files come after the session's and change none of its bytes. A run is
at a sample rate of its own, so that its minutes fit in a file of some megabytes.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
import soundfile

from earwitness.virtual.arrays import Floats
from earwitness.virtual.electrical import Circuit, Meter
from earwitness.virtual.endurance import Endurance
from earwitness.virtual.files import drive_text
from earwitness.virtual.noise import Noise
from earwitness.virtual.recording import Session

#: Names of what a scenario may have: tables of its document.
TABLES: Final = ("impedance", "endurance", "self_noise")
RUN_STIMULUS: Final = "endurance_stimulus.wav"
ROOM, OWN = "noise.wav", "self_noise.wav"
#: A run's recording goes on so long after what is played, s.
RUN_TAIL_S: Final = 1
#: Seconds of load before a probe, and of silence before one afterwards; both end with the same ever again.
LOADS_S: Final = (2, 3, 5, 10, 20, 40)
RESTS_S: Final = (1, 1, 2, 2, 4, 6, 10, 20, 30)
COLD_PROBES: Final = 4
#: A run's signal: its second's RMS and its probes' gain, both re full scale and load.
SECOND_RMS, PROBE = 0.2, 0.1
#: The converter's filter of a run's chain begins at this part of the sample rate.
EDGE_PART: Final = 0.46


@dataclass(frozen=True, slots=True)
class Run:
    """A load that lasts: pink noise that repeats each second, with weak seconds among it and after it.

    `drive_v` is the load's RMS at the terminals; `load_s` and `rest_s` are the least that it lasts.
    """

    drive_v: float
    load_s: int
    rest_s: int
    sample_rate_hz: int = 16000
    first_hz: float = 40.0
    last_hz: float = 7000.0

    def __post_init__(self) -> None:
        if self.load_s < 1 or self.rest_s < 1:
            raise ValueError("load_s and rest_s are whole seconds, 1 at least")
        if not 0.0 < self.first_hz < self.last_hz <= EDGE_PART * self.sample_rate_hz:
            raise ValueError(
                f"a run rises from first_hz to last_hz, {EDGE_PART:g} of the sample rate at most"
            )

    def gains(self) -> Floats:
        """Of each second re the load: first probes alone, then probes among the load, then after it."""
        found = [0.0, 0.0, PROBE, PROBE] * COLD_PROBES + [0.0]
        left, turn = self.load_s, 0
        while left > 0:
            take = min(left, LOADS_S[min(turn, len(LOADS_S) - 1)])
            found += [1.0] * take + [PROBE, PROBE]
            left, turn = left - take, turn + 1
        left, turn = self.rest_s, 0
        while left > 0:
            take = RESTS_S[min(turn, len(RESTS_S) - 1)]
            found += [0.0] * take + [PROBE, PROBE]
            left, turn = left - take - 2, turn + 1
        return np.array(found)

    def second(self, seed: int) -> Floats:
        """One second of RMS 1: lines whose power falls as one over frequency, with phases drawn."""
        hertz = np.arange(self.sample_rate_hz // 2 + 1)
        phases = np.random.default_rng([seed, 11]).uniform(0.0, 2.0 * np.pi, hertz.size)
        inside = (hertz >= self.first_hz) & (hertz <= self.last_hz)
        spectrum = np.where(inside, np.exp(1j * phases) / np.sqrt(np.maximum(hertz, 1)), 0.0)
        wave = np.fft.irfft(spectrum, self.sample_rate_hz)
        return np.asarray(wave / np.sqrt(np.mean(wave**2)))


@dataclass(frozen=True, slots=True)
class Rest:
    """A loudspeaker that is on and plays nothing, and the room with it off: `seconds` of each.

    `hiss_pa` is its noise at 1 m, white as far as the recording reaches, `hum_pa` the mains frequency and its
    harmonics; RMS.
    """

    seconds: float
    hiss_pa: float
    hum_pa: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Further:
    """What is recorded besides `session`."""

    session: Session
    meter: Meter | None = None
    run: Run | None = None
    rest: Rest | None = None
    full_scale_v: float | None = None

    def __post_init__(self) -> None:
        source = self.session.workshop.loudspeaker.source
        if self.meter is not None and any(branch.ideal for branch in source.branches):
            raise ValueError("impedance: ideal filters have none; leave it out, or take ladders of parts")
        if self.run is not None and self.session.player is None:
            raise ValueError(
                "endurance: nothing warms or moves here; state heating, large_signal or a limiter"
            )

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the files, in the order in which they are written."""
        found = [] if self.meter is None else [self._impedance]
        found += [] if self.rest is None else [ROOM, OWN]
        found += [] if self.run is None else [RUN_STIMULUS, self._run_name]
        return tuple(found)

    @property
    def read(self) -> dict[str, tuple[tuple[str, float | int | bool], ...]]:
        """What the reviewer states of a file's form, in the order of the keys, for those that need it."""
        if self.meter is None:
            return {}
        meter = self.meter
        stated: tuple[tuple[str, float | int | bool], ...] = (
            ("current", 2),
            ("current_full_scale_v", meter.current_full_scale_v),
            ("sense_ohm", meter.sense_ohm),
            ("voltage", 1),
            ("voltage_full_scale_v", meter.voltage_full_scale_v),
        )
        return {self._impedance: (*stated, ("voltage_over_both", True)) if meter.over_both else stated}

    def record(self, folder: Path, wanted: tuple[str, ...], sweep_s: float | None = None) -> Iterator[Path]:
        """Write those of the files, one by one."""
        if self.meter is not None and self._impedance in wanted:
            yield self._electrical(folder / self._impedance, self.meter, sweep_s)
        if self.rest is not None:
            for name, rest in ((ROOM, None), (OWN, self.rest)):
                if name in wanted:
                    yield self._silent(folder / name, self.rest.seconds, rest)
        if self.run is not None and {RUN_STIMULUS, self._run_name} & set(wanted):
            yield from self._endured(folder, self.run, wanted)

    @property
    def _impedance(self) -> str:
        assert self.meter is not None
        return f"impedance_{drive_text(self.meter.drive_v, self.full_scale_v)}.wav"

    @property
    def _run_name(self) -> str:
        assert self.run is not None
        return f"endurance_{drive_text(self.run.drive_v, self.full_scale_v)}.wav"

    def _electrical(self, path: Path, meter: Meter, sweep_s: float | None) -> Path:
        session = self.session
        sweep = session.sweep if sweep_s is None else replace(session.sweep, wanted_s=sweep_s)
        circuit = Circuit(meter, session.workshop.chain, session.tail_s, session.seed)
        heard = circuit.loudspeaker(session.workshop.loudspeaker, session.workshop.air, sweep, path.name)
        circuit.write(path, heard)
        return path

    def _silent(self, path: Path, seconds: float, rest: Rest | None) -> Path:
        chain = self.session.workshop.chain
        count = round(seconds * chain.sample_rate_hz)
        heard = self._background(path.name, count, chain.sample_rate_hz)
        if rest is not None:
            nearer = 1.0 / (chain.full_scale_pa * self.session.turntable.distance_m)
            own = Noise(rest.hiss_pa * nearer, 0.0, tuple(pa * nearer for pa in rest.hum_pa), chain.mains_hz)
            sound = own.samples(self._generator(path.name, 3), count, chain.sample_rate_hz)
            heard = np.asarray(heard + self._through_microphone(sound, chain.sample_rate_hz))
        _write(path, heard, chain.sample_rate_hz)
        return path

    def _through_microphone(self, sound: Floats, rate_hz: int) -> Floats:
        """A sound that goes on for ever, as the microphone delivers it; same shape (N,)."""
        spectrum = np.fft.rfft(sound)
        hertz = np.fft.rfftfreq(sound.size, 1.0 / rate_hz)
        spectrum[0] = 0.0
        spectrum[1:] *= self.session.workshop.microphone.transfer(hertz[1:])
        return np.asarray(np.fft.irfft(spectrum, sound.size))

    def _endured(self, folder: Path, run: Run, wanted: tuple[str, ...]) -> Iterator[Path]:
        gains, rate = run.gains(), run.sample_rate_hz
        second = run.second(self.session.seed)
        if RUN_STIMULUS in wanted:
            _write(folder / RUN_STIMULUS, np.outer(SECOND_RMS * gains, second).ravel(), rate)
            yield folder / RUN_STIMULUS
        if self._run_name in wanted:
            player, responses = self.session.player, self._responses(rate)
            assert player is not None
            player = replace(player, sample_rate_hz=rate)
            played = [*gains.tolist(), *[0.0] * RUN_TAIL_S]
            heard = Endurance(player, run.drive_v * second, responses).run(played).recording
            recorded = np.asarray(heard + self._background(self._run_name, heard.size, rate))
            _write(folder / self._run_name, recorded, rate)
            yield folder / self._run_name

    def _responses(self, rate_hz: int) -> Floats:
        """Of each radiator on axis, at the run's rate."""
        workshop = self.session.workshop
        chain = replace(
            workshop.chain, sample_rate_hz=rate_hz, edge_hz=min(EDGE_PART * rate_hz, workshop.chain.edge_hz)
        )
        view = self.session.turntable.view("horizontal", np.array([0.0]))
        return np.asarray(replace(workshop, chain=chain).radiated_responses(view)[0])

    def _background(self, name: str, count: int, rate_hz: int) -> Floats:
        return self.session.workshop.noise.samples(self._generator(name, 0), count, rate_hz)

    def _generator(self, name: str, which: int) -> np.random.Generator:
        return np.random.default_rng([self.session.seed, zlib.crc32(name.encode()), which])


def _write(path: Path, samples: Floats, rate_hz: int) -> None:
    """As 24 bits; ValueError where they don't fit."""
    if np.max(np.abs(samples)) >= 1.0:
        raise ValueError(f"{path.name} would clip; raise the chain's full scale or lower the drive")
    soundfile.write(path, samples, rate_hz, subtype="PCM_24", format="WAV")
