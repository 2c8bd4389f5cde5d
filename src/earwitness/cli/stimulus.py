"""`earwitness stimulus`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from earwitness.cli.arguments import JsonOption
from earwitness.cli.console import print_json, print_table
from earwitness.records.errors import CallError

if TYPE_CHECKING:
    from earwitness.pipeline.asked_signals import Asked
    from earwitness.pipeline.loudness import Sensitivity
    from earwitness.pipeline.stimulus import Written
    from earwitness.records.takes import Drive


class Kind(StrEnum):
    """What can be made."""

    SWEEP = "sweep"
    MULTITONE = "multitone"
    TWO_TONES = "two-tones"
    PINK = "pink"
    WHITE = "white"
    ENDURANCE = "endurance"


def stimulus(
    *,
    context: typer.Context,
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Where the files go; made where it isn't.")
    ],
    kind: Annotated[
        Kind,
        typer.Option(
            "--kind", metavar="KIND", help="sweep, multitone, two-tones, pink, white (noise), endurance."
        ),
    ] = Kind.SWEEP,
    level: Annotated[
        list[str] | None,
        typer.Option(
            "--level",
            metavar="LEVEL",
            help="-20dBFS; with --full-scale 2.83V or 4dBu, too; again for one file each.",
        ),
    ] = None,
    full_scale: Annotated[
        float | None,
        typer.Option(
            "--full-scale",
            metavar="V",
            help="Volts RMS that a full-scale sine gives at the terminals, or at the input of an active one.",
        ),
    ] = None,
    first: Annotated[
        float | None,
        typer.Option(
            "--from", metavar="HZ", help="Lowest frequency: 10, 20 where no sweep, 60 of two tones."
        ),
    ] = None,
    last: Annotated[
        float | None,
        typer.Option(
            "--to", metavar="HZ", help="Highest frequency: 22000, 20000 where no sweep, 700 of two tones."
        ),
    ] = None,
    seconds: Annotated[
        float, typer.Option("--seconds", metavar="S", help="About how long it sounds, without silences.")
    ] = 10.0,
    rate: Annotated[int, typer.Option("--rate", metavar="HZ", help="Sample rate.")] = 48_000,
    fade_in: Annotated[
        float, typer.Option("--fade-in", metavar="S", help="How long a sweep fades in.")
    ] = 0.1,
    fade_out: Annotated[
        float, typer.Option("--fade-out", metavar="S", help="How long a sweep fades out.")
    ] = 0.005,
    lead: Annotated[
        float | None, typer.Option("--lead", metavar="S", help="Silence before: 0.5, 0 where no sweep.")
    ] = None,
    tail: Annotated[
        float | None, typer.Option("--tail", metavar="S", help="Silence after: 1, 0 where no sweep.")
    ] = None,
    shelf: Annotated[
        float,
        typer.Option("--shelf-db", metavar="DB", help="Raises a sweep's bass by so much, or lowers it."),
    ] = 0.0,
    shelf_at: Annotated[
        float, typer.Option("--shelf-hz", metavar="HZ", help="Where half of the shelf's dB are reached.")
    ] = 200.0,
    tilt: Annotated[
        float,
        typer.Option("--tilt-db", metavar="DB", help="Raises a sweep by so much for each octave upward."),
    ] = 0.0,
    tones: Annotated[int, typer.Option("--tones", metavar="N", help="How many tones a multitone has.")] = 31,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="Which random phases or which noise.")] = 1,
    rest: Annotated[
        float, typer.Option("--rest", metavar="S", help="How long an endurance run goes on after its load.")
    ] = 120.0,
    sensitivity: Annotated[
        float | None,
        typer.Option(
            "--sensitivity",
            metavar="DB",
            help="Level at 1 m for 2.83 V, else 90 is assumed; with levels in dBu, at 0 dBu.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Write files to play, with sidecars that say what they are.

    A synchronised sweep to measure with, a multitone, two tones, noise, or an endurance run (noise that
    loads the loudspeaker for --seconds in all, with weak probes among and after it); one file for each
    level, with its crest factor, and how loud it will be where volts are stated. Levels are RMS re a
    full-scale sine, of a sweep that of a sine at its peak. Nothing clips: what would is refused.
    Start quietly, protect your ears.
    """
    from earwitness.acoustics.signals import Emphasis
    from earwitness.case.drives import parse_drive
    from earwitness.pipeline.asked_signals import Multitone, Noise, Run, Sweep, two_tones
    from earwitness.pipeline.stimulus import Layout, write_stimuli

    sweeps = kind is Kind.SWEEP
    usual = _BANDS_HZ.get(kind, (20.0, 20_000.0))
    low, high = usual[0] if first is None else first, usual[1] if last is None else last
    _require_fitting(kind, context)
    asked: Asked
    if sweeps:
        asked = Sweep(low, high, seconds, fade_in, fade_out, Emphasis(shelf, shelf_at, tilt))
    elif kind is Kind.MULTITONE:
        asked = Multitone(low, high, seconds, tones, seed)
    elif kind is Kind.TWO_TONES:
        asked = two_tones(low, high, seconds)
    elif kind is Kind.ENDURANCE:
        asked = Run(low, high, seconds, rest, seed)
    else:
        asked = Noise(low, high, seconds, "pink" if kind is Kind.PINK else "white", seed)
    levels: list[Drive] = []
    for text in level or ["-20dBFS"]:
        drive = parse_drive(text)
        if drive is None:
            raise CallError(f"--level {text!r} is no level; write it like -20dBFS, 2.83V or 4dBu")
        levels.append(drive)
    if full_scale is not None and not 1e-3 <= full_scale <= 1000.0:
        raise CallError(f"--full-scale {full_scale:g} isn't from 0.001 to 1000 V")
    silent = (0.5, 1.0) if sweeps else (0.0, 0.0)
    layout = Layout(
        rate, silent[0] if lead is None else lead, silent[1] if tail is None else tail, full_scale
    )
    if sensitivity is not None and not 40.0 <= sensitivity <= 130.0:
        raise CallError(f"--sensitivity {sensitivity:g} isn't from 40 to 130")
    written = write_stimuli(folder, asked, levels, layout)
    _tell(folder, written, _sensitivity(sensitivity, levels), as_json=as_json)


