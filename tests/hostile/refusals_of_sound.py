"""Sound that no response can be made of."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import soundfile
from hostile.refusal import Make, Refusal, holding

NAME: Final = "horizontal_+030_2.83V.wav"
TONE: Final[npt.NDArray[np.float64]] = 0.5 * np.sin(0.1 * np.arange(4_800))
RATE_HZ: Final = 48_000


def encoded(
    samples: npt.NDArray[np.float64] = TONE,
    subtype: str = "PCM_24",
    kind: str = "WAV",
    rate_hz: int = RATE_HZ,
) -> bytes:
    """A sound file's bytes."""
    stream = io.BytesIO()
    soundfile.write(stream, samples, rate_hz, subtype=subtype, format=kind)
    return stream.getvalue()


def _with(value: float, *at: int) -> npt.NDArray[np.float64]:
    samples = TONE.copy()
    samples[list(at)] = value
    return samples


def _cut_flac(folder: Path) -> Path:
    noise = 0.1 * np.random.default_rng(0).standard_normal(48_000)
    content = encoded(noise, kind="FLAC")
    return holding(content[: len(content) // 2], NAME.replace("wav", "flac"))(folder)


def _claiming(length: int) -> Make:
    """A WAV whose data are said to be so many bytes long."""
    content = bytearray(encoded())
    place = content.index(b"data") + 4
    content[place : place + 4] = length.to_bytes(4, "little")
    return holding(bytes(content), NAME)


SOUND: Final = (
    Refusal(
        "sound that was cut short",
        holding(encoded()[:-3_000], NAME),
        "horizontal_+030_2.83V.wav: is cut short: 11400 of 14400 bytes are there; copy the whole file again",
    ),
    Refusal(
        "FLAC that was cut short",
        _cut_flac,
        "horizontal_+030_2.83V.flac: is cut short or damaged: its sound isn't what was "
        "coded; copy the whole file again",
    ),
    Refusal(
        "a header that claims more than there is",
        _claiming(2**31 - 8),
        "horizontal_+030_2.83V.wav: is cut short: 14400 of 2147483640 bytes are there; "
        "copy the whole file again",
    ),
    Refusal(
        "clipped sound",
        holding(encoded(_with(1.0, 1_000, 1_001, 1_002)), NAME),
        "horizontal_+030_2.83V.wav: sample 1000: is clipped; lower the recording level and record it again",
    ),
    Refusal(
        "silence",
        holding(encoded(np.zeros(4_800)), NAME),
        "horizontal_+030_2.83V.wav: is silent; check what is connected to it and record it again",
    ),
    Refusal(
        "a sample that is no number",
        holding(encoded(_with(np.nan, 77), "FLOAT"), NAME),
        "horizontal_+030_2.83V.wav: sample 77: is not a number; export or record it again",
    ),
    Refusal(
        "an infinite sample",
        holding(encoded(_with(np.inf, 77), "DOUBLE"), NAME),
        "horizontal_+030_2.83V.wav: sample 77: is not a number; export or record it again",
    ),
    Refusal(
        "a sample rate that no recorder has",
        holding(encoded(rate_hz=4_000), NAME),
        "horizontal_+030_2.83V.wav: has a sample rate of 4000 Hz; record it with 8 kHz to 768 kHz",
    ),
    Refusal(
        "two channels, and nobody says which",
        holding(encoded(np.c_[TONE, -TONE]), NAME),
        "horizontal_+030_2.83V.wav: which of channel 1, channel 2 is the microphone's "
        "isn't said; read.microphone states it; state --read microphone=1 or the like, "
        "or write an entry in takes.toml with its selector",
    ),
    Refusal(
        "sound that isn't plain samples",
        holding(encoded(subtype="ULAW"), NAME),
        "horizontal_+030_2.83V.wav: is coded as µ-law, not as plain samples; export linear PCM or float",
    ),
    Refusal(
        "text that is called WAV",
        holding("20 80\n30 81\n", NAME),
        "horizontal_+030_2.83V.wav: is neither WAV, AIFF nor FLAC inside; export it as one of these",
    ),
    Refusal(
        "a header and no sound",
        holding(b"RIFF\x00\x00\x00\x00WAVEfmt ", NAME),
        "horizontal_+030_2.83V.wav: has no sound data; export or record it again",
    ),
)
