"""Recordings of a sweep, and the impulse responses in them."""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import sweeps
from earwitness.measurement.readers.audio import read_recording
from earwitness.measurement.readers.contents import Recording
from earwitness.records.errors import CallError, IntegrityError, ReadError
from earwitness.records.takes import Drive, Take, TakeKind

Float32s = npt.NDArray[np.float32]

#: Kinds that hold a recording of a sweep.
RECORDED: Final = frozenset({TakeKind.SWEEP, TakeKind.NEAR_FIELD})
BLOCK: Final = 8
#: How much of a response is kept, and how much of that lies before its greatest peak.
KEPT_SAMPLES: Final = 2**14
KEPT_BEFORE: Final = 2**12
#: Noise is taken from a stretch that ends so many periods of the band's lower edge before the peak, since
#: that edge rings before the arrival too, and is at most so long. Where harmonics come sooner, gap and
#: stretch keep to these parts of the time between the second harmonic and the peak.
NOISE_GAP_PERIODS: Final = 6.0
NOISE_SAMPLES: Final = 2**13
NOISE_GAP_PART: Final = 0.35
NOISE_PART: Final = 0.5

_HEADER: Final = struct.Struct("<4s2I4d")
_MAGIC: Final = b"EWI1"


@dataclass(frozen=True)
class ImpulseResponse:
    """What the microphone's chain records per unit of drive, in time.

    Attributes
    ----------
    samples
        Shape (N,), float32: full scale RMS per volt RMS (or per digital full scale of a sine), N ≤ 2^14.
    start_s
        The time of sample 0 after the stimulus' first sample.
    noise
        Shape (M,), float32: a stretch before any sound of the loudspeaker arrives, in the same unit.
    band_hz
        The band that the sweep fills; outside it the response is no measurement.
    """

    samples: Float32s
    sample_rate_hz: float
    start_s: float
    noise: Float32s
    band_hz: tuple[float, float]

    def to_bytes(self) -> bytes:
        """A compact form in which the same response has the same bytes."""
        head = _HEADER.pack(
            _MAGIC, self.samples.size, self.noise.size, self.sample_rate_hz, self.start_s, *self.band_hz
        )
        return head + self.samples.astype("<f4").tobytes() + self.noise.astype("<f4").tobytes()

    @classmethod
    def from_bytes(cls, data: bytes) -> ImpulseResponse:
        """The response that `to_bytes` wrote; anything else raises `IntegrityError`."""
        if len(data) < _HEADER.size or data[:4] != _MAGIC:
            raise _damaged()
        _, n, m, rate, start, low, high = _HEADER.unpack_from(data)
        if len(data) != _HEADER.size + 4 * (n + m):
            raise _damaged()
        values = np.frombuffer(data, dtype="<f4", offset=_HEADER.size).astype(np.float32)
        return cls(values[:n], rate, start, values[n:], (low, high))


def _damaged() -> IntegrityError:
    return IntegrityError("build", "a kept impulse response is damaged", "build again")


@dataclass(frozen=True)
class _Stimulus:
    """A sweep as it was played, and what of it every recording needs."""

    name: str
    samples: Float32s
    sample_rate_hz: int
    band_hz: tuple[float, float]
    rate_s: float

    @property
    def peak(self) -> float:
        return float(np.max(np.abs(self.samples)))


def deconvolve(raw: Path, takes: Sequence[Take]) -> Iterator[tuple[Take, ImpulseResponse]]:
    """Impulse responses of the recordings among `takes`, block by block.

    Takes that share a stimulus and a length go through together, eight at a time; the result of a take
    doesn't depend on its neighbours. Takes of other kinds are passed over.

    Parameters
    ----------
    raw
        The folder that the takes' paths are relative to.

    Raises
    ------
    ReadError
        A recording or stimulus can't be read, isn't a sweep, or their sample rates differ.
    """
    by_stimulus: dict[str, list[Take]] = {}
    for take in sorted((t for t in takes if t.key.kind in RECORDED), key=lambda t: t.id):
        if take.stimulus is None:
            raise ReadError(take.path, "has no stimulus stated", "name it in takes.toml")
        by_stimulus.setdefault(take.stimulus, []).append(take)
    for name, group in by_stimulus.items():
        stimulus = _read_stimulus(raw, name)
        inverses: dict[int, npt.NDArray[np.complex64]] = {}
        for start in range(0, len(group), BLOCK):
            block = group[start : start + BLOCK]
            yield from _deconvolve_block(raw, block, stimulus, inverses)


