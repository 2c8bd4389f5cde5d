"""`earwitness new`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from earwitness.cli.arguments import JsonOption
from earwitness.cli.console import print_json


def new(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Where the case shall live: a new or an empty folder.")
    ],
    name: Annotated[
        str | None,
        typer.Option("--name", metavar="NAME", help="The loudspeaker's name, if not the folder's."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Start a case: a folder with a case.toml to fill in."""
    from earwitness.case.manifest import new_case

    case = new_case(folder, folder.resolve().name if name is None else name)
    if as_json:
        print_json({"case": str(folder), "facts": str(case.case_toml)})
        return
    print(f"started {folder}: fill in {case.case_toml}, then `earwitness add {folder} FILES`")
