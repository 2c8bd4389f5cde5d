"""What the case states under ``read``, as the words, numbers and truths that readers take it for."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Final, TypeGuard

from earwitness.measurement.readers.contents import Source
from earwitness.records.errors import ReadError, one_line
from earwitness.records.takes import ReadOption

_SHOWN: Final = 60


def folded(text: str) -> str:
    """`text` as it is compared: without spaces, in small letters, µ (either of the two) as u."""
    return "".join(text.split()).casefold().replace("μ", "u")


def one_of(source: Source, key: str, known: Collection[str]) -> str | None:
    """The one of `known` that is stated, however it is spaced and written; None where nothing is.

    Raises
    ------
    ReadError
        It is none of them.
    """
    stated = source.option(key)
    if stated is None:
        return None
    for one in known:
        # a ratio's unit is 1, which is written as a number too
        if not isinstance(stated, bool) and folded(str(stated)) == folded(one):
            return one
    raise impossible(source, key, f"state one of {', '.join(known)}")


def stated_unit(source: Source, key: str, in_file: str, known: Mapping[str, object]) -> str | None:
    """One of the units `known`: as the case states it, or as the file does; None where neither does.

    Raises
    ------
    ReadError
        The stated one isn't known, or the file says another.
    """
    found = next((name for name in known if folded(name) == folded(in_file)), None)
    stated = one_of(source, key, known)
    if stated is None or found is None:
        return stated or found
    if known[found] != known[stated]:
        problem = f"{stated} is stated, and the file says {found}"
        raise ReadError(source.name, problem, "correct or leave it out", f"read.{key}")
    return stated


def truth(source: Source, key: str) -> bool:
    """What is stated, true or false; false where nothing is.

    Raises
    ------
    ReadError
        It is something else, such as the word "true".
    """
    stated = source.option(key)
    if stated is None or isinstance(stated, bool):
        return bool(stated)
    raise impossible(source, key, "state true or false, without quotes")


def number(source: Source, key: str, low: float, high: float, remedy: str) -> float | None:
    """The number that is stated; None where nothing is.

    Raises
    ------
    ReadError
        It is none, or lies outside of `low` to `high`; `remedy` says what to state.
    """
    stated = source.option(key)
    if stated is None:
        return None
    if not is_number(stated) or not low <= float(stated) <= high:
        raise impossible(source, key, remedy)
    return float(stated)


def whole_number(source: Source, key: str, low: int, high: int, remedy: str) -> int | None:
    """The whole number that is stated; None where nothing is.

    Raises
    ------
    ReadError
        As `number`, or it isn't written as a whole number.
    """
    stated = number(source, key, low, high, remedy)
    if stated is None:
        return None
    if not isinstance(source.option(key), int):
        raise impossible(source, key, remedy)
    return int(stated)


def is_number(stated: ReadOption | None) -> TypeGuard[int | float]:
    """Whether an option is a number; true and false are none."""
    return isinstance(stated, int | float) and not isinstance(stated, bool)


def impossible(source: Source, key: str, remedy: str) -> ReadError:
    """The refusal of what is stated under `key`."""
    shown = one_line(repr(source.option(key)), _SHOWN)
    return ReadError(source.name, f"read.{key} can't be {shown}", remedy)
