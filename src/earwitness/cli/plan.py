"""`earwitness plan`."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from earwitness.cli import plan_options as options
from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import print_json
from earwitness.records.errors import CallError

if TYPE_CHECKING:
    from earwitness.pipeline.plan import Plan
    from earwitness.records.takes import Drive


def plan(
    *,
    case: CaseArgument,
    drive: options.DriveOption = None,
    near: options.NearOption = None,
    level: options.LevelOption = None,
    endurance: options.EnduranceOption = None,
    endurance_s: options.EnduranceSecondsOption = 285.0,
    step: options.StepOption = 10.0,
    sweep: options.SecondsOption = 11.5,
    turn: options.TurnOption = 15.0,
    setup: options.SetupOption = 5.0,
    operator: options.OperatorOption = 3.0,
    sensitivity: options.SensitivityOption = None,
    minimum: options.MinimumOption = None,
    amplifier: options.AmplifierOption = None,
    to: options.ToOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what to record, in which order, and how loud it is.

    A sheet to tick off: quiet work first, greatest output last, the first take again at the end. Its names
    are recognised by `earwitness add`. Exposure, power and headroom are worked out for each drive. Protect
    your ears; local law and qualified people come first.
    """
    from earwitness.cli.plan_sheet import sheet_of
    from earwitness.pipeline.plan import plan_of
    from earwitness.pipeline.shots import Wanted

    wanted = Wanted(
        drive=_drive("--drive", drive),
        near=_drive("--near", near),
        levels=tuple(found for text in level or () if (found := _drive("--level", text)) is not None),
        endurance=_drive("--endurance", endurance),
        endurance_s=endurance_s,
        step_deg=step,
        sweep_s=sweep,
        turn_s=turn,
        setup_s=60.0 * setup,
        operator_m=operator,
        sensitivity_db=sensitivity,
        minimum_ohm=minimum,
        amplifier_v=amplifier,
    )
    planned = plan_of(case, wanted)
    sheet = "\n".join(sheet_of(planned)) + "\n"
    if to is not None:
        _write(to, sheet)
    if as_json:
        print_json(_as_plain(planned, to))
        return
    print(sheet, end="")
    if to is not None:
        print(f"\nwritten to {to}")


def _drive(option: str, text: str | None) -> Drive | None:
    from earwitness.case.drives import parse_drive

    if text is None:
        return None
    found = parse_drive(text)
    if found is None:
        raise CallError(f"{option} {text!r} is no drive; write it like 2.83V, -20dBFS or +4dBu")
    return found


def _write(to: Path, sheet: str) -> None:
    from earwitness.case.durable import write_atomically

    if to.is_dir() or not to.absolute().parent.is_dir():
        raise CallError(f"--to {to}: no file can be there; give the name of one in a folder that is")
    write_atomically(to, sheet.encode("utf-8"))


def _as_plain(plan: Plan, to: Path | None) -> dict[str, object]:
    exposures = {"one_metre": plan.at_one_metre, "operator": plan.at_operator}
    return {
        "loudspeaker": plan.loudspeaker,
        "takes_s": plan.takes_s,
        "plays_s": plan.plays_s,
        "sensitivity": None if plan.sensitivity is None else asdict(plan.sensitivity),
        "operator_m": plan.operator_m,
        "exposure": {
            place: None if found is None else {**asdict(found), "verdict": found.verdict}
            for place, found in exposures.items()
        },
        "rated_ohm": plan.rated_ohm,
        "minimum_ohm": plan.minimum_ohm,
        "amplifier_v": plan.amplifier_v,
        "drives": [{**asdict(line), "drive": line.drive.label} for line in plan.drives],
        "blocks": [
            {
                "title": block.title,
                "before": block.before,
                "takes_s": block.takes_s,
                "recordings": [
                    {
                        "file": shot.name,
                        "what": shot.key.label,
                        "drive": None if shot.key.drive is None else shot.key.drive.label,
                        "plays_s": shot.plays_s,
                        "takes_s": shot.takes_s,
                        "there": shot.there,
                    }
                    for shot in block.shots
                ],
            }
            for block in plan.blocks
        ],
        "cautions": plan.cautions,
        "remarks": plan.remarks,
        "written": None if to is None else str(to),
    }
