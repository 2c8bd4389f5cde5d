"""Whether heat is told from a limit where a band changes with the drive: seeded series, and what was said.

``PYTHONPATH=tests python -m evaluation.level_changes FIRST COUNT`` prints the table, with the impedance known
and without. Seeds 60 000 to 60 059 were looked at while priors and spreads were set; which of those from
70 000 on weren't, docs/evaluation.md says.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from made_levels import GRID, MadeLevels, drawn

from earwitness.findings.causes.level_judge import causes_of_change
from earwitness.findings.causes.stretch import stretch_of
from earwitness.findings.level_changes import find_changes
from earwitness.records.long_term import NO_LONG_TERM
from earwitness.virtual.steady_state import NoSteadyStateError

CAUSES = ("thermal", "nonlinear")


@dataclass
class Tally:
    """Of C changes: of each cause how often it was right, said, and there; and the sum of (p − y)²."""

    changes: int = 0
    exact: int = 0
    told: int = 0
    brier: float = 0.0
    brier_told: float = 0.0
    counts: Counter[tuple[str, str]] = field(default_factory=Counter)

    def add(self, said: dict[str, float], true: frozenset[str], *, told: bool) -> None:
        """One change more; of what can't be told nothing counts as said."""
        self.changes += 1
        off = sum((said.get(cause, 0.0) - (cause in true)) ** 2 for cause in CAUSES)
        self.brier += off
        if told:
            self.told += 1
            self.brier_told += off
            believed = {cause for cause in CAUSES if said.get(cause, 0.0) > 0.5}
            self.exact += believed == true
        else:
            believed = set()
        for cause in CAUSES:
            self.counts[cause, "said"] += cause in believed
            self.counts[cause, "there"] += cause in true
            self.counts[cause, "right"] += cause in believed and cause in true


def counted(seeds: Iterable[int]) -> tuple[dict[str, Tally], Counter[frozenset[str]], int]:
    """With the impedance and without it; the true sets; and how many loudspeakers there were."""
    tallies = {"impedance": Tally(), "none": Tally()}
    sets: Counter[frozenset[str]] = Counter()
    loudspeakers = 0
    for seed in seeds:
        made = MadeLevels(drawn(seed))
        try:
            changes = find_changes(made.level, GRID)
        except NoSteadyStateError:
            continue
        loudspeakers += 1
        for change in changes:
            true = made.true_causes(change.band_hz, change.sign)
            sets[true] += 1
            for name, impedance in (("impedance", made.impedance), ("none", None)):
                told = causes_of_change(stretch_of(change, made.level, GRID, impedance), NO_LONG_TERM)
                said = {str(each.cause): each.probability for each in told.said}
                tallies[name].add(said, true, told=told.cannot_tell < 0.5)
    return tallies, sets, loudspeakers


if __name__ == "__main__":
    first, count = int(sys.argv[1]), int(sys.argv[2])
    found, sets, loudspeakers = counted(range(first, first + count))
    print(loudspeakers, "loudspeakers;", {" ".join(sorted(each)): number for each, number in sets.items()})
    for name, tally in found.items():
        print(name, f"{tally.changes} changes, told {tally.told}, exact {tally.exact}")
        print(
            f"  Brier {tally.brier / tally.changes:.3f}, of told {tally.brier_told / max(tally.told, 1):.3f}"
        )
        for cause in CAUSES:
            print(" ", cause, *(f"{what} {tally.counts[cause, what]}" for what in ("right", "said", "there")))
