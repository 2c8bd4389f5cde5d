"""What a stimulus file holds, as its sidecar states it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

#: The form of sidecars that is written and read.
SIDECAR_FORM: Final = 1

Colour = Literal["pink", "white"]


@dataclass(frozen=True, slots=True)
class SweepSignal:
    """A synchronised exponential sweep: f(t) = first_hz·e^(t/rate_s), with first_hz·rate_s whole.

    `length_s` is rate_s·ln(last_hz/first_hz). A shelf of first order raises its amplitude by `shelf_db` below
    `shelf_hz`, a tilt by `tilt_db_per_octave` for each octave upward: the file's peak is where both are
    greatest.
    """

    first_hz: float
    last_hz: float
    rate_s: float
    length_s: float
    fade_in_s: float
    fade_out_s: float
    shelf_db: float = 0.0
    shelf_hz: float = 1000.0
    tilt_db_per_octave: float = 0.0

    @property
    def unfaded_hz(self) -> tuple[float, float]:
        """The band that it fills outside its fades, rounded inward to hundredths of a hertz."""
        low = self.first_hz * math.exp(self.fade_in_s / self.rate_s)
        high = self.last_hz * math.exp(-self.fade_out_s / self.rate_s)
        return math.ceil(100.0 * low) / 100.0, math.floor(100.0 * high) / 100.0


@dataclass(frozen=True, slots=True)
class MultitoneSignal:
    """Tones at `tones_hz`, with random phases; it repeats after `period_s`.

    They have one level, but the lowest, which stands `lowest_db` above the others.
    """

    tones_hz: tuple[float, ...]
    period_s: float
    length_s: float
    seed: int
    lowest_db: float = 0.0


@dataclass(frozen=True, slots=True)
class NoiseSignal:
    """Gaussian noise in a band; it may be looped."""

    colour: Colour
    first_hz: float
    last_hz: float
    length_s: float
    seed: int


@dataclass(frozen=True, slots=True)
class RunSignal:
    """A run: one second of pink noise again and again, `load_s` of it loud, and weak or silent between.

    Weak seconds before, among and after the load (probes) are `probe_db` below it; at least `rest_s` come
    after it.
    """

    first_hz: float
    last_hz: float
    load_s: int
    rest_s: int
    probe_db: float
    length_s: float
    seed: int


Signal = SweepSignal | MultitoneSignal | NoiseSignal | RunSignal
KINDS: Final[dict[str, type[Signal]]] = {
    "sweep": SweepSignal,
    "multitone": MultitoneSignal,
    "noise": NoiseSignal,
    "endurance": RunSignal,
}


@dataclass(frozen=True, slots=True)
class StimulusFacts:
    """A stimulus file: which it is, how it is laid out, how loud, and the signal in it.

    Attributes
    ----------
    file, sha256
        The sound file's name and the SHA-256 of its bytes.
    samples
        How many it has in all, silences too.
    lead_s, tail_s
        Silence before and after the signal.
    level_dbfs
        RMS re that of a full-scale sine (AES17); of a sweep that of a steady sine at its peak.
    peak_dbfs
        The greatest sample re full scale.
    rms_dbfs, crest_factor_db
        Of what sounds: RMS re that of a full-scale sine, and peak over RMS.
    drive_v, full_scale_v
        Volts RMS at the terminals where a full-scale sine gives `full_scale_v`; None where it isn't stated.
    """

    file: str
    sha256: str
    sample_rate_hz: int
    samples: int
    lead_s: float
    tail_s: float
    level_dbfs: float
    peak_dbfs: float
    rms_dbfs: float
    crest_factor_db: float
    signal: Signal
    drive_v: float | None = None
    full_scale_v: float | None = None

    @property
    def kind(self) -> str:
        """``sweep``, ``multitone``, ``noise`` or ``endurance``."""
        return next(name for name, of in KINDS.items() if isinstance(self.signal, of))

    @property
    def length_s(self) -> float:
        """How long the whole file plays."""
        return self.samples / self.sample_rate_hz
