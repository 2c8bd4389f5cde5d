"""`testify`: what was heard is sealed, listed, and refused in one line where it can't be."""

from __future__ import annotations

from pathlib import Path

import pytest
from told import Call

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.case.testimony import read_notes
from earwitness.records.testimony import Amount, HeardAt, HeardFrom, Quality


@pytest.fixture
def root(tmp_path: Path) -> Path:
    new_case(tmp_path / "case", "Cobble Two")
    return tmp_path / "case"


def test_a_note_is_sealed_and_listed(call: Call, root: Path) -> None:
    told = call("testify", root, "--note", "thin voices", "--amount", "too little", "--band", "2kHz-4 kHz")
    (note,) = read_notes(CaseFolder.open(root))
    assert told.out == f"sealed note 1: {note.seal}\n"
    assert (note.amount, note.band_hz, note.heard_from) == (
        Amount.TOO_LITTLE,
        (2000.0, 4000.0),
        HeardFrom.IN_THE_ROOM,
    )
    listed = call("testify", root)
    assert "thin voices (too little, 2000 to 4000 Hz, in the room)" in listed.out
    assert "before any results were built" in listed.out
    assert call("testify", root, "--json").json["notes"][0]["seal"] == note.seal


def test_a_word_of_the_vocabulary_is_sealed_and_listed(call: Call, root: Path) -> None:
    call("testify", root, "--note", "drums bark", "--quality", "boxy", "--heard-at", "high level")
    (note,) = read_notes(CaseFolder.open(root))
    assert (note.quality, note.heard_at) == (Quality.BOXY, HeardAt.HIGH_LEVEL)
    assert "(boxy: too much, 250 to 800 Hz, at high level)" in call("testify", root).out


def test_a_note_from_a_file(call: Call, root: Path, tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("fine – really\n", "utf-8")
    told = call("testify", root, "--from", tmp_path / "note.txt")
    assert "can't be held against the data" in told.out
    assert read_notes(CaseFolder.open(root))[0].text == "fine – really"


def test_a_note_and_a_file_are_one_too_many(call: Call, root: Path, tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("fine", "utf-8")
    told = call("testify", root, "--note", "x", "--from", tmp_path / "note.txt")
    assert (told.code, "given twice" in told.refusal) == (2, True)
    assert list((root / "testimony").iterdir()) == []


def test_nothing_sealed_yet_says_how(call: Call, root: Path) -> None:
    assert "--note" in call("testify", root).out


@pytest.mark.parametrize(
    ("words", "refusal"),
    [
        (("--note", "x", "--band", "3k"), "isn't a band"),
        (("--note", "x", "--band", "100-200"), "has both"),
        (("--note", "x", "--amount", "too much"), "has both"),
        (("--note", "x", "--amount", "too much", "--band", "200-100"), "isn't one"),
        (("--band", "100-200"), "there is no note"),
        (("--quality", "thin"), "there is no note"),
        (("--note", "x", "--quality", "thin", "--amount", "too much"), "leave out --amount"),
        (("--note", "x", "--heard-at", "high level"), "--heard-at alone"),
        (("--note", ""), "says nothing"),
        (("--note", "x", "--note", "y"), "given twice"),
        (("--from", "nowhere.txt"), "no text file"),
    ],
)
def test_what_cannot_be_sealed_gets_one_line(
    call: Call, root: Path, words: tuple[str, ...], refusal: str
) -> None:
    told = call("testify", root, *words)
    assert told.code == 2
    assert refusal in told.refusal
    assert list((root / "testimony").iterdir()) == []
