"""Scenarios with large-signal facts: what is refused, what is recorded, what their truth says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from virtual import json_schema

from earwitness.virtual.playing import Playing
from earwitness.virtual.scenario import FOLDER, Scenario, from_text, load
from earwitness.virtual.tables import ScenarioError
from earwitness.virtual.truth import level_db
from earwitness.virtual.truth_large import FREQUENCIES, LARGE_SCHEMA, large_signal_truth

DEMO = (FOLDER / "cobble_two.toml").read_text(encoding="utf-8")
SHAPES = "large_signal = { force_half_m = 0.006, force_offset_m = 0.0005, stiffness_double_m = 0.005 }"


def made(before: str = "", after: str = "", within: str = SHAPES) -> Scenario:
    """The demo's loudspeaker with a large woofer, and tables before and after."""
    text = DEMO.replace("damping = 0.85\n", f"damping = 0.85\n{within}\n")
    return from_text("demo", f"{before}\n{text}\n{after}\n")


@pytest.mark.parametrize(
    ("after", "within", "message"),
    [
        (
            "",
            "large_signal = { force_half_m = 0.0 }",
            "woofer, large_signal: force_half_m is 0; it lies above 0",
        ),
        ("", "large_signal = { halves_m = 0.01 }", "there is no halves_m; there may be: force_half_m"),
        ("", "large_signal = { inductance_fall = 1.5 }", "inductance_fall is 1.5; it lies between -1 and 1"),
        ("", "large_signal = { contact_m = 0.0 }", "contact_m is 0, where the coil rests"),
        (
            "",
            "heating = { coil_k_per_w = 4.0, coil_s = 2.0, magnet_k_per_w = 2.0, magnet_s = 500.0 }",
            "a coil that warms has large_signal facts too",
        ),
        (
            "",
            "large_signal = {}\n"
            "heating = { coil_k_per_w = 4.0, coil_s = 900.0, magnet_k_per_w = 2.0, magnet_s = 500.0 }",
            "woofer, heating: coil_s is 900: it is at least 0.2 s, and less than magnet_s",
        ),
        ("[levels]\ndrives_v = [4.0, 2.0]", SHAPES, "levels: drives_v rise"),
        ("[levels]\ndrives_v = []", SHAPES, "levels: drives_v rise, and there is one at least"),
        (
            "[levels]\ndrives_v = [2.83]",
            SHAPES,
            "levels: 2.83 V is the drive of the turns already; leave it out",
        ),
        ("[clipping]\nclips_v = -2.0", SHAPES, "clipping: clips_v is -2; it lies above 0"),
        (
            "[limiter]\nthreshold_v = 2.0\nknee_db = 6.0\nattack_s = 0.01\nrelease_s = 0.1\nratio = 0.5",
            SHAPES,
            "limiter: ratio is 0.5; it is 1 or more",
        ),
    ],
)
def test_what_cant_be_is_refused_in_one_line(after: str, within: str, message: str) -> None:
    with pytest.raises(ScenarioError, match=r"demo\.toml") as caught:
        made(after=after, within=within)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_flux_that_never_settles_is_refused_where_it_does_something() -> None:
    """K√s/s grows without limit toward 0 Hz; beside an inductance it has that inductance for a limit."""
    thimble = (FOLDER / "thimble.toml").read_text(encoding="utf-8")
    assert ", core_inductance_h = 0.0015" in thimble
    with pytest.raises(ScenarioError, match="the flux of a semi-inductance alone never settles"):
        from_text("thimble", thimble.replace(", core_inductance_h = 0.0015", ""))


def test_a_linear_scenario_has_no_large_signal() -> None:
    scenario = load("cobble_two")
    assert scenario.session.player is None
    assert large_signal_truth(scenario) is None


def test_a_drive_that_is_too_large_is_refused_in_one_line(tmp_path: Path) -> None:
    scenario = made(after="[levels]\ndrives_v = [400.0]")
    with pytest.raises(ValueError, match="lower the drive"):
        scenario.record(tmp_path, only=["horizontal_+000_400V.wav"], sweep_s=0.5)


