"""Whether the data of a case are fit to conclude from, as `earwitness check` asks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from earwitness.case.documents import from_json
from earwitness.case.layout import CaseFolder
from earwitness.measurement.answers import read_stimulus
from earwitness.measurement.deconvolution import RECORDED, Trial
from earwitness.measurement.given_impulse import is_given
from earwitness.pipeline.build import SCHEMA_VERSION, Progress, build
from earwitness.pipeline.points.material import Teller, joined, named
from earwitness.pipeline.points.reference import earlier_readings, reference
from earwitness.pipeline.stated import Stated
from earwitness.records.errors import ReadError
from earwitness.records.quality import Point, PointName, Quality, Verdict
from earwitness.records.sentences import say
from earwitness.records.takes import Take, TakeId


def check_case(
    root: Path, earlier: Sequence[Path] = (), progress: Progress = lambda _what, _done, _total: None
) -> Quality:
    """The points of the case at `root`, which is built where it changed.

    Recordings that can't be used are the only points where there are any. `earlier` are folders of earlier
    cases whose reference loudspeaker counts instead of those that the case names.

    Raises
    ------
    EarwitnessError
        See `build`: what else can't be built has no points.
    """
    try:
        build(root, progress)
    except ReadError as error:
        damaged = _damaged(Stated.of(CaseFolder.open(root)))
        if damaged is None:
            raise error from None
        return damaged
    quality = from_json(Quality, CaseFolder.open(root).quality.read_bytes(), "build/quality.json")
    if not earlier:
        return quality
    held = reference(quality.reference, earlier_readings(Path(), [str(folder) for folder in earlier]))
    points = tuple(held if point.name is PointName.REFERENCE else point for point in quality.points)
    return replace(quality, points=points)


def _damaged(stated: Stated) -> Quality | None:
    """A point of every recording that can't be used; None where it isn't the recordings that are wrong."""
    wrong: dict[TakeId, ReadError] = {}
    trials: dict[str, Trial] = {}
    recorded = [take for take in stated.takes if take.key.kind in RECORDED and not is_given(take)]
    for take in recorded:
        found = _problem(stated, take, trials)
        if found is not None:
            wrong[take.id] = found
    if not wrong:
        return None
    clipped = {take: error for take, error in wrong.items() if "is clipped" in str(error)}
    lost = {take: error for take, error in wrong.items() if take not in clipped}
    points = [
        _point(name, errors, len(recorded))
        for name, errors in ((PointName.RECORDINGS, lost), (PointName.CLIPPING, clipped))
        if errors
    ]
    return Quality(SCHEMA_VERSION, "", stated.facts.unit.name, tuple(points))


def _problem(stated: Stated, take: Take, trials: dict[str, Trial]) -> ReadError | None:
    """Why a recording can't be used; None where it can, or where it is its stimulus that is wrong."""
    if take.stimulus is None:
        return None
    try:
        if take.stimulus not in trials:
            trials[take.stimulus] = Trial(read_stimulus(stated.case.raw, stated.stimuli[take.stimulus]))
        trials[take.stimulus].require(take, stated.case.raw / take.path)
    except ReadError as error:
        return error if error.file != take.stimulus else None
    return None


def _point(name: PointName, wrong: dict[TakeId, ReadError], recordings: int) -> Point:
    tell = Teller(name)
    lines = [
        f"{error.file}{', ' if error.where else ''}{error.where} {error.problem}" for error in wrong.values()
    ]
    remedies = list(dict.fromkeys(error.remedy for error in wrong.values()))
    return tell.point(
        Verdict.UNFIT,
        say(
            tell.count("unusable", len(wrong)),
            " of ",
            tell.count("recordings", recordings),
            " recordings can't be used: ",
            joined(lines, 6),
            ".",
        ),
        say("nothing is built from a recording that was damaged on its way"),
        say(*(part for remedy in remedies[:2] for part in (named(remedy.capitalize()), ". "))),
        takes=list(wrong),
    )
