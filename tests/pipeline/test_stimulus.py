"""Stimulus files: what they are by general libraries, and what becomes of a recording of them."""

from __future__ import annotations

import dataclasses
import tomllib
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import scipy.signal
import soundfile

from earwitness.acoustics.signals import Emphasis
from earwitness.case.datasets import load_responses
from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.case.sidecar import read_sidecar
from earwitness.case.takes import read_takes
from earwitness.measurement.answers import read_stimulus
from earwitness.measurement.deconvolution import deconvolve
from earwitness.pipeline.asked_signals import Asked, Multitone, Noise, Run, Sweep, two_tones
from earwitness.pipeline.build import build
from earwitness.pipeline.intake import Intake, accept, look_at
from earwitness.pipeline.plan import plan_of
from earwitness.pipeline.shots import Wanted
from earwitness.pipeline.stimulus import Layout, Written, write_stimuli
from earwitness.records.errors import CallError, ReadError
from earwitness.records.takes import Drive, Take, TakeKey, TakeKind

RATE = 48_000
SWEEP = Sweep(10.0, 22_000.0, 3.0)
TINTED = dataclasses.replace(SWEEP, emphasis=Emphasis(shelf_db=12.0, shelf_hz=150.0, tilt_db_per_octave=-1.5))
TWENTY = Drive(-20.0, "dBFS")
#: RMS volts of a full-scale sine, and pascals that fill the converter.
FULL_SCALE_V = 28.3
FULL_SCALE_PA = 8.0
BAND_PASS = scipy.signal.butter(2, [60.0, 15_000.0], "bandpass", fs=RATE, output="sos")
PA_PER_V = 0.14
FACTS = """\
[unit]
name = "Bench"
[rig]
distance_m = 1.0
rotation_behind_m = 0.0
gate_s = 0.25
pa_per_full_scale = 8.0
temperature_c = 20.0
"""


def one(folder: Path, asked: Asked, level: Drive = TWENTY, layout: Layout | None = None) -> Written:
    (written,) = write_stimuli(folder, asked, [level], layout or Layout())
    return written


@pytest.mark.parametrize(
    "asked",
    [SWEEP, TINTED, Multitone(20.0, 20_000.0, 3.0, 31, 1), Noise(20.0, 20_000.0, 3.0, "pink", 1)],
    ids=["sweep", "tinted", "multitone", "noise"],
)
def test_a_file_is_what_its_sidecar_says(tmp_path: Path, asked: Asked) -> None:
    """Read back by soundfile, its numbers by numpy."""
    written = one(tmp_path, asked)
    facts = read_sidecar(written.sound.with_suffix(".toml"))
    x, rate = soundfile.read(written.sound)
    assert (rate, x.size, written.sound.name) == (facts.sample_rate_hz, facts.samples, facts.file)
    lead, tail = round(facts.lead_s * rate), round(facts.tail_s * rate)
    assert np.all(x[:lead] == 0.0)
    assert np.all(x[x.size - tail :] == 0.0)
    sounding = x[lead : x.size - tail]
    peak, rms = np.max(np.abs(sounding)), np.sqrt(np.mean(sounding**2))
    assert facts.peak_dbfs == pytest.approx(20.0 * np.log10(peak), abs=1e-3)
    # AES17: a full-scale sine, of RMS value 1/√2, is 0 dBFS
    assert facts.rms_dbfs == pytest.approx(20.0 * np.log10(rms * np.sqrt(2.0)), abs=1e-3)
    assert facts.crest_factor_db == pytest.approx(20.0 * np.log10(peak / rms), abs=1e-3)
    stated = facts.peak_dbfs if isinstance(asked, Sweep) else facts.rms_dbfs
    assert stated == pytest.approx(-20.0, abs=1e-3)


