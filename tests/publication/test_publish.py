"""A publication as a whole: what is written, what is replaced, what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from publishable import build_folder

from earwitness.publication.context import PublicationContext
from earwitness.publication.publish import publish
from earwitness.records.errors import CallError


def contents(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_everything_is_there(published: Path) -> None:
    names = set(contents(published))
    assert {"index.html", "earwitness.js", "report.pdf", "pictures/a-response-set.svg"} <= names
    assert {
        f"data/{n}" for n in ("README.txt", "curves.csv", "figures.csv", "curves.nc", "responses.nc")
    } <= names
    assert {"data/results.json", "data/findings.json"} <= names


def test_the_same_case_gives_the_same_bytes(
    published: Path, context: PublicationContext, tmp_path: Path
) -> None:
    again = publish(context, build_folder(tmp_path / "build"), tmp_path / "elsewhere")
    assert contents(again.folder) == contents(published)


def test_a_publication_is_replaced_as_a_whole(context: PublicationContext, tmp_path: Path) -> None:
    build, target = build_folder(tmp_path / "build"), tmp_path / "publication"
    publish(context, build, target)
    (target / "data" / "old.csv").write_text("from before")
    publish(context, build, target)
    assert not (target / "data" / "old.csv").exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["build", "publication"]


def test_a_folder_with_other_files_is_refused(context: PublicationContext, tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    with pytest.raises(CallError, match=r"thesis\.txt"):
        publish(context, tmp_path, tmp_path)
    assert (tmp_path / "thesis.txt").read_text() == "years of work"
