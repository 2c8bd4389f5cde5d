"""`earwitness demo`."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated, Final

import typer

from earwitness.cli.arguments import JsonOption
from earwitness.cli.console import print_json, print_table, progress_bar
from earwitness.records.errors import CallError

SCENARIO: Final = "cobble_two"


def demo(
    folder: Annotated[
        Path, typer.Argument(metavar="[FOLDER]", help="Where the demo case goes; ./demo if left out.")
    ] = Path("demo"),
    names: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[NAME]...", help="Other loudspeakers; each becomes a case in FOLDER, under its name."
        ),
    ] = None,
    every: Annotated[bool, typer.Option("--all", help="All of them; takes minutes.")] = False,
    listed: Annotated[bool, typer.Option("--list", help="List the loudspeakers that there are.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Make, build and publish the demo case, or several.

    They are about invented loudspeakers, measured in a virtual workshop. The same folder may be given again.
    """
    if listed:
        _list(as_json=as_json)
        return
    chosen = _chosen(names or [], every=every)
    if not chosen:
        page = _make(folder, SCENARIO, _Teller(quiet=as_json))
        if as_json:
            print_json({"case": str(folder), "page": str(page)})
        else:
            print(page)
        return
    pages = {}
    for number, name in enumerate(chosen, start=1):
        if not as_json:
            print(f"{name}, {number} of {len(chosen)}", flush=True)
        pages[name] = _make(folder / name, name, _Teller(quiet=as_json))
    if as_json:
        made = [{"case": str(folder / name), "page": str(page)} for name, page in pages.items()]
        print_json({"cases": made})
    else:
        print(*pages.values(), sep="\n")


def _list(*, as_json: bool) -> None:
    from earwitness.virtual.scenario import titles

    found = titles()
    if as_json:
        print_json({"loudspeakers": [{"name": name, "title": title} for name, title in found.items()]})
    else:
        print_table(("name", "what it is"), list(found.items()))


def _chosen(names: list[str], *, every: bool) -> list[str]:
    """The loudspeakers asked for by name, each once; none where the demo alone is wanted.

    Raises
    ------
    CallError
        One isn't there, or names and all of them were asked for.
    """
    from earwitness.virtual.scenario import names as known

    if every and names:
        raise CallError(f"--all makes {names[0]} too; give names or --all")
    strange = [name for name in names if name not in known()]
    if strange:
        raise CallError(f"no loudspeaker is called {strange[0]!r}; there are: {', '.join(known())}")
    return list(known()) if every else list(dict.fromkeys(names))


class _Teller:
    """Says step by step what was done."""

    def __init__(self, *, quiet: bool) -> None:
        self.quiet = quiet
        self._steps = 0

    def step(self, what: str) -> None:
        self._steps += 1
        if not self.quiet:
            print(f"{self._steps}. {what}", flush=True)


def _make(folder: Path, name: str, tell: _Teller) -> Path:
    """One case from its facts to its page, which is given."""
    from earwitness.pipeline.build import build
    from earwitness.publication.from_case import publish_case

    called, started = _start(folder, name)
    tell.step(f"{'started' if started else 'found'} the case of {called}, a loudspeaker that doesn't exist")
    recorded = _record_into(folder, name, tell.quiet)
    tell.step(f"recorded {recorded} files in a virtual workshop and added them")
    with progress_bar(quiet=tell.quiet) as progress:
        progress("building", 0, 0)
        outcome = build(folder, progress)
    tell.step(f"built {', '.join(outcome.made) or 'nothing new: all of it was there'}")
    with progress_bar(quiet=tell.quiet) as progress:
        progress("drawing and writing", 0, 0)
        publication = publish_case(folder)
    tell.step("published page, PDF and data; open")
    return publication.page


def _start(folder: Path, name: str) -> tuple[str, bool]:
    """Start a case, or find it where an earlier demo left it (False); with what the loudspeaker is called.

    Raises
    ------
    CallError
        The folder holds something else.
    """
    from earwitness.case.layout import CaseFolder
    from earwitness.case.manifest import new_case, read_facts
    from earwitness.virtual.scenario import load

    scenario = load(name)
    called = scenario.unit_name
    if (folder / "case.toml").exists():
        if read_facts(CaseFolder.open(folder)).unit.name != called:
            raise CallError(f"{folder} holds a case that isn't the demo's; give another folder")
        return called, False
    written = {path.name: path.read_text(encoding="utf-8") for path in (scenario.facts, scenario.verdict)}
    new_case(folder, called, written)
    return called, True


def _record_into(folder: Path, name: str, quiet: bool) -> int:
    """Record everything, and add it as a reviewer would; gives the number of files."""
    from earwitness.pipeline.intake import accept, look_at
    from earwitness.virtual.scenario import load

    with progress_bar(quiet=quiet) as progress, tempfile.TemporaryDirectory() as temporary:
        recordings = Path(temporary) / "recordings"
        progress("radiating", 0, 0)
        scenario = load(name)
        files = scenario.record(recordings, lambda done, total: progress("recording", done, total))
        plain = [path for path in files if path.name not in scenario.read]
        accept(folder, look_at(folder, plain, progress=progress))
        # the form of these can't be told from the files: a reviewer states it when adding them
        for file, read in scenario.read.items():
            accept(folder, look_at(folder, [recordings / file], read=read, progress=progress))
    return len(files)
