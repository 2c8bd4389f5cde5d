"""What comes again each period above the low orders of a sweep on axis: rubbing, hard knocks, clipping."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import sweeps
from earwitness.acoustics.impulsive import SETTLED_S, SMOOTH_ORDERS, residual, spectrum_of
from earwitness.acoustics.noise import rms_above
from earwitness.acoustics.recurrence import recurrence
from earwitness.acoustics.recurring import seen
from earwitness.measurement.answers import Answer, Stimulus, read_answers, read_stimulus
from earwitness.measurement.given_impulse import is_given
from earwitness.measurement.impulse_response import drive_of
from earwitness.measurement.order_responses import law_of
from earwitness.measurement.silence import Silence, silence
from earwitness.records.takes import Drive, Take, TakeKind
from earwitness.records.tones import NoiseFrom, Rattle

Floats = npt.NDArray[np.float64]
Complex64s = npt.NDArray[np.complex64]

#: Third octaves from 20 Hz to 400 Hz, where excursions are.
EDGES_HZ: Final = 20.0 * 2.0 ** (np.arange(14) / 3.0)
#: Bands that begin lower than this, re the sweep's lower edge, hold how it begins.
BEGUN: Final = 1.2
LOWEST_DB: Final = -120.0
#: So much of a recording after its sweep tells its noise.
QUIET_S: Final = 0.25


def rattled(raw: Path, takes: Sequence[Take], stimuli: Mapping[str, Take]) -> tuple[Rattle, ...]:
    """Of one sweep on axis a drive, in the order of rising drive; the first repeat counts.

    From the greatest drive down to the first at which nothing comes again: quieter ones tell no more.

    What sounds without a sweep, such as a mains transformer, is told beside it: of the case's recording of
    silence, or what comes after the sweep.

    Raises
    ------
    ReadError
        A recording or its stimulus can't be read.
    """
    first: dict[Drive, Take] = {}
    for take in sorted(takes, key=lambda t: (t.key.repeat, t.id)):
        if _is_looked_at(take):
            first.setdefault(drive_of(take), take)
    played = {
        path: read_stimulus(raw, stimuli[path]) for path in sorted({t.stimulus or "" for t in first.values()})
    }
    made = {
        path: _Played(stimulus, silence(raw, takes, stimulus.sample_rate_hz))
        for path, stimulus in played.items()
    }

    found: list[Rattle] = []
    for drive in sorted(first, reverse=True):
        take = first[drive]
        stimulus = made[take.stimulus or ""]
        (answer,) = read_answers(raw, [take], stimulus.stimulus)
        one = _rattle(answer, stimulus)
        found.append(one)
        if not seen(one.alike, one.part_db, one.rest_db, one.noise_db).any():
            break
    return tuple(reversed(found))


class _Played:
    """A stimulus with what all its recordings are worked out with, made once, and the case's silence."""

    def __init__(self, stimulus: Stimulus, quiet: Silence | None) -> None:
        self.stimulus = stimulus
        self.law: Final = law_of(stimulus)
        self.quiet: Final = None if quiet is None else quiet.samples
        self._of_length: dict[int, tuple[Complex64s, Complex64s]] = {}

    def of_length(self, length: int) -> tuple[Complex64s, Complex64s]:
        """The inverse filter and the spectrum for transforms of a length."""
        one = self.stimulus
        if length not in self._of_length:
            self._of_length[length] = (
                sweeps.inverse_filter(one.samples, one.sample_rate_hz, one.band_hz, length),
                spectrum_of(one.samples, length),
            )
        return self._of_length[length]


def _is_looked_at(take: Take) -> bool:
    direction = take.key.direction
    on_axis = direction is not None and direction.angle_deg == 0.0
    return take.key.kind is TakeKind.SWEEP and on_axis and take.stimulus is not None and not is_given(take)


def _rattle(answer: Answer, played: _Played) -> Rattle:
    stimulus, law, quiet = played.stimulus, played.law, played.quiet
    rate, recording = stimulus.sample_rate_hz, answer.microphone
    length = sweeps.block_length(recording.size, stimulus.samples.size)
    inverse, spectrum = played.of_length(length)
    whole = sweeps.deconvolve(recording[None], inverse, length)[0]
    at = int(np.argmax(np.abs(whole[: length // 2])))
    rest = residual(whole, spectrum, rate, law=law, at=at)
    edges = EDGES_HZ[BEGUN * stimulus.band_hz[0] < EDGES_HZ]
    found = recurrence(rest, recording, rate, law=law, at=at, edges_hz=edges)
    told = np.isfinite(found.alike) & (found.whole > 0.0)
    noise, noise_from = quiet, NoiseFrom.SILENCE
    if noise is None:
        noise = recording[at + stimulus.sounding + round(SETTLED_S * rate) :]
        noise_from = NoiseFrom.END
    known = noise.size >= QUIET_S * rate

    def re_whole(rms: Floats) -> tuple[float, ...]:
        level = 20.0 * np.log10(np.maximum(rms / np.where(told, found.whole, 1.0), 1e-12))
        return tuple(float(one) for one in np.maximum(level, LOWEST_DB)[told])

    return Rattle(
        take=answer.take.id,
        drive=drive_of(answer.take),
        bands_hz=tuple(float(hertz) for hertz in found.frequency_hz[told]),
        alike=tuple(float(one) for one in found.alike[told]),
        rest_db=re_whole(found.rest),
        part_db=re_whole(found.rms),
        noise_db=re_whole(rms_above(noise, rate, (SMOOTH_ORDERS + 0.5) * edges[:-1])) if known else None,
        noise_from=noise_from if known else None,
    )
