"""Every refusal of `earwitness add` as data; as a page of the documentation: ``make refusals``."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import Final

from hostile.refusal import Refusal
from hostile.refusals_of_arrays import ARRAYS
from hostile.refusals_of_electrical import ELECTRICAL
from hostile.refusals_of_sidecars import SIDECARS
from hostile.refusals_of_sound import SOUND
from hostile.refusals_of_sources import SOURCES
from hostile.refusals_of_spheres import AES69, HDF5, NETCDF
from hostile.refusals_of_takes import TAKES
from hostile.refusals_of_text import TEXT

#: By the heading under which the page lists them.
REFUSALS: Final[Mapping[str, Sequence[Refusal]]] = {
    "Whatever it holds": SOURCES,
    "Text": TEXT,
    "Sound": SOUND,
    "Sidecars of stimuli": SIDECARS,
    "Voltage and current": ELECTRICAL,
    "HDF5, whatever is in it": HDF5,
    "AES69": AES69,
    "`responses.nc` of a case": NETCDF,
    "Arrays in HDF5 and MATLAB files": ARRAYS,
    "Names and `takes.toml`": TAKES,
}
_HEAD: Final = """\
# What is refused

<!-- Made from the tests: PYTHONPATH=tests python -m hostile.refusals > docs/refusals.md -->

A file is in a case for good, so it is read before it comes in. What can't be read for sure is refused with
one line: the file, the place in it, what is wrong, what to do. The case stays as it was, byte for byte, also
where one file of many is refused. Nothing is repaired and nothing is guessed. Each line of these tables is
provoked by a test, which holds its answer to the letter, and to five seconds.
"""


def page() -> str:
    """The page."""
    return _HEAD + "".join(map(_section, REFUSALS))


def _section(heading: str) -> str:
    rows = "".join(f"| {one.case} | {_code(one.expected)} |\n" for one in REFUSALS[heading])
    return f"\n## {heading}\n\n| what is wrong | what is said |\n|---|---|\n{rows}"


def _code(text: str) -> str:
    """Text as code in a cell of a table; one with backticks in it stands between two."""
    fence = "``" if "`" in text else "`"
    pad = " " if fence == "``" else ""
    return f"{fence}{pad}{text}{pad}{fence}".replace("|", "\\|")


if __name__ == "__main__":
    sys.stdout.write(page())
