"""Steady tones of the virtual workshop against a period that is solved by itself, and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from made_runs import RATE_HZ
from made_tones import HIGH_HZ, LOW_HZ, MANY, TWO, Tones, hall, hum, recorded, second_of, silent, truth

from earwitness.measurement.toned import require_tones, toned
from earwitness.methods.iec_61260 import band_edges_hz
from earwitness.records.errors import ReadError
from earwitness.records.facts import CaseFacts, Rig, Unit
from earwitness.records.takes import Drive, Take, TakeKey, TakeKind
from earwitness.records.tones import NoiseFrom

FACTS = CaseFacts(unit=Unit(name="Bench"), rig=Rig(distance_m=2.0, pa_per_full_scale=8.0))
SILENCE = Take("noise.wav", TakeKey(TakeKind.NOISE))
PAIR = second_of(TWO, 12.0412)


def take(name: str, kind: TakeKind, drive_v: float = 5.0) -> Take:
    return Take(name, TakeKey(kind, drive=Drive(drive_v)), stimulus="stimulus.wav")


def db(ratio: float) -> float:
    return float(20.0 * np.log10(ratio))


@pytest.mark.parametrize(("drive_v", "with_silence"), [(5.0, False), (9.0, True)])
def test_sidebands_are_those_of_the_steady_state(tmp_path: Path, drive_v: float, with_silence: bool) -> None:
    scenario = hall()
    name = recorded(scenario, tmp_path, PAIR, drive_v)
    silent(scenario, tmp_path)
    beside = [SILENCE] if with_silence else []
    (found,) = toned(FACTS, [take(name, TakeKind.TWO_TONES, drive_v), *beside], tmp_path).two_tones
    amplitude = np.sqrt(truth(scenario, PAIR, drive_v))
    for order, added in ((1, found.second), (2, found.third)):
        apart = order * LOW_HZ
        true = (amplitude[HIGH_HZ - apart] + amplitude[HIGH_HZ + apart]) / amplitude[HIGH_HZ]
        assert added.heard
        # 28 dB and more over the noise
        assert added.uncertainty < 0.04 * added.ratio
        assert db(added.ratio) == pytest.approx(db(float(true)), abs=0.25)
        assert abs(added.ratio - true) < 4.0 * added.uncertainty + 0.005 * true
    assert found.noise_from is (NoiseFrom.SILENCE if with_silence else NoiseFrom.ITSELF)
    assert (found.low_hz, found.high_hz) == (LOW_HZ, HIGH_HZ)


def test_the_level_is_that_of_all_tones_at_a_metre(tmp_path: Path) -> None:
    scenario = hall()
    name = recorded(scenario, tmp_path, PAIR, 5.0)
    (found,) = toned(FACTS, [take(name, TakeKind.TWO_TONES)], tmp_path).two_tones
    power = float(truth(scenario, PAIR, 5.0)[TWO].sum())
    expected = 10.0 * np.log10(power * (8.0 * 2.0 / 20e-6) ** 2)
    assert found.level_db == pytest.approx(expected, abs=0.05)
    # NIOSH: eight hours at 85 dB(A), half for each 3 dB more
    assert found.hours == pytest.approx(8.0 * 2.0 ** ((85.0 - expected) / 3.0), rel=0.02)
    stated = CaseFacts(unit=Unit(name="Bench"), rig=Rig(distance_m=2.0))
    assert toned(stated, [take(name, TakeKind.TWO_TONES)], tmp_path).two_tones[0].level_db is None


def test_what_lies_between_many_tones_by_third_octave(tmp_path: Path) -> None:
    second, drive_v = second_of(MANY), 9.0
    scenario = hall(ambient_pa=0.0003)
    name = recorded(scenario, tmp_path, second, drive_v)
    (found,) = toned(FACTS, [take(name, TakeKind.MULTITONE, drive_v)], tmp_path).multitone
    true = truth(scenario, second, drive_v)
    hertz = np.arange(true.size)
    tone = np.isin(hertz, MANY)
    whole = true[tone].sum()
    total = np.sqrt(true[~tone & (hertz >= MANY[0])].sum() / whole)
    assert found.tones == MANY.size
    assert db(found.total.ratio) == pytest.approx(db(float(total)), abs=0.2)
    low, high = band_edges_hz(np.round(10.0 * np.log10(np.array(found.bands_hz) / 1000.0)).astype(int), 3)
    sure = 0
    for band, (first, last) in enumerate(zip(low, high, strict=True)):
        inside = (hertz >= first) & (hertz < last)
        between, tones = true[inside & ~tone].sum() / whole, true[inside & tone].sum() / whole
        assert found.tones_db[band] == pytest.approx(10.0 * np.log10(tones), abs=0.15)
        if not found.heard[band]:
            assert 10.0 * np.log10(between) < found.between_db[band]
        elif found.uncertainty_db[band] < 0.17:
            sure += 1
            assert found.between_db[band] == pytest.approx(10.0 * np.log10(between), abs=0.5)
    assert sure >= 8


def test_what_noise_hides_is_only_bounded(tmp_path: Path) -> None:
    scenario = hall(ambient_pa=0.003)
    name = recorded(scenario, tmp_path, PAIR, 1.0)
    (found,) = toned(FACTS, [take(name, TakeKind.TWO_TONES, 1.0)], tmp_path).two_tones
    amplitude = np.sqrt(truth(scenario, PAIR, 1.0))
    true = (amplitude[HIGH_HZ - LOW_HZ] + amplitude[HIGH_HZ + LOW_HZ]) / amplitude[HIGH_HZ]
    assert not found.second.heard
    assert found.second.uncertainty == 0.0
    assert true < found.second.ratio


def test_hum_is_no_distortion_where_silence_was_recorded(tmp_path: Path) -> None:
    """100 Hz stands between the tones, and repeats from second to second."""
    scenario = hall()
    name = recorded(scenario, tmp_path, second_of(MANY), 1.0)
    samples, _ = soundfile.read(tmp_path / name)
    soundfile.write(tmp_path / name, samples + hum(samples.size, 0.003, scenario), RATE_HZ, subtype="PCM_24")
    silent(scenario, tmp_path, hum_pa=0.003)
    one = take(name, TakeKind.MULTITONE, 1.0)
    (alone,), (held,) = (toned(FACTS, [one, *more], tmp_path).multitone for more in ([], [SILENCE]))
    band = alone.bands_hz.index(min(alone.bands_hz, key=lambda hz: abs(hz - 100.0)))
    assert alone.heard[band]
    assert not held.heard[band]
    assert held.noise_from is NoiseFrom.SILENCE


@pytest.mark.parametrize(("over", "is_heard"), [(3.0, False), (30.0, True)])
def test_ten_decibels_over_the_noise_are_needed(tmp_path: Path, over: float, is_heard: bool) -> None:
    """White noise of mean square σ² has 2σ²/N in each line of a second, and a third of it after three."""
    sigma = 1e-3
    side = np.sqrt(over * 2.0 * sigma**2 / RATE_HZ / 3.0)
    time = np.arange(5 * RATE_HZ) / RATE_HZ
    x = 0.1 * np.sin(2 * np.pi * LOW_HZ * time) + 0.1 * np.sin(2 * np.pi * HIGH_HZ * time)
    for line in (HIGH_HZ - LOW_HZ, HIGH_HZ + LOW_HZ):
        x += np.sqrt(2.0) * side * np.cos(2 * np.pi * line * time)
    rewritten(tmp_path, "stimulus.wav", Tones(PAIR).samples())
    told = []
    for seed in range(8):
        noise = sigma * np.random.default_rng(seed).normal(size=x.size)
        rewritten(tmp_path, "a.wav", x + noise)
        silence = sigma * np.random.default_rng(100 + seed).normal(size=60 * RATE_HZ)
        rewritten(tmp_path, "noise.wav", silence)
        (found,) = toned(FACTS, [take("a.wav", TakeKind.TWO_TONES), SILENCE], tmp_path).two_tones
        told.append(found.second.heard)
    assert told.count(is_heard) >= 6


def test_what_hum_adds_is_taken_off_again(tmp_path: Path) -> None:
    """A sideband on the hum's line, of three times its amplitude and a quarter of a turn apart."""
    time = np.arange(6 * RATE_HZ) / RATE_HZ
    turn = 2.0 * np.pi * time
    x = 0.1 * np.sin(turn * LOW_HZ) + 0.1 * np.sin(turn * HIGH_HZ)
    x += 3e-3 * np.sin(turn * (HIGH_HZ - LOW_HZ)) + 3e-3 * np.sin(turn * (HIGH_HZ + LOW_HZ))
    hums = 1e-3 * (np.cos(turn * (HIGH_HZ - LOW_HZ)) + np.cos(turn * (HIGH_HZ + LOW_HZ)))
    noise = 1e-6 * np.random.default_rng(1).normal(size=(2, x.size))
    rewritten(tmp_path, "stimulus.wav", Tones(PAIR).samples())
    rewritten(tmp_path, "a.wav", x + hums + noise[0])
    rewritten(tmp_path, "noise.wav", hums + noise[1])
    one = take("a.wav", TakeKind.TWO_TONES)
    ratio = [toned(FACTS, [one, *more], tmp_path).two_tones[0].second.ratio for more in ([], [SILENCE])]
    assert ratio[0] == pytest.approx(0.06 * np.sqrt(10.0) / 3.0, rel=1e-3)
    # nine times the hum's power is under the 10 dB over it that count as heard
    assert ratio[1] > 0.06