#: Bands of kinds that haven't the band of hearing.
_BANDS_HZ: Final = {Kind.SWEEP: (10.0, 22_000.0), Kind.TWO_TONES: (60.0, 700.0)}
#: The kinds with which an option goes that doesn't go with all of them.
_ONLY_WITH: Final[Mapping[str, tuple[Kind, ...]]] = {
    "fade_in": (Kind.SWEEP,),
    "fade_out": (Kind.SWEEP,),
    "shelf": (Kind.SWEEP,),
    "shelf_at": (Kind.SWEEP,),
    "tilt": (Kind.SWEEP,),
    "tones": (Kind.MULTITONE,),
    "seed": (Kind.MULTITONE, Kind.PINK, Kind.WHITE, Kind.ENDURANCE),
    "rest": (Kind.ENDURANCE,),
}


def _require_fitting(kind: Kind, context: typer.Context) -> None:
    """Refuse options that were given and would do nothing."""
    for option in context.command.params:
        kinds = _ONLY_WITH.get(option.name or "", tuple(Kind))
        source = context.get_parameter_source(option.name or "")
        if kind not in kinds and source is not None and source.name == "COMMANDLINE":
            raise CallError(
                f"{option.opts[0]} does nothing with --kind {kind}, it goes with {_either(kinds)} alone; "
                "leave it out, or give that kind"
            )


def _either(kinds: Sequence[Kind]) -> str:
    """``sweep``, ``pink or white``."""
    *others, last = kinds
    return f"{', '.join(others)} or {last}" if others else str(last)


def _sensitivity(stated_db: float | None, levels: Sequence[Drive]) -> Sensitivity | None:
    """How loud it plays: stated, or assumed of a passive one; levels in dBu are an active one's."""
    from earwitness.pipeline.loudness import REFERENCE_DRIVE, Sensitivity, assumed
    from earwitness.records.takes import Drive

    if any(level.unit == "dBu" for level in levels):
        return None if stated_db is None else Sensitivity(stated_db, Drive(0.0, "dBu"), "stated")
    return assumed() if stated_db is None else Sensitivity(stated_db, REFERENCE_DRIVE, "stated")


def _tell(folder: Path, written: Sequence[Written], loud: Sensitivity | None, *, as_json: bool) -> None:
    """What was written, how loud it plays, and the caution."""
    from earwitness.pipeline.loudness import allowed_text

    levels = [_level_at_1m(one.facts.drive_v, loud) for one in written]
    if as_json:
        files = [
            {
                **asdict(one.facts),
                "kind": one.facts.kind,
                "new": one.new,
                "level_at_1m_db": level,
                "niosh_allows": None if level is None else allowed_text(level),
            }
            for one, level in zip(written, levels, strict=True)
        ]
        sensitivity = None if loud is None or levels[0] is None else asdict(loud)
        print_json({"folder": str(folder), "sensitivity": sensitivity, "files": files})
        return
    heads = ("file", "level", "peak", "RMS", "crest", "lasts", "at 1 m", "NIOSH a day")
    rows = [
        (
            one.facts.file,
            f"{_number(one.facts.level_dbfs)} dBFS",
            f"{_number(one.facts.peak_dbfs)} dBFS",
            f"{_number(one.facts.rms_dbfs)} dBFS",
            f"{one.facts.crest_factor_db:.1f} dB",
            f"{one.facts.length_s:.1f} s",
            "not known" if level is None else f"{level:.0f} dB",
            "not known" if level is None else allowed_text(level),
        )
        for one, level in zip(written, levels, strict=True)
    ]
    print_table(heads, rows)
    if loud is not None and levels[0] is not None:
        print(f"levels by a sensitivity of {loud.label}, taken as A-weighted")
    new = sum(one.new for one in written)
    same = "" if new == len(written) else f", {len(written) - new} there already, the same"
    print(f"wrote {new} {'file' if new == 1 else 'files'} and sidecars to {folder}{same}")
    print(
        "caution: start quietly. NIOSH allows one hour a day at 94 dB(A), fifteen minutes at 100 dB(A).\n"
        "Leave the room or wear hearing protection; steady signals destroy loudspeakers and amplifiers;\n"
        "local law and qualified people come first."
    )


def _level_at_1m(volts: float | None, loud: Sensitivity | None) -> float | None:
    """How loud a file plays, dB re 20 µPa; None where its volts or the sensitivity aren't known."""
    from earwitness.methods.line_level import dbu_of_volts
    from earwitness.records.takes import Drive

    if volts is None or loud is None:
        return None
    return loud.at(Drive(dbu_of_volts(volts), "dBu") if loud.per.in_decibels else Drive(volts))


def _number(value: float) -> str:
    return f"{value:.1f}".replace("-", "−")
