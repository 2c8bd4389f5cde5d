"""Files that can't come into a case for what they are, whatever they hold."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from hostile.refusal import Make, Refusal, holding

ROWS: Final = "".join(f"{20 * 1.1**k:.2f}\t80.0\n" for k in range(70))
NAME: Final = "horizontal_+030_2.83V.txt"
NOBODY: Final = 65_534


def _empty_folder(folder: Path) -> Path:
    (folder / "session").mkdir()
    return folder / "session"


def _pipe(folder: Path) -> Path:
    os.mkfifo(folder / NAME)
    return folder / NAME


def _socket(folder: Path) -> Path:
    here = os.getcwd()
    # a socket's path has room for a hundred characters
    os.chdir(folder)
    try:
        with socket.socket(socket.AF_UNIX) as one:
            one.bind(NAME)
    finally:
        os.chdir(here)
    return folder / NAME


def _linked(target: str, name: str = NAME) -> Make:
    def make(folder: Path) -> Path:
        (folder / "elsewhere").mkdir()
        holding(ROWS)(folder / "elsewhere")
        (folder / "session").mkdir()
        (folder / "session" / name).symlink_to(target)
        return folder / "session"

    return make


def _sparse(gigabytes: int, name: str) -> Make:
    def make(folder: Path) -> Path:
        (folder / name).touch()
        os.truncate(folder / name, gigabytes * 2**30)
        return folder / name

    return make


def _unreadable(folder: Path) -> Path:
    path = holding(ROWS)(folder)
    path.chmod(0)
    return path


def _folder_that_cannot_be_listed(folder: Path) -> Path:
    (folder / "session" / "inner").mkdir(parents=True)
    holding(ROWS)(folder / "session")
    (folder / "session" / "inner").chmod(0)
    return folder / "session"


@contextmanager
def _without_privilege(path: Path) -> Iterator[None]:
    """One whom permissions hold: the super-user steps down meanwhile."""
    me = os.geteuid()
    if me == 0:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(me)


SOURCES: Final = (
    Refusal(
        "a path that isn't there",
        lambda folder: folder / "gone.txt",
        "gone.txt: isn't there; look at the path",
    ),
    Refusal(
        "a folder that holds no file",
        _empty_folder,
        "session: holds no file; give a folder with measurements, or the files",
    ),
    Refusal(
        "a folder that can't be listed",
        _folder_that_cannot_be_listed,
        "session/inner: can't be listed (permission denied); make it readable for you",
        while_=_without_privilege,
    ),
    Refusal("an empty file", holding(b""), "horizontal_+030_2.83V.txt: is empty; export or record it again"),
    Refusal(
        "a file that can't be read",
        _unreadable,
        "horizontal_+030_2.83V.txt: can't be opened (permission denied); give a file that can be read",
        while_=_without_privilege,
    ),
    Refusal(
        "a device",
        lambda _: Path("/dev/zero"),
        "/dev/zero: is a device, not a file; give a file that holds a measurement",
    ),
    Refusal(
        "a pipe that nobody writes to",
        _pipe,
        "horizontal_+030_2.83V.txt: is a pipe, not a file; give a file that holds a measurement",
    ),
    Refusal(
        "a socket",
        _socket,
        "horizontal_+030_2.83V.txt: is a socket, not a file; give a file that holds a measurement",
    ),
    Refusal(
        "a link out of the folder that was given",
        _linked(f"../elsewhere/{NAME}"),
        "session/horizontal_+030_2.83V.txt: is a link that leaves its folder; give the file itself",
    ),
    Refusal(
        "a link to a folder outside",
        _linked("../elsewhere", "linked"),
        "session/linked: is a link that leaves its folder; give the file itself",
    ),
    Refusal(
        "a link to a folder inside",
        _linked(".", "linked"),
        "session/linked: is a link to a folder, not a file; give a file that holds a measurement",
    ),
    Refusal(
        "a link in a circle",
        _linked(NAME),
        "session/horizontal_+030_2.83V.txt: is a link in a circle; give the file itself",
    ),
    Refusal(
        "a link to nothing",
        _linked("nothing"),
        "session/horizontal_+030_2.83V.txt: can't be opened (no such file or "
        "directory); give a file that can be read",
    ),
    Refusal(
        "a file that a program still writes to",
        holding(ROWS),
        "horizontal_+030_2.83V.txt: is still being written; wait until it is complete, then add it again",
        while_=lambda path: path.open("ab"),
    ),
    Refusal(
        "ten gigabytes of nothing, as text",
        _sparse(10, NAME),
        "horizontal_+030_2.83V.txt: is 10240 MiB, more than the 32 MiB that are read; shorten it",
    ),
    Refusal(
        "ten gigabytes of nothing, as sound",
        _sparse(10, "horizontal_+030_2.83V.wav"),
        "horizontal_+030_2.83V.wav: is 10240 MiB, more than the 128 MiB that are read; shorten it",
    ),
    Refusal(
        "a name that begins with a dot",
        holding(ROWS, ".horizontal_+030_2.83V.txt"),
        ".horizontal_+030_2.83V.txt: its name begins with a dot; rename the file, with "
        "letters, digits and the like",
    ),
    Refusal(
        "a name with a line break",
        holding(ROWS, "horizontal_+030\n_2.83V.txt"),
        "horizontal_+030\\n_2.83V.txt: its name holds a character that can't be printed, "
        "or a backslash; rename the file, with letters, digits and the like",
    ),
    Refusal(
        "a name that isn't UTF-8",
        holding(ROWS, "horizontal_+030_\udcff_2.83V.txt"),
        "horizontal_+030_?_2.83V.txt: its name holds a character that can't be printed, "
        "or a backslash; rename the file, with letters, digits and the like",
    ),
    Refusal(
        "a name with a backslash",
        holding(ROWS, "day 1\\horizontal_+030_2.83V.txt"),
        "day 1\\horizontal_+030_2.83V.txt: its name holds a character that can't be "
        "printed, or a backslash; rename the file, with letters, digits and the like",
    ),
    Refusal(
        "a kind of file that nothing reads",
        holding(ROWS, "notes.pdf"),
        "notes.pdf: .pdf is not a kind of file that is read; give one of .aif, .aifc, "
        ".aiff, .csv, .dat, .flac, .h5, .hdf5, .mat, .nc, .rf64, .sofa, .tsv, .txt, "
        ".wav, .wave",
    ),
    Refusal(
        "a name that doesn't say its kind",
        holding(ROWS, "horizontal_+030_2.83V"),
        "horizontal_+030_2.83V: its name doesn't say its kind; give one of "
        ".aif, .aifc, .aiff, .csv, .dat, .flac, .h5, .hdf5, .mat, .nc, .rf64, .sofa, "
        ".tsv, .txt, .wav, .wave",
    ),
)
