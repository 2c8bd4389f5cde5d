"""A case of the demo's loudspeaker whose recordings are spoiled as happens in life."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import scipy.signal
import soundfile
from scipy.interpolate import CubicSpline

from earwitness.case.manifest import new_case
from earwitness.pipeline.build import build
from earwitness.pipeline.check import check_case
from earwitness.pipeline.intake import accept, look_at
from earwitness.records.quality import Point, PointName, Quality
from earwitness.virtual.scenario import load

Floats = npt.NDArray[np.float64]

SCENARIO = "cobble_two"
#: Long enough for hum to be told after the sweep's bass, and quick to make.
SWEEP_S = 2.0
RATE = 48_000
NEAR = "near_field_woofer_7mm_0.283V.wav"
ON_AXIS = "horizontal_+000_2.83V.wav"


@dataclass(frozen=True)
class Spoiled:
    """A case at `root`, to be spoiled and looked at."""

    root: Path

    @classmethod
    def whole(cls, root: Path, only: Collection[str] | None = None) -> Spoiled:
        """The case as it should be, built."""
        scenario = load(SCENARIO)
        new_case(root, "Cobble Two", {"case.toml": scenario.facts.read_text(encoding="utf-8")})
        recordings = root.parent / f"{root.name} recordings"
        scenario.record(recordings, sweep_s=SWEEP_S, only=only)
        accept(root, look_at(root, [recordings]))
        build(root)
        return cls(root)

    def copy(self, to: Path) -> Spoiled:
        """The same in another folder."""
        shutil.copytree(self.root, to)
        return Spoiled(to)

    def samples(self, name: str) -> Floats:
        """A recording re full scale."""
        samples, _ = soundfile.read(self.root / "raw" / name)
        return np.asarray(samples)

    def change(self, name: str, how: Callable[[Floats], Floats]) -> None:
        """Put another recording in a file's place, hash and all."""
        self._put(name, how(self.samples(name)))

    def swap(self, one: str, other: str) -> None:
        """Put two recordings in each other's place."""
        first, second = self.samples(one), self.samples(other)
        self._put(one, second)
        self._put(other, first)

    def add(self, name: str, samples: Floats) -> None:
        """Add a recording as a user would."""
        folder = self.root.parent / f"{self.root.name} added"
        folder.mkdir(exist_ok=True)
        soundfile.write(folder / name, samples, RATE, subtype="PCM_24")
        accept(self.root, look_at(self.root, [folder / name]))

    def state(self, before: str, after: str) -> None:
        """State something else in ``case.toml``."""
        file = self.root / "case.toml"
        text = file.read_text(encoding="utf-8")
        assert before in text
        file.write_text(text.replace(before, after), encoding="utf-8")

    def quality(self) -> Quality:
        """What `earwitness check` finds."""
        return check_case(self.root)

    def point(self, name: PointName) -> Point:
        """One point of it."""
        return self.quality().point(name)

    def _put(self, name: str, samples: Floats) -> None:
        path = self.root / "raw" / name
        path.chmod(0o644)
        soundfile.write(path, samples, RATE, subtype="PCM_24")
        after = hashlib.sha256(path.read_bytes()).hexdigest()
        hashes = self.root / "raw.sha256"
        lines = hashes.read_text(encoding="utf-8").splitlines()
        changed = [f"{after}  raw/{name}" if line.endswith(f"  raw/{name}") else line for line in lines]
        assert changed != lines
        hashes.chmod(0o644)
        hashes.write_text("\n".join(changed) + "\n", encoding="utf-8")


def gained(db: float) -> Callable[[Floats], Floats]:
    """So much louder."""
    return lambda samples: samples * 10.0 ** (db / 20.0)


def quieter_above(hz: float, db: float) -> Callable[[Floats], Floats]:
    """Quieter by so much above a frequency, with a transition of a sixth of an octave."""

    def shelved(samples: Floats) -> Floats:
        spectrum = np.fft.rfft(samples)
        octaves = np.log2(np.maximum(np.fft.rfftfreq(samples.size, 1.0 / RATE), 1.0) / hz)
        gain_db = -db * np.clip(0.5 + 6.0 * octaves, 0.0, 1.0)
        return np.asarray(np.fft.irfft(spectrum * 10.0 ** (gain_db / 20.0), samples.size))

    return shelved


def later(samples_late: int) -> Callable[[Floats], Floats]:
    """So many samples later, as after a buffer that ran dry."""
    return lambda samples: np.concatenate([samples[-samples_late:] * 0.0 + 1e-6, samples[:-samples_late]])


def stretched(ppm: float) -> Callable[[Floats], Floats]:
    """As by a recorder whose clock is fast by so many parts in a million: sound takes more samples."""

    def slower(samples: Floats) -> Floats:
        time = np.arange(samples.size)
        return np.asarray(CubicSpline(time, samples)(time / (1.0 + 1e-6 * ppm)))

    return slower


def humming(level: float, mains_hz: float = 50.0) -> Callable[[Floats], Floats]:
    """With a mains hum of three lines, the second the strongest, re full scale RMS."""

    def hummed(samples: Floats) -> Floats:
        turn = 2.0 * np.pi * mains_hz / RATE * np.arange(samples.size)
        lines = 0.3 * np.sin(turn) + np.sin(2.0 * turn) + 0.2 * np.sin(3.0 * turn)
        return np.asarray(samples + level * np.sqrt(2.0) * lines)

    return hummed


def noisy(rms: float, seed: int = 0) -> Callable[[Floats], Floats]:
    """With white noise added, re full scale RMS."""
    return lambda samples: samples + rms * np.random.default_rng(seed).standard_normal(samples.size)


def clipped(part: float) -> Callable[[Floats], Floats]:
    """Cut off at a part of its peak, as by an amplifier before the converter."""
    return lambda samples: np.clip(samples, *(part * np.max(np.abs(samples)) * np.array([-1.0, 1.0])))


def with_a_gap(seconds: float) -> Callable[[Floats], Floats]:
    """With a stretch of it lost, in the middle of the sweep."""

    def gapped(samples: Floats) -> Floats:
        found = samples.copy()
        first = int(np.argmax(np.abs(scipy.signal.hilbert(samples[: samples.size // 2]))))
        found[first : first + round(seconds * RATE)] = 0.0
        return np.asarray(found)

    return gapped
