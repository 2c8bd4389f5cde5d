"""Each point of quality on recordings of the virtual workshop that are spoiled as happens in life."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from spoiled import (
    NEAR,
    ON_AXIS,
    Floats,
    Spoiled,
    clipped,
    gained,
    humming,
    later,
    noisy,
    quieter_above,
    stretched,
    with_a_gap,
)

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import read_facts
from earwitness.case.response_files import load_responses
from earwitness.derive.directivity import directivity, take_powers
from earwitness.pipeline.check import check_case
from earwitness.records.quality import Point, PointName, Quality, Verdict
from earwitness.records.takes import Direction, Orbit, TakeId
from earwitness.virtual.scenario import load

Spoil = Callable[[], Spoiled]


@pytest.fixture(scope="module", autouse=True)
def without_features() -> Iterator[None]:
    """Points of quality know nothing of features, which take two seconds a build."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("earwitness.findings.find._features", lambda *_: ())
        yield


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Spoiled:
    return Spoiled.whole(tmp_path_factory.mktemp("whole") / "case")


@pytest.fixture
def case(whole: Spoiled, tmp_path: Path) -> Spoiled:
    """A copy that a test may spoil; its impulse responses are there already."""
    return whole.copy(tmp_path / "case")


def verdicts(quality: Quality) -> dict[PointName, Verdict]:
    return {point.name: point.verdict for point in quality.points}


def others_are_fine(quality: Quality, *but: PointName) -> bool:
    return all(
        verdict in (Verdict.FINE, Verdict.CANNOT_TELL)
        for name, verdict in verdicts(quality).items()
        if name not in but
    )


def test_the_demo_is_fine_on_all_that_can_be_told(whole: Spoiled) -> None:
    quality = whole.quality()
    assert quality.fit
    untold = {
        PointName.FLIGHT,
        PointName.FIRST_LAST,
        PointName.REPEATS,
        PointName.CALIBRATION,
        PointName.REFERENCE,
    }
    assert verdicts(quality) == {
        name: Verdict.CANNOT_TELL if name in untold else Verdict.FINE for name in PointName
    }
    for point in quality.points:
        assert (point.verdict is Verdict.CANNOT_TELL) == (not point.limit.parts)
        assert bool(point.remedy.parts) == (point.verdict is not Verdict.FINE)
        assert {n.reference for n in (point.sentence + point.limit + point.remedy).numbers} <= {
            f"quality:{point.name}/{key}" for key in point.values
        }
        for number in (point.sentence + point.limit + point.remedy).numbers:
            assert quality.resolve(number.reference.removeprefix("quality:")) == number.value


