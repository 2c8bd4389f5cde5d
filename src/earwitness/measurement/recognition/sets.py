"""What a set of names shows and no single one does: how it writes signs, counts round, and numbers files.

Names are alike where they have the same words, with numbers in the same places. Among those:

- a hyphen that can be left out, or be a plus, is a sign and parts nothing;
- a number without a sign is positive where its likes have a minus, and none a plus;
- ``p`` and ``m`` (or ``n``) before digits are signs where both are there;
- numbers without signs that go past 180 to below 360, and have a mirror image, are counted round: 330 is −30;
- whole numbers that follow each other one by one, in a place that has no signs, count files;
- whole numbers behind the same 0 that rise by one ratio, of one digit and of more, are whole: 2, 4, 8, 16,
  where what stood behind a lost decimal point would be 0.2, 0.4, 0.8, 0.16.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from math import gcd
from typing import Final

from earwitness.measurement.recognition.tokens import Sign, Text

_PLUS: Final = frozenset({Sign.PLUS, Sign.P, Sign.PLUS_WORD})
#: Tenths of a degree: steps from here on are no numbering of files.
_WIDE_STEP: Final = 20
_FEWEST_COUNTED: Final = 3
_FEWEST_RISING: Final = 3
#: Rising by one ratio: up to this one, and so much about it.
_WIDEST_RATIO: Final = 4.0
_ONE_RATIO: Final = 0.1
_DASHES: Final = frozenset("-−+±")
_LETTERS: Final = ("h", "v")


@dataclass
class _Slot:
    """The numbers at one place of names that are alike; asked only after all of them are in."""

    signs: set[Sign] = field(default_factory=set)
    values: set[float] = field(default_factory=set)
    written_whole: bool = True

    @cached_property
    def counts_round(self) -> bool:
        """Whether its numbers are angles from 0 up to below 360, or to 360."""
        if self.signs != {Sign.NONE} or not all(0.0 <= v <= 360.0 for v in self.values):
            return False
        tenths = [round(10.0 * v) for v in self.values]
        if any(abs(10.0 * v - t) > 1e-6 for v, t in zip(self.values, tenths, strict=True)):
            return False
        step = gcd(*tenths)
        mirrored = any(0.0 < v < 180.0 and 360.0 - v in self.values for v in self.values)
        goes_round = bool(self.values & {0.0, 360.0}) and 360.0 - step / 10.0 in self.values
        return step > 0 and 3600 % step == 0 and mirrored and (step >= _WIDE_STEP or goes_round)

    @cached_property
    def counts_files(self) -> bool:
        """Whether its numbers do nothing but follow each other."""
        ordered = sorted(self.values)
        follow = all(after - before == 1.0 for before, after in pairwise(ordered))
        alone = self.signs == {Sign.NONE} and len(ordered) >= _FEWEST_COUNTED
        return alone and follow and not self.counts_round

    @cached_property
    def rises_by_one_ratio(self) -> bool:
        """Whether its numbers are whole, some below ten and some not, and rise by the same ratio."""
        ordered = sorted(self.values)
        if not self.written_whole or len(ordered) < _FEWEST_RISING or not ordered[0] < 10.0 <= ordered[-1]:
            return False
        ratio = (ordered[-1] / ordered[0]) ** (1.0 / (len(ordered) - 1))
        same = all(abs(after / before / ratio - 1.0) < _ONE_RATIO for before, after in pairwise(ordered))
        return same and ratio <= _WIDEST_RATIO

    @cached_property
    def minus(self) -> frozenset[Sign]:
        """What means minus here."""
        hyphens = {Sign.HYPHEN} if self.tells_hyphens else set()
        letters = self.signs & {Sign.M, Sign.N} if self.tells_letters else set()
        return frozenset({Sign.MINUS} | hyphens | letters)

    @cached_property
    def plus(self) -> frozenset[Sign]:
        """What means plus here: nothing does where others have a minus, and none a plus."""
        letters = {Sign.P} if self.tells_letters else set()
        words = {Sign.PLUS_WORD} if self.has_minus else set()
        nothing = {Sign.NONE} if self.has_minus and not self.signs & _PLUS else set()
        return frozenset({Sign.PLUS} | letters | words | nothing)

    @cached_property
    def tells_hyphens(self) -> bool:
        """Whether a hyphen stands where others have a plus, or nothing."""
        return bool(self.signs & {Sign.NONE, Sign.PLUS})

    @cached_property
    def has_minus(self) -> bool:
        """Whether one of its numbers is negative for sure."""
        return bool(self.minus & self.signs)

    @cached_property
    def tells_letters(self) -> bool:
        """Whether letters before its digits are signs: one of them minus, with p or nothing elsewhere."""
        minus, others = self.signs & {Sign.M, Sign.N}, self.signs & {Sign.P, Sign.NONE}
        return len(minus) == 1 and len(others) > 0 and self.signs == minus | others


class Sets:
    """What the names, headings and lines of one call show together."""

    def __init__(self, texts: Sequence[Text]) -> None:
        self._slots: dict[tuple[str, int], _Slot] = {}
        self._letters: dict[tuple[str, int], set[str]] = {}
        for text in texts:
            shape = text.shape
            for index, token in enumerate(text.tokens):
                if token.value is not None:
                    slot = self._slots.setdefault((shape, index), _Slot())
                    slot.signs.add(token.sign)
                    slot.values.add(token.value)
                    slot.written_whole &= token.text.isdecimal() and not token.text.startswith("0")
                elif token.text in _LETTERS:
                    self._letters.setdefault(_without(text, index), set()).add(token.text)

    def signed(self, text: Text, index: int) -> float | None:
        """The number at `index` with its sign, in (−180, 360]; None where the sign isn't sure.

        Zero and a half turn need none, but where they may count files.
        """
        token, slot = text.tokens[index], self._slots[text.shape, index]
        value = token.value
        if value is None:
            return None
        if token.sign in slot.minus:
            return -value
        if token.sign in slot.plus:
            # a dash that stands apart before the number may be its minus
            return None if token.sign is Sign.NONE and set(token.parted) & _DASHES and value else value
        if token.sign is Sign.NONE and slot.counts_round:
            return value - 360.0 if value > 180.0 else value
        return None

    def has_signs(self, text: Text, index: int) -> bool:
        """Whether the likes of the number at `index` have signs, or go round: it is an angle then."""
        slot = self._slots[text.shape, index]
        return slot.counts_round or slot.has_minus or Sign.PLUS in slot.signs

    def counts_files(self, text: Text, index: int) -> bool:
        """Whether the number at `index` does nothing but count."""
        return self._slots[text.shape, index].counts_files

    def goes_further(self, text: Text, index: int) -> bool:
        """Whether the likes of the number at `index` are of two digits or more: it is no version's then."""
        return max(self._slots[text.shape, index].values) >= 10.0

    def are_whole(self, text: Text, index: int) -> bool:
        """Whether the number at `index` is of a series of whole ones, all behind a 0 that isn't theirs."""
        behind, own = self._slots.get((text.shape, index - 1)), self._slots[text.shape, index]
        return behind is not None and behind.values == {0.0} and own.rises_by_one_ratio

    def is_plane(self, text: Text, index: int) -> bool:
        """Whether the single letter at `index` is a plane's: others have the other plane's there."""
        is_letter = text.word(index) in _LETTERS
        return is_letter and len(self._letters[_without(text, index)]) == len(_LETTERS)


def _without(text: Text, index: int) -> tuple[str, int]:
    pieces = text.pieces
    return "".join((*pieces[:index], "?", *pieces[index + 1 :])), index
