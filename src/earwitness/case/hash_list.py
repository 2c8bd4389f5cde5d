"""Lists of hashes as `sha256sum` writes and checks them: ``raw.sha256`` and ``removed.sha256``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Final

from earwitness.records.errors import CaseError

_LINE: Final = re.compile(r"([0-9a-f]{64}) [ *](.+)")
_LONGEST_NAME: Final = 255


def read_list(path: Path, below: str, writer: str) -> dict[str, str]:
    """SHA-256 by name below the folder `below` of the case. Empty where the file isn't there yet.

    Raises
    ------
    CaseError
        If a line isn't one of `sha256sum`, or names a file twice; `writer` is the command that writes it.
    """
    if not path.exists():
        return {}
    listed: dict[str, str] = {}
    text = path.read_bytes().decode("utf-8", "replace")
    for number, line in enumerate(text.split("\n"), 1):
        if not line:
            continue
        match = _LINE.fullmatch(line)
        name = match[2].removeprefix(f"{below}/") if match else ""
        if match is None or bad_name(name) or name in listed:
            problem = "lists a file twice" if name in listed else f"isn't a hash and a name in {below}/"
            remedy = f"restore the file from a copy; it is written by `{writer}` alone"
            raise CaseError(path.name, problem, remedy, f"line {number}")
        listed[name] = match[1]
    return listed


def list_bytes(listed: Mapping[str, str], below: str) -> bytes:
    """The list as `sha256sum --check` reads it from the case's folder."""
    return "".join(f"{digest}  {below}/{name}\n" for name, digest in sorted(listed.items())).encode("utf-8")


def bad_name(name: str) -> str:
    """Why `name` can't stand below a folder of the case; empty if it can."""
    parts = PurePosixPath(name).parts
    if not name or name != "/".join(parts) or name.startswith("/") or ".." in parts:
        return "its name isn't a plain path below raw/"
    if any(part.startswith(".") for part in parts):
        return "its name begins with a dot"
    if not name.isprintable() or "\\" in name:
        return "its name holds a character that can't be printed, or a backslash"
    if any(len(part.encode("utf-8")) > _LONGEST_NAME for part in parts):
        return "its name is too long"
    return ""
