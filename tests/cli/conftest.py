"""Commands in this process, and small sets of files to give them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from told import Call, Told
from user import SCENARIO

from earwitness.case.manifest import new_case
from earwitness.cli.run import run
from earwitness.pipeline.build import build
from earwitness.pipeline.intake import accept, look_at
from earwitness.virtual.scenario import load

#: Enough for a build: one direction, its stimulus and the chain's level.
SMALL = ("stimulus.wav", "calibrator_94.wav", "microphone.txt", "horizontal_+000_2.83V.wav")


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    """Run one command in this process."""

    def called(*words: str | Path) -> Told:
        capsys.readouterr()
        code = run([str(word) for word in words])
        return Told(code, *capsys.readouterr())

    return called


@pytest.fixture(scope="session")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A few recordings of the demo's loudspeaker, with a short sweep."""
    folder = tmp_path_factory.mktemp("recordings")
    load(SCENARIO).record(folder, only=SMALL, sweep_s=0.8)
    return folder


@pytest.fixture(scope="session")
def built(recordings: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small case that is built; copied before it is changed."""
    root = tmp_path_factory.mktemp("built") / "case"
    new_case(root, "Cobble Two", {"case.toml": load(SCENARIO).facts.read_text(encoding="utf-8")})
    accept(root, look_at(root, [recordings]))
    build(root)
    return root


@pytest.fixture
def case(built: Path, tmp_path: Path) -> Path:
    """A copy of the small built case."""
    root = tmp_path / "case"
    shutil.copytree(built, root)
    return root


@pytest.fixture
def empty(call: Call, tmp_path: Path) -> Path:
    """A case that was just started."""
    root = tmp_path / "started"
    assert call("new", root).code == 0
    return root
