"""A stream keeps its number for good, so that a new component leaves all others' draws as they were."""

from __future__ import annotations

from earwitness.derive import draws
from earwitness.records.uncertainty import ComponentName as N

#: A regression: the numbers with which published uncertainties were drawn.
KEPT = (N.NOISE, N.REPEAT, N.MICROPHONE, N.LEVEL, N.ANGLE, N.GATE, N.SPLICE, N.TEMPERATURE, N.SAMPLING, N.FIT)


def test_every_component_has_a_stream_of_its_own() -> None:
    assert set(draws._STREAMS) == set(N)
    every = [*draws._STREAMS.values(), *draws._COMMON_STREAMS.values()]
    assert len(set(every)) == len(every)


def test_numbers_and_order_stay() -> None:
    assert tuple(draws._STREAMS)[: len(KEPT)] == KEPT
    assert [draws._STREAMS[name] for name in KEPT] == list(range(10))
    assert draws._COMMON_STREAMS[N.NOISE] == 10
