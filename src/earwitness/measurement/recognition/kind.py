"""The kind of take that a text says, with what belongs to it: a calibrator's level, a repeat."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from earwitness.measurement.readers.contents import Form
from earwitness.measurement.recognition.answers import Unclear
from earwitness.measurement.recognition.tokens import Sign, Text, text_of_path
from earwitness.measurement.recognition.words import (
    CALIBRATION,
    DERIVED,
    IN_A_ROOM,
    KIND_PAIRS,
    KINDS,
    MICROPHONE,
    NEAR,
    PLAYED_NOISE,
    RADIATORS,
    RADIATORS_ALONE,
    REPEAT,
)
from earwitness.records.takes import DIRECTIONAL, TakeKind

#: In which form each kind comes.
FORMS: Final[Mapping[TakeKind, Form]] = {
    TakeKind.STIMULUS: Form.SOUND,
    TakeKind.NOISE: Form.SOUND,
    TakeKind.SELF_NOISE: Form.SOUND,
    TakeKind.ENDURANCE: Form.SOUND,
    TakeKind.TWO_TONES: Form.SOUND,
    TakeKind.MULTITONE: Form.SOUND,
    TakeKind.CALIBRATOR: Form.SOUND,
    TakeKind.IMPULSE_RESPONSE: Form.SOUND,
    TakeKind.NEAR_FIELD: Form.SOUND,
    TakeKind.REFERENCE: Form.SOUND,
    TakeKind.RESISTOR: Form.SOUND,
    TakeKind.MICROPHONE_CALIBRATION: Form.RESPONSES,
}
#: Kinds that have no direction: with one in the name, something else may be meant.
_WITHOUT_DIRECTION: Final = frozenset(
    {
        TakeKind.STIMULUS,
        TakeKind.IMPEDANCE,
        TakeKind.RESISTOR,
        TakeKind.NOISE,
        TakeKind.SELF_NOISE,
        TakeKind.ENDURANCE,
        TakeKind.TWO_TONES,
        TakeKind.MULTITONE,
        TakeKind.CALIBRATOR,
        TakeKind.MICROPHONE_CALIBRATION,
        TakeKind.REFERENCE,
    }
)
#: Kinds that a stimulus of their own is played for, which its name says.
STEADY: Final = frozenset({TakeKind.ENDURANCE, TakeKind.TWO_TONES, TakeKind.MULTITONE})
#: Kinds whose names say others too, which they aren't.
_SAID_WITH: Final[Mapping[TakeKind, frozenset[TakeKind]]] = {
    TakeKind.SELF_NOISE: frozenset({TakeKind.NOISE}),
    TakeKind.STIMULUS: frozenset({TakeKind.ENDURANCE, TakeKind.TWO_TONES, TakeKind.MULTITONE}),
}
#: Levels that calibrators have, dB re 20 µPa: taken from a bare number. With dB beside it any is.
_USUAL_LEVELS_DB: Final = (94.0, 104.0, 114.0, 124.0)
_LEVELS_DB: Final = (70.0, 140.0)
#: A microphone this near stands in the near field of a radiator.
_NEAR_M: Final = 0.3
LENGTHS: Final = {"mm": 0.001, "cm": 0.01}
INCHES: Final = frozenset({"in", "inch", "inches", "zoll"})


@dataclass(frozen=True, slots=True)
class Repeat:
    """The repeat that a text says, 1 where it says none, and the places of its words and numbers."""

    count: int = 1
    places: frozenset[int] = frozenset()
    unclear: tuple[Unclear, ...] = ()


def kind_in(text: Text, form: Form, *, says_plane: bool, says_angle: bool) -> TakeKind | Unclear:
    """The kind that a name says, else the kind that the form has where a name says none.

    `says_plane` and `says_angle` hold where the name says one.
    """
    words = text.words
    found = {KINDS[word] for word in words if word in KINDS}
    found |= {kind for pair, kind in KIND_PAIRS.items() if text.has(*pair)}
    if not found and words & NEAR and words & RADIATORS:
        found.add(TakeKind.NEAR_FIELD)
    if not found and words & (MICROPHONE | CALIBRATION):
        calibrated = _calibrated(text, form, says_plane=says_plane, says_angle=says_angle)
        if isinstance(calibrated, Unclear):
            return calibrated
        found |= {calibrated} if calibrated else set()
    for kind, within in _SAID_WITH.items():
        found -= within if kind in found else set()
    if len(found) > 1:
        named = " and ".join(sorted(str(kind).replace("_", " ") for kind in found))
        return Unclear("kind", f"its name says {named}")
    kind = found.pop() if found else (TakeKind.SWEEP if form is Form.SOUND else TakeKind.RESPONSE)
    # a microphone is calibrated at an incidence, which is no direction of the loudspeaker
    incidence = kind is TakeKind.MICROPHONE_CALIBRATION
    has_direction = says_plane or (says_angle and not incidence)
    return _why_not(text, kind, form, has_direction=has_direction) or kind


def says_stimulus(path: str) -> bool:
    """Whether a file's name says that it is a stimulus, which was made and not recorded."""
    text = text_of_path(path)
    return any(KINDS.get(word) is TakeKind.STIMULUS for word in text.words) or text.has("test", "signal")


