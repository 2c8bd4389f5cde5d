"""`earwitness new`."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from earwitness.cli.add import Adding, DriveOption, ReadOption, YesOption, add_files
from earwitness.cli.arguments import JsonOption
from earwitness.cli.console import print_json
from earwitness.cli.read_options import parse_read
from earwitness.records.errors import CallError


def new(
    *,
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Where the case shall live: a new or an empty folder.")
    ],
    name: Annotated[
        str | None,
        typer.Option("--name", metavar="NAME", help="The loudspeaker's name, if not the folder's."),
    ] = None,
    given: Annotated[
        list[Path] | None,
        typer.Option(
            "--from",
            metavar="FILE_OR_FOLDER",
            help="Raw files to add at once, as `earwitness add` does; may be given again.",
        ),
    ] = None,
    drive: DriveOption = None,
    read: ReadOption = None,
    yes: YesOption = False,
    as_json: JsonOption = False,
) -> None:
    """Start a case: a folder with a case.toml to fill in.

    With --from its raw files come in by the same call: shown, asked for and added as `earwitness add` does.
    """
    from earwitness.case.manifest import new_case

    how = _adding(folder, given, Adding(drive, parse_read(read or ()), yes, as_json=as_json))
    case = new_case(folder, folder.resolve().name if name is None else name)
    if how is None or given is None:
        if as_json:
            print_json({"case": str(folder), "facts": str(case.case_toml)})
        else:
            print(f"started {folder}: fill in {case.case_toml}, then `earwitness add {folder} FILES`")
        return
    if not as_json:
        again = " ".join(shlex.quote(str(path)) for path in (folder, *given))
        print(f"started {folder}: fill in {case.case_toml}; to add its files later: `earwitness add {again}`")
    add_files(folder, given, how)


def _adding(folder: Path, given: list[Path] | None, how: Adding) -> Adding | None:
    """How the files are added, after all that can be said before the case is there; None without files.

    Raises
    ------
    CallError
        An option goes with ``--from`` alone, or isn't what it should be.
    FileError
        A file isn't there, or can't come in.
    """
    from earwitness.case.intake import gather
    from earwitness.pipeline.drive_option import drive_of

    if not given:
        for option, value in (("--drive", how.drive), ("--read", how.read), ("--yes", how.yes)):
            if value:
                raise CallError(f"{option} goes with --from alone; give the files, or add them later")
        return None
    drive_of(how.drive)
    gather(given)
    also = {"case": str(folder), "facts": str(folder / "case.toml")}
    return Adding(how.drive, how.read, how.yes, as_json=how.as_json, also=also)
