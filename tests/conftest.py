"""What tests of several floors share."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from chromium import running
from hypothesis import HealthCheck, settings
from playwright.sync_api import Browser

#: The gate tries the same examples each time; HYPOTHESIS_PROFILE=default looks for new ones.
# How long a draw takes is the machine's matter, which may have other work.
settings.register_profile("same", derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))


@pytest.fixture(autouse=True)
def _no_stated_width(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tables are as wide as they are where nobody states a width; what runs the tests may state one."""
    monkeypatch.delenv("COLUMNS", raising=False)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One browser for all tests of a process."""
    with running() as opened:
        yield opened
