"""Readers of other distributions. None is trusted: what one does wrong is said in a line that names it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from importlib.metadata import EntryPoint
from typing import TypeVar

from earwitness.measurement.readers.contents import (
    Contents,
    Form,
    MeasuredResponse,
    Recording,
    Source,
)
from earwitness.measurement.readers.foreign_values import wrong_contents, wrong_signal
from earwitness.records.errors import ReadError, one_line

_T = TypeVar("_T")


class ForeignReader:
    """A reader of another distribution. What it says is checked; what it raises becomes one `ReadError`.

    Raises
    ------
    ReadError
        It can't be loaded, or is no reader; `name` is the raw file that it was asked for.
    """

    def __init__(self, entry: EntryPoint, name: str) -> None:
        self.name = entry.name
        self._called = called(entry)
        self._reader = self._asked(name, entry.load)
        for part in ("name", "suffixes", "options", "look", "read"):
            if not hasattr(self._reader, part):
                raise self._wrong(name, f"has no {part}")
        self.suffixes = frozenset(
            self._asked(name, lambda: [str(one).lower() for one in self._reader.suffixes])
        )
        self.options: Mapping[str, str] = self._asked(name, lambda: dict(self._reader.options))
        self.level_option: str = self._asked(name, lambda: getattr(self._reader, "level_option", ""))
        if not all(isinstance(text, str) for option in self.options.items() for text in option):
            raise self._wrong(name, "has options that aren't words with a line of help each")
        if self.level_option not in ("", *self.options):
            raise self._wrong(name, "has a level_option that is none of its options")

    def look(self, source: Source) -> Contents:
        """What the file holds, after all its parts were read once and found to be what they should."""
        contents = self._asked(source.name, lambda: self._reader.look(source))
        problem = self._asked(source.name, lambda: wrong_contents(contents))
        if problem:
            raise self._wrong(source.name, problem)
        found: Contents = contents
        signals = self.read(source, [part.selector for part in found.parts])
        wanted = Recording if found.form is Form.SOUND else MeasuredResponse
        if not all(isinstance(signal, wanted) for signal in signals):
            raise self._wrong(source.name, f"says that it holds {found.form}, and reads something else")
        return found

    def read(
        self, source: Source, selectors: Sequence[str]
    ) -> Sequence[Recording] | Sequence[MeasuredResponse]:
        """The parts that `selectors` name, each checked."""
        signals = self._asked(source.name, lambda: list(self._reader.read(source, list(selectors))))
        if len(signals) != len(selectors):
            raise self._wrong(source.name, f"gives {len(signals)} of {len(selectors)} parts")
        for selector, signal in zip(selectors, signals, strict=True):
            problem = self._asked(source.name, partial(wrong_signal, signal))
            if problem:
                raise self._wrong(source.name, problem, f"part {selector}" if selector else "")
        return signals

    def _asked(self, name: str, question: Callable[[], _T]) -> _T:
        try:
            return question()
        except ReadError:
            raise
        # Another's code may raise whatever it likes; what it was stays as the cause.
        except (Exception, SystemExit) as error:
            raise self._wrong(
                name, f"fails with {type(error).__name__}: {one_line(str(error), 120)}"
            ) from error

    def _wrong(self, name: str, problem: str, where: str = "") -> ReadError:
        remedy = "tell its author, update or uninstall it"
        return ReadError(name, f"the reader {self._called} {problem}", remedy, where)


def called(entry: EntryPoint) -> str:
    """A reader of another distribution, with that and its version: ``cobble of cobble-reader 1.0``."""
    distribution = entry.dist
    return f"{entry.name} of {distribution.name} {distribution.version}" if distribution else entry.name
