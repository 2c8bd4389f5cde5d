from __future__ import annotations

import io
import tracemalloc
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.io
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from earwitness.measurement.readers.contents import (
    Contents,
    Form,
    LevelUnit,
    MeasuredResponse,
    Recording,
    Source,
)
from earwitness.measurement.readers.matlab import READER
from earwitness.measurement.readers.matlab_level5 import Level5File
from earwitness.records.errors import ReadError
from earwitness.records.takes import ReadOption

F = np.linspace(100.0, 20_000.0, 50)
AZIMUTH = np.array([0.0, 30.0, 350.0])
#: 0 dB, 6.02 dB and -6.02 dB re 1 Pa; phases 0, 90 and 180 degrees.
H = np.array([1.0, 2.0j, -0.5])[:, np.newaxis] * np.ones(50)
SPHERE = {"frequency": "f", "complex": "H", "unit": "Pa", "azimuth": "az", "elevation": 0}


def saved(folder: Path, arrays: Mapping[str, Any], **how: Any) -> Path:
    file = folder / "arrays.mat"
    scipy.io.savemat(file, dict(arrays), **how)
    return file


def source(file: Path, read: Mapping[str, ReadOption]) -> Source:
    return Source(file, "arrays.mat", tuple(read.items()))


def responses(file: Path, read: Mapping[str, ReadOption], *selectors: str) -> list[MeasuredResponse]:
    found = READER.read(source(file, read), selectors)
    return [one for one in found if isinstance(one, MeasuredResponse)]


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("turned", [False, True])
def test_complex_responses_with_positions(tmp_path: Path, packed: bool, turned: bool) -> None:
    arrays = {"f": F, "H": H.T if turned else H, "az": AZIMUTH}
    file = saved(tmp_path, arrays, do_compression=packed)
    contents = READER.look(source(file, SPHERE))
    assert contents.form is Form.RESPONSES
    assert [part.selector for part in contents.parts] == ["1", "2", "3"]
    assert [part.position_deg for part in contents.parts] == [(0.0, 0.0), (30.0, 0.0), (350.0, 0.0)]
    third, first, second = responses(file, SPHERE, "3", "1", "2")
    assert first.unit is LevelUnit.PASCAL
    np.testing.assert_allclose(first.frequency_hz, F, rtol=1e-12)
    for found, level, phase in ((first, 0.0, 0.0), (second, 6.0206, 90.0), (third, -6.0206, 180.0)):
        np.testing.assert_allclose(found.level_db, level, atol=1e-4)
        assert found.phase_deg is not None
        np.testing.assert_allclose(found.phase_deg, phase, atol=1e-9)
