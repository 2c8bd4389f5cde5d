from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from accuracy.bench import Recorded, record
from accuracy.loudspeakers import drawn
from arriving import arrived
from made_recordings import FULL_SCALE_PA, Bench

from earwitness.measurement.calibration import Calibration
from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.joining import common
from earwitness.measurement.near_field import NearField, read_near_field
from earwitness.measurement.readers.audio import LOOPBACK
from earwitness.measurement.recognise import recognise
from earwitness.measurement.setting import Setting
from earwitness.measurement.table import Table
from earwitness.records.errors import CaseError
from earwitness.records.facts import Radiator, Sphere, Unit
from earwitness.records.grid import derived_grid
from earwitness.records.takes import ReadOptions, Take, TakeId

GRID = derived_grid()
SPEED = 343.2
WOOFER = Radiator("woofer", 0.16)


def near(*radiators: Radiator, valid_to_hz: float = 1_000.0) -> NearField:
    """Radiators with 1 Pa per volt in front of each, at all frequencies."""
    shape = (len(radiators), GRID.size)
    return NearField(
        takes=tuple(TakeId(r.name) for r in radiators),
        radiators=radiators,
        pressure=np.ones(shape, dtype=np.complex128),
        noise_power=np.full(shape, 1e-6),
        valid=valid_to_hz >= GRID,
        gap_m=np.zeros(len(radiators)),
        notes=(),
    )


def measured(folder: Path, names: list[str], unit: Unit) -> NearField | None:
    takes = [r.take for r in recognise(arrived(*names, "stimulus.wav"))]
    given: list[Take] = [t for t in takes if t is not None]
    responses = {t.id: r for t, r in deconvolve(folder, given)}
    setting = Setting(GRID, SPEED, Calibration(FULL_SCALE_PA, None, None, ()))
    return read_near_field(unit, given, responses, setting)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    bench = Bench(tmp_path)
    bench.stimulus()
    return bench


def test_valid_up_to_ka_one(bench: Bench) -> None:
    name = bench.recording("near_field_woofer_5mm_0.283V.wav", 0.05, 0.283)
    found = measured(bench.folder, [name], Unit(name="x", radiators=(WOOFER,)))
    assert found is not None
    # FACTS §8 (computed): ka = 1 for a = .08 m at 682.8 Hz; a step of the grid is 0.7 %
    assert GRID[found.valid].max() == pytest.approx(682.8, rel=0.0073)
    assert GRID[found.valid].max() <= 682.8
    assert found.gap_m.tolist() == [0.005]
    # the sweep begins at 15 Hz, and 3.3/T of what is kept is below that
    assert GRID[found.valid].min() == GRID[0]


def test_near_fields_keep_their_time_apart(bench: Bench) -> None:
    names = [
        bench.recording("near_field_woofer_5mm_0.283V.wav", 0.05, 0.283),
        bench.recording("near_field_port_5mm_0.283V.wav", 0.393, 0.283),
    ]
    unit = Unit(name="x", radiators=(WOOFER, Radiator("port", 0.05)))
    found = measured(bench.folder, names, unit)
    assert found is not None
    port, woofer = found.pressure[:, found.valid]
    # one was recorded 343 mm further away: about 1 ms later, and weaker by the ratio of distances
    turn = np.angle(port / woofer * np.exp(2j * np.pi * GRID[found.valid] * 0.343 / SPEED))
    assert np.max(np.abs(turn)) < 0.01
    assert np.abs(port / woofer) == pytest.approx(0.05 / 0.393, rel=2e-3)


@pytest.mark.parametrize("heard", ["upper_woofer", "lower_woofer"])
def test_one_near_field_stands_for_those_stated_as_the_same(bench: Bench, heard: str) -> None:
    """Whichever of them was measured; a port of another make stands for nobody."""
    radiators = (
        Radiator("upper_woofer", 0.16),
        Radiator("lower_woofer", 0.16, up_m=-0.2, same_as="upper_woofer"),
        Radiator("port", 0.05, up_m=-0.4),
    )
    names = [bench.recording(f"near_field_{one}_5mm_0.283V.wav", 0.05, 0.283) for one in (heard, "port")]
    found = measured(bench.folder, names, Unit(name="x", radiators=radiators))
    assert found is not None
    (other,) = (r for r in radiators[:2] if r.name != heard)
    place = [r.name for r in found.radiators].index(heard)
    assert found.alike == ((other, place),)
    assert found.like.tolist() == [0, 1, place]
    said = f"of the {heard} stands for the {other.name}".replace("_", " ")
    assert any(said in note for note in found.notes)


