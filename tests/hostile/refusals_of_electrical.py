"""Recordings of voltage and current that no impedance can be made of."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.signal
from hostile.refusal import Make, Refusal, holding
from hostile.refusals_of_sound import encoded

Floats = npt.NDArray[np.float64]
NAME: Final = "impedance.wav"
RATE_HZ: Final = 48_000
_TIME: Final[Floats] = np.arange(RATE_HZ) / RATE_HZ
_SWEEP: Final[Floats] = 0.5 * scipy.signal.chirp(_TIME, 20.0, 1.0, 20_000.0, method="logarithmic", phi=-90.0)
PLAYED: Final[Floats] = np.concatenate([_SWEEP, np.zeros(RATE_HZ // 2)])
CURRENT: Final[Floats] = 0.1 * scipy.signal.lfilter([0.5, 0.5], [1.0], PLAYED)
READ: Final = "voltage = 1, current = 2, sense_ohm = 1, voltage_full_scale_v = 10, current_full_scale_v = 1"


def _session(recorded: bytes, stimulus: bytes | None = None) -> Make:
    def make(folder: Path) -> Path:
        (folder / "session").mkdir()
        holding(stimulus or encoded(PLAYED), "stimulus.wav")(folder / "session")
        holding(recorded, NAME)(folder / "session")
        return folder / "session"

    return make


def _entry(read: str, stimulus: str = 'stimulus = "stimulus.wav"', kind: str = "impedance") -> str:
    return "\n".join(
        [
            "[[take]]",
            f'file = "{NAME}"',
            f'kind = "{kind}"',
            'drive = "0.5 V"',
            stimulus,
            f"read = {{ {read} }}",
            "",
        ]
    )


def _both(voltage: Floats = PLAYED, current: Floats = CURRENT, rate_hz: int = RATE_HZ) -> bytes:
    return encoded(np.stack([voltage, current], axis=-1), rate_hz=rate_hz)


_NOISE: Final[Floats] = 0.1 * np.random.default_rng(0).standard_normal(PLAYED.size)

ELECTRICAL: Final = (
    Refusal(
        "channels that aren't told apart",
        _session(_both()),
        "impedance.wav: doesn't say which channel is the current; state read.current in takes.toml, "
        "such as read.current = 1",
        _entry("voltage = 1"),
    ),
    Refusal(
        "one channel for both",
        _session(_both()),
        "impedance.wav: has channel 1 stated as voltage and as current; state one of them otherwise",
        _entry(READ.replace("current = 2", "current = 1")),
    ),
    Refusal(
        "a channel that isn't there",
        _session(_both()),
        "impedance.wav: has 2 channels, and no channel 3; correct its selector or read.loopback in "
        "takes.toml",
        _entry(READ.replace("current = 2", "current = 3")),
    ),
    Refusal(
        "the same on both channels",
        _session(_both(PLAYED, PLAYED)),
        "impedance.wav: holds the same on both channels; record the voltage over the resistor on the "
        "other, or correct read in takes.toml",
        _entry(READ),
    ),
    Refusal(
        "voltage that isn't the sweep",
        _session(_both(_NOISE)),
        "impedance.wav: doesn't hold the sweep in stimulus.wav on its channel of voltage; name the "
        "stimulus that was played in takes.toml, and check the sample rate and the channel",
        _entry(READ),
    ),
    Refusal(
        "voltage that ends before its sweep does",
        _session(_both(PLAYED[:30_000], CURRENT[:30_000])),
        "impedance.wav: sample 30000: ends here and is shorter than its stimulus, which sounds up to "
        "sample 48000; record the whole sweep again",
        _entry(READ),
    ),
    Refusal(
        "another sample rate than its stimulus'",
        _session(_both(rate_hz=44_100)),
        "impedance.wav: was recorded at 44100 Hz, and its stimulus stimulus.wav has 48000 Hz; use "
        "one sample rate for both",
        _entry(READ),
    ),
    Refusal(
        "a known resistor whose ohms aren't stated",
        _session(_both()),
        "impedance.wav: is a known resistor whose ohms aren't stated; state read.known_ohm",
        _entry(READ, kind="resistor"),
    ),
    Refusal(
        "no stimulus stated",
        _session(_both()),
        "impedance.wav: has no stimulus stated; name it in takes.toml",
        _entry(READ, stimulus=""),
    ),
)
