"""Truth files: valid by their schema, and true by relations that don't come from the file's own code."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from virtual import json_schema

from earwitness.virtual import truth as levels
from earwitness.virtual import truth_file
from earwitness.virtual.counterfactual import Listening
from earwitness.virtual.generator import generate
from earwitness.virtual.scenario import Scenario, from_text, load, names
from earwitness.virtual.standard_curves import CURVES, DIRECTIONS


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    """A ball with a cone that bends, a tweeter that is late, and no edges: quick."""
    text = next(
        text
        for seed in range(2000)
        if all(word in (text := generate(seed).loudspeaker) for word in ('"sphere"', "cone bends", "late"))
    )
    return from_text("drawn", text)


@pytest.fixture(scope="module")
def document(scenario: Scenario, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    path = tmp_path_factory.mktemp("truth") / "truth.json"
    truth_file.write(scenario, path)
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found


def test_it_is_valid(document: dict[str, Any]) -> None:
    assert json_schema.faults(document, truth_file.SCHEMA) == []


@pytest.mark.parametrize(
    ("key", "value"), [("cause", "magic"), ("standing", "guess"), ("place", []), ("note", ""), ("strange", 1)]
)
def test_what_is_wrong_is_not_valid(document: dict[str, Any], key: str, value: Any) -> None:
    broken = copy.deepcopy(document)
    broken["faults"][0][key] = value
    assert len(json_schema.faults(broken, truth_file.SCHEMA)) >= 1


def test_curves_lie_on_the_projects_grid() -> None:
    steps = 96.0 * np.log2(truth_file.FREQUENCIES / 1000.0)
    np.testing.assert_allclose(steps, np.round(steps), atol=1e-9)
    assert truth_file.FREQUENCIES[0] == pytest.approx(20.25, abs=0.3)
    assert truth_file.FREQUENCIES[-1] == pytest.approx(19_870.0, abs=100.0)


def test_the_curve_on_axis_is_the_level_on_axis(scenario: Scenario, document: dict[str, Any]) -> None:
    expected = levels.level_db(scenario, truth_file.FREQUENCIES)[0]
    np.testing.assert_allclose(document["curves"]["on_axis"], expected, atol=6e-4)


def test_an_effect_is_the_difference_with_and_without(scenario: Scenario, document: dict[str, Any]) -> None:
    """The late tweeter by hand: the same document without the delay, heard on axis."""
    entry = next(each for each in document["faults"] if each["name"] == "delay")
    (parameter,) = entry["parameters"]
    assert parameter["name"] == "delay_s"
    late = parameter["of"].removeprefix("branches.")
    assert [each["radiator"] for each in entry["place"]] == [late]
    assert parameter["without"] == 0.0
    branches = [dict(each) for each in scenario.document.content["branches"]]
    for branch in branches:
        branch.pop("delay_s", None)
    quiet = type(scenario.document)("quiet", {**scenario.document.content, "branches": branches})
    heard = truth_file.listening(scenario)
    without = Listening(quiet, heard.heard)
    axis = 17
    assert DIRECTIONS[axis] == ("horizontal", 0)
    ratio = np.abs(heard.pressure()[axis] / without.pressure()[axis])
    np.testing.assert_allclose(entry["effects_db"]["on_axis"], 20.0 * np.log10(ratio), atol=6e-4)
    worst = int(np.argmax(np.abs(ratio - 1.0)))
    assert np.abs(entry["effects_db"]["on_axis"][worst]) > 0.5


def test_what_is_in_the_same_place_has_the_effect_of_its_place(document: dict[str, Any]) -> None:
    """A bending cone radiates where its piston does: far below the crossover all curves change alike."""
    entry = next(each for each in document["faults"] if each["name"] == "bending")
    below = truth_file.FREQUENCIES < 300.0
    for name in CURVES:
        expected = 0.0 if name.endswith("_di") else np.array(entry["effects_db"]["on_axis"])[below]
        np.testing.assert_allclose(np.array(entry["effects_db"][name])[below], expected, atol=0.05)
    assert {each["radiator"] for each in entry["place"]} == {"woofer"}


def test_a_resonance_is_told_as_it_rings_and_as_it_was_put_there(
    scenario: Scenario, document: dict[str, Any]
) -> None:
    """The coil brakes the cone's mode: its Q is lower in the driver than on its own."""
    entry = next(each for each in document["faults"] if each["name"] == "bending")
    told = {each["name"]: each["value"] for each in entry["parameters"]}
    (mode,) = scenario.loudspeaker.source.enclosures[0].drive_units[0].bending
    assert (told["own_frequency_hz"], told["own_q"]) == pytest.approx((mode.frequency_hz, mode.q), rel=1e-6)
    assert told["q"] < told["own_q"]
    assert told["frequency_hz"] == pytest.approx(mode.frequency_hz, rel=0.01)
    on_axis = np.array(entry["effects_db"]["on_axis"])
    assert truth_file.FREQUENCIES[on_axis.argmax()] == pytest.approx(told["frequency_hz"], rel=0.2)


