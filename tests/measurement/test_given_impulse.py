"""Impulse responses as files: made by the workshop's physics, or by plain division of its recordings."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import scipy.fft
import scipy.signal
import soundfile
from made_recordings import LOUDSPEAKER, SENSITIVITY_PA_V, SPEED, delayed, true_level_db
from workshop_files import (
    ANGLES,
    CALIBRATOR,
    MICROPHONE,
    NAME,
    NEAR,
    RATE,
    STIMULUS,
    Floats,
    Rewriter,
    error_db,
    facts,
    recorded,
    reduced,
    takes,
    turn_name,
)

from earwitness.measurement.deconvolution import deconvolve
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.facts import CaseFacts, Rig, Unit
from earwitness.records.responses import Origin
from earwitness.records.takes import Direction, Drive, Orbit, ReadOptions, Take, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName
from earwitness.virtual import scenario

IMPULSE = TakeKind.IMPULSE_RESPONSE


@pytest.fixture(scope="module")
def raw(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return recorded(tmp_path_factory.mktemp("workshop"))


def of_physics() -> dict[str, Floats]:
    """What the workshop's chain gives for a volt, free of noise, by the name of the recording."""
    found = scenario.load(NAME).session.impulse_responses([*map(turn_name, ANGLES), NEAR])
    return {name: np.asarray(response, dtype=np.float64) for name, response in found.items()}


def impulses() -> list[Take]:
    """The workshop's takes as impulse responses; the near field says so."""
    return [
        dataclasses.replace(t, stimulus=None, read=(("impulse_response", True),)) if t.path == NEAR else t
        for t in takes(IMPULSE)
        if t.path != STIMULUS
    ]


def test_impulse_responses_of_the_physics(tmp_path: Path, raw: Path) -> None:
    rewriter = Rewriter(raw, tmp_path)
    rewriter.copy(CALIBRATOR, MICROPHONE)
    for name, response in of_physics().items():
        # at the drive that the takes state
        rewriter.write(name, response * (0.283 if name == NEAR else 2.83), "WAV", "FLOAT")
    found = reduced(tmp_path, [t for t in impulses() if t.path != NEAR])
    assert found.valid_from_hz == pytest.approx(2.0 / found.gate_s[0], rel=0.01)
    # featureless responses are within 0.1 dB above 3.3/T, and within 0.3 dB above 2/T
    error = np.abs(error_db(found))
    assert np.nanmax(error[:, found.frequency_hz >= 3.3 / found.gate_s[0]]) < 0.1
    assert np.nanmax(error) < 0.3
    assert found.valid[:, (found.frequency_hz > 545.0) & (found.frequency_hz < 19_900.0)].all()
    assert np.all(found.origin[found.valid] == Origin.GATED)
    # the file begins with silence, so that nothing tells of noise
    assert np.isnan(found.components[ComponentName.NOISE]).all()
    assert any("Noise can't be told" in note for note in found.notes)
    near = reduced(tmp_path, impulses())
    front = [i for i, t in enumerate(near.takes) if t.key.direction and abs(t.key.direction.angle_deg) <= 60]
    assert near.valid[:, near.frequency_hz < 19_900.0].all()
    # as the demo's own tests have it for recordings
    assert np.max(np.abs(error_db(near)[front])) < 0.2


