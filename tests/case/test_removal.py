from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from small_build import killed_at, tree

from earwitness.case import durable
from earwitness.case.intake import gather
from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive
from earwitness.case.raw_store import add_raw, check_raw, raw_files, read_hashes
from earwitness.case.removal import compare_removed, find_raw, read_removed, remove_raw, returning
from earwitness.case.takes import read_takes
from earwitness.case.verify import verify
from earwitness.records.errors import CallError, CaseError, IntegrityError
from earwitness.records.takes import Take, TakeId

Put = Callable[..., None]

#: SHA-256 of "abc": FIPS 180-4, example of its appendix (recalled; `sha256sum` agrees).
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

BY_HAND = """# head

# about a
[[take]]
file = "a.wav"          # the first
kind = "noise"
repeat = 1

# about b
[[take]]
file = "b.wav"
kind = "noise"
repeat = 2

[[rule]]                # all the others
files = "deep/*_{repeat}.wav"
kind = "noise"
# the end
"""
WITHOUT_A = """# head

# about a

# about b
[[take]]
file = "b.wav"
kind = "noise"
repeat = 2

[[rule]]                # all the others
files = "deep/*_{repeat}.wav"
kind = "noise"
# the end
"""
ENTRY_OF_A = """
[[take]]
file = "a.wav"          # the first
kind = "noise"
repeat = 1
"""


@pytest.fixture
def filled(case: CaseFolder, put: Put) -> CaseFolder:
    put("a.wav", "b.wav", "deep/x_7.wav", "deep/y_8.wav")
    case.takes_toml.write_text(BY_HAND, encoding="utf-8")
    return case


def remove(case: CaseFolder, *names: str) -> list[str]:
    with exclusive(case):
        return [one.kept for one in remove_raw(case, names)]