def test_the_same_call_gives_the_same_bytes_and_nothing_is_overwritten(tmp_path: Path) -> None:
    first = one(tmp_path, SWEEP)
    data = first.sound.read_bytes()
    assert first.new
    assert not one(tmp_path, SWEEP).new
    with pytest.raises(CallError, match="is there already and differs"):
        one(tmp_path, TINTED)
    assert first.sound.read_bytes() == data


def test_steps_rise_and_say_volts(tmp_path: Path) -> None:
    levels = [Drive(8.95, "V"), Drive(2.83, "V"), Drive(-30.0, "dBFS")]
    written = write_stimuli(tmp_path, SWEEP, levels, Layout(full_scale_v=FULL_SCALE_V))
    names = [one.sound.name for one in written]
    assert names == ["stimulus_-30dBFS.wav", "stimulus_2.83V.wav", "stimulus_8.95V.wav"]
    # 28.3 V at full scale: 20 lg(2.83/28.3) = −20 dB, and −30 dB are 0.89492 V
    assert written[1].facts.level_dbfs == pytest.approx(-20.0)
    assert written[0].facts.drive_v == pytest.approx(0.894924, rel=1e-6)


def test_levels_at_an_analogue_input(tmp_path: Path) -> None:
    levels = [Drive(4.0, "dBu"), Drive(-10.0, "dBu")]
    written = write_stimuli(tmp_path, SWEEP, levels, Layout(full_scale_v=7.74596669))
    assert [one.sound.name for one in written] == ["stimulus_-10dBu.wav", "stimulus_4dBu.wav"]
    # full scale is +20 dBu here: ten times the volts that give 1 mW in 600 Ω
    assert [one.facts.level_dbfs for one in written] == pytest.approx([-30.0, -16.0], abs=1e-6)
    assert written[1].facts.drive_v == pytest.approx(1.22766, rel=1e-5)


@pytest.mark.parametrize(
    ("asked", "level", "told"),
    [
        (SWEEP, Drive(0.1, "dBFS"), "above digital full scale"),
        (SWEEP, Drive(0.0, "dBFS"), "0 dBFS would clip: its peak would be"),
        (Noise(20.0, 20e3, 3.0, "pink", 1), Drive(-8.0, "dBFS"), "would clip"),
        (Multitone(20.0, 20e3, 3.0, 31, 1), Drive(-8.0, "dBFS"), "would clip"),
        (SWEEP, Drive(2.83, "V"), "needs --full-scale"),
        (SWEEP, Drive(4.0, "dBu"), "needs --full-scale"),
        (SWEEP, Drive(-100.0, "dBFS"), "is below −80 dBFS"),
        (Sweep(10.0, 25e3, 3.0), TWENTY, "above half the sample rate, 24000 Hz"),
        (Sweep(200.0, 100.0, 3.0), TWENTY, "doesn't rise from above 0"),
        (Sweep(0.0, 100.0, 3.0), TWENTY, "doesn't rise from above 0"),
        (Sweep(10.0, 22e3, 0.1), TWENTY, "can't be made"),
        (Sweep(1000.0, 1500.0, 3.0), TWENTY, "can't be made"),
        (Sweep(10.0, 22e3, 3.0, 1.0, 1.0), TWENTY, "the fades must be 0 or more"),
        (Sweep(10.0, 22e3, float("nan")), TWENTY, "is no length"),
        (Sweep(10.0, 22e3, 3.0, emphasis=Emphasis(50.0, 200.0)), TWENTY, "is over 40 dB"),
        (
            Sweep(10.0, 22e3, 3.0, emphasis=Emphasis(90.0, 200.0)),
            TWENTY,
            "a shelf of 90 dB and a tilt of 0 dB",
        ),
        (Sweep(10.0, 22e3, 3.0, emphasis=Emphasis(tilt_db_per_octave=float("nan"))), TWENTY, "an emphasis"),
        (Sweep(10.0, 22e3, 3.0, emphasis=Emphasis(5.0, 0.0)), TWENTY, "a shelf at 0 Hz"),
        (Multitone(20.0, 40.0, 3.0, 31, 1), TWENTY, "don't all fall on hertz"),
        (Multitone(20.0, 40.0, 3.0, 1, 1), TWENTY, "a multitone of 1 tone can't be; give from 2 to"),
        (Multitone(20.0, 4e3, 3.0, 5, -1), TWENTY, "a seed of -1"),
        (Noise(20.0, 21.0, 1.0, "pink", 1), TWENTY, "is no noise"),
        (Run(40.0, 10e3, 600.0, 600.0, 1), TWENTY, "samples are more than"),
        (Run(40.0, 10e3, 5.0, 60.0, 1), TWENTY, "a run of 5 s and 60 s after it can't be"),
    ],
)
def test_what_cannot_be_played_is_refused_in_one_line(
    tmp_path: Path, asked: Asked, level: Drive, told: str
) -> None:
    with pytest.raises(CallError) as refused:
        one(tmp_path / "new", asked, level)
    assert told in str(refused.value)
    assert "\n" not in str(refused.value)
    assert not (tmp_path / "new").exists()


