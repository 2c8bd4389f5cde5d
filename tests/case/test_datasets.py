from __future__ import annotations

import dataclasses
import hashlib
import importlib
import subprocess
import sys
import time
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import specimen
import xarray as xr

from earwitness.case.datasets import load_curves, load_responses, save_curves, save_responses
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.errors import IntegrityError
from earwitness.records.grid import derived_grid
from earwitness.records.responses import Origin, Responses, ToldApart
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeId, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName

with warnings.catch_warnings():
    # it was compiled against an older numpy, and says so once, when it is imported
    warnings.simplefilter("ignore", RuntimeWarning)
    importlib.import_module("netCDF4")

ENGINES = ("h5netcdf", "netcdf4")


def responses(number: int = 3, samples: int = 64) -> Responses:
    """Responses whose every value says where it stands: take + k/10000 at grid point k."""
    frequency = derived_grid()
    row, column = np.arange(number)[:, None], np.arange(frequency.size)[None, :]
    mark = row + column / 10_000
    keys = [
        TakeKey(TakeKind.SWEEP, Direction(Orbit.VERTICAL, 120.0), Drive(2.83), repeat=2),
        TakeKey(TakeKind.IMPULSE_RESPONSE, Direction(Orbit.VERTICAL, -30.0), Drive(-20.0, "dBFS"), "port"),
        TakeKey(TakeKind.RESPONSE, Direction(Orbit.HORIZONTAL, -90.0)),
    ]
    takes = [
        Take(f"t{i:03}.wav", keys[i % 3], "ä" if i else "", "s.wav" if i else None, None, 0.5)
        for i in range(number)
    ]
    return Responses(
        takes=tuple(takes),
        frequency_hz=frequency,
        pressure=(mark - 1j * mark).astype(np.complex64),
        valid=np.broadcast_to((frequency >= 300.0) & (frequency < 10_000.0), mark.shape),
        origin=np.full(mark.shape, Origin.BLENDED, dtype=np.uint8),
        has_phase=np.arange(number) % 2 == 0,
        seen_angle_deg=np.arange(number) + 0.25,
        components={ComponentName.NOISE: mark.astype(np.float32), ComponentName.GATE: mark + 0.5},
        impulse_response=(row - np.arange(samples) / 7).astype(np.float32),
        sample_rate_hz=np.full(number, 48_000.0),
        gate_s=np.full(number, 0.005),
        lead_s=0.001,
        near_field_takes=tuple((TakeId("near.wav"), TakeId("port.wav#x"))[: i % 3] for i in range(number)),
        valid_from_hz=300.0,
        microphone_m=row[:, :1] + np.array([2.0, 0.5, np.nan]),
        notes=("the gate ends before the floor's reflection", "ein Hinweis: −"),
    )


def told_apart() -> ToldApart:
    hz = np.array([50.0, 60.0, 70.0])
    taken = np.array([False, True, True])
    return ToldApart(hz, np.array([3.0, 3.0, 4.0]), np.array([np.inf, 9.5, 12.0]), hz / 7e3, taken)


def assert_same(one: Any, other: Any) -> None:
    """Equal to the last bit and of the same type, arrays included."""
    assert type(one) is type(other)
    if dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            assert_same(getattr(one, field.name), getattr(other, field.name))
    elif isinstance(one, np.ndarray):
        assert one.dtype == other.dtype
        np.testing.assert_array_equal(one, other)
    elif isinstance(one, dict):
        assert set(one) == set(other)
        for key in one:
            assert_same(one[key], other[key])
    else:
        assert one == other


def test_responses_come_back_exactly(tmp_path: Path) -> None:
    save_responses(tmp_path / "r.nc", responses())
    assert_same(load_responses(tmp_path / "r.nc"), responses())


def test_responses_without_anything_come_back(tmp_path: Path) -> None:
    bare = dataclasses.replace(responses(3, 0), components={}, notes=())
    save_responses(tmp_path / "r.nc", bare)
    assert_same(load_responses(tmp_path / "r.nc"), bare)


@pytest.mark.parametrize("dtype", [np.complex64, np.complex128])
def test_precision_is_kept(tmp_path: Path, dtype: type[np.complexfloating[Any]]) -> None:
    fine = dataclasses.replace(responses(), pressure=(responses().pressure / 3).astype(dtype))
    save_responses(tmp_path / "r.nc", fine)
    assert_same(load_responses(tmp_path / "r.nc"), fine)


