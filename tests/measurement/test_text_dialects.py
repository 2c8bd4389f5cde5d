"""Every dialect that can be written is read as it was written, or refused: never read as something else."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from earwitness.measurement.readers.contents import LevelUnit, MeasuredResponse, Source
from earwitness.measurement.readers.text import READER
from earwitness.records.errors import ReadError

MARKS = {"tab": "\t", "semicolon": ";", "bar": "|", "comma": ",", "space": " "}
#: What a value column is called, its unit, the unit it is to come out as, and its decibels.
KINDS: dict[str, tuple[str, str, LevelUnit, Callable[[float], float]]] = {
    "dB": ("Gain", "dB", LevelUnit.DB, lambda x: x),
    "SPL": ("SPL", "dB", LevelUnit.SPL, lambda x: x),
    "re": ("Level", "dB re 20 µPa", LevelUnit.SPL, lambda x: x),
    "per volt": ("Level", "dB re 1 Pa/V", LevelUnit.PASCAL_PER_DRIVE, lambda x: x),
    "Pa": ("Pressure", "Pa", LevelUnit.PASCAL, lambda x: 20.0 * math.log10(x)),
    "mPa": ("Betrag", "mPa", LevelUnit.PASCAL, lambda x: 20.0 * math.log10(x / 1000.0)),
    "Pa/V": ("Magnitude", "Pa/V", LevelUnit.PASCAL_PER_DRIVE, lambda x: 20.0 * math.log10(x)),
    "ohm": ("Impedance", "ohm", LevelUnit.OHM, lambda x: 20.0 * math.log10(x)),
}
DECIBELS = {"dB", "SPL", "re", "per volt"}
TITLES = [
    "2 way, 30 deg",
    "Angle: -30",
    "Datum=2.11.2026",
    "# by hand",
    "; 94 dB = 1 Pa",
    "Messung am Gerät",
    "----",
]


@dataclass(frozen=True)
class Sheet:
    """A table and the dialect it is written in; `values` and `phases` are by direction."""

    hz: list[str]
    values: list[list[str]]
    phases: list[list[str]]
    directions: list[str]
    kind: str
    kilohertz: bool
    radians: bool
    delimiter: str
    decimal: str
    heading: str
    encoding: str
    end: str
    above: list[str]
    trailing: bool
    quoted: bool

    def text(self) -> str:
        mark = MARKS[self.delimiter]
        pairs = zip(self.values, self.phases, strict=True) if self.phases else ((v,) for v in self.values)
        rows = [list(row) for row in zip(self.hz, *chain.from_iterable(pairs), strict=True)]
        cells = [[self._cell(number) for number in row] for row in rows]
        lines = [mark.join(row) + mark * self.trailing for row in cells]
        return self.end.join([*self.above, *self._headings(mark), *lines]) + self.end

    def _cell(self, number: str) -> str:
        written = number.replace(".", self.decimal)
        return f'"{written}"' if self.quoted else written

    def _headings(self, mark: str) -> list[str]:
        name, unit, _, _ = KINDS[self.kind]
        several = len(self.directions) > 1
        columns = [("Frequency", "kHz" if self.kilohertz else "Hz", "")]
        for direction in self.directions:
            columns.append((name, unit, direction if several else ""))
            if self.phases:
                columns.append(("Phase", "rad" if self.radians else "deg", direction if several else ""))
        titles = [" ".join(filter(None, (n, d))) for n, _, d in columns]
        if self.heading == "brackets":
            return [mark.join(f'"{t} [{u}]"' for t, (_, u, _) in zip(titles, columns, strict=True))]
        if self.heading == "slashes":
            return ["; ".join(f'"{t} / {u}"' for t, (_, u, _) in zip(titles, columns, strict=True))]
        if self.heading == "units below":
            return [mark.join(f'"{t}"' for t in titles), mark.join(f'"{u}"' for _, u, _ in columns)]
        if self.heading == "comment":
            return ["# " + ", ".join(f"{t} ({u})" for t, (_, u, _) in zip(titles, columns, strict=True))]
        if self.heading == "names":
            return [mark.join(f'"{t}"' for t in titles)]
        return []


STYLES: dict[str, Callable[[float], str]] = {
    "exact": repr,
    "fixed": "{:.6f}".format,
    "short": "{:.2f}".format,
    "powers": "{:.12e}".format,
    "whole": lambda number: str(round(number) or 1),
}


@st.composite
def sheets(draw: st.DrawFn, heading: st.SearchStrategy[str]) -> Sheet:
    count = draw(st.integers(2, 12))
    write = STYLES[draw(st.sampled_from(sorted(STYLES)))]
    kilohertz = draw(st.booleans())
    steps = draw(st.lists(st.floats(1.02, 3.0), min_size=count, max_size=count))
    hz = [draw(st.floats(11.0, 90.0))]
    for step in steps:
        hz.append(hz[-1] * step)
    hz = [min(f, 2e5) for f in hz if f < 2e5] + draw(st.sampled_from([[], [250_000.0]]))
    written = [write(f / 1000.0 if kilohertz else f) for f in hz]
    written = list(dict.fromkeys(written))
    written = (["0.0"] if draw(st.booleans()) else []) + written
    assume(
        sum(float(f) > 0 for f in written) >= 2 and float(written[-1]) * (1000.0 if kilohertz else 1.0) > 45.0
    )
    if draw(st.booleans()):
        written = written[::-1]
    kind = draw(st.sampled_from(sorted(KINDS)))
    spread = st.floats(-40.0, 120.0) if kind in DECIBELS else st.floats(0.02, 39.0)
    directions = draw(st.sampled_from([["0"], ["0", "10"], ["+10", "-10", "170"], ["H 0", "V +10", "V -10"]]))
    levels = [[write(draw(spread)) for _ in written] for _ in directions]
    delimiter = draw(st.sampled_from(sorted(MARKS)))
    phases: list[list[str]] = []
    radians = draw(st.booleans())
    if draw(st.booleans()):
        unit = math.pi / 180.0 if radians else 1.0
        slope, start = draw(st.floats(-70.0, 70.0)), draw(st.floats(-170.0, 170.0))
        turns = draw(st.booleans())
        angle = [start + slope * k for k in range(len(written))]
        angle = [(a + 180.0) % 360.0 - 180.0 if turns else a for a in angle]
        phases = [[write(a * unit) for a in angle] for _ in directions]
    return Sheet(
        written,
        levels,
        phases,
        directions,
        kind,
        kilohertz,
        radians,
        delimiter,
        draw(st.sampled_from([".", ","])) if delimiter != "comma" else ".",
        draw(heading),
        draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])),
        draw(st.sampled_from(["\n", "\r\n", "\r"])),
        draw(st.lists(st.sampled_from(TITLES), max_size=4)),
        draw(st.booleans()),
        draw(st.booleans()),
    )


def same_numbers(sheet: Sheet, found: list[MeasuredResponse]) -> None:
    hz = np.array([float(f) for f in sheet.hz]) * (1000.0 if sheet.kilohertz else 1.0)
    rows = np.flatnonzero(hz)[np.argsort(hz[np.flatnonzero(hz)])]
    decibels = KINDS[sheet.kind][3]
    assert len(found) == len(sheet.directions)
    for k, response in enumerate(found):
        assert response.frequency_hz == pytest.approx(hz[rows], rel=1e-9)
        level = np.array([decibels(float(v)) for v in sheet.values[k]])[rows]
        assert response.level_db == pytest.approx(level, rel=1e-9, abs=1e-9)
        if response.phase_deg is not None:
            phase = np.array([float(p) for p in sheet.phases[k]])[rows]
            assert response.phase_deg == pytest.approx(
                np.rad2deg(phase) if sheet.radians else phase, rel=1e-9
            )


def read(folder: Path, content: bytes) -> list[MeasuredResponse]:
    file = folder / "dialect.txt"
    file.write_bytes(content)
    source = Source(file, "dialect.txt")
    parts = READER.look(source).parts
    return list(READER.read(source, [part.selector for part in parts]))


@settings(max_examples=200, deadline=None)
@given(sheets(st.sampled_from(["brackets", "slashes", "units below", "comment"])))
def test_a_dialect_whose_headings_say_all_is_read(
    tmp_path_factory: pytest.TempPathFactory, sheet: Sheet
) -> None:
    folder = tmp_path_factory.getbasetemp()
    found = read(folder, sheet.text().encode(sheet.encoding))
    same_numbers(sheet, found)
    assert all(response.unit is KINDS[sheet.kind][2] for response in found)
    assert all((response.phase_deg is not None) == bool(sheet.phases) for response in found)


@settings(max_examples=200, deadline=None)
@given(sheets(st.sampled_from(["names", "none"])))
def test_a_dialect_that_leaves_something_unsaid_is_read_right_or_refused(
    tmp_path_factory: pytest.TempPathFactory, sheet: Sheet
) -> None:
    try:
        found = read(tmp_path_factory.getbasetemp(), sheet.text().encode(sheet.encoding))
    except ReadError:
        event("refused")
        return
    event("read")
    same_numbers(sheet, found)
    logarithmic = all(response.unit is not LevelUnit.OHM for response in found)
    assert (sheet.kind in DECIBELS) == logarithmic


@settings(max_examples=200, deadline=None)
@given(
    sheets(st.sampled_from(["brackets", "slashes", "units below", "comment"])),
    st.sampled_from(
        ["", "nan", "-inf", "-", "--", "#N/A", "1.2.3", "8O.5", "8_0", "0x1F", "ten", "1e", "+", "?"]
    ),
    st.data(),
)
def test_a_damaged_cell_is_never_left_out(
    tmp_path_factory: pytest.TempPathFactory, sheet: Sheet, damage: str, data: st.DataObject
) -> None:
    assume(len(sheet.hz) > 2 and "" not in sheet.hz)
    row = data.draw(st.integers(0, len(sheet.hz) - 1))
    columns = [sheet.hz, *sheet.values, *sheet.phases]
    column = data.draw(st.integers(0, len(columns) - 1))
    columns[column][row] = damage
    # an empty cell between spaces is a missing one, and a row that is nothing is no row
    assume(sheet.quoted or damage or len(columns) > 2 or sheet.delimiter not in ("space", "tab"))
    with pytest.raises(ReadError):
        read(tmp_path_factory.getbasetemp(), sheet.text().encode(sheet.encoding))


def in_thousands(number: str, mark: str, decimal: str) -> str:
    whole, _, rest = f"{float(number):.3f}".partition(".")
    grouped = f"{int(whole):,}".replace(",", mark)
    return f"{grouped}{decimal}{rest}" if decimal else grouped


POISONS: dict[str, Callable[[Sheet], str]] = {
    "decimal commas between commas": lambda s: replace(s, delimiter="comma", decimal=",").text(),
    "points of thousands": lambda s: _thousands(s, ".", ","),
    "commas of thousands": lambda s: _thousands(s, ",", "."),
    "points of thousands alone": lambda s: _thousands(s, ".", ""),
    "commas of thousands alone": lambda s: _thousands(s, ",", ""),
    "spaces of thousands": lambda s: _thousands(s, " ", "."),
    "apostrophes of thousands": lambda s: _thousands(s, "'", "."),
    "narrow spaces of thousands": lambda s: _thousands(s, "\u202f", "."),
}


def _thousands(sheet: Sheet, mark: str, decimal: str) -> str:
    """Frequencies in groups of three digits, and the decimal mark that goes with it for the rest."""
    hz = [in_thousands(f, mark, decimal) for f in sheet.hz]
    if mark != ".":
        return replace(sheet, hz=hz, decimal=".").text()
    values = [[v.replace(".", ",") for v in column] for column in sheet.values]
    phases = [[p.replace(".", ",") for p in column] for column in sheet.phases]
    return replace(sheet, hz=hz, values=values, phases=phases, decimal=".").text()


@settings(max_examples=200, deadline=None)
@given(
    sheets(st.sampled_from(["brackets", "slashes", "units below", "comment", "names", "none"])),
    st.sampled_from(sorted(POISONS)),
)
def test_a_dialect_that_contradicts_itself_is_read_right_or_refused(
    tmp_path_factory: pytest.TempPathFactory, sheet: Sheet, poison: str
) -> None:
    sheet = replace(sheet, kilohertz=False)
    content = POISONS[poison](sheet)
    if "thousands" in poison:
        rounded = [f"{float(f):.3f}" for f in sheet.hz]
        shown = [f.partition(".")[0] for f in rounded] if poison.endswith("alone") else rounded
        sheet = replace(sheet, hz=shown)
    try:
        found = read(tmp_path_factory.getbasetemp(), content.encode())
    except ReadError:
        event(f"refused: {poison}")
        return
    event(f"read: {poison}")
    same_numbers(sheet, found)
