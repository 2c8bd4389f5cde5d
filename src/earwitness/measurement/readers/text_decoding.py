"""Bytes of a text file into characters: only where the bytes leave no doubt."""

from __future__ import annotations

import re
from typing import Final

from earwitness.records.errors import ReadError

ENCODINGS: Final = {
    "utf-8": "UTF-8",
    "utf-16-le": "UTF-16",
    "utf-16-be": "UTF-16",
    "windows-1252": "Windows-1252",
    "latin-1": "Latin-1",
}
_MARKS: Final = (
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)
#: Text in UTF-16 whose numbers can be read is ASCII in more than half of its characters.
_ASCII_PART: Final = 0.5
_CONTROL: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ufffe\uffff]")


def decode(content: bytes, name: str, stated: str | None) -> tuple[str, str]:
    """The text with a line feed at each line's end, and the encoding it was in.

    A byte order mark decides. Without one the text is UTF-8 if it can be; UTF-16 if zero bytes stand at
    one half of the places alone, and at most of these; else each byte is a character of Windows-1252. In that
    last case words may be spelt wrongly, but no number is: digits and signs are ASCII in every 8-bit coding,
    and a row that holds anything else is refused later.

    Parameters
    ----------
    stated
        One of `ENCODINGS`, where the case states it.

    Raises
    ------
    ReadError
        It isn't text, or not in the stated encoding.
    """
    mark, marked = next(((m, e) for m, e in _MARKS if content.startswith(m)), (b"", None))
    if marked == "utf-32":
        raise ReadError(name, "is text in UTF-32", "export it as UTF-8 or UTF-16")
    if stated is not None and marked is not None and stated != marked:
        problem = f"begins as {marked} does, where read.encoding says {stated}"
        raise ReadError(name, problem, "take read.encoding out, or export the file again")
    body = content[len(mark) :]
    encoding = stated or marked or _told_by_bytes(body, name)
    text = _text(body, encoding, name)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    found = _CONTROL.search(text)
    if found:
        where = f"line {text.count(chr(10), 0, found.start()) + 1}"
        raise ReadError(name, "is not text", "export it as plain text", where)
    return text, encoding


def _text(body: bytes, encoding: str, name: str) -> str:
    try:
        return body.decode(encoding)
    except UnicodeDecodeError as error:
        before = body[: error.start].decode(encoding, "replace")
        where = f"line {before.replace(chr(13) + chr(10), chr(10)).count(chr(10)) + 1}"
        remedy = "export it as plain text in UTF-8 or UTF-16"
        raise ReadError(name, f"is not text in {ENCODINGS[encoding]}", remedy, where) from error


def _told_by_bytes(body: bytes, name: str) -> str:
    """The encoding of text without a byte order mark."""
    if b"\x00" in body:
        low, high = body[0::2].count(0), body[1::2].count(0)
        if len(body) % 2 == 0 and not (low and high) and max(low, high) > _ASCII_PART * len(body) / 2:
            return "utf-16-le" if high else "utf-16-be"
        where = f"line {body.count(10, 0, body.index(0)) + 1}"
        raise ReadError(name, "is not text", "export it as plain text in UTF-8", where)
    try:
        body.decode("utf-8")
    except UnicodeDecodeError:
        return "windows-1252"
    return "utf-8"
