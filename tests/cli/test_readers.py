"""`earwitness readers`: ours, and those of other distributions, one of which is broken."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import pytest
from told import Call

from earwitness.measurement.readers import registry

READER = """
class Pebble:
    name = "pebble"
    suffixes = {".PEBBLE"}
    options = {"loudness": "how loud"}
    def look(self, source): ...
    def read(self, source, selectors): ...
READER = Pebble()
"""


@pytest.fixture
def others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A distribution with a reader that is right and one that isn't there."""
    (tmp_path / "pebble.py").write_text(READER, encoding="utf-8")
    folder = tmp_path / "pebble_reader-2.1.dist-info"
    folder.mkdir()
    (folder / "METADATA").write_text("Metadata-Version: 2.1\nName: pebble-reader\nVersion: 2.1\n")
    lines = "[earwitness.readers]\npebble = pebble:READER\ngravel = gravel:READER\n"
    (folder / "entry_points.txt").write_text(lines)
    monkeypatch.syspath_prepend(str(tmp_path))
    registry._others.cache_clear()
    assert metadata.version("pebble-reader") == "2.1"
    yield
    sys.modules.pop("pebble", None)
    registry._others.cache_clear()


def test_every_reader_of_ours_is_listed(call: Call) -> None:
    told = call("readers", "--json").json["readers"]
    assert [one["name"] for one in told] == list(registry.OWN)
    assert all(one["origin"] == "earwitness" and not one["problem"] for one in told)
    by_name = {one["name"]: one for one in told}
    assert by_name["aes69"]["suffixes"] == [".sofa"]
    assert "level" in by_name["text"]["options"]
    shown = call("readers").out
    assert "read of matlab and hdf5_arrays:" in shown
    assert all(key in shown for one in told for key in one["options"])


@pytest.mark.usefixtures("others")
def test_readers_of_others_say_where_they_come_from(call: Call) -> None:
    told = {one["name"]: one for one in call("readers", "--json").json["readers"]}
    assert told["pebble"] == {
        "name": "pebble",
        "suffixes": [".pebble"],
        "options": {"loudness": "how loud"},
        "origin": "pebble-reader 2.1",
        "problem": "",
    }
    assert told["gravel"]["suffixes"] == []
    assert "fails with ModuleNotFoundError" in told["gravel"]["problem"]
    shown = call("readers").out
    assert "pebble-reader 2.1" in shown
    assert "loudness  how loud" in shown


def test_it_needs_no_case(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "earwitness", "readers"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    assert done.stdout.startswith("reader ")
