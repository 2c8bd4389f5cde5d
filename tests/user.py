"""What a user does: files on disk, commands in processes of their own."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Collection, Sequence
from pathlib import Path

from earwitness.virtual.scenario import load

SCENARIO = "cobble_two"
LONG_NAME = "Reverberance Grand Monitor Anniversary Loudspeaker Mark Four"


def earwitness(*words: str | Path, expect: int = 0) -> subprocess.CompletedProcess[str]:
    """Run one command; its exit code must be `expect`."""
    call = [sys.executable, "-m", "earwitness", *map(str, words)]
    done = subprocess.run(call, capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == expect, f"{' '.join(map(str, words))}\n{done.stdout}\n{done.stderr}"
    return done


def record(folder: Path, only: Collection[str] | None = None) -> Path:
    """Recordings of the demo's loudspeaker, all or those named."""
    load(SCENARIO).record(folder, only=only)
    return folder


def new_case(root: Path, name: str, recordings: Sequence[Path]) -> Path:
    """A case with the demo's facts under another name, and files added to it."""
    earwitness("new", root, "--name", name)
    facts = load(SCENARIO).facts.read_text(encoding="utf-8")
    (root / "case.toml").write_text(facts.replace('"Cobble Two"', f"'{name}'"), encoding="utf-8")
    earwitness("add", root, *recordings, "--yes")
    return root
