"""Whether a near field and the far field have the same polarity."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.acoustics import arrival, gating
from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.measurement.flight import BAND_HZ
from earwitness.measurement.gated import cut
from earwitness.measurement.given_impulse import is_given
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.records.facts import CaseFacts
from earwitness.records.takes import Take, TakeId, TakeKind

Complex64s = npt.NDArray[np.complex64]

#: They are compared here, where a woofer is small and a gate of a few milliseconds holds.
COMPARED_HZ: Final = (250.0, 700.0)
GATE_S: Final = 6e-3
LEAD_S: Final = 2e-3
#: Less alike than this (cosine of the angle between them) and nothing is told.
LEAST_ALIKE: Final = 0.4
#: A radiator that gives so much less than the strongest may have any sign.
WEAKER_DB: Final = 6.0


def near_against_far(
    takes: Sequence[Take], impulse_responses: Mapping[TakeId, ImpulseResponse], facts: CaseFacts
) -> dict[TakeId, float]:
    """How alike each near field and the response on axis are: 1 in phase, −1 upside down.

    Only of radiators that give the most there, and where it is plain. Both have to be recorded on one clock:
    the near field's time of flight is that of its own distance. Empty where nothing can be told.
    """
    distance_m = facts.rig.distance_m
    axis = [
        t
        for t in takes
        if t.key.direction
        and t.key.direction.angle_deg == 0.0
        and t.id in impulse_responses
        and not is_given(t)
    ]
    near = [t for t in takes if t.key.kind is TakeKind.NEAR_FIELD and t.id in impulse_responses]
    near = [t for t in near if not is_given(t) and t.distance_m is not None]
    if not axis or not near or distance_m is None:
        return {}
    far = impulse_responses[axis[0].id]
    rate = far.sample_rate_hz
    envelope = arrival.envelope(far.samples, rate, BAND_HZ)
    at_s = far.start_s + arrival.peak_position(envelope, 0, envelope.size) / rate
    frequency_hz = np.geomspace(*COMPARED_HZ, 48)
    straight = _spectrum(far, at_s, frequency_hz)
    speed = speed_of_sound_m_s(facts.rig.temperature_c)
    diameters = {r.name: r.diameter_m for r in facts.unit.radiators}
    alike: dict[TakeId, float] = {}
    strength: dict[TakeId, float] = {}
    for take in near:
        close_s = at_s - (distance_m - (take.distance_m or 0.0)) / speed
        close = _spectrum(impulse_responses[take.id], close_s, frequency_hz)
        product = np.vdot(close, straight)
        norm = float(np.linalg.norm(close) * np.linalg.norm(straight))
        alike[take.id] = float(product.real) / max(norm, 1e-30)
        diameter = diameters.get(take.key.radiator or "", 0.0)
        strength[take.id] = float(np.linalg.norm(close)) * diameter
    least = max(strength.values()) * 10.0 ** (-WEAKER_DB / 20.0)
    return {t: a for t, a in alike.items() if abs(a) >= LEAST_ALIKE and strength[t] >= least}


def _spectrum(response: ImpulseResponse, at_s: float, frequency_hz: npt.NDArray[np.float64]) -> Complex64s:
    """The gated spectrum about an arrival, which has phase 0."""
    rate = response.sample_rate_hz
    first = round((at_s - LEAD_S - response.start_s) * rate)
    segment = cut(response.samples, first, int((LEAD_S + GATE_S) * rate))
    start_s = response.start_s + first / rate - at_s
    window = gating.gate(start_s + np.arange(segment.size) / rate, LEAD_S, GATE_S)
    return gating.spectra((segment * window).astype(np.float32), rate, frequency_hz, start_s)