@pytest.mark.parametrize("engine", ENGINES)
def test_an_outsider_reads_responses(tmp_path: Path, engine: Any) -> None:
    save_responses(tmp_path / "r.nc", responses())
    with xr.open_dataset(tmp_path / "r.nc", engine=engine) as opened:
        data = opened.load()
    assert data["pressure_re"].dims == ("take", "frequency")
    assert data["pressure_re"].dtype == np.float32
    assert data["pressure_re"].attrs["units"] == "Pa per unit of drive"
    # mark of take 2 at grid point 100, written out by hand
    assert float(data["pressure_re"][2, 100]) == pytest.approx(2.01, rel=1e-6)
    assert float(data["pressure_im"][2, 100]) == pytest.approx(-2.01, rel=1e-6)
    expected = {
        "kind",
        "orbit",
        "orbit_angle",
        "azimuth",
        "elevation",
        "drive",
        "drive_unit",
        "repeat",
        "frequency",
    }
    assert set(data["pressure_re"].coords) == expected
    # AES69: 120° over the top is behind and 60° up; −90° is the loudspeaker's right
    assert data["azimuth"].values.tolist() == [180.0, 0.0, 270.0]
    assert data["elevation"].values.tolist() == [60.0, -30.0, 0.0]
    assert data["orbit"].values.tolist() == ["vertical", "vertical", "horizontal"]
    assert data["orbit_angle"].values.tolist() == [120.0, -30.0, -90.0]
    np.testing.assert_array_equal(data["drive"].values, [2.83, -20.0, np.nan])
    assert data["drive_unit"].values.tolist() == ["V", "dBFS", ""]
    assert data["repeat"].values.tolist() == [2, 1, 1]
    band = data["pressure_re"].attrs["valid_band_hz"]
    # the first and last grid points 1000·2^(k/96) inside 300 Hz … 10 kHz: k = −166 and 318
    assert band == pytest.approx([1000 * 2 ** (-166 / 96), 1000 * 2 ** (318 / 96)], rel=1e-12)
    assert data["pressure_origin"].attrs["flag_meanings"].split()[Origin.BLENDED] == "blended"
    assert all("units" in v.attrs and "long_name" in v.attrs for v in data.variables.values())


@pytest.mark.parametrize(
    ("drives", "unit"),
    [
        ([Drive(2.83)] * 2, "Pa/V"),
        ([Drive(-20.0, "dBFS")] * 2, "Pa per full scale"),
        ([Drive(4.0, "dBu")] * 2, "Pa per 0 dBu"),
        ([Drive(4.0, "dBu"), Drive(-20.0, "dBFS")], "Pa per unit of drive"),
    ],
)
def test_the_unit_follows_the_drive(tmp_path: Path, drives: list[Drive], unit: str) -> None:
    two = responses(2)
    takes = tuple(
        dataclasses.replace(t, key=dataclasses.replace(t.key, drive=d))
        for t, d in zip(two.takes, drives, strict=True)
    )
    save_responses(tmp_path / "r.nc", dataclasses.replace(two, takes=takes))
    with xr.open_dataset(tmp_path / "r.nc") as data:
        assert data["pressure_im"].attrs["units"] == unit
        assert data["impulse_response"].attrs["units"] == unit


def curves(valid_from_hz: float = 300.0) -> CurveSet:
    """The specimen with what it lacks: missing and mirrored directions, takes in another order or none."""
    made = specimen.curve_set(valid_from_hz)
    power = made.curves[CurveName.SOUND_POWER]
    missing = (Direction(Orbit.VERTICAL, -10.0), Direction(Orbit.HORIZONTAL, 22.5))
    turned = dataclasses.replace(power, takes=power.takes[::-1], missing=missing)
    index = dataclasses.replace(made.curves[CurveName.SOUND_POWER_DI], takes=(), components_db={})
    changed = {**made.curves, CurveName.SOUND_POWER: turned, CurveName.SOUND_POWER_DI: index}
    flat = dataclasses.replace(made.coverage["horizontal"], mirrored_deg=(-170.0, -10.0))
    return dataclasses.replace(made, curves=changed, coverage={**made.coverage, "horizontal": flat})


def test_curves_come_back_exactly(tmp_path: Path) -> None:
    save_curves(tmp_path / "c.nc", curves())
    assert_same(load_curves(tmp_path / "c.nc"), curves())


def test_curves_without_anything_come_back(tmp_path: Path) -> None:
    bare = CurveSet(derived_grid(), "2.83 V", {})
    save_curves(tmp_path / "c.nc", bare)
    assert_same(load_curves(tmp_path / "c.nc"), bare)


def test_readings_and_what_the_orbits_differ_by_come_back(tmp_path: Path) -> None:
    made = curves()
    room = dataclasses.replace(made.curves[CurveName.ESTIMATED_IN_ROOM], reading="in-room weights on power")
    difference = np.where(made.frequency_hz > 300.0, 0.25, np.nan)
    told = dataclasses.replace(
        made,
        curves={**made.curves, CurveName.ESTIMATED_IN_ROOM: room},
        meeting_difference_db={"behind": difference},
    )
    save_curves(tmp_path / "c.nc", told)
    back = load_curves(tmp_path / "c.nc")
    assert_same(back, told)
    assert back.curves[CurveName.ESTIMATED_IN_ROOM].reading == "in-room weights on power"
    np.testing.assert_array_equal(back.meeting_difference_db["behind"], difference)


