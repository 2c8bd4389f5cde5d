"""Some recordings of the virtual workshop, as a reviewer's other rigs would have written them."""

from __future__ import annotations

import dataclasses
import shutil
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import scipy.fft
import soundfile
from pydantic import TypeAdapter

from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.reduction import reduce
from earwitness.records.facts import CaseFacts
from earwitness.records.responses import Responses
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind
from earwitness.virtual import files, scenario, truth

Floats = npt.NDArray[np.float64]

NAME = "cobble_two"
ANGLES = (-60, 0, 30, 90, 180)
STIMULUS, CALIBRATOR, MICROPHONE = files.STIMULUS, files.CALIBRATOR, files.MICROPHONE
NEAR = "near_field_woofer_7mm_0.283V.wav"
RATE = 48_000


def turn_name(angle: int) -> str:
    """The recording at an angle of the horizontal orbit."""
    return f"horizontal_{angle:+04d}_2.83V.wav"


def recorded(folder: Path) -> Path:
    """The workshop's own files."""
    wanted = [STIMULUS, CALIBRATOR, MICROPHONE, NEAR, *(turn_name(angle) for angle in ANGLES)]
    scenario.load(NAME).record(folder, only=wanted)
    return folder


def takes(kind: TakeKind = TakeKind.SWEEP) -> list[Take]:
    """What those files are."""
    turns = [
        Take(turn_name(a), TakeKey(kind, Direction(Orbit.HORIZONTAL, a), Drive(2.83)), stimulus=STIMULUS)
        for a in ANGLES
    ]
    near = TakeKey(TakeKind.NEAR_FIELD, drive=Drive(0.283), radiator="woofer")
    return [
        *turns,
        Take(NEAR, near, stimulus=STIMULUS, distance_m=0.007),
        Take(STIMULUS, TakeKey(TakeKind.STIMULUS)),
        Take(CALIBRATOR, TakeKey(TakeKind.CALIBRATOR), level_db=94.0),
        Take(MICROPHONE, TakeKey(TakeKind.MICROPHONE_CALIBRATION)),
    ]


def facts() -> CaseFacts:
    """The case of the workshop's loudspeaker."""
    return TypeAdapter(CaseFacts).validate_python(tomllib.loads(scenario.load(NAME).facts.read_text()))


def reduced(raw: Path, some: Sequence[Take], case: CaseFacts | None = None) -> Responses:
    """The responses of some takes."""
    return reduce(case or facts(), some, {t.id: r for t, r in deconvolve(raw, some)}, raw)


def error_db(responses: Responses) -> Floats:
    """Reduced level less true level for 2.83 V at 1 m, at the turntable's angles."""
    level = 20.0 * np.log10(np.abs(responses.pressure) * 2.83 / 20e-6)
    angles = np.array([t.key.direction.angle_deg for t in responses.takes if t.key.direction])
    loudspeaker = scenario.load(NAME)
    return np.asarray(
        level - truth.turned_level_db(loudspeaker, responses.frequency_hz, "horizontal", angles)
    )


@dataclass(frozen=True)
class Rewriter:
    """Writes recordings anew, each as another kind of file."""

    raw: Path
    to: Path

    def copy(self, *names: str) -> None:
        """Files as they are."""
        for name in names:
            shutil.copy(self.raw / name, self.to / name)

    def samples(self, name: str) -> Floats:
        """A recording re full scale."""
        samples, _ = soundfile.read(self.raw / name)
        return np.asarray(samples)

    def write(self, name: str, samples: Floats, kind: str, subtype: str, rate: int = RATE) -> str:
        """A file of any kind, of shape (n,) or (n, channels)."""
        soundfile.write(self.to / name, samples, rate, format=kind, subtype=subtype)
        return name


def renamed(take: Take, path: str, stimulus: str | None = None) -> Take:
    """The take in another file."""
    return dataclasses.replace(take, path=path, stimulus=stimulus or take.stimulus)


def delayed(samples: Floats, count: float) -> Floats:
    """Samples later by any number of samples, whole or not, with silence put before and after."""
    room = 2**15
    padded = np.concatenate([np.zeros(room), samples, np.zeros(room)])
    spectrum = scipy.fft.rfft(padded)
    turn = np.exp(-2j * np.pi * scipy.fft.rfftfreq(padded.size) * (count - room))
    return np.asarray(scipy.fft.irfft(spectrum * turn, padded.size))[: samples.size + room]


def at_rate(samples: Floats, rate: int) -> Floats:
    """Samples of 48 kHz at another rate that it has a ratio of whole numbers with, band-limited."""
    divisor = RATE // np.gcd(RATE, rate)
    padded = np.concatenate([samples, np.zeros(-samples.size % divisor)])
    spectrum = scipy.fft.rfft(padded)
    count = padded.size * rate // RATE
    bins = np.zeros(count // 2 + 1, dtype=complex)
    shared = min(bins.size, spectrum.size) - 1
    bins[:shared] = spectrum[:shared]
    return np.asarray(scipy.fft.irfft(bins, count) * (count / padded.size))
