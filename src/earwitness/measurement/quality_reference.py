"""How the rig's reference loudspeaker reads: levels in octaves where the microphone stands."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from earwitness.acoustics import gating
from earwitness.measurement.calibration import calibrate
from earwitness.measurement.gated import cut
from earwitness.measurement.impulse_response import ImpulseResponse, drive_of
from earwitness.methods.iec_61260 import HELD_PART, inside, mid_frequency_hz
from earwitness.records.facts import Rig
from earwitness.records.grid import REFERENCE_PRESSURE_PA, derived_grid
from earwitness.records.quality import ReferenceReading
from earwitness.records.takes import Take, TakeId, TakeKind

#: The same gate in every case, so that cases may be compared: valid from 2/T, below the octave of 500 Hz.
GATE_S: Final = 6e-3
LEAD_S: Final = 2e-3
#: The octaves from 500 Hz to 16 kHz.
OCTAVES: Final = tuple(range(-1, 5))
#: Levels are for so many volts, or for digital full scale, or 0 dBu.
VOLTS: Final = 2.83


def reference_reading(
    takes: Sequence[Take], impulse_responses: Mapping[TakeId, ImpulseResponse], rig: Rig, raw: Path
) -> ReferenceReading | None:
    """What the case's takes of kind ``reference`` read, their power mean; None where it has none.

    Raises
    ------
    CaseError, ReadError
        See `calibration.calibrate`.
    """
    own = sorted((t for t in takes if t.key.kind is TakeKind.REFERENCE), key=lambda t: t.id)
    if not own:
        return None
    frequency_hz = derived_grid()
    pa, known = calibrate(raw, takes, rig.pa_per_full_scale).pressure_per_full_scale(frequency_hz)
    power = np.mean([_power(impulse_responses[t.id], t) for t in own], axis=0) * pa**2
    low = max(impulse_responses[t.id].band_hz[0] for t in own)
    high = min(impulse_responses[t.id].band_hz[1] for t in own)
    known = known & (frequency_hz >= low) & (frequency_hz <= high)
    bands = inside(frequency_hz, OCTAVES, 1)
    levels = [
        float(10.0 * np.log10(power[band & known].mean() / REFERENCE_PRESSURE_PA**2))
        if np.count_nonzero(band & known) >= HELD_PART * np.count_nonzero(band)
        else None
        for band in bands
    ]
    return ReferenceReading(
        takes=tuple(t.id for t in own),
        middle_hz=tuple(mid_frequency_hz(OCTAVES, 1).round(3).tolist()),
        level_db=tuple(None if level is None else round(level, 4) for level in levels),
    )


def _power(response: ImpulseResponse, take: Take) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Full scale squared for the reference drive, gated about the greatest peak, shape (F,)."""
    rate = response.sample_rate_hz
    peak = int(np.argmax(np.abs(response.samples)))
    first = peak - round(LEAD_S * rate)
    segment = cut(response.samples, first, int((LEAD_S + GATE_S) * rate))
    start_s = (first - peak) / rate
    window = gating.gate(start_s + np.arange(segment.size) / rate, LEAD_S, GATE_S)
    spectrum = gating.spectra((segment * window).astype(np.float32), rate, derived_grid(), start_s)
    units = 1.0 if drive_of(take).in_decibels else VOLTS
    return np.asarray(np.abs(spectrum).astype(np.float64) ** 2 * units**2)
