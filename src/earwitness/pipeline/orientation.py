"""Angles of ``takes.toml`` into those of AES69: positive to the loudspeaker's left, and upward.

``takes.toml`` keeps angles as the files have them; what their positive side is, ``case.toml`` declares.
Nothing infers it: a mirrored loudspeaker looks as good as the real one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from earwitness.records.facts import Rig
from earwitness.records.takes import Orbit, Take


def turned(takes: Sequence[Take], rig: Rig) -> tuple[Take, ...]:
    """The takes with their directions as AES69 has them.

    On an orbit whose positive side isn't declared they are taken for that already. Entries for every part of
    a file have no direction here: such a file states its positions itself.
    """
    against = {
        Orbit.HORIZONTAL: rig.positive_horizontal == "right",
        Orbit.VERTICAL: rig.positive_vertical == "down",
    }
    return tuple(
        replace(take, key=replace(take.key, direction=take.key.direction.mirrored))
        if take.key.direction and against[take.key.direction.orbit]
        else take
        for take in takes
    )
