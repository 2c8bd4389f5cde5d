"""Entries of what isn't a curve: time, drive, impedance, loads that last, and steady tones."""

from __future__ import annotations

from earwitness.derive.formatting import value_text
from earwitness.derive.impedance import SOURCE as IMPEDANCE_SOURCE
from earwitness.derive.level_form import SOURCE as LEVEL_SOURCE
from earwitness.derive.long_term_figures import SOURCE as LONG_TERM_SOURCE
from earwitness.derive.rattle_figures import SOURCE as RATTLES_SOURCE
from earwitness.derive.time_terms import SOURCE as TIME_SOURCE
from earwitness.derive.tone_figures import BETWEEN as TONES_SOURCE
from earwitness.derive.wording import listing
from earwitness.publication.entries import (
    IMPEDANCE_ANCHOR,
    LEVEL_ANCHOR,
    LONG_TERM_ANCHOR,
    TIME_ANCHOR,
    Origin,
    component_lines,
    source_lines,
)
from earwitness.publication.wording import line
from earwitness.records.distortion import ChangeWithLevel
from earwitness.records.impedance import Impedance
from earwitness.records.long_term import LongTerm
from earwitness.records.sentences import Number, Term, say
from earwitness.records.time import TimeBehaviour
from earwitness.records.tones import Multitone, ToneSet, TwoTones


def time_entry(time: TimeBehaviour) -> Origin:
    """The entry of time behaviour."""
    lines = source_lines(TIME_SOURCE)
    if time.gate_s:
        gate = Number(value_text(1e3 * time.gate_s, "ms", 1), time.gate_s, "time:gate_s")
        lines.append(line("Gate", say("ends ", gate, " after the arrival")))
    return Origin(
        anchor=TIME_ANCHOR,
        title=say("Time behaviour"),
        value=say("one take on axis"),
        method="derive.time_behaviour",
        lines=tuple(lines),
        takes=time.takes,
    )


def level_entry(level: ChangeWithLevel) -> Origin:
    """The entry of change with level."""
    lines = source_lines(LEVEL_SOURCE)
    lines.append(line("Reading", say("one take on axis at each drive")))
    lines.append(line("Uncertainty from", say("noise, of distortion alone")))
    return Origin(
        anchor=LEVEL_ANCHOR,
        title=say("Change with level"),
        value=listing(say(Term(drive.label)) for drive in level.drives),
        method="derive.change_with_level",
        lines=tuple(lines),
        takes=level.takes,
    )


def impedance_entry(found: Impedance) -> Origin:
    """The entry of the impedance."""
    lines = source_lines(IMPEDANCE_SOURCE)
    lines += component_lines(found.components_ohm)
    if found.known_resistor:
        lines.append(line("Scale", say("a known resistor, recorded in the loudspeaker's place")))
    return Origin(
        anchor=IMPEDANCE_ANCHOR,
        title=say("Impedance"),
        value=say("at ", Term(found.drive)) if found.drive else say("drive not stated"),
        method="derive.impedance",
        lines=tuple(lines),
        takes=found.takes,
    )


def long_term_entry(found: LongTerm) -> Origin:
    """The entry of a load that lasts and of self-noise."""
    run, noise = found.endurance, found.self_noise
    lines = source_lines(LONG_TERM_SOURCE)
    lines.append(line("Uncertainty from", say("noise")))
    return Origin(
        anchor=LONG_TERM_ANCHOR,
        title=say("A load that lasts, and self-noise"),
        value=say("at rest") if run is None else say("at ", Term(run.drive.label)),
        method="measurement.endurance",
        lines=tuple(lines),
        takes=(*(() if run is None else (run.take,)), *(() if noise is None else noise.takes)),
    )


def tones_entry(found: ToneSet) -> Origin:
    """The entry of steady tones, or of rattles where there are none."""
    tones: tuple[Multitone | TwoTones, ...] = (*found.multitone, *found.two_tones)
    every = (*tones, *found.rattles)
    lines = source_lines(TONES_SOURCE if tones else RATTLES_SOURCE)
    if tones:
        lines.append(line("Uncertainty from", say("noise")))
    noise = {one.noise_from for one in every if one.noise_from is not None}
    if noise:
        lines.append(line("Noise", listing(say(str(f)) for f in sorted(noise))))
    return Origin(
        anchor="from-tones",
        title=say("Steady tones" if tones else "Rattles and rubs"),
        value=listing(say(Term(label)) for label in dict.fromkeys(one.drive.label for one in every)),
        method="measurement.toned.toned" if tones else "measurement.rattling.rattled",
        lines=tuple(lines),
        takes=tuple(one.take for one in every),
    )
