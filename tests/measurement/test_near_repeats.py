"""Near fields that were recorded more than once."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from accuracy.bench import ON_AXIS_ALONE, Measured, Recorded, measure, record
from accuracy.loudspeakers import closed, described
from arriving import arrived
from made_recordings import FULL_SCALE_PA, RATE, Bench

from earwitness.case.response_files import load_responses, save_responses
from earwitness.measurement.calibration import Calibration
from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.near_field import NearField, read_near_field
from earwitness.measurement.near_repeats import NearScatter, groups, mean_uncertainty_db
from earwitness.measurement.recognise import recognise
from earwitness.measurement.setting import Setting
from earwitness.records.curves import CurveName
from earwitness.records.errors import CaseError
from earwitness.records.facts import Radiator, Unit
from earwitness.records.figures import Figure, FigureName, Quantity
from earwitness.records.grid import derived_grid
from earwitness.records.responses import Origin
from earwitness.records.takes import Drive, Take, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName
from earwitness.virtual.scenario import load

GRID = derived_grid()
UNIT = Unit(name="x", radiators=(Radiator("woofer", 0.16),))
NAME = "near_field_woofer_5mm_0.283V{}.wav"


def of(path: str, repeat: int = 1, volts: float = 0.283, gap_m: float = 0.005) -> Take:
    key = TakeKey(TakeKind.NEAR_FIELD, drive=Drive(volts), radiator="woofer", repeat=repeat)
    return Take(path, key, distance_m=gap_m)


def heard(bench: Bench, gains_db: list[float], repeat_db: float | None = None) -> NearField:
    """One near field, and again with the microphone put back a little nearer or further."""
    plain = bench.recording("plain.wav", 0.05, 0.283)
    samples, _ = soundfile.read(bench.folder / plain)
    names = [NAME.format(f"_rep{i + 1}") for i in range(len(gains_db))]
    for name, gain in zip(names, gains_db, strict=True):
        soundfile.write(bench.folder / name, samples * 10.0 ** (gain / 20.0), RATE, subtype="FLOAT")
    takes = [r.take for r in recognise(arrived(*names, "stimulus.wav")) if r.take is not None]
    responses = {t.id: r for t, r in deconvolve(bench.folder, takes)}
    setting = Setting(GRID, 343.2, Calibration(FULL_SCALE_PA, None, None, ()))
    found = read_near_field(UNIT, takes, responses, setting, repeat_db)
    assert found is not None
    return found


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    bench = Bench(tmp_path)
    bench.stimulus()
    return bench


def test_repeats_are_averaged_and_tell_their_scatter(bench: Bench) -> None:
    single, three = heard(bench, [0.0]), heard(bench, [0.3, -0.3, 0.0])
    assert single.scatter is None
    assert three.scatter is not None
    assert len(three.takes) == 3
    # mean power of +0.3, 0 and -0.3 dB is 0.00691 dB
    raised = 20.0 * np.log10(np.abs(three.pressure[0] / single.pressure[0]))[single.valid]
    np.testing.assert_allclose(raised, 0.00691, atol=1e-4)
    # their sample standard deviation is 0.3 dB; 2·2.76 degrees of freedom (test_repeats, by quadrature)
    np.testing.assert_allclose(three.scatter.single_db[0], 0.3, rtol=1e-2)
    assert float(three.scatter.degrees[0, 300]) == pytest.approx(5.52, rel=0.02)
    assert three.scatter.counts.tolist() == [3.0]


def test_what_the_case_states_counts_where_it_is_more(bench: Bench) -> None:
    found = heard(bench, [0.3, -0.3, 0.0], 0.5)
    assert found.scatter is not None
    assert set(found.scatter.single_db.ravel()) == {0.5}
    assert np.isinf(found.scatter.degrees).all()


def test_a_near_field_that_departs_is_set_aside_and_named(bench: Bench) -> None:
    found = heard(bench, [0.3, -0.3, 0.0, 6.0])
    assert [str(t) for t in found.takes] == [NAME.format(f"_rep{i}") for i in (1, 2, 3)]
    assert any("_rep4" in note and "set aside" in note for note in found.notes)
    assert found.scatter is not None
    np.testing.assert_allclose(found.scatter.single_db[0], 0.3, rtol=1e-2)


@pytest.mark.parametrize(
    ("other", "words"), [({"volts": 0.1}, "different drives"), ({"gap_m": 0.006}, "different distances")]
)
def test_what_differs_is_no_repeat(other: dict[str, float], words: str) -> None:
    with pytest.raises(CaseError, match=words):
        groups([of("a.wav"), of("b.wav", 2, **other)])


def test_two_radiators_that_cancel_are_unsure_twice() -> None:
    """By hand: 1 of the one and −0.5 of the other leave 0.5; errors weigh 2 and 1.

    Means of 4 and 2 takes of 0.2 dB: 0.1 and 0.1414 dB; √((2·0.1)² + 0.1414²) = 0.2449 dB; degrees
    (0.04 + 0.02)²/(0.04²/8 + 0.02²/2) = 9.
    """
    scatter = NearScatter(np.full((2, 1), 0.2), np.array([[8.0], [2.0]]), np.array([4.0, 2.0]))
    spread, degrees = mean_uncertainty_db(scatter, np.array([[[2.0]], [[1.0]]]))
    assert spread[0, 0] == pytest.approx(0.2449, rel=1e-3)
    assert degrees[0] == pytest.approx(9.0, rel=1e-6)


def again(recorded: Recorded, gains_db: tuple[float, ...]) -> Recorded:
    """The case with its near fields recorded again: other noise, and the microphone put back anew."""
    near = [take for take in recorded.takes if take.key.kind is TakeKind.NEAR_FIELD]
    takes = list(recorded.takes)
    for number, gain in enumerate(gains_db, start=2):
        session = dataclasses.replace(recorded.session, seed=recorded.session.seed + 1000 * number)
        folder = f"again {number}"
        session.record(recorded.raw / folder, only=[take.path for take in near])
        for take in near:
            path = recorded.raw / folder / take.path
            samples, rate = soundfile.read(path)
            soundfile.write(path, samples * 10.0 ** (gain / 20.0), rate, subtype="PCM_24")
            key = dataclasses.replace(take.key, repeat=number)
            takes.append(dataclasses.replace(take, path=f"{folder}/{take.path}", key=key))
    return dataclasses.replace(recorded, takes=tuple(takes))


def f6(measured: Measured) -> Figure:
    return next(f for f in measured.derivation.figures if f.name is FigureName.F6)


def repeat_on_axis(measured: Measured) -> npt.NDArray[np.floating] | None:
    """The component in the near field's band."""
    curve = measured.derivation.curves.curves[CurveName.ON_AXIS].components_db[ComponentName.REPEAT]
    return None if curve is None else curve[measured.responses.origin[0] == Origin.NEAR_FIELD]


