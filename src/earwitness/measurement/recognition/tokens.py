"""A name, a heading or a line cut into words and numbers that know their sign and their neighbours."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from pathlib import PurePosixPath
from typing import Final

from earwitness.measurement.recognition.words import MINUS, PLUS, REPEAT, SIGN_LETTERS, SPACED_UNITS


class Sign(StrEnum):
    """What stands before a number."""

    NONE = "none"
    PLUS = "plus"
    MINUS = "minus"
    #: A hyphen that may part it from what stands before.
    HYPHEN = "hyphen"
    #: Two signs at once, or one where none belongs.
    UNSURE = "unsure"
    #: A letter, or a word, that may be a sign.
    P = "p"
    M = "m"
    N = "n"
    PLUS_WORD = "plus in words"


@dataclass(frozen=True, slots=True)
class Token:
    """One word or number.

    `text` is in small letters without accents, for a number its digits; `where` says what it stands in;
    `joined` holds where nothing parts it from the token before, a sign or a single hyphen aside; `parted` is
    what does. `value` is None for a word, and for digits that are no number (a version, a date).
    """

    text: str
    where: str
    joined: bool
    is_number: bool = False
    value: float | None = None
    sign: Sign = Sign.NONE
    run: int = 0
    parted: str = ""

    @property
    def is_word(self) -> bool:
        """Whether it is a word."""
        return not self.is_number


@dataclass(frozen=True)
class Text:
    """The tokens of one text."""

    tokens: tuple[Token, ...]

    @cached_property
    def pieces(self) -> tuple[str, ...]:
        """What is alike in the names of one set: the words, and where numbers stand, without their signs."""
        numbers = {True: "-#", False: "#"}
        return tuple(
            f"{'' if t.joined else '_'}{numbers[t.run > 1] if t.is_number else t.text}" for t in self.tokens
        )

    @cached_property
    def shape(self) -> str:
        """The pieces as one text, by which sets of names are found."""
        return "".join(self.pieces)

    def word(self, index: int) -> str:
        """The word at `index`; empty where there is none."""
        token = self.at(index)
        return token.text if token is not None and token.is_word else ""

    def at(self, index: int) -> Token | None:
        """The token at `index`, None outside."""
        return self.tokens[index] if 0 <= index < len(self.tokens) else None

    def unit(self, index: int) -> str:
        """The unit of the number at `index`: letters joined to it, or a known unit that follows apart.

        Letters that more digits are joined to are no unit, and are given with a question mark.
        """
        after = self.at(index + 1)
        if after is None or after.is_number or after.where != self.tokens[index].where:
            return ""
        beyond = self.at(index + 2)
        joined = beyond is not None and beyond.joined
        if after.text == "°" and joined and beyond is not None and beyond.text in ("c", "f"):
            return f"°{beyond.text}"
        if after.joined and after.text not in REPEAT:
            digits = beyond is not None and beyond.joined and beyond.is_number and beyond.sign is Sign.NONE
            return f"{after.text}?" if digits and after.text != "°" else after.text
        return after.text if after.text in SPACED_UNITS else ""

    def is_unit(self, index: int) -> bool:
        """Whether the word at `index` is the unit of the number before it."""
        before = self.at(index - 1)
        return before is not None and before.is_number and bool(self.unit(index - 1))

    def has(self, *words: str) -> bool:
        """Whether `words` follow each other somewhere."""
        return self.find(words) is not None

    def find(self, words: Sequence[str]) -> int | None:
        """Where `words` follow each other first."""
        if not self.words.issuperset(words):
            return None
        places = range(len(self.tokens))
        return next((i for i in places if all(self.word(i + k) == w for k, w in enumerate(words))), None)

    @cached_property
    def words(self) -> frozenset[str]:
        """All words."""
        return frozenset(t.text for t in self.tokens if t.is_word)


_DATE: Final = re.compile(
    r"(?<![0-9])(?:(?:19|20)[0-9]{2}([-_.]?)(?:0[1-9]|1[0-2])\1(?:0[1-9]|[12][0-9]|3[01])"
    r"|(?:0?[1-9]|[12][0-9]|3[01])([-_.])(?:0?[1-9]|1[0-2])\2(?:19|20)[0-9]{2})(?![0-9])"
)
_RANGE: Final = re.compile(r"(?<![0-9.+\-−])[1-9][0-9]{0,5}(?:hz|k|khz)?-[1-9][0-9]{0,5}k?hz(?![a-z0-9])")
_CAMEL: Final = re.compile(r"(?<=[a-z]{3})(?=[A-Z])")
_PIECE: Final = re.compile(
    r"(?P<sign>[+\-−±]*)(?P<number>[.,]?[0-9]+(?:[.,][0-9]+)*)|(?P<word>[^\W\d_]+|°)|(?P<other>.)", re.DOTALL
)
#: Behind one of these, or a space, a hyphen before a digit is a minus; behind other marks it may part.
_APART: Final = frozenset("_/=:,;|@#&([{~")
_LONGEST_NUMBER: Final = 12
_LONGEST: Final = 1000


def text_of_path(path: str) -> Text:
    """The tokens of a file's name and of the folders that it lies in; the end of the name is left out."""
    whole = PurePosixPath(path)
    tokens = [token for folder in whole.parts[:-1] for token in _tokens(folder, "folder")]
    name = whole.name.removesuffix(whole.suffix)
    return Text((*tokens, *_tokens(name, "name")))