def test_impulse_responses_by_division_of_spectra(tmp_path: Path, raw: Path) -> None:
    rewriter = Rewriter(raw, tmp_path)
    rewriter.copy(CALIBRATOR, MICROPHONE)
    played = rewriter.samples(STIMULUS)
    for angle in ANGLES:
        answer = rewriter.samples(turn_name(angle))
        spectrum = scipy.fft.rfft(played, answer.size)
        frequency = scipy.fft.rfftfreq(answer.size, 1.0 / RATE)
        passed = np.clip(frequency / 20.0, 0.0, 1.0) * (frequency < 21_500.0)
        quotient = scipy.fft.irfft(scipy.fft.rfft(answer) * passed / (spectrum + 1e-9), answer.size)
        # at the drive a steady sine has the sweep's peak, of which 1/√2 is its RMS value
        response = np.roll(quotient, 6_000)[:16_000] * np.max(np.abs(played)) / np.sqrt(2.0)
        rewriter.write(turn_name(angle), response, "WAV", "FLOAT")
    found = reduced(tmp_path, [t for t in impulses() if t.path != NEAR])
    sweeps = reduced(raw, [t for t in takes() if t.path != NEAR])
    both = found.valid & sweeps.valid
    assert both[:, (found.frequency_hz > 545.0) & (found.frequency_hz < 6_000.0)].all()
    # the same noise is in both; between 20 Hz and 6 kHz it is little
    quiet = both & (found.frequency_hz < 6_000.0)
    assert np.max(np.abs(error_db(found) - error_db(sweeps))[quiet]) < 0.01
    # noise is told, and about that of the recordings: stretches of it differ by what chance does
    noise = [r.components[ComponentName.NOISE] for r in (found, sweeps)]
    assert np.median((noise[0] / noise[1])[both]) == pytest.approx(1.0, abs=0.15)


