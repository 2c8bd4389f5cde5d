"""Plane and signed angle that a text says, each by itself, to be held against those of other texts."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from earwitness.measurement.recognition.answers import Subject, Unclear
from earwitness.measurement.recognition.sets import Sets
from earwitness.measurement.recognition.tokens import Sign, Text
from earwitness.measurement.recognition.words import (
    ANGLE,
    AZIMUTH,
    DEGREES,
    DOWN,
    ELEVATION,
    LEVELS,
    MAY_BE_VERSION,
    ON_AXIS,
    OTHER_NUMBERS,
    PLANES,
    PLANES_BEFORE_NUMBERS,
    SIDES,
    SPHERICAL,
    TURNED,
    TURNS,
    UP,
)
from earwitness.records.takes import Direction, Orbit

_NEEDS_NO_SIGN: Final = (0.0, 180.0)
#: Words that may stand between a plane and its angle.
_BETWEEN: Final = SIDES | UP | DOWN | TURNED | {"axis", "plane", "ebene", "plan", "plano"}
#: What may stand where the point of a decimal was, and decimals of two digits that angles have.
_PARTS_DECIMALS: Final = frozenset({"_", " ", "p"})
_USUAL_DECIMALS: Final = frozenset({"25", "50", "75"})
#: What doesn't make a number of digits that are joined to a word.
_SIGNED: Final = (Sign.PLUS, Sign.MINUS, Sign.HYPHEN)
_NO_SIGN_FOR_SURE: Final = (Sign.NONE, Sign.P, Sign.M, Sign.N)


@dataclass(frozen=True, slots=True)
class SaidDirection:
    """What one text says of the direction.

    `angle_deg` has its sign and is in (−180, 180]; `magnitude_deg` is the number without it. `direction` is
    one that azimuth and elevation give together. `planes` are all that are said, each with what says it.
    `is_sure` holds where the text itself says that its number is an angle; `may_be_settled` where another
    text that says the same angle with its sign settles what is `unclear`.
    """

    planes: frozenset[tuple[Orbit, str]] = frozenset()
    angle_deg: float | None = None
    magnitude_deg: float | None = None
    direction: Direction | None = None
    is_sure: bool = False
    may_be_settled: bool = False
    unclear: tuple[Unclear, ...] = ()

    @property
    def orbits(self) -> frozenset[Orbit]:
        """The planes that are said."""
        return frozenset(orbit for orbit, _ in self.planes)


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A number that may be the angle.

    `signed` is its value where the sign is known; `marked` holds where the text marks it as an angle,
    `has_sign` where something stands before it that may be a sign, `aside` where it is most likely something
    else: then it isn't chosen, but keeps a number from being so that isn't marked.
    """

    index: int
    magnitude: float
    signed: float | None
    marked: bool
    has_sign: bool = False
    aside: bool = False


def direction_in(text: Text, sets: Sets, spent: Collection[int]) -> SaidDirection:
    """What `text` says; numbers at the places `spent` say something else."""
    for index, token in enumerate(text.tokens):
        if token.is_number and token.value is None and text.unit(index) in DEGREES:
            return _unclear("angle", f"whether {token.text}° is an angle isn't clear")
    if text.words & SPHERICAL:
        return _unclear("angle", "theta and phi are counted in more than one way")
    pair = _pair(text)
    if pair is not None:
        return _aes69(text, *pair)
    return _plane_and_angle(text, sets, spent)


def _plane_and_angle(text: Text, sets: Sets, spent: Collection[int]) -> SaidDirection:
    """What `text` says where it says plane and angle, each by itself."""
    planes = _planes(text, sets)
    candidates = [c for i in range(len(text.tokens)) if (c := _candidate(text, i, sets, spent))]
    if any(text.find(words) is not None for words in ON_AXIS):
        candidates.append(_Candidate(-1, 0.0, 0.0, True))
    sure = any(c.marked or c.signed is not None for c in candidates if not c.aside)
    said = _chosen(candidates)
    if isinstance(said, Unclear):
        return SaidDirection(planes, is_sure=sure, may_be_settled=not sure, unclear=(said,))
    if said is None:
        return SaidDirection(planes)
    angle, why = _with_words(text, said, frozenset(orbit for orbit, _ in planes))
    decimals = _lost_decimals(text, said.index)
    why = why if decimals is None else decimals
    if angle is not None and not -180.0 <= angle <= 180.0:
        why = Unclear("angle", f"an angle of {angle:g}° lies outside ±180°".replace("-", "−"))
    if why is not None:
        without_sign = why == _no_sign(said.magnitude)
        return SaidDirection(planes, None, said.magnitude, None, sure, without_sign, (why,))
    angle = 180.0 if angle == -180.0 else angle
    return SaidDirection(planes, None if angle is None else angle + 0.0, said.magnitude, is_sure=sure)