def test_what_is_allowed_at_most_is_allowed(tmp_path: Path) -> None:
    """The level that a refusal names can be had, a tenth of a decibel more can't."""
    asked = Noise(20.0, 20e3, 2.0, "white", 5)
    with pytest.raises(CallError) as refused:
        one(tmp_path, asked, Drive(0.0, "dBFS"))
    most = float(str(refused.value).split("at most ")[1].split(" ")[0].replace("−", "-"))
    x, _ = soundfile.read(one(tmp_path, asked, Drive(most, "dBFS")).sound)
    assert np.max(np.abs(scipy.signal.resample(x, 4 * x.size))) <= 10.0 ** (-0.09 / 20.0)
    with pytest.raises(CallError, match="would clip"):
        one(tmp_path, asked, Drive(round(most + 0.1, 1), "dBFS"))


def record(stimulus: Written, name: str, volts: float) -> None:
    """What a microphone at one metre hears of it through a band-pass, by plain filtering."""
    x, _ = soundfile.read(stimulus.sound)
    played = x * (volts * np.sqrt(2.0) / np.max(np.abs(x)))
    sound = PA_PER_V * scipy.signal.sosfilt(BAND_PASS, np.r_[np.zeros(300), played, np.zeros(RATE // 2)])
    sound += 1e-6 * np.random.default_rng(7).standard_normal(sound.size)
    soundfile.write(stimulus.sound.with_name(name), sound / FULL_SCALE_PA, RATE, subtype="FLOAT")


def case_of(root: Path, *files: Path) -> tuple[CaseFolder, Intake]:
    case = new_case(root, "Bench", {"case.toml": FACTS})
    intake = look_at(root, files)
    accept(root, intake)
    return case, intake


def on_axis_db(case: CaseFolder) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Frequency, and level at one metre for 2.83 V, where it is valid from 50 Hz to 19 kHz."""
    build(case.root)
    responses = load_responses(case.responses)
    f = np.asarray(responses.frequency_hz)
    level = 20.0 * np.log10(np.abs(np.asarray(responses.pressure)[0]) * 2.83 / 20e-6)
    inside = np.asarray(responses.valid)[0] & (f > 50.0) & (f < 19_000.0)
    assert inside.sum() > 800
    return f[inside], level[inside]


def true_db(frequency_hz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    _, response = scipy.signal.sosfreqz(BAND_PASS, frequency_hz, fs=RATE)
    return np.asarray(20.0 * np.log10(np.abs(response) * PA_PER_V * 2.83 / 20e-6))


@pytest.mark.slow
def test_a_sweep_comes_back_as_the_known_response(tmp_path: Path) -> None:
    layout = Layout(full_scale_v=FULL_SCALE_V)
    found = {}
    for called, asked in (("plain", SWEEP), ("tinted", TINTED)):
        folder = tmp_path / called
        stimulus = one(folder, asked, Drive(2.83), layout)
        record(stimulus, "horizontal_+000_2.83V.wav", 2.83)
        case, intake = case_of(tmp_path / f"{called} case", folder)
        assert intake.remarks["stimulus_2.83V.wav"].startswith("by its sidecar a sweep, 1")
        found[called] = on_axis_db(case)
    f, plain = found["plain"]
    assert plain == pytest.approx(true_db(f), abs=0.05)
    assert np.array_equal(found["tinted"][0], f)
    assert found["tinted"][1] == pytest.approx(plain, abs=0.02)
    # the case has a sensitivity then, which a plan goes by: 0.14 Pa/V at 2.83 V, the band-pass all but flat
    sensitivity = plan_of(case.root, Wanted()).sensitivity
    assert sensitivity is not None
    assert sensitivity.origin == "as built from this case's takes"
    assert sensitivity.level_db == pytest.approx(20.0 * np.log10(PA_PER_V * 2.83 / 20e-6), abs=0.1)


def deconvolved_db(folder: Path, asked: Sweep) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Frequency and level of the deconvolved recording of a stimulus with its sidecar's facts."""
    stimulus = one(folder, asked, Drive(2.83), Layout(full_scale_v=FULL_SCALE_V))
    record(stimulus, "horizontal_+000_2.83V.wav", 2.83)
    new_case(folder / "case", "Bench", {"case.toml": FACTS})
    takes = look_at(folder / "case", [stimulus.sound, folder / "horizontal_+000_2.83V.wav"]).takes
    ((_, response),) = deconvolve(folder, takes)
    f = np.fft.rfftfreq(response.samples.size, 1.0 / RATE)
    inside = (f > 50.0) & (f < 19_000.0)
    pascals = np.abs(np.fft.rfft(response.samples.astype(np.float64))) * FULL_SCALE_PA
    return np.asarray(f[inside]), 20.0 * np.log10(pascals[inside] * 2.83 / 20e-6)


def test_emphasis_divides_out(tmp_path: Path) -> None:
    """An analogue band-pass is 0.01 dB from its own samples, an emphasis of 30 dB or none alike."""
    f, plain = deconvolved_db(tmp_path / "plain", SWEEP)
    _, tinted = deconvolved_db(tmp_path / "tinted", TINTED)
    steep = dataclasses.replace(SWEEP, emphasis=Emphasis(shelf_db=-20.0, shelf_hz=400.0))
    _, other = deconvolved_db(tmp_path / "steep", steep)
    assert plain == pytest.approx(true_db(f), abs=0.05)
    assert tinted == pytest.approx(plain, abs=0.02)
    assert other == pytest.approx(plain, abs=0.02)


def test_the_entry_states_what_the_sidecar_says(tmp_path: Path) -> None:
    stimulus = one(tmp_path, TINTED)
    record(stimulus, "horizontal_+000_2.83V.wav", 2.83)
    # the sidecar lies beside, and isn't named
    case, intake = case_of(tmp_path / "case", stimulus.sound, tmp_path / "horizontal_+000_2.83V.wav")
    assert "stimulus_-20dBFS.toml" in [name for _, name in intake.sources]
    assert (case.raw / "stimulus_-20dBFS.toml").is_file()
    (entry,) = [t for t in read_takes(case) if t.key.kind is TakeKind.STIMULUS]
    # L = round(10·3/ln 2200)/10 = 0.4 s; the fades of 0.1 s and 5 ms leave 10·e^¼ to 22000·e^(−1/80)
    assert dict(entry.read) == {"sweep_from_hz": 12.85, "sweep_to_hz": 21_726.71, "sweep_rate_s": 0.4}
    assert read_stimulus(case.raw, entry).band_hz == (12.85, 21_726.71)
    again = look_at(case.root, [stimulus.sound])
    assert again.changes_nothing


def test_without_its_sidecar_a_tinted_sweep_has_less_band(tmp_path: Path) -> None:
    stimulus = one(tmp_path, TINTED)
    low, high = read_stimulus(tmp_path, Take(stimulus.sound.name, TakeKey(TakeKind.STIMULUS))).band_hz
    assert high / low < 300.0


@pytest.mark.parametrize(
    ("read", "told"),
    [
        ({"sweep_rate_s": 0.5}, "rises by the factor e in 0.4 s, and 0.5 s are stated"),
        ({"sweep_to_hz": 24_500.0}, "can't reach the stated 24500 Hz at 48000 Hz"),
        ({"sweep_to_hz": 10.0}, "isn't above sweep_from_hz"),
        ({"sweep_from_hz": 12_000.0}, "fills less than an octave"),
        ({"sweep_from_hz": "low"}, "read.sweep_from_hz can't be 'low'"),
    ],
)
def test_a_stated_sweep_is_held_against_the_samples(
    tmp_path: Path, read: dict[str, float | str], told: str
) -> None:
    stimulus = one(tmp_path, TINTED)
    stated = {"sweep_from_hz": 12.85, "sweep_to_hz": 21_726.71, "sweep_rate_s": 0.4, **read}
    with pytest.raises(ReadError) as refused:
        read_stimulus(
            tmp_path,
            Take(stimulus.sound.name, TakeKey(TakeKind.STIMULUS), read=tuple(sorted(stated.items()))),
        )
    assert told in str(refused.value)


def test_a_sweep_is_stated_whole_or_not(tmp_path: Path) -> None:
    stimulus = one(tmp_path, SWEEP)
    stated = (("sweep_from_hz", 12.85), ("sweep_to_hz", 21_726.71))
    with pytest.raises(ReadError, match="sweep_rate_s: isn't stated, where the rest of the sweep is"):
        read_stimulus(tmp_path, Take(stimulus.sound.name, TakeKey(TakeKind.STIMULUS), read=stated))


def test_steps_of_one_sweep_need_no_choice(tmp_path: Path) -> None:
    files, root = tmp_path / "files", tmp_path / "case"
    layout = Layout(full_scale_v=FULL_SCALE_V)
    written = write_stimuli(files, SWEEP, [Drive(0.283), Drive(2.83), Drive(8.95)], layout)
    for volts in (2.83, 8.95, 5.0):
        record(written[0], f"horizontal_+000_{volts}V.wav", volts)
    case, _ = case_of(root, files)
    played = {t.path: t.stimulus for t in read_takes(case) if t.key.kind is TakeKind.SWEEP}
    assert played == {
        "horizontal_+000_2.83V.wav": "stimulus_2.83V.wav",
        "horizontal_+000_8.95V.wav": "stimulus_8.95V.wav",
        "horizontal_+000_5.0V.wav": "stimulus_0.283V.wav",
    }
    # those of the case count too, where a recording comes later
    record(written[0], "horizontal_+010_0.283V.wav", 0.283)
    later = look_at(root, [files / "horizontal_+010_0.283V.wav"])
    assert [take.stimulus for take in later.takes] == ["stimulus_0.283V.wav"]
    # another sweep beside them is a doubt, as it was
    other = one(tmp_path / "other", dataclasses.replace(SWEEP, seconds=5.0))
    doubtful = look_at(root, [files / "horizontal_+010_0.283V.wav", other.sound])
    assert [doubt.subject for doubt in doubtful.doubts] == ["stimulus"]


def test_what_does_not_belong_together_is_a_doubt(tmp_path: Path) -> None:
    files, root = tmp_path / "files", tmp_path / "case"
    new_case(root, "Bench", {"case.toml": FACTS})
    stimulus = one(files, SWEEP)
    sidecar = stimulus.sound.with_suffix(".toml")
    x, _ = soundfile.read(stimulus.sound)
    soundfile.write(stimulus.sound, 0.5 * x, RATE, subtype="PCM_24")
    (doubt,) = look_at(root, [files]).doubts
    assert doubt.path == "stimulus_-20dBFS.wav"
    assert "isn't the file that stimulus_-20dBFS.toml was written for" in doubt.problem
    sidecar.write_text(sidecar.read_text(encoding="utf-8").replace("rate_s", "rate"), encoding="utf-8")
    (doubt,) = look_at(root, [files]).doubts
    assert (doubt.path, doubt.problem.split(":")[0]) == ("stimulus_-20dBFS.toml", "line 23, sweep.rate_s")


def test_noise_is_no_stimulus_and_tones_are_one_of_their_own_kind(tmp_path: Path) -> None:
    files, root = tmp_path / "files", tmp_path / "case"
    new_case(root, "Bench", {"case.toml": FACTS})
    one(files, Noise(20.0, 20e3, 2.0, "pink", 1))
    one(files, Multitone(20.0, 20e3, 2.0, 31, 1))
    doubts = look_at(root, [files]).doubts
    said = {doubt.problem for doubt in doubts}
    assert "is noise, as pink_noise_-20dBFS.toml says, and responses are made from sweeps" in said
    assert {doubt.path for doubt in doubts} == {"pink_noise_-20dBFS.wav"}


def test_tones_go_with_the_stimulus_of_their_kind(tmp_path: Path) -> None:
    """Both are recognised by names as the page of measuring has them, and tried as a build reads them."""
    files, root = tmp_path / "files", tmp_path / "case"
    new_case(root, "Bench", {"case.toml": FACTS})
    pair, many = two_tones(60.0, 700.0, 5.0), Multitone(20.0, 20e3, 5.0, 31, 1)
    for asked, kind in ((pair, "two_tones"), (many, "multitone")):
        written = one(files, asked)
        x, _ = soundfile.read(written.sound)
        silence = np.zeros(RATE // 3)
        recording = np.concatenate([silence, 0.5 * (x + 0.1 * x**2), silence])
        soundfile.write(files / f"{kind}_2.83V.wav", recording, RATE, subtype="PCM_24")
    intake = look_at(root, [files])
    assert intake.doubts == ()
    told = {take.key.kind: take.stimulus for take in intake.takes if take.stimulus}
    assert told == {
        TakeKind.TWO_TONES: "two_tones_stimulus_-20dBFS.wav",
        TakeKind.MULTITONE: "multitone_stimulus_-20dBFS.wav",
    }
    assert "by its sidecar 31 tones for 5.0 s" in intake.remarks.values()
    soundfile.write(files / "two_tones_2.83V.wav", 0.1 * np.sin(np.arange(6 * RATE)), RATE, subtype="PCM_24")
    (doubt,) = look_at(root, [files]).doubts
    assert doubt.path == "two_tones_2.83V.wav"
    assert "doesn't hold the tones of" in doubt.problem


def test_of_two_tones_the_low_one_has_four_times_the_amplitude(tmp_path: Path) -> None:
    """IEC 60268-5, modulation distortion (recalled)."""
    written = one(tmp_path, two_tones(60.0, 700.0, 2.0))
    x, _ = soundfile.read(written.sound)
    lines = np.abs(np.fft.rfft(x[:RATE]))
    assert lines[60] / lines[700] == pytest.approx(4.0, rel=1e-4)


def test_a_toml_that_is_no_sidecar_is_refused_as_ever(tmp_path: Path) -> None:
    new_case(tmp_path / "case", "Bench", {"case.toml": FACTS})
    (tmp_path / "notes.toml").write_text("a = 1", encoding="utf-8")
    (doubt,) = look_at(tmp_path / "case", [tmp_path / "notes.toml"]).doubts
    assert ".toml is not a kind of file that is read" in doubt.problem
    assert tomllib.loads((tmp_path / "notes.toml").read_text(encoding="utf-8")) == {"a": 1}
