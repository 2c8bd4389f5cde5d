"""The contract between a raw file's reader and everything else: what a file holds, and what is in it.

A reader looks at a file and tells what it holds (`Contents`), and later reads some of its parts: sound
(`Recording`) or responses (`MeasuredResponse`). It refuses what it can't be sure of, and never repairs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from pathlib import Path
from typing import Final, Protocol

import numpy as np
import numpy.typing as npt

from earwitness.records.errors import ReadError
from earwitness.records.takes import Direction, Drive, ReadOption, ReadOptions, TakeKind

Float64s = npt.NDArray[np.float64]

#: What lies beyond is no response, and no recording, whatever the file's format.
MAX_FREQUENCY_HZ: Final = 1e6
MAX_LEVEL_DB: Final = 400.0
SAMPLE_RATES_HZ: Final = (8_000, 768_000)


class Form(StrEnum):
    """What a file's parts are."""

    SOUND = "sound"
    RESPONSES = "responses"


class LevelUnit(StrEnum):
    """What a response's levels are relative to."""

    DB = "dB"
    SPL = "dB re 20 µPa"
    PASCAL = "dB re 1 Pa"
    PASCAL_PER_DRIVE = "dB re 1 Pa per unit of drive"
    OHM = "dB re 1 Ω"
    RATIO = "dB re 1"


@dataclass(frozen=True)
class Recording:
    """Samples of one part, shape (1, n), float32 re full scale."""

    samples: npt.NDArray[np.float32]
    sample_rate_hz: int


@dataclass(frozen=True, slots=True)
class Placed:
    """Where the microphone stood, as a file itself says, from the loudspeaker's reference point.

    `seen_angle_deg` is its angle on the orbit, None where that is the direction's own. `without_delay` says
    that the phase has lost its time of flight already.
    """

    distance_m: float
    seen_angle_deg: float | None = None
    without_delay: bool = False


@dataclass(frozen=True)
class MeasuredResponse:
    """A response as it came: arrays of shape (n,), rising frequencies, no phase where none was given.

    `unit` says what `level_db` is relative to. Plain dB are taken for a sound pressure level where a
    response of a loudspeaker is meant, and for a gain where a microphone's is; a ratio is a gain alone.
    `placed` is None where the case's rig says where the microphone stood. A level that is NaN isn't valid at
    its frequency. `interpolation_db` is one standard uncertainty of a response that lies between measured
    directions.
    """

    frequency_hz: Float64s
    level_db: Float64s
    phase_deg: Float64s | None
    unit: LevelUnit = LevelUnit.DB
    placed: Placed | None = None
    interpolation_db: Float64s | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """A raw file for a reader.

    `file` is where it lies, `name` what the user calls it, `options` what the case states of its form
    (``read`` in ``takes.toml``). `may_touch_full_scale` holds for a stimulus, which was made and not
    recorded: runs of samples at full scale are no clipping there.
    """

    file: Path
    name: str
    options: ReadOptions = ()
    may_touch_full_scale: bool = False

    def option(self, key: str) -> ReadOption | None:
        """What is stated under `key`; None where nothing is."""
        return dict(self.options).get(key)


@dataclass(frozen=True, slots=True)
class Part:
    """One measured response in a file, and what the file itself says of it.

    `selector` names it (empty where the file holds one part); `words` are its own heading, for
    `recognise`. The rest is stated by the file's format beyond doubt: `position_deg` is the microphone's
    azimuth and elevation in degrees as AES69 has them, `direction` the orbit's where the file knows of
    orbits, and `distance_m` how far from the loudspeaker's reference point it says the microphone stood.
    """

    selector: str = ""
    words: str = ""
    position_deg: tuple[float, float] | None = None
    kind: TakeKind | None = None
    drive: Drive | None = None
    repeat: int = 1
    direction: Direction | None = None
    distance_m: float | None = None


@dataclass(frozen=True, slots=True)
class Contents:
    """What a file holds.

    `words` are what it says of itself (heading and comment lines), for `recognise`; `remark` is shown to
    the user, such as how the columns were read.
    """

    form: Form
    parts: tuple[Part, ...]
    words: tuple[str, ...] = ()
    remark: str = ""
    sample_rate_hz: float | None = None


class Reader(Protocol):
    """One form of raw file.

    `options` are the keys that ``read`` in ``takes.toml`` may hold for it, each with one line of help;
    `level_option` is the one that says what levels are in, empty where none does.
    Selectors are those that `look` gave; the answers come in their order.
    """

    name: str
    suffixes: frozenset[str]
    options: Mapping[str, str]
    level_option: str

    def look(self, source: Source) -> Contents:
        """What the file holds, after everything in it was found to be readable.

        Raises
        ------
        ReadError
            The file can't be read for sure: where, what is wrong, what to do.
        """

    def read(
        self, source: Source, selectors: Sequence[str]
    ) -> Sequence[Recording] | Sequence[MeasuredResponse]:
        """The parts that `selectors` name.

        Raises
        ------
        ReadError
            As `look`, or there is no such part.
        """


def require_known_options(reader: Reader, source: Source) -> None:
    """Refuse an option that `reader` doesn't have.

    Raises
    ------
    ReadError
        With the nearest that it has.
    """
    for key, _ in source.options:
        if key not in reader.options and key != "reader":
            near = get_close_matches(key, reader.options, n=1)
            had = ", ".join(reader.options) or "none"
            remedy = f"did you mean {near[0]}?" if near else f"a {reader.name} file has: {had}"
            raise ReadError(source.name, f"read.{key} is no option of a {reader.name} file", remedy)


def rows_of(source: Source, parts: Sequence[str], selectors: Sequence[str]) -> list[int]:
    """Where each of `selectors` stands among the selectors of a file's `parts`.

    Raises
    ------
    ReadError
        The file doesn't have such a part.
    """
    rows = {part: row for row, part in enumerate(parts)}
    for selector in selectors:
        if selector not in rows:
            raise no_such_part(source, selector)
    return [rows[selector] for selector in selectors]


def no_such_part(source: Source, selector: str) -> ReadError:
    """The refusal of a selector that the file doesn't have."""
    return ReadError(
        source.name, f"has no part {selector!r}", "correct its selector in takes.toml; `add` shows the parts"
    )
