"""The files of a session: complete, 24-bit, repeatable, at the right level, and true to the loudspeaker."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.fft
import soundfile

from earwitness.virtual import truth
from earwitness.virtual.air import Air
from earwitness.virtual.arrays import Floats
from earwitness.virtual.recording import Session
from earwitness.virtual.room import Room
from earwitness.virtual.scenario import Scenario, load
from earwitness.virtual.stimulus import Samples

ON_AXIS = "horizontal_+000_2.83V.wav"
NEAR = "near_field_woofer_7mm_0.283V.wav"


@pytest.fixture(scope="module")
def cobble() -> Scenario:
    return load("cobble_two")


@pytest.fixture(scope="module")
def raw(cobble: Scenario, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All files, with the full sweep: a few seconds."""
    folder = tmp_path_factory.mktemp("session")
    cobble.record(folder)
    return folder


def samples(path: Path) -> Floats:
    return np.asarray(soundfile.read(path)[0])


def impulse_response(raw: Path, name: str) -> Floats:
    """Deconvolved, full scale of the recording for each full scale of the stimulus."""
    stimulus, recording = samples(raw / "stimulus.wav"), samples(raw / name)
    size = scipy.fft.next_fast_len(len(stimulus) + len(recording))
    spectrum = scipy.fft.rfft(stimulus, size)
    floor = 1e-8 * np.max(np.abs(spectrum)) ** 2
    inverse = np.conj(spectrum) / (np.abs(spectrum) ** 2 + floor)
    return np.asarray(scipy.fft.irfft(scipy.fft.rfft(recording, size) * inverse, size)[: 2**15])


def test_the_set_is_complete(cobble: Scenario, raw: Path) -> None:
    expected = {"stimulus.wav", "calibrator_94.wav", "microphone.txt", NEAR}
    for orbit in ("horizontal", "vertical"):
        expected |= {f"{orbit}_{angle:+04d}_2.83V.wav" for angle in range(-170, 181, 10)}
    assert {path.name for path in raw.iterdir()} == expected == set(cobble.names)
    assert len(expected) == 76
    assert "vertical_-010_2.83V.wav" in expected


def test_recordings_are_24_bit_mono_and_leave_headroom(raw: Path) -> None:
    for path in raw.glob("*.wav"):
        info = soundfile.info(path)
        assert (info.subtype, info.channels, info.samplerate) == ("PCM_24", 1, 48_000)
        assert np.max(np.abs(samples(path))) < 0.9


def test_the_same_call_writes_the_same_bytes_whatever_else_is_written(
    cobble: Scenario, raw: Path, tmp_path: Path
) -> None:
    names = ["stimulus.wav", "calibrator_94.wav", "microphone.txt", "vertical_-130_2.83V.wav", NEAR]
    steps: list[tuple[int, int]] = []
    written = cobble.record(tmp_path, lambda done, total: steps.append((done, total)), only=names)
    assert [path.name for path in written] == names
    assert steps == [(n, 5) for n in range(1, 6)]
    for name in names:
        assert (tmp_path / name).read_bytes() == (raw / name).read_bytes()


def test_takes_in_the_same_direction_are_separate_recordings(raw: Path) -> None:
    pair = [samples(raw / f"{orbit}_+180_2.83V.wav") for orbit in ("horizontal", "vertical")]
    assert not np.array_equal(pair[0], pair[1])


def test_a_shorter_sweep_makes_shorter_files(cobble: Scenario, tmp_path: Path) -> None:
    cobble.record(tmp_path, only=["stimulus.wav", ON_AXIS], sweep_s=0.8)
    assert soundfile.info(tmp_path / ON_AXIS).duration < 1.3


def test_strange_names_and_clipping_are_refused(cobble: Scenario, tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="sideways"):
        cobble.record(tmp_path, only=["sideways_+000_2.83V.wav"])
    workshop = cobble.session.workshop
    quiet = replace(workshop, chain=replace(workshop.chain, full_scale_pa=0.2))
    with pytest.raises(ValueError, match="clip"):
        replace(cobble, session=replace(cobble.session, workshop=quiet)).record(tmp_path, only=[ON_AXIS])


def test_the_calibrator_is_94_db(cobble: Scenario, raw: Path) -> None:
    pascals = samples(raw / "calibrator_94.wav") * cobble.session.workshop.chain.full_scale_pa
    assert 20.0 * np.log10(pascals.std() / 20e-6) == pytest.approx(94.0, abs=0.01)
    assert int(np.argmax(np.abs(np.fft.rfft(pascals)))) == 3000


