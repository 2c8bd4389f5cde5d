"""How often a rub is told, and how often one is told where there is none: seeded draws from the workshop.

``PYTHONPATH=tests python -m evaluation.rattles FIRST COUNT`` prints it. Seeds below 1000 were looked at while
the rule was made; those from 1000 on were not.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
from made_rattles import TONES_HZ, drawn, scenario_of, told, truth_db

from earwitness.derive.rattle_figures import rattle_figures, strongest
from earwitness.records.figures import Quantity
from earwitness.virtual.steady_state import NoSteadyStateError

#: Above the tenth order, re the whole sound at some frequency, dB: a rub is there, or as good as none is.
THERE_DB, NOT_THERE_DB = -34.0, -55.0
#: Near where it is: at its place it is so much weaker than where it is strongest, dB, at most.
NEAR_DB = 6.0


def judged(seed: int) -> tuple[bool, bool, bool] | None:
    """Whether it rubs, whether that is said, and whether near where it is; None of what is neither."""
    one = drawn(seed)
    try:
        scenario = scenario_of(one)
        truth = truth_db(scenario, one.drive_v)
        with tempfile.TemporaryDirectory() as folder:
            found = told(scenario, Path(folder), (one.drive_v,), hum=(one.hum_pa, one.hum_hz), seed=seed)
    except NoSteadyStateError:
        return None
    rubs = one.contact_m is not None and float(truth.max()) >= THERE_DB
    if one.contact_m is not None and not rubs and truth.max() > NOT_THERE_DB:
        return None
    figures = rattle_figures(found)
    near = False
    if figures:
        value = figures[0].value
        assert isinstance(value, Quantity)
        place = int(np.argmin(np.abs(np.log(np.array(TONES_HZ) / value.value))))
        near = bool(truth[place] > truth.max() - NEAR_DB)
    best = strongest(found[0])
    seen = "" if best is None else f"{found[0].bands_hz[best]:.0f} Hz {found[0].part_db[best]:.0f} dB"
    alike, part = np.round(found[0].alike, 2), np.round(found[0].part_db).astype(int)
    print(seed, f"{one.drive_v:.1f} V", one.contact_m is not None, np.round(truth[:6]), seen, flush=True)
    if bool(figures) != rubs:
        print("  ", one, alike[:8].tolist(), part[:8].tolist(), flush=True)
    return rubs, bool(figures), near


if __name__ == "__main__":
    first, count = int(sys.argv[1]), int(sys.argv[2])
    results = [judged(seed) for seed in range(first, first + count)]
    clear = [one for one in results if one is not None]
    print(f"{len(clear)} of {count} clear")
    for (rubs, said, near), number in sorted(Counter(clear).items()):
        print("rubs" if rubs else "doesn't", "told" if said else "not told", "near" if near else "", number)
