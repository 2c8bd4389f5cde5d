from __future__ import annotations

import pytest
from arriving import arrived
from hypothesis import given
from hypothesis import strategies as st

from earwitness.measurement.recognise import recognise
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKind

STIMULUS = "stimulus.wav"


def one(path: str, drive: Drive | None = None) -> Take | None:
    (found,) = [r for r in recognise(arrived(path, STIMULUS), drive=drive) if r.path == path]
    assert (found.take is None) == bool(found.doubts)
    return found.take


def doubts(path: str, drive: Drive | None = None) -> str:
    (found,) = [r for r in recognise(arrived(path, STIMULUS), drive=drive) if r.path == path]
    return "; ".join(str(doubt) for doubt in found.doubts)


@pytest.mark.parametrize(
    ("path", "orbit", "angle"),
    [
        ("horizontal_+030_2.83V.wav", Orbit.HORIZONTAL, 30.0),
        ("horizontal_-030_2.83V.wav", Orbit.HORIZONTAL, -30.0),
        ("vertical_-010_2.83V.wav", Orbit.VERTICAL, -10.0),
        ("vertical_+000_2.83V.flac", Orbit.VERTICAL, 0.0),
        ("horizontal_+180_2.83V.wav", Orbit.HORIZONTAL, 180.0),
        ("horizontal_-180_2.83V.wav", Orbit.HORIZONTAL, 180.0),
        ("horizontal_000_2.83V.wav", Orbit.HORIZONTAL, 0.0),
        ("Horizontal +7.5 2.83V.WAV", Orbit.HORIZONTAL, 7.5),
        ("2.83V/vertical/+040.wav", Orbit.VERTICAL, 40.0),
        ("day 2/hor_-170deg_2.83Vrms.wav", Orbit.HORIZONTAL, -170.0),
        ("h+30_2.83V.wav", Orbit.HORIZONTAL, 30.0),
        ("on_axis_2.83V.wav", Orbit.HORIZONTAL, 0.0),
        ("horizontal-+030-2.83V.wav", Orbit.HORIZONTAL, 30.0),
    ],
)
def test_directions(path: str, orbit: Orbit, angle: float) -> None:
    take = one(path)
    assert take is not None
    assert take.key.kind is TakeKind.SWEEP
    assert take.key.direction == Direction(orbit, angle)
    assert take.key.drive == Drive(2.83, "V")
    assert take.stimulus == STIMULUS


def test_text_is_a_response() -> None:
    take = one("horizontal_+030.txt", Drive(2.83))
    assert take is not None
    assert take.key.kind is TakeKind.RESPONSE
    assert take.stimulus is None


def test_the_name_wins_over_the_stated_drive() -> None:
    take = one("horizontal_+030_1V.wav", Drive(2.83))
    assert take is not None
    assert take.key.drive == Drive(1.0)


def test_active_drive() -> None:
    take = one("horizontal_+030_-20dBFS.wav")
    assert take is not None
    assert take.key.drive == Drive(-20.0, "dBFS")
    assert "full scale" in doubts("horizontal_+030_20dBFS.wav")


@pytest.mark.parametrize(
    ("path", "level"),
    [
        ("horizontal_+030_-20dBu.wav", -20.0),
        ("horizontal_+030_+4dBu.wav", 4.0),
        ("horizontal_+030_4 dBu.wav", 4.0),
        ("horizontal_+030_−1.5dBu.wav", -1.5),
        ("horizontal_+030_0dBu.wav", 0.0),
    ],
)
def test_a_level_at_an_analogue_input(path: str, level: float) -> None:
    take = one(path)
    assert take is not None
    assert take.key.drive == Drive(level, "dBu")


@pytest.mark.parametrize(
    ("path", "why"),
    [
        ("horizontal_+030-4dBu.wav", "has a minus isn't clear"),
        ("horizontal_+030_m4dBu.wav", "has a sign isn't clear"),
        ("horizontal_+030_40dBu.wav", "40 dBu is more than lines have"),
        ("horizontal_+030_4dBV.wav", "is no drive in volts RMS, dBFS or dBu"),
    ],
)
def test_a_level_of_unsure_sign_is_a_doubt(path: str, why: str) -> None:
    assert why in doubts(path)


@pytest.mark.parametrize(
    ("path", "radiator", "distance_m"),
    [
        ("near_field_woofer_0.283V.wav", "woofer", None),
        ("near_field_woofer_7mm_0.283V.wav", "woofer", 0.007),
        ("near field/lower port_1.5cm_0.283V.wav", "lower_port", 0.015),
        ("nearfield_woofer_2_0.283V.wav", "woofer_2", None),
    ],
)
def test_near_fields(path: str, radiator: str, distance_m: float | None) -> None:
    take = one(path)
    assert take is not None
    assert take.key.kind is TakeKind.NEAR_FIELD
    assert take.key.radiator == radiator
    assert take.key.direction is None
    assert take.key.drive == Drive(0.283)
    assert take.distance_m == distance_m


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("microphone.txt", TakeKind.MICROPHONE_CALIBRATION),
        ("microphone_calibration.txt", TakeKind.MICROPHONE_CALIBRATION),
        ("impedance.txt", TakeKind.IMPEDANCE),
        ("noise.wav", TakeKind.NOISE),
        (STIMULUS, TakeKind.STIMULUS),
    ],
)
def test_plain_kinds(path: str, kind: TakeKind) -> None:
    take = recognise(arrived(path))[0].take
    assert take is not None
    assert take.key.kind is kind


