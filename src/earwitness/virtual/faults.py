"""What is wrong with a loudspeaker, and what it would be without: the counterfactual.

A fault is said beside the parts, with the cause it is an instance of. There are four ways to say what the
loudspeaker would be without it:

- `silences`: parts of the source that keep their place but don't sound (`Source.without`): modes of cones,
  panels, pipes, standing waves.
- `instead`: values that the document would have: ``"branches.tweeter.delay_s" = 0.0``.
- `edges`: radiators that would radiate as if their cabinet had none: each as a point on a rigid ball of its
  own, at its place and facing its way; see `counterfactual`.
- `together`: radiators that would lie in one place: what each sends in each direction stays as it is, its
  cabinet's diffraction included, and only the way to the listener is that from the mean of their centres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

from earwitness.virtual.tables import Table

Cause = Literal[
    "resonance",
    "edge_diffraction",
    "spaced_sources",
    "crossover_misalignment",
    "driver_directivity",
    "voicing",
    "port_or_cavity",
]
#: Lists that lie in an enclosure; a path of `instead` may start with them.
INSIDE: Final = ("drive_units", "ports", "resonators", "waves")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong. `note` says it to a person."""

    name: str
    cause: Cause
    note: str
    silences: tuple[str, ...] = ()
    instead: Mapping[str, float] = field(default_factory=dict)
    edges: tuple[str, ...] = ()
    together: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        said = [bool(way) for way in (self.silences, self.instead, self.edges, self.together)]
        if sum(said) != 1:
            raise ValueError(
                "a fault says what would be without it by one of: silences, instead, edges, together"
            )
        if len(self.together) == 1:
            raise ValueError("together is about two radiators or more")

    @property
    def counterfactual(self) -> Literal["silenced", "instead", "edge_free", "coincident"]:
        """Which of the four ways."""
        if self.silences:
            return "silenced"
        if self.instead:
            return "instead"
        return "edge_free" if self.edges else "coincident"


def read(document: Table) -> tuple[Fault, ...]:
    """The faults of a document."""
    found = tuple(
        table.build(Fault, "instead", instead=_instead(table.table("instead")))
        for table in document.tables("faults")
    )
    names = [fault.name for fault in found]
    if len(set(names)) < len(names):
        raise document.error(f"each fault has a name of its own: {', '.join(names)}")
    return found


def _instead(table: Table) -> dict[str, float]:
    return {path: table.take(float, path) for path in table.content}


def replaced(document: Table, instead: Mapping[str, float]) -> Table:
    """The document with other numbers.

    A path is ``cabinet.KEY`` or ``LIST.NAME.KEY``, with more keys where the number lies deeper in that entry:
    ``branches.tweeter.sections.1.gain_db`` (entries without names are counted from 1).

    Raises
    ------
    ScenarioError
        Where a path leads nowhere.
    """
    content = dict(document.content)
    for path, value in instead.items():
        content = _with(content, steps_to(document, path), value)
    return Table(document.place, content)


def steps_to(document: Table, path: str) -> list[str | int]:
    """The keys and places in lists that lead from the top of a document to what a path names."""
    keys = path.split(".")
    if keys[0] in INSIDE:
        for enclosure in document.tables("enclosures"):
            if any(entry.content.get("name") == keys[1] for entry in enclosure.tables(keys[0])):
                keys = ["enclosures", enclosure.content["name"], *keys]
    content: Any = document.content
    steps: list[str | int] = []
    for key in keys:
        step: str | int | None = key
        if isinstance(content, list):
            called = [entry.get("name", str(number)) for number, entry in enumerate(content, start=1)]
            step = called.index(key) if key in called else None
        elif not isinstance(content, dict) or key not in content:
            step = None
        if step is None:
            raise document.error(f"faults: nothing lies at {path}")
        steps.append(step)
        content = content[step]
    return steps


def _with(content: Any, steps: Sequence[str | int], value: float) -> Any:
    """A copy of a table or list in which the value at the end of `steps` is another."""
    if not steps:
        return value
    copy = content.copy()
    copy[steps[0]] = _with(content[steps[0]], steps[1:], value)
    return copy


def value_at(document: Table, path: str) -> float:
    """The number that a path of `instead` leads to."""
    content: Any = document.content
    for key in steps_to(document, path):
        content = content[key]
    if isinstance(content, bool) or not isinstance(content, int | float):
        raise document.error(f"faults: {path} is no number")
    return float(content)
