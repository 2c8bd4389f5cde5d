"""`earwitness stimulus`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from earwitness.cli import stimulus_options as options
from earwitness.cli.arguments import JsonOption
from earwitness.cli.console import print_json, print_table
from earwitness.cli.stimulus_options import KINDS, Kind, require_fitting
from earwitness.records.errors import CallError

if TYPE_CHECKING:
    from earwitness.pipeline.asked_signals import Asked
    from earwitness.pipeline.loudness import Sensitivity
    from earwitness.pipeline.stimulus import Written
    from earwitness.records.takes import Drive


def stimulus(
    *,
    context: typer.Context,
    folder: options.FolderArgument,
    kind: options.KindOption = Kind.SWEEP,
    level: options.LevelOption = None,
    full_scale: options.FullScaleOption = None,
    first: options.FirstOption = None,
    last: options.LastOption = None,
    seconds: options.SecondsOption = 10.0,
    rate: options.RateOption = 48_000,
    fade_in: options.FadeInOption = 0.1,
    fade_out: options.FadeOutOption = 0.005,
    lead: options.LeadOption = None,
    tail: options.TailOption = None,
    shelf: options.ShelfOption = 0.0,
    shelf_at: options.ShelfAtOption = 200.0,
    tilt: options.TiltOption = 0.0,
    tones: options.TonesOption = 31,
    seed: options.SeedOption = 1,
    rest: options.RestOption = 120.0,
    sensitivity: options.SensitivityOption = None,
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
    from earwitness.pipeline.asked_signals import Multitone, Noise, Run, Sweep, two_tones
    from earwitness.pipeline.stimulus import Layout, write_stimuli

    require_fitting(kind, context)
    usual = KINDS[kind]
    low, high = _or_usual((first, last), usual.band_hz)
    asked: Asked
    match kind:
        case Kind.SWEEP:
            asked = Sweep(low, high, seconds, fade_in, fade_out, Emphasis(shelf, shelf_at, tilt))
        case Kind.MULTITONE:
            asked = Multitone(low, high, seconds, tones, seed)
        case Kind.TWO_TONES:
            asked = two_tones(low, high, seconds)
        case Kind.PINK:
            asked = Noise(low, high, seconds, "pink", seed)
        case Kind.WHITE:
            asked = Noise(low, high, seconds, "white", seed)
        case Kind.ENDURANCE:
            asked = Run(low, high, seconds, rest, seed)
    levels = [_level(text) for text in level or ["-20dBFS"]]
    _require_from("--full-scale", full_scale, 1e-3, 1000.0, " V")
    _require_from("--sensitivity", sensitivity, 40.0, 130.0)
    layout = Layout(rate, *_or_usual((lead, tail), usual.silences_s), full_scale)
    written = write_stimuli(folder, asked, levels, layout)
    _tell(folder, written, _sensitivity(sensitivity, levels), as_json=as_json)


def _or_usual(given: tuple[float | None, float | None], usual: tuple[float, float]) -> tuple[float, float]:
    return usual[0] if given[0] is None else given[0], usual[1] if given[1] is None else given[1]


def _level(text: str) -> Drive:
    from earwitness.case.drives import parse_drive

    drive = parse_drive(text)
    if drive is None:
        raise CallError(f"--level {text!r} is no level; write it like -20dBFS, 2.83V or 4dBu")
    return drive


def _require_from(option: str, number: float | None, low: float, high: float, unit: str = "") -> None:
    if number is not None and not low <= number <= high:
        raise CallError(f"{option} {number:g} isn't from {low:g} to {high:g}{unit}")


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
