"""From recordings at several drives to pressures at 1 m: closed forms through a filter, in a room."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from made_harmonics import PolynomialLoudspeaker
from made_recordings import FULL_SCALE_PA, LOUDSPEAKER, RATE, Bench, delayed

from earwitness.acoustics.sweeps import sweep_rate_s
from earwitness.case.level_files import load_levels, save_levels
from earwitness.measurement.deconvolution import deconvolve
from earwitness.measurement.levels import level_series
from earwitness.measurement.reduction import reduce
from earwitness.records.distortion import LevelSeries
from earwitness.records.facts import CaseFacts, Rig, Unit
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind

POLYNOMIAL = {1: 0.14, 2: 0.0005, 3: 0.0001}
VOLTS = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
DISTANCE_M = 2.0


def recorded(folder: Path, echo: float = 0.0) -> tuple[list[Take], tuple[LevelSeries, ...]]:
    """Six drives on axis: Pa = 0.14·x + 0.0005·x² + 0.0001·x³ of volts at 1 m, through a band-pass."""
    bench = Bench(folder, sweep_s=3.0)
    stimulus, rate_s = bench.stimulus(), sweep_rate_s(15.0, 22_000.0, 3.0)
    takes = [
        Take(stimulus, TakeKey(TakeKind.STIMULUS)),
        Take(bench.calibrator(), TakeKey(TakeKind.CALIBRATOR), level_db=94.0),
    ]
    for volts in VOLTS:
        sound = PolynomialLoudspeaker(POLYNOMIAL, LOUDSPEAKER).recorded(
            15.0, rate_s, rate_s * np.log(22_000.0 / 15.0), volts * np.sqrt(2.0), silence=(0.0, 0.5)
        )
        heard = delayed(sound, 0.01) + echo * delayed(sound, 0.018)
        name = f"{volts:g}V.wav"
        soundfile.write(folder / name, heard / DISTANCE_M / FULL_SCALE_PA, RATE, subtype="FLOAT")
        key = TakeKey(TakeKind.SWEEP, Direction(Orbit.HORIZONTAL, 0.0), Drive(volts))
        takes.append(Take(name, key, stimulus=stimulus))
    facts = CaseFacts(unit=Unit(name="Made up"), rig=Rig(distance_m=DISTANCE_M))
    heard_by_take = {take.id: response for take, response in deconvolve(folder, takes)}
    responses = reduce(facts, takes, heard_by_take, folder)
    return takes, level_series(facts, takes, heard_by_take, responses, folder)


@pytest.mark.parametrize("echo", [0.0, 0.5])
def test_each_order_at_one_metre_at_each_drive(tmp_path: Path, echo: float) -> None:
    """Power identities; an echo 8 ms later, half as strong, is gone where the gate tells the free field."""
    _, (series,) = recorded(tmp_path, echo)
    assert [drive.value for drive in series.drives] == list(VOLTS)
    assert series.radiator is None
    loudspeaker = PolynomialLoudspeaker(POLYNOMIAL, LOUDSPEAKER)
    f = np.asarray(series.frequency_hz, dtype=np.float64)
    some = (f > 700.0) & (f < 5_000.0)
    assert series.free_field[:3, some].all()
    for row, volts in enumerate(VOLTS):
        true = loudspeaker.orders(volts * np.sqrt(2.0)) / np.sqrt(2.0)
        # the free field is that of the lowest drive
        small = loudspeaker.orders(VOLTS[0] * np.sqrt(2.0))[1] / (VOLTS[0] * np.sqrt(2.0))
        assert small == pytest.approx(0.14, rel=1e-3)
        for order in (1, 2, 3):
            expected = true[order] * loudspeaker.gain(order * f[some])
            told = np.abs(series.pressure[row, order - 1, some])
            if order > 1 and 20.0 * np.log10(true[order] / true[1]) < -80.0:
                continue
            assert np.max(np.abs(20.0 * np.log10(told / expected))) < 0.15


def test_a_series_is_kept_exactly(tmp_path: Path) -> None:
    _, series = recorded(tmp_path)
    save_levels(tmp_path / "distortion.nc", series)
    (again,) = load_levels(tmp_path / "distortion.nc")
    (one,) = series
    assert (again.radiator, again.takes, again.drives) == (one.radiator, one.takes, one.drives)
    assert (again.order, again.notes) == (one.order, one.notes)
    for name in ("frequency_hz", "pressure", "noise_power", "valid", "free_field"):
        assert np.array_equal(getattr(again, name), getattr(one, name), equal_nan=name == "noise_power")


def test_no_series_is_a_file_too(tmp_path: Path) -> None:
    save_levels(tmp_path / "distortion.nc", ())
    assert load_levels(tmp_path / "distortion.nc") == ()
