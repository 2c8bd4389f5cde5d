from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from earwitness.case import durable
from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case, read_facts
from earwitness.case.takes import read_takes
from earwitness.records.errors import CaseError


@pytest.fixture
def case(tmp_path: Path) -> CaseFolder:
    return new_case(tmp_path / "case", "Cobble Two")


@pytest.mark.timeout(20)
@pytest.mark.parametrize("name", ["case.toml", "takes.toml"])
def test_pipes_devices_and_links_are_refused_without_waiting(
    case: CaseFolder, tmp_path: Path, name: str
) -> None:
    read = read_facts if name == "case.toml" else read_takes
    path = case.root / name
    path.unlink()
    os.mkfifo(path)
    with pytest.raises(CaseError, match="no regular file"):
        read(case)
    path.unlink()
    (tmp_path / "secret").write_text("[unit]\nname = 'x'\n")
    path.symlink_to(tmp_path / "secret")
    with pytest.raises(CaseError, match="can't be opened"):
        read(case)


def test_a_link_in_raw_is_refused(case: CaseFolder) -> None:
    (case.raw / "passwd").symlink_to("/etc/passwd")
    with pytest.raises(CaseError, match=r"raw/passwd: is a link"):
        read_takes(case)
    (case.raw / "passwd").unlink()
    (case.raw / "etc").symlink_to("/etc")
    with pytest.raises(CaseError, match=r"raw/etc: is a link"):
        read_takes(case)


def test_a_planted_temporary_link_is_not_written_through(case: CaseFolder, tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.write_bytes(b"mine")
    durable.temporary_beside(case.takes_toml).symlink_to(victim)
    durable.write_atomically(case.takes_toml, b"# new\n")
    assert victim.read_bytes() == b"mine"
    assert case.takes_toml.read_bytes() == b"# new\n"


def test_a_planted_linked_folder_is_not_emptied(case: CaseFolder, tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.mkdir()
    (victim / "x").write_bytes(b"mine")
    (case.raw / ".0.partial").symlink_to(victim)
    durable.remove_temporaries(case.root)
    assert not (case.raw / ".0.partial").is_symlink()
    assert (victim / "x").read_bytes() == b"mine"


SLOW_TO_PARSE = {
    "dots": ".".join(["a"] * 4000) + " = 1\n",
    "deep": "a = " + "[" * 4000 + "]" * 4000 + "\n",
    "lines": "[[take]]\n" * 100_000,
    "keys": "".join(f"k{i} = {i}\n" for i in range(80_000)),
}


@pytest.mark.timeout(60)
@pytest.mark.parametrize("text", SLOW_TO_PARSE.values(), ids=SLOW_TO_PARSE.keys())
def test_files_made_to_be_slow_are_refused_in_seconds(case: CaseFolder, text: str) -> None:
    (case.raw / ("x" * 250)).write_bytes(b"x")
    for path, read in ((case.case_toml, read_facts), (case.takes_toml, read_takes)):
        path.write_text(text)
        start = time.monotonic()
        with pytest.raises(CaseError) as caught:
            read(case)
        assert len(str(caught.value)) <= 400
        assert time.monotonic() - start < 10


@pytest.mark.timeout(20)
@pytest.mark.parametrize(
    "pattern", ["*1*1y", "{radiator}*{angle}*y", "a*{drive}*{repeat}", "{radiator}{repeat}*{angle}*V_"]
)
def test_no_pattern_takes_long(case: CaseFolder, pattern: str) -> None:
    (case.raw / ("a" + "1" * 250)).write_bytes(b"x")
    case.takes_toml.write_text(f"[[rule]]\nkind = 'noise'\norbit = 'vertical'\nfiles = '{pattern}'\n")
    start = time.monotonic()
    assert read_takes(case) == ()
    assert time.monotonic() - start < 2


def test_a_name_that_is_code_stays_a_name(tmp_path: Path) -> None:
    for number, name in enumerate(
        ['"><script>alert(1)</script>', '#read("/etc/passwd")', '"""\\', "${HOME}"]
    ):
        assert read_facts(new_case(tmp_path / str(number), name)).unit.name == name
