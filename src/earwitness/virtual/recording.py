"""A session: what the reviewer records in the workshop, written as files."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np
import soundfile

from earwitness.virtual.arrays import Floats
from earwitness.virtual.chain import convolve
from earwitness.virtual.files import CALIBRATOR, MICROPHONE, STIMULUS, NearField, Turn
from earwitness.virtual.playing import Player, Playing
from earwitness.virtual.stimulus import Stimulus, Sweep
from earwitness.virtual.turntable import Turntable, View
from earwitness.virtual.workshop import Workshop

CALIBRATOR_LEVEL_DB = 94.0
CALIBRATOR_HZ = 1000.0
CALIBRATOR_S = 3.0
REFERENCE_PA = 20e-6


class Take(Protocol):
    """Something that is recorded at a drive."""

    @property
    def name(self) -> str:
        """Its file's."""

    @property
    def drive_v(self) -> float:
        """Volts RMS of a steady sine at the stimulus' peak."""


@dataclass(frozen=True, slots=True)
class Session:
    """The recordings of one day.

    `tail_s` is how long the recording goes on after the stimulus, `warming_k` by how much the air warms
    evenly from the first take to the last. Each file's noise and the error of its angle have seeds of their
    own, made of `seed` and the file's name, so that a file doesn't depend on which others are written (for a
    box, which is computed in single precision, but for the last of its bits).

    `levels` are takes at other drives, one after the other with `pause_s` between them: coils come to each as
    warm as the one before left them. All other takes begin cold. `player` plays what isn't linear; None for a
    linear loudspeaker.
    """

    workshop: Workshop
    turntable: Turntable
    sweep: Sweep
    turns: tuple[Turn, ...]
    near_fields: tuple[NearField, ...]
    tail_s: float
    seed: int
    warming_k: float = 0.0
    levels: tuple[Turn, ...] = ()
    player: Player | None = None
    pause_s: float = 0.0

    @property
    def takes(self) -> tuple[Turn | NearField, ...]:
        """In the order in which they are recorded."""
        return (*self.turns, *self.near_fields, *self.levels)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all files, in the order in which they are written."""
        return (STIMULUS, CALIBRATOR, MICROPHONE, *(take.name for take in self.takes))

    def record(
        self,
        folder: Path,
        progress: Callable[[int, int], None] | None = None,
        only: Collection[str] | None = None,
        sweep_s: float | None = None,
        stimulus: Stimulus | None = None,
    ) -> list[Path]:
        """Write the files; see `Scenario.record`. Another stimulus may be played in the sweep's place."""
        sweep = self.sweep if sweep_s is None else replace(self.sweep, wanted_s=sweep_s)
        wanted = self.names if only is None else tuple(name for name in self.names if name in only)
        if only is not None and (strange := set(only) - set(wanted)):
            raise ValueError(f"the session has no file called {sorted(strange)[0]!r}; see names")
        folder.mkdir(parents=True, exist_ok=True)
        written = []
        for name, content in self._contents(wanted, stimulus or sweep):
            path = folder / name
            if isinstance(content, str):
                path.write_text(content, encoding="utf-8", newline="\n")
            else:
                self.write_wave(path, content)
            written.append(path)
            if progress is not None:
                progress(len(written), len(wanted))
        return written

    def impulse_responses(self, names: Collection[str]) -> dict[str, Floats]:
        """What those takes' impulse responses are, free of noise, by name in the order of `names`.

        Shape (response_samples,), digital full scale for each volt that the amplifier gives without a load.
        """
        found: dict[str, Floats] = {}
        for takes, view in self._views(names):
            responses = self.workshop.impulse_responses(view, self._temperatures(takes))
            found |= dict(zip((take.name for take in takes), responses, strict=True))
        return found

    def _views(self, names: Collection[str]) -> Iterator[tuple[list[Turn] | list[NearField], View]]:
        """Those takes, far off and close, each with how the loudspeaker sees the room."""
        turns = [turn for turn in (*self.turns, *self.levels) if turn.name in names]
        near = [each for each in self.near_fields if each.name in names]
        place = self.workshop.loudspeaker.in_front_of
        # Close to a ball far more terms count than far off: not for all takes.
        if turns:
            yield turns, View.joined([self._turned(turn) for turn in turns])
        if near:
            yield near, View.joined([View.close(place(each.way, each.gap_m)) for each in near])

    def recordings(self, names: Collection[str], stimulus: Stimulus) -> Iterator[tuple[str, Floats]]:
        """Those takes by name, re full scale, shape (N,), or (N, 2) with the loopback as second channel."""
        if self.player is not None:
            yield from self._played_large(self.player, names, stimulus)
            return
        responses = self.impulse_responses(names)
        for take in self.takes:
            if take.name in responses:
                yield take.name, self.played(take, responses[take.name], stimulus)

    def _played_large(
        self, player: Player, names: Collection[str], stimulus: Stimulus
    ) -> Iterator[tuple[str, Floats]]:
        radiated: dict[str, Floats] = {}
        for takes, view in self._views(names):
            responses = self.workshop.radiated_responses(view, self._temperatures(takes))
            radiated |= dict(zip((take.name for take in takes), responses, strict=True))
        samples = stimulus.samples()
        count = len(samples) + round(self.tail_s * self.workshop.chain.sample_rate_hz)
        moved = Playing(player, samples, stimulus.peak, count, self.pause_s)
        drives = tuple(take.drive_v for take in self.levels)
        for take in self.takes:
            if take.name in radiated:
                played = (
                    moved.at(take.drive_v) if take not in self.levels else moved.after(drives, take.drive_v)
                )
                noise = player.port_noise(played, np.random.default_rng([*self._seed(take.name), 2]))
                heard = moved.heard(played.volume_velocity + noise, radiated[take.name])
                yield take.name, self._with_channel(take.name, heard, samples)

    def _contents(self, wanted: Collection[str], stimulus: Stimulus) -> Iterator[tuple[str, Floats | str]]:
        if STIMULUS in wanted:
            yield STIMULUS, stimulus.samples()
        if CALIBRATOR in wanted:
            yield CALIBRATOR, self._calibrator()
        if MICROPHONE in wanted:
            yield MICROPHONE, self._calibration()
        yield from self.recordings(wanted, stimulus)

    def _turned(self, turn: Turn) -> View:
        error = self.turntable.error_deg(np.random.default_rng([*self._seed(turn.name), 1]))
        return self.turntable.view(turn.orbit, np.array([turn.angle_deg + error]))

    def _temperatures(self, takes: Sequence[Turn | NearField]) -> Floats | None:
        if not self.warming_k:
            return None
        all_takes = self.takes
        share = np.array([all_takes.index(take) for take in takes]) / max(len(all_takes) - 1, 1)
        return np.asarray(self.workshop.air.temperature_c + self.warming_k * share)

    def played(self, take: Take, response: Floats, stimulus: Stimulus) -> Floats:
        """The stimulus through an amplifier, set so that a steady sine at its peak has `drive_v` RMS."""
        chain, samples = self.workshop.chain, stimulus.samples()
        gain = take.drive_v * np.sqrt(2.0) / stimulus.peak
        count = len(samples) + round(self.tail_s * chain.sample_rate_hz)
        return self._with_channel(take.name, convolve(gain * response, samples, count), samples)

    def _with_channel(self, name: str, heard: Floats, samples: Floats) -> Floats:
        """What is heard with its background, and the loopback where there is one."""
        chain, count = self.workshop.chain, len(heard)
        recorded = heard + self._background(name, count)
        if not chain.loopback:
            return recorded
        return np.stack([recorded, chain.looped(samples, count)], axis=-1)

    def _calibrator(self) -> Floats:
        rate = self.workshop.chain.sample_rate_hz
        peak = np.sqrt(2.0) * REFERENCE_PA * 10.0 ** (CALIBRATOR_LEVEL_DB / 20.0)
        time = np.arange(round(CALIBRATOR_S * rate)) / rate
        tone = peak / self.workshop.chain.full_scale_pa * np.sin(2.0 * np.pi * CALIBRATOR_HZ * time)
        return np.asarray(tone + self._background(CALIBRATOR, len(time)))

    def _seed(self, name: str) -> list[int]:
        return [self.seed, zlib.crc32(name.encode())]

    def _background(self, name: str, count: int) -> Floats:
        generator = np.random.default_rng(self._seed(name))
        return self.workshop.noise.samples(generator, count, self.workshop.chain.sample_rate_hz)

    def _calibration(self) -> str:
        """The microphone's calibration at twelfths of an octave."""
        steps = np.arange(np.ceil(12 * np.log2(0.01)), np.floor(12 * np.log2(22.0)) + 1)
        frequencies = 1000.0 * 2.0 ** (steps / 12.0)
        levels = self.workshop.microphone.level_db(frequencies)
        lines = [
            "# Measuring microphone, free field, sound from the front",
            "# frequency in Hz, level in dB re 1 kHz",
        ]
        lines += [f"{f:.3f}\t{level:.3f}" for f, level in zip(frequencies, levels, strict=True)]
        return "\n".join(lines) + "\n"

    def write_wave(self, path: Path, samples: Floats) -> None:
        """Samples re full scale as a file; ValueError where they don't fit in it."""
        if np.max(np.abs(samples)) >= 1.0:
            raise ValueError(f"{path.name} would clip; raise the chain's full scale or lower the drive")
        rate = self.workshop.chain.sample_rate_hz
        soundfile.write(path, samples, rate, subtype="PCM_24", format="WAV")
