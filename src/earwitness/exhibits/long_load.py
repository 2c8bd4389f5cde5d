"""A load that lasts: how the level falls and comes back, and what of it which octave keeps."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.derive.formatting import number_text
from earwitness.derive.long_term_figures import WIDEST
from earwitness.derive.numerals import frequency, hours_a_day, quantity
from earwitness.exhibits.axes import frequency_axis
from earwitness.exhibits.description import Axis, Exhibit, Line, Panel, Role
from earwitness.exhibits.time_axes import linear_axis
from earwitness.exhibits.wording import joined
from earwitness.records.curves import CurveSet
from earwitness.records.grid import Floats
from earwitness.records.long_term import CauseVerdict, Endurance, LoadCause
from earwitness.records.sentences import EMPTY, Number, Sentence, Term, say

HEIGHTS: Final = (0.32, 0.28)
#: The curve by which a place refers to the octaves' changes.
CURVE: Final = "load_change"
#: The axis of the level holds at least these, dB; lines end so far below its top and above its bottom.
LEAST_DB: Final = (-1.0, 0.3)
MARGIN: Final = 1.08
MINUTE_S: Final = 60.0
#: From here up a time constant is read out to whole seconds.
COARSE_S: Final = 100.0


def load(curves: CurveSet) -> Exhibit | None:
    """The most changed octave over minutes; None without a run."""
    run = curves.long_term.endurance
    if run is None or not run.course:
        return None
    return Exhibit(
        id="load",
        letter="",
        title="A load that lasts",
        caption=say(
            "How far the level of the octave that changes most is from that of a weak signal before. The "
            "heavy line is the load itself; the other one is a weak signal among it and after it, which heat "
            "alone still lowers. ",
            _caution(run),
        ),
        conditions=_conditions(run, octave=True),
        alt=say(
            "Change of level over time under a load that lasts. ", _course(run), _causes(run), _times(run)
        ),
        panels=(_over_time(run),),
    )


def load_octaves(curves: CurveSet) -> Exhibit | None:
    """Every octave's change at the load's end; None without a run."""
    run = curves.long_term.endurance
    if run is None:
        return None
    return Exhibit(
        id="load-octaves",
        letter="",
        title="What a load changes in each octave",
        caption=say(
            "The change of every octave in the load's last second, and of a weak signal right after it: what "
            "that keeps is heat. What the load alone has is a limiter's, or the driver's motion in the bass."
        ),
        conditions=_conditions(run, octave=False),
        alt=say("Change of level by octave under a load that lasts. ", _read_out(run)),
        panels=(_by_octave(run),),
    )


def _over_time(run: Endurance) -> Panel:
    most = _most(run)
    minutes = np.array([one.time_s for one in run.course]) / MINUTE_S
    change = np.array([one.change_db[most] for one in run.course])
    loaded = np.array([one.loaded for one in run.course])
    lines = (
        Line("load_course", "load", Role.DRIVE_5, minutes, np.where(loaded, change, np.nan)),
        Line("weak_course", "weak signal", Role.DRIVE_2, minutes[~loaded], change[~loaded], short="weak"),
    )
    first, last = float(minutes.min()), float(minutes.max())
    axis = linear_axis("time from the load's beginning", "min", first, last, 8)
    return Panel("load-course", axis, _change_axis(change), lines, height_per_width=HEIGHTS[0])


def _by_octave(run: Endurance) -> Panel:
    hertz = np.array(run.octaves_hz)
    rows = (
        ("in the load", "load", Role.DRIVE_5, np.array(run.change_db)),
        ("right after", "after", Role.DRIVE_2, np.array(run.lasting_db)),
    )
    unsure = np.array(run.uncertainty_db)
    lines = tuple(Line(CURVE, label, role, hertz, y, unsure, short=short) for label, short, role, y in rows)
    axis = _change_axis(np.concatenate([line.y for line in lines]))
    return Panel("load-octaves", frequency_axis(), axis, lines, height_per_width=HEIGHTS[1])


def _change_axis(values: Floats) -> Axis:
    low, high = MARGIN * float(np.min(values)), MARGIN * float(np.max(values))
    return linear_axis("change of level", "dB", min(low, LEAST_DB[0]), max(high, LEAST_DB[1]), 6)


def _most(run: Endurance) -> int:
    return int(np.argmax(np.abs(run.change_db)))


def _conditions(run: Endurance, *, octave: bool) -> Sentence:
    middle = frequency(run.octaves_hz[_most(run)], f"long_term:endurance/octaves_hz/{_most(run)}")
    loaded = quantity(run.load_s, "s", "long_term:endurance/load_s", 0)
    parts = [
        say("on axis"),
        say("load of ", loaded, " in all at ", Term(run.drive.label), " RMS of noise"),
    ]
    parts += (
        [say("the octave about ", middle)] if octave else [say("pale: one standard uncertainty by noise")]
    )
    return joined(parts, " · ")


def _caution(run: Endurance) -> Sentence:
    """The exposure, where the level is known, and what to do."""
    said = EMPTY
    if run.level_db is not None and run.hours is not None:
        loud = quantity(run.level_db, "dB", "long_term:endurance/level_db", 0)
        time = hours_a_day(run.hours, "long_term:endurance/hours")
        said = say("The load plays ", loud, " at one metre, where ", Term("NIOSH 98-126"), " allows ")
        said += time + say(", taken as A-weighted. ")
    return said + say(
        "Such a load can hurt hearing and destroy the loudspeaker: leave the room or wear protection; local "
        "law and qualified advice come first."
    )


def _course(run: Endurance) -> Sentence:
    """The octave that changes most: in the load's last second, right after it, and at the end of all."""
    most, last = _most(run), len(run.course) - 1
    at = frequency(run.octaves_hz[most], f"long_term:endurance/octaves_hz/{most}")
    change, kept = (_decibels(run, field, most) for field in ("change_db", "lasting_db"))
    end = run.course[last].change_db[most]
    left = Number(
        f"{number_text(end, 1, signed=True)} dB", end, f"long_term:endurance/course/{last}/change_db/{most}"
    )
    return say(
        "About ", at, ": ", change, " in its last second, ", kept, " right after it, ", left, " at the end. "
    )


