"""Readers of other distributions. None is trusted: what one does wrong is said in a line that names it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from importlib.metadata import EntryPoint
from typing import Any, Final, TypeVar

import numpy as np

from earwitness.measurement.readers.contents import (
    MAX_FREQUENCY_HZ,
    MAX_LEVEL_DB,
    SAMPLE_RATES_HZ,
    Contents,
    Form,
    LevelUnit,
    MeasuredResponse,
    Part,
    Recording,
    Source,
)
from earwitness.records.errors import ReadError, one_line
from earwitness.records.takes import EVERY_PART

_LONGEST: Final = 1_000
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
        self.level_option = self._asked(name, lambda: str(getattr(self._reader, "level_option", "")))

    def look(self, source: Source) -> Contents:
        """What the file holds, after all its parts were read once and found to be what they should."""
        contents = self._asked(source.name, lambda: self._reader.look(source))
        problem = _wrong_contents(contents)
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
        signals = self._asked(source.name, lambda: list(self._reader.read(source, selectors)))
        if len(signals) != len(selectors):
            raise self._wrong(source.name, f"gives {len(signals)} of {len(selectors)} parts")
        for selector, signal in zip(selectors, signals, strict=True):
            problem = _wrong_signal(signal)
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


def _wrong_contents(contents: object) -> str:
    """What is wrong with what a reader says of a file; empty where nothing is."""
    if not isinstance(contents, Contents):
        return f"says {type(contents).__name__} instead of Contents"
    said: Any = contents
    if not isinstance(said.form, Form) or not isinstance(said.parts, tuple) or not said.parts:
        return "says neither sound nor responses, or no parts"
    if not all(isinstance(part, Part) for part in said.parts) or not isinstance(said.words, tuple):
        return "says a part that is none, or words that are no tuple"
    texts = [said.remark, *said.words, *(text for part in said.parts for text in (part.selector, part.words))]
    if not all(isinstance(text, str) and text.isprintable() and len(text) <= _LONGEST for text in texts):
        return "says words that are no line of text"
    names = {part.selector for part in said.parts}
    if len(names) < len(said.parts) or EVERY_PART in names:
        return f"says two parts of the same name, or one that is called {EVERY_PART}"
    return ""


def _wrong_signal(signal: object) -> str:
    """What is wrong with a part that a reader gave; empty where nothing is."""
    if isinstance(signal, Recording):
        return _wrong_recording(signal)
    if isinstance(signal, MeasuredResponse):
        return _wrong_response(signal)
    return f"gives {type(signal).__name__} instead of a Recording or a MeasuredResponse"


def _wrong_recording(signal: Recording) -> str:
    samples: Any = signal.samples
    rate: Any = signal.sample_rate_hz
    if (
        not isinstance(samples, np.ndarray)
        or samples.dtype != np.float32
        or samples.ndim != 2
        or not samples.size
    ):
        return "gives samples that aren't float32 of shape (channels, n)"
    if not np.isfinite(samples).all():
        return "gives samples that are no numbers"
    if not isinstance(rate, int) or not SAMPLE_RATES_HZ[0] <= rate <= SAMPLE_RATES_HZ[1]:
        return f"gives {rate!r} as a sample rate"
    return ""


def _wrong_response(signal: MeasuredResponse) -> str:
    given: Any = signal
    phase = () if given.phase_deg is None else (given.phase_deg,)
    for array in (given.frequency_hz, given.level_db, *phase):
        if not isinstance(array, np.ndarray) or array.dtype != np.float64 or array.ndim != 1:
            return "gives values that aren't float64 of shape (n,)"
        if array.size != given.frequency_hz.size or array.size < 2:
            return "gives arrays of other lengths, or fewer than two frequencies"
        if not np.isfinite(array).all():
            return "gives values that are no numbers"
    if (np.diff(signal.frequency_hz, prepend=0.0) <= 0.0).any() or signal.frequency_hz[-1] > MAX_FREQUENCY_HZ:
        return "gives frequencies that don't rise"
    if (np.abs(signal.level_db) > MAX_LEVEL_DB).any():
        return "gives levels that no response has"
    return "" if isinstance(given.unit, LevelUnit) else "gives levels without their unit"
