"""Statements on features: what stands out of the response and where, what causes it, what that comes to.

The printed order: what is likely heard comes first, and of that what no equaliser mends for every seat; then
what may be heard, after the figures; what is unlikely to be heard comes last of all findings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from earwitness.derive.numerals import frequency, quantity
from earwitness.findings import shape_words
from earwitness.findings.audibility import audibility
from earwitness.findings.cause_words import cause_sentences, details
from earwitness.findings.causes.form import WIDE
from earwitness.findings.correctability import SAID, correctable
from earwitness.findings.feature_change import feature_changes, part_unsure
from earwitness.findings.feature_heights import KINDS, height_statement, leading
from earwitness.findings.feature_places import by_direction, place_of, takes_of, where
from earwitness.findings.features import REACH_DEG, TOP_DB
from earwitness.findings.merging import Told
from earwitness.findings.next_measurement import (
    next_measurement,
    settle_sentence,
    unsettled_sentence,
    with_exposure,
)
from earwitness.findings.next_question import Ask, no_scene
from earwitness.findings.next_table import Possible
from earwitness.records.audibility import Audibility, Heard
from earwitness.records.correctability import Correctable, Mends
from earwitness.records.curves import CurveName, CurveSet
from earwitness.records.features import Feature
from earwitness.records.figures import Evidence
from earwitness.records.findings import Finding, Place, Story
from earwitness.records.next_measurement import NextMeasurement
from earwitness.records.responses import Directivity, Responses
from earwitness.records.sentences import EMPTY, Sentence, say
from earwitness.records.sources import Source, Standing
from earwitness.records.takes import TakeId

#: The printed order by whether it is heard: where an equaliser mends it for every seat, and where not.
IMPORTANCE: Final[Mapping[Heard, tuple[float, float]]] = {
    Heard.LIKELY: (0.88, 0.95),
    Heard.MAYBE: (0.30, 0.32),
    Heard.UNLIKELY: (0.04, 0.05),
}
#: And where its height isn't known to be any.
UNSURE: Final = 0.03
_NO_HEIGHT: Final = say(
    "The height that was fitted is no surer than none at all: what makes it, and whether it is heard, isn't "
    "told."
)
#: An equaliser that lifts by more asks too much of amplifier and drive units (common practice).
MOST_BOOST_DB: Final = 6.0
_BOOST: Final = quantity(MOST_BOOST_DB, "dB", "method:findings.feature_statements/MOST_BOOST_DB", 0)
_BROAD_MENDS: Final = say(
    "An equaliser mends it for every seat, since all directions to the front share it: better by taking "
    "from the louder side than by adding to the softer one."
)
#: Of a loudspeaker of which nothing stands out.
NOTHING: Final = 0.95
SOURCE: Final = Source("Earwitness", "", "features through the gate", Standing.OWN)
_HEARD: Final[Mapping[Heard, str]] = {
    Heard.LIKELY: "Likely. ",
    Heard.MAYBE: "Maybe. ",
    Heard.UNLIKELY: "Unlikely. ",
}


def feature_statements(  # noqa: PLR0917
    responses: Responses,
    field: Directivity,
    curves: CurveSet,
    told: Sequence[Told],
    possible: Possible,
    ask: Ask = no_scene,
) -> tuple[Finding, ...]:
    """One finding a feature, numbered in their order, and a glad one where none would be heard.

    Parameters
    ----------
    field
        Of all directions, for what a feature does in the room.
    possible
        What could be measured next.
    ask
        What is in question of a feature, as the fitted scene has it.
    """
    rows = by_direction(responses)
    written = [
        _finding(number, one, field, curves, takes_of(one[0], rows)) for number, one in enumerate(told, 1)
    ]
    found = tuple(
        _settled(finding, with_exposure(_next(finding, possible, ask), possible, curves, responses))
        for finding in written
    )
    heard = [
        one for one in found if one.audibility is not None and one.audibility.verdict is not Heard.UNLIKELY
    ]
    return found if heard else (*found, *_nothing(curves, any_at_all=bool(found)))


def _finding(
    number: int, told: Told, field: Directivity, curves: CurveSet, takes: tuple[TakeId, ...]
) -> Finding:
    feature, causes = told
    root = f"feature:{number}"
    here = f"{root}/feature"
    finding = Finding(
        id=f"feature-{number}",
        subject="feature",
        statement=_statement(feature, here),
        explanation=EMPTY,
        note=_note(feature, here),
        importance=IMPORTANCE[Heard.MAYBE][1],
        place=place_of(feature, curves.drive),
        figures=(),
        evidence=Evidence((CurveName.ON_AXIS,) if feature.on_axis else (), takes),
        feature=feature,
        causes=causes,
        story=Story(
            cause=cause_sentences(causes, f"{root}/causes"),
            details=tuple(details(said, f"{root}/causes/said/{i}") for i, said in enumerate(causes.said)),
        ),
    )
    if not_told(feature):
        return replace(finding, importance=UNSURE, story=Story(_NO_HEIGHT))
    heard = _audibility(feature, field, root)
    mends = _correctable(feature, curves, root)
    return _weighed(finding, heard, mends)


def not_told(feature: Feature) -> bool:
    """Whether the interval of its height reaches nothing at all, so that there may be no feature."""
    return WIDE * feature.gain_u_db >= abs(feature.gain_db)


def _statement(feature: Feature, here: str) -> Sentence:
    if not_told(feature):
        tone = frequency(feature.frequency_hz, f"{here}/frequency_hz")
        places = where(feature, here)
        return say(f"{KINDS[feature.kind]} about ", tone, ", ", places, ", of no height that could be told.")
    if feature.broad:
        return shape_words.statement(feature, here)
    return height_statement(feature, here)


def _audibility(feature: Feature, field: Directivity, root: str) -> Audibility:
    frequency_hz = field.frequency_hz.astype(float)
    changes = feature_changes(feature, field)
    return audibility(frequency_hz, changes, part_unsure(feature), here=f"{root}/audibility")


def _correctable(feature: Feature, curves: CurveSet, root: str) -> Correctable | None:
    if curves.correctability is None or feature.broad:
        return None
    top = feature.top
    half = 2.0 ** (0.5 * top.width_octaves)
    band = (top.frequency_hz / half, top.frequency_hz * half)
    return correctable(curves.correctability, band, here=f"{root}/correctable")


def _weighed(finding: Finding, heard: Audibility, mends: Correctable | None) -> Finding:
    """With whether it is heard, whether it is mended, and its place in the order."""
    assert finding.story is not None
    assert finding.feature is not None
    mended, unmended = IMPORTANCE[heard.verdict]
    deep = leading(finding.feature).gain_db < -MOST_BOOST_DB
    broad = finding.feature.broad
    everywhere = broad or (mends is not None and mends.mends is Mends.EVERY_SEAT and not deep)
    story = replace(finding.story, heard=say(_HEARD[heard.verdict], heard.reason))
    if mends is not None and heard.verdict is not Heard.UNLIKELY:
        said = say(SAID[mends.mends], ".")
        if deep and mends.mends in (Mends.EVERY_SEAT, Mends.ONE_SEAT):
            said = say("An equaliser could fill it, but shouldn't: ", _BOOST, " more is a fourfold power.")
        story = replace(story, mend=said, details=(*story.details, mends.reason))
    if broad and heard.verdict is not Heard.UNLIKELY:
        story = replace(story, mend=_BROAD_MENDS)
    importance = mended if everywhere else unmended
    return replace(finding, audibility=heard, correctable=mends, story=story, importance=importance)


def _next(finding: Finding, possible: Possible, ask: Ask) -> NextMeasurement | None:
    """What to measure next, of what may be heard."""
    if not _asked(finding):
        return None
    assert finding.feature is not None
    assert finding.causes is not None
    return next_measurement(finding.causes, possible, ask(finding.feature, finding.causes))


def _asked(finding: Finding) -> bool:
    """Whether it may be heard, and is no broad shape."""
    heard = finding.audibility is not None and finding.audibility.verdict is not Heard.UNLIKELY
    return heard and finding.feature is not None and not finding.feature.broad


def _settled(finding: Finding, found: NextMeasurement | None) -> Finding:
    """With what to measure next."""
    assert finding.story is not None
    here = f"feature:{finding.id.removeprefix('feature-')}/next_measurement"
    settle = settle_sentence(found, here)
    if found is None and finding.causes is not None and _asked(finding):
        settle = unsettled_sentence(finding.causes)
    return replace(finding, next_measurement=found, story=replace(finding.story, settle=settle))


def _nothing(curves: CurveSet, *, any_at_all: bool) -> tuple[Finding, ...]:
    """A glad statement, where the response on axis is valid."""
    band = curves.valid_band_hz(CurveName.ON_AXIS)
    if band is None:
        return ()
    low, high = (
        frequency(edge, f"curve:on_axis/valid_{end}_hz", 2)
        for edge, end in zip(band, ("from", "to"), strict=True)
    )
    least = quantity(TOP_DB, "dB", "method:findings.features/TOP_DB", 0)
    reach = quantity(REACH_DEG, "°", "method:findings.features/REACH_DEG", 0)
    more = " that anyone would be likely to hear" if any_at_all else ""
    return (
        Finding(
            id="no-feature",
            subject="feature",
            statement=say(f"Nothing stands out of its response{more}."),
            explanation=say(
                "Within ",
                reach,
                " of the axis no peak or dip rises out of its surroundings by ",
                least,
                " or more in three neighbouring directions",
                ", but for those below." if any_at_all else ".",
            ),
            note=say(
                "valid from ",
                low,
                " to ",
                high,
                " · shelves and tilts count where a scene of the drive units could be fitted",
            ),
            importance=NOTHING,
            place=Place(CurveName.ON_AXIS, band, "on axis", curves.drive),
            figures=(),
            evidence=Evidence((CurveName.ON_AXIS,), curves.curves[CurveName.ON_AXIS].takes),
        ),
    )


def _note(feature: Feature, here: str) -> Sentence:
    """Its width, where the gate tells it, and how it was found."""
    if feature.broad:
        return shape_words.note(feature, here)
    if feature.q is not None:
        width = say("Q ", quantity(feature.q, "", f"{here}/q", 1))
    else:
        assert feature.q_at_least is not None
        width = say("Q at least ", quantity(feature.q_at_least, "", f"{here}/q_at_least", 0))
    return width + say(" · where it stands out most · fitted through the gate, direction by direction")
