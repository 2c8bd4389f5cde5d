"""What to record of a loudspeaker, in which order: quiet work first, the greatest output last.

Each recording has a name that `earwitness add` recognises, a length, a drive, and what that does to ears,
amplifier and loudspeaker.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import read_facts
from earwitness.case.takes import read_takes
from earwitness.methods.hearing_exposure import niosh_hours_a_day
from earwitness.methods.iec_60268_5 import LEAST_PART_OF_RATED, REFERENCE_VOLTAGE_V
from earwitness.pipeline.loudness import Exposure, Sensitivity, allowed_text, sensitivity_of
from earwitness.pipeline.shots import Block, Planner, Shot, Wanted
from earwitness.records.errors import CallError
from earwitness.records.facts import CaseFacts
from earwitness.records.takes import Drive

#: A near field is driven so much less than the orbits where nothing else is stated.
NEAR_PART: Final = 0.1
#: Of shorter stimuli a plan says that a loudspeaker may not settle: harmonics of a vented box of the virtual
#: workshop are off by up to 22 dB about its tuning with 3 s, by up to 3 dB with 12 s.
SETTLED_SWEEP_S: Final = 10.0
_STEPS_DEG: Final = (1.0, 90.0)
_DISTANCES_M: Final = (0.3, 100.0)
_MOST_S: Final = 3600.0


@dataclass(frozen=True, slots=True)
class DriveLine:
    """What one drive does. Levels are None where no sensitivity is known, the rest where it is no voltage."""

    drive: Drive
    shots: int
    plays_s: float
    level_db: float | None
    operator_db: float | None
    allowed_h: float | None
    rated_w: float | None
    minimum_w: float | None
    headroom_db: float | None


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan, worked out. Exposures are None where no sensitivity is known."""

    loudspeaker: str
    blocks: tuple[Block, ...]
    drives: tuple[DriveLine, ...]
    sensitivity: Sensitivity | None
    operator_m: float
    at_one_metre: Exposure | None
    at_operator: Exposure | None
    rated_ohm: float | None
    minimum_ohm: float | None
    minimum_is: str
    amplifier_v: float | None
    remarks: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def shots(self) -> tuple[Shot, ...]:
        """All recordings in their order."""
        return tuple(shot for block in self.blocks for shot in block.shots)

    @property
    def takes_s(self) -> float:
        """How long the whole takes, turning and putting up too."""
        return sum(block.takes_s for block in self.blocks)

    @property
    def plays_s(self) -> float:
        """How long stimuli play in all."""
        return sum(shot.plays_s for shot in self.shots if shot.is_sound)


def plan_of(root: Path, wanted: Wanted) -> Plan:
    """The plan for the case at `root`.

    Raises
    ------
    CallError
        A number can't be, a drive has the wrong unit or is over the amplifier's limit.
    CaseError
        The case's files can't be understood.
    """
    case = CaseFolder.open(root)
    facts = read_facts(case)
    _require_possible(wanted)
    drive = _drive(wanted, facts)
    if wanted.near is not None and not facts.unit.radiators:
        raise CallError(
            f"--near {wanted.near.label}: case.toml names no radiators, so no near field is planned; name "
            "them under unit.radiators, or leave --near out"
        )
    near = wanted.near or _weaker(drive)
    endurance = () if wanted.endurance is None else (wanted.endurance,)
    for one in (near, *wanted.levels, *endurance):
        if one.unit != drive.unit:
            raise CallError(
                f"{one.label} isn't in {drive.unit}, as {drive.label} is; give all drives in one unit"
            )
    _require_gives(wanted, (drive, near, *wanted.levels, *endurance))
    there = frozenset(take.key for take in read_takes(case))
    blocks = tuple(block for block in Planner(facts, wanted, drive, near, there).blocks() if block.shots)
    sensitivity = sensitivity_of(case, wanted.sensitivity_db, drive)
    rated = None if drive.in_decibels else facts.unit.rated_impedance_ohm
    minimum, minimum_is = _minimum(wanted, rated)
    shots = [shot for block in blocks for shot in block.shots]
    lines = tuple(_lines(shots, sensitivity, wanted, rated, minimum))
    return Plan(
        loudspeaker=facts.unit.name,
        blocks=blocks,
        drives=lines,
        sensitivity=sensitivity,
        operator_m=wanted.operator_m,
        at_one_metre=_exposure([(line.level_db, line.plays_s) for line in lines]),
        at_operator=_exposure([(line.operator_db, line.plays_s) for line in lines]),
        rated_ohm=rated,
        minimum_ohm=minimum,
        minimum_is=minimum_is,
        amplifier_v=wanted.amplifier_v,
        remarks=tuple(_remarks(facts, wanted, drive)),
        cautions=tuple(_cautions(lines, drive)),
    )


