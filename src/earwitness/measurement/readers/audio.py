"""Sound as files: WAV, RF64, AIFF, AIFC and FLAC, linear PCM of 8 to 32 bits or float, one or more channels.

Each channel of a file is a part of it: ``channel 1`` and so on, or the file itself (an empty selector) where
it has one channel or all of them are the same. A channel that isn't used may be silent or clipped; one that
is used may not.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import damage
from earwitness.measurement.readers import audio_containers, audio_flac, electrical_options
from earwitness.measurement.readers.contents import (
    SAMPLE_RATES_HZ,
    Contents,
    Form,
    Part,
    Recording,
    Source,
)
from earwitness.measurement.readers.files import require_regular
from earwitness.measurement.readers.options import whole_number
from earwitness.measurement.readers.sound_options import (
    IMPULSE_RESPONSE,
    PA_PER_UNIT,
    SWEEP_FROM,
    SWEEP_RATE,
    SWEEP_TO,
    require_possible,
)
from earwitness.records.errors import ReadError

Float32s = npt.NDArray[np.float32]

MAX_BYTES: Final = 2**27
MAX_FRAMES: Final = 2**25
MAX_CHANNELS: Final = 64
#: Frames times channels.
MAX_SAMPLES: Final = 2**25
#: So many neighbouring samples at full scale are clipping; a peak that just touches it has fewer.
CLIPPED_RUN: Final = 3
#: Floats are clipped where a converter of so many bits would be; a file that goes beyond full scale isn't.
FLOAT_CLIPS_AT_BITS: Final = 16
#: Quieter than this in its peak, a recording is silence (−120 dB re full scale).
SILENCE: Final = 1e-6

#: The roles that ``read`` may state.
LOOPBACK: Final = "loopback"
MICROPHONE: Final = "microphone"


class AudioReader:
    """The reader of sound."""

    name = "audio"
    suffixes = frozenset({".aif", ".aifc", ".aiff", ".flac", ".rf64", ".wav", ".wave"})
    level_option = ""
    options: Mapping[str, str] = {
        MICROPHONE: "the channel of the microphone, where the others are something else",
        LOOPBACK: "the channel that recorded the stimulus itself, by wire: time counts from its arrival",
        IMPULSE_RESPONSE: "true for a near field that is an impulse response and no recording of a sweep",
        **electrical_options.OPTIONS,
        PA_PER_UNIT: "for an impulse response: the pascals that a sample of 1 stands for",
        SWEEP_FROM: "for a stimulus: the hertz at which its sweep begins, after its fade; with the other two",
        SWEEP_TO: "for a stimulus: the hertz at which its sweep ends, before its fade",
        SWEEP_RATE: "for a stimulus: the seconds in which its sweep rises by the factor e",
    }

    def look(self, source: Source) -> Contents:
        """What the file holds."""
        require_possible(source)
        with _opened(source) as stored:
            channels = _candidates(source, stored)
            faults = {c: _fault(source, stored, c) for c in channels}
            same = len(channels) > 1 and _all_same(stored, channels)
        broken = [fault for fault in faults.values() if fault is not None]
        if broken and (same or len(broken) == len(channels)):
            raise broken[0]
        if same or stored.channels == 1:
            parts: tuple[Part, ...] = (Part(),)
        else:
            parts = tuple(Part(selector_of(c)) for c in channels)
        remarks = ["all channels are the same"] if same else []
        remarks += [f"{selector_of(c)} {fault.problem}" for c, fault in faults.items() if fault is not None]
        return Contents(
            Form.SOUND, parts, remark="; ".join(remarks), sample_rate_hz=float(stored.sample_rate_hz)
        )

    def read(self, source: Source, selectors: Sequence[str]) -> Sequence[Recording]:
        """The channels that `selectors` name, each of shape (1, n); the file is opened once."""
        found: dict[str, Recording] = {}
        with _opened(source) as stored:
            for selector in dict.fromkeys(selectors):
                channel = _channel_of(source, stored, selector)
                samples = stored.channel(channel)
                _require_used(source, stored, channel, samples)
                found[selector] = Recording(samples[None, :], stored.sample_rate_hz)
        return [found[selector] for selector in selectors]


READER: Final = AudioReader()


def selector_of(channel: int) -> str:
    """The selector of a channel, which count from 1."""
    return f"channel {channel}"


def read_recording(file: Path, name: str, *, may_touch_full_scale: bool = False) -> Recording:
    """The recording in a file of one channel; see `AudioReader.read`."""
    source = Source(file, name, may_touch_full_scale=may_touch_full_scale)
    return READER.read(source, [""])[0]


def stated_channel(source: Source, role: str) -> int | None:
    """The channel that ``read`` states for a role; None where it states none.

    Raises
    ------
    ReadError
        It isn't a whole number that a channel may have.
    """
    return whole_number(source, role, 1, MAX_CHANNELS, f"write read = {{ {role} = 2 }} or the like")


@dataclass(frozen=True, slots=True)
class _Stored:
    """An open file: what it holds, and its channels from 1 on, decoded one at a time."""

    channels: int
    sample_rate_hz: int
    full_scale: float | None
    channel: Callable[[int], Float32s]


@contextmanager
def _opened(source: Source) -> Iterator[_Stored]:
    size = require_regular(source.file, source.name, MAX_BYTES)
    with source.file.open("rb") as stream:
        head = stream.read(12)
        if head[:4] == audio_flac.MARK:
            information = audio_flac.stream_information(stream, source.name)
            _require_readable(
                source.name, information.frames, information.channels, information.sample_rate_hz
            )
            yield _of_flac(source, information)
        elif audio_containers.is_container(head):
            layout = audio_containers.layout_of(stream, size, source.name)
            _require_readable(source.name, layout.frames, layout.channels, layout.sample_rate_hz)
            wanted = layout.frames * layout.channels * layout.coding.wide
            stream.seek(layout.start)
            data = np.frombuffer(stream.read(wanted), dtype=np.uint8)
            if data.size < wanted:
                raise audio_containers.truncated(source.name, data.size, wanted, "bytes")
            yield _of_container(source, layout, data)
        else:
            raise ReadError(source.name, "is neither WAV, AIFF nor FLAC inside", "export it as one of these")


def _of_flac(source: Source, information: audio_flac.StreamInformation) -> _Stored:
    samples = audio_flac.decoded(source.file, information, source.name)
    return _Stored(
        channels=information.channels,
        sample_rate_hz=information.sample_rate_hz,
        full_scale=_full_scale(information.bits),
        channel=lambda channel: samples[:, channel - 1].astype(np.float32) * np.float32(2.0**-31),
    )


def _of_container(source: Source, layout: audio_containers.Layout, data: npt.NDArray[np.uint8]) -> _Stored:
    floating = layout.coding.numbers is audio_containers.Numbers.FLOAT
    return _Stored(
        channels=layout.channels,
        sample_rate_hz=layout.sample_rate_hz,
        full_scale=None if floating else _full_scale(layout.coding.bits),
        channel=lambda channel: audio_containers.decoded(layout, data, channel - 1, source.name),
    )


def _full_scale(bits: int) -> float:
    """The greatest number of so many bits, re full scale."""
    return float(1.0 - 2.0 ** (1 - bits))


def _require_readable(name: str, frames: int, channels: int, sample_rate_hz: int) -> None:
    """Refuse by header: length, channels, sample rate."""
    if frames > MAX_FRAMES:
        raise ReadError(name, f"has {frames} frames, more than the {MAX_FRAMES} that are read", "shorten it")
    if channels > MAX_CHANNELS:
        raise ReadError(
            name, f"has {channels} channels, more than the {MAX_CHANNELS} that are read", "export fewer"
        )
    if frames * channels > MAX_SAMPLES:
        problem = f"has {frames * channels} samples, more than the {MAX_SAMPLES} that are read"
        raise ReadError(name, problem, "shorten it, or export fewer channels")
    if not SAMPLE_RATES_HZ[0] <= sample_rate_hz <= SAMPLE_RATES_HZ[1]:
        raise ReadError(name, f"has a sample rate of {sample_rate_hz} Hz", "record it with 8 kHz to 768 kHz")


def _candidates(source: Source, stored: _Stored) -> tuple[int, ...]:
    """The channels that may be a take: the stated microphone's, else all but the loopback's."""
    loopback, microphone = (_existing(source, stored, role) for role in (LOOPBACK, MICROPHONE))
    if microphone is not None:
        if microphone == loopback:
            problem = f"channel {loopback} is stated as microphone and as loopback"
            raise ReadError(source.name, problem, "state one of them otherwise")
        return (microphone,)
    return tuple(c for c in range(1, stored.channels + 1) if c != loopback)


def _existing(source: Source, stored: _Stored, role: str) -> int | None:
    """The channel of a role.

    None also in a file that holds one sound, however often: a stimulus or a calibrator may be beside the
    recordings that it is stated of. `answers` asks a recording for its loopback.
    """
    channel = stated_channel(source, role)
    if channel is None or stored.channels == 1:
        return None
    if channel > stored.channels and _all_same(stored, range(1, stored.channels + 1)):
        return None
    if channel > stored.channels:
        problem = f"has {_counted(stored.channels)}, and read.{role} states channel {channel}"
        raise ReadError(source.name, problem, "state one that is there, or leave it out")
    return channel


def _counted(channels: int) -> str:
    return "1 channel" if channels == 1 else f"{channels} channels"


def _channel_of(source: Source, stored: _Stored, selector: str) -> int:
    """The channel that a selector names; an empty one names the only channel, or any of equal ones."""
    if selector:
        for channel in range(1, stored.channels + 1):
            if selector == selector_of(channel):
                return channel
        raise ReadError(
            source.name,
            f"has {_counted(stored.channels)}, and no {selector}",
            "correct its selector or read.loopback in takes.toml",
        )
    channels = _candidates(source, stored)
    if len(channels) > 1 and not _all_same(stored, channels):
        raise ReadError(
            source.name,
            f"has {stored.channels} channels, and which one is meant isn't said",
            f'name it in takes.toml: selector = "{selector_of(channels[0])}"',
        )
    return channels[0]


def _all_same(stored: _Stored, channels: Sequence[int]) -> bool:
    first = stored.channel(channels[0])
    return all(np.array_equal(first, stored.channel(channel)) for channel in channels[1:])


def _fault(source: Source, stored: _Stored, channel: int) -> ReadError | None:
    """What makes a channel unfit for use."""
    try:
        _require_used(source, stored, channel, stored.channel(channel))
    except ReadError as fault:
        return fault
    return None


def _require_used(source: Source, stored: _Stored, channel: int, samples: Float32s) -> None:
    """Refuse a channel that is used and holds what is no number, silence, or clipping."""
    place = "" if stored.channels == 1 else f"{selector_of(channel)}, "
    finite = np.isfinite(samples)
    if not finite.all():
        at = f"{place}sample {int(np.argmin(finite))}"
        raise ReadError(source.name, "is not a number", "export or record it again", at)
    peak = float(np.max(np.abs(samples)))
    if peak < SILENCE:
        remedy = "check what is connected to it and record it again"
        raise ReadError(source.name, "is silent", remedy, place.removesuffix(", "))
    if not source.may_touch_full_scale:
        clipped = _clipped(samples, stored.full_scale, peak)
        if clipped is not None:
            remedy = "lower the recording level and record it again"
            raise ReadError(source.name, "is clipped", remedy, f"{place}sample {clipped}")
        flat = damage.flat_top(samples)
        if flat is not None:
            problem = f"is clipped {-20.0 * np.log10(peak):.1f} dB below full scale: its crests are flat"
            remedy = "lower the gain of what comes before the recorder and record it again"
            raise ReadError(source.name, problem, remedy, f"{place}sample {flat}")


def _clipped(samples: Float32s, full_scale: float | None, peak: float) -> int | None:
    """The first sample of the first run at full scale; None where there is none."""
    limit = full_scale if full_scale is not None else _full_scale(FLOAT_CLIPS_AT_BITS)
    beyond = full_scale is None and peak > 2.0 - limit
    if beyond or peak < np.float32(limit):
        return None
    at = np.abs(samples) >= np.float32(limit)
    run = at[: at.size - CLIPPED_RUN + 1].copy()
    for k in range(1, CLIPPED_RUN):
        run &= at[k : at.size - CLIPPED_RUN + 1 + k]
    return int(np.argmax(run)) if run.any() else None
