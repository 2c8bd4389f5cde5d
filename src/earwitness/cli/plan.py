"""`earwitness plan`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Annotated, Final

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import print_json
from earwitness.records.errors import CallError

if TYPE_CHECKING:
    from earwitness.pipeline.plan import DriveLine, Plan
    from earwitness.pipeline.shots import Shot
    from earwitness.records.takes import Drive

#: The width of a printed page.
_WIDTH: Final = 78
_NAME: Final = 44


def plan(
    *,
    case: CaseArgument,
    drive: Annotated[
        str | None,
        typer.Option(
            "--drive", metavar="DRIVE", help="Drive of the orbits; 2.83V where it isn't stated and passive."
        ),
    ] = None,
    near: Annotated[
        str | None,
        typer.Option("--near", metavar="DRIVE", help="Drive of near fields; 20 dB less if left out."),
    ] = None,
    level: Annotated[
        list[str] | None,
        typer.Option("--level", metavar="DRIVE", help="A drive to measure on axis too; may be given again."),
    ] = None,
    endurance: Annotated[
        str | None,
        typer.Option("--endurance", metavar="DRIVE", help="RMS of a load that lasts, to measure too."),
    ] = None,
    endurance_s: Annotated[
        float, typer.Option("--endurance-seconds", metavar="S", help="How long its file lasts.")
    ] = 285.0,
    step: Annotated[float, typer.Option("--step", metavar="DEG", help="Degrees between directions.")] = 10.0,
    sweep: Annotated[
        float, typer.Option("--seconds", metavar="S", help="How long a stimulus file lasts, silences too.")
    ] = 11.5,
    turn: Annotated[
        float, typer.Option("--turn", metavar="S", help="What turning and naming a file take, in seconds.")
    ] = 15.0,
    setup: Annotated[
        float, typer.Option("--setup", metavar="MIN", help="What putting everything up takes, in minutes.")
    ] = 5.0,
    operator: Annotated[
        float,
        typer.Option("--operator", metavar="M", help="How far from the loudspeaker you are, in metres."),
    ] = 3.0,
    sensitivity: Annotated[
        float | None,
        typer.Option(
            "--sensitivity",
            metavar="DB",
            help="Level at 1 m for 2.83 V, of an active one at --drive; else as built, or assumed.",
        ),
    ] = None,
    minimum: Annotated[
        float | None,
        typer.Option("--minimum-impedance", metavar="OHM", help="The loudspeaker's least impedance."),
    ] = None,
    amplifier: Annotated[
        float | None,
        typer.Option("--amplifier", metavar="V", help="Volts RMS that the amplifier gives without clipping."),
    ] = None,
    to: Annotated[
        Path | None, typer.Option("--to", metavar="FILE", help="Write the sheet there too, to be printed.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Say what to record, in which order, and how loud it is.

    A sheet to tick off: quiet work first, greatest output last, the first take again at the end. Its names
    are recognised by `earwitness add`. Exposure, power and headroom are worked out for each drive. Protect
    your ears; local law and qualified people come first.
    """
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


def sheet_of(plan: Plan) -> Iterator[str]:
    """The sheet as lines of text, no wider than a printed page."""
    from earwitness.records.errors import one_line

    shots = plan.shots
    yield from _wrapped(f"Plan for {one_line(plan.loudspeaker)}", "", "=")
    there = sum(shot.there for shot in shots)
    done = f", {there} of them there already" if there else ""
    yield f"{len(shots)} recordings{done}; {_time(plan.takes_s)} in all, {_time(plan.plays_s)} of it sound."
    yield from _wrapped("Each drive", "\n", "-")
    yield from _drives(plan)
    yield from _wrapped("Cautions", "\n", "-")
    for caution in plan.cautions:
        yield from wrap(caution, _WIDTH, initial_indent="! ", subsequent_indent="  ")
    for remark in plan.remarks:
        yield from wrap(remark, _WIDTH, initial_indent="* ", subsequent_indent="  ")
    started_s = 0.0
    for number, block in enumerate(plan.blocks, start=1):
        yield from _wrapped(f"{number}. {block.title} ({_time(block.takes_s)})", "\n", "-")
        yield from wrap(block.before, _WIDTH)
        yield ""
        started_s += block.setup_s
        for shot in block.shots:
            yield _shot(shot, started_s)
            started_s += shot.takes_s
    yield ""
    yield from wrap(
        "[x] is in the case already. The time is counted from the start. Then: earwitness add CASE FOLDER",
        _WIDTH,
    )


