"""All commands under one name."""

from __future__ import annotations

from typing import Annotated, Final

import typer

from earwitness import __version__
from earwitness.cli.add import add
from earwitness.cli.build import build
from earwitness.cli.check import check
from earwitness.cli.demo import demo
from earwitness.cli.new import new
from earwitness.cli.plan import plan
from earwitness.cli.publish import publish
from earwitness.cli.readers import readers
from earwitness.cli.remove import remove
from earwitness.cli.schema import schema
from earwitness.cli.stimulus import stimulus
from earwitness.cli.testify import testify
from earwitness.cli.verify import verify

COMMANDS: Final = (
    demo,
    new,
    plan,
    stimulus,
    add,
    remove,
    testify,
    check,
    build,
    publish,
    verify,
    readers,
    schema,
)

app = typer.Typer(
    name="earwitness",
    invoke_without_command=True,
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
    context: typer.Context,
    _: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """From raw loudspeaker measurements to statements that stand up.

    Exit codes: 0 done, 1 the data say no, 2 the call or a file is wrong, 130 stopped from the keyboard,
    141 nobody reads the output.
    """
    if context.invoked_subcommand is None:
        print(context.get_help())
        raise typer.Exit(2)


for _command in COMMANDS:
    app.command()(_command)
