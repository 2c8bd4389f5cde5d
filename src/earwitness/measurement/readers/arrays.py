"""Files of named arrays, whatever their format: what each is, and how they are told to a person."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final, Protocol

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[Any]

#: So many entries an array of responses or samples may hold; one that says what they are, fewer.
MAX_VALUES: Final = 3 * 2**22
MAX_LENGTH: Final = 2**20
_LISTED: Final = 12
_LONGEST_NAME: Final = 24


class Holding(StrEnum):
    """What an array holds."""

    NUMBERS = "numbers"
    COMPLEX = "complex"
    TEXT = "text"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class ArrayInfo:
    """One array of a file: its shape, what it holds, and a word for that where it can't be read."""

    shape: tuple[int, ...]
    holding: Holding = Holding.NUMBERS
    word: str = ""

    @property
    def size(self) -> int:
        """How many entries it has."""
        product = 1
        for length in self.shape:
            product *= length
        return product

    @property
    def lengths(self) -> tuple[int, ...]:
        """The lengths of its axes, without those of length 1."""
        return tuple(length for length in self.shape if length != 1)

    @property
    def label(self) -> str:
        """``72 × 512, complex``."""
        shape = " × ".join(str(length) for length in self.shape) or "1"
        word = self.word or ("" if self.holding is Holding.NUMBERS else str(self.holding))
        return f"{shape}, {word}" if word else shape


class ArrayFile(Protocol):
    """An open file of arrays by name."""

    @property
    def arrays(self) -> Mapping[str, ArrayInfo]:
        """What it holds, in the file's order."""

    def numbers(self, name: str) -> Array:
        """An array of real or complex numbers, in the shape that `arrays` tells.

        Raises
        ------
        ReadError
            Its data are broken.
        """

    def texts(self, name: str) -> list[str]:
        """The texts of an array.

        Raises
        ------
        ReadError
            Its data are broken.
        """

    def unit(self, name: str) -> str:
        """What the file says of an array's unit; empty where it says nothing."""


def listing(arrays: Mapping[str, ArrayInfo]) -> str:
    """``f (512), H (72 × 512, complex) and 3 more``; numbers first, what isn't read last."""
    ranks = {Holding.TEXT: 1, Holding.OTHER: 2}
    ordered = sorted(arrays.items(), key=lambda item: ranks.get(item[1].holding, 0))
    shown = [f"{name[:_LONGEST_NAME]} ({info.label})" for name, info in ordered[:_LISTED]]
    more = len(ordered) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def as_matrix(values: Array, axis: int) -> Array:
    """Values of shape (parts, length) whose `axis` (0 or 1, of those longer than 1) is the last one."""
    flat = values.reshape([length for length in values.shape if length != 1] or [1])
    return flat[np.newaxis, :] if flat.ndim == 1 else (flat.T if axis == 0 else flat)
