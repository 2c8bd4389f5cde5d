"""What can't be told of files on their way into a case, or contradicts it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from earwitness.case import durable
from earwitness.case.raw_store import read_hashes
from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.registry import reader_of
from earwitness.measurement.recognition.answers import Recognition
from earwitness.measurement.recognition.levels import why_not_of_kind
from earwitness.measurement.recognition.stimulus import fitting_stimuli
from earwitness.pipeline.arrivals import Arrivals, Doubt
from earwitness.pipeline.given_files import Given
from earwitness.pipeline.unsettled import doubt_of
from earwitness.records.facts import Rig
from earwitness.records.takes import EVERY_PART, ReadOptions, Take, TakeKind


def may_have_been_played(
    doubtful: Sequence[Recognition],
    takes: Sequence[Take],
    arrived: Arrivals,
    stimuli: Mapping[str, float | None],
) -> Mapping[str, Sequence[str]]:
    """For each doubtful file the stimuli of its sample rate, of the case and of this call."""
    rates = {file.path: file.contents.sample_rate_hz for file in arrived.files}
    new = {take.path: rates.get(take.path) for take in takes if take.key.kind is TakeKind.STIMULUS}
    return {r.path: fitting_stimuli(rates.get(r.path), {**stimuli, **new}) for r in doubtful}


def untold(
    doubtful: Sequence[Recognition], played: Mapping[str, Sequence[str]], arrived: Arrivals, rig: Rig
) -> Iterator[Doubt]:
    """Doubts of parts that can't be told."""
    for one in doubtful:
        option = _level_option(one.path, arrived.read[one.path])
        yield doubt_of(one, rig, option, has_stimulus=bool(played[one.path]))


def of_other_size(takes: Sequence[Take], arrived: Arrivals) -> list[Doubt]:
    """Doubts of stated takes whose levels can't be what they are stated to be.

    Where the entry says what the file's values are, it is believed.
    """
    found = []
    levels = {file.path: file.levels for file in arrived.files}
    for take in takes:
        option = _level_option(take.path, take.read)
        if option and option in dict(take.read):
            continue
        of_part = levels.get(take.path, {}).get(take.selector)
        wrong = why_not_of_kind(take.key.kind, of_part, take.key.drive)
        if wrong is not None:
            said = f'read = {{ {option} = "…" }}' if option else "its kind"
            remedy = f"say in its entry what it is, with {said}, or export it in dB re 20 µPa"
            found.append(Doubt(take.path, str(wrong), remedy, take.selector, wrong.subject))
    return found


def _level_option(path: str, read: ReadOptions) -> str:
    """The option that states what a file's levels are; empty where its reader has none."""
    return reader_of(Source(Path(path), path, read)).level_option


def undoubted(takes: Sequence[Take], doubts: Sequence[Doubt]) -> list[Take]:
    """Takes that nothing is doubted of so far."""
    refused = {(doubt.path, doubt.selector) for doubt in doubts}
    paths = {path for path, selector in refused if not selector}
    return [t for t in takes if t.path not in paths and (t.path, t.selector) not in refused]


def taken_twice(takes: Sequence[Take], known: Sequence[Take]) -> list[Doubt]:
    """Doubts of parts that would be a take that another one is already.

    Files that are taken whole are told apart part by part, when they are `tried`.
    """
    found = []
    owners = {take.key: take for take in known}
    for take in takes:
        owner = owners.setdefault(take.key, take)
        if EVERY_PART in (take.selector, owner.selector):
            continue
        if owner is not take and take.key.kind is not TakeKind.STIMULUS:
            problem = f"would be the same take as raw/{owner.id} ({take.key.label})"
            remedy = "name it as a repeat (…_repeat2), or remove the other's entry from takes.toml"
            direction = take.key.direction
            if direction is not None and direction.angle_deg == 180.0:
                problem = f"{problem}: −180° and +180° are one direction"
                remedy = "name one of the two as a repeat (…_repeat2), or leave it out"
            found.append(Doubt(take.path, problem, remedy, take.selector, "repeat"))
    return found


def others_there(given: Given) -> list[Doubt]:
    """Doubts of files for which the case has another one of that name."""
    found, listed = [], read_hashes(given.case)
    for path, name in given.sources:
        if name in listed and (digest := durable.file_digest(path)) != listed[name]:
            problem = f"raw/{name} is there already and differs (SHA-256 {listed[name]}, this one {digest})"
            found.append(Doubt(name, problem, "give it another name; raw files are never replaced"))
    return found
