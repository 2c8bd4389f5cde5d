"""Whatever bytes an AES69 file or a responses.nc holds: its content, or one clear refusal."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from aes69_files import grid, sphere
from hostile.refusals_of_spheres import rows
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.registry import look, reader_of
from earwitness.records.errors import ReadError

FUZZ = settings(max_examples=200, deadline=5_000, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("whole")
    aes69 = sphere(grid(60.0), hz=np.linspace(100.0, 10_000.0, 40)).write(folder / "s.sofa")
    return {path.name: path.read_bytes() for path in (aes69, rows()(folder))}


edits = st.lists(st.tuples(st.floats(0.0, 1.0), st.binary(min_size=1, max_size=8)), min_size=1, max_size=12)


@FUZZ
@given(name=st.sampled_from(["s.sofa", "responses_2.83V.nc"]), changes=edits, cut=st.floats(0.9, 1.2))
def test_bytes_changed_anywhere(
    name: str, changes: list[tuple[float, bytes]], cut: float, whole: dict[str, bytes], tmp_path: Path
) -> None:
    content = bytearray(whole[name])
    for place, new in changes:
        at = int(place * (len(content) - len(new)))
        content[at : at + len(new)] = new
    path = tmp_path / name
    path.write_bytes(content[: int(cut * len(content))])
    source = Source(path, name)
    with suppress(ReadError):
        parts = look(source).parts
        reader_of(source).read(source, [part.selector for part in parts])
