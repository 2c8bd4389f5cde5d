"""Time and memory that the reader of text takes, on files as large as they may be and on malicious ones."""

from __future__ import annotations

import contextlib
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.text import READER
from earwitness.records.errors import ReadError

#: What the largest table may take, in seconds of the processor; on an idle one it is half a second.
LARGE_S = 2.0
#: What any file may take.
ANY_S = 5.0
ANY_BYTES = 1_000_000_000


def large(decimal: str) -> str:
    hz = np.linspace(0.1, 24_000.0, 200_000)
    columns = zip(hz, 80.0 + np.sin(hz), (-0.02 * hz + 180.0) % 360.0 - 180.0, strict=True)
    rows = "\n".join(f"{f:.6f}\t{y:.6f}\t{p:.6f}" for f, y, p in columns)
    return "f [Hz]\tSPL [dB]\tPhase [deg]\n" + rows.replace(".", decimal)


@pytest.mark.parametrize(("decimal", "encoding"), [(".", "utf-8"), (",", "utf-16")])
def test_a_large_table(tmp_path: Path, decimal: str, encoding: str) -> None:
    file = tmp_path / "large.txt"
    file.write_bytes(large(decimal).encode(encoding))
    began = time.process_time()
    (found,) = READER.read(Source(file, "large.txt"), [""])
    assert time.process_time() - began < LARGE_S
    assert found.frequency_hz.size == 200_000


MALICIOUS: dict[str, Callable[[], bytes]] = {
    "as many cells as may be": lambda: (b"1 " * 1000 + b"\n") * 4190,
    "more cells than may be": lambda: (b"1," * 75 + b"1\n") * 205_000,
    "long lines of words": lambda: (b"ab cd " * 2_700 + b"\n") * 2_000,
    "many lines of words": lambda: b"aa bb\n" * 200_000 + b"20 80\n200 81\n",
    "many headings": lambda: b"freq level\n" * 1_999 + b"20 80\n200 81\n",
    "wide headings": lambda: (b";".join([b"aaaa [dB]"] * 1000) + b"\n") * 40 + (b"1;" * 999 + b"1\n") * 3,
    "quotes": lambda: b'"1";"2";"3"\n' * 200_000,
    "one line": lambda: b"1 " * 2**24,
    "line ends": lambda: b"\r" * 30_000_000,
    "zeros": lambda: b"\0" * 2**24,
    "brackets": lambda: (b"(" * 60_000 + b"\n") * 300 + b"20 80\n300 4\n",
    "units": lambda: (b"dB " * 20_000 + b"\n") * 300 + b"20 80\n300 4\n",
    "perhaps thousands": lambda: (
        b"Hz;dB\n" + b"".join(b"%d.%03d;80\n" % (k // 1000 + 1, k % 1000) for k in range(200_000))
    ),
    "commas that may be either": lambda: b"".join(b"%d ,%d\n" % (k + 20, k) for k in range(200_000)),
}


@pytest.mark.parametrize("kind", MALICIOUS)
def test_malicious_files(tmp_path: Path, kind: str) -> None:
    file = tmp_path / "malicious.txt"
    file.write_bytes(MALICIOUS[kind]())
    began = time.process_time()
    with contextlib.suppress(ReadError):
        READER.look(Source(file, "malicious.txt"))
    assert time.process_time() - began < ANY_S


@pytest.mark.parametrize("kind", ["as many cells as may be", "more cells than may be", "quotes", "one line"])
def test_memory(tmp_path: Path, kind: str) -> None:
    file = tmp_path / "malicious.txt"
    file.write_bytes(MALICIOUS[kind]())
    tracemalloc.start()
    with pytest.raises(ReadError):
        READER.look(Source(file, "malicious.txt"))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < ANY_BYTES
