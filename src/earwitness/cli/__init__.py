"""The command line: parse, one call, show. It holds no logic and imports nothing heavy before it must."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and leave with its exit code: 0 done, 1 the data say no, 2 a call or file is wrong.

    Two more are what a shell gives for its own: 130 stopped from the keyboard, 141 nobody reads the output.
    """
    # Matrices are small here: threads of the linear algebra's own wait for each other longer than they work.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        from earwitness.cli.run import run
    except KeyboardInterrupt:
        sys.exit(130)
    sys.exit(run(sys.argv[1:] if arguments is None else arguments))
