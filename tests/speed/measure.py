"""`make speed`: how long the main job takes, as ratios to a floor that is measured in the same run.

The floor is what can't be avoided: reading the recordings and one forward and one inverse transform of each.
Leaves with exit code 1 where a limit is passed.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Final

import numpy as np
import scipy.fft
import soundfile
from user import SCENARIO, new_case

from earwitness.pipeline.build import build
from earwitness.publication.from_case import publish_case
from earwitness.virtual.scenario import load

#: With the silence after it, a sweep of this length fills 2^18 samples at 48 kHz.
SWEEP_S: Final = 5.1
TRANSFORM: Final = 2**19
BLOCK: Final = 8
LIMITS: Final = {
    "recordings to results, of the floor": 3.0,
    "peak memory, GB": 1.0,
    "rebuild after editing the verdict, of a build": 0.15,
    "publish, s": 10.0,
    "help, s": 0.3,
    "with six levels on axis, of the floor": 3.0,
    "findings, s": 3.0,
}
#: So many processes measure each case.
ROUNDS: Final = 3
#: Drives of the levels, V, and the recording that they are copies of.
LEVELS_V: Final = (0.707, 1.414, 4.0, 5.66, 8.0, 11.3)
LEVELS_FROM: Final = "horizontal_+000_2.83V.wav"


def seconds(work: Callable[[], object], repeats: int = 1) -> float:
    """The shortest of `repeats` runs."""
    found = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def built(root: Path) -> tuple[float, float]:
    """Seconds of a build up to the results and what the data are fit for, and of its findings."""
    marks: dict[int, float] = {}

    def progress(what: str, done: int, _total: int) -> None:
        if what == "finding":
            marks[done] = time.perf_counter()

    whole = seconds(lambda: build(root, progress))
    finding = marks[1] - marks[0]
    return whole - finding, finding


def with_levels(folder: Path, recordings: Path) -> None:
    """Copies of the recordings, and of the one on axis as if it were played at other drives."""
    shutil.copytree(recordings, folder)
    sound, rate = soundfile.read(recordings / LEVELS_FROM, dtype="float32")
    for drive_v in LEVELS_V:
        name = LEVELS_FROM.replace("2.83V", f"{drive_v:g}V")
        soundfile.write(folder / name, sound * (drive_v / LEVELS_V[-1]), rate, subtype="PCM_24")


def floor(recordings: list[Path]) -> None:
    """Read every recording; one forward and one inverse transform each."""
    for start in range(0, len(recordings), BLOCK):
        block = [soundfile.read(p, dtype="float32")[0] for p in recordings[start : start + BLOCK]]
        scipy.fft.irfft(scipy.fft.rfft(np.stack(block), TRANSFORM, workers=1), TRANSFORM, workers=1)


def measure(root: Path) -> dict[str, float]:
    """Seconds of a build and of its floor, in this one process, after imports; and what follows a build."""
    recordings = sorted((root / "raw").glob("*V.wav"))
    lowest = seconds(lambda: floor(recordings), 3)
    results, finding = built(root)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    (root / "verdict.md").write_text("Another verdict.\n", encoding="utf-8")
    again = seconds(lambda: build(root), 3)
    published = seconds(lambda: publish_case(root))
    help_s = seconds(
        lambda: subprocess.run(
            [sys.executable, "-m", "earwitness", "--help"], check=True, capture_output=True
        ),
        5,
    )
    return {
        "floor": lowest,
        "results": results,
        "finding": finding,
        "peak": peak,
        "again": again,
        "published": published,
        "help": help_s,
    }


def least(folder: Path, name: str) -> dict[str, float]:
    """The least that several processes found, each with a case of its own: other work only adds."""
    found = []
    for count in range(ROUNDS):
        case = new_case(folder / f"{name} case {count}", "Speed", [folder / name])
        told = subprocess.run(
            [sys.executable, __file__, str(case)],
            check=True,
            capture_output=True,
            text=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},  # as commands do
        )
        found.append(json.loads(told.stdout))
    lowest = {what: min(one[what] for one in found) for what in found[0]}
    print(f"{name}: " + ", ".join(f"{what} {value:.3f}" for what, value in lowest.items()))
    return lowest


def main() -> int:
    """Prepare cases in one process, measure each in others."""
    if len(sys.argv) > 1:
        print(json.dumps(measure(Path(sys.argv[1]))))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        load(SCENARIO).record(Path(folder) / "recordings", sweep_s=SWEEP_S)
        with_levels(Path(folder) / "levels", Path(folder) / "recordings")
        one, six = (least(Path(folder), name) for name in ("recordings", "levels"))
    values = (
        one["results"] / one["floor"],
        one["peak"],
        one["again"] / (one["results"] + one["finding"]),
        one["published"],
        one["help"],
        six["results"] / six["floor"],
        one["finding"],
    )
    for (name, limit), value in zip(LIMITS.items(), values, strict=True):
        verdict = "" if value <= limit else "   TOO MUCH"
        print(f"{name:48} {value:7.3f}   at most {limit:g}{verdict}")
    return int(any(value > limit for limit, value in zip(LIMITS.values(), values, strict=True)))


if __name__ == "__main__":
    sys.exit(main())