def _shot(shot: Shot, started_s: float) -> str:
    drive = shot.key.drive.label if shot.key.drive is not None else "silent"
    tick = "[x]" if shot.there else "[ ]"
    clock = f"{int(started_s // 3600)}:{int(started_s % 3600 // 60):02d}"
    return f"{tick} {shot.name:<{_NAME}} {drive:>10} {shot.plays_s:>6.1f} s {clock:>6}"


def _drives(plan: Plan) -> Iterator[str]:
    operator = f"{plan.operator_m:g} m"
    heads = ("drive", "takes", "plays", "1 m", operator, "NIOSH 1 m", "rated", "minimum", "headroom")
    yield _row(heads)
    for line in plan.drives:
        yield _row(_cells(line))
    yield ""
    sensitivity = "not known" if plan.sensitivity is None else plan.sensitivity.label
    yield f"Sensitivity: {sensitivity}."
    if plan.drives[0].drive.unit == "V":
        rated = "not stated in case.toml" if plan.rated_ohm is None else f"{plan.rated_ohm:g} ohm"
        least = "" if plan.minimum_ohm is None else f"{plan.minimum_ohm:g} ohm, "
        limit = "limit not stated" if plan.amplifier_v is None else f"{plan.amplifier_v:g} V without clipping"
        yield from wrap(f"Impedance: rated {rated}; minimum {least}{plan.minimum_is}.", _WIDTH)
        yield f"Amplifier: {limit}."
    for place, exposure in (("at 1 m", plan.at_one_metre), (f"at {operator}", plan.at_operator)):
        if exposure is not None:
            yield from wrap(
                f"Unprotected all through, {place}: {_percent(exposure.dose)} of a day's dose by NIOSH; "
                f"daily exposure level {exposure.daily_db:.0f} dB, {exposure.verdict} "
                "(Directive 2003/10/EC).",
                _WIDTH,
            )


def _cells(line: DriveLine) -> tuple[str, ...]:
    from earwitness.pipeline.loudness import allowed_text

    return (
        line.drive.label,
        str(line.shots),
        _time(line.plays_s),
        "-" if line.level_db is None else f"{line.level_db:.0f} dB",
        "-" if line.operator_db is None else f"{line.operator_db:.0f} dB",
        "-" if line.level_db is None else allowed_text(line.level_db),
        "-" if line.rated_w is None else _watts(line.rated_w),
        "-" if line.minimum_w is None else _watts(line.minimum_w),
        "-" if line.headroom_db is None else f"{line.headroom_db:.1f} dB",
    )


def _watts(watts: float) -> str:
    return f"{watts:.2g} W" if watts < 10.0 else f"{watts:.0f} W"


def _row(cells: tuple[str, ...]) -> str:
    widths = (10, 6, 8, 7, 7, 10, 8, 8, 9)
    return "".join(f"{cell:>{width}}" for cell, width in zip(cells, widths, strict=True))


def _wrapped(text: str, before: str, rule: str) -> Iterator[str]:
    """A heading with a rule below."""
    lines = wrap(text, _WIDTH)
    yield f"{before}{lines[0]}" if lines else before
    yield from lines[1:]
    yield rule * max(len(line) for line in lines)


def _time(seconds: float) -> str:
    minutes = seconds / 60.0
    if minutes < 1.0:
        return f"{seconds:.0f} s"
    if minutes < 100.0:
        return f"{minutes:.0f} min"
    return f"{int(minutes // 60.0)} h {minutes % 60.0:.0f} min"


def _percent(part: float) -> str:
    return f"{100.0 * part:.2g} %" if part < 1.0 else f"{100.0 * part:.0f} %"


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
