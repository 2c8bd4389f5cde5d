"""A case that is published again, or elsewhere, gives the same bytes."""

from __future__ import annotations

from pathlib import Path

import pytest
from user import earwitness


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.mark.parametrize("case", ["demo", "half_empty"])
def test_published_again_and_elsewhere(case: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    root: Path = request.getfixturevalue(case)
    first = contents(root / "publication")
    assert {"index.html", "report.pdf", "earwitness.js"} <= set(first)
    earwitness("publish", root)
    earwitness("publish", root, "--to", tmp_path / "elsewhere")
    for folder in (root / "publication", tmp_path / "elsewhere"):
        again = contents(folder)
        assert set(again) == set(first)
        assert [name for name in first if again[name] != first[name]] == []
