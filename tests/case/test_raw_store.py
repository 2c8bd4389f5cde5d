from __future__ import annotations

import hashlib
import os
import shutil
import stat
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from earwitness.case import durable
from earwitness.case.intake import gather
from earwitness.case.layout import CaseFolder
from earwitness.case.raw_store import add_raw, check_raw, compare_raw, raw_files, read_hashes
from earwitness.records.errors import CaseError, IntegrityError, ReadError

Put = Callable[..., None]

#: SHA-256 of "abc": FIPS 180-4, example of its appendix (recalled; `sha256sum` agrees).
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.fixture
def session(tmp_path: Path) -> Path:
    folder = tmp_path / "session"
    folder.mkdir(exist_ok=True)
    return folder


def test_keeps_files_as_they_came(case: CaseFolder, session: Path) -> None:
    (session / "a.wav").write_bytes(b"abc")
    added = add_raw(case, [(session / "a.wav", "day 1/a.wav")])
    assert added.new == ("day 1/a.wav",)
    kept = case.raw / "day 1" / "a.wav"
    assert kept.read_bytes() == b"abc"
    assert stat.S_IMODE(kept.stat().st_mode) == 0o444
    assert case.raw_sha256.read_text() == f"{ABC}  raw/day 1/a.wav\n"
    assert check_raw(case, full=True).sha256 == {"day 1/a.wav": ABC}


def test_the_list_is_one_that_sha256sum_checks(case: CaseFolder, put: Put) -> None:
    put("b.wav", "a.wav", "ä/ü +30°.wav")
    checked = subprocess.run(
        ["sha256sum", "--check", "--strict", "raw.sha256"],
        cwd=case.root,
        capture_output=True,
        text=True,
        check=True,
    )
    assert checked.stdout.splitlines() == ["raw/a.wav: OK", "raw/b.wav: OK", "raw/ä/ü +30°.wav: OK"]


def test_the_same_content_again_is_fine(case: CaseFolder, put: Put, session: Path) -> None:
    put("a.wav")
    before = case.raw_sha256.read_bytes()
    again = add_raw(case, [(session / "a.wav", "a.wav")])
    assert (again.new, again.same) == ((), ("a.wav",))
    assert case.raw_sha256.read_bytes() == before


def test_refuses_other_content_under_the_same_name(case: CaseFolder, session: Path) -> None:
    (session / "a.wav").write_bytes(b"abc")
    add_raw(case, [(session / "a.wav", "a.wav")])
    (session / "a.wav").write_bytes(b"abd")
    other = hashlib.sha256(b"abd").hexdigest()
    with pytest.raises(ReadError, match=rf"differs \(SHA-256 {ABC}, this one {other}\)"):
        add_raw(case, [(session / "a.wav", "a.wav")])
    assert (case.raw / "a.wav").read_bytes() == b"abc"


def test_refuses_two_sources_of_one_name(case: CaseFolder, session: Path) -> None:
    (session / "a.wav").write_bytes(b"abc")
    (session / "b.wav").write_bytes(b"abd")
    with pytest.raises(ReadError, match="there already and differs"):
        add_raw(case, [(session / "a.wav", "x.wav"), (session / "b.wav", "x.wav")])
    assert raw_files(case) == ()


def test_refuses_a_name_through_a_file(case: CaseFolder, put: Put, session: Path) -> None:
    put("a")
    (session / "b.wav").write_bytes(b"b")
    with pytest.raises(ReadError, match="is a file, not a folder"):
        add_raw(case, [(session / "b.wav", "a/b.wav")])
    with pytest.raises(ReadError, match="is a file, not a folder"):
        add_raw(case, [(session / "b.wav", "n"), (session / "b.wav", "n/b.wav")])


def test_one_refusal_copies_nothing(case: CaseFolder, session: Path) -> None:
    (session / "a.wav").write_bytes(b"abc")
    (session / "empty.wav").write_bytes(b"")
    with pytest.raises(ReadError, match=r"empty\.wav: is empty"):
        add_raw(case, [(session / "a.wav", "a.wav"), (session / "empty.wav", "empty.wav")])
    assert raw_files(case) == ()


