"""What the page says of the quality of the data: a line a point, and pictures where they help."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Final

from earwitness.derive.wording import listing
from earwitness.exhibits.description import Exhibit
from earwitness.exhibits.quality import describe_quality
from earwitness.publication.wording import named
from earwitness.records.quality import Point, PointName, Quality, Verdict
from earwitness.records.sentences import Sentence, say
from earwitness.records.takes import TakeId

#: The code behind each point, as a dotted path under ``earwitness``.
METHODS: Final[Mapping[PointName, str]] = {
    PointName.RECORDINGS: "pipeline.points.sound.recordings",
    PointName.CLIPPING: "pipeline.points.sound.clipping",
    PointName.SIGNAL_TO_NOISE: "pipeline.points.sound.signal_to_noise",
    PointName.HUM: "pipeline.points.sound.hum",
    PointName.LATENCY: "pipeline.points.moment.latency",
    PointName.CLOCKS: "pipeline.points.clocks.clocks",
    PointName.FLIGHT: "pipeline.points.clocks.flight",
    PointName.POLARITY: "pipeline.points.moment.polarity",
    PointName.MISSING: "pipeline.points.turned.missing",
    PointName.ORDER: "pipeline.points.smooth.order",
    PointName.LEVELS: "pipeline.points.smooth.levels",
    PointName.ZERO: "pipeline.points.smooth.zero",
    PointName.FIRST_LAST: "pipeline.points.sameness.first_last",
    PointName.REPEATS: "pipeline.points.sameness.repeats",
    PointName.ORBITS: "pipeline.points.turned.orbits",
    PointName.LEFT_RIGHT: "pipeline.points.turned.sides",
    PointName.UP_DOWN: "pipeline.points.turned.sides",
    PointName.HEIGHTS: "pipeline.points.clocks.heights",
    PointName.SPLICE: "pipeline.points.splice.splice",
    PointName.CALIBRATION: "pipeline.points.sameness.calibration",
    PointName.REFERENCE: "pipeline.points.reference.reference",
}


@dataclass(frozen=True)
class QualityLine:
    """One point in short.

    Attributes
    ----------
    name, label
        Which point it is, for code and for readers.
    verdict, words
        What it comes to, and that in words.
    text, limit, remedy
        What was found, the limit that it was held against, and what is to do; the last two may be empty.
    picture
        Its picture; None where there is none.
    takes
        The takes that it is about, as far as the publication lists them.
    """

    name: PointName
    label: Sentence
    verdict: Verdict
    words: Sentence
    text: Sentence
    limit: Sentence
    remedy: Sentence
    picture: Exhibit | None
    takes: tuple[TakeId, ...] = ()

    @property
    def wants_attention(self) -> bool:
        """Whether something is wrong, or may be."""
        return self.verdict in {Verdict.UNFIT, Verdict.LOOK}


@dataclass(frozen=True)
class QualityPart:
    """All points, those that want attention first, and their pictures.

    `summary` is the part in one sentence; `fit` whether nothing is unfit.
    """

    fit: bool
    summary: Sentence
    lines: tuple[QualityLine, ...]
    exhibits: tuple[Exhibit, ...]


#: What wants attention stands first, then what more takes would tell, then what asks for nothing.
_ORDER: Final = (Verdict.UNFIT, Verdict.LOOK, Verdict.CANNOT_TELL, Verdict.FINE)

_WORDS: Final[Mapping[Verdict, str]] = {Verdict.LOOK: "to look at"}


def quality_part(quality: Quality, after: int = 0, listed: Collection[TakeId] = ()) -> QualityPart:
    """The part of a case.

    Parameters
    ----------
    after
        Its pictures are lettered on from the first so many letters.
    listed
        The takes whose raw files the publication lists.
    """
    ordered = tuple(sorted(quality.points, key=lambda point: _ORDER.index(point.verdict)))
    exhibits = describe_quality(replace(quality, points=ordered), after)
    pictures = {exhibit.id: exhibit for exhibit in exhibits}
    lines = tuple(_line(point, pictures, listed) for point in ordered)
    return QualityPart(quality.fit, _summary(quality), lines, exhibits)


def _line(point: Point, pictures: Mapping[str, Exhibit], listed: Collection[TakeId]) -> QualityLine:
    return QualityLine(
        name=point.name,
        label=say(named(point.name.words.capitalize())),
        verdict=point.verdict,
        words=say(_WORDS.get(point.verdict, str(point.verdict))),
        text=point.sentence,
        limit=point.limit,
        remedy=point.remedy,
        picture=pictures.get(f"quality-{str(point.name).replace('_', '-')}"),
        takes=tuple(take for take in point.takes if take in listed),
    )


def _summary(quality: Quality) -> Sentence:
    unfit, look, untold, fine = (
        [say(named(p.name.words)) for p in quality.points if p.verdict is verdict]
        for verdict in (Verdict.UNFIT, Verdict.LOOK, Verdict.CANNOT_TELL, Verdict.FINE)
    )
    if unfit:
        return say("The data aren't fit to conclude from: ") + listing(unfit) + say(".")
    if look:
        return say("The data are fit to conclude from; to look at: ") + listing(look) + say(".")
    if not fine:
        return say("Whether the data are fit to conclude from can't be told from what was measured.")
    words = say("The data are fit to conclude from: nothing that could be checked is wrong.")
    return words + say(" What can't be told: ") + listing(untold) + say(".") if untold else words
