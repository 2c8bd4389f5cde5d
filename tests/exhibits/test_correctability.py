from __future__ import annotations

from dataclasses import replace

import numpy as np
from specimen import curve_set, facts

from earwitness.exhibits.correctability import stretches, strip
from earwitness.exhibits.description import Role
from earwitness.exhibits.matplotlib import draw
from earwitness.exhibits.on_axis import on_axis
from earwitness.exhibits.plotly import interactive
from earwitness.findings.references import Referent
from earwitness.records.correctability import Correctability, Deviation, Mends

#: A twelfth of an octave apart, 500 Hz to 4 kHz: every seat up to 1 kHz, then one seat, then nothing.
HZ = 500.0 * 2.0 ** (np.arange(37) / 12.0)
SIZE_DB = 2.0


def plane(part: list[float]) -> Deviation:
    parts = np.repeat(part, (12, 12, 13))
    return Deviation(parts * SIZE_DB**2, (1.0 - parts) * SIZE_DB**2, np.full(HZ.size, 0.02))


TOLD = Correctability(
    HZ,
    HZ > 501.0,
    plane([0.96, 0.4, 0.3]),
    plane([0.90, 0.2, 0.2]),
    plane([0.95, 0.85, 0.5]),
)
CURVES = replace(curve_set(), correctability=TOLD)


def test_each_kind_has_a_row_that_reads_what_an_equaliser_takes_away() -> None:
    panel = strip(TOLD)
    assert panel is not None
    told = [(line.label, line.role) for line in panel.lines]
    assert told == [
        ("every seat", Role.MENDS_EVERY),
        ("one seat", Role.MENDS_ONE),
        ("nowhere", Role.MENDS_NOTHING),
    ]
    every, one, nothing = panel.lines
    # Rows don't overlap, and together they are all that is valid, each from edge to edge of its points.
    assert np.array_equal(sum(np.isfinite(line.y) for line in panel.lines), np.repeat(TOLD.valid, 2))
    assert np.allclose(np.nanmin(one.x[np.isfinite(one.y)]), 1000.0 * 2.0 ** (-1 / 24))
    for line, percent in ((every, 90.0), (one, 85.0), (nothing, 20.0)):
        assert line.reads is not None
        assert np.allclose(line.reads[np.isfinite(line.reads)], percent)
        assert np.array_equal(np.isfinite(line.reads), np.isfinite(line.y))
    assert np.all(np.diff(every.x) > -1e-9)


def test_words_name_every_stretch_and_lead_to_its_points() -> None:
    exhibit = on_axis(CURVES)
    assert exhibit is not None
    assert [panel.id for panel in exhibit.panels] == ["levels", "equaliser"]
    text = str(exhibit.alt)
    # From the second point, 500·2^(1/12) Hz, to the last one below each octave.
    assert "An equaliser mends: every seat 530 Hz to 940 Hz; one seat 1 kHz to 1.9 kHz; nowhere 2 kHz" in text
    Referent(facts(), (), CURVES).require(exhibit.alt)


def test_stretches_end_where_the_kind_changes_or_nothing_stands_out() -> None:
    gap = replace(TOLD, valid=TOLD.valid & (np.abs(HZ - 707.0) > 1.0))
    assert [one.kind for one in stretches(gap)] == [
        Mends.EVERY_SEAT,
        Mends.EVERY_SEAT,
        Mends.ONE_SEAT,
        Mends.NOWHERE,
    ]


def test_without_anything_to_mend_there_is_no_strip() -> None:
    flat = replace(TOLD, valid=np.zeros(HZ.size, dtype=np.bool_))
    assert strip(flat) is None
    exhibit = on_axis(replace(CURVES, correctability=flat))
    assert exhibit is not None
    assert [panel.id for panel in exhibit.panels] == ["levels"]
    assert "equaliser" not in str(exhibit.caption) + str(exhibit.alt)


def test_both_renderers_draw_it() -> None:
    exhibit = on_axis(CURVES)
    assert exhibit is not None
    spec = interactive(exhibit)
    every = spec["panels"][1]["lines"][0]
    first = int(np.flatnonzero(TOLD.valid)[0])
    assert every["reads"][2 * first] == 90.0
    assert every["reads"][0] is None
    assert spec["panels"][0]["lines"][0]["reads"] is None
    assert len(spec["panels"][1]["ends"]) == 3
    svg = draw(exhibit).decode()
    for label in ("every-seat", "one-seat", "nowhere"):
        assert f'id="line-{label}"' in svg
