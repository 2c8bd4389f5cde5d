"""`earwitness readers`."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

from earwitness.cli.arguments import JsonOption
from earwitness.cli.console import print_json, print_table

if TYPE_CHECKING:
    from earwitness.measurement.readers.registry import Known


def readers(as_json: JsonOption = False) -> None:
    """List the readers of raw files.

    With the ends of names that go to each, where it comes from, and its options: these are stated with read
    in takes.toml, or with add --read. Readers of other distributions come last.
    """
    from earwitness.measurement.readers.registry import known
    from earwitness.records.errors import one_line

    found = known()
    if as_json:
        print_json({"readers": [{**asdict(one), "options": dict(one.options)} for one in found]})
        return
    print_table(("reader", "ends of names", "comes from"), [_row(one) for one in found])
    alike: dict[tuple[tuple[str, str], ...], list[str]] = {}
    for one in found:
        alike.setdefault(tuple(one.options.items()), []).append(one.name)
    for options, names in alike.items():
        if options:
            print(f"\nread of {one_line(' and '.join(names))}:")
            print_table(("key", "what it says"), options)


def _row(reader: Known) -> tuple[str, str, str]:
    where = f"{reader.origin}: {reader.problem}" if reader.problem else reader.origin
    return reader.name, " ".join(reader.suffixes), where
