"""`earwitness demo`."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated, Final

import typer

from earwitness.cli.arguments import JsonOption
from earwitness.cli.console import print_json, progress_bar
from earwitness.records.errors import CallError

SCENARIO: Final = "cobble_two"
NAME: Final = "Cobble Two"


def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="Where the demo case goes; ./demo if left out.")
    ] = Path("demo"),
    as_json: JsonOption = False,
) -> None:
    """Make, build and publish the demo case.

    It is about an invented loudspeaker, measured in a virtual workshop. The same folder may be given again.
    """
    from earwitness.pipeline.build import build
    from earwitness.publication.from_case import publish_case

    tell = _Teller(quiet=as_json)
    started = _start(folder)
    tell.step(f"{'started' if started else 'found'} the case of {NAME}, a loudspeaker that doesn't exist")
    recorded = _record_into(folder, as_json)
    tell.step(f"recorded {recorded} files in a virtual workshop and added them")
    with progress_bar(quiet=as_json) as progress:
        progress("building", 0, 0)
        outcome = build(folder, progress)
    tell.step(f"built {', '.join(outcome.made) or 'nothing new: all of it was there'}")
    with progress_bar(quiet=as_json) as progress:
        progress("drawing and writing", 0, 0)
        publication = publish_case(folder)
    tell.step("published page, PDF and data; open")
    if as_json:
        print_json({"case": str(folder), "page": str(publication.page)})
    else:
        print(publication.page)


class _Teller:
    """Says step by step what was done."""

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet
        self._steps = 0

    def step(self, what: str) -> None:
        self._steps += 1
        if not self._quiet:
            print(f"{self._steps}. {what}", flush=True)


def _start(folder: Path) -> bool:
    """Start the demo case, or find it where an earlier demo left it (False).

    Raises
    ------
    CallError
        The folder holds something else.
    """
    from earwitness.case.layout import CaseFolder
    from earwitness.case.manifest import new_case, read_facts
    from earwitness.virtual.scenario import load

    if (folder / "case.toml").exists():
        if read_facts(CaseFolder.open(folder)).unit.name != NAME:
            raise CallError(f"{folder} holds a case that isn't the demo's; give another folder")
        return False
    scenario = load(SCENARIO)
    written = {path.name: path.read_text(encoding="utf-8") for path in (scenario.facts, scenario.verdict)}
    new_case(folder, NAME, written)
    return True


def _record_into(folder: Path, quiet: bool) -> int:
    """Record everything, and add it as a reviewer would; gives the number of files."""
    from earwitness.pipeline.intake import accept, look_at
    from earwitness.virtual.scenario import load

    with progress_bar(quiet=quiet) as progress, tempfile.TemporaryDirectory() as temporary:
        recordings = Path(temporary) / "recordings"
        files = load(SCENARIO).record(recordings, lambda done, total: progress("recording", done, total))
        accept(folder, look_at(folder, [recordings], progress=progress))
    return len(files)
