"""One command from its words to its exit code. Here alone an error becomes a line."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import typer

from earwitness.cli.console import as_written, flush, print_json, stop_output
from earwitness.records.errors import EarwitnessError, one_line

WRONG_CALL: Final = 2
INTERRUPTED: Final = 130
NOBODY_READS: Final = 141

_NO_ROOM: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})
_NOT_ALLOWED: Final = frozenset({errno.EACCES, errno.EPERM, errno.EROFS})
_LONGEST_LINE: Final = 1000


def run(words: Sequence[str]) -> int:
    """Carry out the command that `words` are, and give its exit code."""
    as_json = "--json" in (words[: words.index("--")] if "--" in words else words)
    as_written()
    try:
        code = _carry_out(list(words))
        flush()
    except BrokenPipeError:
        stop_output()
        return NOBODY_READS
    except KeyboardInterrupt:
        line = "stopped; nothing is lost, and the same command goes on from here"
        return _report(line, INTERRUPTED, as_json=as_json)
    except typer.TyperException as error:
        message = error.format_message().rstrip(".").replace("Value error, ", "")
        line = f"{message}; see `{_asked(words)} --help`"
        return _report(line, WRONG_CALL, as_json=as_json)
    except EarwitnessError as error:
        return _report(str(error), error.exit_code, as_json=as_json)
    except OSError as error:
        return _report(_of_the_system(error), WRONG_CALL, as_json=as_json)
    return code


def _carry_out(words: list[str]) -> int:
    from earwitness.cli.app import app

    command = typer.main.get_command(app)
    try:
        with command.make_context("earwitness", words) as context:
            command.invoke(context)
    except typer.Exit as leaving:
        return leaving.exit_code
    return 0


def _asked(words: Sequence[str]) -> str:
    """The command whose help may help."""
    from earwitness.cli.app import COMMANDS

    named = [word for word in words[:1] if word in {command.__name__ for command in COMMANDS}]
    return " ".join(["earwitness", *named])


def _of_the_system(error: OSError) -> str:
    """What the operating system refused: where, why, and what to do."""
    place = "the disk"
    if error.filename is not None:
        path = Path(os.fsdecode(error.filename))
        place = str(path.parent if path.name.endswith(".partial") else path)
    reason = (error.strerror or str(error) or type(error).__name__).lower()
    if error.errno in _NO_ROOM:
        remedy = "make room, and give the same command again; nothing is lost"
    elif error.errno in _NOT_ALLOWED:
        remedy = "make it readable and writable for you, and give the same command again"
    else:
        remedy = "look at the path, and give the same command again"
    return f"{place}: {reason}; {remedy}"


def _report(line: str, exit_code: int, *, as_json: bool) -> int:
    """Say why not, on one line, and give the exit code."""
    line = one_line(line, _LONGEST_LINE)
    try:
        if as_json:
            print_json({"error": line, "exit_code": exit_code})
        else:
            print(f"earwitness: {line}", file=sys.stderr)
        flush()
    except OSError:
        # whoever should read it is gone, or the disk that should take it is full: the exit code is left
        stop_output()
    return exit_code
