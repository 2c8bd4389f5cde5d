"""The population: every draw can be built, keeps within limits, and has faults as often as the table says."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from earwitness.virtual.air import Air
from earwitness.virtual.designer import Wish
from earwitness.virtual.generator import (
    BALLS,
    BENDING_STEP,
    COUNTS,
    NEEDS_BOX,
    NEEDS_PORT,
    POPULATION,
    PORT_IN_DEPTH,
    PORTS,
    WEIGHTS,
    Draws,
    generate,
)
from earwitness.virtual.scenario import Scenario, from_text, names

SEEDS = range(400)
DOCS = Path(__file__).parents[2] / "docs" / "virtual_workshop.md"


@pytest.fixture(scope="module")
def drawn() -> list[Scenario]:
    return [from_text(f"seed_{seed}", (it := generate(seed)).loudspeaker, it.rig) for seed in SEEDS]


def test_a_seed_gives_the_same_bytes_and_another_others() -> None:
    assert generate(7) == generate(7)
    assert generate(7).loudspeaker != generate(8).loudspeaker
    assert generate(7).rig != generate(8).rig


def test_faults_are_as_many_as_the_table_says(drawn: list[Scenario]) -> None:
    """Within four standard errors of a share among 400."""
    found = Counter(len(scenario.faults) for scenario in drawn)
    for count, share in enumerate(COUNTS):
        error = np.sqrt(share * (1.0 - share) / len(drawn))
        assert found[count] / len(drawn) == pytest.approx(share, abs=4.0 * error)


def test_every_kind_is_drawn_and_none_twice(drawn: list[Scenario]) -> None:
    kinds = [fault.name for scenario in drawn for fault in scenario.faults]
    assert set(kinds) == set(WEIGHTS)
    assert kinds.count("bending") == max(map(kinds.count, WEIGHTS))
    for scenario in drawn:
        assert len({fault.name for fault in scenario.faults}) == len(scenario.faults)


def test_draws_fill_their_limits() -> None:
    draws = Draws(np.random.default_rng(1))
    for name, (low, high, scale) in POPULATION.items():
        values = np.array([draws.of(name) for _ in range(600)])
        assert low <= values.min()
        assert values.max() <= high
        middle = np.sqrt(low * high) if scale == "log" else (low + high) / 2.0
        # The median of 600 lies within four standard errors, 4·0.5/√600, of its quantile.
        assert np.mean(values < middle) == pytest.approx(0.5, abs=2.0 / np.sqrt(600.0))


def test_levels_and_corners_are_a_loudspeakers(drawn: list[Scenario]) -> None:
    """At 200 Hz in full space: 6 dB and half a shelf of 5 dB below the 84 to 90 dB of half space, or near."""
    for scenario in drawn[::40]:
        frequencies = np.array([30.0, 200.0])
        velocity = scenario.loudspeaker.volume_velocities(frequencies, Air())[0]
        pressure = 2.83 * np.abs(velocity) * 2.0 * np.pi * frequencies * Air().density / (4.0 * np.pi)
        low, level = 20.0 * np.log10(pressure / 20e-6)
        assert 74.0 < level < 91.0
        assert low < level


@pytest.mark.parametrize(("level_db", "diameter_m"), [(84.0, 0.09), (92.0, 0.025)])
def test_a_wished_driver_has_its_level_resonance_and_q(level_db: float, diameter_m: float) -> None:
    """Piston band in half space, p = ρSa/(2π) at 1 m, with the acceleration Bl·U/(Re·M) of Newton and Ohm."""
    wish = Wish(diameter_m, 50.0, 0.4, 5.0, level_db, 5.6)
    values = wish.values()
    acceleration = values["force_factor"] * 2.83 / (5.6 * values["mass_kg"])
    pressure = 1.20412 * np.pi * diameter_m**2 / 4.0 * acceleration / (2.0 * np.pi)
    assert 20.0 * np.log10(pressure / 20e-6) == pytest.approx(level_db, abs=1e-3)
    omega = np.sqrt(values["stiffness"] / values["mass_kg"])
    assert omega / (2.0 * np.pi) == pytest.approx(50.0, rel=1e-9)
    assert omega * values["mass_kg"] / values["damping"] == pytest.approx(5.0, rel=1e-9)
    electrical = omega * values["mass_kg"] * 5.6 / values["force_factor"] ** 2
    assert electrical == pytest.approx(0.4, rel=1e-9)


@pytest.fixture(scope="module")
def documents() -> list[tuple[dict[str, Any], dict[str, Any]]]:
    """The TOML of two thousand loudspeakers and rigs, read but not built."""
    texts = (generate(seed) for seed in range(2000))
    return [(tomllib.loads(drawn.loudspeaker), tomllib.loads(drawn.rig)) for drawn in texts]


def _has(document: dict[str, Any]) -> tuple[bool, bool]:
    """Whether it is a ball, and whether it has a port."""
    return document["cabinet"]["shape"] == "sphere", "ports" in document["enclosures"][0]


def test_kinds_are_as_often_as_their_weights_say(
    documents: list[tuple[dict[str, Any], dict[str, Any]]],
) -> None:
    """Of those with one fault, whose kind the weights alone decide; four standard errors."""
    balls, ports = np.array([_has(document) for document, _ in documents]).mean(axis=0)
    assert balls == pytest.approx(BALLS, abs=4.0 * np.sqrt(0.25 / len(documents)))
    assert ports == pytest.approx(PORTS, abs=4.0 * np.sqrt(0.25 / len(documents)))
    expected: dict[str, float] = dict.fromkeys(WEIGHTS, 0.0)
    found = Counter[str]()
    for document, _ in documents:
        if len(document.get("faults", ())) == 1:
            ball, port = _has(document)
            barred = (NEEDS_BOX if ball else ()) + (() if port else NEEDS_PORT)
            possible = {kind: weight for kind, weight in WEIGHTS.items() if kind not in barred}
            for kind, weight in possible.items():
                expected[kind] += weight / sum(possible.values())
            found[document["faults"][0]["name"]] += 1
    for kind, count in expected.items():
        assert found[kind] == pytest.approx(count, abs=4.0 * np.sqrt(count)), kind
        assert abs(found[kind] - count) < 0.3 * count or count < 100, kind


def _quantities(document: dict[str, Any], rig: dict[str, Any]) -> Iterator[tuple[str, float]]:
    """What a drawn document says of the population's quantities, under their names."""
    cabinet, (body, chamber) = document["cabinet"], document["enclosures"]
    woofer, tweeter = document["branches"]
    ball, _ = _has(document)
    across = cabinet["diameter_m"] if ball else cabinet["width_m"]
    yield ("ball_diameter_m" if ball else "width_m"), across
    if not ball:
        yield "height_to_width", cabinet["height_m"] / across
        yield "depth_to_width", cabinet["depth_m"] / across
    unit = body["drive_units"][0]
    yield "woofer_to_width", unit["diameter_m"] / across / (0.6 if ball else 1.0)
    yield "woofer_resonance_hz", float(np.sqrt(unit["stiffness"] / unit["mass_kg"]) / (2.0 * np.pi))
    yield "tweeter_diameter_m", chamber["drive_units"][0]["diameter_m"]
    yield "crossover_hz", woofer["sections"][0]["corner_hz"]
    for panel in body.get("resonators", ()):
        (mouth,) = panel["mouths"]
        yield "panel_hz", panel["frequency_hz"]
        yield "panel_q", panel["q"]
        yield "panel_mass_kg", panel["mass_kg"]
        yield "panel_area_share", mouth["area_m2"] / (np.pi * mouth["diameter_m"] ** 2 / 4.0)
    for wave in body.get("waves", ()):
        yield "standing_wave_q", wave["q"]
    for fault in document.get("faults", ()):
        if fault["name"] == "delay":
            yield "delay_s", max(woofer.get("delay_s", 0.0), tweeter.get("delay_s", 0.0))
        if fault["name"] == "level_step":
            yield "level_step_db", tweeter["pad_db"] - fault["instead"]["branches.tweeter.pad_db"]
        if fault["name"] == "lift":
            bell = woofer["sections"][-1]
            yield "lift_hz", bell["centre_hz"]
            yield "lift_db", bell["gain_db"]
            yield "lift_q", bell["q"]
    yield "distance_m", rig["turntable"]["distance_m"]
    yield "rotation_behind_m", rig["turntable"]["rotation_behind_m"]
    yield "angle_spread_deg", rig["turntable"]["angle_spread_deg"]
    yield "height_m", rig["room"]["surfaces"][0]["distance_m"]
    yield "floor_reflection", rig["room"]["surfaces"][0]["reflection"]
    yield "ambient_pa", rig["room"]["ambient_pa"]
    yield "temperature_c", rig["air"]["temperature_c"]
    yield "humidity_percent", rig["air"]["humidity_percent"]


