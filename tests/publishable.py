"""A made-up case with everything that a publication is made from: not measured, not built."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import specimen

from earwitness.publication.material import Built, CaseFiles, Revision
from earwitness.records.quality import Point, PointName, Quality, Series, Verdict
from earwitness.records.responses import Origin, Responses
from earwitness.records.sentences import EMPTY, Number, say
from earwitness.records.takes import Direction, Drive, Orbit, Take, TakeKey, TakeKind
from earwitness.records.uncertainty import ComponentName

LONG_NAME = "Reverberance Grand Monitor Anniversary Loudspeaker Mark Four"
VERDICT = """An even, wide-spreading small loudspeaker that asks for a subwoofer.

It holds its balance to **either side**, and it's honest about what it can't do below 47 Hz.

- Buy it for a small room.
- Look elsewhere for parties.
"""
DRIVE = Drive(2.83)


def takes() -> tuple[Take, ...]:
    """The takes that the specimen's evidence names, on the horizontal orbit."""
    angles = range(-170, 181, 10)
    return tuple(
        Take(
            f"horizontal_{a:+04d}.wav",
            TakeKey(TakeKind.SWEEP, Direction(Orbit.HORIZONTAL, float(a)), DRIVE),
            stimulus="stimulus.wav",
        )
        for a in angles
    )


def responses(valid_from_hz: float = 20.0) -> Responses:
    """Flat responses: near field below 200 Hz, blended to 400 Hz, gated above."""
    hz, found = specimen.GRID, takes()
    shape = (len(found), hz.size)
    origin = np.where(hz < 200.0, Origin.NEAR_FIELD, np.where(hz < 400.0, Origin.BLENDED, Origin.GATED))
    valid = np.broadcast_to(hz >= valid_from_hz, shape)
    return Responses(
        takes=found,
        frequency_hz=hz,
        pressure=np.full(shape, 0.1, dtype=np.complex64),
        valid=valid,
        origin=np.where(valid, origin, Origin.NOTHING).astype(np.uint8),
        has_phase=np.ones(len(found), dtype=bool),
        seen_angle_deg=np.array([t.key.direction.angle_deg for t in found if t.key.direction]),
        components={ComponentName.NOISE: np.full(shape, 0.1)},
        impulse_response=np.zeros((len(found), 16), dtype=np.float32),
        sample_rate_hz=np.full(len(found), 48_000.0),
        gate_s=np.full(len(found), 0.006),
        lead_s=0.001,
        near_field_takes=tuple(() for _ in found),
        valid_from_hz=valid_from_hz,
        notes=("The gate ends before the floor's reflection, worked out from the stated heights.",),
    )


def case_files(name: str = "Cobble Two") -> CaseFiles:
    """What a person wrote and gave."""
    found = takes()
    paths = [t.path for t in found] + ["stimulus.wav"]
    return CaseFiles(
        facts=specimen.facts(name),
        takes=found,
        raw_sha256={p: hashlib.sha256(p.encode()).hexdigest() for p in paths},
        verdict=VERDICT,
        revisions=(Revision(dt.date(2026, 11, 20), "First published."),),
        orbits_stated=frozenset({Orbit.HORIZONTAL}),
    )


def point(name: PointName, verdict: Verdict, said: tuple[str, float, str], **more: Any) -> Point:
    """A point whose sentence holds one number, in dB."""
    before, value, after = said
    number = Number(f"{value:.1f} dB", value, f"quality:{name}/found_db")
    limit = Number("1.0 dB", 1.0, f"quality:{name}/limit_db")
    return Point(
        name,
        verdict,
        say(before, number, after),
        say("to look at from ", limit, " (defined here)"),
        values={"found_db": value, "limit_db": 1.0},
        takes=tuple(t.id for t in takes()[:2]),
        **more,
    )


def quality() -> Quality:
    """A point of each verdict, in the order in which a build has them; three have pictures."""
    hz = (125.0, 500.0, 2000.0, 8000.0)
    noise = (
        Series("on axis", hz, (50.0, 60.0, 60.0, 55.0)),
        Series("middle of all takes", hz, (45.0, 55.0, 54.0, 45.0)),
        Series("worst take", hz, (40.0, 50.0, 35.0, None)),
    )
    apart = (
        Series("on axis", hz, (0.1, 0.2, -0.1, 0.3)),
        Series("behind", hz, (None, 0.4, 1.2, -0.5)),
    )
    change = (Series("last less first", hz, (0.0, -0.1, -1.4, -0.2), (0.1, 0.1, 0.1, 0.1)),)
    return Quality(
        1,
        "0" * 16,
        "specimen",
        (
            point(PointName.SIGNAL_TO_NOISE, Verdict.FINE, ("Least: ", 35.0, " in one take."), series=noise),
            point(
                PointName.FIRST_LAST,
                Verdict.UNFIT,
                ("The last take is ", 1.4, " quieter than the first."),
                remedy=say("Let it cool and take it again."),
                series=change,
            ),
            Point(
                PointName.REPEATS,
                Verdict.CANNOT_TELL,
                say("Nothing was measured twice."),
                EMPTY,
                say("Repeat at least the take on axis."),
            ),
            point(
                PointName.ORBITS,
                Verdict.LOOK,
                ("Behind, the orbits differ by ", 1.2, "."),
                remedy=say("Look at the turntable."),
                series=apart,
            ),
        ),
    )


def built(half_empty: bool = False) -> Built:
    """What a build made; `half_empty` has nothing below 555 Hz, and nothing of it was checked."""
    valid_from_hz = 555.0 if half_empty else 20.0
    results, findings = specimen.results(half_empty), specimen.findings()
    absent = {f.name for f in results.figures if not f.available}
    return Built(
        responses=responses(valid_from_hz),
        curves=specimen.curve_set(valid_from_hz),
        results=results,
        findings=replace(
            findings, findings=tuple(f for f in findings.findings if absent.isdisjoint(f.figures))
        ),
        quality=None if half_empty else quality(),
    )


def build_folder(folder: Path) -> Path:
    """The named files of a build, with stand-ins for their content."""
    folder.mkdir(parents=True)
    for name in ("responses.nc", "curves.nc", "results.json", "findings.json", "quality.json"):
        (folder / name).write_bytes(b"{}\n")
    return folder