@pytest.mark.parametrize(
    "name",
    [
        "",
        "/a",
        "../a",
        "a/../b",
        "a//b",
        "./a",
        ".a",
        "a/.b",
        "a\nb",
        "a\\b",
        "a\x00b",
        "\udcff",
        "x" * 256,
        "a/",
    ],
)
def test_refuses_names_that_cannot_stand(case: CaseFolder, session: Path, name: str) -> None:
    (session / "a.wav").write_bytes(b"abc")
    with pytest.raises(ReadError, match="its name"):
        add_raw(case, [(session / "a.wav", name)])
    assert list(case.raw.iterdir()) == []


def test_refuses_pipes_devices_and_folders(case: CaseFolder, session: Path) -> None:
    os.mkfifo(session / "pipe")
    (session / "folder").mkdir()
    kinds = {session / "pipe": "pipe", Path("/dev/null"): "device", session / "folder": "folder"}
    for path, kind in kinds.items():
        with pytest.raises(ReadError, match=f"{path.name}: is a {kind}, not a file"):
            add_raw(case, [(path, path.name)])
    with pytest.raises(ReadError, match="can't be opened"):
        add_raw(case, [(session / "gone", "gone")])


def test_follows_links_only_inside_their_folder(case: CaseFolder, session: Path, tmp_path: Path) -> None:
    (tmp_path / "secret").write_bytes(b"secret")
    (session / "a.wav").write_bytes(b"abc")
    (session / "deep").mkdir()
    (session / "deep" / "in.wav").symlink_to("../a.wav")
    (session / "deep" / "out.wav").symlink_to("../../secret")
    (session / "circle").symlink_to("circle")
    add_raw(case, [(session / "deep" / "in.wav", "deep/in.wav")])
    assert not (case.raw / "deep" / "in.wav").is_symlink()
    assert (case.raw / "deep" / "in.wav").read_bytes() == b"abc"
    with pytest.raises(ReadError, match="is a link that leaves its folder"):
        add_raw(case, [(session / "deep" / "out.wav", "deep/out.wav")])
    with pytest.raises(ReadError, match="is a link in a circle"):
        add_raw(case, [(session / "circle", "circle")])


def test_adopts_a_file_that_a_kill_left_unlisted(case: CaseFolder, session: Path) -> None:
    (session / "a.wav").write_bytes(b"abc")
    (case.raw / "a.wav").write_bytes(b"abc")
    assert check_raw(case, full=False).unrecorded == ("a.wav",)
    inode = (case.raw / "a.wav").stat().st_ino
    assert add_raw(case, [(session / "a.wav", "a.wav")]).new == ("a.wav",)
    assert (case.raw / "a.wav").stat().st_ino == inode
    assert check_raw(case, full=False).unrecorded == ()
    (case.raw / "b.wav").write_bytes(b"other")
    (session / "b.wav").write_bytes(b"abc")
    with pytest.raises(ReadError, match="differs"):
        add_raw(case, [(session / "b.wav", "b.wav")])


def alter(path: Path, content: bytes) -> None:
    path.chmod(0o644)
    path.write_bytes(content)


def test_names_a_changed_and_a_missing_file(case: CaseFolder, put: Put) -> None:
    put("a.wav", "b.wav", "c.wav")
    alter(case.raw / "b.wav", b"other")
    with pytest.raises(IntegrityError, match=r"^raw/b\.wav: has changed since it was added"):
        check_raw(case, full=False)
    (case.raw / "c.wav").unlink()
    with pytest.raises(IntegrityError, match=r"^raw/b\.wav: .*\(and 1 more\)"):
        check_raw(case, full=False)
    _, problems = compare_raw(case, full=True)
    assert [problem.file for problem in problems] == ["raw/b.wav", "raw/c.wav"]
    assert problems[1].exit_code == 1


def test_a_link_in_place_of_a_raw_file_is_a_change(case: CaseFolder, put: Put, tmp_path: Path) -> None:
    put("a.wav")
    (case.raw / "a.wav").rename(tmp_path / "a.wav")
    (case.raw / "a.wav").symlink_to(tmp_path / "a.wav")
    with pytest.raises(CaseError, match=r"raw/a\.wav: is a link"):
        check_raw(case, full=False)


