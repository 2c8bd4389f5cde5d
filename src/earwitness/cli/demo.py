"""`earwitness demo`."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import Annotated

import typer

from earwitness.cli.arguments import JsonOption
from earwitness.cli.console import print_json, progress_bar

SCENARIO = "cobble_two"


def demo(
    folder: Annotated[Path, typer.Argument(metavar="[FOLDER]", help="Where the demo case goes.")] = Path(
        "demo"
    ),
    as_json: JsonOption = False,
) -> None:
    """Make, build and publish the demo case: an invented loudspeaker, measured in a virtual workshop."""
    from earwitness.case.manifest import new_case
    from earwitness.pipeline.build import build
    from earwitness.pipeline.intake import accept, look_at
    from earwitness.publication.from_case import publish_case
    from earwitness.virtual.scenario import load

    scenario = load(SCENARIO)
    if not (folder / "case.toml").exists():
        case = new_case(folder, "Cobble Two")
        shutil.copyfile(scenario.facts, case.case_toml)
        shutil.copyfile(scenario.verdict, case.verdict)
    with progress_bar(quiet=as_json) as progress, tempfile.TemporaryDirectory() as temporary:
        recordings = Path(temporary) / "recordings"
        scenario.record(recordings, lambda done, total: progress("recording", done, total))
        accept(folder, look_at(folder, [recordings]))
        build(folder, progress)
    publication = publish_case(folder)
    if as_json:
        print_json({"case": str(folder), "page": str(publication.page)})
        return
    print(f"The demo case lies in {folder}; its page is {publication.page}")
