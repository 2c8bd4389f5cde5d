"""Writes a publication: everything into a temporary folder first, then the folder into its place."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from earwitness.case.durable import prepared_folder, replace_folder
from earwitness.publication.context import PublicationContext
from earwitness.publication.data_pack import data_pack
from earwitness.publication.page import page, script
from earwitness.publication.pdf import report
from earwitness.publication.pictures import pictures
from earwitness.records.errors import CallError

PAGE: Final = "index.html"
SCRIPT: Final = "earwitness.js"
REPORT: Final = "report.pdf"
PICTURES: Final = "pictures"
DATA: Final = "data"


@dataclass(frozen=True, slots=True)
class Publication:
    """What was written, as absolute paths; `unfit` says why nothing is to be concluded from it."""

    folder: Path
    page: Path
    report: Path
    data: Path
    unfit: str = ""


def publish(context: PublicationContext, build: Path, target: Path) -> Publication:
    """Write page, PDF, pictures and data pack of a case.

    Parameters
    ----------
    context
        From `assemble`.
    build
        The folder with the named files of the build, which go into the data pack as they are.
    target
        Where the publication goes. What a publication left there is replaced as a whole.

    Raises
    ------
    CallError
        If `target` is there and holds anything that isn't a publication.
    """
    target = target.absolute()
    _refuse_foreign(target)
    drawn = pictures(context)
    files = {f"{DATA}/{name}": content for name, content in data_pack(context, build).items()}
    digests = {name: (len(content), _sha256(content)) for name, content in files.items()}
    files |= drawn.stills
    files[REPORT] = report(context.with_downloads(digests), drawn)
    digests[REPORT] = (len(files[REPORT]), _sha256(files[REPORT]))
    files[PAGE] = page(context.with_downloads(digests)).encode()
    files[SCRIPT] = script()
    target.parent.mkdir(parents=True, exist_ok=True)
    with prepared_folder(target) as temporary:
        for name, content in files.items():
            path = temporary / name
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)
        replace_folder(temporary, target)
    unfit = "" if context.checked is None or context.checked.fit else str(context.checked.summary)
    return Publication(target, target / PAGE, target / REPORT, target / DATA, unfit)


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _refuse_foreign(target: Path) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise CallError(f"{target} is a file; name a folder")
    foreign = sorted({entry.name for entry in target.iterdir()} - {PAGE, SCRIPT, REPORT, PICTURES, DATA})
    if foreign:
        raise CallError(f"{target} holds {foreign[0]}, which no publication wrote; name another folder")
