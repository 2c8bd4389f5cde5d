"""`add` and `new --from`: dry runs, stated options, many files in a few rows, help against doubts."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from small_build import tree
from told import Call

from earwitness.case.layout import CaseFolder
from earwitness.case.takes import read_takes
from earwitness.cli.read_options import parse_read
from earwitness.records.errors import CallError
from earwitness.records.takes import Direction, Orbit

#: As one rig writes it: UTF-16, decimal commas, German words.
GERMAN_PLANES = {Orbit.HORIZONTAL: "waagerecht", Orbit.VERTICAL: "senkrecht"}


def german(folder: Path) -> dict[str, Direction]:
    """Seventy exports: both orbits in steps of ten degrees, 0 and 180 on the horizontal one alone."""
    written = {}
    for orbit, word in GERMAN_PLANES.items():
        for angle in range(-170, 181, 10):
            if orbit is Orbit.HORIZONTAL or angle not in (0, 180):
                name = f"{word}/{angle:+04d} Grad.txt"
                export(folder / name, abs(angle))
                written[name] = Direction(orbit, float(angle))
    return written


def export(path: Path, angle: int) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    frequencies = [20.0 * 10.0 ** (n / 20.0) for n in range(61)]
    levels = [85.0 - angle / 20.0 * math.log10(1.0 + f / 1000.0) for f in frequencies]
    rows = [f"{f:.3f}\t{level:.3f}\t{-angle / 4.0:.2f}" for f, level in zip(frequencies, levels, strict=True)]
    lines = ["Messung vom 02.11.2026", "Frequenz [Hz]\tPegel [dB]\tPhase [Grad]", *rows, ""]
    path.write_bytes("\r\n".join(lines).replace(".", ",").replace("02,11,", "02.11.").encode("utf-16"))


def plain(folder: Path, *names: str) -> Path:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text("Hz dB\n20 80.0\n200 84.0\n2000 84.0\n20000 84.0\n", encoding="utf-8")
    return folder


def test_seventy_german_exports_become_a_case_with_one_command(call: Call, tmp_path: Path) -> None:
    written = german(tmp_path / "Messung")
    assert len(written) == 70
    told = call("new", tmp_path / "case", "--from", tmp_path / "Messung", "--drive", "2.83V", "--yes")
    assert told.code == 0, told.err
    takes = read_takes(CaseFolder.open(tmp_path / "case"))
    assert {take.path: take.key.direction for take in takes} == written
    assert {take.key.drive.label for take in takes if take.key.drive} == {"2.83 V"}
    assert "horizontal −170° to +180° every 10°" in told.out
    assert "vertical −170° to −10° every 10°, +10° to +170° every 10°" in told.out
    assert "(36 files)" in told.out
    assert "horizontal + is the loudspeaker's left (not stated: rig.positive_horizontal" in told.out
    assert len(told.out.splitlines()) <= 8
    facts = (tmp_path / "case" / "case.toml").read_text(encoding="utf-8")
    (tmp_path / "case" / "case.toml").write_text(
        facts.replace("[rig]\n", "[rig]\ndistance_m = 1.0\n"), "utf-8"
    )
    assert call("build", tmp_path / "case").code == 0


def test_new_with_files_that_are_doubtful_leaves_the_case_started(call: Call, tmp_path: Path) -> None:
    folder = plain(tmp_path / "files", "horizontal_30.txt")
    told = call("new", tmp_path / "case", "--from", folder, "--drive", "1V", "--yes")
    assert told.code == 2
    assert told.refusal.startswith("horizontal_30.txt: the sign of 30° isn't said")
    assert f"to add its files later: `earwitness add {tmp_path / 'case'} {folder}`" in told.out
    assert (tmp_path / "case" / "case.toml").exists()
    assert not list((tmp_path / "case" / "raw").iterdir())


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        (["--drive", "1V"], "--drive goes with --from alone"),
        (["--yes"], "--yes goes with --from alone"),
        (["--read", "level=dB"], "--read goes with --from alone"),
        (["--from", "nowhere"], "nowhere: isn't there"),
        (["--from", "FILES", "--drive", "loud"], "--drive 'loud' is no drive"),
        (["--from", "FILES", "--read", "level"], "--read 'level' isn't KEY=VALUE"),
    ],
)
def test_a_wrong_call_starts_no_case(call: Call, tmp_path: Path, words: list[str], problem: str) -> None:
    files = plain(tmp_path / "files", "horizontal_+30.txt")
    told = call("new", tmp_path / "case", *(str(files) if word == "FILES" else word for word in words))
    assert told.code == 2
    assert told.refusal.startswith(problem)
    assert not (tmp_path / "case").exists()


def test_new_with_files_as_one_object(call: Call, tmp_path: Path) -> None:
    files = plain(tmp_path / "files", "horizontal_+30_1V.txt")
    told = call("new", tmp_path / "case", "--from", files, "--yes", "--json").json
    assert told["case"] == str(tmp_path / "case")
    assert told["added"] == ["horizontal_+30_1V.txt"]


def test_a_dry_run_changes_nothing_and_ends_as_the_real_one_would(
    call: Call, empty: Path, tmp_path: Path
) -> None:
    good = plain(tmp_path / "good", "horizontal_+30_1V.txt")
    bad = plain(tmp_path / "bad", "horizontal_30_1V.txt")
    before = tree(CaseFolder.open(empty))
    told = call("add", empty, good, "--dry-run")
    assert (told.code, told.out.splitlines()[-1]) == (0, "nothing was added: that was a dry run")
    assert "horizontal +30°" in told.out
    assert call("add", empty, good, "--dry-run", "--json").json["would_be_added"] == ["horizontal_+30_1V.txt"]
    assert call("add", empty, bad, "--dry-run").code == 2
    assert call("add", empty, bad, "--dry-run", "--json").json["exit_code"] == 2
    assert tree(CaseFolder.open(empty)) == before
    assert call("add", empty, good, "--yes").code == 0
    before = tree(CaseFolder.open(empty))
    assert call("add", empty, good, "--dry-run").code == 0
    other = plain(tmp_path / "other", "horizontal_+30_1V.txt")
    (other / "horizontal_+30_1V.txt").write_text("Hz dB\n20 80\n20000 80\n", encoding="utf-8")
    assert "is there already and differs" in call("add", empty, other, "--dry-run").refusal
    assert tree(CaseFolder.open(empty)) == before


def test_every_take_is_shown_where_that_is_wanted(call: Call, empty: Path, tmp_path: Path) -> None:
    names = [f"horizontal_{angle:+04d}_1V.txt" for angle in range(-30, 40, 10)]
    folder = plain(tmp_path / "files", *names)
    folded = call("add", empty, folder, "--dry-run").out
    assert sum(name in folded for name in names) == 1
    shown = call("add", empty, folder, "--dry-run", "--all").out
    assert all(name in shown for name in names)
    assert len(call("add", empty, folder, "--dry-run", "--json").json["takes"]) == len(names)


def test_doubts_are_in_full_and_the_same_one_is_said_once(call: Call, empty: Path, tmp_path: Path) -> None:
    folder = plain(tmp_path / "files", *(f"run {n} horizontal 30_1V.txt" for n in "abcde"))
    told = call("add", empty, folder, "--dry-run")
    rows = [line for line in told.out.splitlines() if "can't be added" in line]
    assert len(rows) == 1
    assert "(5 files)" in rows[0]
    assert told.refusal.endswith("takes.toml first")
    assert "(and 4 more files)" in told.refusal


def test_an_example_to_paste_is_shown(call: Call, empty: Path, tmp_path: Path) -> None:
    folder = plain(tmp_path / "files", "some 30.txt")
    told = call("add", empty, folder, "--dry-run")
    assert f'append this to {empty / "takes.toml"} with each "?" made right' in told.out
    assert '[[take]]\nfile = "some 30.txt"' in told.out
    assert '[[take]]\nfile = "some 30.txt"' in call("add", empty, folder, "--json").json["example"]


def test_what_a_person_corrected_is_said(call: Call, empty: Path, tmp_path: Path) -> None:
    folder = plain(tmp_path / "files", "horizontal_+30_1V.txt", "horizontal_-30_1V.txt")
    assert call("add", empty, folder, "--yes").code == 0
    takes = empty / "takes.toml"
    takes.write_text(takes.read_text(encoding="utf-8").replace("angle_deg = 30", "angle_deg = 40"), "utf-8")
    told = call("add", empty, folder, "--json").json
    assert told["corrections"] == [
        "horizontal_+30_1V.txt: takes.toml says horizontal +40° where the name says horizontal +30°"
    ]
    assert told["changes"] == ["horizontal_+30_1V.txt: direction was horizontal +30°, and is horizontal +40°"]
    takes.write_text(takes.read_text(encoding="utf-8").replace("angle_deg = 40", "angle_deg = 50"), "utf-8")
    shown = call("add", empty, folder).out
    assert "horizontal_+30_1V.txt: direction was horizontal +40°, and is horizontal +50°" in shown


def test_options_are_read_as_what_they_are() -> None:
    texts = [
        "loopback=2",
        "level=dB re 1 Pa",
        "decimal=,",
        "repeats=true",
        "pa_per_unit=0.5",
        "skip=-1",
        "x=",
    ]
    with pytest.raises(CallError, match="isn't KEY=VALUE"):
        parse_read(texts)
    assert parse_read(texts[:-1]) == (
        ("decimal", ","),
        ("level", "dB re 1 Pa"),
        ("loopback", 2),
        ("pa_per_unit", 0.5),
        ("repeats", True),
        ("skip", -1),
    )
    with pytest.raises(CallError, match="stands twice"):
        parse_read(["level=dB", "level=Pa"])
    for wrong in ("=1", "Level=dB", "level", "a b=1", "level=\x1b"):
        with pytest.raises(CallError, match="isn't KEY=VALUE"):
            parse_read([wrong])