def test_the_microphone_file_says_what_the_microphone_does(cobble: Scenario, raw: Path) -> None:
    table = np.loadtxt(raw / "microphone.txt")
    assert table[0, 0] < 20.0
    assert table[-1, 0] > 20_000.0
    np.testing.assert_allclose(
        table[:, 1], cobble.session.workshop.microphone.level_db(table[:, 0]), atol=6e-4
    )


@pytest.mark.parametrize(
    ("orbit", "angle"), [("horizontal", 0), ("horizontal", 70), ("vertical", -40), ("vertical", 180)]
)
def test_a_gated_recording_holds_the_true_response(
    cobble: Scenario, raw: Path, orbit: str, angle: int
) -> None:
    """Above 3.3/T a gate leaves less than 0.1 dB (the project's facts, section 8; computed)."""
    response = impulse_response(raw, f"{orbit}_{angle:+04d}_2.83V.wav")
    arrival = int(np.argmax(np.abs(response)))
    gated = response[arrival - 96 : arrival + 288].copy()
    gated[-96:] *= np.cos(np.pi / 2 * np.arange(96) / 96) ** 2
    frequency = np.array([800.0, 1250.0, 2000.0, 3150.0, 5000.0, 8000.0, 12_500.0])
    found = gated @ np.exp(-2j * np.pi * np.outer(np.arange(len(gated)), frequency) / 48_000)
    session = cobble.session
    pascals = np.abs(found) * session.workshop.chain.full_scale_pa * session.sweep.peak / np.sqrt(2.0)
    level = 20.0 * np.log10(pascals / 20e-6) - session.workshop.microphone.level_db(frequency)
    angles = np.array([float(angle)])
    distance = np.linalg.norm(cobble.turntable.microphone(orbit, angles)[0])  # type: ignore[arg-type]
    true = truth.turned_level_db(cobble, frequency, orbit, angles)[0]  # type: ignore[arg-type]
    np.testing.assert_allclose(level + 20.0 * np.log10(distance), true, atol=0.1)


def test_the_floor_arrives_when_the_tweeters_image_says(cobble: Scenario, raw: Path) -> None:
    """The tweeter sits 0.043 m up and 0.007 m back; heights 1.90 m, distance 2 m, c = 343.2146 m/s.

    Its branch delays by 52 µs, the interface by 4.1 ms; two samples are left to the shape of the peak.
    """
    response = np.abs(impulse_response(raw, ON_AXIS))
    arrival = int(np.argmax(response))
    later = arrival + 240
    floor = later + int(np.argmax(response[later : arrival + 400]))
    back, up = 0.14 * (1 - np.cos(np.radians(18.0))), 0.14 * np.sin(np.radians(18.0))
    direct = np.hypot(2.0 + back, up)
    reflected = np.hypot(2.0 + back, 3.8 + up)
    assert (floor - arrival) / 48_000 == pytest.approx((reflected - direct) / 343.2146, rel=0.01)
    expected = direct / 343.2146 + 0.0041 + 0.000052
    assert arrival / 48_000 == pytest.approx(expected, abs=2.0 / 48_000)


def test_the_near_field_take_is_close_to_its_cone(cobble: Scenario, raw: Path) -> None:
    """Keele (recalled): 2r/a more than the far field in half space, and 6 dB again in full space.

    The gap takes √(1 + z²) − z, and the small ball holds back (a/4R)(ln(2R/a) + 1/2), as in the radiator's
    test; that is for a cap much smaller than the ball, so 0.4 dB are left to a cap of 22°.
    """
    response = impulse_response(raw, NEAR)
    kernel = np.exp(-2j * np.pi * np.arange(len(response)) * 100.0 / 48_000)
    session = cobble.session
    pascals = (
        abs(response @ kernel) * session.workshop.chain.full_scale_pa * session.sweep.peak / np.sqrt(2.0)
    )
    near = 20.0 * np.log10(pascals / 20e-6)
    far = truth.level_db(cobble, np.array([100.0]), distance_m=truth.FAR_M)[0, 0] - 20.0
    gap, share = 0.007 / 0.0525, 0.0525 / 0.14
    close = np.sqrt(1.0 + gap**2) - gap - share / 4.0 * (np.log(2.0 / share) + 0.5)
    expected = 20.0 * np.log10(2.0 / 0.0525 * close) + 6.0206
    assert near - far == pytest.approx(expected, abs=0.4)