def _read_stimulus(raw: Path, name: str) -> _Stimulus:
    recording = read_recording(raw / name, name, may_touch_full_scale=True)
    samples = recording.samples[0]
    try:
        band, rate = sweeps.band_and_rate(samples, recording.sample_rate_hz)
    except sweeps.NotASweepError as error:
        raise ReadError(name, f"is no exponential sweep: {error}", "add the sweep that was played") from error
    return _Stimulus(name, samples, recording.sample_rate_hz, band, rate)


def _deconvolve_block(
    raw: Path, block: Sequence[Take], stimulus: _Stimulus, inverses: dict[int, npt.NDArray[np.complex64]]
) -> Iterator[tuple[Take, ImpulseResponse]]:
    recordings = [_read_answer(raw, take, stimulus) for take in block]
    lengths = [sweeps.block_length(r.samples.shape[1], stimulus.samples.size) for r in recordings]
    responses: list[ImpulseResponse | None] = [None] * len(block)
    for length in sorted(set(lengths)):
        rows = [i for i, n in enumerate(lengths) if n == length]
        if length not in inverses:
            inverses[length] = sweeps.inverse_filter(
                stimulus.samples, stimulus.sample_rate_hz, stimulus.band_hz, length
            )
        stacked = np.zeros((len(rows), length), dtype=np.float32)
        for row, i in enumerate(rows):
            stacked[row, : recordings[i].samples.shape[1]] = recordings[i].samples[0]
        whole = sweeps.deconvolve(stacked, inverses[length], length)
        for row, i in enumerate(rows):
            responses[i] = _kept(whole[row], stimulus, _drive_of(block[i]))
    for take, response in zip(block, responses, strict=True):
        if response is not None:
            yield take, response


def _read_answer(raw: Path, take: Take, stimulus: _Stimulus) -> Recording:
    recording = read_recording(raw / take.path, take.path)
    if recording.sample_rate_hz != stimulus.sample_rate_hz:
        problem = f"was recorded at {recording.sample_rate_hz} Hz, and its stimulus"
        raise ReadError(
            take.path,
            f"{problem} {stimulus.name} has {stimulus.sample_rate_hz} Hz",
            "use one sample rate for both",
        )
    if recording.samples.shape[1] < stimulus.samples.size // 2:
        raise ReadError(take.path, "is shorter than half its stimulus", "record the whole sweep again")
    return recording


def _drive_of(take: Take) -> Drive:
    if take.key.drive is None:
        raise ReadError(take.path, "has no drive stated", "give it in takes.toml")
    return take.key.drive


def drive_units(drive: Drive) -> float:
    """A drive in the unit that responses are per: volts RMS, or parts of a full-scale sine."""
    units = drive.value if drive.unit == "V" else 10.0 ** (drive.value / 20.0)
    if not units > 0.0:
        raise CallError(f"a drive of {drive.label} can't be divided by; correct it in takes.toml")
    return units


def _kept(whole: Float32s, stimulus: _Stimulus, drive: Drive) -> ImpulseResponse:
    """The part about the linear response's peak, scaled to a unit of drive, and noise from before it.

    The recording holds peak·√2⁻¹ full scale RMS of stimulus per `drive`, for a sine.
    """
    length, rate = whole.size, stimulus.sample_rate_hz
    peak = int(np.argmax(np.abs(whole[: length // 2])))
    scale = np.float32(stimulus.peak / np.sqrt(2.0) / drive_units(drive))
    kept = np.arange(peak - KEPT_BEFORE, peak - KEPT_BEFORE + min(KEPT_SAMPLES, length // 2))
    lead = sweeps.harmonic_lead_s(stimulus.rate_s, 2)
    gap = round(min(NOISE_GAP_PERIODS / stimulus.band_hz[0], NOISE_GAP_PART * lead) * rate)
    count = min(NOISE_SAMPLES, round(NOISE_PART * lead * rate), length // 4)
    noise = np.arange(peak - gap - count, peak - gap)
    return ImpulseResponse(
        samples=whole[kept % length] * scale,
        sample_rate_hz=float(rate),
        start_s=float(kept[0]) / rate,
        noise=whole[noise % length] * scale,
        band_hz=stimulus.band_hz,
    )
