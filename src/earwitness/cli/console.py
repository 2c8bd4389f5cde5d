"""What the commands print: one place for results, tables and progress."""

from __future__ import annotations

import contextlib
import io
import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final, TextIO

Progress = Callable[[str, int, int], None]

#: The width of a table that nobody looks at on a terminal, where COLUMNS states none.
_PLAIN_WIDTH: Final = 160
_LEAST_WIDTH: Final = 20


def print_json(document: Mapping[str, object]) -> None:
    """One JSON object on standard output, for machines: ASCII alone, so that any encoding carries it."""
    print(json.dumps(document, sort_keys=True, allow_nan=False))


def print_table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A table on standard output, with the texts taken literally."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from earwitness.records.errors import one_line

    table = Table(*headings, box=None, pad_edge=False, header_style="bold")
    for row in rows:
        table.add_row(*(Text(one_line(cell)) for cell in row))
    width = None if is_terminal(sys.stdout) else _stated_width() or _PLAIN_WIDTH
    Console(width=width, highlight=False).print(table)


def _stated_width() -> int | None:
    """What COLUMNS in the environment says; None where that is no width of a table."""
    stated = os.environ.get("COLUMNS", "")
    if not (stated.isdigit() and len(stated) < 6):
        return None
    return max(int(stated), _LEAST_WIDTH) if int(stated) else None


def confirmed(question: str, unasked: str) -> bool:
    """Whether a person says yes to `question`.

    Raises
    ------
    CallError
        Nobody can be asked: `unasked` says what that means.
    """
    from earwitness.records.errors import CallError

    if not is_terminal(sys.stdin):
        raise CallError(unasked)
    print(f"{question} [y/N] ", end="", flush=True)
    return sys.stdin.readline().strip().lower() in {"y", "yes"}


@contextlib.contextmanager
def progress_bar(*, quiet: bool) -> Iterator[Progress]:
    """A bar on standard error for work that takes over a second; nothing where nobody watches.

    Each call says what is going on, how much of it is done, and of how much (0: that can't be told).
    """
    if quiet or not is_terminal(sys.stderr):
        yield lambda _what, _done, _total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, TaskID, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.fields[count]}"),
        TimeElapsedColumn(),
    )
    # what a command prints meanwhile goes where it should, not into the bar's stream
    with Bar(*columns, console=Console(stderr=True), transient=True, redirect_stdout=False) as bar:
        shown: dict[str, TaskID] = {}

        def advance(what: str, done: int, total: int) -> None:
            count = f"{done}/{total}" if total > 1 else ""
            for other in [name for name in shown if name != what]:
                bar.remove_task(shown.pop(other))
            if what not in shown:
                shown[what] = bar.add_task(what, total=total or None, count=count)
            bar.update(shown[what], completed=done, total=total or None, count=count)

        yield advance


def is_terminal(stream: TextIO | None) -> bool:
    """Whether a person may be there; a stream that was closed before the start is None."""
    return stream is not None and stream.isatty()


def as_written() -> None:
    """Let characters that the output's encoding lacks be shown as escapes, and not stop the program."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def flush() -> None:
    """Pass on all output now, where a full disk or a closed pipe can still be told.

    Raises
    ------
    OSError
        It can't be passed on.
    """
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            stream.flush()


def stop_output() -> None:
    """Send what is still buffered nowhere, so that leaving doesn't fail on it once more."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.close(nowhere)
