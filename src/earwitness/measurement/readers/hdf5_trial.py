"""HDF5 files tried in another process first, for the library trusts them further than it should.

A damaged heap of texts makes it run for ever, and a text that claims a length makes it take that much memory
(both seen with HDF5 2.0 while fuzzing). So another process, whose time and memory are bounded, reads every
text of a file first; what it survives is read here. It lives as long as this one does and waits for files,
so that one costs milliseconds.
"""

from __future__ import annotations

import atexit
import json
import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import IO, Any, Final

#: Processor time for one object or some of its texts, and for all: a sound file takes some milliseconds.
MAX_STEP_S: Final = 0.3
MAX_CPU_S: Final = 2.0
#: Memory, and time on the clock where the machine is busy.
MAX_MEMORY_BYTES: Final = 2**30
MAX_WAIT_S: Final = 20.0
_MAX_OBJECTS: Final = 10_000
_MAX_DEPTH: Final = 16
#: So many texts are read at once.
_TEXTS: Final = 1_000
#: A longer list of texts isn't read.
MAX_TEXTS: Final = 20_000
_FAILS: Final = (OSError, RuntimeError, KeyError, ValueError, TypeError, OverflowError, MemoryError)


def survives(file: Path) -> bool:
    """Whether all texts in an HDF5 file can be read within bounds."""
    return _trials(os.getpid()).survives(file)


@cache
def _trials(process_id: int) -> _Trials:  # noqa: ARG001 - one for each process, for it is not shared
    trials = _Trials()
    atexit.register(trials.end)
    return trials


class _Trials:
    """The other process, started when it is needed and after it died."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[str] | None = None

    def survives(self, file: Path) -> bool:
        """Whether the other process lives to say that all was well."""
        asked, answers = self._pipes()
        print(json.dumps(str(file.absolute())), file=asked, flush=True)
        ready, _, _ = select.select([answers], [], [], MAX_WAIT_S)
        answer = answers.readline() if ready else ""
        if not answer:
            self.end()
        return answer == "well\n"

    def end(self) -> None:
        """End the other process."""
        if self._process is None:
            return
        self._process.kill()
        self._process.communicate()
        self._process = None

    def _pipes(self) -> tuple[IO[str], IO[str]]:
        if self._process is None or self._process.poll() is not None:
            self.end()
            self._process = subprocess.Popen(
                [sys.executable, "-P", __file__],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                text=True,
                env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
            )
        if self._process.stdin is None or self._process.stdout is None:
            raise RuntimeError("the trial's process has no pipes")
        return self._process.stdin, self._process.stdout


def _serve() -> None:
    """In the other process: one answer a line, until the asking one ends."""
    import resource  # noqa: PLC0415 - needed in the other process alone

    import h5py  # noqa: PLC0415 - the same

    resource.setrlimit(resource.RLIMIT_AS, (MAX_MEMORY_BYTES, MAX_MEMORY_BYTES))
    for line in sys.stdin:
        try:
            _read_texts(h5py, json.loads(line))
        except _FAILS:
            print("ill", flush=True)
        else:
            print("well", flush=True)


def _read_texts(h5py: Any, path: str) -> None:
    began = time.process_time()
    _allow_a_step(began)
    try:
        file = h5py.File(path, "r", locking=False)
    except _FAILS:
        # What can't be opened is refused where it is asked for, in better words.
        return
    with file:
        for item in _objects(h5py, file):
            _allow_a_step(began)
            for key in item.attrs:
                found = item.attrs.get_id(key)
                if h5py.check_string_dtype(found.dtype) and found.shape in ((), (1,)):
                    item.attrs.__getitem__(key)
            if isinstance(item, h5py.Dataset) and _is_list_of_texts(h5py, item):
                for start in range(0, item.size, _TEXTS):
                    _allow_a_step(began)
                    item.__getitem__(slice(start, start + _TEXTS) if item.shape else ())


def _allow_a_step(began: float) -> None:
    """Time for one more step, which ends the process when it is over, whatever the library is doing."""
    if time.process_time() - began > MAX_CPU_S:
        raise OSError("reading has no end")
    signal.setitimer(signal.ITIMER_PROF, MAX_STEP_S)


def _is_list_of_texts(h5py: Any, item: Any) -> bool:
    """Whether an array is read as texts, and lies in this file."""
    text = bool(h5py.check_string_dtype(item.dtype)) and item.shape is not None and item.ndim <= 1
    return text and item.size <= MAX_TEXTS and not item.is_virtual and not item.external


def _objects(h5py: Any, file: Any) -> Iterator[Any]:
    """Everything in the file that no link from outside leads to."""
    pending: list[tuple[Any, int]] = [(file, 0)]
    seen: set[int] = set()
    while pending and len(seen) < _MAX_OBJECTS:
        item, depth = pending.pop()
        yield item
        for key in item if isinstance(item, h5py.Group) and depth < _MAX_DEPTH else ():
            if isinstance(item.get(key, getlink=True), h5py.HardLink):
                inner = item[key]
                address = h5py.h5o.get_info(inner.id).addr
                if address not in seen:
                    seen.add(address)
                    pending.append((inner, depth + 1))


if __name__ == "__main__":
    _serve()
