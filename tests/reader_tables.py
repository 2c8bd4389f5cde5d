"""The tables of options in docs/readers.md, from the readers: ``python tests/reader_tables.py``."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path

from earwitness.measurement.readers.contents import Reader
from earwitness.measurement.readers.registry import OWN

PAGE = Path(__file__).parents[1] / "docs" / "readers.md"
BEGINS = "<!-- options: made from the readers themselves by python tests/reader_tables.py -->\n"
ENDS = "<!-- end of options -->\n"
TITLES = {
    "text": "Text",
    "audio": "Sound",
    "aes69": "AES69",
    "netcdf": "Our own responses",
    "matlab": "MATLAB and HDF5 arrays",
}


def readers() -> list[Reader]:
    """Our own readers."""
    return [import_module(f"earwitness.measurement.readers.{name}").READER for name in OWN]


def tables() -> str:
    """One table a reader: its files, and what may be stated of them."""
    by_name = {reader.name: reader for reader in readers()}
    written: list[str] = []
    for name, title in TITLES.items():
        reader = by_name[name]
        suffixes = set(OWN[name]) | (set(OWN["hdf5_arrays"]) if name == "matlab" else set())
        lines = [f"### {title}", "", f"Files: {', '.join(f'`{suffix}`' for suffix in sorted(suffixes))}", ""]
        if reader.options:
            lines += ["| `read` | |", "|---|---|"]
            lines += [f"| `{key}` | {_cell(text)} |" for key, text in reader.options.items()]
        else:
            lines += ["Nothing needs to be stated."]
        written.append("\n".join(lines) + "\n")
    return "\n".join(written)


def page() -> str:
    """The page with these tables."""
    text = PAGE.read_text(encoding="utf-8")
    before, after = text.split(BEGINS)[0], text.split(ENDS)[1]
    return f"{before}{BEGINS}\n{tables()}\n{ENDS}{after}"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
