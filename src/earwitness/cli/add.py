"""`earwitness add`."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import confirmed, print_json, print_table, progress_bar
from earwitness.cli.read_options import parse_read
from earwitness.records.errors import FileError

if TYPE_CHECKING:
    from earwitness.pipeline.intake import Accepted, Intake
    from earwitness.records.takes import ReadOptions

DriveOption = Annotated[
    str | None,
    typer.Option(
        "--drive",
        metavar="DRIVE",
        help="Drive of the files that say none: 2.83V (RMS at the terminals), -20dBFS, +4dBu.",
    ),
]
ReadOption = Annotated[
    list[str] | None,
    typer.Option(
        "--read",
        metavar="KEY=VALUE",
        help="What holds for the form of all files that have such an option; may be given again.",
    ),
]
YesOption = Annotated[
    bool,
    typer.Option("--yes", help="Accept what is recognised; never an ambiguous sign, plane or drive."),
]


@dataclass(frozen=True)
class Adding:
    """How files are added: what the call states, and how it answers.

    `also` are entries of the one JSON object beside those of `add`.
    """

    drive: str | None = None
    read: ReadOptions = ()
    yes: bool = False
    dry_run: bool = False
    every: bool = False
    as_json: bool = False
    also: Mapping[str, object] = field(default_factory=dict)


def add(
    *,
    case: CaseArgument,
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE_OR_FOLDER...", help="Raw files; of a folder, everything below it."),
    ],
    drive: DriveOption = None,
    read: ReadOption = None,
    yes: YesOption = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Show what would be added, and change nothing.")
    ] = False,
    every: Annotated[
        bool, typer.Option("--all", help="Show each take, also where many differ in direction alone.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Add raw files; show what they were recognised as.

    Asks before anything is added; --yes answers, and with --json nobody is asked. All files are added or
    none. A higher drive plays louder, for the ears and for the loudspeaker: protect both.
    """
    add_files(case, files, Adding(drive, parse_read(read or ()), yes, dry_run, every, as_json))


def add_files(case: Path, files: list[Path], how: Adding) -> None:
    """Look at the files, show them, ask, and take them in."""
    from earwitness.pipeline.intake import accept, look_at

    with progress_bar(quiet=how.as_json) as progress:
        intake = look_at(case, files, drive=how.drive, read=how.read, progress=progress)
    if how.as_json and (intake.doubts or not (how.yes or how.dry_run or intake.changes_nothing)):
        _refuse_as_json(intake, how)
    if not how.as_json:
        _show(case, intake, how)
    intake.require_no_doubt()
    if how.dry_run:
        _end_dry(intake, how)
        return
    unasked = "nothing was added, for nobody can be asked here; say --yes to accept the table above"
    if not (how.yes or how.as_json or intake.changes_nothing or confirmed("add these?", unasked)):
        print("nothing was added")
        raise typer.Exit(2)
    with progress_bar(quiet=how.as_json) as progress:
        progress("copying", 0, 0)
        outcome = accept(case, intake)
    if how.as_json:
        print_json({**_as_plain(intake, how), "added": outcome.new_files, "same": outcome.same_files})
    else:
        print(_told(case, outcome))


def _show(case: Path, intake: Intake, how: Adding) -> None:
    from earwitness.cli.takes_table import HEADINGS, rows_of
    from earwitness.records.errors import one_line

    if not intake.changes_nothing:
        print_table(HEADINGS, rows_of(intake, every=how.every))
    for line in (*intake.corrections, *intake.changes, intake.signs, intake.drives):
        if str(line):
            print(one_line(str(line)))
    if intake.example:
        print(f'\nto settle the first, append this to {case / "takes.toml"} with each "?" made right:\n')
        print("\n".join(one_line(line) for line in intake.example.split("\n")) + "\n")


def _end_dry(intake: Intake, how: Adding) -> None:
    if how.as_json:
        would = [name for _, name in intake.sources if name not in intake.there]
        print_json({**_as_plain(intake, how), "added": [], "would_be_added": would})
    else:
        print("nothing was added: that was a dry run")


def _told(case: Path, outcome: Accepted) -> str:
    if not outcome.new_files:
        there = len(outcome.same_files)
        told = f"nothing new: {_counted(there)} {'is' if there == 1 else 'are'} in {case} already, unchanged"
    else:
        told = f"added {_counted(len(outcome.new_files))} to {case}"
        told += f", {len(outcome.same_files)} there already" if outcome.same_files else ""
    entries = "entry" if len(outcome.corrected) == 1 else "entries"
    told += f"; {len(outcome.corrected)} {entries} of takes.toml corrected" if outcome.corrected else ""
    return f"{told}; next: `earwitness build {shlex.quote(str(case))}`"


def _counted(files: int) -> str:
    return f"{files} {'file' if files == 1 else 'files'}"


def _refuse_as_json(intake: Intake, how: Adding) -> None:
    """All doubts at once, or what would be added: machines have no table to read."""
    line = "nothing was added; say --yes to accept these takes"
    try:
        intake.require_no_doubt()
    except FileError as error:
        line = str(error)
    print_json({**_as_plain(intake, how), "added": [], "error": line, "exit_code": 2})
    raise typer.Exit(2)


def _as_plain(intake: Intake, how: Adding) -> dict[str, object]:
    takes = sorted((*intake.takes, *intake.stated), key=lambda take: take.id)
    wholes = {
        name: {"directions": whole.directions, "on_orbits": whole.on_orbits}
        for name, whole in intake.wholes.items()
    }
    return {
        **how.also,
        "dry_run": how.dry_run,
        "takes": [{"id": take.id, "what": take.key.label} for take in takes],
        "doubts": [
            {
                "file": doubt.path,
                "selector": doubt.selector,
                "subject": doubt.subject,
                "problem": doubt.problem,
                "remedy": doubt.remedy,
            }
            for doubt in intake.doubts
        ],
        "remarks": dict(intake.remarks),
        "wholes": wholes,
        "corrections": [str(correction) for correction in intake.corrections],
        "changes": [str(change) for change in intake.changes],
        "returned": sorted(intake.returned),
        "signs": intake.signs,
        "drives": intake.drives,
        "example": intake.example,
    }
