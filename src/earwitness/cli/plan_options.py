"""The options of `earwitness plan`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

DriveOption = Annotated[
    str | None,
    typer.Option(
        "--drive", metavar="DRIVE", help="Drive of the orbits; 2.83V where it isn't stated and passive."
    ),
]
NearOption = Annotated[
    str | None,
    typer.Option("--near", metavar="DRIVE", help="Drive of near fields; 20 dB less if left out."),
]
LevelOption = Annotated[
    list[str] | None,
    typer.Option("--level", metavar="DRIVE", help="A drive to measure on axis too; may be given again."),
]
EnduranceOption = Annotated[
    str | None,
    typer.Option("--endurance", metavar="DRIVE", help="RMS of a load that lasts, to measure too."),
]
EnduranceSecondsOption = Annotated[
    float, typer.Option("--endurance-seconds", metavar="S", help="How long its file lasts.")
]
StepOption = Annotated[float, typer.Option("--step", metavar="DEG", help="Degrees between directions.")]
SecondsOption = Annotated[
    float, typer.Option("--seconds", metavar="S", help="How long a stimulus file lasts, silences too.")
]
TurnOption = Annotated[
    float, typer.Option("--turn", metavar="S", help="What turning and naming a file take, in seconds.")
]
SetupOption = Annotated[
    float, typer.Option("--setup", metavar="MIN", help="What putting everything up takes, in minutes.")
]
OperatorOption = Annotated[
    float,
    typer.Option("--operator", metavar="M", help="How far from the loudspeaker you are, in metres."),
]
SensitivityOption = Annotated[
    float | None,
    typer.Option(
        "--sensitivity",
        metavar="DB",
        help="Level at 1 m for 2.83 V, of an active one at --drive; else as built, or assumed.",
    ),
]
MinimumOption = Annotated[
    float | None,
    typer.Option("--minimum-impedance", metavar="OHM", help="The loudspeaker's least impedance."),
]
AmplifierOption = Annotated[
    float | None,
    typer.Option("--amplifier", metavar="V", help="Volts RMS that the amplifier gives without clipping."),
]
ToOption = Annotated[
    Path | None, typer.Option("--to", metavar="FILE", help="Write the sheet there too, to be printed.")
]
