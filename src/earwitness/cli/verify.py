"""`earwitness verify`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import print_json, progress_bar
from earwitness.records.errors import EarwitnessError

if TYPE_CHECKING:
    from earwitness.case.layout import CaseFolder
    from earwitness.case.verify import Report


def verify(case: CaseArgument, as_json: JsonOption = False) -> None:
    """Say whether raw files and results are what they were.

    Every file is hashed: raw files are held against raw.sha256, removed ones against removed.sha256, results
    against their schema and state.
    """
    from earwitness.case.layout import CaseFolder
    from earwitness.case.lock import shared
    from earwitness.case.verify import verify as verify_case

    folder = CaseFolder.open(case)
    with shared(folder), progress_bar(quiet=as_json) as progress:
        progress("hashing", 0, 0)
        report = verify_case(folder)
        notes = [*report.notes, *_changed_since(folder, report)]
    if as_json:
        print_json({"fine": report.fine, "problems": report.problems, "notes": notes})
    else:
        for line in report.problems:
            print(line)
        for line in notes:
            print(f"note: {line}")
        outcome = "nothing is wrong" if report.fine else f"{len(report.problems)} wrong"
        print(f"{case}: {report.raw_files} raw files, build {report.build_id or 'none'}: {outcome}")
    if not report.fine:
        raise typer.Exit(1)


def _changed_since(case: CaseFolder, report: Report) -> list[str]:
    """A note where a whole build isn't of the case as it is now, or that can't be told."""
    from earwitness.pipeline.stated import Stated

    if report.build_id is None or report.problems or report.notes:
        return []
    try:
        same = Stated.of(case).build_id() == report.build_id
    except EarwitnessError as error:
        return [str(error)]
    return [] if same else ["case.toml, takes.toml or the program changed since the build; build again"]
