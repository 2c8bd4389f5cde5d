"""How late an active loudspeaker plays: from its input, where a loopback is taken, to the air before it.

Sound that was recorded with a loopback arrives after the loudspeaker's own delay and the way through the air,
d/c. The treble tells when, since a loudspeaker's phase hardly delays it there. Closed form; the band is
defined here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from earwitness.acoustics import arrival
from earwitness.acoustics.air import speed_of_sound_m_s
from earwitness.measurement.impulse_response import ImpulseResponse
from earwitness.measurement.readers.audio import LOOPBACK
from earwitness.records.active import NOT_DETERMINED, Latency
from earwitness.records.facts import Rig
from earwitness.records.takes import Take, TakeId, TakeKind

#: The treble in which arrivals are told.
TREBLE_HZ: Final = (4_000.0, 16_000.0)
#: Sound that comes sooner than the way takes by more than this contradicts what is stated of it.
TOO_SOON_S: Final = 1e-4

NO_WAY: Final = "not determined: the distance or the temperature isn't stated"
IMPOSSIBLE: Final = "not determined: sound arrives sooner than the stated way takes"


def latency(rig: Rig, takes: Sequence[Take], impulse_responses: Mapping[TakeId, ImpulseResponse]) -> Latency:
    """The latency of a loudspeaker, from its takes on axis with a loopback."""
    ahead = [t for t in takes if t.key.kind is TakeKind.SWEEP and t.id in impulse_responses]
    ahead = [t for t in ahead if t.key.direction is not None and t.key.direction.angle_deg == 0.0]
    wired = sorted((t for t in ahead if LOOPBACK in dict(t.read)), key=lambda take: take.id)
    told = tuple(take.id for take in wired)
    if not wired:
        return NOT_DETERMINED
    if rig.distance_m is None or rig.temperature_c is None:
        return Latency(told, None, missing=NO_WAY)
    flight_s = rig.distance_m / speed_of_sound_m_s(rig.temperature_c)
    late = np.array([_arrival_s(impulse_responses[take.id]) for take in wired]) - flight_s
    if late.mean() < -TOO_SOON_S:
        return Latency(told, None, missing=IMPOSSIBLE)
    return Latency(
        takes=told,
        latency_s=float(late.mean()),
        scatter_s=float(np.std(late, ddof=1) / np.sqrt(late.size)) if late.size > 1 else None,
        flight_s=flight_s,
    )


def _arrival_s(response: ImpulseResponse) -> float:
    """When treble is greatest, after the loopback."""
    envelope = arrival.envelope(response.samples, response.sample_rate_hz, TREBLE_HZ)
    return response.start_s + arrival.peak_position(envelope, 0, envelope.size) / response.sample_rate_hz
