"""Impedance from recorded voltage and current, against the virtual loudspeaker that was recorded."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from earwitness.measurement.electrical import measured_impedance, require_electrical
from earwitness.records.errors import ReadError
from earwitness.records.grid import derived_grid
from earwitness.records.impedance import MeasuredImpedance
from earwitness.records.takes import Drive, ReadOption, Take, TakeKey, TakeKind
from earwitness.virtual.electrical import Circuit, Meter
from earwitness.virtual.scenario import Scenario, load
from earwitness.virtual.stimulus import Sweep

GRID = derived_grid()
METER = Meter(0.5, 2.0, 0.25, 0.5, noise_v=5e-6)
Stated = dict[str, ReadOption]
STATED: Stated = {
    "voltage": 1,
    "current": 2,
    "sense_ohm": 0.5,
    "voltage_full_scale_v": 2.0,
    "current_full_scale_v": 0.25,
}
STIMULI = {"stimulus.wav": Take("stimulus.wav", TakeKey(TakeKind.STIMULUS))}


@pytest.fixture(scope="module")
def flute() -> Scenario:
    return load("flute")


def sweep_of(scenario: Scenario) -> Sweep:
    return scenario.session.sweep


def take_of(
    path: str = "impedance.wav",
    kind: TakeKind = TakeKind.IMPEDANCE,
    repeat: int = 1,
    read: Stated | None = None,
) -> Take:
    stated = {name: value for name, value in (STATED | (read or {})).items() if value != ""}
    key = TakeKey(kind, drive=Drive(0.5), repeat=repeat)
    return Take(path, key, stimulus="stimulus.wav", read=tuple(sorted(stated.items())))


def circuit_of(scenario: Scenario, meter: Meter = METER, seed: int = 1, output_ohm: float = 0.2) -> Circuit:
    chain = replace(scenario.session.workshop.chain, output_ohm=output_ohm)
    return Circuit(meter, chain, scenario.session.tail_s, seed)


def recorded(folder: Path, scenario: Scenario, circuit: Circuit, name: str = "impedance.wav") -> None:
    sweep = sweep_of(scenario)
    soundfile.write(folder / "stimulus.wav", sweep.samples(), sweep.sample_rate_hz, subtype="PCM_24")
    circuit.write(folder / name, circuit.loudspeaker(scenario.loudspeaker, scenario.air, sweep, name))


def measured(folder: Path, *takes: Take) -> MeasuredImpedance:
    found = measured_impedance(folder, takes, STIMULI)
    assert found is not None
    return found


def truth_of(scenario: Scenario) -> np.ndarray:
    return scenario.loudspeaker.impedance(GRID, scenario.air)


@pytest.mark.parametrize("name", ["flute", "bellows"])
def test_impedance_from_20_hz_to_20_khz(tmp_path: Path, name: str) -> None:
    scenario = load(name)
    recorded(tmp_path, scenario, circuit_of(scenario))
    found = measured(tmp_path, take_of())
    assert found.valid.all()
    # 0.5 % of the magnitude everywhere, from a sweep of three seconds
    np.testing.assert_allclose(found.ohms / truth_of(scenario), 1.0, atol=5e-3)
    assert found.drive == "0.5 V"
    assert found.repeat_ohm is None


def test_spread_over_seeds_is_what_is_stated(tmp_path: Path, flute: Scenario) -> None:
    meter = replace(METER, noise_v=1e-3)
    away = []
    for seed in range(8):
        recorded(tmp_path, flute, circuit_of(flute, meter, seed))
        found = measured(tmp_path, take_of())
        away.append((np.abs(found.ohms) - np.abs(truth_of(flute))) / found.noise_ohm)
    for low, high in ((20.0, 100.0), (100.0, 1000.0), (1000.0, 20_000.0)):
        inside = (low <= GRID) & (high >= GRID)
        # eight seeds: the root mean square of some dozens of independent values is told to a tenth or so
        spread = np.sqrt(np.mean(np.square(np.array(away)[:, inside])))
        assert 0.6 < spread < 1.4, (low, high, spread)


def test_hum_stays_within_thrice_what_is_stated(tmp_path: Path, flute: Scenario) -> None:
    recorded(tmp_path, flute, circuit_of(flute, replace(METER, hum_v=(2e-5, 1e-5, 1e-5))))
    found = measured(tmp_path, take_of())
    away = np.abs(np.abs(found.ohms) - np.abs(truth_of(flute))) / found.noise_ohm
    about = (GRID > 30.0) & (GRID < 300.0)
    assert np.mean(away[about] < 3.0) > 0.95


def test_voltage_over_both(tmp_path: Path, flute: Scenario) -> None:
    recorded(tmp_path, flute, circuit_of(flute, replace(METER, over_both=True)))
    found = measured(tmp_path, take_of(read={"voltage_over_both": True}))
    np.testing.assert_allclose(found.ohms / truth_of(flute), 1.0, atol=5e-3)
    wrong = measured(tmp_path, take_of())
    assert np.abs(wrong.ohms - truth_of(flute)).mean() == pytest.approx(0.5, rel=0.01)


@pytest.mark.parametrize("over_both", [False, True])
def test_a_known_resistor_sets_the_scale(tmp_path: Path, flute: Scenario, over_both: bool) -> None:
    circuit = circuit_of(flute, replace(METER, over_both=over_both))
    recorded(tmp_path, flute, circuit)
    circuit.write(tmp_path / "known.wav", circuit.resistor(10.0, sweep_of(flute), "known.wav"))
    # what full scale is isn't stated, and nothing else is but what the voltage is over
    left_out: Stated = {"voltage_full_scale_v": "", "current_full_scale_v": ""}
    more: Stated = {"voltage_over_both": True} if over_both else {"sense_ohm": ""}
    known = take_of("known.wav", TakeKind.RESISTOR, read={"known_ohm": 10.0} | left_out | more)
    found = measured(tmp_path, take_of(read=left_out | more), known)
    np.testing.assert_allclose(found.ohms / truth_of(flute), 1.0, atol=5e-3)
    assert found.known_resistor
    assert found.takes == ("impedance.wav", "known.wav")


def test_the_lowest_drive_counts_and_repeats_are_averaged(tmp_path: Path, flute: Scenario) -> None:
    for seed, name in enumerate(("a.wav", "b.wav")):
        recorded(tmp_path, flute, circuit_of(flute, replace(METER, noise_v=1e-3), seed), name)
    takes = [take_of("a.wav"), take_of("b.wav", repeat=2)]
    louder = replace(take_of("a.wav"), path="c.wav", key=TakeKey(TakeKind.IMPEDANCE, drive=Drive(2.0)))
    one, both = measured(tmp_path, takes[0]), measured(tmp_path, *takes, louder)
    assert both.takes == ("a.wav", "b.wav")
    assert both.repeat_ohm is not None
    high = GRID > 2000.0
    ratio = np.sqrt(np.mean(np.square(both.noise_ohm[high]))) / np.sqrt(
        np.mean(np.square(one.noise_ohm[high]))
    )
    assert ratio == pytest.approx(np.sqrt(0.5), rel=0.1)


def test_a_file_of_ohms(tmp_path: Path) -> None:
    lines = "frequency [Hz];impedance [ohm]\n10;8\n1000;8\n20000;16\n"
    (tmp_path / "impedance.csv").write_text(lines, encoding="utf-8")
    found = measured(tmp_path, Take("impedance.csv", TakeKey(TakeKind.IMPEDANCE)))
    assert not found.has_phase
    assert found.drive == ""
    at_2000 = int(np.argmin(np.abs(GRID - 2000.0)))
    # levels run straight over the logarithm of frequency: 8·2^(lg 2/lg 20)
    expected = 8.0 * 2.0 ** (np.log(GRID[at_2000] / 1000.0) / np.log(20.0))
    assert found.ohms[at_2000] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("change", "line"),
    [
        ({"current": ""}, r"doesn't say which channel is the current; state read.current in takes.toml"),
        ({"current": 1}, r"has channel 1 stated as voltage and as current; state one of them otherwise"),
        ({"sense_ohm": ""}, r"doesn't say the ohms of the resistor in series; state read.sense_ohm"),
        (
            {"voltage_full_scale_v": ""},
            r"doesn't say the volts at full scale; state read.voltage_full_scale_v",
        ),
        ({"sense_ohm": -1.0}, r"read.sense_ohm can't be -1.0; write the ohms"),
        ({"voltage": 3}, r"has 2 channels, and no channel 3; "),
    ],
)
def test_what_is_not_stated_is_refused(tmp_path: Path, flute: Scenario, change: Stated, line: str) -> None:
    recorded(tmp_path, flute, circuit_of(flute))
    with pytest.raises(ReadError, match=rf"^impedance.wav: {line}"):
        measured(tmp_path, take_of(read=change))


def test_recordings_that_hold_something_else_are_refused(tmp_path: Path, flute: Scenario) -> None:
    recorded(tmp_path, flute, circuit_of(flute))
    whole, rate = soundfile.read(tmp_path / "impedance.wav")
    spoiled = {
        "holds the same on both channels": whole[:, [0, 0]],
        "ends here and is shorter than its stimulus": whole[: rate // 2],
        "doesn't hold the sweep in stimulus.wav": whole[::-1],
        "channel 2, sample [0-9]+: is clipped": np.clip([1.0, 8.0] * whole, -1.0, 1.0 - 2.0**-23),
        "channel 2: is silent": whole * [1.0, 0.0],
    }
    for line, samples in spoiled.items():
        soundfile.write(tmp_path / "impedance.wav", samples, rate, subtype="PCM_24")
        with pytest.raises(ReadError, match=rf"^impedance.wav.*{line}"):
            require_electrical(tmp_path, take_of(), STIMULI)


def test_nothing_where_no_take_is_an_impedance(tmp_path: Path) -> None:
    assert measured_impedance(tmp_path, [Take("a.wav", TakeKey(TakeKind.NOISE))], {}) is None
