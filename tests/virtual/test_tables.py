"""Mistakes in a scenario are one line, which says where, what, and what there might be."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from earwitness.virtual.generator import generate
from earwitness.virtual.scenario import FOLDER, from_text, load
from earwitness.virtual.tables import ScenarioError
from earwitness.virtual.toml_text import toml_text

COBBLE = (FOLDER / "cobble_two.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[cabinet]", "[cabinet", "x.toml: not TOML: "),
        ('rig = "workshop"', 'rig = "attic"', "no rig is called 'attic'; there are: "),
        ('rig = "workshop"', "", "x.toml: rig is missing"),
        ('shape = "sphere"', 'shape = "egg"', "x.toml, cabinet: shape is 'egg'; it may be: box, sphere"),
        ("diameter_m = 0.28", "", "x.toml, cabinet: diameter_m is missing"),
        (
            "diameter_m = 0.28",
            'diameter_m = "wide"',
            "cabinet: diameter_m is 'wide', where a number is wanted",
        ),
        ("diameter_m = 0.28", "diameter_m = nan", "cabinet: diameter_m is nan, where a number is wanted"),
        ("diameter_m = 0.28", "diameter_m = true", "cabinet: diameter_m is True, where a number is wanted"),
        (
            "mass_kg = 0.0095",
            "mass_g = 9.5",
            "enclosures woofer's chamber, drive_units woofer: there is no mass_g; ",
        ),
        (
            "elevation_deg = -12.0",
            "up_m = 0.1",
            "drive_units woofer, at: there is no up_m; there may be: elevation_",
        ),
        (
            "order = 4",
            "order = 3",
            "branches woofer, sections 1: there is no linkwitz_riley filter of order 3",
        ),
        ("order = 4", "order = 4.5", "sections 1: order is 4.5, where a whole number is wanted"),
        ('passes = "low"', 'passes = "band"', "sections 1: passes is 'band'; it may be: low, high"),
        (
            'kind = "shelf"',
            'kind = "shelve"',
            "sections 2: kind is 'shelve'; it may be: cut, bell, shelf, all_pass",
        ),
        ('drivers = ["woofer"]', "drivers = []", "each driver hangs on one branch"),
        ('drivers = ["woofer"]', "drivers = 1", "branches woofer: drivers is 1, where a list is wanted"),
        ('near_fields = ["woofer"]', "near_fields = [1]", "near_fields is 1, where a word is wanted"),
        ("[cabinet]", "[[cabinet]]", "cabinet is a table: write [cabinet]"),
        ("pad_db = 6.0", "pad_db = 6.0\npolarity = 2", "branches tweeter: polarity is 2; it may be: 1, -1"),
        ("volume_m3 = 0.0078", "volume_m3 = 0.0078\nports = 1", "ports is a list of tables: write [[ports]]"),
    ],
)
def test_mistakes_are_one_line(old: str, new: str, message: str) -> None:
    assert old in COBBLE
    with pytest.raises(ScenarioError) as caught:
        from_text("x", COBBLE.replace(old, new, 1))
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("fault", "message"),
    [
        ('name = "a"\ncause = "magic"\nnote = "n"', "faults a: cause is 'magic'; it may be: resonance, "),
        ('name = "a"\ncause = "voicing"\nnote = "n"', "a fault says what would be without it by one of"),
        (
            'name = "a"\ncause = "spaced_sources"\nnote = "n"\ntogether = ["woofer"]',
            "together is about two radiators or more",
        ),
    ],
)
def test_mistakes_in_faults(fault: str, message: str) -> None:
    with pytest.raises(ScenarioError, match=message):
        from_text("x", f"{COBBLE}\n[[faults]]\n{fault}\n")


def test_an_unknown_scenario_or_rig_is_refused_with_those_there_are() -> None:
    with pytest.raises(ScenarioError, match=r"no scenario is called 'gravel'; there are: .*cobble_two"):
        load("gravel")
    with pytest.raises(ScenarioError, match=r"no rig is called 'attic'; there are: .*workshop"):
        load("cobble_two", "attic")


def without_comments(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: without_comments(entry) for key, entry in value.items() if key != "#"}
    return [without_comments(entry) for entry in value] if isinstance(value, list) else value


@given(st.integers(0, 10_000))
def test_text_of_a_document_is_read_back(seed: int) -> None:
    text = generate(seed).loudspeaker
    assert toml_text({"#": f"Drawn with seed {seed}.", **tomllib.loads(text)}) == text
