"""Uncertainty by named components: what is known about it, and what is not stated."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class ComponentName(StrEnum):
    """Where an uncertainty comes from."""

    NOISE = "noise"
    REPEAT = "repeat"
    MICROPHONE = "microphone"
    LEVEL = "level"
    ANGLE = "angle"
    GATE = "gate"
    SPLICE = "splice"
    TEMPERATURE = "temperature"
    SAMPLING = "sampling"
    FIT = "fit"
    INTERPOLATION = "interpolation"
    SEPARATION = "separation"
    AIR = "air"


#: Below this, in the value's own unit, a standard uncertainty is zero but for rounding, and isn't printed.
NEGLIGIBLE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Sharing:
    """How one component's error is alike: over frequency, and over takes."""

    over_frequency: bool
    over_takes: bool


SHARING: Final[Mapping[ComponentName, Sharing]] = {
    ComponentName.NOISE: Sharing(over_frequency=False, over_takes=False),
    ComponentName.REPEAT: Sharing(over_frequency=False, over_takes=False),
    ComponentName.MICROPHONE: Sharing(over_frequency=False, over_takes=True),
    ComponentName.LEVEL: Sharing(over_frequency=True, over_takes=True),
    ComponentName.ANGLE: Sharing(over_frequency=True, over_takes=False),
    ComponentName.GATE: Sharing(over_frequency=False, over_takes=True),
    ComponentName.SPLICE: Sharing(over_frequency=True, over_takes=True),
    ComponentName.TEMPERATURE: Sharing(over_frequency=True, over_takes=True),
    ComponentName.SAMPLING: Sharing(over_frequency=True, over_takes=True),
    ComponentName.FIT: Sharing(over_frequency=True, over_takes=True),
    ComponentName.INTERPOLATION: Sharing(over_frequency=True, over_takes=False),
    ComponentName.SEPARATION: Sharing(over_frequency=True, over_takes=True),
    ComponentName.AIR: Sharing(over_frequency=True, over_takes=True),
}


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """One standard uncertainty (k = 1) in the value's own unit, and its components.

    A component that the case doesn't state is None and is printed "not stated"; `total` holds what is known.
    """

    total: float
    components: Mapping[ComponentName, float | None]

    @property
    def not_stated(self) -> tuple[ComponentName, ...]:
        """The components that nobody stated."""
        return tuple(name for name, value in self.components.items() if value is None)
