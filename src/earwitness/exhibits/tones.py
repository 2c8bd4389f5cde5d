"""Many tones at once: levels of the tones, and of what lies between them, by third octave and drive."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from earwitness.derive.numerals import frequency, hours_a_day, quantity
from earwitness.derive.tone_figures import worst_band
from earwitness.exhibits.axes import frequency_axis, hanging
from earwitness.exhibits.description import Exhibit, Line, Panel, Role
from earwitness.exhibits.wording import axis_span, joined
from earwitness.records.curves import CurveSet
from earwitness.records.grid import Floats
from earwitness.records.sentences import EMPTY, Sentence, Term, say
from earwitness.records.tones import Multitone

HEIGHT: Final = 0.42
CURVE: Final = "between_tones"
SPAN_DB: Final = (60.0, 110.0)
#: Third octaves that are read out, by their place from the first one: every octave.
READ_EVERY: Final = 3
#: A third octave reaches so far to either side of its middle (IEC 61260-1, base ten).
SIXTH: Final = 10.0**0.05
#: The loudest drives, the loudest last.
ROLES: Final = (Role.DRIVE_2, Role.DRIVE_5)


def tones(curves: CurveSet) -> Exhibit | None:
    """The lowest and the greatest drive; None where no multitone was recorded."""
    every = curves.tones.multitone
    if not every:
        return None
    shown = every if len(every) == 1 else (every[0], every[-1])
    rows = list(range(len(every))) if len(every) == 1 else [0, len(every) - 1]
    loud = shown[-1]
    lines = [
        Line("tones", "tones", Role.QUIET, *steps(loud.bands_hz, loud.tones_db)),
    ]
    for one, role in reversed(list(zip(shown, ROLES[-len(shown) :], strict=True))):
        lines += _between(one, role)
    axis = hanging("level re all tones", [line.y for line in lines], *SPAN_DB)
    return Exhibit(
        id="tones",
        letter="",
        title="Between many tones",
        caption=say(
            "Many tones play at once. Top: the tones, by third octave. Below: what the loudspeaker adds "
            "between them, of every order at once; in dots where noise hides it, and it is somewhere below. ",
            "All is as the microphone found it, with the room's part in it. ",
            _caution(loud, rows[-1]),
        ),
        conditions=_conditions(loud, rows[-1]),
        alt=say(
            "Levels of tones and of what lies between them, ", axis_span(), ". ", _read_out(loud, rows[-1])
        ),
        panels=(Panel("tones", frequency_axis(), axis, tuple(lines), height_per_width=HEIGHT),),
    )


def _between(one: Multitone, role: Role) -> list[Line]:
    level, heard = np.array(one.between_db), np.array(one.heard)
    label = f"between at {one.drive.label}"
    found = []
    if heard.any():
        hertz, shown = steps(one.bands_hz, np.where(heard, level, np.nan))
        _, unsure = steps(one.bands_hz, np.where(heard, np.array(one.uncertainty_db), np.nan))
        found.append(Line(CURVE, label, role, hertz, shown, unsure, short=one.drive.label))
    if not heard.all():
        hertz, hidden = steps(one.bands_hz, np.where(heard, np.nan, level))
        found.append(Line(CURVE, f"{label}, below", Role.BELOW, hertz, hidden, at_end=False))
    return found


def steps(bands_hz: Sequence[float], level: npt.ArrayLike) -> tuple[Floats, Floats]:
    """Levels (B,) of third octaves as they are drawn (2·B,): each level from edge to edge of its band."""
    hertz = np.multiply.outer(np.asarray(bands_hz), [1.0 / SIXTH, SIXTH]).ravel()
    return hertz, np.repeat(np.asarray(level, dtype=np.float64), 2)


def _conditions(one: Multitone, row: int) -> Sentence:
    parts = [
        say(quantity(one.tones, "", f"tones:multitone/{row}/tones", 0), " tones"),
        say(Term(one.drive.label), " RMS of all of them"),
        say(f"noise: {one.noise_from}"),
        say("pale: one standard uncertainty by noise"),
    ]
    return joined(parts, " · ")


def _caution(one: Multitone, row: int) -> Sentence:
    said = EMPTY
    if one.level_db is not None and one.hours is not None:
        loud = quantity(one.level_db, "dB", f"tones:multitone/{row}/level_db", 0)
        time = hours_a_day(one.hours, f"tones:multitone/{row}/hours")
        said = say(
            "At the greatest drive they play ",
            loud,
            " at one metre, where ",
            Term("NIOSH 98-126"),
            " allows ",
        )
        said += time + say(", taken as A-weighted. ")
    return said + say(
        "Steady tones can hurt hearing and destroy the loudspeaker: leave the room or wear protection; local "
        "law and qualified advice come first."
    )


def _read_out(one: Multitone, row: int) -> Sentence:
    here = f"tones:multitone/{row}"
    told = [
        say(
            "" if one.heard[i] else "below ",
            quantity(one.between_db[i], "dB", f"{here}/between_db/{i}", 0),
            " at ",
            frequency(one.bands_hz[i], f"{here}/bands_hz/{i}"),
        )
        for i in range(0, len(one.bands_hz), READ_EVERY)
    ]
    said = say("Between the tones at ", Term(one.drive.label), ": ") + joined(told, ", ") + say(".")
    worst = worst_band(one)
    if worst is None:
        return said + say(" Nothing is heard over the noise.")
    return said + say(
        " Most re the tones beside it at ", frequency(one.bands_hz[worst], f"{here}/bands_hz/{worst}"), "."
    )
