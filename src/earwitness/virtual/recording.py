"""A session: what the reviewer records in the workshop, written as files."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile

from earwitness.virtual.arrays import Floats
from earwitness.virtual.chain import Noise, Paths, convolve
from earwitness.virtual.files import CALIBRATOR, MICROPHONE, STIMULUS, NearField, Turn
from earwitness.virtual.stimulus import Sweep
from earwitness.virtual.workshop import Turntable

#: Turns of the turntable that are computed together.
BLOCK = 12
CALIBRATOR_LEVEL_DB = 94.0
CALIBRATOR_HZ = 1000.0
CALIBRATOR_S = 3.0
REFERENCE_PA = 20e-6


@dataclass(frozen=True, slots=True)
class Session:
    """The recordings of one day.

    `tail_s` is how long the recording goes on after the sweep. Each file's noise has a seed of its own, made
    of `seed` and the file's name, so that a file doesn't depend on which others are written.
    """

    paths: Paths
    turntable: Turntable
    sweep: Sweep
    noise: Noise
    turns: tuple[Turn, ...]
    near_fields: tuple[NearField, ...]
    tail_s: float
    seed: int

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all files, in the order in which they are written."""
        takes = (*(t.name for t in self.turns), *(n.name for n in self.near_fields))
        return (STIMULUS, CALIBRATOR, MICROPHONE, *takes)

    def record(
        self,
        folder: Path,
        progress: Callable[[int, int], None] | None = None,
        only: Collection[str] | None = None,
        sweep_s: float | None = None,
    ) -> list[Path]:
        """Write the files; see `Scenario.record`."""
        sweep = self.sweep if sweep_s is None else replace(self.sweep, wanted_s=sweep_s)
        wanted = self.names if only is None else tuple(name for name in self.names if name in only)
        if only is not None and (strange := set(only) - set(wanted)):
            raise ValueError(f"the session has no file called {sorted(strange)[0]!r}; see names")
        folder.mkdir(parents=True, exist_ok=True)
        written = []
        for name, content in self._contents(wanted, sweep):
            path = folder / name
            if isinstance(content, str):
                path.write_text(content, encoding="utf-8", newline="\n")
            else:
                self._write_wave(path, content)
            written.append(path)
            if progress is not None:
                progress(len(written), len(wanted))
        return written

    def _contents(self, wanted: Collection[str], sweep: Sweep) -> Iterator[tuple[str, Floats | str]]:
        stimulus = sweep.samples()
        if STIMULUS in wanted:
            yield STIMULUS, stimulus
        if CALIBRATOR in wanted:
            yield CALIBRATOR, self._calibrator()
        if MICROPHONE in wanted:
            yield MICROPHONE, self._calibration()
        turns = [turn for turn in self.turns if turn.name in wanted]
        for start in range(0, len(turns), BLOCK):
            yield from self._turned(turns[start : start + BLOCK], stimulus)
        for near in self.near_fields:
            if near.name in wanted:
                yield near.name, self._near(near, stimulus)

    def _turned(self, turns: Sequence[Turn], stimulus: Floats) -> Iterator[tuple[str, Floats]]:
        for orbit in dict.fromkeys(turn.orbit for turn in turns):
            here = [turn for turn in turns if turn.orbit == orbit]
            angles = np.array([turn.angle_deg for turn in here], dtype=np.float64)
            points = self.turntable.microphone(orbit, angles)
            responses = self.paths.impulse_responses(points, self.turntable.upward(orbit))
            for turn, response in zip(here, responses, strict=True):
                yield turn.name, self._played(turn.name, response, turn.drive_v, stimulus)

    def _near(self, near: NearField, stimulus: Floats) -> Floats:
        loudspeaker = self.paths.loudspeaker
        point = loudspeaker.in_front_of(near.way, near.gap_m)
        response = self.paths.impulse_responses(point[None, :], self.turntable.upward("horizontal"))
        return self._played(near.name, response[0], near.drive_v, stimulus)

    def _played(self, name: str, response: Floats, drive_v: float, stimulus: Floats) -> Floats:
        """The stimulus through an amplifier, set so that a steady sine at its peak has `drive_v` RMS."""
        gain = drive_v * np.sqrt(2.0) / self.sweep.peak
        count = len(stimulus) + round(self.tail_s * self.sweep.sample_rate_hz)
        recorded = convolve(gain * response, stimulus, count)
        return recorded + self._background(name, count)

    def _calibrator(self) -> Floats:
        rate = self.sweep.sample_rate_hz
        peak = np.sqrt(2.0) * REFERENCE_PA * 10.0 ** (CALIBRATOR_LEVEL_DB / 20.0)
        time = np.arange(round(CALIBRATOR_S * rate)) / rate
        tone = peak / self.paths.chain.full_scale_pa * np.sin(2.0 * np.pi * CALIBRATOR_HZ * time)
        return np.asarray(tone + self._background(CALIBRATOR, len(time)))

    def _background(self, name: str, count: int) -> Floats:
        generator = np.random.default_rng([self.seed, zlib.crc32(name.encode())])
        return self.noise.samples(generator, count, self.sweep.sample_rate_hz)

    def _calibration(self) -> str:
        """The microphone's calibration at twelfths of an octave."""
        steps = np.arange(np.ceil(12 * np.log2(0.01)), np.floor(12 * np.log2(22.0)) + 1)
        frequencies = 1000.0 * 2.0 ** (steps / 12.0)
        levels = self.paths.microphone.level_db(frequencies)
        lines = [
            "# Measuring microphone, free field, sound from the front",
            "# frequency in Hz, level in dB re 1 kHz",
        ]
        lines += [f"{f:.3f}\t{level:.3f}" for f, level in zip(frequencies, levels, strict=True)]
        return "\n".join(lines) + "\n"

    def _write_wave(self, path: Path, samples: Floats) -> None:
        if np.max(np.abs(samples)) >= 1.0:
            raise ValueError(f"{path.name} would clip; raise the chain's full scale or lower the drive")
        soundfile.write(path, samples, self.sweep.sample_rate_hz, subtype="PCM_24", format="WAV")
