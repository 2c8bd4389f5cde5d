"""Steady tones played in the virtual workshop, and what is true of them by a period of their own.

A recording is of all that was played, with its beginning and end, in the hall at 8 kHz; the truth is of one
second that repeats for ever, solved by itself, through the same room, free of noise.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import soundfile
from made_runs import RATE_HZ, rig_text

from earwitness.acoustics import signals
from earwitness.virtual.scenario import FOLDER, Scenario, from_text

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int_]

AMBIENT_PA: Final = 0.0008
LOW_HZ, HIGH_HZ = 50, 430


def second_of(bins: Ints, lowest_db: float = 0.0) -> Floats:
    """A second of tones, of RMS value 1."""
    return signals.multitone(bins, RATE_HZ, 3, lowest_db=lowest_db)


MANY: Final = signals.multitone_bins(32.0, 3150.0, 21, RATE_HZ, RATE_HZ)
TWO: Final = np.array([LOW_HZ, HIGH_HZ])


@dataclass(frozen=True)
class Tones:
    """A second (N,) again and again, with silence about it; the drive is the RMS value of all of it."""

    second: Floats
    seconds: int = 5

    @property
    def peak(self) -> float:
        """Of a sine of its RMS value."""
        return float(0.1 * np.sqrt(2.0))

    def samples(self) -> Floats:
        """Shape (M,), re full scale."""
        silence = np.zeros(RATE_HZ // 4)
        return np.concatenate([silence, 0.1 * np.tile(self.second, self.seconds), silence])


def hall(name: str = "ladle", ambient_pa: float = AMBIENT_PA, **instead: float) -> Scenario:
    """A scenario in the hall at 8 kHz, its coils kept cold, with some of its numbers replaced.

    A coil that warms makes no two seconds alike, and a second that repeats for ever has no such thing.
    """
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    text = re.sub(r"\[enclosures\.drive_units\.heating\]\n(?:[^\[\n]+\n)+", "", text)
    for key, value in instead.items():
        lines = text.splitlines()
        place = next(i for i, line in enumerate(lines) if line.startswith(f"{key} = "))
        lines[place] = f"{key} = {value}"
        text = "\n".join(lines)
    return from_text(name, text, rig_text(ambient_pa))


def recorded(scenario: Scenario, folder: Path, second: Floats, drive_v: float) -> str:
    """The stimulus, and a recording on axis at a drive; its name."""
    session, tones = scenario.session, Tones(second)
    turn = session.turns[0]
    soundfile.write(folder / "stimulus.wav", tones.samples(), RATE_HZ, subtype="PCM_24")
    assert session.player is not None
    played = session.player.play(_volts(scenario, tones, drive_v))
    heard = np.einsum(
        "cf,cf->f", played.volume_velocity, np.fft.rfft(responses(scenario), _length(scenario, tones))
    )
    samples = np.fft.irfft(heard, _length(scenario, tones))[: len(tones.samples()) + RATE_HZ // 2]
    noise = session.workshop.noise.samples(
        np.random.default_rng([5, round(1e3 * drive_v)]), samples.size, RATE_HZ
    )
    name = f"{turn.orbit}_{drive_v:g}V.wav"
    soundfile.write(folder / name, samples + noise, RATE_HZ, subtype="PCM_24")
    return name


def _length(scenario: Scenario, tones: Tones) -> int:
    assert scenario.session.player is not None
    return scenario.session.player.period_samples(len(tones.samples()) + RATE_HZ // 2)


def _volts(scenario: Scenario, tones: Tones, drive_v: float) -> Floats:
    whole = np.zeros(_length(scenario, tones))
    samples = tones.samples()
    whole[: samples.size] = samples * (drive_v / 0.1)
    return whole


def responses(scenario: Scenario) -> Floats:
    """From each radiator to the recording (C, M)."""
    session = scenario.session
    return np.asarray(session.workshop.radiated_responses(session._turned(session.turns[0]))[0])


def silent(scenario: Scenario, folder: Path, name: str = "noise.wav", hum_pa: float = 0.0) -> None:
    """Three seconds of the hall alone."""
    count = 3 * RATE_HZ
    noise = scenario.session.workshop.noise.samples(np.random.default_rng(77), count, RATE_HZ)
    soundfile.write(folder / name, noise + hum(count, hum_pa, scenario), RATE_HZ, subtype="PCM_24")


def hum(count: int, pa: float, scenario: Scenario) -> Floats:
    """Of 100 Hz, RMS in Pa."""
    full = scenario.session.workshop.chain.full_scale_pa
    return np.asarray(pa * np.sqrt(2.0) / full * np.sin(2.0 * np.pi * 100.0 * np.arange(count) / RATE_HZ))


def truth(scenario: Scenario, second: Floats, drive_v: float) -> Floats:
    """Mean square of each line of one steady second (K,), re full scale, free of noise."""
    assert scenario.session.player is not None
    assert scenario.session.player.period_samples(RATE_HZ) == RATE_HZ
    moved = scenario.session.player.play(second * drive_v)
    # a response that is longer than the second goes on in the next one, which is the same
    heard = responses(scenario)
    folded = (
        np.pad(heard, ((0, 0), (0, -heard.shape[1] % RATE_HZ))).reshape(len(heard), -1, RATE_HZ).sum(axis=1)
    )
    through = np.fft.rfft(folded)
    lines = np.einsum("cf,cf->f", moved.volume_velocity, through)
    return np.asarray(2.0 * np.abs(lines / RATE_HZ) ** 2)