def test_a_removed_file_is_kept_with_its_hash(case: CaseFolder, tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_bytes(b"abc")
    add_raw(case, [(tmp_path / "a.wav", "day 1/a.wav")])
    assert remove(case, "day 1/a.wav") == [f"removed/{ABC[:12]}/day 1/a.wav"]
    assert (case.removed / ABC[:12] / "day 1" / "a.wav").read_bytes() == b"abc"
    assert case.removed_sha256.read_text() == f"{ABC}  removed/{ABC[:12]}/day 1/a.wav\n"
    assert case.raw_sha256.read_bytes() == b""
    assert list(case.raw.iterdir()) == []
    assert verify(case).problems == ()
    checked = subprocess.run(
        ["sha256sum", "--check", "--strict", "removed.sha256"], cwd=case.root, capture_output=True, check=True
    )
    assert checked.stdout.endswith(b": OK\n")


def test_its_entry_leaves_and_all_else_stays(filled: CaseFolder) -> None:
    remove(filled, "a.wav")
    assert filled.takes_toml.read_text() == WITHOUT_A
    assert filled.removed_toml.read_text().endswith(ENTRY_OF_A)
    assert [take.path for take in read_takes(filled)] == ["b.wav", "deep/x_7.wav", "deep/y_8.wav"]


def test_a_rule_stays(filled: CaseFolder) -> None:
    remove(filled, "deep/x_7.wav")
    assert filled.takes_toml.read_text() == BY_HAND
    assert not filled.removed_toml.exists()
    assert [take.path for take in read_takes(filled)] == ["a.wav", "b.wav", "deep/y_8.wav"]


def test_added_again_it_has_its_old_name(filled: CaseFolder) -> None:
    before = filled.raw_sha256.read_bytes()
    (kept,) = remove(filled, "deep/x_7.wav")
    folder = filled.root / kept.removesuffix("/deep/x_7.wav")
    add_raw(filled, gather([folder]))
    assert filled.raw_sha256.read_bytes() == before
    assert (filled.raw / "deep" / "x_7.wav").read_bytes() == b"deep/x_7.wav"
    assert verify(filled).problems == ()
    assert remove(filled, "deep/x_7.wav") == [kept]
    assert verify(filled).problems == ()


def back(case: CaseFolder, *kept: str) -> list[Take]:
    return list(returning(case, gather([case.root / "/".join(one.split("/")[:2]) for one in kept])))


def test_what_its_entry_said_comes_back(filled: CaseFolder) -> None:
    (filled.raw / "c.wav").write_bytes(b"c")
    text = BY_HAND.replace("repeat = 1", 'repeat = 1\ndrive = "1 V"\nstimulus = "c.wav"')
    filled.takes_toml.write_text(text, encoding="utf-8")
    before = {take.id: take for take in read_takes(filled)}
    kept = remove(filled, "a.wav", "b.wav")
    assert back(filled, *kept) == [before[TakeId("a.wav")], before[TakeId("b.wav")]]
    assert back(filled, kept[1]) == [before[TakeId("b.wav")]]


def test_all_entries_of_a_file_come_back(filled: CaseFolder) -> None:
    two = '\n[[take]]\nfile = "a.wav"\nselector = "channel 2"\nkind = "noise"\nrepeat = 9\n'
    filled.takes_toml.write_text(BY_HAND + two, encoding="utf-8")
    (kept,) = remove(filled, "a.wav")
    assert [take.id for take in back(filled, kept)] == ["a.wav", "a.wav#channel 2"]


def test_the_last_entry_counts(filled: CaseFolder, tmp_path: Path) -> None:
    for said in (1, 5, 1):
        filled.takes_toml.write_text(BY_HAND.replace("repeat = 1", f"repeat = {said}"), encoding="utf-8")
        (kept,) = remove(filled, "a.wav")
        assert [take.key.repeat for take in back(filled, kept)] == [said]
        add_raw(filled, gather([filled.root / kept.removesuffix("/a.wav")]))


def test_other_content_or_another_name_is_another_file(filled: CaseFolder, tmp_path: Path) -> None:
    remove(filled, "a.wav")
    (tmp_path / "a.wav").write_bytes(b"A.wav")
    (tmp_path / "d.wav").write_bytes(b"a.wav")
    assert returning(filled, gather([tmp_path / "a.wav", tmp_path / "d.wav"])) == ()
    assert returning(filled, [(tmp_path / "d.wav", "a.wav")]) != ()


def test_what_takes_toml_says_by_now_counts(filled: CaseFolder) -> None:
    kept = remove(filled, "a.wav")
    (filled.raw / "a.wav").write_bytes(b"a.wav")
    filled.takes_toml.write_text(BY_HAND)
    assert back(filled, *kept) == []


def test_a_rule_is_not_what_was_said(filled: CaseFolder) -> None:
    entry = '\n[[take]]\nfile = "deep/x_7.wav"\nkind = "noise"\nrepeat = 70\n'
    filled.takes_toml.write_text(BY_HAND + entry, encoding="utf-8")
    kept = remove(filled, "deep/x_7.wav")
    assert [take.key.repeat for take in back(filled, *kept)] == [70]
    assert remove(filled, "deep/y_8.wav")
    assert back(filled, "removed/" + next(iter(read_removed(filled))).split("/")[0]) != []


def test_an_entry_whose_stimulus_is_gone(filled: CaseFolder) -> None:
    (filled.raw / "stimulus of today.flac").write_bytes(b"s")
    text = BY_HAND.replace("repeat = 1", 'repeat = 1\nstimulus = "stimulus of today.flac"')
    filled.takes_toml.write_text(text, encoding="utf-8")
    first, second = remove(filled, "a.wav", "stimulus of today.flac")
    missing = r"^removed\.toml, line 8, .*raw/stimulus of today\.flac isn't there; add the file first"
    with pytest.raises(CaseError, match=missing):
        back(filled, first)
    assert len(back(filled, first, second)) == 1


@pytest.mark.parametrize("text", ["x", "# removed/0123456789ab/a.wav\n", "\n[[take]]\n"])
def test_what_was_written_into_removed_toml_by_hand_is_nobodys(filled: CaseFolder, text: str) -> None:
    (kept,) = remove(filled, "a.wav")
    filled.removed_toml.write_text(text + filled.removed_toml.read_text())
    assert len(back(filled, kept)) == 1
    filled.removed_toml.write_text(filled.removed_toml.read_text().replace('kind = "noise"', "kind ="))
    with pytest.raises(
        CaseError, match=r"removed\.toml, line \d+: isn't valid TOML; correct what stands below"
    ):
        back(filled, kept)


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        (["a.wav"], ["a.wav"]),
        (["raw/a.wav", "a.wav"], ["a.wav"]),
        (["deep"], ["deep/x_7.wav", "deep/y_8.wav"]),
        (["raw/deep/"], ["deep/x_7.wav", "deep/y_8.wav"]),
        (["*.wav"], ["a.wav", "b.wav"]),
        (["deep/*_8*"], ["deep/y_8.wav"]),
    ],
)
def test_files_are_named_or_described(filled: CaseFolder, wanted: list[str], found: list[str]) -> None:
    assert list(find_raw(filled, wanted)) == found


@pytest.mark.parametrize("wanted", ["c.wav", "*.flac", "../case.toml", "dee", "", "*" * 9, "[ab].wav"])
def test_what_is_not_in_the_case_is_refused(filled: CaseFolder, wanted: str) -> None:
    with pytest.raises(CallError, match="isn't in the case"):
        find_raw(filled, ["a.wav", wanted])


def test_a_name_with_a_star_is_a_name_first(case: CaseFolder, put: Put) -> None:
    put("a*.wav", "ab.wav")
    assert find_raw(case, ["a*.wav"]) == ("a*.wav",)