def test_each_counts_for_itself_where_all_were_measured(bench: Bench) -> None:
    radiators = (
        Radiator("upper_woofer", 0.16),
        Radiator("lower_woofer", 0.16, up_m=-0.2, same_as="upper_woofer"),
    )
    names = [bench.recording(f"near_field_{r.name}_5mm_0.283V.wav", 0.05, 0.283) for r in radiators]
    found = measured(bench.folder, names, Unit(name="x", radiators=radiators))
    assert found is not None
    assert (len(found.radiators), found.alike) == (2, ())


def test_two_near_fields_of_one_radiator_are_refused(bench: Bench) -> None:
    names = [
        bench.recording("near_field_woofer_5mm_0.283V.wav", 0.05, 0.283),
        bench.recording("near_field_woofer_8mm_0.283V.wav", 0.05, 0.283),
    ]
    with pytest.raises(CaseError, match="both the near field"):
        measured(bench.folder, names, Unit(name="x", radiators=(WOOFER,)))
    assert measured(bench.folder, [], Unit(name="x")) is None


def test_of_several_drives_the_lowest_tells_the_response(bench: Bench) -> None:
    loud = bench.recording("near_field_woofer_5mm_0.5V.wav", 0.05, 0.5)
    quiet = bench.recording("near_field_woofer_5mm_0.283V.wav", 0.05, 0.283)
    found = measured(bench.folder, [loud, quiet], Unit(name="x", radiators=(WOOFER,)))
    assert found is not None
    assert found.takes == (quiet,)


@pytest.mark.parametrize("late_s", [4e-3, -4e-3, 0.02])
def test_near_fields_on_two_clocks_are_refused(bench: Bench, late_s: float) -> None:
    names = [
        bench.recording("near_field_woofer_5mm_0.283V.wav", 0.05, 0.283, latency_s=0.01),
        bench.recording("near_field_port_5mm_0.283V.wav", 0.05, 0.283, latency_s=0.01 + late_s),
    ]
    unit = Unit(name="x", cabinet=Sphere(0.4), radiators=(WOOFER, Radiator("port", 0.05)))
    # FACTS §8: 343.2 mm are 1 ms; 0.4 m of cabinet 1.17 ms, and 1 ms for the rise of a port
    with pytest.raises(CaseError, match=r"near_field_.*begin .* apart.*allows 2\.17 ms"):
        measured(bench.folder, names, unit)


@pytest.fixture(scope="module")
def slow_port(tmp_path_factory: pytest.TempPathFactory) -> Recorded:
    """A port in the back whose sound below 300 Hz builds up over 4 ms."""
    return record(drawn(99), tmp_path_factory.mktemp("port"), ())


@pytest.mark.parametrize(("late_s", "options"), [(0.0, ()), (4e-3, ((LOOPBACK, 2),)), (4e-3, ())])
def test_a_port_s_clock_is_told_although_its_sound_builds_up_slowly(
    slow_port: Recorded, late_s: float, options: ReadOptions
) -> None:
    """A latency of its own of 4 ms is refused, but for takes whose time counts from a loopback."""
    takes = [dataclasses.replace(take, read=options) for take in slow_port.takes]
    responses = slow_port.impulse_responses()
    for take in takes:
        if take.key.radiator == "port":
            heard = responses[take.id]
            responses[take.id] = dataclasses.replace(heard, start_s=heard.start_s + late_s)
    setting = Setting(GRID, SPEED, Calibration(FULL_SCALE_PA, None, None, ()))
    unit = slow_port.facts().unit
    if late_s and not options:
        with pytest.raises(CaseError, match=r"begin .* apart"):
            read_near_field(unit, takes, responses, setting)
    else:
        assert read_near_field(unit, takes, responses, setting) is not None


def test_what_is_common_is_two_octaves_or_at_least_half_of_one() -> None:
    whole = common(near(WOOFER, valid_to_hz=2_000.0), GRID, 500.0)
    assert whole is not None
    assert GRID[[whole.start, whole.stop - 1]] == pytest.approx([500.0, 2_000.0], rel=0.0073)
    cut = common(near(WOOFER, valid_to_hz=720.0), GRID, 500.0)
    assert cut is not None
    assert GRID[cut.stop - 1] == pytest.approx(720.0, rel=0.0073)
    assert common(near(WOOFER, valid_to_hz=700.0), GRID, 500.0) is None
    assert common(near(WOOFER, valid_to_hz=400.0), GRID, 500.0) is None


def test_valid_from_is_where_the_last_take_begins() -> None:
    table = Table.empty((), GRID)
    table.valid = np.stack([GRID > 100.0, GRID > 300.0, GRID > 1e6])
    table.pressure = np.ones(table.valid.shape, dtype=np.complex64)
    table.origin = np.ones(table.valid.shape, dtype=np.uint8)
    table.noise_db = table.gate_db = table.splice_db = np.zeros(table.valid.shape)
    assert table.responses(0.0).valid_from_hz == pytest.approx(300.0, rel=0.0073)
