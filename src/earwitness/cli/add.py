"""`earwitness add`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import is_terminal, print_json, print_table, progress_bar
from earwitness.records.errors import CallError, FileError

if TYPE_CHECKING:
    from earwitness.pipeline.intake import Accepted, Intake
    from earwitness.records.takes import Take


def add(
    case: CaseArgument,
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE_OR_FOLDER...", help="Raw files; of a folder, everything below it."),
    ],
    drive: Annotated[
        str | None,
        typer.Option(
            "--drive",
            metavar="DRIVE",
            help="Drive of the files whose name has none: 2.83V (RMS at the terminals) or -20dBFS.",
        ),
    ] = None,
    yes: Annotated[
        bool,
        typer.Option("--yes", help="Accept what is recognised; never an ambiguous sign, plane or drive."),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Add raw files; show what they were recognised as.

    Asks before anything is added; --yes answers, and with --json nobody is asked. All files are added or
    none.
    """
    from earwitness.pipeline.intake import accept, look_at

    with progress_bar(quiet=as_json) as progress:
        intake = look_at(case, files, drive=drive, progress=progress)
    if as_json and (intake.doubts or not (yes or intake.changes_nothing)):
        _refuse_as_json(intake)
    if not (as_json or intake.changes_nothing):
        _show(intake)
    intake.require_no_doubt()
    if not (yes or as_json or intake.changes_nothing or _confirmed()):
        print("nothing was added")
        raise typer.Exit(2)
    with progress_bar(quiet=as_json) as progress:
        progress("copying", 0, 0)
        outcome = accept(case, intake)
    if as_json:
        print_json({**_as_plain(intake), "added": outcome.new_files, "same": outcome.same_files})
    else:
        print(_told(case, outcome))


def _show(intake: Intake) -> None:
    rows = [_row(take, take.path in intake.there) for take in intake.takes]
    rows += [_row(take, take.path in intake.there, "as takes.toml says") for take in intake.stated]
    rows += [(doubt.path, "can't be added", "", "", doubt.problem) for doubt in intake.doubts]
    print_table(("file", "what it is", "direction", "drive", "remark"), sorted(rows))


def _row(take: Take, there: bool, *remarks: str) -> tuple[str, ...]:
    key = take.key
    remark = [key.radiator] if key.radiator else []
    remark += [f"repeat {key.repeat}"] if key.repeat != 1 else []
    remark += [f"{take.level_db:g} dB"] if take.level_db is not None else []
    remark += [f"at {take.distance_m * 1000:g} mm"] if take.distance_m is not None else []
    remark += [*remarks, *(["there already"] if there else [])]
    direction = key.direction.label if key.direction else ""
    if key.direction and key.direction.angle_deg in (0.0, 180.0):
        direction = f"{direction} ({key.direction.orbit})"
    return (
        take.path,
        str(key.kind).replace("_", " "),
        direction,
        key.drive.label if key.drive else "",
        ", ".join(remark),
    )


def _confirmed(words: Sequence[str] = ("y", "yes")) -> bool:
    """Whether a person says yes.

    Raises
    ------
    CallError
        Nobody can be asked.
    """
    if not is_terminal(sys.stdin):
        raise CallError(
            "nothing was added, for nobody can be asked here; say --yes to accept the table above"
        )
    print("add these? [y/N] ", end="", flush=True)
    return sys.stdin.readline().strip().lower() in words


def _told(case: Path, outcome: Accepted) -> str:
    if not outcome.new_files:
        told = f"nothing new: {len(outcome.same_files)} files are in {case} already, unchanged"
    else:
        told = f"added {len(outcome.new_files)} files to {case}"
        told += f", {len(outcome.same_files)} were there already" if outcome.same_files else ""
    told += f"; {len(outcome.corrected)} entries of takes.toml corrected" if outcome.corrected else ""
    return f"{told}; next: `earwitness build {case}`"


def _refuse_as_json(intake: Intake) -> None:
    """All doubts at once, or what would be added: machines have no table to read."""
    line = "nothing was added; say --yes to accept these takes"
    try:
        intake.require_no_doubt()
    except FileError as error:
        line = str(error)
    print_json({**_as_plain(intake), "added": [], "error": line, "exit_code": 2})
    raise typer.Exit(2)


def _as_plain(intake: Intake) -> dict[str, object]:
    takes = sorted((*intake.takes, *intake.stated), key=lambda take: take.id)
    return {
        "takes": [{"id": take.id, "what": take.key.label} for take in takes],
        "doubts": [{"file": d.path, "problem": d.problem, "remedy": d.remedy} for d in intake.doubts],
    }
