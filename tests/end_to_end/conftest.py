"""Cases that are built as a user's would be."""

from __future__ import annotations

from pathlib import Path

import pytest
from user import LONG_NAME, SCENARIO, earwitness, new_case, record

from earwitness.virtual.scenario import load


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo case, built and published by its own command."""
    root = tmp_path_factory.mktemp("demo") / "case"
    earwitness("demo", root)
    return root


@pytest.fixture(scope="session")
def loud(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small loudspeaker that was recorded at several drives."""
    root = tmp_path_factory.mktemp("loud")
    earwitness("demo", root, "thimble")
    return next(root.glob("*/case.toml")).parent


@pytest.fixture(scope="session")
def half_empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One orbit, no near field, a 60-character name: built and published."""
    folder = tmp_path_factory.mktemp("half-empty")
    names = [n for n in load(SCENARIO).names if not n.startswith(("vertical", "near_field"))]
    root = new_case(folder / "case", LONG_NAME, [record(folder / "recordings", names)])
    earwitness("build", root)
    earwitness("publish", root)
    return root
