"""`earwitness publish`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import print_json, progress_bar


def publish(
    case: CaseArgument,
    to: Annotated[
        Path | None,
        typer.Option("--to", metavar="FOLDER", help="Where the publication goes, if not CASE/publication."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Write page, PDF and data pack from the last build.

    What an earlier publication left in the folder is replaced as a whole; a folder that holds anything else
    is refused.
    """
    from earwitness.publication.from_case import publish_case

    with progress_bar(quiet=as_json) as progress:
        progress("drawing and writing", 0, 0)
        publication = publish_case(case, to)
    if as_json:
        print_json(
            {
                "page": str(publication.page),
                "report": str(publication.report),
                "data": str(publication.data),
                "unfit": publication.unfit,
            }
        )
        return
    print(f"published {publication.folder}: page, PDF and data; open")
    if publication.unfit:
        print(f"  mind: {publication.unfit} The page says so first; `earwitness check {case}` says why.")
    print(publication.page)
