"""Looking at files changes nothing; accepting them is all or nothing."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive
from earwitness.case.manifest import new_case
from earwitness.case.raw_store import read_hashes
from earwitness.case.takes import read_takes
from earwitness.pipeline.intake import accept, look_at
from earwitness.records.errors import BusyError, ReadError
from earwitness.records.takes import ON_AXIS, Drive, TakeKind


@pytest.fixture
def case(tmp_path: Path) -> CaseFolder:
    return new_case(tmp_path / "case", "Cobble Two")


def tone(path: Path, peak: float = 0.5) -> Path:
    path.parent.mkdir(exist_ok=True)
    samples = np.clip(peak * np.sin(np.arange(4800) * 0.1), -1.0, 1.0)
    soundfile.write(path, samples, 48_000, subtype="PCM_24")
    return path


def everything(root: Path) -> dict[str, bytes]:
    return {str(p.relative_to(root)): p.read_bytes() for p in root.rglob("*") if p.is_file()}


def test_looking_changes_nothing(case: CaseFolder, tmp_path: Path) -> None:
    files = tmp_path / "files"
    for name in ("stimulus.wav", "horizontal_+000_2.83V.wav", "notes.pdf"):
        tone(files / "x.wav").rename(files / name)
    before = everything(case.root)
    intake = look_at(case.root, [files])
    assert everything(case.root) == before
    assert [take.path for take in intake.takes] == ["horizontal_+000_2.83V.wav", "stimulus.wav"]
    assert [doubt.path for doubt in intake.doubts] == ["notes.pdf"]
    assert intake.takes[0].key.direction == ON_AXIS
    assert intake.takes[0].key.drive == Drive(2.83, "V")
    assert intake.takes[0].stimulus == "stimulus.wav"


def test_nothing_comes_in_while_a_doubt_is_left(case: CaseFolder, tmp_path: Path) -> None:
    tone(tmp_path / "files" / "stimulus.wav")
    tone(tmp_path / "files" / "horizontal_30_2.83V.wav")
    intake = look_at(case.root, [tmp_path / "files"])
    with pytest.raises(ReadError, match=r"^horizontal_30_2.83V.wav: the sign of 30° isn't said: "):
        accept(case.root, intake)
    assert read_hashes(case) == {}
    assert read_takes(case) == ()


def test_a_clipped_recording_does_not_come_in_but_a_full_stimulus_does(
    case: CaseFolder, tmp_path: Path
) -> None:
    tone(tmp_path / "files" / "stimulus.wav", peak=1.5)
    tone(tmp_path / "files" / "horizontal_+000_1V.wav", peak=1.5)
    (doubt,) = look_at(case.root, [tmp_path / "files"]).doubts
    assert doubt.path == "horizontal_+000_1V.wav"
    assert "is clipped" in doubt.problem


def test_one_take_in_two_files_does_not_come_in(case: CaseFolder, tmp_path: Path) -> None:
    files = [tone(tmp_path / n) for n in ("stimulus.wav", "h+000_1V.wav", "horizontal_+000_1V.wav")]
    (doubt,) = look_at(case.root, files).doubts
    assert doubt.path == "horizontal_+000_1V.wav"
    assert doubt.problem == "would be the same take as raw/h+000_1V.wav (sweep, on axis, 1 V)"
    files[2].rename(tmp_path / "horizontal_+000_1V_repeat2.wav")
    assert look_at(case.root, [*files[:2], tmp_path / "horizontal_+000_1V_repeat2.wav"]).doubts == ()


def test_files_of_kinds_that_no_build_uses_are_read_all_the_same(case: CaseFolder, tmp_path: Path) -> None:
    file = tmp_path / "impedance.txt"
    file.write_text("whatever the meter writes\n", encoding="utf-8")
    (doubt,) = look_at(case.root, [file]).doubts
    assert doubt.problem == "has 0 rows of numbers"
    file.write_text("Hz\tohm\tdeg\n20\t7.1\t-3\n100\t30.2\t0\n", encoding="utf-8")
    accept(case.root, look_at(case.root, [file]))
    (take,) = read_takes(case)
    assert take.key.kind is TakeKind.IMPEDANCE


def test_a_second_look_knows_what_is_there(case: CaseFolder, tmp_path: Path) -> None:
    files = [tone(tmp_path / "files" / "stimulus.wav"), tone(tmp_path / "files" / "horizontal_+000_1V.wav")]
    first = look_at(case.root, files)
    assert not first.changes_nothing
    accept(case.root, first)
    again = look_at(case.root, files)
    assert again.changes_nothing
    assert again.there == {"stimulus.wav", "horizontal_+000_1V.wav"}
    accepted = accept(case.root, again)
    assert accepted.new_files == ()
    assert set(accepted.same_files) == again.there


def test_a_file_that_was_in_raw_without_an_entry_gets_one(case: CaseFolder, tmp_path: Path) -> None:
    """An entry that a person removed comes back when the file is added again."""
    file = tone(tmp_path / "files" / "stimulus.wav")
    accept(case.root, look_at(case.root, [file]))
    case.takes_toml.write_text("", encoding="utf-8")
    again = look_at(case.root, [file])
    assert not again.changes_nothing
    accept(case.root, again)
    assert [take.path for take in read_takes(case)] == ["stimulus.wav"]


def test_nothing_comes_in_while_the_case_is_held(case: CaseFolder, tmp_path: Path) -> None:
    intake = look_at(case.root, [tone(tmp_path / "files" / "stimulus.wav")])
    with exclusive(case), pytest.raises(BusyError):
        accept(case.root, intake)
    assert read_hashes(case) == {}


def test_what_is_being_read_is_told(case: CaseFolder, tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    files = [tone(tmp_path / "files" / "stimulus.wav"), tone(tmp_path / "files" / "horizontal_+000_1V.wav")]
    look_at(case.root, files, progress=lambda *step: told.append(step))
    assert [(done, total) for _, done, total in told] == [(0, 2), (1, 2)]
