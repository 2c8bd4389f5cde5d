"""Each refusal of AES69 files, our own responses and HDF5, to the letter, quickly and in little memory."""

from __future__ import annotations

import time
import tracemalloc
from pathlib import Path

import pytest
from hostile.refusal import Refusal
from hostile.refusals_of_spheres import SPHERES

from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.registry import look
from earwitness.records.errors import ReadError


@pytest.mark.parametrize("refusal", SPHERES, ids=[refusal.case for refusal in SPHERES])
def test_a_refusal_is_one_line_and_quick(refusal: Refusal, tmp_path: Path) -> None:
    path = refusal.make(tmp_path)
    tracemalloc.start()
    begun = time.monotonic()
    with pytest.raises(ReadError) as refused:
        look(Source(path, path.name))
    taken, peak = time.monotonic() - begun, tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    error = refused.value
    place = f"{error.file}: {error.where}" if error.where else error.file
    assert f"{place}: {error.problem}; {error.remedy}" == refusal.expected
    assert taken < 5.0
    assert peak < 2**28
