"""A plan as a sheet of text, to be printed and ticked off."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap
from typing import Final

from earwitness.pipeline.loudness import allowed_text
from earwitness.pipeline.plan import DriveLine, Plan
from earwitness.pipeline.shots import Shot
from earwitness.records.errors import one_line

#: The width of a printed page.
_WIDTH: Final = 78
_NAME: Final = 44


def sheet_of(plan: Plan) -> Iterator[str]:
    """The sheet as lines of text, no wider than a printed page."""
    shots = plan.shots
    yield from _wrapped(f"Plan for {one_line(plan.loudspeaker)}", "", "=")
    there = sum(shot.there for shot in shots)
    done = f", {there} of them there already" if there else ""
    yield f"{len(shots)} recordings{done}; {_time(plan.takes_s)} in all, {_time(plan.plays_s)} of it sound."
    yield from _wrapped("Each drive", "\n", "-")
    yield from _drives(plan)
    yield from _wrapped("Cautions", "\n", "-")
    for caution in plan.cautions:
        yield from wrap(caution, _WIDTH, initial_indent="! ", subsequent_indent="  ")
    for remark in plan.remarks:
        yield from wrap(remark, _WIDTH, initial_indent="* ", subsequent_indent="  ")
    started_s = 0.0
    for number, block in enumerate(plan.blocks, start=1):
        yield from _wrapped(f"{number}. {block.title} ({_time(block.takes_s)})", "\n", "-")
        yield from wrap(block.before, _WIDTH)
        yield ""
        started_s += block.setup_s
        for shot in block.shots:
            yield _shot(shot, started_s)
            started_s += shot.takes_s
    yield ""
    yield from wrap(
        "[x] is in the case already. The time is counted from the start. Then: earwitness add CASE FOLDER",
        _WIDTH,
    )


def _shot(shot: Shot, started_s: float) -> str:
    drive = shot.key.drive.label if shot.key.drive is not None else "silent"
    tick = "[x]" if shot.there else "[ ]"
    clock = f"{int(started_s // 3600)}:{int(started_s % 3600 // 60):02d}"
    return f"{tick} {shot.name:<{_NAME}} {drive:>10} {shot.plays_s:>6.1f} s {clock:>6}"


def _drives(plan: Plan) -> Iterator[str]:
    operator = f"{plan.operator_m:g} m"
    heads = ("drive", "takes", "plays", "1 m", operator, "NIOSH 1 m", "rated", "minimum", "headroom")
    yield _row(heads)
    for line in plan.drives:
        yield _row(_cells(line))
    yield ""
    sensitivity = "not known" if plan.sensitivity is None else plan.sensitivity.label
    yield f"Sensitivity: {sensitivity}."
    if plan.drives[0].drive.unit == "V":
        rated = "not stated in case.toml" if plan.rated_ohm is None else f"{plan.rated_ohm:g} ohm"
        least = "" if plan.minimum_ohm is None else f"{plan.minimum_ohm:g} ohm, "
        limit = "limit not stated" if plan.amplifier_v is None else f"{plan.amplifier_v:g} V without clipping"
        yield from wrap(f"Impedance: rated {rated}; minimum {least}{plan.minimum_is}.", _WIDTH)
        yield f"Amplifier: {limit}."
    for place, exposure in (("at 1 m", plan.at_one_metre), (f"at {operator}", plan.at_operator)):
        if exposure is not None:
            yield from wrap(
                f"Unprotected all through, {place}: {_percent(exposure.dose)} of a day's dose by NIOSH; "
                f"daily exposure level {exposure.daily_db:.0f} dB, {exposure.verdict} "
                "(Directive 2003/10/EC).",
                _WIDTH,
            )


def _cells(line: DriveLine) -> tuple[str, ...]:
    return (
        line.drive.label,
        str(line.shots),
        _time(line.plays_s),
        "-" if line.level_db is None else f"{line.level_db:.0f} dB",
        "-" if line.operator_db is None else f"{line.operator_db:.0f} dB",
        "-" if line.level_db is None else allowed_text(line.level_db),
        "-" if line.rated_w is None else _watts(line.rated_w),
        "-" if line.minimum_w is None else _watts(line.minimum_w),
        "-" if line.headroom_db is None else f"{line.headroom_db:.1f} dB",
    )


def _watts(watts: float) -> str:
    return f"{watts:.2g} W" if watts < 10.0 else f"{watts:.0f} W"


def _row(cells: tuple[str, ...]) -> str:
    widths = (10, 6, 8, 7, 7, 10, 8, 8, 9)
    return "".join(f"{cell:>{width}}" for cell, width in zip(cells, widths, strict=True))


def _wrapped(text: str, before: str, rule: str) -> Iterator[str]:
    """A heading with a rule below."""
    lines = wrap(text, _WIDTH)
    yield f"{before}{lines[0]}" if lines else before
    yield from lines[1:]
    yield rule * max(len(line) for line in lines)


def _time(seconds: float) -> str:
    minutes = seconds / 60.0
    if minutes < 1.0:
        return f"{seconds:.0f} s"
    if minutes < 100.0:
        return f"{minutes:.0f} min"
    return f"{int(minutes // 60.0)} h {minutes % 60.0:.0f} min"


def _percent(part: float) -> str:
    return f"{100.0 * part:.2g} %" if part < 1.0 else f"{100.0 * part:.0f} %"