def _require_possible(wanted: Wanted) -> None:
    low, high = _STEPS_DEG
    step = wanted.step_deg
    if not low <= step <= high or abs(180.0 / step - round(180.0 / step)) > 1e-9:
        raise CallError(f"steps of {step:g}° don't come to 180°; give 5, 10, 15 or another part of it")
    for what, value, least in (
        ("a stimulus", wanted.sweep_s, 0.1),
        ("a run", wanted.endurance_s, 0.1),
        ("a turn", wanted.turn_s, 0.0),
        ("putting up", wanted.setup_s, 0.0),
    ):
        if not least <= value <= _MOST_S:
            raise CallError(f"{value:g} s can't be what {what} takes; give {least:g} to {_MOST_S:g} s")
    near, far = _DISTANCES_M
    if not near <= wanted.operator_m <= far:
        raise CallError(f"an operator at {wanted.operator_m:g} m isn't from {near:g} to {far:g} m away")
    for option, number, limits in (
        ("--sensitivity", wanted.sensitivity_db, (40.0, 130.0)),
        ("--minimum-impedance", wanted.minimum_ohm, (0.1, 1000.0)),
        ("--amplifier", wanted.amplifier_v, (0.01, 1000.0)),
    ):
        if number is not None and not limits[0] <= number <= limits[1]:
            raise CallError(f"{option} {number:g} isn't from {limits[0]:g} to {limits[1]:g}")


def _drive(wanted: Wanted, facts: CaseFacts) -> Drive:
    """The drive of the orbits: stated, or 2.83 V for a passive loudspeaker."""
    if wanted.drive is None:
        if facts.unit.active:
            raise CallError(
                "an active loudspeaker's drive isn't assumed; give --drive, such as -30dBFS or -10dBu"
            )
        return Drive(REFERENCE_VOLTAGE_V)
    if facts.unit.active == (wanted.drive.unit == "V"):
        kind, unit = ("active", "dBFS or dBu") if facts.unit.active else ("passive", "V")
        raise CallError(f"--drive {wanted.drive.label}: case.toml says that it is {kind}; give it in {unit}")
    return wanted.drive


def _weaker(drive: Drive) -> Drive:
    if drive.in_decibels:
        return Drive(round(drive.value + 20.0 * math.log10(NEAR_PART), 3), drive.unit)
    return Drive(float(f"{NEAR_PART * drive.value:.4g}"))


def _require_gives(wanted: Wanted, drives: Sequence[Drive]) -> None:
    for drive in drives:
        if drive.unit == "dBFS" and drive.value > 0.0:
            raise CallError(f"{drive.label} is above digital full scale; write the sign, as in -20dBFS")
        if wanted.amplifier_v is not None and drive.unit == "V" and drive.value > wanted.amplifier_v:
            over = 20.0 * math.log10(drive.value / wanted.amplifier_v)
            raise CallError(
                f"{drive.label} is {over:.1f} dB over the {wanted.amplifier_v:g} V that the amplifier gives; "
                "lower it: a clipping amplifier destroys tweeters"
            )


