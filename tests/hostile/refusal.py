"""What a refusal in the table is, and how the files for it are made."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path

#: Puts what is wrong into a folder; what to give to `earwitness add`.
Make = Callable[[Path], Path]


@dataclass(frozen=True)
class Refusal:
    """One thing that `earwitness add` refuses.

    Attributes
    ----------
    case
        What is wrong, in the words of the table.
    make
        Makes the files.
    expected
        The whole line; paths in it are relative to where the files were made.
    takes
        What ``takes.toml`` says before.
    while_
        What goes on meanwhile, for what was made.
    command
        ``build`` where what was added is refused only then.
    """

    case: str
    make: Make
    expected: str
    takes: str = ""
    while_: Callable[[Path], AbstractContextManager[object]] = lambda _: nullcontext()
    command: str = "add"


def holding(content: bytes | str, name: str = "horizontal_+030_2.83V.txt") -> Make:
    """A file of that name with that content."""

    def make(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        return path

    return make
