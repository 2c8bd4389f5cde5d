"""What is recorded besides a session: against the parts' own values, and that the session stays as it was."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from earwitness.virtual.further import PROBE, Run
from earwitness.virtual.scenario import FOLDER, from_text, load
from earwitness.virtual.tables import ScenarioError

LADLE = (FOLDER / "ladle.toml").read_text(encoding="utf-8")
SHORT = LADLE.replace("load_s = 300", "load_s = 4").replace("rest_s = 300", "rest_s = 3")


def test_a_run_is_probes_then_load_among_probes_then_rest() -> None:
    gains = Run(8.0, 300, 300).gains()
    loaded = np.flatnonzero(gains == 1.0)
    assert np.count_nonzero(gains == 1.0) == 300
    assert gains.size - loaded[-1] - 1 >= 300
    assert not np.any(gains[: loaded[0]] == 1.0)
    assert np.count_nonzero(gains[: loaded[0]] == PROBE) == 8
    # ten minutes and a half at 16 kHz are fewer frames than a file may hold by far
    assert gains.size < 700


def test_a_second_of_it_is_pink_and_of_one_volt() -> None:
    run = Run(8.0, 10, 10)
    second = run.second(3)
    power = np.abs(np.fft.rfft(second)) ** 2
    assert np.sqrt(np.mean(second**2)) == pytest.approx(1.0, rel=1e-12)
    assert power[100:200].sum() == pytest.approx(power[1000:2000].sum(), rel=0.01)
    assert power[:39].max() < 1e-12 * power.max()


def test_impedance_is_that_of_the_loudspeaker(tmp_path: Path) -> None:
    scenario = load("ladle")
    (path,) = scenario.record(tmp_path, only=["impedance_0.5V.wav"])
    channels, rate = soundfile.read(path)
    read = dict(scenario.read[path.name])
    volts, drop = (np.fft.rfft(channels[:, i]) for i in (0, 1))
    hertz = np.fft.rfftfreq(len(channels), 1.0 / rate)
    inside = (hertz > 100.0) & (hertz < 10_000.0)
    full = float(read["voltage_full_scale_v"]) / float(read["current_full_scale_v"])
    found = np.abs(volts[inside] / drop[inside]) * full * float(read["sense_ohm"])
    truth = np.abs(scenario.loudspeaker.impedance(hertz[inside], scenario.air))
    assert np.median(np.abs(found / truth - 1.0)) < 0.005


def test_the_session_keeps_its_bytes(tmp_path: Path) -> None:
    name = "horizontal_+000_2.83V.wav"
    flute = (FOLDER / "flute.toml").read_text(encoding="utf-8")
    plain = flute[: flute.index("[impedance]")] + flute[flute.index("[cabinet]") :]
    for folder, text in (("with", flute), ("without", plain)):
        from_text("flute", text).record(tmp_path / folder, only=[name], sweep_s=0.5)
    assert (tmp_path / "with" / name).read_bytes() == (tmp_path / "without" / name).read_bytes()
    assert from_text("flute", plain).names == load("flute").names[:-1]


@pytest.mark.slow
def test_a_run_is_recorded_the_same_each_time(tmp_path: Path) -> None:
    scenario = from_text("ladle", SHORT)
    names = ["endurance_stimulus.wav", "endurance_11V.wav"]
    told: list[tuple[int, int]] = []
    scenario.record(tmp_path / "one", lambda done, whole: told.append((done, whole)), only=names)
    scenario.record(tmp_path / "two", only=names[1:])
    assert told == [(1, 2), (2, 2)]
    assert (tmp_path / "one" / names[1]).read_bytes() == (tmp_path / "two" / names[1]).read_bytes()
    heard, rate = soundfile.read(tmp_path / "one" / names[1])
    played, _ = soundfile.read(tmp_path / "one" / names[0])
    assert heard.size == played.size + rate
    loud = np.sqrt(np.mean(heard[: played.size].reshape(-1, rate) ** 2, axis=1))
    gains = np.sqrt(np.mean(played.reshape(-1, rate) ** 2, axis=1)) / 0.2
    load_rms, probe_rms = (np.median(loud[np.isclose(gains, gain, rtol=0.01)]) for gain in (1.0, PROBE))
    # motion and heat take less than 2 dB
    assert 20.0 * np.log10(load_rms / probe_rms) == pytest.approx(20.0, abs=2.0)


def test_a_loudspeaker_at_rest_hisses_as_stated(tmp_path: Path) -> None:
    """2 mPa at 1 m are 1 mPa at 2 m, through the microphone; its room is taken off as power."""
    scenario = load("anvil")
    scenario.record(tmp_path, only=["noise.wav", "self_noise.wav"])
    power = [np.mean(soundfile.read(tmp_path / name)[0] ** 2) for name in ("self_noise.wav", "noise.wav")]
    full_scale = scenario.session.workshop.chain.full_scale_pa
    hum = 0.0002**2 + 0.0001**2
    microphone = scenario.session.workshop.microphone
    treble = np.mean(np.abs(microphone.transfer(np.arange(1.0, 24_000.0))) ** 2)
    # a resonance at 24 kHz of Q 1.1: 1.35 times the power of white noise
    assert 1.2 < treble < 1.5
    expected = (0.002**2 * treble + hum) / scenario.turntable.distance_m**2
    assert (power[0] - power[1]) * full_scale**2 == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize(
    ("was", "becomes", "said"),
    [
        ("load_s = 300", "load_s = 0", "load_s is 0"),
        ("load_s = 300", "load_s = 300\nlast_hz = 9000.0", "of the sample rate at most"),
        ("sense_ohm = 0.5", "sense_ohm = -0.5", "sense_ohm is -0.5"),
    ],
)
def test_what_cannot_be_is_one_line(was: str, becomes: str, said: str) -> None:
    assert was in LADLE
    with pytest.raises(ScenarioError, match=said) as caught:
        from_text("ladle", LADLE.replace(was, becomes, 1))
    assert "\n" not in str(caught.value)


def test_ideal_filters_have_no_impedance_and_what_is_linear_no_run() -> None:
    demo = (FOLDER / "cobble_two.toml").read_text(encoding="utf-8")
    table = LADLE[LADLE.index("[impedance]") : LADLE.index("# 11 V")]
    with pytest.raises(ScenarioError, match="ideal filters have none"):
        from_text("cobble_two", demo.replace("[cabinet]", table + "[cabinet]", 1))
    run = "[endurance]\ndrive_v = 8.0\nload_s = 10\nrest_s = 10\n\n"
    with pytest.raises(ScenarioError, match="nothing warms or moves"):
        from_text("cobble_two", demo.replace("[cabinet]", run + "[cabinet]", 1))
