"""What the commands print: one place for results, tables, progress and errors."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence

from earwitness.records.errors import EarwitnessError

Progress = Callable[[str, int, int], None]


def print_json(document: Mapping[str, object]) -> None:
    """One JSON object on standard output, for machines."""
    print(json.dumps(document, ensure_ascii=False, sort_keys=True, allow_nan=False))


def report_error(error: EarwitnessError, *, as_json: bool) -> int:
    """Say why not, on one line, and give the exit code."""
    if as_json:
        print_json({"error": str(error), "exit_code": error.exit_code})
    else:
        print(f"earwitness: {error}", file=sys.stderr)
    return error.exit_code


def print_table(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """A table on standard output, with the texts taken literally."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(*headings, box=None, pad_edge=False, header_style="bold")
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    width = None if sys.stdout.isatty() else 160
    Console(width=width, highlight=False).print(table)


@contextlib.contextmanager
def progress_bar(*, quiet: bool) -> Iterator[Progress]:
    """A bar on standard error for work that takes over a second; nothing where nobody watches."""
    if quiet or not sys.stderr.isatty():
        yield lambda _what, _done, _total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)

        def advance(what: str, done: int, total: int) -> None:
            bar.update(task, description=what, completed=done, total=total)

        yield advance
