"""An impulse response as it is kept between a recording and its reduction."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.heard import HEARD_VALUES, Heard
from earwitness.measurement.order_responses import OrderResponses, order_values
from earwitness.records.errors import CallError, IntegrityError, ReadError
from earwitness.records.takes import Drive, Take

Float32s = npt.NDArray[np.float32]

#: How much of a response is kept up to 48 kHz: a third of a second or more. At higher rates it is as long.
KEPT_SAMPLES: Final = 2**14
KEPT_AT_HZ: Final = 48_000
#: How much of what is kept lies before the greatest peak.
KEPT_BEFORE_PART: Final = 0.25
#: The longest stretch from which noise is taken, re what is kept.
NOISE_PART: Final = 0.5

_HEADER: Final = struct.Struct("<4s5I5d")
_MAGIC: Final = b"EWI5"


def kept_samples(sample_rate_hz: float) -> int:
    """How many samples are kept at a rate: 2^14 up to 48 kHz, 2^15 up to 96 kHz, and so on."""
    return int(KEPT_SAMPLES * 2 ** max(0, np.ceil(np.log2(sample_rate_hz / KEPT_AT_HZ))))


def kept_before(sample_rate_hz: float) -> int:
    """How many of them lie before the greatest peak."""
    return int(KEPT_BEFORE_PART * kept_samples(sample_rate_hz))


def noise_samples(sample_rate_hz: float) -> int:
    """How many samples of noise are kept at most."""
    return int(NOISE_PART * kept_samples(sample_rate_hz))


@dataclass(frozen=True)
class ImpulseResponse:
    """What the microphone's chain records per unit of drive, in time.

    Attributes
    ----------
    samples
        Shape (N,), float32, N ≤ `kept_samples`: full scale RMS per volt RMS (or per digital full scale of a
        sine, or per 0 dBu); in pascals instead of full scale where the take states ``read.pa_per_unit``.
    start_s
        The time of sample 0 after the stimulus' first sample, or after the loopback's arrival where the
        take has one; after the file's own first sample for a response that came as a file.
    noise
        Shape (M,), float32: a stretch before any sound of the loudspeaker arrives, or of a recording of
        silence (`noise_is_silence`) as the same sweep would have it, in the same unit; empty where it can't
        be told.
    band_hz
        The band that the sweep fills; outside it the response is no measurement.
    heard
        What the recording itself tells; None for a response that came as a file.
    orders
        The orders of its distortion, where they are looked at (`order_responses.tells_orders`).
    rate_s
        How long the sweep takes for a factor e in frequency; None for a response that came as a file.
    """

    samples: Float32s
    sample_rate_hz: float
    start_s: float
    noise: Float32s
    band_hz: tuple[float, float]
    heard: Heard | None = None
    orders: OrderResponses | None = None
    rate_s: float | None = None
    noise_is_silence: bool = False

    @property
    def end_s(self) -> float:
        """The time after the last sample, counted as `start_s`."""
        return self.start_s + self.samples.size / self.sample_rate_hz

    def to_bytes(self) -> bytes:
        """A compact form in which the same response has the same bytes."""
        told = np.empty(0) if self.heard is None else self.heard.to_array()
        orders = np.empty(0) if self.orders is None else self.orders.to_array()
        head = _HEADER.pack(
            _MAGIC,
            self.samples.size,
            self.noise.size,
            told.size,
            orders.size,
            int(self.noise_is_silence),
            self.sample_rate_hz,
            self.start_s,
            *self.band_hz,
            self.rate_s or 0.0,
        )
        return head + b"".join(
            part.astype("<f4").tobytes() for part in (self.samples, self.noise, told, orders)
        )

    @classmethod
    def from_bytes(cls, data: bytes) -> ImpulseResponse:
        """The response that `to_bytes` wrote; anything else raises `IntegrityError`."""
        if len(data) < _HEADER.size or data[:4] != _MAGIC:
            raise _damaged()
        _, n, m, told, orders, silent, rate, start, low, high, pace = _HEADER.unpack_from(data)
        if len(data) != _HEADER.size + 4 * (n + m + told + orders):
            raise _damaged()
        if told not in (0, HEARD_VALUES) or orders not in (0, order_values()):
            raise _damaged()
        values = np.frombuffer(data, dtype="<f4", offset=_HEADER.size).astype(np.float32)
        heard = Heard.from_array(values[n + m : n + m + told]) if told else None
        separated = OrderResponses.from_array(values[n + m + told :]) if orders else None
        noise = values[n : n + m]
        return cls(values[:n], rate, start, noise, (low, high), heard, separated, pace or None, bool(silent))


def _damaged() -> IntegrityError:
    return IntegrityError("build", "a kept impulse response is damaged", "build again")


def drive_of(take: Take) -> Drive:
    """The drive of a take.

    Raises
    ------
    ReadError
        It isn't stated.
    """
    if take.key.drive is None:
        raise ReadError(take.path, "has no drive stated", "give it in takes.toml")
    return take.key.drive


def drive_units(drive: Drive) -> float:
    """A drive in the unit that responses are per: volts RMS, or parts of full scale or of 0 dBu."""
    units = drive.amplitude
    if not units > 0.0:
        raise CallError(f"a drive of {drive.label} can't be divided by; correct it in takes.toml")
    return units
