from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.case.raw_store import add_raw

Put = Callable[..., None]


@pytest.fixture
def case(tmp_path: Path) -> CaseFolder:
    return new_case(tmp_path / "cobble-two", "Cobble Two")


@pytest.fixture
def put(case: CaseFolder, tmp_path: Path) -> Put:
    """Adds small raw files by name, each with its own name as content."""

    def add(*names: str) -> None:
        folder = tmp_path / "session"
        for name in names:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(name.encode())
        add_raw(case, [(folder / name, name) for name in names])

    return add
