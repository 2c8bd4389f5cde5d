"""The commands as a page of the documentation: ``python -m earwitness.cli.reference > docs/commands.md``."""

from __future__ import annotations

import sys
from inspect import cleandoc
from typing import Any, Final

import typer

from earwitness.cli.app import app

_HEAD: Final = """\
# Commands

<!-- Made from the program itself: python -m earwitness.cli.reference > docs/commands.md -->

Each command prints what it did and where the result lies. With `--json` exactly one JSON object stands on
standard output, also where a command refuses: `error` says why, `exit_code` is its exit code. A refusal is
one line on standard error: file, place, what is wrong, what to do.

| exit code | meaning |
|---|---|
| 0 | done |
| 1 | the data say no: `verify` found damage, a raw file isn't what it was, the data don't reach |
| 2 | the call or a file is wrong, or there was nobody to say yes; nothing was changed |
| 130 | stopped with Ctrl-C; nothing is lost, and the same command goes on |
| 141 | nobody reads the output any more |

> A drive that is played can hurt hearing and destroy loudspeakers and amplifiers. At 94 dB(A) the recommended
> daily exposure of the NIOSH criterion is one hour, at 100 dB(A) fifteen minutes. Leave the room or wear
> protection while a sweep plays, start quietly, and let local law and qualified people come first.
"""


def reference() -> str:
    """All commands with their arguments and options, as Markdown."""
    group: Any = typer.main.get_command(app)
    context = group.make_context("earwitness", [], resilient_parsing=True)
    commands = [group.get_command(context, name) for name in group.list_commands(context)]
    return _HEAD + "".join(map(_section, commands))


def _section(command: Any) -> str:
    parameters = [p for p in command.params if p.name != "help"]
    words = [p.metavar for p in parameters if p.param_type_name == "argument"]
    words += [f"[{_option(p)}]" for p in parameters if p.param_type_name == "option"]
    rows = [f"| `{_named(p)}` | {p.help} |" for p in parameters]
    call = f"    earwitness {command.name} {' '.join(words)}"
    return "\n".join(["", f"## {command.name}", "", call, "", cleandoc(command.help), "", *_table(rows)])


def _table(rows: list[str]) -> list[str]:
    return ["| | |", "|---|---|", *rows, ""]


def _named(parameter: Any) -> str:
    return str(parameter.metavar) if parameter.param_type_name == "argument" else _option(parameter)


def _option(parameter: Any) -> str:
    return " ".join(filter(None, (parameter.opts[0], parameter.metavar)))


if __name__ == "__main__":
    sys.stdout.write(reference())
