from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from earwitness.measurement.readers import text
from earwitness.measurement.readers.contents import MeasuredResponse
from earwitness.measurement.readers.text import read_response
from earwitness.records.errors import ReadError


def written(folder: Path, content: str | bytes) -> Path:
    file = folder / "response.txt"
    file.write_bytes(content.encode() if isinstance(content, str) else content)
    return file


def read(folder: Path, content: str | bytes) -> MeasuredResponse:
    return read_response(written(folder, content), "response.txt")


@pytest.mark.parametrize("separator", ["\t", " ", ",", ";", ", ", " ; ", "   "])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_columns(tmp_path: Path, separator: str, end: str) -> None:
    rows = [("20", "80.5", "-90.0"), ("100.5", "+86", "10"), ("2e4", "-3.25", "1.5E1")]
    found = read(tmp_path, end.join(separator.join(row) for row in rows) + end)
    assert found.frequency_hz.tolist() == [20.0, 100.5, 20_000.0]
    assert found.level_db.tolist() == [80.5, 86.0, -3.25]
    assert found.phase_deg is not None
    assert found.phase_deg.tolist() == [-90.0, 10.0, 15.0]


def test_comments_and_headings(tmp_path: Path) -> None:
    content = (
        "\ufeff* made by hand\nFrequency (Hz), Level (dB)\n; one\n// two\n% three\n\n"
        "  20 80\n# between\n30 81 \n"
    )
    found = read(tmp_path, content)
    assert found.frequency_hz.tolist() == [20.0, 30.0]
    assert found.phase_deg is None


def test_whole_numbers_parted_by_commas_are_two_columns(tmp_path: Path) -> None:
    assert read(tmp_path, "20,80\n30,81\n").level_db.tolist() == [80.0, 81.0]


@pytest.mark.parametrize(
    ("content", "where", "problem"),
    [
        ("20 80\n30 nan\n", "line 2", "not a number"),
        ("nan 80\n30 81\n", "line 1", "not a number"),
        ("20 80\n30 inf\n", "line 2", "not a number"),
        ("20 80\n30 1e999\n", "line 2", "no level"),
        ("20 80\n30 5000\n", "line 2", "no level"),
        ("20 80\n30 81\n30 82\n", "line 3", "stands there twice"),
        ("20 80\n30 81\n25 82\n", "line 3", "25 Hz follows 30 Hz"),
        ("0 80\n30 81\n", "line 1", "no audible frequency"),
        ("-20 80\n30 81\n", "line 1", "no audible frequency"),
        ("20,5 80,3\n30,5 81,0\n", "line 1", "decimal commas"),
        ("20,5;80,3\n30,5;81,0\n", "line 1", "decimal commas"),
        ("20\t80,3\n30\t81,0\n", "line 1", "decimal commas"),
        ("20,5,80,3\n30,5,81,0\n", "line 1", "decimal commas"),
        ("20 80 1 2 3 4\n", "line 1", "6 columns"),
        ("20 80\n30 81 5\n", "line 2", "3 columns"),
        ("20\n30\n", "line 1", "one column"),
        ("20 80\nthe end\n", "line 2", "not a number"),
        ("20 1_0\n30 81\n", "line 1", "not a number"),
        (b"20 80\n30 81\x00\n", "line 2", "not text"),
        (b"20 80\n30 \xff81\n", "line 2", "UTF-8"),
        ("20 80\n30 " + "1" * 2_000 + "\n", "line 2", "longer than"),
        ("20 80\n", "", "1 rows"),
        ("# nothing\n", "", "0 rows"),
        ("", "", "empty"),
    ],
)
def test_refusals(tmp_path: Path, content: str | bytes, where: str, problem: str) -> None:
    with pytest.raises(ReadError) as refused:
        read(tmp_path, content)
    assert refused.value.where == where
    assert problem in refused.value.problem
    assert str(refused.value).startswith("response.txt")
    assert "\n" not in str(refused.value)


def test_too_many_lines(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="lines"):
        read(tmp_path, "#\n" * (text.MAX_LINES + 1))


def test_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(text, "MAX_BYTES", 100)
    with pytest.raises(ReadError, match="MiB"):
        read(tmp_path, "#" * 101)


def test_no_regular_file(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="not a regular file"):
        read_response(tmp_path, "folder.txt")
    with pytest.raises(ReadError, match="can't be opened"):
        read_response(tmp_path / "missing.txt", "missing.txt")


@given(
    st.lists(
        st.tuples(st.floats(1.0, 30_000.0), st.floats(-60.0, 130.0), st.floats(-360.0, 360.0)),
        min_size=2,
        max_size=40,
        unique_by=lambda row: row[0],
    ),
    st.sampled_from(["\t", " ", ", ", "; "]),
)
def test_what_is_written_is_read(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[float, float, float]], separator: str
) -> None:
    rows = sorted(rows)
    content = "\n".join(separator.join(repr(v) for v in row) for row in rows)
    found = read(tmp_path_factory.mktemp("text"), content)
    assert found.phase_deg is not None
    assert np.array_equal(np.c_[found.frequency_hz, found.level_db, found.phase_deg], np.array(rows))