def rewritten(folder: Path, name: str, samples: npt.NDArray[np.float64]) -> None:
    soundfile.write(folder / name, samples, RATE_HZ, subtype="PCM_24")


def test_what_holds_no_steady_tones_is_refused(tmp_path: Path) -> None:
    tones = Tones(PAIR)
    rewritten(tmp_path, "stimulus.wav", tones.samples())
    two = take("a.wav", TakeKind.TWO_TONES)
    rewritten(tmp_path, "a.wav", tones.samples())
    require_tones(tmp_path, two)
    with pytest.raises(ReadError, match="is of 2 tones, and is stated as multitone"):
        require_tones(tmp_path, take("a.wav", TakeKind.MULTITONE))
    rewritten(tmp_path, "a.wav", tones.samples()[: 2 * RATE_HZ])
    with pytest.raises(ReadError, match="less than two seconds after the first one"):
        require_tones(tmp_path, two)
    other = Tones(second_of(np.array([60, 500]))).samples()
    rewritten(tmp_path, "a.wav", other)
    with pytest.raises(ReadError, match=r"doesn't hold the tones of stimulus\.wav"):
        require_tones(tmp_path, two)
    # a clock that is off by twenty parts in a million
    time = np.arange(6 * RATE_HZ) / RATE_HZ * (1.0 + 20e-6)
    rewritten(
        tmp_path, "a.wav", 0.1 * (np.sin(2 * np.pi * LOW_HZ * time) + np.sin(2 * np.pi * HIGH_HZ * time))
    )
    with pytest.raises(ReadError, match="20 parts in a million"):
        require_tones(tmp_path, two)
    rewritten(tmp_path, "stimulus.wav", np.random.default_rng(1).normal(size=4 * RATE_HZ) * 0.1)
    with pytest.raises(ReadError, match="isn't made of tones on whole hertz"):
        require_tones(tmp_path, two)
