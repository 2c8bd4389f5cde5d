"""`earwitness check`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import print_json, progress_bar

if TYPE_CHECKING:
    from earwitness.records.quality import Point, Quality

#: Lines are no longer than this.
_WIDTH: Final = 80
_INDENT: Final = " " * 13


def check(
    case: CaseArgument,
    earlier: Annotated[
        list[Path] | None,
        typer.Option(
            "--earlier",
            metavar="FOLDER",
            help="An earlier case of the same rig, instead of those in case.toml; oldest first.",
        ),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Say whether the data are fit to conclude from.

    Builds what changed, and looks at noise, hum, clipping, latency, polarity, directions, repeats, splice,
    calibration, and the rig's reference loudspeaker. Exits with 1 where something is unfit.
    """
    from earwitness.case.documents import plain
    from earwitness.pipeline.check import check_case

    with progress_bar(quiet=as_json) as progress:
        progress("looking", 0, 0)
        quality = check_case(case, earlier or (), progress)
    if as_json:
        print_json({"fit": quality.fit, **plain(quality)})
    else:
        _show(str(case), quality)
    if not quality.fit:
        raise typer.Exit(1)


def _show(case: str, quality: Quality) -> None:
    for point in quality.points:
        print(*_lines(point), sep="\n")
    counts = [
        f"{sum(p.verdict is verdict for p in quality.points)} {verdict}"
        for verdict in dict.fromkeys(p.verdict for p in quality.points)
    ]
    outcome = "fit to conclude from" if quality.fit else "not fit to conclude from"
    print(f"{case}: {outcome} ({', '.join(counts)})")
    sys.stdout.flush()


def _lines(point: Point) -> list[str]:
    """A point as lines: verdict and name, what was found, the limit, what to do."""
    from textwrap import wrap

    found = [f"{point.verdict!s:<13}{point.name.words.capitalize()}"]
    texts = [str(point.sentence)]
    if point.limit.parts:
        texts.append(f"Limit: {point.limit}.")
    if point.remedy.parts:
        texts.append(f"To do: {point.remedy}")
    for text in texts:
        found += wrap(text, _WIDTH, initial_indent=_INDENT, subsequent_indent=_INDENT)
    return found