def _lost_decimals(text: Text, index: int) -> Unclear | None:
    """The doubt of digits behind an angle that may be its decimals: ``+22_5``."""
    number, after = text.at(index), text.at(index + 1)
    if index < 0 or number is None or after is None or after.where != number.where:
        return None
    apart = after.is_number and after.sign is Sign.NONE and after.parted in _PARTS_DECIMALS
    digits = len(after.text) == 1 or after.text in _USUAL_DECIMALS
    if not (apart and digits and number.text.isdecimal()) or after.text == "0" or text.unit(index + 1):
        return None
    return Unclear(
        "angle", f"whether {number.text}{after.parted}{after.text} is {number.text}.{after.text}° isn't clear"
    )


def _unclear(subject: Subject, problem: str) -> SaidDirection:
    return SaidDirection(is_sure=True, unclear=(Unclear(subject, problem),))


def _planes(text: Text, sets: Sets) -> frozenset[tuple[Orbit, str]]:
    found = set()
    for index, token in enumerate(text.tokens):
        if token.is_number:
            continue
        if token.text in PLANES and not _is_version(text, index, sets):
            found.add((PLANES[token.text], token.where))
        elif token.text in PLANES_BEFORE_NUMBERS and _is_plane(text, index, sets):
            found.add((PLANES_BEFORE_NUMBERS[token.text], token.where))
    return frozenset(found)


def _is_plane(text: Text, index: int, sets: Sets) -> bool:
    """Whether a short word says a plane: it is joined to an angle, or others have the other plane there."""
    before, after = text.at(index - 1), text.at(index + 1)
    if before is not None and before.is_number and text.tokens[index].joined:
        return text.unit(index - 1) == "h" and before.sign in _SIGNED
    if after is None or not after.is_number:
        return sets.is_plane(text, index)
    if len(text.word(index)) == 1 and not after.joined:
        return sets.is_plane(text, index)
    return not _is_version(text, index, sets)


def _is_version(text: Text, index: int, sets: Sets) -> bool:
    """Whether a number after the word at `index` may count versions: ``v2``, ``ver 1.2``."""
    number = text.at(index + 1)
    if text.word(index) not in MAY_BE_VERSION or number is None or number.is_word:
        return False
    if number.value is None:
        return True
    plain = number.sign is Sign.NONE and number.value < 10.0 and len(number.text) < 3
    return plain and not (sets.goes_further(text, index + 1) or sets.has_signs(text, index + 1))


def _candidate(text: Text, index: int, sets: Sets, spent: Collection[int]) -> _Candidate | None:
    """The number at `index` as an angle, None where it is something else."""
    token, unit = text.tokens[index], text.unit(index)
    if token.value is None or index in spent or not _is_of_an_angle(text, index):
        return None
    before = text.word(index - 1)
    named = _is_named(text, index, sets)
    has_signs = token.sign is Sign.NONE and sets.has_signs(text, index)
    part_of_a_word = token.joined and token.sign in _NO_SIGN_FOR_SURE and not (named or has_signs)
    letter = before in MAY_BE_VERSION and not (named or text.is_unit(index - 1)) and token.sign is Sign.NONE
    of_other = before in OTHER_NUMBERS and (unit not in DEGREES or before in TURNS | LEVELS)
    has_sign = token.sign is not Sign.NONE
    if (sets.counts_files(text, index) and unit not in DEGREES) or (of_other and not has_sign):
        return None
    aside = part_of_a_word or letter or of_other
    marked = not aside and (named or unit in DEGREES or _has_side(text, index) or has_signs)
    return _Candidate(index, token.value, sets.signed(text, index), marked, has_sign, aside)


def _is_named(text: Text, index: int, sets: Sets) -> bool:
    """Whether a word for a plane or an angle stands before the number, with nothing but a side between."""
    place = index - 1
    while text.word(place) in _BETWEEN:
        place -= 1
    word = text.word(place)
    if word in ANGLE or (word in PLANES and not _is_version(text, place, sets)):
        return True
    return place == index - 1 and word in PLANES_BEFORE_NUMBERS and _is_plane(text, place, sets)


def _is_of_an_angle(text: Text, index: int) -> bool:
    """Whether the number at `index` has the size, the digits and the unit of an angle."""
    token, unit = text.tokens[index], text.unit(index)
    whole, _, decimals = token.text.replace(",", ".").partition(".")
    if (token.value or 0.0) > 360.0 or len(whole) > 3 or ("," in token.text and len(decimals) > 1):
        return False
    # a V that stands apart behind a number with a sign is no unit
    apart = unit == "v" and not text.tokens[index + 1].joined and token.sign is not Sign.NONE
    before_plane = unit == "h" and text.tokens[index + 1].joined and token.sign in _SIGNED
    return not unit or unit in DEGREES or apart or before_plane or _has_side(text, index)


def _has_side(text: Text, index: int) -> bool:
    """Whether a letter for left or right is joined to the number at `index`."""
    return text.unit(index) in ("l", "r") and text.tokens[index + 1].joined