def in_pascals(folder: Path, angles: tuple[int, ...], read: ReadOptions, scale: float) -> list[Take]:
    """The made-up loudspeaker at 2 m, driven with 2 V, as sound pressure."""
    found = []
    for angle in angles:
        click = np.zeros(RATE // 4)
        click[0] = 2.0 * SENSITIVITY_PA_V / 2.0 / scale
        response = delayed(scipy.signal.sosfilt(LOUDSPEAKER, click), 2.0 / SPEED + 0.002 * (angle != 0))
        soundfile.write(folder / f"{angle}.wav", response, RATE, subtype="FLOAT")
        key = TakeKey(IMPULSE, Direction(Orbit.HORIZONTAL, angle), Drive(2.0))
        found.append(Take(f"{angle}.wav", key, read=read))
    return found


def test_a_stated_scale_needs_no_calibration(tmp_path: Path) -> None:
    case = CaseFacts(unit=Unit(name="made up"), rig=Rig(distance_m=2.0, rotation_behind_m=0.0))
    found = reduced(tmp_path, in_pascals(tmp_path, (0, 90), (("pa_per_unit", 0.5),), 0.5), case)
    level = 20.0 * np.log10(np.abs(found.pressure) * 2.83 / 20e-6)
    assert np.nanmax(np.abs(level - true_level_db(found.frequency_hz))) < 0.1
    assert any("stated in pascals" in note for note in found.notes)
    # one is 2 ms late, which no flight explains
    assert any("share a clock" in note for note in found.notes)
    assert not any(c.isdigit() for note in found.notes for c in note)
    unscaled = in_pascals(tmp_path, (0,), (), 0.5)
    with pytest.raises(CaseError, match=r"rig\.pa_per_full_scale"):
        reduced(tmp_path, unscaled, case)
    calibrated = dataclasses.replace(case, rig=dataclasses.replace(case.rig, pa_per_full_scale=0.5))
    again = reduced(tmp_path, unscaled, calibrated)
    assert np.nanmax(np.abs(np.abs(again.pressure[0]) / np.abs(found.pressure[0]) - 1.0)) < 1e-4


def test_near_fields_are_scaled_alike(tmp_path: Path, raw: Path) -> None:
    rewriter = Rewriter(raw, tmp_path)
    rewriter.copy(CALIBRATOR, MICROPHONE)
    for name, response in of_physics().items():
        rewriter.write(name, response, "WAV", "FLOAT")
    (near,) = [t for t in impulses() if t.path == NEAR]
    other = dataclasses.replace(
        near,
        path=turn_name(0),
        key=dataclasses.replace(near.key, radiator="port"),
        read=(("impulse_response", True), ("pa_per_unit", 8.0)),
    )
    some = [t for t in impulses() if t.path != turn_name(0)]
    with pytest.raises(CaseError, match=r"some takes of kind near_field are scaled by read\.pa_per_unit"):
        reduced(tmp_path, [*some, other], facts())


@pytest.mark.parametrize(
    ("response", "read", "message"),
    [
        (np.ones(5), (), "ends 0.10 ms after its peak; export 1.5 ms or more"),
        (np.r_[np.zeros(900), 0.5], (), "ends 0.02 ms after its peak"),
        (np.zeros(900), (), "is silent"),
        (
            np.r_[0.5, np.zeros(900)],
            (("loopback", 1),),
            "is an impulse response, and read.loopback is stated",
        ),
        (np.r_[0.5, np.zeros(900)], (("pa_per_unit", 0.0),), "read.pa_per_unit can't be"),
        (np.r_[0.5, np.zeros(900)], (("pa_per_unit", "1"),), "read.pa_per_unit can't be"),
        (np.r_[0.5, np.zeros(900)], (("pa_per_unit", float("nan")),), "read.pa_per_unit can't be"),
        (np.r_[0.5, np.zeros(900)], (("pa_per_unit", True),), "read.pa_per_unit can't be"),
    ],
)
def test_refused(tmp_path: Path, response: Floats, read: ReadOptions, message: str) -> None:
    soundfile.write(tmp_path / "0.wav", 0.9 * response, RATE, subtype="FLOAT")
    take = Take("0.wav", TakeKey(IMPULSE, Direction(Orbit.HORIZONTAL, 0), Drive(1.0)), read=read)
    with pytest.raises(ReadError) as caught:
        list(deconvolve(tmp_path, [take]))
    assert message in str(caught.value)
    assert str(caught.value).startswith("0.wav")


def test_a_response_that_begins_at_once(tmp_path: Path) -> None:
    response = scipy.signal.sosfilt(LOUDSPEAKER, np.r_[0.5, np.zeros(3_000)])
    soundfile.write(tmp_path / "0.wav", response, RATE, subtype="FLOAT")
    take = Take("0.wav", TakeKey(IMPULSE, Direction(Orbit.HORIZONTAL, 0), Drive(0.5)))
    ((_, found),) = deconvolve(tmp_path, [take])
    assert found.start_s == 0.0
    assert found.samples == pytest.approx(2.0 * response, rel=1e-6)
    assert found.noise.size == 0
    # 0.4535 of 48 kHz
    assert found.band_hz == pytest.approx((0.0, 21_768.0))


def test_silence_that_was_put_before_is_no_noise(tmp_path: Path) -> None:
    random = np.random.default_rng(0)
    noise = 1e-4 * random.standard_normal(4_000)
    response = np.r_[np.zeros(4_000), noise, 0.5, noise]
    soundfile.write(tmp_path / "0.wav", response, RATE, subtype="FLOAT")
    take = Take("0.wav", TakeKey(IMPULSE, Direction(Orbit.HORIZONTAL, 0), Drive(1.0)))
    ((_, found),) = deconvolve(tmp_path, [take])
    # 5 ms before the peak, 240 samples, are left out
    assert found.noise == pytest.approx(noise[: 4_000 - 240], rel=1e-5)


def test_the_gate_ends_with_the_file(tmp_path: Path) -> None:
    case = CaseFacts(unit=Unit(name="made up"), rig=Rig(distance_m=2.0))
    (take,) = in_pascals(tmp_path, (0,), (("pa_per_unit", 1.0),), 1.0)
    samples, _ = soundfile.read(tmp_path / take.path)
    arrival_s = np.argmax(np.abs(samples)) / RATE
    soundfile.write(tmp_path / take.path, samples[: round((arrival_s + 0.02) * RATE)], RATE, subtype="FLOAT")
    found = reduced(tmp_path, [take], case)
    # to two samples, since the arrival is that of a band's envelope
    assert found.gate_s[0] == pytest.approx(0.02, abs=2.0 / RATE)
    assert found.valid_from_hz == pytest.approx(2.0 / 0.02, rel=0.01)
