"""The plan of a case: names that are recognised, the order, and what it does to ears and amplifier."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from arriving import arrived

from earwitness.case.drives import parse_drive
from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.case.takes import write_takes
from earwitness.measurement.recognise import recognise
from earwitness.methods.iec_60268_5 import LEAST_PART_OF_RATED
from earwitness.pipeline.loudness import Exposure, Sensitivity, allowed_text
from earwitness.pipeline.plan import Plan, plan_of
from earwitness.pipeline.shots import Wanted
from earwitness.records.errors import CallError
from earwitness.records.takes import Drive, Orbit, Take, TakeKind

FACTS = """\
[unit]
name = "Bench"
rated_impedance_ohm = 8.0
{more}
[[unit.radiators]]
name = "woofer"
diameter_m = 0.13
[[unit.radiators]]
name = "port"
diameter_m = 0.05
up_m = -0.2
[rig]
distance_m = 2.0
"""


def case_of(tmp_path: Path, more: str = "") -> CaseFolder:
    return new_case(tmp_path / "case", "Bench", {"case.toml": FACTS.format(more=more)})


def planned(tmp_path: Path, wanted: Wanted | None = None, more: str = "") -> Plan:
    return plan_of(case_of(tmp_path, more).root, wanted or Wanted())


LEVELS = (Drive(11.3), Drive(5.66), Drive(0.9))


@pytest.mark.parametrize(
    ("wanted", "more", "count"),
    [
        # two quiet takes, two near fields, two orbits of 36 steps of 10°, and the first again
        (Wanted(), "", 77),
        (Wanted(levels=LEVELS), "", 80),
        # a woofer that is the same as another is measured with it
        (
            Wanted(),
            '[[unit.radiators]]\nname = "low"\ndiameter_m = 0.13\nup_m = -0.3\nsame_as = "woofer"',
            77,
        ),
        # 48 steps of 7.5°, with a point in the name
        (Wanted(step_deg=7.5, levels=LEVELS), "", 104),
        # one side: 19 directions instead of 36
        (Wanted(), 'symmetry = ["left-right", "up-down"]', 43),
        # an active one's own noise besides
        (Wanted(drive=Drive(-30.0, "dBFS"), levels=(Drive(-12.5, "dBFS"),)), "active = true", 79),
    ],
)
def test_every_name_is_recognised_as_what_is_planned(
    tmp_path: Path, wanted: Wanted, more: str, count: int
) -> None:
    plan = planned(tmp_path, wanted, more)
    names = [shot.name for shot in plan.shots]
    assert len(names) == count
    found = {r.path: r for r in recognise(arrived("stimulus.wav", *names), radiators=["woofer", "port"])}
    assert [line for name in names for line in found[name].doubts] == []
    keys = {name: found[name].take for name in names}
    assert {n: t.key for n, t in keys.items() if t} == {shot.name: shot.key for shot in plan.shots}
    (noise, calibrator) = (keys["noise.wav"], keys["calibrator_94.wav"])
    assert noise is not None
    assert calibrator is not None
    assert calibrator.level_db == 94.0


def test_the_names_pass_through_add_one_by_one(tmp_path: Path) -> None:
    """A name says enough alone too: the signs of a set are no help."""
    for shot in planned(tmp_path, Wanted(levels=LEVELS)).shots:
        found = recognise(arrived("stimulus.wav", shot.name), radiators=["woofer", "port"])
        (take,) = [one.take for one in found if one.path == shot.name]
        assert take is not None, shot.name
        assert take.key == shot.key


def test_quiet_first_and_the_greatest_output_last_and_the_first_again(tmp_path: Path) -> None:
    plan = planned(tmp_path, Wanted(levels=LEVELS))
    kinds = [shot.key.kind for shot in plan.shots]
    assert kinds[:4] == [TakeKind.NOISE, TakeKind.CALIBRATOR, TakeKind.NEAR_FIELD, TakeKind.NEAR_FIELD]
    assert set(kinds[4:]) == {TakeKind.SWEEP}
    last = [shot.key for shot in plan.shots[-4:]]
    assert [key.drive.value for key in last if key.drive] == [0.9, 5.66, 11.3, 2.83]
    first = next(shot.key for shot in plan.shots if shot.key.kind is TakeKind.SWEEP)
    assert (last[-1].direction, last[-1].drive, last[-1].repeat) == (first.direction, first.drive, 2)


def test_orbits_go_once_round(tmp_path: Path) -> None:
    plan = planned(tmp_path)
    for orbit in Orbit:
        angles = [
            s.key.direction.angle_deg
            for s in plan.shots
            if s.key.direction and s.key.direction.orbit is orbit
        ]
        orbit_only = angles[:36]
        assert sorted(orbit_only) == [float(a) for a in range(-170, 190, 10)]
        turned = np.diff(np.array(orbit_only) % 360.0)
        assert set(turned.tolist()) == {10.0}


def test_times_add_up(tmp_path: Path) -> None:
    plan = planned(tmp_path, Wanted(sweep_s=10.0, turn_s=20.0, setup_s=60.0))
    # 75 sweeps of 10 s, 77 turns of 20 s, 5 set-ups of 60 s, 30 s of noise and 10 s of calibrator
    assert plan.plays_s == 750.0
    assert plan.takes_s == 750.0 + 77 * 20.0 + 300.0 + 40.0


def test_what_a_drive_does(tmp_path: Path) -> None:
    wanted = Wanted(levels=(Drive(28.3), Drive(8.0)), sensitivity_db=88.0, amplifier_v=40.0, operator_m=4.0)
    lines = {line.drive.value: line for line in planned(tmp_path, wanted).drives}
    assert sorted(lines) == [0.283, 2.83, 8.0, 28.3]
    at_8 = lines[8.0]
    # P = U²/R: 64 V² into 8 Ω are 8 W, into 0.8 · 8 Ω = 6.4 Ω 10 W; 40 V over 8 V are 13.98 dB
    assert at_8.rated_w == pytest.approx(8.0)
    assert at_8.minimum_w == pytest.approx(10.0)
    assert at_8.headroom_db == pytest.approx(13.9794, abs=1e-4)
    loud = lines[28.3]
    # 88 dB for 2.83 V, 20 dB more for ten times that; 12.04 dB less at 4 m
    assert loud.level_db == pytest.approx(108.0)
    assert loud.operator_db == pytest.approx(108.0 - 12.0412, abs=1e-4)
    # NIOSH 98-126: T = 8 h/2^((108 − 85)/3) = 8 h/203.19
    assert loud.allowed_h == pytest.approx(8.0 / 203.187, rel=1e-5)


def test_the_dose_of_the_whole(tmp_path: Path) -> None:
    """By hand: 73 sweeps of 60 s at 2.83 V and 94 dB are 73 min, of which NIOSH allows 60 (FACTS §16)."""
    plan = planned(tmp_path, Wanted(sweep_s=60.0, sensitivity_db=94.0, operator_m=2.0))
    assert plan.at_one_metre is not None
    # two near fields 20 dB below: 2 min of 60·2^(20/3) min
    assert plan.at_one_metre.dose == pytest.approx(73.0 / 60.0 + 2.0 / (60.0 * 2.0 ** (20.0 / 3.0)), rel=1e-9)
    # L_EX,8h = 94 + 10 lg(73.02/480)
    assert plan.at_one_metre.daily_db == pytest.approx(94.0 + 10.0 * np.log10(73.02 / 480.0), abs=1e-9)
    assert plan.at_one_metre.verdict == "over the upper action value of 85 dB"
    assert plan.at_operator is not None
    assert plan.at_operator.daily_db == pytest.approx(plan.at_one_metre.daily_db - 6.0206, abs=1e-4)


@pytest.mark.parametrize(
    ("level", "hours", "told"),
    [
        (87.1, 8.0, "over the limit of 87 dB"),
        (86.9, 8.0, "over the upper action value of 85 dB"),
        (84.9, 8.0, "over the lower action value of 80 dB"),
        (79.9, 8.0, "under the lower action value of 80 dB"),
        # a sine of 132 dB has peaks of 135.01 dB, over 112 Pa (134.964 dB)
        (132.0, 1e-3 / 3600.0, "its peaks are over the lower action value of 112 Pa"),
        (131.9, 1e-3 / 3600.0, "under the lower action value of 80 dB"),
    ],
)
def test_values_of_the_directive(level: float, hours: float, told: str) -> None:
    assert Exposure.of({level: 3600.0 * hours}).verdict == told


@pytest.mark.parametrize(
    ("level", "told"),
    [(70.0, "all day"), (85.0, "8 h"), (94.0, "1 h"), (97.0, "30 min"), (100.0, "15 min"), (115.0, "28 s")],
)
def test_times_of_niosh(level: float, told: str) -> None:
    """NIOSH 98-126, table of times (read); 115 dB: 28 s."""
    assert allowed_text(level) == told


def test_the_least_impedance_of_the_standard() -> None:
    # IEC 60268-5 clause 16 (recalled): 8 Ω → 6.4, 6 → 4.8, 4 → 3.2
    assert [LEAST_PART_OF_RATED * ohm for ohm in (8.0, 6.0, 4.0)] == pytest.approx([6.4, 4.8, 3.2])


def test_what_is_assumed_says_so(tmp_path: Path) -> None:
    plan = planned(tmp_path)
    assert plan.sensitivity is not None
    assert plan.sensitivity.label == "90 dB at 1 m for 2.83 V (assumed)"
    assert plan.minimum_is.startswith("assumed")
    stated = plan_of(tmp_path / "case", Wanted(sensitivity_db=85.5, minimum_ohm=3.0))
    assert stated.sensitivity is not None
    assert (stated.sensitivity.origin, stated.minimum_is) == ("stated", "stated")
    assert Sensitivity(90.0, Drive(-20.0, "dBFS"), "stated").at(Drive(-6.0, "dBFS")) == pytest.approx(104.0)


def test_an_active_loudspeaker_is_assumed_nothing_of(tmp_path: Path) -> None:
    plan = planned(tmp_path, Wanted(drive=Drive(-30.0, "dBFS")), "active = true")
    assert plan.sensitivity is None
    assert plan.at_one_metre is None
    assert plan.drives[-1].rated_w is None
    assert "give --sensitivity" in plan.cautions[0]
    assert "one hour a day at 94 dB(A)" in plan.cautions[0]
    heard = plan_of(tmp_path / "case", Wanted(drive=Drive(-30.0, "dBFS"), sensitivity_db=80.0))
    assert [line.level_db for line in heard.drives] == [60.0, 80.0]


def test_levels_at_an_analogue_input_rise_as_decibels(tmp_path: Path) -> None:
    wanted = Wanted(drive=Drive(-10.0, "dBu"), levels=(Drive(4.0, "dBu"),), sensitivity_db=80.0)
    plan = planned(tmp_path, wanted, "active = true")
    found = [(line.drive.label, line.level_db) for line in plan.drives]
    assert found == [("−30 dBu", 60.0), ("−10 dBu", 80.0), ("4 dBu", 94.0)]
    # NIOSH 98-126: an hour at 94 dB(A)
    assert plan.drives[-1].allowed_h == pytest.approx(1.0)
    assert "horizontal_+000_4dBu.wav" in [shot.name for shot in plan.shots]


def test_what_is_there_is_ticked(tmp_path: Path) -> None:
    case = case_of(tmp_path)
    (case.raw / "mine.wav").write_bytes(b"")
    key = next(
        shot.key for shot in plan_of(case.root, Wanted()).shots if shot.name == "horizontal_-030_2.83V.wav"
    )
    write_takes(case, [Take("mine.wav", key)])
    assert [s.name for s in plan_of(case.root, Wanted()).shots if s.there] == ["horizontal_-030_2.83V.wav"]


@pytest.mark.parametrize(
    ("wanted", "more", "told"),
    [
        (Wanted(step_deg=7.0), "", "steps of 7° don't come to 180°"),
        (Wanted(step_deg=float("nan")), "", "steps of nan°"),
        (Wanted(step_deg=0.0), "", "steps of 0°"),
        (Wanted(levels=(Drive(20.0),), amplifier_v=10.0), "", "20 V is 6.0 dB over the 10 V"),
        (Wanted(levels=(Drive(-20.0, "dBFS"),)), "", "−20 dBFS isn't in V, as 2.83 V is"),
        (Wanted(drive=Drive(-20.0, "dBFS")), "", "case.toml says that it is passive; give it in V"),
        (
            Wanted(drive=Drive(2.83)),
            "active = true",
            "case.toml says that it is active; give it in dBFS or dBu",
        ),
        (Wanted(), "active = true", "isn't assumed; give --drive"),
        (Wanted(drive=Drive(3.0, "dBFS")), "active = true", "3 dBFS is above digital full scale"),
        (Wanted(operator_m=0.0), "", "an operator at 0 m"),
        (Wanted(sweep_s=-1.0), "", "-1 s can't be what a stimulus takes"),
        (Wanted(sensitivity_db=200.0), "", "--sensitivity 200 isn't from 40 to 130"),
        (Wanted(amplifier_v=float("inf")), "", "--amplifier inf"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_one_line(
    tmp_path: Path, wanted: Wanted, more: str, told: str
) -> None:
    with pytest.raises(CallError) as refused:
        planned(tmp_path, wanted, more)
    assert told in str(refused.value)
    assert "\n" not in str(refused.value)


def test_drives_in_names_read_back(tmp_path: Path) -> None:
    for shot in planned(tmp_path, Wanted(drive=Drive(2.0), levels=(Drive(0.05),))).shots:
        if shot.key.drive is not None:
            assert parse_drive(shot.name.removesuffix(".wav").rsplit("_", 1)[1]) == shot.key.drive


def test_a_fast_sweep_is_remarked_on_where_levels_are_wanted(tmp_path: Path) -> None:
    fast, slow = (
        planned(tmp_path / name, Wanted(levels=(Drive(5.66),), sweep_s=seconds))
        for name, seconds in (("fast", 4.0), ("slow", 10.0))
    )
    assert any("4 s is fast for levels" in remark for remark in fast.remarks)
    assert not any("fast for levels" in remark for remark in slow.remarks)
