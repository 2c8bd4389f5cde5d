"""Runs and self-noise of the virtual workshop, in the forms of a case: time constants, causes, levels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from evaluation.load_causes import counted
from made_runs import RATE_HZ, rig_text, run_of

from earwitness.acoustics.endurance import frames_of
from earwitness.acoustics.load_causes import LoadCause, Verdict, load_causes
from earwitness.measurement.self_noise import self_noise
from earwitness.records.errors import ReadError
from earwitness.records.facts import CaseFacts, Rig, Unit
from earwitness.records.takes import Take, TakeKey, TakeKind
from earwitness.virtual.scenario import FOLDER, from_text, load

#: Seconds of coil and of magnet, as the scenarios' files have them.
CONSTANTS = {"ladle": (4.1, 900.0), "thimble": (2.4, 540.0)}


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(CONSTANTS))
def test_time_constants_are_those_of_the_workshop(name: str) -> None:
    scenario = from_text(name, (FOLDER / f"{name}.toml").read_text(encoding="utf-8"), rig_text())
    run = run_of(scenario, 9.0, 600, 600)
    found = load_causes(frames_of(run.recording, run.stimulus, RATE_HZ))
    short_s, long_s = CONSTANTS[name]
    assert found.judged[LoadCause.HEAT].verdict is Verdict.ACTS
    assert found.judged[LoadCause.LIMITER].verdict is Verdict.NOT_SEEN
    warming = found.coils[0].warming
    assert warming.short.value_s == pytest.approx(short_s, rel=0.15)
    assert warming.long.value_s == pytest.approx(long_s, rel=0.15)
    assert warming.short.low_s <= short_s <= warming.short.high_s
    assert warming.long.low_s <= long_s <= warming.long.high_s


@pytest.mark.slow
def test_a_limiter_is_told_from_heat() -> None:
    # of 100 the same is printed by evaluation.load_causes; a tenth of them is enough to see it break
    table, wholly, _ = counted(range(1000, 1100), 10)
    assert wholly >= 9
    assert not table["heat", False, "acts"]
    assert not table["limiter", False, "acts"]


FACTS = CaseFacts(unit=Unit(name="Bench"), rig=Rig(distance_m=0.5, pa_per_full_scale=2.0))


def written(folder: Path, name: str, samples: np.ndarray) -> None:
    soundfile.write(folder / name, samples, 48_000, subtype="FLOAT")


def take(kind: TakeKind, name: str) -> Take:
    return Take(name, TakeKey(kind))


def hiss(level_pa: float, seed: int, seconds: float = 30.0) -> np.ndarray:
    """A third octave about 1 kHz, RMS in Pa, as parts of full scale."""
    count = round(48_000 * seconds)
    hertz = np.fft.rfftfreq(count, 1.0 / 48_000)
    random = np.random.default_rng(seed)
    lines = np.where((hertz > 950.0) & (hertz < 1050.0), np.exp(2j * np.pi * random.random(hertz.size)), 0.0)
    wave = np.fft.irfft(lines, count)
    return np.asarray(wave * level_pa / 2.0 / np.sqrt(np.mean(wave**2)))


def test_self_noise_is_what_is_over_the_room(tmp_path: Path) -> None:
    own, room = 20e-6 * 10.0 ** (28.0 / 20.0), 20e-6 * 10.0 ** (20.0 / 20.0)
    written(tmp_path, "self_noise.wav", hiss(own, 1) + hiss(room, 2))
    written(tmp_path, "noise.wav", hiss(room, 3))
    both = [take(TakeKind.SELF_NOISE, "self_noise.wav"), take(TakeKind.NOISE, "noise.wav")]
    found = self_noise(FACTS, both, tmp_path)
    assert found is not None
    # 100 Hz of noise in 60 Hann windows of 0.5 s: the mean is unsure by 4.34·√(1.944/(100·0.5·60)) = 0.11 dB
    assert found.level_dba == pytest.approx(28.0, abs=0.3)
    assert found.room_dba == pytest.approx(20.0, abs=0.3)
    assert found.uncertainty_db == pytest.approx(0.11, rel=0.4)
    assert not found.is_bound
    assert found.distance_m == 0.5
    third = dict(zip((round(f) for f in found.third_octaves_hz), found.third_octaves_db, strict=True))
    assert third[1000] == pytest.approx(10.0 * np.log10(10.0**2.8 + 10.0**2.0), abs=0.3)
    assert third[4000 - 19] < 0.0
    alone = self_noise(FACTS, both[:1], tmp_path)
    assert alone is not None
    assert alone.is_bound


def test_a_hiss_in_the_workshop_reads_as_it_is(tmp_path: Path) -> None:
    """White noise of 2 mPa at 1 m up to 24 kHz, 1 mPa at 2 m: 31.1 dB by the sum of A-weighted lines."""
    scenario = load("anvil")
    names = ["noise.wav", "self_noise.wav", "microphone.txt"]
    scenario.record(tmp_path, only=names)
    kinds = (TakeKind.NOISE, TakeKind.SELF_NOISE, TakeKind.MICROPHONE_CALIBRATION)
    takes = [take(kind, name) for kind, name in zip(kinds, names, strict=True)]
    full_scale = scenario.session.workshop.chain.full_scale_pa
    facts = CaseFacts(Unit("Anvil"), rig=Rig(distance_m=2.0, pa_per_full_scale=full_scale))
    found = self_noise(facts, takes, tmp_path)
    assert found is not None
    # the formula of IEC 61672-1, annex E, written out (recalled)
    f = np.arange(20.0, 20_001.0)
    weight = 12194.0**2 * f**4 / (f**2 + 20.6**2) / (f**2 + 12194.0**2)
    weight /= np.sqrt((f**2 + 107.7**2) * (f**2 + 737.9**2))
    weighted = np.sum((weight / weight[980]) ** 2) * 1e-6 / 24_000.0
    assert found.level_dba == pytest.approx(10.0 * np.log10(weighted / 4e-10), abs=0.12)


def test_a_tone_is_weighted(tmp_path: Path) -> None:
    # 80 dB at 100 Hz are 60.9 dB(A): IEC 61672-1, table 3, -19.1 dB (recalled)
    time = np.arange(4 * 48_000) / 48_000
    written(tmp_path, "self_noise.wav", 0.1 * np.sqrt(2.0) * np.sin(2.0 * np.pi * 100.0 * time))
    found = self_noise(FACTS, [take(TakeKind.SELF_NOISE, "self_noise.wav")], tmp_path)
    assert found is not None
    assert found.level_dba == pytest.approx(20.0 * np.log10(0.2 / 20e-6) - 19.1, abs=0.06)


def test_a_room_that_is_as_loud_gives_a_bound(tmp_path: Path) -> None:
    written(tmp_path, "self_noise.wav", hiss(1e-3, 1))
    written(tmp_path, "noise.wav", hiss(0.9e-3, 2))
    both = [take(TakeKind.SELF_NOISE, "self_noise.wav"), take(TakeKind.NOISE, "noise.wav")]
    found = self_noise(FACTS, both, tmp_path)
    assert found is not None
    assert found.is_bound
    written(tmp_path, "self_noise.wav", hiss(1e-3, 1, seconds=1.0))
    with pytest.raises(ReadError, match="too short"):
        self_noise(FACTS, both, tmp_path)