def test_six_drives_are_six_files_and_the_same_bytes_each_time(tmp_path: Path) -> None:
    """With a limiter's threshold between them: the last is held back, by more than anything else does."""
    limiter = "[limiter]\nthreshold_v = 4.0\nknee_db = 2.0\nattack_s = 0.005\nrelease_s = 0.2"
    scenario = made(after=f"{limiter}\n[levels]\ndrives_v = [0.5, 1.0, 2.0, 4.0, 5.6, 8.0]")
    names = [name for name in scenario.names if name.startswith("horizontal_+000") and "2.83" not in name]
    assert len(names) == 6
    scenario.record(tmp_path / "one", only=names, sweep_s=0.5)
    scenario.record(tmp_path / "two", only=names[-1:], sweep_s=0.5)
    assert (tmp_path / "one" / names[-1]).read_bytes() == (tmp_path / "two" / names[-1]).read_bytes()
    level = [np.sqrt(np.mean(soundfile.read(tmp_path / "one" / name)[0] ** 2)) for name in names]
    steps = 20.0 * np.log10(np.array(level[1:]) / level[:-1])
    assert steps[1] == pytest.approx(20.0 * np.log10(2.0), abs=0.5)
    # 8 V RMS is 11.3 V at its peak, 9 dB above the threshold, as are 4 V by 3 dB.
    assert steps[-2:] == pytest.approx([0.0, 0.0], abs=0.3)


def test_the_truth_is_valid_and_tells_what_makes_what() -> None:
    """An offset makes the second order, stiffness part of the third; far above resonance all is linear."""
    scenario = made(
        before="", after="[levels]\ndrives_v = [0.1, 4.0]\n[clipping]\nclips_v = 12.0\nsoftness = 4.0"
    )
    found = large_signal_truth(scenario)
    assert found is not None
    assert json_schema.faults(found, LARGE_SCHEMA) == []
    small, _, large = found["drives"]
    assert np.max(np.abs(small["compression_db"])) < 0.05
    linear = level_db(scenario, FREQUENCIES)[0] + 20.0 * np.log10(0.1 / 2.83)
    assert small["levels_db"][0] == pytest.approx(linear, abs=0.05)
    bass, treble = np.searchsorted(FREQUENCIES, [60.0, 5000.0])
    first, second, third = (large["levels_db"][order][bass] for order in range(3))
    assert first - 40.0 < second < first - 10.0
    assert first - 40.0 < third < first - 10.0
    without = {each["name"]: each["levels_without_db"] for each in found["mechanisms"]}
    assert set(without) == {"force_factor", "stiffness", "clipping"}
    # All that is left is symmetric, and makes no even order.
    assert without["force_factor"][1][bass] is None
    assert without["stiffness"][2][bass] != pytest.approx(third, abs=0.5)
    assert large["compression_db"][treble] == pytest.approx(0.0, abs=0.15)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["thimble", "ladle"])
def test_the_shelfs_large_loudspeakers(name: str) -> None:
    """2.83 V leaves them as they are within 0.4 dB; their largest drive holds the bass back."""
    found = large_signal_truth(load(name))
    assert found is not None
    assert json_schema.faults(found, LARGE_SCHEMA) == []
    by_drive = {each["drive_v"]: np.array(each["compression_db"]) for each in found["drives"]}
    assert len(by_drive) == 7
    assert np.max(np.abs(by_drive[2.83])) < 0.4
    assert np.min(by_drive[max(by_drive)]) < -2.0
    (heat,) = found["heating"]
    assert [take["drive_v"] for take in heat["takes"]] == sorted(take["drive_v"] for take in heat["takes"])
    assert 5.0 < heat["takes"][-1]["coil_k"] < 60.0


@pytest.mark.slow
def test_a_series_warms_its_coils_and_a_streaming_port_is_heard() -> None:
    """Each take of the series starts where the one before and its pause left the coil; 60 lg 2 of noise."""
    session = load("ladle", "garden").session
    player = session.player
    assert player is not None
    samples = replace(session.sweep, wanted_s=1.0).samples()
    playing = Playing(player, samples, session.sweep.peak, len(samples) + 4800, 10.0)
    drives = (4.0, 8.0)
    first, second = (playing.after(drives, drive) for drive in drives)
    fall = (np.exp(-10.0 / 4.1), np.exp(-10.0 / 900.0))
    begun = first.rises[0][0] * fall[0] + first.rises[0][1] * fall[1]
    assert first.kelvins[0, 0] == 0.0
    assert second.kelvins[0, 0] == pytest.approx(begun, rel=1e-9)
    place = player.source.radiators.index("port")
    power = [
        np.sum(np.abs(player.port_noise(each, np.random.default_rng(1))[place]) ** 2)
        for each in (first, second)
    ]
    # The port's own air is held back at the larger drive: by less than 1.5 dB, of which the noise has thrice.
    assert 18.06 - 4.5 < 10.0 * np.log10(power[1] / power[0]) < 18.06
