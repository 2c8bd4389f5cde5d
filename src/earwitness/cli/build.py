"""`earwitness build`."""

from __future__ import annotations

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import print_json, progress_bar


def build(case: CaseArgument, as_json: JsonOption = False) -> None:
    """Make curves, figures and findings; only what changed.

    The results lie in CASE/build, which may always be deleted.
    """
    from earwitness.pipeline.build import build as build_case

    with progress_bar(quiet=as_json) as progress:
        progress("building", 0, 0)
        outcome = build_case(case, progress)
    if as_json:
        print_json(
            {
                "build_id": outcome.build_id,
                "made": outcome.made,
                "kept": outcome.kept,
                "notes": outcome.notes,
                "folder": str(case / "build"),
            }
        )
        return
    made = ", ".join(outcome.made) if outcome.made else "nothing new"
    print(f"built {case / 'build'} ({outcome.build_id}): {made}; next: `earwitness publish {case}`")
    for note in outcome.notes:
        print(f"  note: {note}")
