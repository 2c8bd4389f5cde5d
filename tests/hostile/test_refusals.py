"""Everything in the table of refusals is refused as it says, and the case stays as it was."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hostile.refusal import Refusal
from hostile.refusals import REFUSALS, page
from small_build import tree

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.cli.run import run

EACH = {f"{heading}: {one.case}": one for heading, group in REFUSALS.items() for one in group}
FACTS = '[unit]\nname = "Cobble Two"\n[rig]\ndistance_m = 2.0\n'


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder that one without privileges may enter too."""
    with tempfile.TemporaryDirectory() as name:
        os.chmod(name, 0o755)
        yield Path(name)


def stated(case: CaseFolder) -> dict[str, bytes]:
    """Every file of the case that isn't derived."""
    return {name: content for name, content in tree(case).items() if not name.startswith("build/")}


@pytest.mark.timeout(30)
@pytest.mark.parametrize("refusal", EACH.values(), ids=EACH.keys())
def test_refusal(refusal: Refusal, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = folder / "files"
    files.mkdir()
    case = new_case(folder / "case", "Cobble Two", {"case.toml": FACTS, "takes.toml": refusal.takes})
    given = refusal.make(files)
    if refusal.command == "build":
        assert run(["add", str(case.root), str(given), "--yes"]) == 0
    before = stated(case)
    capsys.readouterr()
    with refusal.while_(given):
        start = time.monotonic()
        code = run(
            [refusal.command, str(case.root), *([str(given), "--yes"] if refusal.command == "add" else [])]
        )
        took = time.monotonic() - start
    told = capsys.readouterr()
    assert code == 2, told.out
    assert told.err.count("\n") == 1
    assert told.err.removeprefix("earwitness: ").replace(f"{files}/", "").rstrip("\n") == refusal.expected
    assert "Traceback" not in told.out
    assert stated(case) == before
    assert took < 5.0


def test_each_case_stands_once() -> None:
    assert len(EACH) == sum(len(group) for group in REFUSALS.values())


def test_the_page_is_what_the_tests_provoke() -> None:
    """After a change: make refusals."""
    assert (Path(__file__).parents[2] / "docs" / "refusals.md").read_text(encoding="utf-8") == page()