@pytest.mark.slow
def test_a_fault_is_seen_in_the_impedance_where_it_rings() -> None:
    """A column's standing wave works on its woofers; wires and voicing aside, the rest stays as it is."""
    document = truth_file.truth(load("gatepost"))
    column = next(each for each in document["faults"] if each["name"] == "column")
    told = {each["name"]: each["value"] for each in column["parameters"]}
    effect = np.abs(column["impedance_effect_db"])
    assert truth_file.FREQUENCIES[effect.argmax()] == pytest.approx(told["frequency_hz"], rel=0.1)
    assert effect.max() > 0.1
    assert effect[truth_file.FREQUENCIES > 2000.0].max() < 0.05
    with_it, without = (
        np.array(document[key]["magnitude_ohm"]) for key in ("impedance", "impedance_without_faults")
    )
    np.testing.assert_allclose(20.0 * np.log10(with_it / without), column["impedance_effect_db"], atol=0.01)


def test_geometry_is_there_without_being_called_a_fault(document: dict[str, Any]) -> None:
    (spacing,) = [each for each in document["faults"] if each["standing"] == "geometry"]
    assert spacing["cause"] == "spaced_sources"
    assert np.abs(np.array(spacing["effects_db"]["sound_power"])[:60]).max() < 0.05


def test_a_loudspeaker_without_faults_has_geometry_alone() -> None:
    cobble = truth_file.truth(load("cobble_two"))
    assert [each["standing"] for each in cobble["faults"]] == ["geometry"]
    assert cobble["curves"] == cobble["curves_without_faults"]


@pytest.mark.slow
def test_a_cube_has_its_first_peak_and_dip_where_its_edges_say() -> None:
    """Edges of a square face, 0.12 to 0.17 m from its middle: peak near c/2L, dip near c/L (CAUSES.md).

    L is between half the side and half the diagonal; the step of the ball below it moves the peak down.
    """
    document = truth_file.truth(load("dice"))
    assert json_schema.faults(document, truth_file.SCHEMA) == []
    (edges,) = document["faults"]
    assert (edges["standing"], edges["cause"]) == ("fault", "edge_diffraction")
    effect = np.array(edges["effects_db"]["on_axis"])
    peak, dip = (truth_file.FREQUENCIES[find(effect)] for find in (np.argmax, np.argmin))
    assert 343.2 / 2.0 / 0.17 < peak < 343.2 / 2.0 / 0.12
    assert 343.2 / 0.17 < dip < 343.2 / 0.12
    assert effect.max() > 3.0
    assert effect.min() < -2.0
    assert np.abs(effect[:48]).max() < 0.5


QUICK = ("cobble_two", "dewdrop", "dice")
SHELF = [name if name in QUICK else pytest.param(name, marks=pytest.mark.slow) for name in names()]


@pytest.mark.parametrize("name", SHELF)
def test_every_truth_is_valid_and_a_loudspeakers(name: str) -> None:
    """What is ordinary: rough bounds of a decent loudspeaker without its faults, wide open in the bass.

    Dewdrop's dome looks up, so its treble ends early.
    Shutter's filter was made for a woofer that beams; one that doesn't leaves a dip where the two meet. Below
    its tuning a port and its cone cancel, and what is left is heard from the port's side.
    """
    document = truth_file.truth(load(name))
    assert json_schema.faults(document, truth_file.SCHEMA) == []
    grid, plain = truth_file.FREQUENCIES, document["curves_without_faults"]
    middle = (grid > 200.0) & (grid < (6000.0 if name == "dewdrop" else 10_000.0))
    level = np.array(plain["on_axis"])[middle]
    assert np.ptp(level) < (13.0 if name == "shutter" else 6.5)
    assert 75.0 < level.mean() < 92.0
    assert np.array(plain["on_axis"])[0] < level.mean() - 10.0
    ratio = np.array(plain["sound_power_di"])
    bass = ratio[(grid > 60.0) & (grid < 150.0)]
    assert -1.0 < bass.min() <= bass.max() < 2.5
    assert ratio[grid < 10_000.0].max() < 15.0
    for entry in [*document["faults"], *document["artefacts"]]:
        assert np.abs(entry["effects_db"]["on_axis"]).max() < 45.0
        assert any(np.abs(effect).max() > 0.1 for effect in entry["effects_db"].values()), entry["name"]


def test_the_same_scenario_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        truth_file.write(load("cobble_two"), tmp_path / name)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()