def test_unchanged_files_are_not_read_again(
    case: CaseFolder, put: Put, monkeypatch: pytest.MonkeyPatch
) -> None:
    put("a.wav", "b.wav")
    hashed: list[str] = []
    real = durable.file_digest

    def counting(path: Path) -> str:
        hashed.append(path.name)
        return real(path)

    monkeypatch.setattr(durable, "file_digest", counting)
    check_raw(case, full=False)
    assert hashed == []
    (case.raw / "a.wav").touch()
    check_raw(case, full=False)
    assert hashed == ["a.wav"]
    check_raw(case, full=False)
    assert hashed == ["a.wav"]
    check_raw(case, full=True)
    assert hashed == ["a.wav", "a.wav", "b.wav"]
    case.raw_stat.write_text(case.raw_stat.read_text().replace(read_hashes(case)["b.wav"], ABC))
    check_raw(case, full=False)
    assert hashed[3:] == ["b.wav"]
    case.raw_stat.write_bytes(b"{garbage")
    check_raw(case, full=False)
    assert hashed[4:] == ["a.wav", "b.wav"]


def test_only_the_full_check_sees_a_change_behind_an_unchanged_stat(case: CaseFolder, put: Put) -> None:
    put("a.wav")
    path = case.raw / "a.wav"
    status = path.stat()
    alter(path, b"A.WAV")
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    check_raw(case, full=False)
    with pytest.raises(IntegrityError, match="has changed"):
        check_raw(case, full=True)


def test_the_digest_is_that_of_the_sorted_list(case: CaseFolder, put: Put, tmp_path: Path) -> None:
    put("b.wav")
    put("a.wav")
    assert case.raw_sha256.read_text().splitlines() == sorted(
        case.raw_sha256.read_text().splitlines(), key=lambda line: line[66:]
    )
    expected = hashlib.sha256(case.raw_sha256.read_bytes()).hexdigest()
    assert check_raw(case, full=False).raw_digest == expected
    shutil.copytree(case.root, tmp_path / "copy")
    assert check_raw(CaseFolder(tmp_path / "copy"), full=False).raw_digest == expected


@pytest.mark.parametrize(
    "text",
    ["x", f"{ABC} raw/a", f"{ABC}  ../a\n", f"{ABC}  raw/a\n{ABC}  raw/a\n", f"{ABC.upper()}  raw/a", "\0"],
)
def test_refuses_a_list_that_it_did_not_write(case: CaseFolder, text: str) -> None:
    case.raw_sha256.write_text(text)
    with pytest.raises(CaseError, match=r"raw\.sha256, line [12]"):
        read_hashes(case)


def test_leaves_hidden_files_alone(case: CaseFolder, put: Put) -> None:
    put("a.wav")
    (case.raw / ".hidden").write_bytes(b"x")
    (case.raw / ".folder").mkdir()
    (case.raw / ".folder" / "x").write_bytes(b"x")
    assert raw_files(case) == ("a.wav",)


def test_gathers_files_and_folders_with_their_subfolders(session: Path) -> None:
    for name in ("b.wav", "near/a.wav", ".hidden", ".git/x"):
        (session / name).parent.mkdir(exist_ok=True)
        (session / name).write_bytes(b"x")
    assert gather([session]) == ((session / "b.wav", "b.wav"), (session / "near/a.wav", "near/a.wav"))
    assert gather([session / "near/a.wav"]) == ((session / "near/a.wav", "a.wav"),)


def test_gather_refuses_what_it_can_not_name(session: Path) -> None:
    with pytest.raises(ReadError, match="holds no file"):
        gather([session])
    with pytest.raises(ReadError, match="isn't there"):
        gather([session / "gone"])
    for folder in ("x", "y"):
        (session / folder).mkdir()
        (session / folder / "a.wav").write_bytes(b"x")
    with pytest.raises(ReadError, match=r"would be raw/a\.wav"):
        gather([session / "x", session / "y"])
