"""Many directions in few words: runs of equal steps instead of seventy angles."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Final

from earwitness.derive.wording import listing
from earwitness.publication.wording import named
from earwitness.records.sentences import Sentence, Term, say

_LABEL: Final = re.compile(r"(\w+) ([+−]\d+(?:\.\d+)?)°")
#: Fewer angles in equal steps are named one by one.
_SHORTEST_RUN: Final = 4
_TOLERANCE_DEG: Final = 1e-6


def directions(labels: Iterable[str]) -> Sentence:
    """``vertical −170° to −10° in steps of 10°, +10° and +20°`` from labels of `Direction.label`.

    Labels of another form (``on axis``, ``behind``) stand first, as they are.
    """
    by_orbit: dict[str, list[float]] = {}
    plain: list[Sentence] = []
    for label in labels:
        match = _LABEL.fullmatch(label)
        if match is None:
            plain.append(say(named(label)))
        else:
            angle = float(match[2].replace("−", "-"))
            by_orbit.setdefault(match[1], []).append(angle)
    orbits = (
        say(Term(f"{orbit} {listing(say(Term(t)) for t in _runs(sorted(angles)))}"))
        for orbit, angles in by_orbit.items()
    )
    return listing([*plain, *orbits], "; ", "; ")


def _runs(angles: list[float]) -> Iterator[str]:
    start = 0
    while start < len(angles):
        end = _end_of_run(angles, start)
        if end - start + 1 >= _SHORTEST_RUN:
            step = angles[start + 1] - angles[start]
            yield f"{_angle(angles[start])} to {_angle(angles[end])} in steps of {step:g}°"
            start = end + 1
        else:
            yield _angle(angles[start])
            start += 1


def _end_of_run(angles: list[float], start: int) -> int:
    end = start + 1
    while end + 1 < len(angles) and abs(angles[end + 1] - 2 * angles[end] + angles[end - 1]) < _TOLERANCE_DEG:
        end += 1
    return min(end, len(angles) - 1)


def _angle(angle_deg: float) -> str:
    return f"{angle_deg:+g}°".replace("-", "−")
