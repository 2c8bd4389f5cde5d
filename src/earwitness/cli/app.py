"""All commands under one name."""

from __future__ import annotations

from typing import Annotated

import typer

from earwitness import __version__
from earwitness.cli.add import add
from earwitness.cli.build import build
from earwitness.cli.demo import demo
from earwitness.cli.new import new
from earwitness.cli.publish import publish
from earwitness.cli.schema import schema
from earwitness.cli.verify import verify

app = typer.Typer(
    name="earwitness",
    help="From raw loudspeaker measurements to statements that stand up.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _version(wanted: bool) -> None:
    if wanted:
        print(f"earwitness {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    _: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """From raw loudspeaker measurements to statements that stand up."""


for _command in (demo, new, add, build, publish, verify, schema):
    app.command()(_command)