def test_documents_hold_what_the_table_says(
    documents: list[tuple[dict[str, Any], dict[str, Any]]],
) -> None:
    """Limits, and the median of each along its scale within four standard errors; signs alike often."""
    found: dict[str, list[float]] = {}
    for document, rig in documents:
        for name, value in _quantities(document, rig):
            found.setdefault(name, []).append(value)
    for name, signed in found.items():
        values, (low, high, scale) = np.abs(signed), POPULATION[name]
        middle = np.sqrt(low * high) if scale == "log" else (low + high) / 2.0
        # written with four digits
        assert low * 0.999 <= values.min() <= values.max() <= high * 1.001, name
        error = 4.0 * np.sqrt(0.25 / values.size)
        assert np.mean(values < middle) == pytest.approx(0.5, abs=error), name
        if name in ("level_step_db", "lift_db"):
            assert np.mean(np.array(signed) < 0.0) == pytest.approx(0.5, abs=error), name
    elsewhere = {"woofer_level_db", "bending_to_crossover", "bending_q", "bending_gain_db", "pipe_diameter_m"}
    assert set(found) == set(POPULATION) - elsewhere


def test_a_bending_cone_is_heard_as_it_was_drawn(drawn: list[Scenario]) -> None:
    """From what its woofer moves with and without: the ratio's pole by a rational fit, and its peak.

    The peak of 1 + a·f²/(f² − f₀² − jff₀/Q) lies beside f₀, and is up to 1.6 dB higher than √(1 + (aQ)²).
    """
    heights, qualities, places, signs = [], [], [], []
    for scenario in drawn:
        others = [name for fault in scenario.faults if fault.name != "bending" for name in fault.silences]
        source = scenario.loudspeaker.source.without(*others)
        for mode in source.enclosures[0].drive_units[0].bending:
            step = mode.area_share / mode.mass_share
            frequencies = mode.frequency_hz * np.geomspace(0.85, 1.2, 2001)
            plain = source.without(mode.name).volume_velocities(frequencies, scenario.air)[0]
            ratio = source.volume_velocities(frequencies, scenario.air)[0] / plain
            s = 1j * frequencies / mode.frequency_hz
            columns = np.stack([s**2, s, np.ones_like(s), -ratio * s, -ratio], axis=-1)
            both = np.concatenate([columns.real, columns.imag])
            right = np.concatenate([(ratio * s**2).real, (ratio * s**2).imag])
            *_, width, square = np.linalg.lstsq(both, right, rcond=None)[0]
            q, place = np.sqrt(square) / width, np.sqrt(square)
            assert source.ringing(mode.name, scenario.air)[1] == pytest.approx(q, rel=0.02)
            assert place == pytest.approx(1.0, abs=0.004)
            height = 10.0 * np.log10(1.0 + (step * q) ** 2)
            assert height - 0.1 < 20.0 * np.log10(np.abs(ratio).max()) < height + 1.7
            assert abs(step) < 1.05 * BENDING_STEP
            heights.append(height)
            qualities.append(q)
            signs.append(np.sign(step))
            corner = scenario.document.content["branches"][0]["sections"][0]["corner_hz"]
            places.append(mode.frequency_hz / corner)
    for name, values in (("bending_gain_db", heights), ("bending_to_crossover", places)):
        low, high, _ = POPULATION[name]
        assert 0.95 * low < min(values) <= max(values) < 1.05 * high, name
        assert np.mean(np.array(values) < np.sqrt(low * high)) == pytest.approx(
            0.5, abs=4.0 * np.sqrt(0.25 / len(values))
        ), name
    low, high, _ = POPULATION["bending_q"]
    assert 0.97 * low < min(qualities) <= max(qualities) < 1.03 * high
    assert abs(np.mean(signs)) < 4.0 / np.sqrt(len(signs))


