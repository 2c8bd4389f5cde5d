from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from earwitness.case import durable


@pytest.fixture
def acts(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What passed the checkpoint, in order."""
    passed: list[str] = []
    monkeypatch.setattr(durable, "checkpoint", passed.append)
    return passed


def test_a_file_is_flushed_renamed_and_its_folder_flushed(tmp_path: Path, acts: list[str]) -> None:
    durable.write_atomically(tmp_path / "a", b"one")
    assert acts == ["flush a", "rename to a", f"flush {tmp_path.name}"]
    durable.write_atomically(tmp_path / "a", b"two", flush=False)
    assert acts[3:] == ["rename to a"]
    assert (tmp_path / "a").read_bytes() == b"two"
    assert [path.name for path in tmp_path.iterdir()] == ["a"]


def test_a_file_keeps_its_content_until_the_new_one_is_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(name: str) -> None:
        raise OSError(name)

    durable.write_atomically(tmp_path / "a", b"one")
    monkeypatch.setattr(durable, "checkpoint", refuse)
    with pytest.raises(OSError, match="flush a"):
        durable.write_atomically(tmp_path / "a", b"two")
    assert (tmp_path / "a").read_bytes() == b"one"


def test_a_folder_takes_the_place_of_another(tmp_path: Path, acts: list[str]) -> None:
    target = tmp_path / "step"
    for content in ("old", "new"):
        with durable.prepared_folder(target) as folder:
            (folder / content).write_text(content)
            durable.replace_folder(folder, target)
    assert [path.name for path in target.iterdir()] == ["new"]
    assert [path.name for path in tmp_path.iterdir()] == ["step"]
    assert acts.index("flush new") < len(acts) - 1 - acts[::-1].index("rename to step")


@pytest.mark.parametrize("length", [1, 255])
def test_temporaries_are_short_hidden_and_known(tmp_path: Path, length: int) -> None:
    name = durable.temporary_beside(tmp_path / ("x" * length)).name
    assert len(name) < 40
    assert name.startswith(".")
    assert durable.is_temporary(name)
    assert not durable.is_temporary("x.partial")


def test_removing_a_link_leaves_what_it_points_to(tmp_path: Path) -> None:
    make: dict[str, Callable[[Path], object]] = {"folder": Path.mkdir, "file": Path.touch}
    for name, action in make.items():
        action(tmp_path / name)
        (tmp_path / f"link to {name}").symlink_to(tmp_path / name)
        durable.remove(tmp_path / f"link to {name}")
        assert (tmp_path / name).exists()
        assert not (tmp_path / f"link to {name}").is_symlink()
        durable.remove(tmp_path / name)
        durable.remove(tmp_path / name)
        assert not (tmp_path / name).exists()
