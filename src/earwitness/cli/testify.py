"""`earwitness testify`."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Final

import typer

from earwitness.cli.arguments import CaseArgument, JsonOption
from earwitness.cli.console import print_json
from earwitness.records.testimony import Amount, HeardAt, HeardFrom, Quality

if TYPE_CHECKING:
    from earwitness.records.testimony import Note

_FREQUENCY: Final = re.compile(r"\s*(\d{1,5}(?:\.\d{1,3})?)\s*(k?)\s*(?:Hz)?\s*", re.IGNORECASE)
_LONGEST_FILE: Final = 8192


def testify(
    case: CaseArgument,
    note: Annotated[list[str] | None, typer.Option("--note", metavar="TEXT", help="What you heard.")] = None,
    file: Annotated[
        Path | None, typer.Option("--from", metavar="FILE", help="A text file that holds the note.")
    ] = None,
    quality: Annotated[
        Quality | None, typer.Option("--quality", help="A word for it, which brings its band and amount.")
    ] = None,
    amount: Annotated[
        Amount | None, typer.Option("--amount", help="Of what the note says of a band.")
    ] = None,
    band: Annotated[
        str | None, typer.Option("--band", metavar="LOW-HIGH", help="That band, such as 2kHz-4kHz.")
    ] = None,
    heard_from: Annotated[
        HeardFrom, typer.Option("--heard-from", help="Where you listened.")
    ] = HeardFrom.IN_THE_ROOM,
    heard_at: Annotated[
        HeardAt | None, typer.Option("--heard-at", help="How loud it was, if that matters.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Seal what you heard, before you see the data.

    Without a note it lists what is sealed. A sealed note can't be changed. One with a quality, or with a band
    and an amount, is held against the data when they are built. The seal shows that the words weren't changed
    since; it doesn't prove when they were written, for the clock is yours. Give its hash to somebody else at
    once where that matters.
    """
    from earwitness.case.documents import plain
    from earwitness.case.layout import CaseFolder
    from earwitness.case.lock import exclusive, shared
    from earwitness.case.named_set import inspect_set
    from earwitness.case.raw_store import check_raw
    from earwitness.case.testimony import Said, read_notes, seal_note
    from earwitness.records.errors import CallError

    folder = CaseFolder.open(case)
    given = [*(note or ()), *(() if file is None else (_text(file),))]
    if not given:
        if any(part is not None for part in (amount, band, quality, heard_at)):
            raise CallError("there is no note to seal; give its words with --note")
        with shared(folder):
            notes = read_notes(folder)
        _show(notes, as_json=as_json)
        return
    if len(given) > 1:
        raise CallError("the note is given twice; seal one at a time, with --note or --from")
    said = Said(given[0], amount, _band(band), heard_from, quality, heard_at)
    with exclusive(folder):
        _, _, named = inspect_set(folder)
        sealed = seal_note(
            folder,
            said,
            sealed_at=dt.datetime.now(dt.UTC).isoformat(timespec="seconds"),
            built=named.build_id if named else "",
            raw_digest=check_raw(folder, full=False).raw_digest,
        )
    if as_json:
        print_json(plain(sealed))
        return
    print(f"sealed note {sealed.number}: {sealed.seal}")
    if sealed.built:
        print("results were built already, so that this note says it was sealed after them")
    if sealed.amount is None:
        print("it names no band and no amount, so that it can't be held against the data")


def _show(notes: tuple[Note, ...], *, as_json: bool) -> None:
    from earwitness.case.documents import plain

    if as_json:
        print_json({"notes": [plain(one) for one in notes]})
        return
    for one in notes:
        about = ""
        if one.band_hz is not None:
            word = "" if one.quality is None else f"{one.quality}: "
            where = one.heard_from if one.heard_at is None else f"at {one.heard_at}"
            about = f" ({word}{one.amount}, {one.band_hz[0]:g} to {one.band_hz[1]:g} Hz, {where})"
        when = "after results were built" if one.built else "before any results were built"
        print(f"{one.number}. {one.text}{about}\n   sealed {one.sealed_at}, {when}: {one.seal}")
    if not notes:
        print('nothing is sealed yet; seal what you heard with --note "…"')


def _text(file: Path) -> str:
    from earwitness.records.errors import CallError

    try:
        if not file.is_file() or file.stat().st_size > _LONGEST_FILE:
            raise CallError(f"{file}: is no text file of {_LONGEST_FILE} bytes at most; give another")
        return file.read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise CallError(f"{file}: can't be read as UTF-8 text; give another file") from error


def _band(text: str | None) -> tuple[float, float] | None:
    from earwitness.records.errors import CallError

    if text is None:
        return None
    edges = [_FREQUENCY.fullmatch(part) for part in re.split(r"-|–|\bto\b", text)]
    if len(edges) != 2 or None in edges:
        raise CallError(f"--band {text!r} isn't a band; give two frequencies, such as 2kHz-4kHz")
    low, high = (float(edge[1]) * (1000.0 if edge[2] else 1.0) for edge in edges if edge is not None)
    return low, high
