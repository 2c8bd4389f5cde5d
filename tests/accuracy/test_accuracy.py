"""What is asserted of virtual recordings, sweep RMS 60 dB over noise RMS: see `bench` for noise and rig.

The limits are the project's own aims. Cabinets are exactly as described here, and the bass has a tighter
limit as well, so that an error of 0.3 dB in the splice's level is seen.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from accuracy.against_truth import STEP, Errors, Region, corner_errors, errors
from accuracy.bench import HEARD_HZ, ON_AXIS_ALONE, Measured, measure, quiet, record
from accuracy.loudspeakers import AIR, CONE_M, MADE, closed, directions_of, drawn, unlike_tower

from earwitness.acoustics.leakage import Heard
from earwitness.measurement import carrying, joining
from earwitness.measurement.recorded import NOT_USED
from earwitness.records.curves import CurveName
from earwitness.records.figures import FigureName
from earwitness.records.responses import Origin
from earwitness.records.uncertainty import ComponentName

GATED_DB: Final = 0.1
BASS_DB: Final = {Region.NEAR: 0.7, Region.OVERLAP: 0.5}
#: Near field and overlap where cabinet and radiators are exactly as the case describes them.
DESCRIBED_DB: Final = 0.15
#: F6 of closed and of vented loudspeakers.
F6_SHARES: Final = {
    "closed ball": 0.04,
    "cobble_two": 0.04,
    "closed box": 0.04,
    "closed tower": 0.04,
    "vented tower": 0.02,
    "vented ball": 0.02,
    "vented box": 0.02,
}


#: A tower takes as long as a box; one of both is enough for each day.
NAMES: Final = [
    pytest.param(name, marks=pytest.mark.slow) if name == "closed tower" else name for name in MADE
]


@dataclass(frozen=True)
class Judged:
    """A loudspeaker's measurement and its errors."""

    measured: Measured
    errors: Errors


Judge = Callable[[str], Judged]


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> Judge:
    """Each loudspeaker recorded, reduced and held against its truth once."""
    kept: dict[str, Judged] = {}

    def of(name: str) -> Judged:
        if name not in kept:
            folder = tmp_path_factory.mktemp("accuracy")
            measured = measure(record(MADE[name](), folder, directions_of(name)))
            kept[name] = Judged(measured, errors(measured))
        return kept[name]

    return of


@pytest.mark.parametrize("name", NAMES)
def test_every_direction_is_true_to_a_tenth_of_a_decibel_above_the_gate_s_limit(
    judged: Judge, name: str
) -> None:
    found = judged(name).errors
    assert found.count(Region.GATED) > 80 * len(found.takes)
    assert found.largest_db(Region.GATED) <= GATED_DB


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("region", BASS_DB)
def test_bass_is_true(judged: Judge, name: str, region: Region) -> None:
    found = judged(name).errors
    assert found.count(region) > 10 * len(found.takes)
    assert found.largest_db(region) <= BASS_DB[region]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("region", BASS_DB)
def test_bass_of_a_described_cabinet_is_true_to_a_seventh_of_a_decibel(
    judged: Judge, name: str, region: Region
) -> None:
    assert judged(name).errors.largest_db(region) <= DESCRIBED_DB


@pytest.mark.parametrize("name", NAMES)
def test_f6_is_true(judged: Judge, name: str) -> None:
    off = corner_errors(judged(name).measured)[FigureName.F6]
    assert abs(off) <= F6_SHARES[name]


@pytest.mark.parametrize("name", ["closed ball", "vented ball"])
def test_what_is_given_from_two_gates_up_is_true_to_a_third_of_a_decibel(name: str, tmp_path: Path) -> None:
    found = errors(measure(record(MADE[name](), tmp_path, ON_AXIS_ALONE, near=False)))
    assert found.count(Region.LOW) > 10
    assert found.largest_db(Region.LOW) <= 0.3


def test_treble_is_true_in_air_that_absorbs(tmp_path: Path) -> None:
    """A drawn ball at 1.48 m, 25 °C and 27 % humidity; where that isn't stated the uncertainty covers it."""
    made = drawn(1063, absorbing=True)
    recorded = record(made, tmp_path, ON_AXIS_ALONE, near=False)
    assert np.abs(treble_error_db(measure(recorded))).max() <= GATED_DB
    unstated = measure(recorded, {"rig": {"humidity_percent": None}})
    error_db = treble_error_db(unstated)
    assert error_db.min() < -4.0 * GATED_DB
    curve = unstated.derivation.curves.curves[CurveName.ON_AXIS]
    air_db = curve.components_db[ComponentName.AIR]
    assert air_db is not None
    unsure_db = air_db[::STEP][errors(unstated).frequency_hz > 10_000.0][: error_db.size]
    assert np.all(np.abs(error_db) <= 1.96 * unsure_db + GATED_DB)
    assert np.all(unsure_db <= 2.0 * np.abs(error_db) + GATED_DB)


def treble_error_db(measured: Measured) -> npt.NDArray[np.floating]:
    """On axis above 10 kHz, where it is valid and clear of noise."""
    found = errors(measured)
    treble = found.frequency_hz > 10_000.0
    return np.asarray(found.error_db[0][treble & found.regions[Region.GATED][0]])


