"""Sealed notes: what is sealed reads back, and nothing of it can be changed unseen."""

from __future__ import annotations

import hashlib
import json
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case
from earwitness.case.testimony import LONGEST_TEXT, Said, notes_of, read_notes, seal_note
from earwitness.case.verify import verify
from earwitness.records.errors import CallError, CaseError, EarwitnessError, IntegrityError
from earwitness.records.qualities import MEANINGS
from earwitness.records.testimony import Amount, HeardAt, HeardFrom, Note, Quality

NOON = "2026-11-20T12:00:00+00:00"
THIN = Said("thin “voices”\nnear 3 kHz", Amount.TOO_LITTLE, (2000.0, 4000.0), HeardFrom.STRAIGHT_AHEAD)
FINE = Said("fine bass")


def seal(case: CaseFolder, said: Said = THIN, built: str = "") -> Note:
    return seal_note(case, said, sealed_at=NOON, built=built, raw_digest="0" * 64)


@pytest.fixture
def case(tmp_path: Path) -> CaseFolder:
    new_case(tmp_path / "case", "Cobble Two")
    return CaseFolder.open(tmp_path / "case")


def test_what_is_sealed_reads_back(case: CaseFolder) -> None:
    sealed = (seal(case), seal(case, FINE, built="f" * 16))
    assert read_notes(case) == sealed
    first, second = sealed
    assert (first.number, first.text, first.amount, first.band_hz) == (
        1,
        THIN.text,
        THIN.amount,
        THIN.band_hz,
    )
    assert (second.previous, second.amount, second.built) == (first.seal, None, "f" * 16)
    assert verify(case).fine


def test_a_word_brings_its_band_and_amount_and_a_band_of_ones_own_comes_first(case: CaseFolder) -> None:
    word = seal(case, Said("sharp on voices", quality=Quality.HARSH, heard_at=HeardAt.HIGH_LEVEL))
    own = seal(case, Said("sharp on voices", band_hz=(3000.0, 4000.0), quality=Quality.HARSH))
    meaning = MEANINGS[Quality.HARSH]
    assert (word.amount, word.band_hz, word.heard_at) == (
        meaning.amount,
        meaning.band_hz,
        HeardAt.HIGH_LEVEL,
    )
    assert (own.amount, own.band_hz, own.quality) == (meaning.amount, (3000.0, 4000.0), Quality.HARSH)
    assert read_notes(case) == (word, own)


def test_the_seal_is_a_hash_that_anybody_can_work_out(case: CaseFolder) -> None:
    """SHA-256 over the fields and the number as JSON with sorted keys, as docs/testimony.md says."""
    note = seal(case)
    values = tomllib.loads((case.testimony / "001.toml").read_text("utf-8"))
    assert values.pop("seal") == note.seal
    text = json.dumps(values | {"number": 1}, sort_keys=True, ensure_ascii=False)
    assert hashlib.sha256(text.encode("utf-8")).hexdigest() == note.seal


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("voices", "voicez"),
        ("too little", "too much"),
        ("2000.0", "2500.0"),
        ("straight ahead", "in the room"),
        ("12:00", "11:00"),
    ],
)
def test_a_note_that_was_changed_is_noticed(case: CaseFolder, old: str, new: str) -> None:
    seal(case)
    file = case.testimony / "001.toml"
    file.write_text(file.read_text("utf-8").replace(old, new), "utf-8")
    with pytest.raises(IntegrityError, match=r"testimony/001\.toml: isn't what was sealed"):
        read_notes(case)
    assert not verify(case).fine


def test_a_note_that_was_taken_out_is_noticed(case: CaseFolder) -> None:
    for _ in range(3):
        seal(case)
    (case.testimony / "002.toml").unlink()
    with pytest.raises(IntegrityError, match=r"testimony/002\.toml: is missing"):
        read_notes(case)
    with pytest.raises(IntegrityError):
        seal(case)


def test_notes_that_were_swapped_are_noticed(case: CaseFolder) -> None:
    seal(case), seal(case, FINE)
    one, two = case.testimony / "001.toml", case.testimony / "002.toml"
    first = one.read_bytes()
    one.write_bytes(two.read_bytes())
    two.write_bytes(first)
    with pytest.raises(IntegrityError):
        read_notes(case)


