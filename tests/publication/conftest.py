"""A specimen of everything that a publication is made from."""

from __future__ import annotations

from pathlib import Path

import pytest
from publishable import LONG_NAME, build_folder, built, case_files

from earwitness.publication.context import PublicationContext, assemble
from earwitness.publication.publish import publish


@pytest.fixture(scope="session")
def context() -> PublicationContext:
    return assemble(case_files(), built())


@pytest.fixture(scope="session")
def half_empty() -> PublicationContext:
    return assemble(case_files(LONG_NAME), built(half_empty=True))


@pytest.fixture(scope="session")
def published(context: PublicationContext, tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("case")
    publish(context, build_folder(root / "build"), root / "publication")
    return root / "publication"
