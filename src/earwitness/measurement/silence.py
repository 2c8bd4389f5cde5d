"""The case's recording of silence: the room and the equipment alone, before what is recorded in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.readers.signals import read_sounds
from earwitness.records.takes import Take, TakeKind

#: A recording of silence counts from this length on.
LEAST_S: Final = 2.0
OF_SILENCE: Final = "Noise is that of the recording of silence."
OF_BOTH: Final = (
    "Noise is that of the recording of silence; where a sweep's recording has another (by 3 dB and more), it "
    "is its own."
)
OF_SWEEPS: Final = (
    "Noise is that of each sweep's own recording; the recording of silence differs from it by 3 dB and more, "
    "is too short, or has another sample rate."
)


@dataclass(frozen=True)
class Silence:
    """Its take, and samples (n,) re full scale."""

    take: Take
    samples: npt.NDArray[np.float32]


def silence(raw: Path, takes: Sequence[Take], sample_rate_hz: int) -> Silence | None:
    """The first of kind `noise` that lasts for two seconds or more at that sample rate; None without one.

    Raises
    ------
    ReadError
        Such a recording can't be read.
    """
    for take in silences(takes):
        (recording,) = read_sounds(raw, [take])
        samples = recording.samples[0]
        if recording.sample_rate_hz == sample_rate_hz and samples.size >= LEAST_S * sample_rate_hz:
            return Silence(take, np.asarray(samples))
    return None


def silences(takes: Sequence[Take]) -> tuple[Take, ...]:
    """Those of kind `noise`, in the order in which they are tried."""
    return tuple(sorted((t for t in takes if t.key.kind is TakeKind.NOISE), key=lambda t: t.id))


def said_of_silence(responses: Sequence[ImpulseResponse], takes: Sequence[Take]) -> tuple[str, ...]:
    """A note on where the noise of sweeps comes from; none where a case has no recording of silence."""
    used = [one.noise_is_silence for one in responses if one.rate_s is not None]
    if not used or not silences(takes):
        return ()
    if all(used):
        return (OF_SILENCE,)
    return (OF_BOTH if any(used) else OF_SWEEPS,)