def test_a_chain_that_was_resealed_from_the_middle_is_noticed(case: CaseFolder, tmp_path: Path) -> None:
    """Whoever reseals one note has to reseal all that follow it."""
    new_case(tmp_path / "other", "Cobble Two")
    other = CaseFolder.open(tmp_path / "other")
    seal(case), seal(case, FINE)
    seal(other, FINE)
    (case.testimony / "001.toml").write_bytes((other.testimony / "001.toml").read_bytes())
    with pytest.raises(IntegrityError, match=r"testimony/002\.toml"):
        read_notes(case)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (Said("  "), "says nothing"),
        (Said("x" * (LONGEST_TEXT + 1)), "longer"),
        (Said("a\x1b[2J"), "control"),
        (Said("thin \udcff"), "UTF-8"),
        (Said("x", Amount.TOO_MUCH), "both"),
        (Said("x", Amount.TOO_MUCH, quality=Quality.BOOMY), "leave out --amount"),
        (Said("x", heard_at=HeardAt.HIGH_LEVEL), "--heard-at alone"),
        (Said("x", None, None, HeardFrom.STANDING, Quality.HARSH, HeardAt.HIGH_LEVEL), "not both"),
        (Said("x", band_hz=(200.0, 100.0), quality=Quality.BOOMY), "isn't one"),
        (Said("x", None, (100.0, 200.0)), "both"),
        (Said("x", Amount.TOO_MUCH, (200.0, 100.0)), "isn't one"),
        (Said("x", Amount.TOO_MUCH, (1000.0, 1010.0)), "isn't one"),
        (Said("x", Amount.TOO_MUCH, (float("nan"), 1010.0)), "isn't one"),
        (Said("x", Amount.TOO_MUCH, (10.0, 100.0)), "isn't one"),
    ],
)
def test_what_is_no_note_is_refused_and_nothing_is_written(case: CaseFolder, said: Said, words: str) -> None:
    with pytest.raises(CallError, match=words):
        seal(case, said)
    assert list(case.testimony.iterdir()) == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "has no"),
        ("[[", "isn't valid TOML"),
        ('colour = "red"\n', "is no field"),
        ("text = 3\n", "isn't text"),
        ("band_hz = [1, 2]\n", "isn't a band"),
        ('quality = "chocolatey"\n', "isn't one of the words"),
        ('heard_at = "low level"\n', "isn't one of the words"),
        ("band_hz = [nan, 2000.0]\n", "isn't a band"),
    ],
)
def test_a_file_that_is_no_note_gets_one_line(case: CaseFolder, text: str, words: str) -> None:
    (case.testimony / "001.toml").write_text(text, "utf-8")
    with pytest.raises(CaseError, match=words) as refused:
        read_notes(case)
    assert "\n" not in str(refused.value)
    assert not verify(case).fine


@given(st.text(max_size=300))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_text_reads_back_or_is_refused(case: CaseFolder, text: str) -> None:
    for old in case.testimony.iterdir():
        old.unlink()
    try:
        sealed = seal(case, Said(text))
    except CallError:
        return
    assert read_notes(case) == (sealed,)


@given(st.binary(max_size=200), st.integers(0, 400))
@settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_spoiled_file_is_refused_or_the_same(case: CaseFolder, noise: bytes, at: int) -> None:
    for old in case.testimony.iterdir():
        old.unlink()
    sealed = seal(case)
    file = case.testimony / "001.toml"
    content = file.read_bytes()
    file.write_bytes(content[:at] + noise + content[at + len(noise) :])
    try:
        read = read_notes(case)
    except EarwitnessError:
        return
    assert read == (sealed,)


def test_notes_of_other_cases_that_cannot_be_read_are_none(case: CaseFolder, tmp_path: Path) -> None:
    seal(case)
    assert len(notes_of(tmp_path, ["case", "nowhere"])) == 1
    (case.testimony / "001.toml").write_text("x", "utf-8")
    assert notes_of(tmp_path, ["case"]) == ()