def _read_out(run: Endurance) -> Sentence:
    """Both changes of every octave."""
    told = []
    for i, hertz in enumerate(run.octaves_hz):
        change, kept = (_decibels(run, field, i) for field in ("change_db", "lasting_db"))
        at = frequency(hertz, f"long_term:endurance/octaves_hz/{i}")
        told.append(say(change, " in the load and ", kept, " right after it about ", at))
    return joined(told, "; ") + say(".")


def _decibels(run: Endurance, field: str, index: int) -> Number:
    value = float(getattr(run, field)[index])
    return Number(f"{number_text(value, 1, signed=True)} dB", value, f"long_term:endurance/{field}/{index}")


def _causes(run: Endurance) -> Sentence:
    """Which causes act, are not seen, or can't be told."""
    words = {
        CauseVerdict.ACTS: " acts. ",
        CauseVerdict.NOT_SEEN: " isn't seen. ",
        CauseVerdict.CANNOT_TELL: " can't be told. ",
    }
    names = {LoadCause.HEAT: "Heat", LoadCause.LIMITER: "A limiter", LoadCause.MOTION: "The driver's motion"}
    said = EMPTY
    for one in run.causes:
        said += say(f"{names[one.cause]}{words[one.verdict]}")
    return said


def _times(run: Endurance) -> Sentence:
    """Time constants that are determined, with their intervals."""
    if not run.coils or run.weighed(LoadCause.HEAT).verdict is not CauseVerdict.ACTS:
        return EMPTY
    said = EMPTY
    for part, name in (("coil", "voice coil"), ("magnet", "magnet")):
        found = getattr(run.coils[0], part)
        if found.high_s > WIDEST * found.low_s:
            continue
        here = f"long_term:endurance/coils/0/{part}"
        decimals = 0 if found.value_s >= COARSE_S else 1
        value, low, high = (
            quantity(getattr(found, field), "s", f"{here}/{field}", decimals)
            for field in ("value_s", "low_s", "high_s")
        )
        said += say(f"Time constant of the {name}: ", value, ", from ", low, " to ", high, ". ")
    return said
