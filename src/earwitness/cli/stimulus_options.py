"""The options of `earwitness stimulus`, and what each kind of stimulus has of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Final

import typer

from earwitness.records.errors import CallError


class Kind(StrEnum):
    """What can be made."""

    SWEEP = "sweep"
    MULTITONE = "multitone"
    TWO_TONES = "two-tones"
    PINK = "pink"
    WHITE = "white"
    ENDURANCE = "endurance"


@dataclass(frozen=True, slots=True)
class Usual:
    """What a kind has where nothing else is given, and the options that don't go with every kind."""

    band_hz: tuple[float, float] = (20.0, 20_000.0)
    silences_s: tuple[float, float] = (0.0, 0.0)
    own: tuple[str, ...] = ()


KINDS: Final[Mapping[Kind, Usual]] = {
    Kind.SWEEP: Usual((10.0, 22_000.0), (0.5, 1.0), ("fade_in", "fade_out", "shelf", "shelf_at", "tilt")),
    Kind.MULTITONE: Usual(own=("tones", "seed")),
    Kind.TWO_TONES: Usual((60.0, 700.0)),
    Kind.PINK: Usual(own=("seed",)),
    Kind.WHITE: Usual(own=("seed",)),
    Kind.ENDURANCE: Usual(own=("seed", "rest")),
}

FolderArgument = Annotated[
    Path, typer.Argument(metavar="FOLDER", help="Where the files go; made where it isn't.")
]
KindOption = Annotated[
    Kind,
    typer.Option(
        "--kind", metavar="KIND", help="sweep, multitone, two-tones, pink, white (noise), endurance."
    ),
]
LevelOption = Annotated[
    list[str] | None,
    typer.Option(
        "--level",
        metavar="LEVEL",
        help="-20dBFS; with --full-scale 2.83V or 4dBu, too; again for one file each.",
    ),
]
FullScaleOption = Annotated[
    float | None,
    typer.Option(
        "--full-scale",
        metavar="V",
        help="Volts RMS that a full-scale sine gives at the terminals, or at the input of an active one.",
    ),
]
FirstOption = Annotated[
    float | None,
    typer.Option("--from", metavar="HZ", help="Lowest frequency: 10, 20 where no sweep, 60 of two tones."),
]
LastOption = Annotated[
    float | None,
    typer.Option(
        "--to", metavar="HZ", help="Highest frequency: 22000, 20000 where no sweep, 700 of two tones."
    ),
]
SecondsOption = Annotated[
    float, typer.Option("--seconds", metavar="S", help="About how long it sounds, without silences.")
]
RateOption = Annotated[int, typer.Option("--rate", metavar="HZ", help="Sample rate.")]
FadeInOption = Annotated[float, typer.Option("--fade-in", metavar="S", help="How long a sweep fades in.")]
FadeOutOption = Annotated[float, typer.Option("--fade-out", metavar="S", help="How long a sweep fades out.")]
LeadOption = Annotated[
    float | None, typer.Option("--lead", metavar="S", help="Silence before: 0.5, 0 where no sweep.")
]
TailOption = Annotated[
    float | None, typer.Option("--tail", metavar="S", help="Silence after: 1, 0 where no sweep.")
]
ShelfOption = Annotated[
    float, typer.Option("--shelf-db", metavar="DB", help="Raises a sweep's bass by so much, or lowers it.")
]
ShelfAtOption = Annotated[
    float, typer.Option("--shelf-hz", metavar="HZ", help="Where half of the shelf's dB are reached.")
]
TiltOption = Annotated[
    float, typer.Option("--tilt-db", metavar="DB", help="Raises a sweep by so much for each octave upward.")
]
TonesOption = Annotated[int, typer.Option("--tones", metavar="N", help="How many tones a multitone has.")]
SeedOption = Annotated[int, typer.Option("--seed", metavar="N", help="Which random phases or which noise.")]
RestOption = Annotated[
    float, typer.Option("--rest", metavar="S", help="How long an endurance run goes on after its load.")
]
SensitivityOption = Annotated[
    float | None,
    typer.Option(
        "--sensitivity",
        metavar="DB",
        help="Level at 1 m for 2.83 V, else 90 is assumed; with levels in dBu, at 0 dBu.",
    ),
]


def require_fitting(kind: Kind, context: typer.Context) -> None:
    """Refuse options that were given and would do nothing."""
    for option in context.command.params:
        name = option.name or ""
        kinds = [one for one, usual in KINDS.items() if name in usual.own]
        source = context.get_parameter_source(name)
        if kinds and kind not in kinds and source is not None and source.name == "COMMANDLINE":
            raise CallError(
                f"{option.opts[0]} does nothing with --kind {kind}, it goes with {_either(kinds)} alone; "
                "leave it out, or give that kind"
            )


def _either(kinds: Sequence[Kind]) -> str:
    """``sweep``, ``pink or white``."""
    *others, last = kinds
    return f"{', '.join(others)} or {last}" if others else str(last)
