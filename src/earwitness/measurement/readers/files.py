"""What every reader asks of a file before it looks inside."""

from __future__ import annotations

import stat
from pathlib import Path

from earwitness.records.errors import ReadError


def require_regular(file: Path, name: str, limit_bytes: int) -> int:
    """Size of a regular file in bytes.

    Raises
    ------
    ReadError
        It is missing, empty, larger than `limit_bytes`, or no regular file (a folder, pipe or device).
    """
    try:
        status = file.stat()
    except OSError as error:
        raise ReadError(name, f"can't be opened ({error.strerror})", "add the file again") from error
    if not stat.S_ISREG(status.st_mode):
        raise ReadError(name, "is not a regular file", "put the file itself here, not a folder or a pipe")
    if status.st_size == 0:
        raise ReadError(name, "is empty", "export or record it again")
    if status.st_size > limit_bytes:
        raise ReadError(
            name,
            f"is {status.st_size / 2**20:.0f} MiB, more than the {limit_bytes / 2**20:.0f} MiB that are read",
            "shorten it",
        )
    return status.st_size
