"""How long the linear set of a loudspeaker takes, as a ratio to a floor measured in the same test.

From TOML to 72 impulse responses at 48 kHz, with the room's images: 5 s where the floor is 35 ms. Processor
time, so that what else the machine does counts little.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pytest

from earwitness.virtual.scenario import load

SECONDS, FLOOR_S = 5.0, 0.035


def floor() -> None:
    """A few products of matrices, and of complex numbers one by one, in single precision."""
    square = np.linspace(0.0, 1.0, 512**2, dtype=np.float32).reshape(512, 512)
    wide = np.tile(square, (1, 4))
    turning = (wide + 1j * wide).astype(np.complex64)
    for _ in range(4):
        square @ wide
        np.multiply(turning, turning, out=turning)
        np.sqrt(wide)


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Of the processor, the shortest of `repeats` runs."""
    found = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        found.append(time.process_time() - start)
    return min(found)


def linear_set(name: str) -> None:
    """All turns of a scenario, from its file."""
    session = load(name).session
    responses = session.impulse_responses([turn.name for turn in session.turns])
    assert len(responses) == 72


@pytest.mark.alone
@pytest.mark.parametrize(
    ("name", "share"), [("gatepost", 1.0), ("anvil", 0.5)], ids=["tower, four radiators", "two-way, vented"]
)
def test_a_linear_set_with_room(name: str, share: float) -> None:
    before = seconds(floor, 10)
    taken = seconds(lambda: linear_set(name), 1)
    lowest = min(before, seconds(floor, 10))
    assert taken / lowest < share * SECONDS / FLOOR_S