def test_a_splice_that_is_off_by_a_third_of_a_decibel_is_seen(
    judged: Judge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The splice's level is changed inside the product."""
    carried = carrying.carried

    def louder(*words: object, **named: object) -> object:
        pressure, noise = carried(*words, **named)  # type: ignore[arg-type]
        return pressure * 10.0 ** (0.3 / 20.0), noise

    for name in ("closed ball", "vented ball", "cobble_two"):
        recorded = judged(name).measured.recorded
        with monkeypatch.context() as patched:
            patched.setattr(joining, "carried", louder)
            found = errors(measure(recorded))
        assert found.largest_db(Region.NEAR) > DESCRIBED_DB


def test_leakage_is_worth_taking_off(judged: Judge, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each near microphone taken as if it heard its own radiator alone, as sums of near fields often are."""

    def each_its_own(heard: Heard) -> npt.NDArray[np.complex128]:
        count = heard.near.shape[1]
        own = heard.near[np.arange(count), np.arange(count)]
        return np.asarray(1.0 / own.T[:, :, None] * np.eye(count))

    for name, corner_share in {"vented ball": 0.02, "vented tower": 0.02}.items():
        recorded = judged(name).measured.recorded
        with monkeypatch.context() as patched:
            patched.setattr(Heard, "parted", property(each_its_own))
            alone = measure(recorded)
        assert errors(alone).largest_db(Region.NEAR) > 5.0 * DESCRIBED_DB
        assert abs(corner_errors(alone)[FigureName.F6]) > corner_share


def test_a_tower_whose_cones_aren_t_stated_as_the_same_is_told(judged: Judge) -> None:
    """One near field of two cones is 4.6 dB short: it isn't used, and nothing is said below the gate."""
    recorded = judged("vented tower").measured.recorded
    radiators = [dict(r) for r in recorded.made.facts["unit"]["radiators"]]
    for radiator in radiators:
        radiator.pop("same_as", None)
    found = measure(recorded, {"unit": {"radiators": radiators}}).responses
    assert NOT_USED in found.notes
    assert not np.isin(found.origin[found.valid], [Origin.NEAR_FIELD, Origin.BLENDED]).any()


@pytest.mark.slow
def test_cones_that_aren_t_quite_alike_are_within_what_is_said(tmp_path: Path) -> None:
    """The lower cone a tenth heavier and a tenth weaker in its motor: its level and its resonance differ."""
    made = unlike_tower()
    measured = measure(record(made, tmp_path, ON_AXIS_ALONE))
    found = errors(measured)
    unsure_db = measured.responses.components[ComponentName.SPLICE][0, ::STEP]
    near = found.regions[Region.NEAR][0]
    assert np.abs(found.error_db[0][near]).max() > DESCRIBED_DB
    assert np.mean(np.abs(found.error_db[0][near]) <= 1.96 * unsure_db[near]) > 0.9


def test_one_direction_that_is_wrong_is_seen(judged: Judge) -> None:
    """A take of 30° stated as one of 40°."""
    recorded = judged("closed ball").measured.recorded
    takes = []
    for take in recorded.takes:
        key, direction = take.key, take.key.direction
        if direction is not None and direction.angle_deg == 30.0:
            key = dataclasses.replace(key, direction=dataclasses.replace(direction, angle_deg=40.0))
        takes.append(dataclasses.replace(take, key=key))
    found = errors(measure(dataclasses.replace(recorded, takes=tuple(takes))))
    assert found.largest_db(Region.GATED) > GATED_DB


def test_the_noise_is_as_stated(tmp_path: Path) -> None:
    """RMS of the sweep over that of the noise between 20 Hz and 20 kHz, from files recorded in the open."""
    session = quiet(closed("ball"))
    workshop = dataclasses.replace(
        session.workshop, room=dataclasses.replace(session.workshop.room, surfaces=())
    )
    still = dataclasses.replace(
        workshop,
        room=dataclasses.replace(workshop.room, ambient_pa=0.0),
        microphone=dataclasses.replace(workshop.microphone, noise_pa=0.0),
    )
    name = "horizontal_+000_2.83V.wav"
    for folder, place in (("noisy", workshop), ("clean", still)):
        dataclasses.replace(session, workshop=place).record(tmp_path / folder, only=[name])
    noisy, rate = soundfile.read(tmp_path / "noisy" / name)
    clean, _ = soundfile.read(tmp_path / "clean" / name)
    spectrum = np.fft.rfft(noisy - clean)
    frequency = np.fft.rfftfreq(len(noisy), 1.0 / rate)
    spectrum[(frequency < HEARD_HZ[0]) | (frequency > HEARD_HZ[1])] = 0.0
    noise = np.sqrt(np.mean(np.fft.irfft(spectrum, len(noisy)) ** 2))
    sweep = np.sqrt(np.mean(clean[: len(session.sweep.samples())] ** 2))
    # the microphone lifts the top by some 3 dB; a tenth of the pink noise is one octave of few samples
    assert 20.0 * np.log10(sweep / noise) == pytest.approx(60.0, abs=0.6)


def test_the_closed_box_has_the_q_that_is_said() -> None:
    """Small 1972 from the parts alone: fc = fs·√(1 + Vas/V), Qtc = Qts·√(1 + Vas/V)."""
    body = closed("ball").scenario.document.content["enclosures"][0]
    cone = body["drive_units"][0]
    area = np.pi * CONE_M**2 / 4.0
    stiffness = cone["stiffness"] + AIR.density * AIR.speed**2 * area**2 / body["volume_m3"]
    resistance = cone["damping"] + cone["force_factor"] ** 2 / cone["coil"]["resistance_ohm"]
    assert np.sqrt(stiffness * cone["mass_kg"]) / resistance == pytest.approx(0.70711, rel=1e-3)
    assert np.sqrt(stiffness / cone["mass_kg"]) / 2.0 / np.pi == pytest.approx(69.8, rel=2e-3)
