"""Responses as text files: what a rig hands on that keeps no recordings.

A response is the recording divided by what was played, gated or not, at the stated frequencies: level as
sound pressure at the microphone's place for the take's drive, and phase by e^(+jωt). It holds the recording's
noise. How the numbers are written is the dialect.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np
import scipy.fft

from earwitness.virtual.arrays import Complexes, Floats
from earwitness.virtual.recording import REFERENCE_PA, Session

Column = Literal["frequency", "level", "phase"]
#: What is divided by is at least so much of the stimulus' strongest bin, as a power.
FLOOR: Final = 1e-10
#: Samples to a block of `spectrum_at`.
BLOCK: Final = 256


@dataclass(frozen=True, slots=True)
class Gate:
    """What of an impulse response is kept: from `before_s` before its peak to `after_s` behind it.

    The last `fade` of the part behind the peak falls as half a Hann window.
    """

    after_s: float
    before_s: float = 0.002
    fade: float = 0.25

    def window(self, count: int, arrival: int, sample_rate_hz: int) -> Floats:
        """Weights, shape (count,), for a peak at the sample `arrival`."""
        time = (np.arange(count) - arrival) / sample_rate_hz
        fading = np.clip((self.after_s - time) / (self.fade * self.after_s), 0.0, 1.0)
        return np.where(time >= -self.before_s, np.sin(np.pi / 2.0 * fading) ** 2, 0.0)


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a response is written.

    Attributes
    ----------
    columns, digits
        What stands in each line, and with how many digits behind the decimal sign.
    heading
        Names of the columns, in a line of their own; none where empty.
    notes
        Lines at the top, each behind `comment`.
    first_hz, last_hz, points_per_octave
        Frequencies in equal steps of the logarithm.
    suffix
        Of the file, in place of ``.wav``.
    """

    separator: str = "\t"
    decimal: Literal[".", ","] = "."
    columns: tuple[Column, ...] = ("frequency", "level", "phase")
    digits: tuple[int, ...] = (3, 3, 2)
    heading: tuple[str, ...] = ()
    comment: str = "# "
    notes: tuple[str, ...] = ()
    newline: Literal["\n", "\r\n"] = "\n"
    encoding: str = "utf-8"
    suffix: str = ".txt"
    first_hz: float = 20.0
    last_hz: float = 20_000.0
    points_per_octave: int = 48

    def __post_init__(self) -> None:
        if self.separator == self.decimal or len(self.digits) < len(self.columns):
            raise ValueError("a dialect tells its decimal sign from its separator, and has digits by column")

    def frequencies(self) -> Floats:
        """Shape (F,), from the first as far as the last, hertz."""
        octaves = np.log2(self.last_hz / self.first_hz)
        steps = np.arange(int(octaves * self.points_per_octave + 1e-9) + 1)
        return np.asarray(self.first_hz * 2.0 ** (steps / self.points_per_octave))

    def text(self, table: Floats) -> str:
        """Lines for a table (F, 3) of frequency in Hz, level in dB, phase in degrees."""
        chosen = [("frequency", "level", "phase").index(column) for column in self.columns]
        lines = [self.comment + note for note in self.notes]
        lines += [self.separator.join(self.heading)] if self.heading else []
        for row in table[:, chosen]:
            cells = (f"{value:.{digits}f}" for value, digits in zip(row, self.digits, strict=False))
            lines.append(self.separator.join(cell.replace(".", self.decimal) for cell in cells))
        return self.newline.join(lines) + self.newline


@dataclass(frozen=True, slots=True)
class Export:
    """The takes of a session as responses in text files.

    Attributes
    ----------
    session, dialect
    gate
        None for the whole response.
    corrected
        Whether the microphone's own level is taken out.
    time_zero
        What phase counts from: the start of the recording, that of the sound (the electronics' latency taken
        out, as a loopback does), or the peak of the impulse response.
    """

    session: Session
    dialect: Dialect
    gate: Gate | None = None
    corrected: bool = True
    time_zero: Literal["recording", "sound", "peak"] = "sound"

    def write(self, folder: Path, only: Collection[str] | None = None) -> list[Path]:
        """One file a take, whose name is the recording's with the dialect's suffix; the paths written.

        `only` names the recordings that are wanted, as `Session.names` has them.
        """
        folder.mkdir(parents=True, exist_ok=True)
        wanted = [take.name for take in self.session.takes if only is None or take.name in only]
        written = []
        for name, samples in self.session.recordings(wanted, self.session.sweep):
            path = (folder / name).with_suffix(self.dialect.suffix)
            text = self.dialect.text(self.table(samples))
            path.write_text(text, encoding=self.dialect.encoding, newline="")
            written.append(path)
        return written

    def table(self, recording: Floats) -> Floats:
        """Frequency in Hz, level in dB re 20 µPa, phase in degrees (F, 3) of a recording (N,) or (N, 2)."""
        workshop, sweep = self.session.workshop, self.session.sweep
        rate = workshop.chain.sample_rate_hz
        response = divided(recording if recording.ndim == 1 else recording[:, 0], sweep.samples())
        arrival = int(np.argmax(np.abs(response)))
        if self.gate is not None:
            response = response * self.gate.window(len(response), arrival, rate)
        frequencies = self.dialect.frequencies()
        zero = {"recording": 0.0, "sound": workshop.chain.latency_s, "peak": arrival / rate}[self.time_zero]
        pressure = spectrum_at(response, frequencies / rate) * np.exp(2j * np.pi * frequencies * zero)
        pressure *= sweep.peak / np.sqrt(2.0) * workshop.chain.full_scale_pa
        level = 20.0 * np.log10(np.abs(pressure) / REFERENCE_PA)
        if self.corrected:
            level -= workshop.microphone.level_db(frequencies)
        return np.stack([frequencies, level, np.degrees(np.angle(pressure))], axis=-1)


def divided(recording: Floats, stimulus: Floats) -> Floats:
    """The impulse response between them, as long as the recording (N,) outlasts the stimulus (M,)."""
    size = scipy.fft.next_fast_len(len(recording) + len(stimulus), real=True)
    played = scipy.fft.rfft(stimulus, size)
    power = np.abs(played) ** 2
    inverse = np.conj(played) / (power + FLOOR * power.max())
    whole = scipy.fft.irfft(scipy.fft.rfft(recording, size) * inverse, size)
    return np.asarray(whole[: len(recording) - len(stimulus) + 1])


def spectrum_at(samples: Floats, turns: Floats) -> Complexes:
    """Fourier transform of samples (N,) at any frequencies (F,), in turns a sample."""
    blocks = np.pad(samples, (0, -len(samples) % BLOCK)).reshape(-1, BLOCK)
    within = np.exp(-2j * np.pi * np.outer(np.arange(BLOCK), turns))
    between = np.exp(-2j * np.pi * np.outer(BLOCK * np.arange(len(blocks)), turns))
    return np.asarray(np.sum(between * (blocks @ within), axis=0))
