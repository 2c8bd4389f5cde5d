"""Every exhibit of a case, in the order in which the page shows them."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

from earwitness.exhibits.budget import budget
from earwitness.exhibits.clean_output import clean_output
from earwitness.exhibits.compression import compression
from earwitness.exhibits.coverage import coverage
from earwitness.exhibits.description import Exhibit, lettered
from earwitness.exhibits.distortion import distortion
from earwitness.exhibits.impedance import impedance
from earwitness.exhibits.in_room import in_room
from earwitness.exhibits.long_load import load, load_octaves
from earwitness.exhibits.on_axis import on_axis
from earwitness.exhibits.rattles import rattles
from earwitness.exhibits.response_set import response_set
from earwitness.exhibits.self_noise import self_noise
from earwitness.exhibits.time_decay import decay
from earwitness.exhibits.time_delays import delays
from earwitness.exhibits.time_waveforms import waveforms
from earwitness.exhibits.tones import tones
from earwitness.records.curves import CurveSet

Family = Callable[[CurveSet], Exhibit | None]

FAMILIES: Final[tuple[Family, ...]] = (
    response_set,
    on_axis,
    in_room,
    partial(coverage, orbit="horizontal"),
    partial(coverage, orbit="vertical"),
    distortion,
    compression,
    clean_output,
    tones,
    rattles,
    impedance,
    load,
    load_octaves,
    self_noise,
    waveforms,
    delays,
    decay,
    budget,
)


def describe(curves: CurveSet) -> tuple[Exhibit, ...]:
    """Every exhibit that has something valid to show, lettered A, B, C … in order."""
    return lettered(exhibit for family in FAMILIES if (exhibit := family(curves)) is not None)
