"""Killed at any moment nothing is lost, and the next run goes on."""

from __future__ import annotations

import os
import random
import shutil
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from small_build import killed_at
from user import SCENARIO, new_case, record

from earwitness.case import durable
from earwitness.case.layout import CaseFolder
from earwitness.case.verify import verify
from earwitness.pipeline.build import build
from earwitness.pipeline.intake import accept, look_at
from earwitness.virtual.scenario import load

FILES = ("stimulus.wav", "calibrator_94.wav", "microphone.txt")
NAMED = ("responses.nc", "curves.nc", "results.json", "findings.json", "quality.json", "state.json")


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    names = [n for n in load(SCENARIO).names if n in FILES or n.startswith(("horizontal_+00", "near_field"))]
    return record(tmp_path_factory.mktemp("recordings"), names)


@pytest.fixture(scope="module")
def pristine(recordings: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A case that was built once; a new take is about to come in, and a build to follow."""
    root = new_case(tmp_path_factory.mktemp("pristine") / "case", "Kill", [recordings])
    build(root)
    return root


@pytest.fixture(scope="module")
def newcomer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("newcomer")
    record(folder, ["horizontal_+010_2.83V.wav"])
    return folder


def add_and_build(root: Path, newcomer: Path) -> None:
    accept(root, look_at(root, [newcomer]))
    build(root)


def contents(root: Path) -> dict[str, bytes]:
    named = {name: (root / "build" / name).read_bytes() for name in NAMED}
    return named | {name: (root / name).read_bytes() for name in ("takes.toml", "raw.sha256")}


@pytest.fixture(scope="module")
def undisturbed(pristine: Path, newcomer: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    root = tmp_path_factory.mktemp("undisturbed") / "case"
    shutil.copytree(pristine, root)
    add_and_build(root, newcomer)
    return contents(root)


def in_child(work: Callable[[], None]) -> int:
    """Start `work` in a process of its own; gives its id."""
    child = os.fork()
    if child == 0:
        try:
            work()
        finally:
            os._exit(0)
    return child


def was_killed(child: int) -> bool:
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


def assert_nothing_is_lost(root: Path, newcomer: Path, undisturbed: dict[str, bytes]) -> None:
    report = verify(CaseFolder.open(root))
    assert report.problems == ()
    add_and_build(root, newcomer)
    assert contents(root) == undisturbed
    assert verify(CaseFolder.open(root)).problems == ()
    assert not [p for p in root.rglob("*") if durable.is_temporary(p.name)]


@pytest.mark.slow
def test_killed_at_every_flush_and_rename(
    pristine: Path, newcomer: Path, undisturbed: dict[str, bytes], tmp_path: Path
) -> None:
    """The n-th flush or rename is never reached: the process dies right before it, for every n."""
    moment = 0
    killed = True
    while killed:
        moment += 1
        root = tmp_path / f"{moment}"
        shutil.copytree(pristine, root)
        killed = killed_at(moment, lambda root=root: add_and_build(root, newcomer))  # type: ignore[misc]
        assert_nothing_is_lost(root, newcomer, undisturbed)
        shutil.rmtree(root)
    assert moment > 20


@pytest.mark.slow
def test_killed_at_fifty_random_moments(
    pristine: Path, newcomer: Path, undisturbed: dict[str, bytes], tmp_path: Path
) -> None:
    root = tmp_path / "timed"
    shutil.copytree(pristine, root)
    start = time.perf_counter()
    assert not was_killed(in_child(lambda: add_and_build(root, newcomer)))
    whole = time.perf_counter() - start
    chance = random.Random(20_150)
    for moment in range(50):
        root = tmp_path / f"{moment}"
        shutil.copytree(pristine, root)
        child = in_child(lambda root=root: add_and_build(root, newcomer))  # type: ignore[misc]
        time.sleep(chance.uniform(0.0, whole))
        os.kill(child, signal.SIGKILL)
        was_killed(child)
        assert_nothing_is_lost(root, newcomer, undisturbed)
        shutil.rmtree(root)
