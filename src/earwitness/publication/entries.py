"""Entries of the appendix: what each holds, and which one a number's reference leads to."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from earwitness.derive.wording import listing
from earwitness.publication.take_sets import anchor_of
from earwitness.publication.wording import Line, line, named
from earwitness.records.curves import Curve, CurveName
from earwitness.records.sentences import Sentence, say
from earwitness.records.sources import Source
from earwitness.records.takes import TakeId
from earwitness.records.uncertainty import ComponentName

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


def source_lines(source: Source) -> list[Line]:
    """Document and clause, and how it is known."""
    return [line("Source", say(named(str(source)))), line("Known", say(str(source.standing)))]


def component_lines(components: Mapping[ComponentName, object]) -> list[Line]:
    """Which components the uncertainty comes from, and which nobody stated (None)."""
    known = [say(str(name)) for name, size in components.items() if size is not None]
    absent = [say(str(name)) for name, size in components.items() if size is None]
    lines = {"Uncertainty from": known, "Not stated": absent}
    return [line(label, listing(names)) for label, names in lines.items() if names]


def curve_links(names: Iterable[CurveName], curves: Mapping[CurveName, Curve]) -> tuple[tuple[str, str], ...]:
    """Anchors and names of the curves that there are."""
    return tuple((anchor(f"curve:{name}"), name.words) for name in names if name in curves)
