from __future__ import annotations

from pathlib import Path

import pytest

from earwitness.case.layout import CaseFolder
from earwitness.records.errors import CaseError


def test_opens_a_case(case: CaseFolder) -> None:
    assert CaseFolder.open(case.root) == case
    assert case.name == "cobble-two"


def test_refuses_what_is_no_case(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match="no such folder"):
        CaseFolder.open(tmp_path / "nowhere")
    with pytest.raises(CaseError, match=r"holds no case\.toml"):
        CaseFolder.open(tmp_path)


@pytest.mark.parametrize("name", ["case.toml", "takes.toml", "raw", "raw.sha256", "build", "publication"])
def test_refuses_links_out_of_the_case(case: CaseFolder, tmp_path: Path, name: str) -> None:
    path = case.root / name
    if path.exists():
        path.rename(tmp_path / "elsewhere")
    else:
        (tmp_path / "elsewhere").mkdir()
    path.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(CaseError, match="is a link"):
        CaseFolder.open(case.root)
