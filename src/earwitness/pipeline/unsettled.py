"""What can't be told of files, as a person is told it: with how the case counts signs, and what to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from earwitness.measurement.recognition.answers import Recognition, Subject, Unclear
from earwitness.pipeline.arrivals import Doubt
from earwitness.records.facts import Rig
from earwitness.records.takes import Drive, Orbit, Take

_WRITE_ENTRY: Final = "rename it, or write its entry in takes.toml first"
_REMEDIES: Final[Mapping[Subject, str]] = {
    "drive": f"{_WRITE_ENTRY}; --drive states a drive for all",
    "channel": "state --read microphone=1 or the like, or write an entry in takes.toml with its selector",
    "stimulus": "write its entry in takes.toml first, with its stimulus",
    "distance": "correct the file, or write its entry in takes.toml if it is right",
}
_NO_SIGN: Final = "isn't said"


def doubt_of(one: Recognition, rig: Rig, level_option: str, *, has_stimulus: bool) -> Doubt:
    """All that can't be told of one part, and what to do about the first.

    Parameters
    ----------
    level_option
        The option of its reader that states what levels are; empty where it has none.
    has_stimulus
        Whether a stimulus is there that may have been played.
    """
    first = one.doubts[0]
    remedy = _REMEDIES.get(first.subject, _WRITE_ENTRY)
    if first.subject == "level" and level_option:
        remedy = f"state with --read {level_option}=… what its values are, or export it in dB re 20 µPa"
    elif first.subject == "stimulus" and not has_stimulus:
        remedy = "add the file that was played, of the recording's sample rate"
    problem = "; ".join(_told(doubt, rig) for doubt in one.doubts)
    return Doubt(one.path, problem, remedy, one.selector, first.subject)


def _told(doubt: Unclear, rig: Rig) -> str:
    without_sign = doubt.subject == "sign" and doubt.problem.endswith(_NO_SIGN)
    return f"{doubt}: + is {positive(rig)}" if without_sign else str(doubt)


def positive(rig: Rig) -> str:
    """Where positive angles lie, as the case states."""
    upward = "downward" if rig.positive_vertical == "down" else "upward"
    return f"the loudspeaker's {rig.positive_horizontal or 'left'}, or {upward}"


def signs_of(takes: Sequence[Take], rig: Rig) -> str:
    """One line on where positive angles are taken to lie; empty where no angle has a side."""
    sided = {
        take.key.direction.orbit
        for take in takes
        if take.key.direction is not None and take.key.direction.shared.angle_deg not in (0.0, 180.0)
    }
    parts = []
    if Orbit.HORIZONTAL in sided:
        stated = rig.positive_horizontal
        said = "as case.toml states" if stated else "not stated: rig.positive_horizontal in case.toml"
        parts.append(f"horizontal + is the loudspeaker's {stated or 'left'} ({said})")
    if Orbit.VERTICAL in sided:
        stated_vertical = rig.positive_vertical
        said = "as case.toml states" if stated_vertical else "not stated: rig.positive_vertical in case.toml"
        parts.append(f"vertical + is {stated_vertical or 'up'} ({said})")
    return ", ".join(parts)


def other_drives(takes: Sequence[Take], stated: Drive | None) -> str:
    """One line on takes for which the call's drive doesn't hold; empty where there are none."""
    others = [take for take in takes if stated and take.key.drive and take.key.drive != stated]
    if stated is None or not others:
        return ""
    counted = f"{others[0].id} says {others[0].key.drive.label}" if others[0].key.drive else ""
    more = f", and {len(others) - 1} more say their own" if len(others) > 1 else ""
    return f"--drive {stated.label} is for files that say none: {counted}{more}"
