"""The population: every draw can be built, keeps within limits, and has faults as often as the table says."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from earwitness.virtual.air import Air
from earwitness.virtual.designer import Wish
from earwitness.virtual.generator import COUNTS, POPULATION, WEIGHTS, Draws, generate
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


def test_the_docs_tell_the_population() -> None:
    text = DOCS.read_text(encoding="utf-8")
    for low, high, scale in POPULATION.values():
        assert f"| {low:g} | {high:g} | {'log' if scale == 'log' else 'even'} |" in text
    for kind, weight in WEIGHTS.items():
        assert f"{kind.replace('_', ' ')} {weight:g}" in text
    assert ", ".join(f"{100 * share:.0f} %" for share in COUNTS[:1]) in text
    for name in names():
        assert f"| `{name}` |" in text
