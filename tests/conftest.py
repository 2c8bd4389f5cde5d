"""What tests of several floors share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from chromium import running
from playwright.sync_api import Browser


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all tests of a process."""
    with running() as opened:
        yield opened
