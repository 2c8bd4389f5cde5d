"""`earwitness schema`."""

from __future__ import annotations

from typing import Annotated

import typer

from earwitness.cli.arguments import JsonOption
from earwitness.cli.console import print_json


def schema(
    name: Annotated[str, typer.Argument(metavar="NAME", help="results, findings, quality or case.")],
    _as_json: JsonOption = False,
) -> None:
    """Print the JSON Schema of a file.

    Of build/results.json, build/findings.json or build/quality.json, or of the facts in case.toml.
    """
    from earwitness.case.documents import schema as schema_of

    print_json(schema_of(name))