def with_chain(cobble: Scenario, **changes: float) -> Session:
    workshop = cobble.session.workshop
    chain = replace(workshop.chain, **changes)  # type: ignore[arg-type]
    return replace(cobble.session, workshop=replace(workshop, chain=chain))


def test_a_loopback_is_what_was_played_after_the_latency(cobble: Scenario, tmp_path: Path) -> None:
    """4.5 ms are 216 samples; all of the sweep lies below the converter's edge."""
    session = with_chain(cobble, loopback=0.5, latency_s=0.0045)
    session.record(tmp_path, only=["stimulus.wav", ON_AXIS], sweep_s=1.0)
    stimulus, recorded = samples(tmp_path / "stimulus.wav"), samples(tmp_path / ON_AXIS)
    assert recorded.shape[1] == 2
    looped = recorded[216 : 216 + len(stimulus), 1]
    early = slice(0, len(stimulus) - 2000)
    np.testing.assert_allclose(looped[early], 0.5 * stimulus[early], atol=2e-4)


def test_another_stimulus_may_be_played(cobble: Scenario, tmp_path: Path) -> None:
    """A steady kilohertz of any peak has the drive's voltage: its level is the loudspeaker's at 2.83 V."""
    tone = Samples(0.3 * np.sin(2.0 * np.pi * 1000.0 * np.arange(48_000) / 48_000))
    free = replace(cobble.session.workshop, room=Room())
    replace(cobble.session, workshop=free).record(tmp_path, only=["stimulus.wav", ON_AXIS], stimulus=tone)
    steady = samples(tmp_path / ON_AXIS)[24_000:48_000] * free.chain.full_scale_pa
    level = 20.0 * np.log10(steady.std() / 20e-6)
    true = truth.level_db(cobble, np.array([1000.0]))[0, 0] - 20.0 * np.log10(2.0)
    assert level == pytest.approx(true, abs=0.01)
    np.testing.assert_allclose(samples(tmp_path / "stimulus.wav"), tone.values, atol=2.0**-23)


def test_errors_of_angles_are_a_files_own(cobble: Scenario) -> None:
    """Each take lies where its own error puts it, whatever else is recorded."""
    turntable = replace(cobble.turntable, angle_offset_deg=1.0, angle_spread_deg=2.0)
    session = replace(cobble.session, turntable=turntable)
    names = ["horizontal_+030_2.83V.wav", "horizontal_+040_2.83V.wav"]
    both, alone = session.impulse_responses(names), session.impulse_responses(names[1:])
    np.testing.assert_allclose(both[names[1]], alone[names[1]], atol=1e-9 * np.abs(alone[names[1]]).max())
    offset = replace(session, turntable=replace(turntable, angle_spread_deg=0.0))
    exact = offset.workshop.impulse_responses(turntable.view("horizontal", np.array([31.0])))[0]
    assert np.array_equal(offset.impulse_responses(names[:1])[names[0]], exact)
    assert not np.allclose(both[names[0]], exact, atol=1e-4 * np.abs(exact).max())


def test_the_air_warms_evenly_from_take_to_take(cobble: Scenario) -> None:
    """73 takes: the last is the near field, the first the horizontal orbit's at −170 degrees."""
    session = replace(cobble.session, warming_k=7.2)
    takes = [take.name for take in session.takes]
    assert takes[0] == "horizontal_-170_2.83V.wav"
    for number in (0, 20, 72):
        found = session.impulse_responses([takes[number]])[takes[number]]
        warm = replace(session.workshop, air=Air(20.0 + 0.1 * number))
        own = replace(session, workshop=warm, warming_k=0.0).impulse_responses([takes[number]])
        np.testing.assert_allclose(found, own[takes[number]], atol=2e-4 * np.abs(found).max())


def test_hum_is_in_every_recording(cobble: Scenario, tmp_path: Path) -> None:
    quiet = cobble.session
    chain = replace(quiet.workshop.chain, hum_pa=(0.0, 0.02))
    replace(quiet, workshop=replace(quiet.workshop, chain=chain)).record(tmp_path, only=["calibrator_94.wav"])
    found = samples(tmp_path / "calibrator_94.wav") * chain.full_scale_pa
    line = np.abs(scipy.fft.rfft(found))[300] / len(found) * np.sqrt(2.0)
    assert line == pytest.approx(0.02, rel=0.01)
