"""Why believe it: how it was measured, where each band comes from, and what the data can't tell."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from earwitness.derive.formatting import value_text
from earwitness.derive.numerals import frequency, quantity
from earwitness.derive.wording import listing
from earwitness.publication.budget import Budget, budget
from earwitness.publication.directions import directions
from earwitness.publication.exposure import Exposure, exposure
from earwitness.publication.material import Built, CaseFiles
from earwitness.publication.octaves import Band, octaves
from earwitness.publication.rows import reason
from earwitness.publication.sides import Sides, compared, orientation, sides, stood_in
from earwitness.publication.wording import (
    FIGURE_LABELS,
    NOT_STATED,
    Line,
    line,
    named,
    quoted_or_not_stated,
)
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.facts import StatedUncertainty
from earwitness.records.figures import Figure, FigureName, NotAvailable, Quantity
from earwitness.records.responses import Responses
from earwitness.records.sentences import Number, Sentence, Term, say
from earwitness.records.sources import Source
from earwitness.records.takes import ON_AXIS, TakeKind

CANNOT_TELL: Final = (
    say("How alike two units are: one was measured."),
    say("How it sounds in a given room below the few hundred hertz where that room decides."),
    say("Whether a listener minds what a curve shows: nobody's ears are in these data."),
)


@dataclass(frozen=True, slots=True)
class MethodLine:
    """One published document or definition of our own, and the curves and figures that follow it."""

    source: Source
    document: Sentence
    standing: str
    figures: Sentence


@dataclass(frozen=True, slots=True)
class Trust:
    """Part seven of the page.

    Attributes
    ----------
    bands
        The strip by octave.
    rig
        Drive, distance, axis and so on, as the case states them or "not stated".
    sides
        The symmetries that the case states.
    notes
        What the reduction decided.
    not_stated
        Uncertainties that nobody stated; empty when all are.
    not_measured
        What isn't there, once, each with the reason.
    cannot_tell
        Three things that no number here answers.
    methods
        Documents and definitions, with how well each is known.
    exposure
        The caution.
    budget
        What the figures' uncertainty is made of; None where none is known.
    gate_s
        Where the gate ends on axis, after the arrival; None where nothing was gated.
    splice_hz
        Where near field and gated response are joined on axis; None where they aren't.
    """

    bands: tuple[Band, ...]
    rig: tuple[Line, ...]
    sides: tuple[Sides, ...]
    notes: tuple[Sentence, ...]
    not_stated: Sentence | None
    not_measured: tuple[Line, ...]
    cannot_tell: tuple[Sentence, ...]
    methods: tuple[MethodLine, ...]
    exposure: Exposure
    budget: Budget | None = None
    gate_s: float | None = None
    splice_hz: tuple[float, float] | None = None


def trust(case: CaseFiles, built: Built) -> Trust:
    """Everything in part seven."""
    absent = _not_stated(case.facts.uncertainty)
    alike = sides(case, built.responses)
    gate_s, splice_hz = _window(built.responses)
    return Trust(
        bands=octaves(built.responses, built.curves.curves[CurveName.ON_AXIS]),
        rig=(*_rig(case, built), *_reduced(gate_s, splice_hz), *compared(alike)),
        sides=alike,
        notes=tuple(say(named(note)) for note in (*built.responses.notes, *_level_notes(built))),
        not_stated=listing(absent) if absent else None,
        not_measured=(*_not_measured(case, built), *stood_in(alike)),
        cannot_tell=CANNOT_TELL,
        methods=_methods(built.results.figures, built.curves),
        exposure=exposure(case.takes, built.results),
        budget=budget(built.results.figures),
        gate_s=gate_s,
        splice_hz=splice_hz,
    )


def _level_notes(built: Built) -> tuple[str, ...]:
    return () if built.curves.level is None else built.curves.level.notes


def _window(responses: Responses) -> tuple[float | None, tuple[float, float] | None]:
    """Where the gate of the first take on axis ends, and where a near field was joined to it."""
    for take, gate_s in zip(responses.takes, responses.gate_s.tolist(), strict=True):
        if take.key.direction and take.key.direction.shared == ON_AXIS and take.id not in responses.set_aside:
            splice = responses.splices.get(take.id)
            return gate_s or None, (splice.low_hz, splice.high_hz) if splice else None
    return None, None


def _reduced(gate_s: float | None, splice_hz: tuple[float, float] | None) -> Iterator[Line]:
    """Gate, splice and smoothing."""
    if gate_s is not None:
        ends = Number(value_text(1e3 * gate_s, "ms", 1), gate_s, "publication:trust/gate_s")
        yield line("Gate, on axis", say("ends ", ends, " after the arrival"))
    if splice_hz is not None:
        low, high = (frequency(hz, f"publication:trust/splice_hz/{i}") for i, hz in enumerate(splice_hz))
        yield line("Near field joined, on axis", say("from ", low, " to ", high))
    yield line("Smoothing", say("none in the curves; where a figure is smoothed, its conditions say so"))


def _rig(case: CaseFiles, built: Built) -> tuple[Line, ...]:
    rig = case.facts.rig

    def length(value: float | None, field: str) -> Sentence:
        return say(quantity(value, "m", f"case:rig.{field}", 2)) if value is not None else NOT_STATED

    lines = [
        line("Drive", _drive(built)),
        *_drives(built),
        line("Distance", length(rig.distance_m, "distance_m")),
        line("Reference axis", quoted_or_not_stated(rig.reference_axis, "case:rig.reference_axis")),
        *orientation(case, built.responses),
        line("Turned about a point behind the front by", length(rig.rotation_behind_m, "rotation_behind_m")),
        line("Loudspeaker above the floor", length(rig.height_m, "height_m")),
        line("Microphone above the floor", length(rig.microphone_height_m, "microphone_height_m")),
        line("Microphone", quoted_or_not_stated(rig.microphone, "case:rig.microphone")),
        line("Room", quoted_or_not_stated(rig.room, "case:rig.room")),
        line(
            "Air",
            say(quantity(rig.temperature_c, "°C", "case:rig.temperature_c", 0))
            if rig.temperature_c is not None
            else NOT_STATED,
        ),
        line(
            "Relative humidity",
            say(quantity(rig.humidity_percent, "%", "case:rig.humidity_percent", 0))
            if rig.humidity_percent is not None
            else NOT_STATED,
        ),
    ]
    band = built.curves.valid_band_hz(CurveName.ON_AXIS)
    if band:
        low = frequency(band[0], "curve:on_axis/valid_from_hz")
        high = frequency(band[1], "curve:on_axis/valid_to_hz")
        lines.append(line("Valid on axis", say(low, " to ", high)))
    return (*lines, *_orbits(built.results.figures))


def _orbits(figures: tuple[Figure, ...]) -> Iterator[Line]:
    """How far the two orbits agree where they meet."""
    for figure in figures:
        if figure.name is FigureName.ORBIT_AGREEMENT and isinstance(figure.value, Quantity):
            apart = quantity(figure.value.value, "dB", f"figure:{figure.name}/value/value", 2)
            yield Line(FIGURE_LABELS[figure.name], say(apart, " where they differ most"))


def _drives(built: Built) -> Iterator[Line]:
    """The drives at which change with level was looked for."""
    if built.curves.level is not None:
        drives = listing(say(Term(drive.label)) for drive in built.curves.level.drives)
        yield line("Drives, for change with level", drives)


def _drive(built: Built) -> Sentence:
    """At which drive the takes that curves rest on were made, and to which they are scaled."""
    used = {take for curve in built.curves.curves.values() for take in curve.takes}
    labels = {t.key.drive.label for t in built.responses.takes if t.id in used and t.key.drive}
    scaled = built.curves.drive
    if labels == {scaled}:
        return say(Term(scaled))
    return listing(say(named(label)) for label in sorted(labels)) + say(", scaled to ", Term(scaled))


def _not_used(built: Built) -> tuple[Line, ...]:
    """Directional takes that were reduced and that no curve rests on."""
    used = {take for curve in built.curves.curves.values() for take in curve.takes}
    mapped = {take for chart in built.curves.coverage.values() for take in chart.takes}
    by_level = set() if built.curves.level is None else set(built.curves.level.takes)
    left = [t for t in built.responses.takes if t.id not in used | mapped | by_level]
    return (line("Takes not used", listing(say(named(t.key.label)) for t in left)),) if left else ()


def _not_stated(stated: StatedUncertainty) -> list[Sentence]:
    fields = {
        "microphone": stated.microphone_db,
        "level": stated.level_db,
        "angle": stated.angle_deg,
        "repeat": stated.repeat_db,
        "temperature": stated.temperature_k,
    }
    return [say(name) for name, value in fields.items() if value is None]


def _not_measured(case: CaseFiles, built: Built) -> tuple[Line, ...]:
    lines = [_absent(f, f.value) for f in built.results.figures if isinstance(f.value, NotAvailable)]
    for curve in built.curves.curves.values():
        if not curve.available and curve.missing:
            needed = directions(d.label for d in curve.missing)
            lines.append(line(curve.name.words.capitalize(), say("needs ") + needed))
    lines = _together(lines)
    kinds = {t.key.kind for t in case.takes}
    if TakeKind.IMPEDANCE not in kinds:
        lines.append(line("Impedance", say("no such take")))
    if not any(f.name is FigureName.COMPRESSION for f in built.results.figures):
        lines.append(line("Distortion, change of level, clean output", _one_level(case)))
    return (*lines, *_not_used(built))


def _one_level(case: CaseFiles) -> Sentence:
    """Why nothing is known of other levels, and what to record."""
    recorded = {t.key.drive for t in case.takes if t.key.kind is TakeKind.SWEEP}
    why = "one drive only" if recorded else "no recorded sweep, and a response alone doesn't tell it"
    return say(
        f"{why}. To tell: read the caution, then record the sweep on axis again at two or more higher "
        "drives, none more than twice the one before"
    )


def _absent(figure: Figure, absent: NotAvailable) -> Line:
    if absent.missing:
        return Line(FIGURE_LABELS[figure.name], say("needs ") + directions(absent.missing))
    return Line(FIGURE_LABELS[figure.name], reason(absent, f"figure:{figure.name}"))


def _together(lines: list[Line]) -> list[Line]:
    """One line for all that is absent for the same reason."""
    by_text: dict[str, list[Line]] = {}
    for one in lines:
        by_text.setdefault(str(one.text), []).append(one)
    return [
        Line(listing((one.label for one in alike), "; ", "; "), alike[0].text) for alike in by_text.values()
    ]


def _methods(figures: tuple[Figure, ...], curves: CurveSet) -> tuple[MethodLine, ...]:
    by_source: dict[Source, list[Sentence]] = {}
    for curve in curves.curves.values():
        if curve.available:
            # One line for the document; each curve's clause stands in its own entry.
            by_source.setdefault(replace(curve.source, clause=""), []).append(
                say(curve.name.words.capitalize())
            )
    for figure in figures:
        if figure.available:
            by_source.setdefault(figure.source, []).append(FIGURE_LABELS[figure.name])
    return tuple(
        MethodLine(source, say(named(str(source))), str(source.standing), listing(labels, "; ", "; "))
        for source, labels in by_source.items()
    )
