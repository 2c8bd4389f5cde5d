"""Everything that Earwitness refuses, and how it says so.

EarwitnessError
├── CallError               the call is wrong (exit code 2)
├── FileError               a file is wrong: which, where in it, what is wrong, what to do (exit code 2)
│   ├── ReadError           a raw file can't be read as what it should be
│   └── CaseError           case.toml, takes.toml or the folder itself
├── IntegrityError          a raw file or a result isn't what it was (exit code 1)
├── BusyError               another process writes to the case (exit code 2)
└── NotAvailableError       the data don't reach: the reason, in the reader's words (exit code 1)
"""

from __future__ import annotations

from typing import ClassVar


class EarwitnessError(Exception):
    """Any refusal. `str()` of it is one clear line."""

    exit_code: ClassVar[int] = 2


class CallError(EarwitnessError):
    """The call itself can't be carried out."""


class FileError(EarwitnessError):
    """A file is wrong.

    Parameters
    ----------
    file
        The file as the user knows it (a path inside the case where it is one).
    problem
        What is wrong, without a full stop.
    remedy
        What to do, as an imperative without a full stop.
    where
        The place in the file: ``line 12``, ``sample 4096``, ``rig.distance_m``; empty for the whole file.
    """

    def __init__(self, file: str, problem: str, remedy: str, where: str = "") -> None:
        self.file, self.problem, self.remedy, self.where = file, problem, remedy, where
        place = f"{file}, {where}" if where else file
        super().__init__(one_line(f"{place}: {problem}; {remedy}"))


class ReadError(FileError):
    """A raw file can't be read as what it should be."""


class CaseError(FileError):
    """The case's own files can't be understood."""


class IntegrityError(FileError):
    """A raw file or a result isn't what it was."""

    exit_code: ClassVar[int] = 1


class BusyError(EarwitnessError):
    """Another process is writing to the case."""


class NotAvailableError(EarwitnessError):
    """The data don't reach what was asked; the message is the reason."""

    exit_code: ClassVar[int] = 1


def one_line(text: str, limit: int = 400) -> str:
    """Text as one printable line: control characters shown escaped, cut at `limit` characters."""
    printable = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
    return printable if len(printable) <= limit else printable[: limit - 1] + "…"
