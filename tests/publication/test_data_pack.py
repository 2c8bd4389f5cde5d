"""The tables that go out: valid values only, units said, nothing that a spreadsheet would run."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pytest
from publishable import build_folder, built, case_files

from earwitness.publication.context import PublicationContext, assemble
from earwitness.publication.data_pack import data_pack, text_cell
from earwitness.records.curves import CurveName

Table = list[dict[str, str]]


def table(content: bytes) -> Table:
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


@pytest.fixture(scope="module")
def half(half_empty: PublicationContext, tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return data_pack(half_empty, build_folder(tmp_path_factory.mktemp("data") / "build"))


def test_curves_are_valid_values_only(half: dict[str, bytes], half_empty: PublicationContext) -> None:
    rows = table(half["curves.csv"])
    curve = half_empty.curves.curves[CurveName.ON_AXIS]
    assert len(rows) == curve.level_db.size
    for row, level, valid in zip(rows, curve.level_db, curve.valid, strict=True):
        if valid:
            # Four decimals are written.
            assert float(row["on_axis"]) == pytest.approx(level, abs=0.5e-4)
            assert float(row["on_axis_uncertainty"]) == pytest.approx(0.4)
        else:
            assert row["on_axis"] == row["on_axis_uncertainty"] == ""
    assert np.count_nonzero(curve.valid) < len(rows)


def test_a_curve_without_a_valid_point_has_no_column(tmp_path: Path) -> None:
    made = built()
    on_axis = made.curves.curves[CurveName.ON_AXIS]
    on_axis.valid[:] = False
    content = data_pack(assemble(case_files(), made), build_folder(tmp_path / "build"))["curves.csv"]
    head = content.decode().splitlines()[0].split(",")
    assert "on_axis" not in head
    assert "listening_window" in head


def test_figures_in_numbers_and_words(half: dict[str, bytes]) -> None:
    rows = {row["name"]: row for row in table(half["figures.csv"])}
    assert rows["sensitivity"]["value"] == "86.4"
    assert rows["sensitivity"]["uncertainty"] == "0.5"
    assert rows["sensitivity"]["unit"] == "dB"
    assert rows["in_room_tilt"]["value"] == "-0.95"
    assert rows["f6"]["value"] == ""
    assert "555 Hz" in rows["f6"]["in_words"]
    assert rows["sensitivity"]["source"] == "CTA-2034-A (2015)"


def test_the_files_of_the_build_go_out_as_they_are(half: dict[str, bytes]) -> None:
    assert half["results.json"] == half["curves.nc"] == b"{}\n"


def test_the_units_are_said(half: dict[str, bytes]) -> None:
    text = half["README.txt"].decode()
    assert all(name in text for name in half if name != "README.txt")
    assert "dB re 20 uPa" in text


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", "\nx"])
def test_no_text_cell_is_a_formula(text: str) -> None:
    assert text_cell(text) == f"'{text}"


def test_other_text_stays(half: dict[str, bytes]) -> None:
    assert text_cell("−2.2 dB") == "−2.2 dB"
    assert next(r for r in table(half["figures.csv"]) if r["name"] == "tolerance_on_axis")[
        "in_words"
    ].startswith("'+2.9")
