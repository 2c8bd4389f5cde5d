"""What fuzzing starts from is read, and what it ever found is refused in one line or read."""

from __future__ import annotations

from pathlib import Path

import pytest
from fuzz.targets import TARGETS

FOUND = Path(__file__).parent / "found"


@pytest.mark.parametrize("name", TARGETS)
def test_seeds(name: str) -> None:
    target = TARGETS[name]
    accepted = [target.accepts(seed) for seed in target.seeds()]
    assert any(accepted)


@pytest.mark.parametrize(
    "kept", [pytest.param(p, id=str(p.relative_to(FOUND))) for p in sorted(FOUND.glob("*/*"))]
)
def test_what_was_found(kept: Path) -> None:
    TARGETS[kept.parent.name].accepts(kept.read_bytes())