def test_calibrator() -> None:
    take = one("calibrator_94.wav")
    assert take is not None
    assert (take.key.kind, take.level_db) == (TakeKind.CALIBRATOR, 94.0)
    assert "level" in doubts("calibrator.wav")
    assert "level" in doubts("calibrator_94_114.wav")


@pytest.mark.parametrize("name", ["horizontal_+030_2.83V_repeat2.wav", "horizontal_+030_repeat_2_2.83V.wav"])
def test_repeats(name: str) -> None:
    take = one(name)
    assert take is not None
    assert take.key.repeat == 2
    assert take.key.direction == Direction(Orbit.HORIZONTAL, 30.0)


@pytest.mark.parametrize(
    ("path", "doubt"),
    [
        ("horizontal_030_2.83V.wav", "sign"),
        ("horizontal-030_2.83V.wav", "sign"),
        ("horizontal-030-2.83V.wav", "sign"),
        ("+030_2.83V.wav", "plane"),
        ("horizontal_vertical_+030_2.83V.wav", "both planes"),
        ("horizontal_+030.wav", "drive"),
        ("horizontal_+030.txt", "drive"),
        ("horizontal_+030_2.83V_1V.wav", "more than one drive"),
        ("horizontal_+030_+040_2.83V.wav", "more than one angle"),
        ("horizontal_+200_2.83V.wav", "±180"),
        ("horizontal_360_2.83V.wav", "±180"),
        ("horizontal_2.83V.wav", "angle"),
        ("horizontal_+030_0V.wav", "zero"),
        ("near_field_0.283V.wav", "radiator"),
        ("near_field_woofer_0.283V.txt", "recording"),
        ("microphone.wav", "text"),
        ("stimulus.txt", "recording"),
    ],
)
def test_a_guess_is_right_or_absent(path: str, doubt: str) -> None:
    assert one(path) is None
    assert doubt in doubts(path)


def test_two_stimuli_or_none_are_a_doubt() -> None:
    name = "horizontal_+030_2.83V.wav"
    both = {r.path: r for r in recognise(arrived(name, STIMULUS, "b/stimulus.wav"))}
    assert both[name].take is None
    assert "which stimulus" in str(both[name].doubts[0])
    assert both[STIMULUS].take is not None
    (alone,) = recognise(arrived(name))
    assert "no stimulus" in str(alone.doubts[0])
    (later,) = recognise(arrived(name), stimuli={"older/stimulus.wav": None})
    assert later.take is not None
    assert later.take.stimulus == "older/stimulus.wav"


@given(
    st.sampled_from(["horizontal", "vertical"]),
    st.integers(-179, 180),
    st.integers(1, 400),
    st.sampled_from("_ /"),
    st.permutations(range(3)),
)
def test_any_order_and_separator_gives_the_same_take(
    orbit: str, angle: int, drive: int, separator: str, order: list[int]
) -> None:
    parts = (orbit, f"{angle:+04d}", f"{drive / 100:g}V")
    take = one(separator.join(parts[i] for i in order) + ".wav")
    assert take is not None
    assert take.key.direction == Direction(Orbit(orbit), float(angle))
    assert take.key.drive == Drive(drive / 100)


@given(st.lists(st.text(max_size=60).map(lambda t: t + ".wav"), max_size=4))
def test_any_names_are_sorted_into_takes_and_doubts(paths: list[str]) -> None:
    for found in recognise(arrived(*paths)):
        assert (found.take is None) == bool(found.doubts)


@pytest.mark.parametrize(
    "name", ["near_field_2x_woofer_7mm_0.283V.wav", "near_field_woofer_x2_7mm_0.283V.wav"]
)
def test_a_near_field_that_stands_for_two_is_held_against_the_case(name: str) -> None:
    both, _ = recognise(
        arrived(name, "stimulus.wav"), radiators=["woofer", "low"], alike={"woofer": 2, "low": 2}
    )
    assert both.take is not None
    assert (both.take.key.radiator, both.take.distance_m) == ("woofer", 0.007)
    for alike, there in (({"woofer": 1}, 1), ({"woofer": 3}, 3)):
        found, _ = recognise(arrived(name, "stimulus.wav"), radiators=["woofer"], alike=alike)
        assert found.take is None
        assert f"says 2 times woofer, and case.toml describes {there} alike" in str(found)
        assert "same_as" in str(found)
    undescribed, _ = recognise(arrived(name, "stimulus.wav"))
    assert undescribed.take is None
    plain, _ = recognise(
        arrived("near_field_woofer_7mm_0.283V.wav", "stimulus.wav"), radiators=["woofer"], alike={"woofer": 2}
    )
    assert plain.take is not None