@pytest.mark.parametrize("engine", ENGINES)
def test_an_outsider_reads_curves(tmp_path: Path, engine: Any) -> None:
    save_curves(tmp_path / "c.nc", curves())
    with xr.open_dataset(tmp_path / "c.nc", engine=engine) as opened:
        data = opened.load()
    for name in CurveName:
        for variable in (name, f"{name}_valid", f"{name}_uncertainty"):
            assert data[variable].dims == ("frequency",)
    assert data["frequency"].attrs["units"] == "Hz"
    assert data["on_axis"].attrs["units"] == "dB re 20 µPa"
    assert data["sound_power_di"].attrs["units"] == "dB"
    assert data["on_axis"].attrs["source_document"] == "CTA-2034-A"
    assert data["on_axis"].attrs["valid_band_hz"][0] == pytest.approx(1000 * 2 ** (-166 / 96), rel=1e-12)
    # specimen: a straight trend of −0.95 dB per octave through 84 dB at 1 kHz, so 82.1 dB at 4 kHz (k = 192)
    assert float(data["estimated_in_room_trend"].sel(frequency=4000.0)) == pytest.approx(82.1, abs=1e-9)
    valid = data["on_axis_valid"].values.astype(bool)
    np.testing.assert_array_equal(valid, data["frequency"].values >= 300.0)
    np.testing.assert_array_equal(np.isfinite(data["on_axis"].values), valid)
    known = data["component_uncertainty"].sel(curve="on_axis", component="microphone")
    np.testing.assert_array_equal(known.values[valid], 0.3)
    stated = data["component_stated"].sel(curve="on_axis")
    words = stated.attrs["flag_meanings"].split()
    assert words[int(stated.sel(component="repeat"))] == "not_stated"
    assert words[int(stated.sel(component="noise"))] == "not_applicable"
    rests = data["curve_rests_on"].sel(curve="sound_power", take=str(specimen.TAKES[-1]))
    assert int(rests) == 1
    assert data["coverage_horizontal"].dims == ("angle_horizontal", "frequency")
    # specimen: −6 dB · (45/90)² at 300 Hz and below
    assert float(data["coverage_horizontal"].sel(angle_horizontal=40.0).values[valid][0]) == pytest.approx(
        -6 * (40 / 90) ** 2, rel=5e-3
    )
    assert all("units" in v.attrs and "long_name" in v.attrs for v in data.variables.values())


SAVE = """
import sys; from pathlib import Path
sys.path[:0] = sys.argv[2:]
import test_datasets as t
t.save_responses(Path(sys.argv[1]) / "r.nc", t.responses())
t.save_curves(Path(sys.argv[1]) / "c.nc", t.curves())
"""


def test_the_same_data_give_the_same_bytes_in_another_process_later(tmp_path: Path) -> None:
    save_responses(tmp_path / "here_r.nc", responses())
    save_curves(tmp_path / "here_c.nc", curves())
    time.sleep(1.1)  # a file time in whole seconds would show
    places = [str(Path(__file__).parent), str(Path(__file__).parents[1])]
    subprocess.run([sys.executable, "-c", SAVE, str(tmp_path), *places], check=True)
    for name in ("r.nc", "c.nc"):
        one, other = ((tmp_path / n).read_bytes() for n in (name, f"here_{name}"))
        assert hashlib.sha256(one).digest() == hashlib.sha256(other).digest()


@pytest.mark.parametrize("content", [None, b"", b"no netCDF", b"\x89HDF\r\n\x1a\n" + b"\0" * 100])
def test_refuses_what_no_build_wrote(tmp_path: Path, content: bytes | None) -> None:
    path = tmp_path / "responses.nc"
    if content is not None:
        path.write_bytes(content)
    for load in (load_responses, load_curves):
        with pytest.raises(IntegrityError, match=r"build/responses\.nc: isn't .*; build again"):
            load(path)


def test_how_waves_were_told_apart_comes_back(tmp_path: Path) -> None:
    given = dataclasses.replace(responses(), told_apart=told_apart())
    save_responses(tmp_path / "responses.nc", given)
    assert_same(load_responses(tmp_path / "responses.nc"), given)


def test_refuses_curves_as_responses(tmp_path: Path) -> None:
    save_curves(tmp_path / "responses.nc", curves())
    with pytest.raises(IntegrityError, match="isn't what a build writes"):
        load_responses(tmp_path / "responses.nc")


@pytest.mark.parametrize("order", [slice(None, -1), slice(None, None, -1)], ids=["fewer", "another order"])
def test_refuses_curves_of_a_version_with_other_components(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, order: slice
) -> None:
    every = tuple(ComponentName)
    with monkeypatch.context() as patched:
        patched.setattr("earwitness.case.curve_files._COMPONENTS", every[order])
        save_curves(tmp_path / "curves.nc", curves())
    with pytest.raises(IntegrityError, match=r"build/curves\.nc: isn't what a build writes; build again"):
        load_curves(tmp_path / "curves.nc")
