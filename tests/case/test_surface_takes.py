"""Takes on surfaces: their places by entries and rules, and that two radii aren't the same take twice."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from earwitness.case.layout import CaseFolder
from earwitness.case.takes import read_takes, write_takes
from earwitness.records.errors import CaseError
from earwitness.records.takes import Drive, SurfacePlace, Take, TakeKey, TakeKind

Put = Callable[..., None]
RULE = """[[rule]]
files = "surface_{azimuth}_{elevation}_{distance}_{drive}.wav"
kind = "surface"
stimulus = "stimulus.wav"

[[take]]
file = "stimulus.wav"
kind = "stimulus"
"""


def surface(azimuth_deg: float, elevation_deg: float, distance_m: float, path: str) -> Take:
    place = SurfacePlace(azimuth_deg, elevation_deg, distance_m)
    return Take(path, TakeKey(TakeKind.SURFACE, drive=Drive(2.83), place=place), stimulus="stimulus.wav")


def test_a_rule_reads_places_and_two_radii_are_two_takes(case: CaseFolder, put: Put) -> None:
    names = ("surface_-30.5_+12_0.45_2.83V.wav", "surface_-30.5_+12_0.52_2.83V.wav")
    put("stimulus.wav", *names)
    case.takes_toml.write_text(RULE, encoding="utf-8")
    found = [take for take in read_takes(case) if take.key.kind is TakeKind.SURFACE]
    assert found == [surface(-30.5, 12.0, 0.45, names[0]), surface(-30.5, 12.0, 0.52, names[1])]
    assert found[0].key.label == "surface, azimuth −30.5°, elevation +12°, 0.45 m, 2.83 V"


def test_an_entry_that_is_written_is_read_again(case: CaseFolder, put: Put) -> None:
    put("stimulus.wav", "a.wav")
    stimulus = Take("stimulus.wav", TakeKey(TakeKind.STIMULUS))
    take = surface(180.0, -90.0, 0.45, "a.wav")
    write_takes(case, [take, stimulus])
    assert read_takes(case) == (take, stimulus)
    assert "azimuth_deg = 180" in case.takes_toml.read_text(encoding="utf-8")


def test_an_azimuth_beyond_a_half_turn_is_the_same_place(case: CaseFolder, put: Put) -> None:
    put("a.wav", "b.wav")
    entry = (
        '[[take]]\nfile = "{}.wav"\nkind = "surface"\nazimuth_deg = {}\nelevation_deg = 0\ndistance_m = 0.5\n'
    )
    case.takes_toml.write_text(entry.format("a", 330) + entry.format("b", -30), encoding="utf-8")
    with pytest.raises(CaseError, match="are the same take"):
        read_takes(case)


@pytest.mark.parametrize(
    ("fields", "problem"),
    [
        ("azimuth_deg = 3\nelevation_deg = 4", "doesn't say where on its surface"),
        ("azimuth_deg = 3\ndistance_m = 0.4", "doesn't say where on its surface"),
        ("azimuth_deg = 3\nelevation_deg = 91\ndistance_m = 0.4", "elevation_deg: isn't from −90 to 90"),
        ("azimuth_deg = 361\nelevation_deg = 0\ndistance_m = 0.4", "azimuth_deg: isn't from −360 to 360"),
        ("azimuth_deg = 3\nelevation_deg = 4\ndistance_m = 0", "distance_m: isn't over 0"),
        ('orbit = "horizontal"\nangle_deg = 3\ndistance_m = 0.4', "has an orbit"),
    ],
)
def test_a_place_that_cant_be_is_refused(case: CaseFolder, put: Put, fields: str, problem: str) -> None:
    put("a.wav")
    case.takes_toml.write_text(f'[[take]]\nfile = "a.wav"\nkind = "surface"\n{fields}\n', encoding="utf-8")
    with pytest.raises(CaseError, match=problem):
        read_takes(case)


def test_other_kinds_have_no_place(case: CaseFolder, put: Put) -> None:
    put("a.wav")
    text = '[[take]]\nfile = "a.wav"\nkind = "noise"\nazimuth_deg = 3\n'
    case.takes_toml.write_text(text, encoding="utf-8")
    with pytest.raises(CaseError, match='only a "surface" has it'):
        read_takes(case)
