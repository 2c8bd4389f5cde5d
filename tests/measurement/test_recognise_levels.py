"""Levels that can't be what they are taken for, and values that are of another kind than the name says."""

from __future__ import annotations

import numpy as np
import pytest

from earwitness.measurement.readers.contents import Contents, Form, LevelUnit, MeasuredResponse, Part, Placed
from earwitness.measurement.recognise import Arrived, recognise
from earwitness.measurement.recognition.levels import Levels, levels_of, oddest
from earwitness.records.takes import Drive, TakeKind

FREQUENCY = np.geomspace(20.0, 20_000.0, 301)


def subjects(name: str, level_db: float, unit: LevelUnit = LevelUnit.DB) -> set[str]:
    """The subjects of all doubts of a flat response of that level."""
    response = MeasuredResponse(FREQUENCY, np.full(FREQUENCY.size, level_db), None, unit)
    file = Arrived(name, Contents(Form.RESPONSES, (Part(),)), {"": levels_of(response)})
    (one,) = recognise([file], drive=Drive(2.83))
    assert (one.take is None) == bool(one.doubts)
    return {doubt.subject for doubt in one.doubts}


# 20 dB re 20 µPa is under the self-noise of most measurement microphones; 150 dB is beyond what a loudspeaker
# does at a metre; −12 dB is a level re full scale or re one on axis. Standing: common practice.
@pytest.mark.parametrize(
    ("level_db", "unit", "doubts"),
    [
        (85.0, LevelUnit.DB, set()),
        (21.0, LevelUnit.DB, set()),
        (19.0, LevelUnit.DB, {"level"}),
        (-12.0, LevelUnit.DB, {"level"}),
        (0.0, LevelUnit.DB, {"level"}),
        (149.0, LevelUnit.DB, set()),
        (151.0, LevelUnit.DB, {"level"}),
        (-12.0, LevelUnit.PASCAL, set()),
        (-12.0, LevelUnit.PASCAL_PER_DRIVE, set()),
        (56.0, LevelUnit.PASCAL, set()),
        (57.0, LevelUnit.PASCAL, {"level"}),
        (151.0, LevelUnit.SPL, {"level"}),
        (85.0, LevelUnit.RATIO, {"level"}),
        (21.0, LevelUnit.SPL, set()),
        (1.0, LevelUnit.SPL, {"level"}),
        # 20 dB re 20 µPa are −74 dB re 1 Pa; of a drive of 2.83 V each is 9 dB more
        (-73.0, LevelUnit.PASCAL, set()),
        (-75.0, LevelUnit.PASCAL, {"level"}),
        (-82.0, LevelUnit.PASCAL_PER_DRIVE, set()),
        (-84.0, LevelUnit.PASCAL_PER_DRIVE, {"level"}),
        (46.0, LevelUnit.PASCAL_PER_DRIVE, set()),
        (48.0, LevelUnit.PASCAL_PER_DRIVE, {"level"}),
        (18.0, LevelUnit.OHM, {"kind"}),
    ],
)
def test_a_response(level_db: float, unit: LevelUnit, doubts: set[str]) -> None:
    assert subjects("horizontal_+030.txt", level_db, unit) == doubts


@pytest.mark.parametrize(
    ("level_db", "unit", "doubts"),
    [
        (0.4, LevelUnit.DB, set()),
        (-5.9, LevelUnit.DB, set()),
        (-38.0, LevelUnit.DB, {"level"}),
        (84.0, LevelUnit.DB, {"level"}),
        (0.0, LevelUnit.SPL, {"kind"}),
        (0.4, LevelUnit.RATIO, set()),
        (-38.0, LevelUnit.RATIO, {"level"}),
    ],
)
def test_a_microphone(level_db: float, unit: LevelUnit, doubts: set[str]) -> None:
    assert subjects("microphone_calibration.txt", level_db, unit) == doubts


def test_ohms_are_an_impedance_where_the_name_says_nothing_else() -> None:
    assert subjects("impedance.txt", 18.0, LevelUnit.OHM) == set()
    assert subjects("impedance.txt", 88.0, LevelUnit.SPL) == {"kind"}
    response = MeasuredResponse(FREQUENCY, np.full(FREQUENCY.size, 18.0), None, LevelUnit.OHM)
    (one,) = recognise(
        [Arrived("export 3.txt", Contents(Form.RESPONSES, (Part(),)), {"": levels_of(response)})]
    )
    assert one.take is not None
    assert one.take.key.kind is TakeKind.IMPEDANCE


@pytest.mark.parametrize(
    ("distance_m", "level_db", "doubts"),
    [(2.0, 85.0, set()), (29.0, 85.0, set()), (200.0, 85.0, {"distance"}), (10.0, 131.0, {"distance"})],
)
def test_where_the_file_says_the_microphone_stood(
    distance_m: float, level_db: float, doubts: set[str]
) -> None:
    """131 dB from 10 m are 151 dB at 1 m; 200 "metres" are most likely centimetres."""
    level = np.full(FREQUENCY.size, level_db)
    response = MeasuredResponse(FREQUENCY, level, None, LevelUnit.SPL, placed=Placed(distance_m))
    file = Arrived("horizontal_+030.txt", Contents(Form.RESPONSES, (Part(),)), {"": levels_of(response)})
    (one,) = recognise([file], drive=Drive(2.83))
    assert {doubt.subject for doubt in one.doubts} == doubts


def test_of_many_parts_the_oddest_decides() -> None:
    levels = [Levels(LevelUnit.SPL, median) for median in (85.0, 86.0, 1.0, 84.0)]
    assert oddest(levels).median_db == 1.0
    assert oddest([]).median_db is None


def test_the_median_is_of_the_band_where_loudspeakers_play() -> None:
    level = np.where((FREQUENCY >= 300.0) & (FREQUENCY <= 3000.0), 80.0, -40.0)
    assert levels_of(MeasuredResponse(FREQUENCY, level, None)).median_db == 80.0
    bass = MeasuredResponse(FREQUENCY[:50], level[:50], None)
    assert levels_of(bass).median_db is None
