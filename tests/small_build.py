"""A small case and build, for tests that interrupt them: three steps, cached parts, four named files."""

from __future__ import annotations

import dataclasses
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import specimen

from earwitness.case import durable
from earwitness.case.documents import to_json
from earwitness.case.incremental import Build
from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive
from earwitness.case.named_set import NamedSet
from earwitness.case.raw_store import add_raw, check_raw
from earwitness.case.takes import write_takes
from earwitness.records.takes import Direction, Orbit, Take, TakeKey, TakeKind

FLOORS = ("records",)
NAMES = ("responses.nc", "curves.nc", "results.json", "findings.json")


def add(case: CaseFolder, session: Path, names: tuple[str, ...]) -> None:
    """Raw files and their takes, as the command adds them."""
    with exclusive(case):
        add_raw(case, [(session / name, name) for name in names])
        angles = [10.0 * int(Path(name).stem.removeprefix("t")) for name in names]
        keys = [TakeKey(TakeKind.RESPONSE, Direction(Orbit.HORIZONTAL, angle)) for angle in angles]
        write_takes(case, [Take(name, key) for name, key in zip(names, keys, strict=True)])


def build(case: CaseFolder, gain: int = 1) -> tuple[NamedSet, list[str]]:
    """Build the case; the set, and the names of the steps and parts that ran."""
    ran: list[str] = []
    with exclusive(case):
        raw = check_raw(case, full=False)
        making = Build(case)

        def reduce(folder: Path) -> None:
            ran.append("reduce")
            values = []
            for name, sha256 in raw.sha256.items():
                key = making.key("take", floors=FLOORS, inputs=[sha256], options=None)
                cached = making.cached(key)
                if cached is None:
                    ran.append(name)
                    content = (case.raw / name).read_bytes()
                    cached = {"values": np.frombuffer(content[:4].ljust(4), np.uint8) * 1.0}
                    making.store(key, cached)
                values.append(cached["values"].astype(np.float64))
            (folder / "responses.nc").write_bytes(np.sum(values, axis=0).tobytes())

        reduced = making.step(
            "reduce", floors=FLOORS, inputs=list(raw.sha256.values()), options={}, make=reduce
        )

        def derive(folder: Path) -> None:
            ran.append("derive")
            values = np.frombuffer((reduced.folder / "responses.nc").read_bytes()) * gain
            (folder / "curves.nc").write_bytes(values.tobytes())

        derived = making.step(
            "derive", floors=FLOORS, inputs=[reduced.key], options={"gain": gain}, make=derive
        )
        build_id = making.identity(raw.raw_digest)

        def document(folder: Path) -> None:
            ran.append("document")
            results = dataclasses.replace(
                specimen.results(), build_id=build_id, raw_digest=raw.raw_digest, case=str(gain)
            )
            (folder / "results.json").write_bytes(to_json(results))
            findings = dataclasses.replace(specimen.findings(), build_id=build_id, case=str(gain))
            (folder / "findings.json").write_bytes(to_json(findings))

        documents = making.step(
            "document", floors=FLOORS, inputs=[derived.key], options=build_id, make=document
        )
        folders = (reduced.folder, derived.folder, documents.folder, documents.folder)
        named = {name: folder / name for name, folder in zip(NAMES, folders, strict=True)}
        return making.commit(build_id, named), ran


def killed_at(number: int, action: Callable[[], object]) -> bool:
    """Run `action` in a fork that is killed at the `number`-th checkpoint; whether it came to that."""
    child = os.fork()
    if child == 0:
        count = 0

        def checkpoint(name: str) -> None:
            nonlocal count
            count += 1
            if count == number:
                os.kill(os.getpid(), signal.SIGKILL)

        durable.checkpoint = checkpoint
        try:
            action()
        finally:
            # whatever happened, this fork must not return into the test run
            os._exit(int(sys.exc_info()[0] is not None))
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        assert os.WTERMSIG(status) == signal.SIGKILL
        return True
    assert os.WEXITSTATUS(status) == 0
    return False


def tree(case: CaseFolder) -> dict[str, bytes]:
    """Every file of the case but those that hold times and inodes."""
    skip = {case.lock, case.raw_stat}
    files = [path for path in sorted(case.root.rglob("*")) if path.is_file() and path not in skip]
    return {path.relative_to(case.root).as_posix(): path.read_bytes() for path in files}
