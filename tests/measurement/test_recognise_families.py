"""Reference names: a guess is right or absent, and where the name is clear it isn't absent."""

from __future__ import annotations

import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from arriving import form_of

from earwitness.case.drives import format_drive, parse_drive
from earwitness.measurement.readers.contents import Contents, Part
from earwitness.measurement.recognise import Arrived, recognise
from earwitness.measurement.recognition.answers import Recognition
from earwitness.records.takes import Take

NAMES = Path(__file__).parents[1] / "reference" / "names.toml"
FAMILIES: list[dict[str, Any]] = tomllib.loads(NAMES.read_text(encoding="utf-8"))["family"]


def in_words(take: Take) -> str:
    """A take as the reference data write it."""
    key = take.key
    parts = [str(key.kind).replace("_", " ")]
    parts += [f"{key.direction.orbit} {key.direction.angle_deg:+g}"] if key.direction else []
    parts += [key.radiator] if key.radiator else []
    parts += [format_drive(key.drive)] if key.drive else []
    parts += [f"repeat {key.repeat}"] if key.repeat != 1 else []
    parts += [f"{take.level_db:g} dB"] if take.level_db is not None else []
    parts += [f"{1000.0 * take.distance_m:g} mm"] if take.distance_m is not None else []
    return ", ".join(parts)


def recognised(family: dict[str, Any]) -> dict[str, Recognition]:
    """What came of each file, or file#heading, of a family whose files arrive together."""
    names = [*family.get("takes", {}), *family.get("doubts", {})]
    headings: dict[str, list[str]] = {}
    for name in names:
        path, _, heading = name.partition("#")
        headings.setdefault(path, []).append(heading)
    files = []
    for path, words in headings.items():
        parts = tuple(Part(heading, heading) for heading in words)
        files.append(Arrived(path, Contents(form_of(path), parts, tuple(family.get("header", ())))))
    drive = family.get("drive")
    found = recognise(
        files,
        drive=parse_drive(drive) if drive else None,
        stimuli={"before/stimulus.wav": None},
        radiators=family.get("radiators", ()),
    )
    return {f"{one.path}#{one.selector}" if one.selector else one.path: one for one in found}


@pytest.mark.parametrize("family", FAMILIES, ids=[family["about"] for family in FAMILIES])
def test_a_guess_is_right_or_absent(family: dict[str, Any]) -> None:
    found = recognised(family)
    for name, expected in family.get("takes", {}).items():
        take = found[name].take
        why = [str(doubt) for doubt in found[name].doubts]
        if take is not None:
            assert in_words(take) == expected, name
        else:
            assert not family.get("clear"), (name, why)
    for name, subject in family.get("doubts", {}).items():
        one = found[name]
        assert one.take is None, (name, one.take)
        assert subject in {doubt.subject for doubt in one.doubts}, (name, one.doubts)


def test_the_reference_data_are_as_many_as_they_should_be() -> None:
    assert len(FAMILIES) >= 80
    assert [about for about, times in Counter(f["about"] for f in FAMILIES).items() if times > 1] == []
    subjects = {subject for family in FAMILIES for subject in family.get("doubts", {}).values()}
    assert {"sign", "plane", "angle", "drive", "kind", "repeat", "radiator", "level"} <= subjects


def test_few_takes_are_doubted_for_nothing() -> None:
    """A recogniser that doubts everything would be right as well."""
    known = [(f, name) for f in FAMILIES for name in f.get("takes", {})]
    told = [name for family, name in known if recognised(family)[name].take is not None]
    assert len(told) >= 0.95 * len(known)
