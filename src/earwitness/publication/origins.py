"""Where each number comes from: number → figure → method and source → curves → takes → SHA-256.

A number's reference leads to one entry (`anchor`); entries lead on to the curves, and curves to raw files.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass

from earwitness.publication.constants import about, constants
from earwitness.publication.entries import TALLY_ANCHOR, Origin, anchor
from earwitness.publication.entries_of_behaviour import (
    impedance_entry,
    level_entry,
    long_term_entry,
    time_entry,
    tones_entry,
)
from earwitness.publication.entries_of_figures import curve_entry, figure_entry
from earwitness.publication.entries_of_findings import (
    change_entry,
    claim_entry,
    correctable_entry,
    feature_entry,
    tally_entry,
    testimony_entry,
)
from earwitness.publication.quality import METHODS, QualityLine
from earwitness.publication.wording import line, named
from earwitness.records.curves import CurveSet
from earwitness.records.figures import Figure
from earwitness.records.findings import Finding
from earwitness.records.sentences import Number, Quoted, Sentence, say

__all__ = ["Origin", "anchor", "numbers_in", "origins"]


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
        *(figure_entry(f, available) for f in spoken),
        *(feature_entry(f, f.feature, available) for f in findings if f.feature is not None),
        *(change_entry(f, f.change) for f in findings if f.change is not None),
        *(testimony_entry(f, f.testimony, available) for f in findings if f.testimony is not None),
        *((tally_entry(),) if TALLY_ANCHOR in used else ()),
        *(claim_entry(f, f.claim, available) for f in findings if f.claim is not None and f.claim.readings),
        *(curve_entry(c, curves) for c in available.values()),
        *(() if curves.time is None else (time_entry(curves.time),)),
        *(() if curves.level is None else (level_entry(curves.level),)),
        *(() if curves.impedance is None else (impedance_entry(curves.impedance),)),
        *((correctable_entry(),) if "from-correctable" in used else ()),
        *((long_term_entry(curves.long_term),) if curves.long_term.anything else ()),
        *((tones_entry(curves.tones),) if curves.tones.anything else ()),
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
