"""What holds a level down, told from sweeps alone: seeded series of the workshop, and what was said of them.

``PYTHONPATH=tests python -m evaluation.held_levels FIRST COUNT`` prints it. Seeds below 1000 were looked at
while the rule was made; those from 1000 on were not.
"""

from __future__ import annotations

import sys
import tempfile
import tomllib
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from accuracy.distortion import record

from earwitness.acoustics.held_level import HeldBy, HeldLevel, held_level
from earwitness.derive.distortion import change
from earwitness.derive.held_level import losses_of
from earwitness.records.grid import derived_grid
from earwitness.virtual.electronics import Clipping, Electronics, Limiter
from earwitness.virtual.scenario import FOLDER, Scenario, from_text
from earwitness.virtual.toml_text import toml_text

KINDS: Final = ("nothing", "limiter", "clipping", "heat", "limiter and heat", "clipping and heat")
SWEEP_S: Final = 3.0
#: What is there takes so many dB at the highest drive, what isn't no more than that.
THERE_DB, NOT_THERE_DB = 0.5, 0.15
#: Where heat is looked for.
BAND_HZ: Final = (300.0, 12_000.0)
_PERIOD: Final = 4096


@dataclass(frozen=True)
class Drawn:
    """A series as it is drawn."""

    name: str
    kind: str
    drives_v: tuple[float, ...]
    limiter: dict[str, float] | None
    clipping: dict[str, float] | None
    coil_k_per_w: float | None
    ambient_pa: float


def drawn(seed: int) -> Drawn:
    """Each kind alike often; from four to seven drives, 2 to 4 dB apart."""
    random = np.random.default_rng([4127, seed])

    def log(low: float, high: float) -> float:
        return float(np.exp(random.uniform(np.log(low), np.log(high))))

    kind = str(random.choice(KINDS))
    count, step = int(random.integers(4, 8)), float(random.uniform(2.0, 4.0))
    top = log(8.0, 12.0)
    drives = tuple(float(f"{top * 10 ** (-step * k / 20):.3g}") for k in range(count - 1, -1, -1))
    peak = top * np.sqrt(2.0)
    limiter = {
        "threshold_v": peak * log(0.35, 0.9),
        "knee_db": float(random.uniform(0.0, 8.0)),
        "attack_s": log(0.0005, 0.02),
        "release_s": log(0.05, 1.0),
        "ratio": log(3.0, 100.0),
    }
    clipping = {"clips_v": peak * log(0.5, 0.95)}
    if random.random() < 0.5:
        clipping["softness"] = log(2.0, 8.0)
    return Drawn(
        name=str(random.choice(["thimble", "ladle"])),
        kind=kind,
        drives_v=drives,
        limiter=limiter if "limiter" in kind else None,
        clipping=clipping if "clipping" in kind else None,
        coil_k_per_w=log(4.0, 12.0) if "heat" in kind else None,
        ambient_pa=log(0.0003, 0.003),
    )


def scenario_of(one: Drawn) -> Scenario:
    """The loudspeaker behind its electronics, in a room of its own noise."""
    document: dict[str, Any] = tomllib.loads((FOLDER / f"{one.name}.toml").read_text(encoding="utf-8"))
    for box in document["enclosures"]:
        for unit in box["drive_units"]:
            if one.coil_k_per_w is None:
                unit.pop("heating", None)
            elif "heating" in unit:
                unit["heating"]["coil_k_per_w"] = one.coil_k_per_w
        for port in box.get("ports", []):
            port.pop("noise", None)
    document |= {} if one.limiter is None else {"limiter": one.limiter}
    document |= {} if one.clipping is None else {"clipping": one.clipping}
    document["levels"]["drives_v"] = [drive for drive in one.drives_v if drive != 2.83]
    scenario = from_text(one.name, toml_text(document))
    room = replace(scenario.session.workshop.room, ambient_pa=one.ambient_pa)
    session = replace(scenario.session, workshop=replace(scenario.session.workshop, room=room))
    return replace(scenario, session=session)


def truth_db(one: Drawn, folder: Path) -> tuple[float, float, float]:
    """What limiter, clipping and heat take at the highest drive, dB, heat where it takes most."""
    top = max(*one.drives_v, 2.83)
    limiter = None if one.limiter is None else Limiter(**one.limiter)
    clipping = None if one.clipping is None else Clipping(**one.clipping)
    losses = [
        -20.0
        * np.log10(
            2.0 / _PERIOD * abs(np.fft.rfft(part.tone(np.sqrt(2.0) * top, _PERIOD))[1]) / (np.sqrt(2.0) * top)
        )
        for part in (Electronics(limiter), Electronics(None, clipping))
    ]
    if one.coil_k_per_w is None:
        return float(losses[0]), float(losses[1]), 0.0
    warm, cold = (
        change(record(scenario_of(each), folder / name, SWEEP_S).series)
        for name, each in (("warm", one), ("cold", replace(one, coil_k_per_w=None)))
    )
    f = derived_grid()
    inside = (f > BAND_HZ[0]) & (f < BAND_HZ[1])
    return (
        float(losses[0]),
        float(losses[1]),
        float(np.max(cold.broad_db[-1, inside] - warm.broad_db[-1, inside])),
    )


def right(limiter: float, clipping: float, heat: float) -> HeldBy | None:
    """What is to be said; None where something is there by halves."""
    if any(NOT_THERE_DB < each < THERE_DB for each in (limiter, clipping, heat)):
        return None
    if limiter >= THERE_DB:
        return HeldBy.LIMITER
    if clipping >= THERE_DB:
        return HeldBy.CLIPPING
    return HeldBy.HEAT if heat >= THERE_DB else HeldBy.NOTHING


def told(one: Drawn, folder: Path) -> tuple[HeldLevel | None, float]:
    """What is said, and the series' lowest drive."""
    series = record(scenario_of(one), folder / "told", SWEEP_S).series
    losses = losses_of(series)
    return None if losses is None else held_level(losses[1]), series.drives[0].value


def main(first: int, count: int) -> None:
    """Print each case and the table."""
    table: Counter[tuple[str, str]] = Counter()
    inside = thresholds = cases = 0
    for seed in range(first, first + 10 * count):
        one = drawn(seed)
        with tempfile.TemporaryDirectory() as folder:
            losses = truth_db(one, Path(folder))
            wanted = right(*losses)
            if wanted is None:
                continue
            found, lowest = told(one, Path(folder))
        said = "nothing told" if found is None else str(found.held_by)
        table[wanted, said] += 1
        line = ""
        if found is not None and found.threshold is not None and one.limiter is not None:
            true = 20.0 * np.log10(one.limiter["threshold_v"] / np.sqrt(2.0) / lowest)
            at = found.threshold
            thresholds += 1
            inside += at.low_db <= true <= at.high_db
            line = f"threshold {at.over_db - true:+.2f} dB, {at.high_db - at.low_db:.1f} wide"
        mark = "" if said == wanted else "  <-- " + repr((one, found))
        print(seed, one.kind, np.round(losses, 2), wanted, said, line, mark, flush=True)
        cases += 1
        if cases == count:
            break
    for (wanted_, said_), number in sorted(table.items()):
        print(f"{wanted_}: {said_} {number}")
    print(f"thresholds inside their interval: {inside} of {thresholds}")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
