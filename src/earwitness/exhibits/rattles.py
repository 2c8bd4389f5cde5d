"""What comes again each period above the tenth order of a sweep, by excitation and drive."""

from __future__ import annotations

from typing import Final

import numpy as np

from earwitness.derive.numerals import frequency, quantity
from earwitness.derive.rattle_figures import seen, strongest
from earwitness.exhibits.axes import frequency_axis, hanging
from earwitness.exhibits.description import Exhibit, Line, Panel, Role
from earwitness.exhibits.tones import steps
from earwitness.exhibits.wording import axis_span, joined
from earwitness.records.curves import CurveSet
from earwitness.records.sentences import Sentence, Term, say
from earwitness.records.tones import Rattle

HEIGHT: Final = 0.42
CURVE: Final = "recurring"
SPAN_DB: Final = (40.0, 80.0)
#: The quietest drive, one between, and the loudest.
ROLES: Final = (Role.DRIVE_1, Role.DRIVE_3, Role.DRIVE_5)


def rattles(curves: CurveSet) -> Exhibit | None:
    """The lowest drive, one between and the greatest; None where nothing is seen."""
    every = curves.tones.rattles
    if not every or strongest(every[-1]) is None:
        return None
    rows = sorted({0, len(every) // 2, len(every) - 1})
    lines = [
        line
        for row, role in zip(reversed(rows), reversed(ROLES[-len(rows) :]), strict=True)
        for line in _lines(every[row], role, is_loudest=row == rows[-1])
    ]
    axis = hanging("level re the whole sound", [line.y for line in lines], *SPAN_DB)
    return Exhibit(
        id="rattles",
        letter="",
        title="What comes again each period",
        caption=say(
            "While a sweep passes each frequency: the sound above the tenth harmonic that is alike from "
            "period to period, as rattles and rubs are. In dots, at the greatest drive: all above the "
            "tenth harmonic, where it isn't alike, is weak, or sounds without a sweep as well; a rattle is "
            "somewhere below."
        ),
        conditions=_conditions(every, rows),
        alt=say("Level of what comes again each period, ", axis_span(), ". ", _read_out(every[-1], rows[-1])),
        panels=(Panel("rattles", frequency_axis(), axis, tuple(lines), height_per_width=HEIGHT),),
    )


def _lines(one: Rattle, role: Role, *, is_loudest: bool) -> list[Line]:
    told = np.array(seen(one), dtype=np.bool_)
    label = f"again at {one.drive.label}"
    found = []
    if told.any():
        shown = steps(one.bands_hz, np.where(told, np.array(one.part_db), np.nan))
        found.append(Line(CURVE, label, role, *shown, short=one.drive.label))
    if is_loudest and not told.all():
        hidden = steps(one.bands_hz, np.where(told, np.nan, np.array(one.rest_db)))
        found.append(Line(CURVE, f"{label}, below", Role.BELOW, *hidden, at_end=False))
    return found


def _conditions(every: tuple[Rattle, ...], rows: list[int]) -> Sentence:
    drives = joined([say(Term(every[row].drive.label)) for row in rows], ", ")
    parts = [say("on axis, at ") + drives, say("third octaves of excitation")]
    source = every[-1].noise_from
    return joined([*parts, *([] if source is None else [say(f"noise: {source}")])], " · ")


def _read_out(one: Rattle, row: int) -> Sentence:
    here, told = f"tones:rattles/{row}", seen(one)
    said = [
        say(
            quantity(one.part_db[band], "dB", f"{here}/part_db/{band}", 0),
            " at ",
            frequency(one.bands_hz[band], f"{here}/bands_hz/{band}"),
        )
        for band, is_seen in enumerate(told)
        if is_seen
    ]
    return say("At ", Term(one.drive.label), ": ") + joined(said, ", ") + say("; elsewhere none is seen.")