def test_a_stimulus_that_takes_need_stays(filled: CaseFolder) -> None:
    filled.takes_toml.write_text(BY_HAND.replace("# the end", 'stimulus = "a.wav"'))
    before = tree(filled)
    message = (
        r"^raw/a\.wav: is the stimulus of raw/deep/x_7\.wav and 1 more takes, which stay; remove them too"
    )
    with pytest.raises(CaseError, match=message):
        remove(filled, "a.wav")
    assert tree(filled) == before
    remove(filled, "a.wav", "deep/x_7.wav", "deep/y_8.wav")
    assert raw_files(filled) == ("b.wav",)


def test_what_is_not_what_was_added_stays(filled: CaseFolder) -> None:
    (filled.raw / "a.wav").chmod(0o644)
    (filled.raw / "a.wav").write_bytes(b"other")
    before = tree(filled)
    with pytest.raises(IntegrityError, match=r"raw/a\.wav: has changed since it was added"):
        remove(filled, "a.wav", "b.wav")
    (filled.raw / "a.wav").unlink()
    with pytest.raises(IntegrityError, match=r"raw/a\.wav: is missing"):
        remove(filled, "a.wav", "b.wav")
    before.pop("raw/a.wav")
    assert tree(filled) == before


def test_other_content_in_its_place_is_not_overwritten(case: CaseFolder, tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_bytes(b"abc")
    add_raw(case, [(tmp_path / "a.wav", "a.wav")])
    planted = case.removed / ABC[:12] / "a.wav"
    planted.parent.mkdir(parents=True)
    planted.write_bytes(b"mine")
    with pytest.raises(CaseError, match="is there already and differs"):
        remove(case, "a.wav")
    assert planted.read_bytes() == b"mine"
    assert check_raw(case, full=True).sha256 == {"a.wav": ABC}


def test_entries_that_can_not_be_taken_out_are_refused(filled: CaseFolder) -> None:
    filled.takes_toml.write_text('take = [{ file = "a.wav", kind = "noise" }]\n')
    before = tree(filled)
    with pytest.raises(CaseError, match=r"takes\.toml: can't be rewritten"):
        remove(filled, "a.wav")
    assert tree(filled) == before


def test_a_file_that_no_list_has_can_be_removed(filled: CaseFolder) -> None:
    (filled.raw / "new.wav").write_bytes(b"abc")
    assert remove(filled, "new.wav") == [f"removed/{ABC[:12]}/new.wav"]
    assert read_removed(filled) == {f"{ABC[:12]}/new.wav": ABC}


def test_verify_looks_at_removed_files_too(filled: CaseFolder) -> None:
    first, second = remove(filled, "a.wav", "b.wav")
    (filled.root / first).chmod(0o644)
    (filled.root / first).write_bytes(b"other")
    (filled.root / second).unlink()
    (filled.removed / "stray").write_bytes(b"x")
    problems, notes = compare_removed(filled)
    assert [str(p).split(";")[0] for p in problems] == [
        f"{name}: {what}"
        for name, what in sorted({first: "has changed since it was removed", second: "is missing"}.items())
    ]
    assert notes == ["removed/stray: isn't in removed.sha256"]
    assert len(verify(filled).problems) == 2
    filled.removed_sha256.write_text("x\n")
    with pytest.raises(CaseError, match=r"removed\.sha256, line 1: .* written by `earwitness remove` alone"):
        verify(filled)


def test_killed_at_every_checkpoint(
    filled: CaseFolder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is lost, `verify` is clean, and the same command completes what was begun."""
    monkeypatch.setattr(os, "fsync", lambda _: None)
    names = ("a.wav", "b.wav", "deep/x_7.wav")
    whole = CaseFolder(Path(shutil.copytree(filled.root, tmp_path / "whole")))
    remove(whole, *names)
    number, interrupted = 0, 0
    killed = True
    while killed:
        number += 1
        shutil.rmtree(tmp_path / "copy", ignore_errors=True)
        copy = CaseFolder(Path(shutil.copytree(filled.root, tmp_path / "copy")))
        killed = killed_at(number, partial(remove, copy, *names))
        report = verify(copy)
        assert report.problems == ()
        contents = {path.read_bytes() for path in copy.root.rglob("*.wav")}
        assert contents == {name.encode() for name in ("a.wav", "b.wav", "deep/x_7.wav", "deep/y_8.wav")}
        if any("removing it was interrupted" in note for note in report.notes):
            interrupted += 1
            with pytest.raises(IntegrityError, match="give `earwitness remove` again"):
                check_raw(copy, full=False)
        left = sorted(set(names) & set(read_hashes(copy)))
        if left:
            remove(copy, *find_raw(copy, left))
        durable.remove_temporaries(copy.root)
        assert tree(copy) == tree(whole), number
    # three files moved, four documents written: each with its own acts
    assert number > 15
    assert interrupted > 5
