"""Whether the data of a case are fit to conclude from, as `earwitness check` asks."""

from __future__ import annotations

from pathlib import Path

from earwitness.case.documents import from_json
from earwitness.case.layout import CaseFolder
from earwitness.pipeline.build import Progress, build
from earwitness.records.quality import Quality


def check_case(root: Path, progress: Progress = lambda _what, _done, _total: None) -> Quality:
    """The points of the case at `root`, which is built where it changed.

    Raises
    ------
    EarwitnessError
        See `build`; there are no points of what can't be built.
    """
    build(root, progress)
    return from_json(Quality, CaseFolder.open(root).quality.read_bytes(), "build/quality.json")
