"""Causes in plain words: what each is, how sure, parameters that a person can check, what speaks for it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from earwitness.derive.formatting import decimals_for, value_text
from earwitness.derive.numerals import frequency
from earwitness.findings.causes.form import WIDE
from earwitness.methods.ipcc_2010 import likelihood
from earwitness.records.causes import Cause, CauseParameter, CauseSaid, FeatureCauses
from earwitness.records.sentences import EMPTY, Number, Sentence, say

NAMES: Final[Mapping[Cause, str]] = {
    Cause.RESONANCE: "a resonance of a drive unit or of the box",
    Cause.EDGE_DIFFRACTION: "the box's edges",
    Cause.SPACED_SOURCES: "two drive units apart",
    Cause.CROSSOVER_MISALIGNMENT: "drive units out of step at the crossover",
    Cause.DRIVER_DIRECTIVITY: "a drive unit that beams",
    Cause.VOICING: "a broad shape that all directions share",
    Cause.PORT_OR_CAVITY: "a port or a cavity",
    Cause.ARTEFACT: "the measurement and not the loudspeaker",
    Cause.NONLINEAR: "a drive unit at its limit, or a limiter",
    Cause.THERMAL: "a voice coil that warms",
}
#: From here on a cause counts as one of the feature's.
BELIEVED: Final = 0.5
#: From here on it can't be told at all.
LOST: Final = 0.5
#: What speaks more against a cause than for it.
IMPROBABLE: Final = ("unlikely", "very unlikely")
LEAST_SPREAD: Final = 1e-9


def cause_sentences(causes: FeatureCauses, root: str) -> Sentence:
    """What causes it and how sure, with the runner-up: ``Very likely two drive units apart (0.16 m). …``.

    `root` is the reference of the causes.
    """
    if causes.cannot_tell >= LOST:
        return say("What causes it can't be told: ", causes.doubt or "nothing explains it", ".")
    believed = [i for i, each in enumerate(causes.said) if each.probability >= BELIEVED]
    told = EMPTY
    for place, index in enumerate(believed):
        told += say("" if place == 0 else " ") + _believed(causes.said[index], f"{root}/said/{index}", place)
    following = causes.said[len(believed) :]
    if not believed:
        told = _none_stands_out(following)
    elif following:
        after = following[0]
        told += say(f" Next comes {NAMES[after.cause]}: {likelihood(after.probability)}.")
    if causes.cannot_tell > 0.0:
        told += say(f" That isn't the whole of it: {causes.doubt}.")
    return told


def _none_stands_out(said: Sequence[CauseSaid]) -> Sentence:
    """The likeliest and the next, where none is believed."""
    first = said[0]
    sure = likelihood(first.probability)
    after = f"; next comes {NAMES[said[1].cause]}" if len(said) > 1 else ""
    if sure in IMPROBABLE:
        return say(f"No cause stands out: even the likeliest, {NAMES[first.cause]}, is {sure}{after}.")
    return say(f"No cause stands out: {sure} it is {NAMES[first.cause]}{after}.")


def _believed(said: CauseSaid, root: str, place: int) -> Sentence:
    sure = likelihood(said.probability)
    opening = f"{sure[0].upper()}{sure[1:]} " if place == 0 else f"Also, {sure}, "
    shown = parameters(said, root)
    return say(opening, NAMES[said.cause], *((" (", shown, ")") if shown.parts else ()), ".")


def parameters(said: CauseSaid, root: str) -> Sentence:
    """The fitted parameters as a person would check them, between commas."""
    told = EMPTY
    for index, one in enumerate(said.parameters):
        write = PARAMETERS.get(one.name)
        if write is not None:
            told += say(", " if told.parts else "") + write(one, f"{root}/parameters/{index}")
    return told


def details(said: CauseSaid, root: str) -> Sentence:
    """One cause in full: its probability, its parameters with their intervals, evidence for and against."""
    told = say(
        f"{NAMES[said.cause][0].upper()}{NAMES[said.cause][1:]}: ",
        Number(value_text(100.0 * said.probability, "%", 0), said.probability, f"{root}/probability"),
    )
    if said.effect_db is None:
        told += say(", from its frequency alone")
    else:
        told += say(
            "; it does ",
            Number(value_text(said.effect_db, "dB", 1, signed=True), said.effect_db, f"{root}/effect_db"),
            " there",
        )
    for index, one in enumerate(said.parameters):
        write = PARAMETERS.get(one.name)
        if write is not None:
            here = f"{root}/parameters/{index}"
            told += say("; ") + write(one, here) + say(" (between ", _interval(one, here), ")")
    if said.evidence:
        told += say("; for it: ", ", ".join(said.evidence))
    if said.against:
        told += say("; against it: ", ", ".join(said.against))
    return told + say(".")


def _decimals(one: CauseParameter, scale: float) -> int:
    spread = max((one.high - one.low) / (2.0 * WIDE), LEAST_SPREAD) * scale
    return min(decimals_for(spread), 3)


def _scaled(one: CauseParameter, root: str, unit: str, scale: float = 1.0) -> Number:
    shown = one.value * scale
    return Number(value_text(shown, unit, _decimals(one, scale)), one.value, f"{root}/value")


def _late(one: CauseParameter, root: str) -> Sentence:
    which = "the one that sounds higher" if one.value >= 0.0 else "the one that sounds lower"
    return say(f"{which} ", _delay(one, root), " late")


def _delay(one: CauseParameter, root: str) -> Number:
    return Number(value_text(abs(one.value) * 1e3, "ms", 2), one.value, f"{root}/value")


def _turned(one: CauseParameter, root: str) -> Sentence:
    if one.low <= 0.0 <= one.high:
        end, value = ("high", one.high) if one.high >= -one.low else ("low", one.low)
        most = Number(value_text(abs(value) * 1e3, "ms", 2), value, f"{root}/{end}")
        return say("one connected the other way round, and otherwise in step to ", most)
    late = "" if one.value >= 0.0 else "the other "
    return say("one connected the other way round, and ", late, _delay(one, root), " late")


def _else_late(one: CauseParameter, root: str) -> Sentence:
    return say("or, less likely, none so but ", _late(one, root))


PARAMETERS: Final[Mapping[str, Callable[[CauseParameter, str], Sentence]]] = {
    "spacing_m": lambda one, root: say(_scaled(one, root, "m")),
    "disc_radius_m": lambda one, root: say("as a disc of ", _scaled(one, root, "mm", 1e3), " radius"),
    "edge_to_side_m": lambda one, root: say(_scaled(one, root, "m"), " to the side"),
    "edge_up_m": lambda one, root: say(_scaled(one, root, "m"), " above the reference point"),
    "edge_down_m": lambda one, root: say(_scaled(one, root, "m"), " below it"),
    "late_s": _late,
    "turned_late_s": _turned,
    "else_late_s": _else_late,
    "delay_s": lambda one, root: say("a copy ", _scaled(one, root, "ms", 1e3), " late"),
    "frequency_hz": lambda one, root: say("at ", frequency(one.value, f"{root}/value")),
    "q": lambda one, root: say("Q ", _scaled(one, root, "")),
    "apart_m": lambda one, root: say(_scaled(one, root, "m"), " from the nearest drive unit"),
    "added_ohm": lambda one, root: say("its resistance grows by ", _scaled(one, root, "Ω")),
}
#: In what unit and scale an interval is printed.
_UNITS: Final[Mapping[str, tuple[str, float]]] = {
    "disc_radius_m": ("mm", 1e3),
    "late_s": ("ms", 1e3),
    "turned_late_s": ("ms", 1e3),
    "else_late_s": ("ms", 1e3),
    "delay_s": ("ms", 1e3),
    "frequency_hz": ("Hz", 1.0),
    "q": ("", 1.0),
    "added_ohm": ("Ω", 1.0),
}


def _interval(one: CauseParameter, root: str) -> Sentence:
    unit, scale = _UNITS.get(one.name, ("m", 1.0))
    decimals = _decimals(one, scale)
    return say(
        Number(value_text(one.low * scale, unit, decimals), one.low, f"{root}/low"),
        " and ",
        Number(value_text(one.high * scale, unit, decimals), one.high, f"{root}/high"),
    )