@pytest.mark.parametrize(
    ("how", "name"),
    [
        (clipped(0.5), PointName.CLIPPING),
        (with_a_gap(0.004), PointName.RECORDINGS),
        (lambda samples: samples[: samples.size // 2], PointName.RECORDINGS),
    ],
)
def test_a_damaged_recording_is_unfit(
    case: Spoiled, how: Callable[[Floats], Floats], name: PointName
) -> None:
    case.change("horizontal_+030_2.83V.wav", how)
    case.change("vertical_-010_2.83V.wav", how)
    quality = case.quality()
    assert [point.name for point in quality.points] == [name]
    point = quality.points[0]
    assert point.verdict is Verdict.UNFIT
    assert point.takes == ("horizontal_+030_2.83V.wav", "vertical_-010_2.83V.wav")
    assert point.values["unusable"] == 2
    assert point.values["recordings"] == 73


def test_a_recording_clipped_at_full_scale_is_unfit(case: Spoiled) -> None:
    loud = 3.0 / np.max(np.abs(case.samples(ON_AXIS)))
    case.change(ON_AXIS, lambda samples: np.clip(loud * samples, -1.0, 1.0))
    point = case.quality().points[0]
    assert (point.name, point.verdict) == (PointName.CLIPPING, Verdict.UNFIT)


def test_a_copy_under_another_name_is_no_second_measurement(case: Spoiled) -> None:
    """Noise never comes twice, so two recordings that are alike to the last sample are one."""
    copy = "horizontal_+000_repeat2_2.83V.wav"
    case.add(copy, case.samples(ON_AXIS))
    case.change("vertical_+040_2.83V.wav", lambda _: case.samples("vertical_+030_2.83V.wav"))
    point = case.point(PointName.RECORDINGS)
    assert point.verdict is Verdict.UNFIT
    assert point.values["copies"] == 2
    assert set(point.takes) == {ON_AXIS, copy, "vertical_+030_2.83V.wav", "vertical_+040_2.83V.wav"}


def test_a_repeat_that_differs_by_noise_alone_is_no_copy(case: Spoiled) -> None:
    case.add("horizontal_+000_repeat2_2.83V.wav", noisy(1e-6)(case.samples(ON_AXIS)))
    assert case.point(PointName.RECORDINGS).verdict is Verdict.FINE


def test_a_peak_close_to_full_scale_is_looked_at(case: Spoiled) -> None:
    """0.95 of full scale is −0.446 dB."""
    close = 0.95 / np.max(np.abs(case.samples("horizontal_+030_2.83V.wav")))
    case.change("horizontal_+030_2.83V.wav", lambda samples: close * samples)
    point = case.point(PointName.CLIPPING)
    assert point.verdict is Verdict.LOOK
    assert point.values["peak_db"] == pytest.approx(-0.4455, abs=2e-3)
    (peaks,) = (line for line in point.series if line.name == "peaks")
    assert max(y for y in peaks.y if y is not None) == pytest.approx(-0.4455, abs=2e-3)
    assert drawn(point, "limit", 1.0) == -1.0


def test_hum_is_named_with_its_frequency_and_level(case: Spoiled) -> None:
    """3e-4 of full scale, which is 8 Pa: 20 lg(3e-4·8/20e-6) = 41.6 dB."""
    for path in sorted((case.root / "raw").glob("*V.wav")):
        case.change(path.name, humming(3e-4))
    quality = case.quality()
    point = quality.point(PointName.HUM)
    assert point.verdict is Verdict.LOOK
    assert point.values["at_hz"] == 100.0
    assert point.values["level_db"] == pytest.approx(41.58, abs=0.2)
    assert drawn(point, "multiples", 100.0) == pytest.approx(point.values["over_db"], abs=1e-3)
    assert drawn(point, "multiples", 250.0) < drawn(point, "limit", 50.0)
    assert others_are_fine(quality, PointName.HUM, PointName.SIGNAL_TO_NOISE)


@pytest.mark.parametrize(("samples", "verdict"), [(24, Verdict.LOOK), (96, Verdict.UNFIT)])
def test_a_late_take_is_named_with_its_lateness(case: Spoiled, samples: int, verdict: Verdict) -> None:
    case.change("horizontal_+050_2.83V.wav", later(samples))
    quality = case.quality()
    point = quality.point(PointName.LATENCY)
    assert point.verdict is verdict
    assert point.takes[0] == "horizontal_+050_2.83V.wav"
    assert point.values["jump_ms"] == pytest.approx(samples / 48.0, abs=0.1)
    assert "later in horizontal_+050" in str(point.sentence)


@pytest.mark.parametrize("name", ["horizontal_+050_2.83V.wav", "vertical_+180_2.83V.wav", ON_AXIS, NEAR])
def test_a_take_upside_down_is_named(case: Spoiled, name: str) -> None:
    case.change(name, lambda samples: -samples)
    quality = case.quality()
    point = quality.point(PointName.POLARITY)
    assert point.verdict is Verdict.UNFIT
    assert point.takes == (name,)
    assert not quality.fit
    if name.startswith("horizontal_+050"):
        assert drawn(point, "horizontal", 50.0) < -0.9
        assert drawn(point, "horizontal", -50.0) > 0.9


def test_a_direction_left_out_is_named(tmp_path: Path) -> None:
    names = [n for n in load("cobble_two").names if "vertical_+040" not in n]
    case = Spoiled.whole(tmp_path / "case", names)
    quality = case.quality()
    point = quality.point(PointName.MISSING)
    assert point.verdict is Verdict.LOOK
    assert point.values["missing"] == 1
    assert "vertical +40°" in str(point.sentence)
    assert [drawn(point, "vertical", at) for at in (30.0, 40.0, 50.0)] == [1.0, 0.0, 1.0]
    assert others_are_fine(quality, PointName.MISSING)


@pytest.mark.parametrize(("one", "other"), [(30, 60), (30, 50), (-30, -40), (100, 140)])
def test_two_swapped_directions_are_named(case: Spoiled, one: int, other: int) -> None:
    names = [f"horizontal_{angle:+04d}_2.83V.wav" for angle in (one, other)]
    case.swap(*names)
    point = case.point(PointName.ORDER)
    assert point.verdict is Verdict.LOOK
    assert set(point.takes) == set(names)


def test_mirror_images_of_what_is_unlike_above_and_below_are_named(case: Spoiled) -> None:
    names = ["vertical_-030_2.83V.wav", "vertical_+030_2.83V.wav"]
    case.swap(*names)
    quality = case.quality()
    assert quality.point(PointName.ORDER).takes == tuple(names)
    assert quality.point(PointName.LEVELS).verdict is Verdict.FINE


def again(case: Spoiled, how: Callable[[Floats], Floats], name: str = ON_AXIS) -> None:
    """The take once more, with noise of its own."""
    repeated = how(noisy(2e-5, seed=3)(case.samples(name)))
    case.add(name.replace("_2.83V", "_repeat2_2.83V"), repeated)


def test_a_last_take_that_is_alike_is_fine(case: Spoiled) -> None:
    again(case, lambda samples: samples)
    quality = case.quality()
    assert quality.point(PointName.FIRST_LAST).verdict is Verdict.FINE
    assert quality.point(PointName.REPEATS).verdict is Verdict.FINE
    assert quality.point(PointName.FIRST_LAST).values["worst_db"] < 0.1
    assert others_are_fine(quality)


def test_a_tweeter_that_lost_a_decibel_is_seen(case: Spoiled) -> None:
    again(case, quieter_above(5_000.0, 1.0))
    quality = case.quality()
    point = quality.point(PointName.FIRST_LAST)
    assert point.verdict is Verdict.UNFIT
    assert point.values["worst_db"] == pytest.approx(1.0, abs=0.03)
    assert point.values["worst_hz"] > 7_000.0
    assert "quieter than the first" in str(point.sentence)


def test_a_small_loss_is_looked_at(case: Spoiled) -> None:
    again(case, quieter_above(5_000.0, 0.5))
    assert case.point(PointName.FIRST_LAST).verdict is Verdict.LOOK


def test_repeats_that_scatter_are_named(case: Spoiled) -> None:
    """Two takes 2 dB apart have a standard deviation of √2 dB."""
    again(case, gained(-2.0), "horizontal_+030_2.83V.wav")
    point = case.point(PointName.REPEATS)
    assert point.verdict is Verdict.LOOK
    assert point.values["worst_db"] == pytest.approx(np.sqrt(2.0), abs=0.02)
    assert [line.name for line in point.series] == ["1", "2"]
    assert [line.y[-3] for line in point.series] == pytest.approx([1.0, -1.0], abs=0.05)
    assert "horizontal +30°" in str(point.sentence)


def test_repeats_that_disagree_are_not_averaged(case: Spoiled) -> None:
    """Of takes 4 dB apart the first counts; half way between them neither was measured."""
    name = "horizontal_+030_2.83V.wav"
    before = level_at(case, 30.0)
    again(case, gained(-4.0), name)
    point = case.point(PointName.REPEATS)
    assert point.verdict is Verdict.UNFIT
    assert f"nearest to their median counts: {name}" in str(point.sentence)
    assert level_at(case, 30.0) == pytest.approx(before, abs=1e-3)


def level_at(case: Spoiled, angle: float) -> float:
    """The mean level in one direction of the horizontal orbit, dB, as the build has it."""
    takes = take_powers(load_responses(case.root / "build" / "responses.nc"))
    field = directivity(takes)
    row = field.rows((Direction(Orbit.HORIZONTAL, angle),))[0]
    return float(np.nanmean(10.0 * np.log10(field.power[row])))


def test_a_repeat_with_another_gain_is_told_as_that(case: Spoiled) -> None:
    for repeat, db in ((2, 0.02), (3, 1.0), (4, -0.02)):
        samples = noisy(2e-5, seed=repeat)(gained(db)(case.samples(ON_AXIS)))
        case.add(f"horizontal_+000_repeat{repeat}_2.83V.wav", samples)
    point = case.point(PointName.REPEATS)
    assert point.takes == ("horizontal_+000_repeat3_2.83V.wav",)
    assert "by the same at all frequencies" in str(point.sentence)
    assert [line.name for line in point.series] == ["1", "2", "3, set aside", "4"]
    assert point.series[2].y[-3] == pytest.approx(1.0, abs=0.05)
    assert "gain" in str(point.remedy)
    assert "door" not in str(point.remedy)


@pytest.mark.parametrize(("db", "verdict"), [(2.0, Verdict.LOOK), (-4.0, Verdict.UNFIT)])
def test_orbits_that_meet_apart(case: Spoiled, db: float, verdict: Verdict) -> None:
    case.change("vertical_+000_2.83V.wav", gained(db))
    point = case.point(PointName.ORBITS)
    assert point.verdict is verdict
    assert point.values["worst_db"] == pytest.approx(abs(db), abs=0.05)


@pytest.mark.parametrize(("db", "verdict"), [(1.0, Verdict.FINE), (2.2, Verdict.LOOK), (-3.4, Verdict.UNFIT)])
def test_a_near_field_at_another_level(case: Spoiled, db: float, verdict: Verdict) -> None:
    """The far field's level over the near field's is down by what the near field is up."""
    case.change(NEAR, gained(db))
    point = case.point(PointName.SPLICE)
    assert point.verdict is verdict
    assert point.values["rms_db"] == pytest.approx(abs(db), abs=0.1)
    assert drawn(point, "vertical", 20.0) == pytest.approx(-db, abs=0.2)


def test_near_and_far_that_contradict_each_other_are_unfit(case: Spoiled) -> None:
    """Half the true distance is 6 dB: they aren't joined, and that is no lack of a near field."""
    case.state("distance_m = 2.0", "distance_m = 1.0")
    point = case.point(PointName.SPLICE)
    assert point.verdict is Verdict.UNFIT
    assert "distance" in str(point.remedy)


def test_a_near_field_that_hardly_meets_the_gate_is_told_from_none(case: Spoiled, tmp_path: Path) -> None:
    """A gate of 1.4 ms holds from 1.4 kHz; there the woofer's near field has ended."""
    case.state("distance_m = 2.0", "distance_m = 2.0\ngate_s = 0.0014")
    point = case.point(PointName.SPLICE)
    assert point.verdict is Verdict.CANNOT_TELL
    assert "weren't joined" in str(point.sentence).replace("’", "'")
    assert "longer gate" in str(point.remedy)
    far = Spoiled.whole(tmp_path / "far", SMALL).point(PointName.SPLICE)
    assert far.verdict is Verdict.CANNOT_TELL
    assert "near field of each woofer" in str(far.remedy)


def drawn(point: Point, line: str, at: float) -> float:
    """What a point's picture shows on one of its lines."""
    (one,) = (one for one in point.series if one.name == line)
    value = one.y[one.x.index(at)]
    assert value is not None
    return value


def test_a_gain_that_was_touched_is_named_with_its_size(case: Spoiled) -> None:
    """Half a decibel off axis; what else is checked stays as it was."""
    case.change("horizontal_+060_2.83V.wav", gained(-0.5))
    case.change("vertical_-030_2.83V.wav", gained(1.0))
    quality = case.quality()
    point = quality.point(PointName.LEVELS)
    assert point.verdict is Verdict.LOOK
    assert point.takes == ("vertical_-030_2.83V.wav", "horizontal_+060_2.83V.wav")
    assert point.values["worst_db"] == pytest.approx(1.0, abs=0.1)
    assert "louder than the takes beside it" in str(point.sentence)
    assert drawn(point, "vertical", -30.0) == pytest.approx(1.0, abs=0.1)
    assert drawn(point, "horizontal", 60.0) == pytest.approx(-0.5, abs=0.1)
    assert drawn(point, "horizontal", 50.0) == pytest.approx(0.0, abs=0.2)
    assert others_are_fine(quality, PointName.LEVELS)


def test_a_take_far_out_of_level_is_unfit(case: Spoiled) -> None:
    case.change("horizontal_-090_2.83V.wav", gained(2.0))
    assert case.point(PointName.LEVELS).verdict is Verdict.UNFIT


def in_its_place(samples: Floats) -> Callable[[Floats], Floats]:
    return lambda _: samples


@pytest.mark.parametrize(("orbit", "sign"), [("horizontal", 1), ("vertical", -1)])
def test_an_orbit_whose_zero_was_wrong_is_named(case: Spoiled, orbit: str, sign: int) -> None:
    """Each take is that of the angle 10° further, as where the protractor's zero was 10° off."""
    angles = range(-170, 190, 10)
    names = {a: f"{orbit}_{a:+04d}_2.83V.wav" for a in angles}
    true = {a: case.samples(name) for a, name in names.items()}
    for a in angles:
        case.change(names[a], in_its_place(true[(a + 10 * sign + 179) % 360 - 179]))
    point = case.point(PointName.ZERO)
    assert point.verdict is Verdict.LOOK
    key = f"{orbit}_axis_deg" if orbit == "horizontal" else f"{orbit}_met_deg"
    assert point.values[key] == pytest.approx(-10.0 * sign, abs=1.0)
    if orbit == "horizontal":
        (line,) = (line for line in point.series if line.name == orbit)
        unlike = [y for y in line.y if y is not None]
        assert line.x[unlike.index(min(unlike))] == -10.0 * sign


def test_a_recorder_whose_clock_is_fast_is_told_with_its_error(case: Spoiled) -> None:
    for path in sorted((case.root / "raw").glob("*V.wav")):
        case.change(path.name, stretched(400.0))
    point = case.point(PointName.CLOCKS)
    assert point.verdict is Verdict.LOOK
    assert "is fast" in str(point.sentence)
    assert point.values["apart_ppm"] == pytest.approx(400.0, abs=point.values["limit_ppm"])
    assert {line.name for line in point.series} == {"horizontal", "vertical"}
    assert all(y is not None and y > 0.0 for line in point.series for y in line.y)


def test_heights_that_reflections_contradict_are_named_where_something_was_joined(case: Spoiled) -> None:
    """The floor's sound comes by way of an image of the loudspeaker below the floor."""
    point, rig = case.point(PointName.HEIGHTS), read_facts(CaseFolder.open(case.root)).rig
    assert point.verdict is Verdict.FINE
    assert rig.distance_m is not None
    assert rig.height_m is not None
    assert rig.microphone_height_m is not None
    detour_m = np.hypot(rig.distance_m, rig.height_m + rig.microphone_height_m) - rig.distance_m
    (floor,) = (line for line in point.series if line.name == "floor due")
    assert floor.x[0] == pytest.approx(1e3 * detour_m / 343.0, rel=0.01)
    assert drawn(point, "on axis", 0.0) == 0.0
    text = (case.root / "case.toml").read_text(encoding="utf-8")
    stated = next(line for line in text.splitlines() if line.startswith("height_m"))
    case.state(stated, f"height_m = {0.4 * float(stated.split('=')[1].split('#')[0]):.2f}")
    quality = case.quality()
    assert quality.point(PointName.HEIGHTS).verdict is Verdict.LOOK
    assert "height_m" in str(quality.point(PointName.HEIGHTS).remedy)


def test_whose_a_difference_of_sides_is_cannot_be_told_unless_stated(case: Spoiled) -> None:
    """The loudspeaker is alike on both sides: what differs here was done to the recordings."""
    for angle in range(10, 180, 10):
        case.change(f"horizontal_{angle:+04d}_2.83V.wav", gained(2.0))
    point = case.point(PointName.LEFT_RIGHT)
    assert point.verdict is Verdict.FINE
    assert "can't be told" in str(point.sentence).replace("’", "'")


def test_sides_that_are_stated_alike_and_are_not(case: Spoiled) -> None:
    """2 dB on one side; below the splice both sides share a near field, in about half of the grid."""
    case.state("active = false", 'active = false\nsymmetry = ["left-right"]')
    assert case.point(PointName.LEFT_RIGHT).verdict is Verdict.FINE
    for angle in range(10, 180, 10):
        case.change(f"horizontal_{angle:+04d}_2.83V.wav", gained(2.0))
    point = case.point(PointName.LEFT_RIGHT)
    assert point.verdict is Verdict.LOOK
    assert point.values["difference_db"] == pytest.approx(2.0 * np.sqrt(0.5), abs=0.1)
    assert point.series[0].y[-20] == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize(("db", "verdict"), [(0.02, Verdict.FINE), (0.3, Verdict.LOOK)])
def test_a_chain_that_drifted(case: Spoiled, db: float, verdict: Verdict) -> None:
    case.add("calibrator_94_repeat2.wav", gained(db)(case.samples("calibrator_94.wav")))
    point = case.point(PointName.CALIBRATION)
    assert point.verdict is verdict
    assert point.values["apart_db"] == pytest.approx(db, abs=0.01)
    assert drawn(point, "chain", 2.0) == pytest.approx(db, abs=0.01)


@pytest.mark.parametrize(
    ("name", "rms", "verdict"),
    [
        (ON_AXIS, 3e-2, Verdict.UNFIT),
        (ON_AXIS, 6e-3, Verdict.LOOK),
        ("horizontal_+030_2.83V.wav", 6e-2, Verdict.LOOK),
    ],
)
def test_noise_is_named_with_its_take(case: Spoiled, name: str, rms: float, verdict: Verdict) -> None:
    case.change(name, noisy(rms))
    quality = case.quality()
    point = quality.point(PointName.SIGNAL_TO_NOISE)
    assert point.verdict is verdict
    assert point.takes == (name,)
    assert others_are_fine(quality, PointName.SIGNAL_TO_NOISE, PointName.HEIGHTS)


SMALL = ("stimulus.wav", "calibrator_94.wav", "microphone.txt", ON_AXIS)
REFERENCE = "reference_loudspeaker_2.83V.wav"


def with_reference(root: Path, gain_db: float, how: Callable[[Floats], Floats] = lambda s: s) -> Spoiled:
    """A small case of the rig, and the rig's reference loudspeaker: here the demo's own once more."""
    case = Spoiled.whole(root, SMALL)
    case.add(REFERENCE, how(gained(gain_db)(case.samples(ON_AXIS))))
    return case


def test_the_reference_loudspeaker_on_its_control_chart(tmp_path: Path) -> None:
    gains = (0.0, 0.1, -0.05, 0.05)
    earlier = [with_reference(tmp_path / f"case-{i}", gain) for i, gain in enumerate(gains)]
    for one in earlier:
        assert one.point(PointName.REFERENCE).verdict is Verdict.CANNOT_TELL
    folders = [one.root for one in earlier]
    alike = with_reference(tmp_path / "alike", 0.02)
    point = check_case(alike.root, folders).point(PointName.REFERENCE)
    assert point.verdict is Verdict.FINE
    assert "reads as it did in 4 earlier cases" in str(point.sentence)
    assert point.takes == (TakeId(REFERENCE),)
    # the mean of the chart is 0.025 dB, mean moving range (0.1 + 0.15 + 0.1)/3, limits ± 2.66 times it
    mean = {line.name: line.y[-1] for line in point.series}
    assert mean["centre"] is not None
    assert mean["upper limit"] is not None
    assert mean["mean level"] is not None
    assert mean["upper limit"] - mean["centre"] == pytest.approx(2.66 * 0.35 / 3.0, abs=5e-3)
    assert mean["mean level"] - mean["centre"] == pytest.approx(0.02 - 0.025, abs=5e-3)
    louder = with_reference(tmp_path / "louder", 1.0)
    stated = ", ".join(f'"../case-{i}"' for i in range(4))
    louder.state("distance_m = 2.0", f"distance_m = 2.0\nearlier = [{stated}]")
    point = louder.point(PointName.REFERENCE)
    assert point.verdict is Verdict.LOOK
    assert "louder by 0.98 dB" in str(point.sentence).replace("0.97", "0.98")
    dull = with_reference(tmp_path / "dull", 0.0, quieter_above(5_000.0, 1.0))
    point = check_case(dull.root, folders[:2]).point(PointName.REFERENCE)
    assert point.verdict is Verdict.LOOK
    assert point.values["worst_hz"] > 7_000.0
    point = check_case(alike.root, [*folders, tmp_path / "nowhere"]).point(PointName.REFERENCE)
    assert point.verdict is Verdict.LOOK
    assert "Not to be had" in str(point.sentence)
