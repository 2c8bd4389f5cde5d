"""`earwitness add`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import print_json, print_table

if TYPE_CHECKING:
    from earwitness.pipeline.intake import Intake
    from earwitness.records.takes import Take


def add(
    case: CaseArgument,
    files: Annotated[list[Path], typer.Argument(metavar="FILE_OR_FOLDER...", help="Raw files to add.")],
    drive: Annotated[
        str | None, typer.Option("--drive", help='Drive of files whose name has none: "2.83 V", "-20 dBFS".')
    ] = None,
    yes: Annotated[
        bool,
        typer.Option("--yes", help="Accept what is recognised; never an ambiguous sign, plane or drive."),
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Add raw files; show what they were recognised as."""
    from earwitness.pipeline.intake import accept, look_at

    intake = look_at(case, files, drive=drive)
    if not as_json:
        _show(intake)
    intake.require_no_doubt()
    if not (yes or as_json or _confirmed()):
        print("nothing was added")
        raise typer.Exit(2)
    outcome = accept(case, intake)
    if as_json:
        print_json({"added": list(outcome.new_files), "takes": [t.id for t in intake.takes]})
        return
    kept = f", {len(outcome.same_files)} were there already" if outcome.same_files else ""
    corrected = f"; {len(outcome.corrected)} entries of takes.toml corrected" if outcome.corrected else ""
    print(f"added {len(outcome.new_files)} files to {case}{kept}{corrected}; next: `earwitness build {case}`")


def _show(intake: Intake) -> None:
    rows = [_row(take) for take in intake.takes]
    rows += [(path, "can't tell", "", "", doubt) for path, doubt in intake.doubts]
    print_table(("file", "what it is", "direction", "drive", "remark"), rows)


def _row(take: Take) -> tuple[str, ...]:
    key = take.key
    remark = [key.radiator] if key.radiator else []
    remark += [f"repeat {key.repeat}"] if key.repeat != 1 else []
    remark += [f"{take.level_db:g} dB"] if take.level_db is not None else []
    remark += [f"at {take.distance_m * 1000:g} mm"] if take.distance_m is not None else []
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
    """Whether a person says yes; a pipe never does."""
    if not sys.stdin.isatty():
        print("say --yes to accept this", file=sys.stderr)
        return False
    return input("add these? [y/N] ").strip().lower() in words
