"""What `remove` prints brings everything back as it was: the file, and what takes.toml said of it."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from told import Call

TEXT = "".join(f"{100 * i} {80 + i / 100}\n" for i in range(1, 40))
ENTRY = """
[[take]]
file = "x.txt"
kind = "response"
orbit = "horizontal"
angle_deg = -40
drive = "1 V"
read = { level = "dB SPL" }
"""


@pytest.fixture
def files(tmp_path: Path) -> Path:
    folder = tmp_path / "files"
    folder.mkdir()
    (folder / "x.txt").write_text(TEXT, encoding="utf-8")
    (folder / "hor+30_2.83V.txt").write_text(TEXT.replace("80", "81"), encoding="utf-8")
    return folder


def undo(out: str) -> list[str]:
    """The words of the command that `remove` prints."""
    (call,) = re.findall(r"`earwitness ([^`]+)`", out)
    return shlex.split(call)


def with_entry(case: Path, text: str = ENTRY) -> bytes:
    takes = case / "takes.toml"
    takes.write_text(takes.read_text(encoding="utf-8") + text, encoding="utf-8")
    return takes.read_bytes()


def test_an_entry_that_no_name_says_comes_back(call: Call, empty: Path, files: Path) -> None:
    before = with_entry(empty)
    assert call("add", empty, files / "x.txt", "--yes").code == 0
    removed = call("remove", empty, "x.txt", "--yes")
    assert "removed 1 file from " in removed.out
    assert b"x.txt" not in (empty / "takes.toml").read_bytes()
    told = call(*undo(removed.out), "--yes")
    assert told.code == 0, told.err
    assert "as it was before it was removed" in told.out
    assert "its entry is gone" not in told.out
    assert (empty / "takes.toml").read_bytes().strip() == before.strip()
    again = call("remove", empty, "x.txt", "--yes")
    assert call(*undo(again.out), "--json", "--yes").json["returned"] == ["x.txt"]


def test_what_was_stated_wins_over_the_name(call: Call, empty: Path, files: Path) -> None:
    name = "hor+30_2.83V.txt"
    with_entry(empty, ENTRY.replace("x.txt", name))
    assert call("add", empty, files, "--yes", "--read", "level=dB SPL", "--drive", "2.83V").code == 2
    assert call("add", empty, files / name, "--yes").code == 0
    told = call(*undo(call("remove", empty, name, "--yes").out), "--yes")
    assert told.code == 0, told.err
    said = (empty / "takes.toml").read_text(encoding="utf-8")
    assert 'drive = "1 V"' in said
    assert "angle_deg = -40" in said


def test_several_come_back_together(call: Call, empty: Path, files: Path) -> None:
    with_entry(empty)
    assert call("add", empty, files, "--yes", "--read", "level=dB SPL").code == 0
    before = (empty / "raw.sha256").read_bytes()
    removed = call("remove", empty, "*", "--yes")
    assert "has them back under their old names" in removed.out
    assert call(*undo(removed.out), "--yes").code == 0
    assert (empty / "raw.sha256").read_bytes() == before


def test_a_rule_that_covers_it_is_said(call: Call, empty: Path, files: Path) -> None:
    rule = '\n[[rule]]\nfiles = "hor{angle}_{drive}.txt"\nkind = "response"\norbit = "horizontal"\n'
    with_entry(empty, rule + 'read = { level = "dB SPL" }\n')
    assert call("add", empty, files / "hor+30_2.83V.txt", "--yes").code == 0
    removed = call("remove", empty, "hor+30_2.83V.txt", "--yes")
    assert 'covered by the rule "hor{angle}_{drive}.txt" in takes.toml' in removed.out
    assert "has no entry" not in removed.out
    told = call(*undo(removed.out), "--yes")
    assert told.code == 0, told.err
    assert "as takes.toml says" in told.out


def test_an_entry_wins_over_a_rule_that_came_meanwhile(call: Call, empty: Path, files: Path) -> None:
    with_entry(empty, ENTRY.replace("x.txt", "hor+30_2.83V.txt"))
    assert call("add", empty, files / "hor+30_2.83V.txt", "--yes").code == 0
    removed = call("remove", empty, "hor+30_2.83V.txt", "--yes")
    with_entry(empty, '\n[[rule]]\nfiles = "hor{angle}_{drive}.txt"\nkind = "response"\norbit = "vertical"\n')
    told = call(*undo(removed.out), "--yes")
    assert told.code == 0, told.err
    assert 'orbit = "horizontal"' in (empty / "takes.toml").read_text(encoding="utf-8")