def test_what_has_no_fault_is_even(drawn: list[Scenario]) -> None:
    """With the shelf taken out: bass without a hump of 1 dB over what lies above 100 Hz.

    A coil's inductance takes some tenths of a decibel of the woofer at the corner.
    """
    frequencies = np.geomspace(25.0, 300.0, 200)
    for scenario in drawn:
        if scenario.faults:
            continue
        velocity = scenario.loudspeaker.volume_velocities(frequencies, Air())
        shelf = scenario.document.content["branches"][0]["sections"][1]
        spread = 10.0 ** (shelf["depth_db"] / 40.0)
        s = 1j * frequencies / shelf["centre_hz"]
        level = 20.0 * np.log10(
            np.abs(velocity.sum(axis=0) * frequencies * (1.0 + s * spread) / (1.0 + s / spread))
        )
        assert level.max() - np.median(level[frequencies > 100.0]) < 1.0


def test_ports_can_be_built(
    documents: list[tuple[dict[str, Any], dict[str, Any]]], drawn: list[Scenario]
) -> None:
    """No longer than the box is deep, no more than a twentieth of its air."""
    for scenario in drawn:
        enclosure = scenario.loudspeaker.source.enclosures[0]
        cabinet = scenario.document.content["cabinet"]
        deep = cabinet.get("depth_m", cabinet.get("diameter_m"))
        for port in enclosure.ports:
            assert 0.0 < port.length_m < PORT_IN_DEPTH * deep
            assert port.length_m * port.area_m2 < 0.05 * enclosure.interior.volume_m3


