"""Arguments that several commands take."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

CaseArgument = Annotated[Path, typer.Argument(metavar="CASE", help="The folder of the case.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object for machines.")]