def _chosen(candidates: list[_Candidate]) -> _Candidate | Unclear | None:
    """The one candidate that is the angle: what the text marks as one goes before what has only a sign."""
    likely = [c for c in candidates if not c.aside]
    marked = [c for c in likely if c.marked]
    best = marked or [c for c in likely if c.signed is not None] or likely
    if not best:
        return None
    chosen = next((c for c in best if c.signed is not None), best[0])
    rivals = [c for c in likely if c in best or c.has_sign]
    rivals += [] if marked else [c for c in candidates if c.has_sign or _may_be_angle(c)]
    if any(_differs(rival, chosen) for rival in rivals):
        return Unclear("angle", "more than one angle may be in the name")
    if chosen.marked or chosen.signed is not None:
        return chosen
    return Unclear("angle", f"whether {chosen.magnitude:g} is an angle isn't said, as in horizontal_+030")


def _differs(rival: _Candidate, chosen: _Candidate) -> bool:
    """Whether another number says another angle: its size or sign differs, or its sign isn't sure."""
    without = rival.signed is None and chosen.signed is not None
    unsure = without and (rival.has_sign or not rival.marked)
    other = rival.signed is not None and rival.signed != chosen.signed
    return rival.magnitude != chosen.magnitude or other or unsure


def _may_be_angle(candidate: _Candidate) -> bool:
    """Whether an unmarked number is one that turntables stop at."""
    return candidate.magnitude % 5.0 == 0.0


def _with_words(
    text: Text, said: _Candidate, orbits: frozenset[Orbit]
) -> tuple[float | None, Unclear | None]:
    """The angle with its sign, which a word may say, or why it isn't said."""
    angle, magnitude = said.signed, said.magnitude
    if magnitude in _NEEDS_NO_SIGN:
        return magnitude if angle is None else angle, None
    if orbits == {Orbit.VERTICAL}:
        angle, why = _by_height(text, said)
    else:
        why = _by_side(text)
    if why is None and angle is None:
        outside = Unclear("angle", f"an angle of {magnitude:g}° lies outside ±180°")
        why = outside if magnitude > 180.0 else _no_sign(magnitude)
    return (angle, None) if why is None else (None, why)


def _by_side(text: Text) -> Unclear | None:
    """The doubt of a word for left or right."""
    sides = text.words & SIDES
    if not sides:
        return None
    word = min(sides, key=lambda side: (-len(side), side))
    return Unclear("sign", f"whose {word} is meant isn't said")


def _by_height(text: Text, said: _Candidate) -> tuple[float | None, Unclear | None]:
    """A vertical angle with the sign that a word for above or below gives it."""
    if text.words & TURNED:
        return None, Unclear("sign", "which way is up isn't clear where the loudspeaker was turned")
    worded = _height(text, said.index)
    if len(worded) > 1 or (said.signed is not None and worded and said.signed * sum(worded) < 0.0):
        return None, Unclear("sign", "the words and the sign of the angle contradict each other")
    if said.signed is None and worded and text.tokens[said.index].sign is Sign.NONE:
        return said.magnitude * worded.pop(), None
    return said.signed, None


def _no_sign(magnitude: float) -> Unclear:
    return Unclear("sign", f"the sign of {magnitude:g}° isn't said")


def _height(text: Text, index: int) -> set[int]:
    """+1 for a word that says above, −1 for one that says below, beside the angle or the plane's word."""
    found = set()
    for place, token in enumerate(text.tokens):
        after_unit = place - index == 2 and text.unit(index) in DEGREES
        by_plane = any(text.word(place + step) in PLANES for step in (-1, 1))
        beside = abs(place - index) == 1 or after_unit or by_plane
        if beside and token.is_word and token.text in UP | DOWN:
            found.add(1 if token.text in UP else -1)
    return found


def _pair(text: Text) -> tuple[int, int] | None:
    """The places of an azimuth and an elevation, each said once."""
    places = {}
    for name, words in (("azimuth", AZIMUTH), ("elevation", ELEVATION)):
        found = [
            i + 1
            for i in range(len(text.tokens))
            if text.word(i) in words and (after := text.at(i + 1)) is not None and after.value is not None
        ]
        if len(found) != 1:
            return None
        places[name] = found[0]
    return places["azimuth"], places["elevation"]


def _aes69(text: Text, azimuth: int, elevation: int) -> SaidDirection:
    """The direction that azimuth and elevation give; a hyphen is a sign where the other number has none."""
    signs = [text.tokens[i].sign for i in (azimuth, elevation)]
    values = [text.tokens[i].value or 0.0 for i in (azimuth, elevation)]
    numbers = []
    for value, sign, other in zip(values, signs, reversed(signs), strict=True):
        hyphen = sign is Sign.HYPHEN and other in (Sign.NONE, Sign.PLUS)
        if sign in (Sign.NONE, Sign.PLUS):
            numbers.append(value)
        elif sign is Sign.MINUS or hyphen:
            numbers.append(-value)
        else:
            return _unclear("sign", "whether the hyphens before azimuth and elevation are signs isn't clear")
    if not -360.0 <= numbers[0] <= 360.0 or not -90.0 <= numbers[1] <= 90.0:
        return _unclear("angle", "the azimuth lies outside ±360°, or the elevation outside ±90°")
    direction = Direction.at(*numbers)
    if direction is None:
        return _unclear("angle", "its azimuth and elevation lie on neither orbit")
    return SaidDirection(direction=direction, angle_deg=direction.angle_deg, is_sure=True)