def test_inside_is_where_outside_is(documents: list[tuple[dict[str, Any], dict[str, Any]]]) -> None:
    """Share of the height, from the bottom, of what stands in a box whose upright wave is heard."""
    for document, _ in documents:
        body, cabinet = document["enclosures"][0], document["cabinet"]
        if "waves" in body:
            for part in (*body["drive_units"], *body.get("ports", ())):
                up = part["at"]["up_m"] + cabinet["reference_up_m"] + cabinet["height_m"] / 2.0
                assert part["inside"][2] == pytest.approx(up / cabinet["height_m"], abs=1e-3)


def test_the_docs_tell_the_population() -> None:
    text = DOCS.read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+)` \| .* \| (\S+) \| (\S+) \| (log|even) \|$", text, re.MULTILINE)
    told = {name: (float(low), float(high), scale) for name, low, high, scale in rows}
    assert told == {
        name: (low, high, "log" if scale == "log" else "even")
        for name, (low, high, scale) in POPULATION.items()
    }
    for kind, weight in WEIGHTS.items():
        assert f"{kind.replace('_', ' ')} {weight:g}" in text
    words = ("none", "one", "two", "three")
    assert ", ".join(f"{word} {100 * share:.0f} %" for word, share in zip(words, COUNTS, strict=True)) in text
    assert f"{100 * BALLS:.0f} % are balls; {100 * PORTS:.0f} % are vented" in text
    for name in names():
        assert f"| `{name}` |" in text