def test_one_radiator_s_mean_is_as_sure_as_its_repeats_say(tmp_path: Path) -> None:
    """0, +0.4 and −0.4 dB scatter by 0.4 dB: their mean is known to 0.4/√3 dB (JCGM 100, 4.2.3)."""
    once = record(closed("ball"), tmp_path, ON_AXIS_ALONE)
    assert repeat_on_axis(measure(once)) is None
    measured = measure(again(once, (0.4, -0.4)))
    told = repeat_on_axis(measured)
    assert told is not None
    # noise of each file scatters, too, and is taken off
    np.testing.assert_allclose(told, 0.4 / np.sqrt(3.0), rtol=0.02)
    # two takes from afar that are alike: they speak for themselves, and not for the near field
    twice = measure(again(record(closed("ball"), tmp_path / "more", ON_AXIS_ALONE, repeats=1), (0.4, -0.4)))
    curve = twice.derivation.curves.curves[CurveName.ON_AXIS].components_db[ComponentName.REPEAT]
    assert curve is not None
    origin = twice.responses.origin[0]
    np.testing.assert_allclose(curve[origin == Origin.NEAR_FIELD], 0.4 / np.sqrt(3.0), rtol=0.02)
    assert np.nanmax(curve[origin == Origin.GATED]) < 0.02


@pytest.mark.slow
def test_f6_of_the_demo_is_surer_with_one_more_repeat_of_its_near_fields(tmp_path: Path) -> None:
    once = record(described(load("cobble_two")), tmp_path)
    two, three = (f6(measure(again(once, gains))) for gains in ((-0.3,), (-0.3, 0.1)))
    assert two.uncertainty is not None
    assert three.uncertainty is not None
    assert isinstance(two.value, Quantity)
    assert isinstance(three.value, Quantity)
    assert three.uncertainty < 0.8 * two.uncertainty
    assert abs(three.value.value - two.value.value) < two.uncertainty
    parts = [figure.components[ComponentName.REPEAT] for figure in (two, three)]
    assert parts[0] is not None
    assert parts[1] is not None
    assert parts[1] < parts[0]


def test_what_repeats_tell_is_kept_on_disk(tmp_path: Path) -> None:
    measured = measure(again(record(closed("ball"), tmp_path, ON_AXIS_ALONE), (0.2,)))
    save_responses(tmp_path / "responses.nc", measured.responses)
    kept = load_responses(tmp_path / "responses.nc")
    assert kept.repeat_degrees is not None
    assert measured.responses.repeat_degrees is not None
    np.testing.assert_allclose(kept.repeat_degrees, measured.responses.repeat_degrees, rtol=1e-6)
    name = ComponentName.REPEAT
    np.testing.assert_allclose(kept.components[name], measured.responses.components[name], rtol=1e-5)
