"""Where each number comes from: number → figure → method and source → curves → takes → SHA-256.

A number's reference leads to one entry (`anchor`); entries lead on to the curves, and curves to raw files.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Final

from earwitness.derive.coverage_words import SIDES
from earwitness.derive.formatting import decimals_for, value_text
from earwitness.derive.impedance import SOURCE as IMPEDANCE_SOURCE
from earwitness.derive.level_form import SOURCE as LEVEL_SOURCE
from earwitness.derive.long_term_figures import SOURCE as LONG_TERM_SOURCE
from earwitness.derive.numerals import duration, frequency, quantity, spread
from earwitness.derive.rattle_figures import SOURCE as RATTLES_SOURCE
from earwitness.derive.time_terms import SOURCE as TIME_SOURCE
from earwitness.derive.tone_figures import BETWEEN as TONES_SOURCE
from earwitness.derive.wording import listing
from earwitness.findings.change_statements import SOURCE as CHANGE_SOURCE
from earwitness.findings.claims import SOURCE as CLAIM_SOURCE
from earwitness.findings.correctability import SOURCE as CORRECTABLE_SOURCE
from earwitness.findings.feature_statements import SOURCE as FEATURE_SOURCE
from earwitness.findings.feature_statements import height
from earwitness.findings.testimony import SOURCE as TESTIMONY_SOURCE
from earwitness.publication.constants import about, constants
from earwitness.publication.quality import METHODS, QualityLine
from earwitness.publication.rows import value_sentence
from earwitness.publication.take_sets import anchor_of
from earwitness.publication.wording import FIGURE_LABELS, Line, line, named
from earwitness.records.curves import Curve, CurveName, CurveSet
from earwitness.records.distortion import ChangeWithLevel
from earwitness.records.features import Feature
from earwitness.records.figures import Evidence, Figure, Plateau, Plateaus
from earwitness.records.findings import ClaimJudgement, Finding
from earwitness.records.impedance import Impedance
from earwitness.records.level_changes import LevelChange
from earwitness.records.long_term import LongTerm
from earwitness.records.qualities import MEANINGS
from earwitness.records.sentences import Number, Quoted, Sentence, Term, say
from earwitness.records.sources import Source
from earwitness.records.takes import TakeId
from earwitness.records.testimony import NoteHeld
from earwitness.records.time import TimeBehaviour
from earwitness.records.tones import Multitone, ToneSet, TwoTones

#: The entries of all time behaviour, of change with level, and of the impedance.
TIME_ANCHOR: Final = "from-time"
LEVEL_ANCHOR: Final = "from-level"
IMPEDANCE_ANCHOR: Final = "from-impedance"
LONG_TERM_ANCHOR: Final = "from-long-term"
TALLY_ANCHOR: Final = "from-tally"


@dataclass(frozen=True, slots=True)
class Origin:
    """One entry of the appendix.

    Attributes
    ----------
    anchor
        Its name in page and PDF: ``from-figure-f6``.
    title, value
        What it is, and what it says.
    method
        Dotted path of the code under ``earwitness``; empty where no code of a method is behind it.
    lines
        Source, reading, components of uncertainty and so on.
    curves
        Anchors and names of the entries of the curves it rests on.
    takes
        The takes it rests on, where they aren't simply those of its curves.
    """

    anchor: str
    title: Sentence
    value: Sentence
    method: str
    lines: tuple[Line, ...]
    curves: tuple[tuple[str, str], ...] = ()
    takes: tuple[TakeId, ...] = ()


def anchor(reference: str) -> str:
    """The name of the entry that a reference leads to.

    ``figure:f6/value/value`` → ``from-figure-f6``; facts of the case share one entry, as do the caution and
    the octaves (`why-believe-it`) and the files (`downloads`). How many takes a list has leads to the list.
    """
    scheme, _, path = reference.partition(":")
    first = path.split("/")[0]
    match scheme:
        case "time" | "impedance" | "level" | "long_term" | "correctable" | "tones":
            return f"from-{scheme.replace('_', '-')}"
        case "figure" | "curve" | "method" | "claim" | "feature" | "change" | "testimony":
            return f"from-{scheme}-{first.replace('.', '-')}"
        case "publication" if first == "take_sets":
            return anchor_of(path.split("/")[1])
        case "publication":
            parts = {"downloads": "downloads", "told_together": TALLY_ANCHOR}
            return parts.get(first, "why-believe-it")
        case "quality":
            return f"from-quality-{first.replace('_', '-')}"
    return "from-case"


def origins(
    curves: CurveSet,
    figures: tuple[Figure, ...],
    prose: object,
    findings: tuple[Finding, ...] = (),
    checked: tuple[QualityLine, ...] = (),
) -> tuple[Origin, ...]:
    """The entries: every available figure, claim and curve, and each method that anything refers to.

    `prose` is what the publication says elsewhere; figures that it speaks of have an entry too. Points of
    quality that hold numbers have one, in the order of `checked`.
    """
    available = {name: c for name, c in curves.curves.items() if c.available}
    used = {anchor(n.reference) for n in numbers_in(prose)}
    spoken = [f for f in figures if f.available or anchor(f"figure:{f.name}") in used]
    found = (
        *(_figure(f, available) for f in spoken),
        *(_feature(f, f.feature, available) for f in findings if f.feature is not None),
        *(_change(f, f.change) for f in findings if f.change is not None),
        *(_testimony(f, f.testimony, available) for f in findings if f.testimony is not None),
        *((_tally(),) if TALLY_ANCHOR in used else ()),
        *(_claim(f, f.claim, available) for f in findings if f.claim is not None and f.claim.readings),
        *(_curve(c, curves) for c in available.values()),
        *(() if curves.time is None else (_time(curves.time),)),
        *(() if curves.level is None else (_level(curves.level),)),
        *(() if curves.impedance is None else (_impedance(curves.impedance),)),
        *((_correctable(),) if "from-correctable" in used else ()),
        *((_long_term(curves.long_term),) if curves.long_term.anything else ()),
        *((_tones(curves.tones),) if curves.tones.anything else ()),
        *(_check(one) for one in checked if any(numbers_in((one.text, one.limit, one.remedy)))),
    )
    # Entries quote constants too, of figures that stand nowhere else.
    quoted = {n.reference: n for n in numbers_in((prose, found)) if n.reference.startswith("method:")}
    methods: dict[str, list[Number]] = {}
    for reference in sorted(quoted):
        methods.setdefault(reference[7:].split("/")[0], []).append(quoted[reference])
    return (*found, *(_method(name, tuple(numbers)) for name, numbers in methods.items()))


def numbers_in(thing: object) -> Iterable[Number]:
    """Every number in every sentence inside a tree of records, tuples and mappings."""
    if isinstance(thing, Sentence):
        yield from thing.numbers
    elif isinstance(thing, Mapping):
        for value in thing.values():
            yield from numbers_in(value)
    elif isinstance(thing, tuple):
        for value in thing:
            yield from numbers_in(value)
    elif is_dataclass(thing):
        for field in fields(thing):
            yield from numbers_in(getattr(thing, field.name))


def _figure(figure: Figure, curves: Mapping[CurveName, Curve]) -> Origin:
    here = f"figure:{figure.name}"
    lines = [line("Conditions", figure.conditions), *_source(figure.source)]
    lines.append(line("Reading", say(named(figure.reading))))
    if figure.valid_band_hz:
        low, high = figure.valid_band_hz
        band = say(
            frequency(low, f"{here}/valid_band_hz/0"), " to ", frequency(high, f"{here}/valid_band_hz/1")
        )
        lines.append(line("Valid", band))
    if isinstance(figure.value, Plateaus):
        lines += _sides_uncertainty(figure, figure.value.clauses)
    if figure.components:
        lines.append(line("Uncertainty from", _components(figure, here)))
    if figure.also:
        lines.append(line("Other readings", _also(figure, here)))
    shown = [c for c in figure.evidence.curves if c in curves]
    covered = {t for c in shown for t in curves[c].takes}
    return Origin(
        anchor=anchor(here),
        title=FIGURE_LABELS[figure.name],
        value=value_sentence(figure),
        method=figure.method,
        lines=tuple(lines),
        curves=tuple((anchor(f"curve:{c}"), c.words) for c in shown),
        takes=_own_takes(figure.evidence, covered),
    )


def _claim(finding: Finding, claim: ClaimJudgement, curves: Mapping[CurveName, Curve]) -> Origin:
    here = f"claim:{claim.index}"
    claimed = next(part for part in finding.statement.parts if isinstance(part, Quoted))
    return Origin(
        anchor=anchor(here),
        title=say("Claim “", claimed, "”"),
        value=say(str(claim.judgement)),
        method="findings.claim_readings.readings",
        lines=tuple(_source(CLAIM_SOURCE)),
        curves=tuple((anchor(f"curve:{c}"), c.words) for c in finding.evidence.curves if c in curves),
    )


def _feature(finding: Finding, feature: Feature, curves: Mapping[CurveName, Curve]) -> Origin:
    number = finding.id.removeprefix("feature-")
    here = f"feature:{number}/feature"
    lines = _source(FEATURE_SOURCE)
    if finding.story is not None:
        lines += [line("Cause", detail) for detail in finding.story.details]
    return Origin(
        anchor=anchor(here),
        title=say(f"Feature: {feature.kind}"),
        value=height(feature, here) + say(" at ", frequency(feature.frequency_hz, f"{here}/frequency_hz")),
        method="findings.shapes.find_shapes" if feature.broad else "findings.features.find_features",
        lines=tuple(lines),
        curves=tuple((anchor(f"curve:{c}"), c.words) for c in finding.evidence.curves if c in curves),
        takes=finding.evidence.takes,
    )


def _change(finding: Finding, change: LevelChange) -> Origin:
    here = f"change:{change.number}"
    size = quantity(change.change_db, "dB", f"{here}/change/change_db")
    lines = _source(CHANGE_SOURCE)
    if finding.story is not None:
        lines += [line("Cause", detail) for detail in finding.story.details]
    return Origin(
        anchor=anchor(here),
        title=say(f"Change with the drive: {change.kind}"),
        value=say(size, " at ", frequency(change.frequency_hz, f"{here}/change/frequency_hz")),
        method="findings.causes.level_judge.causes_of_change",
        lines=tuple(lines),
        takes=finding.evidence.takes,
    )


def _testimony(finding: Finding, held: NoteHeld, curves: Mapping[CurveName, Curve]) -> Origin:
    note = held.note
    lines = [
        *_source(TESTIMONY_SOURCE),
        *(() if note.quality is None else _source(MEANINGS[note.quality].source)),
        line("Sealed", say(Term(note.sealed_at))),
        line("Seal", say(Term(note.seal))),
        line("File", say(Term(f"testimony/{note.number:03}.toml"))),
    ]
    if held.by_chance is not None:
        share = Number(
            f"{100.0 * held.by_chance:.0f} %", held.by_chance, f"testimony:{note.number}/by_chance"
        )
        lines.append(
            line("By chance", say("it would be supported at ", share, " of all places of such a band"))
        )
    return Origin(
        anchor=anchor(f"testimony:{note.number}"),
        title=say("Listening note"),
        value=say(str(held.outcome)),
        method="findings.testimony.held",
        lines=tuple(lines),
        curves=tuple((anchor(f"curve:{c}"), c.words) for c in finding.evidence.curves if c in curves),
    )


def _tally() -> Origin:
    return Origin(
        anchor=TALLY_ANCHOR,
        title=say("Listening notes together"),
        value=say("as sealed, and at shuffled places"),
        method="findings.testimony.tally",
        lines=(*_source(TESTIMONY_SOURCE), line("File", say("findings.json"))),
    )


def _own_takes(evidence: Evidence, covered: set[TakeId]) -> tuple[TakeId, ...]:
    return evidence.takes if len(evidence.takes) <= 4 or not covered.issuperset(evidence.takes) else ()


def _components(figure: Figure, here: str) -> Sentence:
    pieces = []
    for name, value in figure.components.items():
        if value is None:
            pieces.append(say(f"{name} not stated"))
        else:
            reference = f"{here}/components/{name}"
            pieces.append(say(f"{name} ", spread(value, figure.unit, reference, figure.uncertainty)))
    return listing(pieces)


def _also(figure: Figure, here: str) -> Sentence:
    decimals = decimals_for(figure.uncertainty) if figure.uncertainty else 1
    return listing(
        # What is a largest or a least value says where it is.
        say("at ", frequency(value, f"{here}/also/{name}"))
        if name == "frequency" or name.endswith(" at")
        else say(named(name.removesuffix(", dB")), " ", quantity(value, "dB", f"{here}/also/{name}", 1))
        if name.endswith(", dB")
        else say(named(name.removesuffix(", h")), " ", duration(value, f"{here}/also/{name}"))
        if name.endswith(", h")
        else say(named(name), " ", frequency(value, f"{here}/also/{name}"))
        if figure.unit == "Hz"
        else say("phase ", quantity(value, "°", f"{here}/also/{name}", 0))
        if name == "phase"
        else say(named(name), " ", quantity(value, figure.unit, f"{here}/also/{name}", decimals))
        for name, value in figure.also.items()
    )


def _sides_uncertainty(figure: Figure, clauses: tuple[Plateau, ...]) -> list[Line]:
    """The uncertainty of each clause of a coverage that has one, side by side."""
    told = []
    for index, clause in enumerate(clauses):
        here = f"figure:{figure.name}/value/clauses/{index}"
        known = {
            "positive": clause.positive_uncertainty_deg,
            "negative": clause.negative_uncertainty_deg,
        }
        sides = [
            say("± ", spread(value, figure.unit, f"{here}/{side}_uncertainty_deg"), f" {words}")
            for (side, value), words in zip(known.items(), SIDES[figure.name], strict=True)
            if value is not None
        ]
        if sides:
            told.append(say("from ", frequency(clause.from_hz, f"{here}/from_hz"), " ") + listing(sides))
    return [line("Uncertainty", listing(told, "; ", "; "))] if told else []


def _source(source: Source) -> list[Line]:
    return [line("Source", say(named(str(source)))), line("Known", say(str(source.standing)))]


def _curve(curve: Curve, curves: CurveSet) -> Origin:
    here = f"curve:{curve.name}"
    band = curves.valid_band_hz(curve.name)
    value = say("drawn for ", Term(curves.drive))
    lines = _source(curve.source)
    if band:
        value = say(
            frequency(band[0], f"{here}/valid_from_hz"), " to ", frequency(band[1], f"{here}/valid_to_hz")
        )
    if curve.reading:
        lines.append(line("Reading", say(named(curve.reading))))
    stated = [str(name) for name, u in curve.components_db.items() if u is not None]
    absent = [str(name) for name, u in curve.components_db.items() if u is None]
    if stated:
        lines.append(line("Uncertainty from", listing(say(name) for name in stated)))
    if absent:
        lines.append(line("Not stated", listing(say(name) for name in absent)))
    return Origin(
        anchor=anchor(here),
        title=say(f"Curve: {curve.name.words}"),
        value=value,
        method=curve.method,
        lines=tuple(lines),
        takes=curve.takes,
    )


def _time(time: TimeBehaviour) -> Origin:
    lines = _source(TIME_SOURCE)
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


def _level(level: ChangeWithLevel) -> Origin:
    lines = _source(LEVEL_SOURCE)
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


def _correctable() -> Origin:
    return Origin(
        anchor="from-correctable",
        title=say("What an equaliser mends"),
        value=say("by plane, and within the listening window"),
        method="derive.correctability",
        lines=tuple(_source(CORRECTABLE_SOURCE)),
    )


def _impedance(found: Impedance) -> Origin:
    lines = _source(IMPEDANCE_SOURCE)
    known = [say(str(name)) for name, part in found.components_ohm.items() if part is not None]
    absent = [say(str(name)) for name, part in found.components_ohm.items() if part is None]
    if known:
        lines.append(line("Uncertainty from", listing(known)))
    if absent:
        lines.append(line("Not stated", listing(absent)))
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


def _long_term(found: LongTerm) -> Origin:
    run, noise = found.endurance, found.self_noise
    lines = _source(LONG_TERM_SOURCE)
    lines.append(line("Uncertainty from", say("noise")))
    return Origin(
        anchor=LONG_TERM_ANCHOR,
        title=say("A load that lasts, and self-noise"),
        value=say("at rest") if run is None else say("at ", Term(run.drive.label)),
        method="measurement.endurance",
        lines=tuple(lines),
        takes=(*(() if run is None else (run.take,)), *(() if noise is None else noise.takes)),
    )


def _tones(found: ToneSet) -> Origin:
    tones: tuple[Multitone | TwoTones, ...] = (*found.multitone, *found.two_tones)
    every = (*tones, *found.rattles)
    lines = _source(TONES_SOURCE if tones else RATTLES_SOURCE)
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


def _check(one: QualityLine) -> Origin:
    lines = [line("Found", one.text)]
    if one.limit.parts:
        lines.append(line("Limit", one.limit))
    lines.append(line("File", say(f"quality.json, the point {one.name}")))
    return Origin(
        anchor=anchor(f"quality:{one.name}"),
        title=say("Check: ", one.label),
        value=one.words,
        method=METHODS[one.name],
        lines=tuple(lines),
        takes=one.takes,
    )


def _method(name: str, found: tuple[Number, ...]) -> Origin:
    path = name if "." in name else f"methods.{name}"
    title, first = about(path)
    return Origin(
        anchor=anchor(f"method:{name}"),
        title=say(named(title)),
        value=constants(found),
        method=path,
        lines=(line("About", say(Quoted(first, f"method:{name}"))),) if first != title else (),
    )