def steady_kind_of(path: str) -> TakeKind | None:
    """Whether a file's name says a run, or which tones; None where it says none of them."""
    text = text_of_path(path)
    said = [KINDS[word] for word in text.words if word in KINDS]
    said += [kind for pair, kind in KIND_PAIRS.items() if text.has(*pair)]
    return next((kind for kind in said if kind in STEADY), None)


def _calibrated(text: Text, form: Form, *, says_plane: bool, says_angle: bool) -> TakeKind | Unclear | None:
    """What a word for microphone or calibration says; None where it says nothing."""
    microphone, calibration = text.words & MICROPHONE, text.words & CALIBRATION
    if microphone and calibration:
        return TakeKind.MICROPHONE_CALIBRATION
    if calibration:
        if form is Form.SOUND and any(text.unit(i) in ("db", "dbspl") for i in range(len(text.tokens))):
            return TakeKind.CALIBRATOR
        return Unclear("kind", "whose calibration it is isn't said: the microphone's or a calibrator's tone")
    if says_plane or (says_angle and form is Form.SOUND):
        return None
    if says_angle or any(
        t.value is not None and len(t.text) <= 3 and t.value % 5.0 == 0.0 for t in text.tokens
    ):
        return Unclear("kind", "whether it is the microphone's own response isn't said")
    return TakeKind.MICROPHONE_CALIBRATION


def _why_not(text: Text, kind: TakeKind, form: Form, *, has_direction: bool) -> Unclear | None:
    """Why a kind that the words say isn't it for sure."""
    named = str(kind).replace("_", " ")
    expected = FORMS.get(kind, form)
    if kind is TakeKind.NEAR_FIELD and form is not expected:
        return Unclear("kind", "a near field is read from its recording, not from text")
    if form is not expected:
        other = "a recording" if expected is Form.SOUND else "text"
        return Unclear("kind", f"named as {named}, which is {other}")
    if kind in _WITHOUT_DIRECTION and has_direction:
        return Unclear("kind", f"named as {named}, which has no direction, and says one")
    if kind is TakeKind.NOISE and text.words & PLAYED_NOISE:
        return Unclear("kind", "that noise is played, and may be the stimulus or a recording of it")
    return _why_not_directional(text) if kind in DIRECTIONAL else None


def _why_not_directional(text: Text) -> Unclear | None:
    """Why what looks like a response of the loudspeaker may be something else."""
    words = text.words
    if derived := words & DERIVED:
        return Unclear("kind", f"its name says {min(derived)}, which is no response as it was measured")
    if any(text.has(*pair) for pair in IN_A_ROOM):
        return Unclear("kind", "its name says in a room, which is no response of the loudspeaker alone")
    if alone := words & RADIATORS_ALONE:
        line = f"whether it is the response of the {min(alone)} alone or of the whole loudspeaker isn't said"
        return Unclear("kind", line)
    if near := words & NEAR:
        return Unclear("kind", f"whether {min(near)} means a near field isn't said")
    for index, token in enumerate(text.tokens):
        scale = LENGTHS.get(text.unit(index))
        if token.value is not None and scale and token.value * scale < _NEAR_M:
            return Unclear("kind", f"whether {token.text} {text.unit(index)} means a near field isn't said")
    return None


def repeat_in(text: Text) -> Repeat:
    """Which repeat a text says."""
    found, places = set(), set()
    for index, token in enumerate(text.tokens):
        if token.is_number or token.text not in REPEAT:
            continue
        number = text.at(index + 1)
        places |= {index, index + 1}
        signs = (Sign.NONE, Sign.HYPHEN)
        whole = number is not None and number.text.isdecimal() and len(number.text) <= 4
        if number is None or not whole or number.sign not in signs or int(number.text) < 1:
            return Repeat(unclear=(Unclear("repeat", "which repeat it is isn't said, as in repeat2"),))
        found.add(int(number.text))
    if len(found) > 1:
        return Repeat(unclear=(Unclear("repeat", "more than one repeat is in the name"),))
    return Repeat(found.pop() if found else 1, frozenset(places))


def calibrator_level_db(text: Text) -> float | Unclear:
    """The calibrator's level that a name says, dB re 20 µPa."""
    found = set()
    for index, token in enumerate(text.tokens):
        if token.value is None or token.sign in (Sign.MINUS, Sign.UNSURE):
            continue
        unit = text.unit(index)
        with_unit = unit in ("db", "dbspl") and _LEVELS_DB[0] <= token.value <= _LEVELS_DB[1]
        bare = not unit and not (token.joined and token.sign is Sign.NONE)
        if with_unit or (bare and token.value in _USUAL_LEVELS_DB):
            found.add(token.value)
    if len(found) != 1:
        return Unclear("level", "the calibrator's level isn't said, as in calibrator_94")
    return found.pop()
