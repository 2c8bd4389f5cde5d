"""`earwitness publish`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import print_json


def publish(
    case: CaseArgument,
    to: Annotated[Path | None, typer.Option("--to", metavar="FOLDER", help="Else CASE/publication.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Write page, PDF and data pack from the last build."""
    from earwitness.publication.from_case import publish_case

    publication = publish_case(case, to)
    if as_json:
        print_json(
            {"page": str(publication.page), "report": str(publication.report), "data": str(publication.data)}
        )
        return
    print(f"published {publication.page}")
