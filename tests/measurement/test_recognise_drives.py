"""Names of a series of levels: what a set of them settles that a single one leaves in doubt."""

from __future__ import annotations

import pytest
from arriving import arrived

from earwitness.measurement.recognise import recognise
from earwitness.records.takes import Direction, Drive, Orbit


def drives(*names: str) -> list[float | None]:
    """Volts of each name; None where a doubt is told."""
    found = {one.path: one for one in recognise(arrived(*names, "stimulus.wav"))}
    takes = [found[name].take for name in names]
    for take in takes:
        if take is not None:
            assert take.key.direction == Direction(Orbit.HORIZONTAL, 0.0)
    told = [None if take is None else take.key.drive for take in takes]
    return [drive.value if isinstance(drive, Drive) else None for drive in told]


@pytest.mark.parametrize(
    ("names", "volts"),
    [
        (["h0_2V.wav", "h0_4V.wav", "h0_8V.wav", "h0_16V.wav"], [2.0, 4.0, 8.0, 16.0]),
        (["h0_5V.wav", "h0_10V.wav", "h0_20V.wav"], [5.0, 10.0, 20.0]),
    ],
)
def test_a_series_that_rises_by_one_ratio_is_of_whole_volts(names: list[str], volts: list[float]) -> None:
    assert drives(*names) == volts


@pytest.mark.parametrize(
    "names",
    [
        # 0.16 V alone, and series that are as good with a decimal point
        ["h0_16V.wav"],
        ["h0_4V.wav", "h0_16V.wav"],
        ["h0_2V.wav", "h0_4V.wav", "h0_8V.wav"],
        ["h0_25V.wav", "h0_5V.wav", "h0_75V.wav"],
        ["h0_1V.wav", "h0_25V.wav", "h0_5V.wav"],
        ["h0_05V.wav", "h0_10V.wav", "h0_20V.wav"],
        ["h0_16V.wav", "h0_20V.wav", "h0_25V.wav"],
    ],
)
def test_what_may_have_lost_its_decimal_point_stays_in_doubt(names: list[str]) -> None:
    assert drives(*names) == [None] * len(names)
