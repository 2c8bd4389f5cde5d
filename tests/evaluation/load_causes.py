"""Whether a limiter is told from heat: seeded runs from the workshop's physics, and a table of what was said.

``PYTHONPATH=tests python -m evaluation.load_causes FIRST LAST`` prints it. Seeds below 1000 were looked at
while the rule was made; those from 1000 on were not.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable

from made_runs import NOT_THERE_DB, THERE_DB, drawn, run_of, scenario_of, truth_db

from earwitness.acoustics.endurance import frames_of
from earwitness.acoustics.load_causes import LoadCause, Verdict, load_causes

LOAD_S, REST_S = 60, 60
CAUSES = (LoadCause.HEAT, LoadCause.LIMITER)


def judged(seed: int, tell: bool = False) -> list[tuple[LoadCause, bool, Verdict]] | None:
    """Of both causes whether it is there and what is said of it; None of a case that is neither."""
    one = drawn(seed)
    run = run_of(scenario_of(one), one.drive_v, LOAD_S, REST_S, seed=1)
    truth = truth_db(run)
    if any(NOT_THERE_DB < truth[cause] < THERE_DB for cause in CAUSES):
        return None
    found = load_causes(frames_of(run.recording, run.stimulus, 8000))
    told = [(cause, truth[cause] >= THERE_DB, found.judged[cause].verdict) for cause in CAUSES]
    if tell:
        wrong = [] if all(right(is_there, said) for _, is_there, said in told) else [one, found]
        print(
            seed, {k: round(v, 2) for k, v in truth.items()}, [str(s) for _, _, s in told], *wrong, flush=True
        )
    return told


def right(is_there: bool, said: Verdict) -> bool:
    """Whether it is said as it is."""
    return said is (Verdict.ACTS if is_there else Verdict.NOT_SEEN)


def counted(
    seeds: Iterable[int], wanted: int, tell: bool = False
) -> tuple[Counter[tuple[str, bool, str]], int, int]:
    """What was said of what, over the first `wanted` clear cases; how many were wholly right, and drawn."""
    table: Counter[tuple[str, bool, str]] = Counter()
    cases = wholly = tried = 0
    for seed in seeds:
        tried += 1
        told = judged(seed, tell)
        if told is None:
            continue
        cases += 1
        wholly += all(right(is_there, said) for _, is_there, said in told)
        table.update((str(cause), is_there, str(said)) for cause, is_there, said in told)
        if cases == wanted:
            break
    return table, wholly, tried


if __name__ == "__main__":
    first, count = int(sys.argv[1]), int(sys.argv[2])
    table, wholly, tried = counted(range(first, first + 10 * count), count, tell=True)
    print(f"{wholly} of {count} wholly right, {tried} drawn")
    for key, number in sorted(table.items()):
        print(*key, number)
