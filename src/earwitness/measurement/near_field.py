"""Near fields: what radiators do below the gate's reach, heard close up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import arrival, gating, noise
from earwitness.measurement import near_repeats
from earwitness.measurement.gated import cut, noise_in
from earwitness.measurement.impulse_response import ImpulseResponse, kept_before
from earwitness.measurement.near_repeats import NearScatter
from earwitness.measurement.readers.audio import LOOPBACK
from earwitness.measurement.setting import Setting
from earwitness.measurement.unheard import Unheard, unheard
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.facts import Radiator, Sphere, Unit
from earwitness.records.takes import Take, TakeId, TakeKind

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

#: A cone is taken to move as one, and the near field to be its own, up to ka = 1.
LARGEST_KA: Final = 1.0
#: Where sound begins: the envelope of this band first comes so near its greatest value. Lower down a port
#: rings at its tuning, and what a band's edge cuts of that rings before it too: from 300 Hz on some ports
#: seem to begin 2 ms before their cone. Where noise comes so near nothing is told.
BEGIN_BAND_HZ: Final = (600.0, 8_000.0)
BEGIN_DB: Final = -14.0
NOISE_DB: Final = -20.0
#: A port begins later than its cone by the way through the cabinet, and rises more slowly. On one clock
#: radiators begin together to within that way and this; a cabinet that isn't described counts as this large.
RISE_S: Final = 1e-3
UNDESCRIBED_M: Final = 1.0


@dataclass(frozen=True)
class NearField:
    """K radiators close up, on one clock.

    Attributes
    ----------
    pressure
        Shape (K, F): Pa per unit of drive in front of each radiator's centre.
    noise_power
        Shape (K, F), in the same unit squared.
    valid
        Shape (F,).
    gap_m
        Shape (K,): from each radiator's centre to the microphone.
    scatter
        How well they repeat; None where none was heard twice.
    alike
        Radiators that no microphone stood in front of, each with the place of the one among the K that it is
        stated to move as.
    unheard
        A port that the near fields show, and that has none of its own; `valid` begins where it counts little.
    """

    takes: tuple[TakeId, ...]
    radiators: tuple[Radiator, ...]
    pressure: Complex128s
    noise_power: Float64s
    valid: Bools
    gap_m: Float64s
    notes: tuple[str, ...]
    scatter: NearScatter | None = None
    alike: tuple[tuple[Radiator, int], ...] = ()
    unheard: Unheard | None = None

    @property
    def sounding(self) -> tuple[Radiator, ...]:
        """All M radiators: the K that were heard, then those that move as one of them does."""
        return (*self.radiators, *(radiator for radiator, _ in self.alike))

    @property
    def like(self) -> npt.NDArray[np.intp]:
        """Shape (M,): which of the K each of `sounding` moves as."""
        return np.array([*range(len(self.radiators)), *(place for _, place in self.alike)], dtype=np.intp)


def read_near_field(
    unit: Unit,
    takes: Sequence[Take],
    impulse_responses: Mapping[TakeId, ImpulseResponse],
    setting: Setting,
    repeat_db: float | None = None,
) -> NearField | None:
    """The near-field takes of a case, repeats averaged; None where it has none.

    `repeat_db` is the standard uncertainty of a take by repetition, where the case states it.

    Raises
    ------
    CaseError
        A take's radiator isn't among `unit.radiators`, two takes of one radiator are no repeats, a take
        doesn't state its distance, or takes begin further apart than one clock allows.
    """
    frequency_hz, calibration = setting.frequency_hz, setting.calibration
    near = at_lowest_drives(takes)
    if not near:
        return None
    heard = [_radiator(unit, take) for take in near]
    of_each = near_repeats.groups(near)
    responses = [impulse_responses[t.id] for t in near]
    _require_one_rate(near, responses)
    _require_one_clock(near, responses, _longest_way_m(unit) / setting.speed_m_s)
    largest = max(range(len(near)), key=lambda i: heard[i].diameter_m)
    gap_m = np.array([_gap_m(take) for take in near])
    spectrum, noise_power, limit = _spectra(responses, largest, frequency_hz)
    pa, known = calibration.pressure_per_full_scale(frequency_hz)
    low, high = max(limit, *(r.band_hz[0] for r in responses)), min(r.band_hz[1] for r in responses)
    top = min(high, LARGEST_KA * setting.speed_m_s / (np.pi * heard[largest].diameter_m))
    valid = known & (frequency_hz >= low) & (frequency_hz <= top)
    mean = near_repeats.averaged(near, spectrum, noise_power, frequency_hz, valid, stated_db=repeat_db)
    signal = np.sum(np.abs(mean.pressure) ** 2, axis=0)
    valid &= ~noise.hides(signal, mean.noise_power.sum(axis=0))
    radiators = [heard[group[0]] for group in of_each]
    alike = _alike(unit, radiators)
    missing = unheard(radiators, mean.pressure, frequency_hz, valid)
    if missing is not None:
        valid &= missing.said(frequency_hz)
    return NearField(
        takes=tuple(near[place].id for used in mean.used for place in used),
        radiators=tuple(radiators),
        pressure=mean.pressure * pa,
        noise_power=mean.noise_power * pa**2,
        valid=valid,
        gap_m=gap_m[[group[0] for group in of_each]],
        notes=(*_notes(radiators, alike), *mean.notes),
        scatter=mean.scatter,
        alike=alike,
        unheard=missing,
    )


def at_lowest_drives(takes: Sequence[Take]) -> list[Take]:
    """Of each radiator the near fields at its lowest drive, which the response rests on, in order of ids.

    Drives in different units, and none, don't compare: then all are kept, and `near_repeats` refuses them.
    """
    near = sorted((t for t in takes if t.key.kind is TakeKind.NEAR_FIELD), key=lambda t: t.id)
    found = []
    for take in near:
        drives = [other.key.drive for other in near if other.key.radiator == take.key.radiator]
        units = {None if drive is None else drive.unit for drive in drives}
        least = min((drive for drive in drives if drive is not None), default=None)
        if len(units) > 1 or take.key.drive == least:
            found.append(take)
    return found


def _alike(unit: Unit, heard: Sequence[Radiator]) -> tuple[tuple[Radiator, int], ...]:
    """Radiators without a near field, by the first of those stated to be the same that has one."""
    first = {radiator.same_as or radiator.name: place for place, radiator in reversed([*enumerate(heard)])}
    names = {radiator.name for radiator in heard}
    return tuple(
        (radiator, first[kind])
        for radiator in unit.radiators
        if radiator.name not in names and (kind := radiator.same_as or radiator.name) in first
    )


def _gap_m(take: Take) -> float:
    """How far the microphone stood from the radiator: 7 mm in front of a small cone are already 1 dB."""
    if take.distance_m is None:
        raise CaseError(
            "takes.toml",
            f"{take.path} doesn't say how far the microphone stood from the radiator",
            "state distance_m in its entry (0.007 for 7 mm)",
        )
    return take.distance_m


def _radiator(unit: Unit, take: Take) -> Radiator:
    for radiator in unit.radiators:
        if radiator.name == take.key.radiator:
            return radiator
    raise CaseError(
        "case.toml",
        f"{take.path} is of the radiator {take.key.radiator!r}, which isn't described",
        "add it with its name and diameter",
        "unit.radiators",
    )


def _require_one_rate(near: Sequence[Take], responses: Sequence[ImpulseResponse]) -> None:
    for take, response in zip(near, responses, strict=True):
        if response.sample_rate_hz != responses[0].sample_rate_hz:
            raise ReadError(
                take.path, "has another sample rate than the other near fields", "record them alike"
            )


def _longest_way_m(unit: Unit) -> float:
    """The longest straight way through the cabinet."""
    if unit.cabinet is None:
        return UNDESCRIBED_M
    if isinstance(unit.cabinet, Sphere):
        return unit.cabinet.diameter_m
    return float(np.linalg.norm([unit.cabinet.width_m, unit.cabinet.height_m, unit.cabinet.depth_m]))


def _require_one_clock(near: Sequence[Take], responses: Sequence[ImpulseResponse], way_s: float) -> None:
    """Refuse near fields that can't be added, because one was recorded with another latency.

    Where all have a loopback it is their clock, and there is nothing to tell.
    """
    begin = np.array([_begin_s(r) for r in responses])
    if all(LOOPBACK in dict(take.read) for take in near) or np.isfinite(begin).sum() < 2:
        return
    first, last = int(np.nanargmin(begin)), int(np.nanargmax(begin))
    apart_s, allowed_s = float(begin[last] - begin[first]), way_s + RISE_S
    if apart_s > allowed_s:
        raise CaseError(
            "takes.toml",
            f"{near[first].path} and {near[last].path} begin {1e3 * apart_s:.2f} ms apart, where one clock "
            f"allows {1e3 * allowed_s:.2f} ms, so they can't be added",
            "record near fields on one clock and with one latency, or keep one of them",
        )


def _begin_s(response: ImpulseResponse) -> float:
    """When sound begins, counted as `start_s`; NaN where noise hides it."""
    rate = response.sample_rate_hz
    envelope = arrival.envelope(response.samples, rate, BEGIN_BAND_HZ)
    if response.noise.size:
        hiss = float(arrival.envelope(response.noise, rate, BEGIN_BAND_HZ).max())
        if hiss >= envelope.max() * 10.0 ** (NOISE_DB / 20.0):
            return np.nan
    near_peak = envelope >= envelope.max() * 10.0 ** (BEGIN_DB / 20.0)
    return response.start_s + float(np.argmax(near_peak)) / rate


def _notes(radiators: Sequence[Radiator], alike: Sequence[tuple[Radiator, int]]) -> tuple[str, ...]:
    carried = (
        f"Below the gate's reach the response is carried from the near field of the {_named(radiators)}."
    )
    notes = [carried]
    for place, heard in enumerate(radiators):
        if others := [radiator for radiator, like in alike if like == place]:
            notes.append(
                f"The near field of the {_named([heard])} stands for the {_named(others)} as well, each at "
                "its own place: the case states that they are the same, and they are taken to move alike. "
                "What a decibel between them would change is part of the splice's uncertainty."
            )
    if len(radiators) + len(alike) > 1:
        notes.append(
            "What each near microphone heard of the other radiators was taken off, on the same cabinet; what "
            "half a centimetre in their distance would change of that is part of the splice's uncertainty."
        )
    return tuple(notes)


def _named(radiators: Sequence[Radiator]) -> str:
    return " and ".join(radiator.name.replace("_", " ") for radiator in radiators)


def _spectra(
    responses: Sequence[ImpulseResponse], first: int, frequency_hz: Float64s
) -> tuple[Complex128s, Float64s, float]:
    """Spectra re the arrival at the radiator `first`, their noise power, and the lowest valid frequency."""
    rate = responses[0].sample_rate_hz
    clock = responses[first]
    peak = arrival.peak_position(
        arrival.envelope(clock.samples, rate, (100.0, 8_000.0)), 0, clock.samples.size
    )
    at = clock.start_s + peak / rate
    told = [r.noise.size for r in responses if r.noise.size]
    lead = min([0.9 * kept_before(rate), *told]) / rate
    end = min(r.end_s for r in responses) - at
    begin = [round((at - lead - r.start_s) * rate) for r in responses]
    count = int((lead + end) * rate)
    segments = np.stack([cut(r.samples, k, count) for r, k in zip(responses, begin, strict=True)])
    start = np.array([r.start_s + k / rate - at for r, k in zip(responses, begin, strict=True)])
    windows = gating.gate(start[:, None] + np.arange(count) / rate, lead, end)
    spectrum = gating.spectra((segments * windows).astype(np.float32), rate, frequency_hz, start)
    noise_power = noise_in(responses, frequency_hz) * np.sum(windows**2, axis=-1)[:, None]
    return spectrum.astype(np.complex128), noise_power, float(gating.accurate_from_hz(end))
