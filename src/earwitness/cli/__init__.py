"""The command line: parse, one call, show. It holds no logic and imports nothing heavy before it must."""

from __future__ import annotations

import sys
from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and leave with its exit code: 0 done, 1 the data say no, 2 a call or file is wrong."""
    from earwitness.cli.app import app
    from earwitness.cli.console import report_error
    from earwitness.records.errors import EarwitnessError

    words = list(sys.argv[1:] if arguments is None else arguments)
    try:
        app(words, standalone_mode=True)
    except EarwitnessError as error:
        sys.exit(report_error(error, as_json="--json" in words))