def text_of(words: str, where: str) -> Text:
    """The tokens of one text that stands at `where`."""
    return Text(tuple(_tokens(words, where)))


def _tokens(text: str, where: str) -> list[Token]:
    found: list[Token] = []
    for token in _pieces(_plain(text), where):
        before = found[-1] if found else None
        sign = _sign_in_words(before, token) if before is not None else None
        if before is not None and sign is not None:
            found[-1] = replace(token, sign=sign, joined=before.joined)
        else:
            found.append(token)
    return found


def _plain(text: str) -> str:
    """Small letters without accents, one kind of hyphen; dates and ranges of frequency taken out."""
    text = _CAMEL.sub("_", text[:_LONGEST].replace("º", "°").replace("˚", "°"))
    text = unicodedata.normalize("NFKC", text).lower()
    text = "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))
    text = re.sub("[‐‑‒–—]", "-", text)
    return _RANGE.sub("range", _DATE.sub("date", text))


def _pieces(text: str, where: str) -> Iterator[Token]:
    """Words and numbers in their order."""
    end, last = -1, ""
    for match in _PIECE.finditer(text):
        if match["other"]:
            continue
        joined, parted = match.start() == end, text[max(end, 0) : match.start()]
        if match["word"]:
            yield Token(match["word"], where, joined, parted=parted)
            last = "word"
        else:
            digits, run = match["number"], match["sign"]
            ahead = text[: match.start()][-1:].strip()
            mark = "mark" if ahead and ahead not in _APART else ""
            sign = _sign(run, last if joined else mark)
            value = None if digits[0] in ".," and not run and (joined or mark) else _value(digits)
            yield Token(digits, where, joined, True, value, sign, len(run), parted)
            last = "number"
        end = match.end()


def _sign(run: str, before: str) -> Sign:
    """What the signs `run` before a number mean; `before` is what they are joined to, if anything."""
    if not run:
        return Sign.NONE
    if run == "+" and before != "number":
        return Sign.PLUS
    if run == "−" and before != "number":
        return Sign.MINUS
    if run == "-":
        return Sign.HYPHEN if before else Sign.MINUS
    if run in ("-+", "-−") and before:
        return Sign.PLUS if run == "-+" else Sign.MINUS
    return Sign.HYPHEN if run in ("--", "−") and before else Sign.UNSURE


def _sign_in_words(before: Token, number: Token) -> Sign | None:
    """The sign that the word before a number may be."""
    if not number.is_number or number.sign is not Sign.NONE or before.is_number:
        return None
    if before.text in MINUS:
        return Sign.MINUS
    if before.text in PLUS:
        return Sign.PLUS_WORD
    if before.text in SIGN_LETTERS and number.joined and not before.joined:
        return Sign(before.text)
    return None


def _value(digits: str) -> float | None:
    if len(digits) > _LONGEST_NUMBER or len(re.findall("[.,]", digits)) > 1:
        return None
    return float(digits.replace(",", "."))
