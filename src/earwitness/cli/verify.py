"""`earwitness verify`."""

from __future__ import annotations

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import print_json, progress_bar


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
    if as_json:
        print_json({"fine": report.fine, "problems": report.problems, "notes": report.notes})
    else:
        for line in report.problems:
            print(line)
        for line in report.notes:
            print(f"note: {line}")
        outcome = "nothing is wrong" if report.fine else f"{len(report.problems)} wrong"
        print(f"{case}: {report.raw_files} raw files, build {report.build_id or 'none'}: {outcome}")
    if not report.fine:
        raise typer.Exit(1)
