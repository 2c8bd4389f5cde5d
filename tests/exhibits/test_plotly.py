from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from html import escape
from typing import Any

import numpy as np
import pytest
from specimen import curve_set

from earwitness.exhibits.catalogue import describe
from earwitness.exhibits.description import Exhibit
from earwitness.exhibits.palette import TOKENS, Mode
from earwitness.exhibits.plotly import FIRST_WIDTH, interactive
from earwitness.records.curves import CurveName

EXHIBITS = describe(curve_set(valid_from_hz=31.0))
MOST_BYTES = 250_000


def line_trace(spec: dict[str, Any], panel: int, line: int) -> dict[str, Any]:
    trace: dict[str, Any] = spec["data"][spec["panels"][panel]["lines"][line]["trace"]]
    return trace


@pytest.mark.parametrize("exhibit", EXHIBITS, ids=lambda e: e.id)
def test_a_picture_is_plain_json_and_small(exhibit: Exhibit) -> None:
    text = json.dumps(interactive(exhibit), allow_nan=False)
    assert len(text) < MOST_BYTES


def test_making_it_doesnt_import_a_plotting_library() -> None:
    code = (
        "import sys, earwitness.exhibits.plotly, earwitness.exhibits.catalogue; "
        "print([m for m in ('plotly', 'matplotlib', 'scipy') if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


def test_a_line_is_the_curve_and_a_gap_where_it_isnt_valid() -> None:
    curve = curve_set(31.0).curves[CurveName.ON_AXIS]
    trace = line_trace(interactive(EXHIBITS[0]), 0, 0)
    assert [y is not None for y in trace["y"]] == curve.valid.tolist()
    drawn = [y for y in trace["y"] if y is not None]
    assert drawn == pytest.approx(curve.level_db[curve.valid], abs=0.006)  # two decimals
    assert trace["connectgaps"] is False


def test_bands_reach_one_standard_uncertainty_either_way() -> None:
    spec = interactive(EXHIBITS[1])
    band = next(t for t in spec["data"] if t.get("fill") == "toself")
    window = curve_set(31.0).curves[CurveName.LISTENING_WINDOW]
    edge = np.array(band["y"][:40])
    middle = window.level_db[window.valid][: 2 * 40 : 2]
    assert edge - middle == pytest.approx(np.full(40, 0.4), abs=0.006)  # the specimen's 0.4 dB, two decimals


def test_a_band_is_broken_where_the_line_is() -> None:
    curves = curve_set()
    whole = curves.curves[CurveName.ON_AXIS]
    holed = replace(whole, valid=whole.valid & (np.abs(np.log2(curves.frequency_hz / 1000.0)) > 1.0))
    exhibit = describe(replace(curves, curves={**curves.curves, CurveName.ON_AXIS: holed}))[1]
    band = [t for t in interactive(exhibit)["data"] if t.get("fill") == "toself"][-1]
    assert band["x"].count(None) == 1
    assert not any(x is not None and 501.0 < x < 1999.0 for x in band["x"])


def test_the_strongest_line_is_drawn_last() -> None:
    spec = interactive(EXHIBITS[0])
    drawn = [line["trace"] for line in spec["panels"][0]["lines"]]
    assert drawn == sorted(drawn, reverse=True)
    assert [spec["data"][i]["line"].get("dash") for i in drawn] == [None, None, "7px,3px", "2px,3px"]


@pytest.mark.parametrize("mode", Mode)
def test_a_dress_colours_every_line_by_its_role(mode: Mode) -> None:
    spec = interactive(EXHIBITS[0])
    dress = spec["dress"][mode.value]
    for panel, shown in zip(EXHIBITS[0].panels, spec["panels"], strict=True):
        for line, readable in zip(panel.lines, shown["lines"], strict=True):
            assert dress["traces"]["line.color"][readable["trace"]] == TOKENS[mode].roles[line.role]
    assert len(dress["traces"]["line.color"]) == len(spec["data"]) == len(dress["traces"]["fillcolor"])
    assert dress["layout"]["yaxis2.gridcolor"] == TOKENS[mode].grid


def test_the_layout_keeps_the_proportion() -> None:
    layout = interactive(EXHIBITS[0])["layout"]
    margin = layout["margin"]
    assert layout["width"] == FIRST_WIDTH
    decade = (layout["width"] - margin["l"] - margin["r"]) / 3
    inner = layout["height"] - margin["t"] - margin["b"]
    for name in ("yaxis", "yaxis2"):
        axis = layout[name]
        decibels = axis["range"][1] - axis["range"][0]
        low, high = axis["domain"]
        assert decade / ((high - low) * inner / decibels) == pytest.approx(25.0)
    assert layout["xaxis"]["range"] == pytest.approx([1.30103, 4.30103], abs=1e-5)


def test_text_from_the_data_is_escaped() -> None:
    hostile = '"><script>alert(1)</script>'
    panel = EXHIBITS[1].panels[0]
    line = replace(panel.lines[0], label=hostile, short=hostile)
    axis = replace(panel.y_axis, label=hostile)
    exhibit = replace(EXHIBITS[1], panels=(replace(panel, lines=(line,), y_axis=axis),))
    shown = interactive(exhibit)["panels"][0]
    assert (shown["ends"][0]["text"], shown["ends"][0]["short"]) == (escape(hostile), escape(hostile))
    assert "<" not in shown["heading"]


def test_a_map_can_be_read_at_a_point() -> None:
    spec = interactive(EXHIBITS[3])
    read = spec["panels"][0]["map"]
    row, column = read["y"].index(90.0), int(np.argmin(np.abs(np.array(read["x"]) - 200.0)))
    assert read["z"][row][column] == pytest.approx(-6.0, abs=0.05)  # 90° is the specimen's half-angle there
    assert read["z"][row][0] is None