def _minimum(wanted: Wanted, rated_ohm: float | None) -> tuple[float | None, str]:
    if wanted.minimum_ohm is not None:
        return wanted.minimum_ohm, "stated"
    if rated_ohm is not None:
        return (
            LEAST_PART_OF_RATED * rated_ohm,
            "assumed: 0.8 of the rated one, the least that IEC 60268-5 lets",
        )
    return None, "not stated"


def _lines(
    shots: Sequence[Shot],
    sensitivity: Sensitivity | None,
    wanted: Wanted,
    rated_ohm: float | None,
    minimum_ohm: float | None,
) -> Iterator[DriveLine]:
    drives = {shot.key.drive for shot in shots if shot.key.drive is not None}
    for drive in sorted(drives, key=lambda one: one.value):
        of_it = [shot for shot in shots if shot.key.drive == drive]
        volts = drive.value if drive.unit == "V" else None
        level = None if sensitivity is None else sensitivity.at(drive)
        limit = wanted.amplifier_v
        yield DriveLine(
            drive=drive,
            shots=len(of_it),
            plays_s=sum(shot.plays_s for shot in of_it),
            level_db=level,
            operator_db=None if sensitivity is None else sensitivity.at(drive, wanted.operator_m),
            allowed_h=None if level is None else float(niosh_hours_a_day(level)),
            rated_w=None if volts is None or rated_ohm is None else volts**2 / rated_ohm,
            minimum_w=None if volts is None or minimum_ohm is None else volts**2 / minimum_ohm,
            headroom_db=None if volts is None or limit is None else 20.0 * math.log10(limit / volts),
        )


def _exposure(levels: Sequence[tuple[float | None, float]]) -> Exposure | None:
    known = {level: seconds for level, seconds in levels if level is not None}
    return Exposure.of(known) if known else None


def _remarks(facts: CaseFacts, wanted: Wanted, drive: Drive) -> Iterator[str]:
    if not facts.unit.radiators:
        yield "case.toml names no radiators, so no near fields are planned: the bass stays unknown."
    for side in facts.unit.symmetry:
        yield f"case.toml states {side} symmetry: one side of that orbit is left out."
    if not set(wanted.levels) - {drive}:
        yield "No levels are planned beside the orbits' own; give them with --level, one each."
    elif wanted.sweep_s < SETTLED_SWEEP_S:
        yield (
            f"A stimulus of {wanted.sweep_s:g} s is fast for levels: in the bass a loudspeaker may not "
            f"settle, and its harmonics there are less sure; {SETTLED_SWEEP_S:g} s or more tell them better."
        )
    if facts.rig.distance_m is None:
        yield "case.toml doesn't state rig.distance_m yet; a build needs it."


def _cautions(lines: Sequence[DriveLine], drive: Drive) -> Iterator[str]:
    loudest = lines[-1]
    if loudest.level_db is None:
        yield (
            f"How loud it plays can't be worked out: give --sensitivity, the level at 1 m at {drive.label} "
            "on a sound level meter. NIOSH allows one hour a day at 94 dB(A), fifteen minutes at 100 dB(A)."
        )
    else:
        yield (
            f"At {loudest.drive.label} it plays about {loudest.level_db:.0f} dB at 1 m, where NIOSH allows "
            f"{allowed_text(loudest.level_db)} a day without protection."
        )
    yield (
        "Levels are of the direct sound and taken as A-weighted; in a small or hard room count with the "
        "level at 1 m wherever you stand. Neither limit protects everybody."
    )
    yield "Leave the room or wear hearing protection while a stimulus plays, and warn whoever comes in."
    yield (
        "A steady signal heats voice coils and amplifiers more than music of the same peaks; bass below a "
        "port's tuning moves a cone freely. Start low, raise in steps, let it cool between loud takes."
    )
    yield "Local law and qualified people come first; only they open mains-powered equipment."
