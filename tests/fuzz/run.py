"""Fuzz every target: ``python -m fuzz.run [--seconds 600] [TARGET...]``.

Each runs for so many seconds, two at a time. What makes one fail, hang for over 5 s or take over 1 GB is kept
in ``found/<target>/``, where the tests replay it for good.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path

from fuzz.targets import TARGETS

HERE = Path(__file__).parent
FOUND = HERE / "found"
AT_ONCE = 2
LONGEST_S = 5
LARGEST_MB = 1024
LONGEST_INPUT = 32_768
#: After so many findings a target has had enough.
ENOUGH = 5


@dataclass
class Outcome:
    """How fuzzing one target went."""

    target: str
    runs: int = 0
    coverage: int = 0
    memory_mb: int = 0
    found: list[str] = field(default_factory=list)
    log: str = ""

    @property
    def line(self) -> str:
        """One line of the table."""
        told = ", ".join(self.found) or "nothing found"
        return (
            f"{self.target:12} {self.runs:>9} runs  {self.coverage:>5} edges  {self.memory_mb:>4} MB  {told}"
        )


def fuzz(target: str, seconds: float) -> Outcome:
    """Fuzz one target for so long, going on after what is found."""
    outcome = Outcome(target)
    kept = FOUND / target
    kept.mkdir(parents=True, exist_ok=True)
    before = set(kept.iterdir())
    ends = time.monotonic() + seconds
    with tempfile.TemporaryDirectory(prefix="corpus-") as corpus:
        for number, seed in enumerate(TARGETS[target].seeds()):
            (Path(corpus) / f"seed{number}").write_bytes(seed)
        while len(outcome.found) < ENOUGH and (left := int(ends - time.monotonic())) > 0:
            _run(outcome, corpus, kept, left)
            new = sorted(set(kept.iterdir()) - before)
            outcome.found += [path.name for path in new]
            before |= set(new)
            if not new:
                break
    if not any(kept.iterdir()):
        kept.rmdir()
    return outcome


def _run(outcome: Outcome, corpus: str, kept: Path, seconds: int) -> None:
    options = {
        "max_total_time": seconds,
        "timeout": LONGEST_S,
        "rss_limit_mb": LARGEST_MB,
        "max_len": LONGEST_INPUT,
        "artifact_prefix": f"{kept}/",
        "print_final_stats": 1,
        "verbosity": 1,
    }
    call = [sys.executable, "-m", "fuzz.one", outcome.target]
    call += [f"-{key}={value}" for key, value in options.items()]
    environment = {**os.environ, "PYTHONPATH": str(HERE.parent)}
    done = subprocess.run(
        [*call, corpus], capture_output=True, text=True, errors="replace", check=False, env=environment
    )
    log = done.stdout + done.stderr
    outcome.runs += _last(r"stat::number_of_executed_units:\s*(\d+)", log)
    outcome.memory_mb = max(outcome.memory_mb, _last(r"stat::peak_rss_mb:\s*(\d+)", log))
    outcome.coverage = max(outcome.coverage, _last(r"\bcov: (\d+)", log))
    if done.returncode:
        outcome.log += log[-4000:]


def _last(pattern: str, log: str) -> int:
    found = re.findall(pattern, log)
    return int(found[-1]) if found else 0


def main(words: Sequence[str] | None = None) -> int:
    """Fuzz what is asked for; 1 if something was found."""
    parser = argparse.ArgumentParser(prog="python -m fuzz.run", description="Fuzz every reader.")
    parser.add_argument("--seconds", type=float, default=600.0, help="how long each target is fuzzed")
    parser.add_argument("targets", nargs="*", choices=[[], *TARGETS], default=[])
    asked = parser.parse_args(words)
    if find_spec("atheris") is None:
        print("atheris isn't installed: it has wheels for Linux on x86-64 and Python 3.11 to 3.13")
        return 2
    targets = asked.targets or list(TARGETS)
    with ThreadPoolExecutor(AT_ONCE) as pool:
        outcomes = list(pool.map(lambda target: fuzz(target, asked.seconds), targets))
    for outcome in outcomes:
        print(outcome.line)
    logs = [outcome.log for outcome in outcomes if outcome.log]
    print("\n\n".join(logs), file=sys.stderr)
    return 1 if logs else 0


if __name__ == "__main__":
    sys.exit(main())
