"""What the page says of the quality of the data: a line a point, and pictures where they help."""

from __future__ import annotations

from dataclasses import dataclass

from earwitness.exhibits.description import Exhibit
from earwitness.exhibits.quality import describe_quality
from earwitness.publication.wording import listing, named
from earwitness.records.quality import PointName, Quality, Verdict
from earwitness.records.sentences import Sentence, say


@dataclass(frozen=True, slots=True)
class QualityLine:
    """One point in short: its name, its verdict, what was found, the limit, and what is to do.

    `exhibit` is the id of its picture; empty where there is none.
    """

    name: PointName
    label: Sentence
    verdict: Verdict
    words: Sentence
    text: Sentence
    limit: Sentence
    remedy: Sentence
    exhibit: str


@dataclass(frozen=True)
class QualityPart:
    """All points, those that want attention first, and their pictures.

    `summary` is the part in one sentence; `fit` whether nothing is unfit.
    """

    fit: bool
    summary: Sentence
    lines: tuple[QualityLine, ...]
    exhibits: tuple[Exhibit, ...]


#: What wants attention stands first.
_ORDER = (Verdict.UNFIT, Verdict.LOOK, Verdict.FINE, Verdict.CANNOT_TELL)


def quality_part(quality: Quality, after: int = 0) -> QualityPart:
    """The part of a case; its pictures are lettered on from the first `after` letters."""
    exhibits = describe_quality(quality, after)
    pictures = {exhibit.id: exhibit for exhibit in exhibits}
    lines = [
        QualityLine(
            name=point.name,
            label=say(named(point.name.words.capitalize())),
            verdict=point.verdict,
            words=say(str(point.verdict)),
            text=point.sentence,
            limit=point.limit,
            remedy=point.remedy,
            exhibit=_picture(point.name, pictures),
        )
        for point in quality.points
    ]
    ordered = sorted(lines, key=lambda one: _ORDER.index(one.verdict))
    return QualityPart(quality.fit, _summary(quality), tuple(ordered), exhibits)


def _picture(name: PointName, pictures: dict[str, Exhibit]) -> str:
    found = f"quality-{str(name).replace('_', '-')}"
    return found if found in pictures else ""


def _summary(quality: Quality) -> Sentence:
    unfit, look = (
        [say(named(p.name.words)) for p in quality.points if p.verdict is verdict]
        for verdict in (Verdict.UNFIT, Verdict.LOOK)
    )
    if unfit:
        return say("The data aren't fit to conclude from: ") + listing(unfit) + say(".")
    if look:
        return say("The data are fit to conclude from; to look at: ") + listing(look) + say(".")
    return say("The data are fit to conclude from: nothing that could be checked is wrong.")
