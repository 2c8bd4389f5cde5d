"""What `add` takes for what, and how it asks."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from terminal import on_a_terminal
from told import Call

from earwitness.case.layout import CaseFolder
from earwitness.case.raw_store import read_hashes
from earwitness.case.takes import read_takes

TEXT = "20 80.0\n200 84.0\n2000 84.0\n20000 84.0\n"


def written(folder: Path, names: Sequence[str]) -> Path:
    folder.mkdir(exist_ok=True)
    for name in names:
        (folder / name).write_text(TEXT, encoding="utf-8")
    return folder


def listed(root: Path) -> set[str]:
    return set(read_hashes(CaseFolder.open(root)))


def drives(root: Path) -> dict[str, str]:
    takes = read_takes(CaseFolder.open(root))
    return {take.path: take.key.drive.label for take in takes if take.key.drive is not None}


def test_a_pipe_is_never_asked(
    call: Call, empty: Path, recordings: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", None)
    told = call("add", empty, recordings)
    assert told.code == 2
    assert told.refusal.startswith("nothing was added, for nobody can be asked here; say --yes")
    assert "horizontal_+000_2.83V.wav" in told.out
    assert listed(empty) == set()
    assert call("add", empty, recordings, "--yes").out.endswith(
        f"added 4 files to {empty}; next: `earwitness build {empty}`\n"
    )
    assert len(listed(empty)) == 4


@pytest.mark.parametrize(("answer", "added"), [("y\n", 4), ("YES\n", 4), ("n\n", 0), ("\n", 0), ("\x04", 0)])
def test_a_person_is_asked(empty: Path, recordings: Path, answer: str, added: int) -> None:
    ended = on_a_terminal("add", empty, recordings, prompt="add these? [y/N] ", answer=answer)
    assert len(listed(empty)) == added
    assert ended.code == (0 if added else 2)
    assert ("nothing was added" in ended.shown) == (added == 0)
    assert "on axis (horizontal)" in ended.shown


def test_machines_say_yes_too(call: Call, empty: Path, recordings: Path) -> None:
    told = call("add", empty, recordings, "--json")
    assert told.code == told.json["exit_code"] == 2
    assert told.json["added"] == []
    assert {"id": "microphone.txt", "what": "microphone calibration"} in told.json["takes"]
    assert listed(empty) == set()
    told = call("add", empty, recordings, "--json", "--yes")
    assert told.code == 0
    assert set(told.json["added"]) == listed(empty) == {path.name for path in recordings.iterdir()}


def test_the_same_files_again_are_fine(call: Call, case: Path, recordings: Path) -> None:
    before = (case / "takes.toml").read_bytes()
    for words in ([], ["--yes"]):
        told = call("add", case, recordings, *words)
        assert told.code == 0
        assert told.out.startswith(f"nothing new: 4 files are in {case} already, unchanged")
    assert call("add", case, recordings, "--json").json["added"] == []
    assert (case / "takes.toml").read_bytes() == before


def test_another_file_under_the_same_name_is_refused(call: Call, case: Path, tmp_path: Path) -> None:
    folder = written(tmp_path / "other", ["microphone.txt"])
    told = call("add", case, folder, "--yes")
    assert told.code == 2
    assert "raw/microphone.txt is there already and differs" in told.refusal
    assert call("verify", case).code == 0


def test_every_doubtful_file_is_listed_and_none_is_added(call: Call, empty: Path, tmp_path: Path) -> None:
    doubtful = {
        "horizontal_30_2.83V.txt": "the sign of 30° isn't said",
        "+030_2.83V.txt": "the plane isn't said",
        "horizontal_+040.txt": "the drive isn't said",
        "notes.pdf": "not a kind of file that is read",
    }
    folder = written(tmp_path / "files", [*doubtful, "horizontal_+050_2.83V.txt"])
    told = call("add", empty, folder, "--yes")
    assert told.code == 2
    for name, doubt in doubtful.items():
        (row,) = (line for line in told.out.splitlines() if line.startswith(name))
        assert "can't be added" in row
        assert doubt in row
    assert told.refusal.startswith("+030_2.83V.txt: the plane isn't said")
    assert "(and 3 more files)" in told.refusal
    assert listed(empty) == set()
    told = call("add", empty, folder, "--yes", "--json")
    assert told.code == 2
    assert {d["file"] for d in told.json["doubts"]} == set(doubtful)
    assert "and 3 more files" in told.json["error"]


def test_entries_written_by_hand_settle_doubts(call: Call, empty: Path, tmp_path: Path) -> None:
    folder = written(tmp_path / "files", ["left 30.txt", "horizontal_+050_2.83V.txt"])
    entry = (
        '\n# mine\n[[take]]\nfile = "left 30.txt"\nkind = "response"\norbit = "horizontal"\n'
        'angle_deg = 30.0\ndrive = "1 V"\n'
        '\n[[take]]\nfile = "horizontal_+050_2.83V.txt"\nkind = "response"\norbit = "horizontal"\n'
        'angle_deg = 50.0\ndrive = "2 V"\n'
    )
    with (empty / "takes.toml").open("a", encoding="utf-8") as file:
        file.write(entry)
    before = (empty / "takes.toml").read_bytes()
    told = call("add", empty, folder, "--yes")
    assert told.code == 0
    assert told.out.count("as takes.toml says") == 2
    assert drives(empty) == {"left 30.txt": "1 V", "horizontal_+050_2.83V.txt": "2 V"}
    assert (empty / "takes.toml").read_bytes() == before


def test_a_stated_drive_is_for_files_whose_name_has_none(call: Call, empty: Path, tmp_path: Path) -> None:
    folder = written(tmp_path / "files", ["horizontal_+000.txt", "horizontal_+010_1V.txt"])
    assert call("add", empty, folder, "--drive", "2.83V", "--yes").code == 0
    assert drives(empty) == {"horizontal_+000.txt": "2.83 V", "horizontal_+010_1V.txt": "1 V"}
    more = written(tmp_path / "more", ["horizontal_+020.txt"])
    assert call("add", empty, more, "--drive", "-20dBFS", "--yes").code == 0
    assert drives(empty)["horizontal_+020.txt"] == "−20 dBFS"
    again = written(tmp_path / "again", ["horizontal_+030.txt"])
    assert call("add", empty, again, "--drive", "+4dBu", "--yes").code == 0
    assert drives(empty)["horizontal_+030.txt"] == "4 dBu"


@pytest.mark.parametrize(
    ("drive", "problem"),
    [
        ("loud", "is no drive"),
        ("2.83", "is no drive"),
        ("0V", "is no drive"),
        ("-2V", "is no drive"),
        ("", "is no drive"),
        ("20dBFS", "is above digital full scale"),
        ("50dBu", "is more than lines have; give dBu up to 30"),
        ("1e9V", "is no drive of a loudspeaker"),
        ("1000V", "is no drive of a loudspeaker"),
    ],
)
def test_a_drive_that_is_none(call: Call, empty: Path, tmp_path: Path, drive: str, problem: str) -> None:
    folder = written(tmp_path / "files", ["horizontal_+000.txt"])
    told = call("add", empty, folder, "--drive", drive, "--yes")
    assert told.code == 2
    assert told.refusal.startswith(f"--drive {drive!r} {problem}")
    assert listed(empty) == set()


def test_files_that_cannot_be_read_do_not_come_in(
    call: Call, empty: Path, recordings: Path, tmp_path: Path
) -> None:
    whole = (recordings / "horizontal_+000_2.83V.wav").read_bytes()
    short = tmp_path / "horizontal_+010_2.83V.wav"
    short.write_bytes(whole[: len(whole) // 2])
    words = tmp_path / "horizontal_+020_2.83V.txt"
    words.write_text("20 80\n200 loud\n", encoding="utf-8")
    told = call("add", empty, recordings, short, words, "--yes")
    assert told.code == 2
    assert "is cut short" in next(x for x in told.out.splitlines() if x.startswith(short.name))
    assert "line 2: 'loud' is not a number" in told.out
    assert told.refusal.startswith(f"{short.name}: is cut short")
    assert listed(empty) == set()


def test_two_stimuli_are_not_guessed_between(
    call: Call, case: Path, recordings: Path, tmp_path: Path
) -> None:
    second = tmp_path / "stimulus_other.wav"
    second.write_bytes((recordings / "stimulus.wav").read_bytes())
    assert call("add", case, second, "--yes").code == 0
    new = tmp_path / "horizontal_+010_2.83V.wav"
    new.write_bytes((recordings / "horizontal_+000_2.83V.wav").read_bytes())
    told = call("add", case, new, "--yes")
    assert told.code == 2
    assert "which stimulus was played isn't said: stimulus.wav or stimulus_other.wav" in told.refusal
    with (case / "takes.toml").open("a", encoding="utf-8") as file:
        file.write(
            f'\n[[take]]\nfile = "{new.name}"\nkind = "sweep"\norbit = "horizontal"\nangle_deg = 10\n'
            'drive = "2.83 V"\nstimulus = "stimulus.wav"\n'
        )
    assert call("add", case, new, "--yes").code == 0


@pytest.mark.parametrize("missing", ["nowhere.wav", "nowhere/"])
def test_files_that_are_not_there(call: Call, empty: Path, tmp_path: Path, missing: str) -> None:
    told = call("add", empty, tmp_path / missing, "--yes")
    assert (told.code, told.refusal) == (2, f"{tmp_path / missing}: isn't there; look at the path")


def test_a_folder_that_holds_nothing(call: Call, empty: Path, tmp_path: Path) -> None:
    (tmp_path / "nothing").mkdir()
    assert "holds no file" in call("add", empty, tmp_path / "nothing", "--yes").refusal


def test_names_that_would_steer_a_terminal_are_shown_as_text(call: Call, empty: Path, tmp_path: Path) -> None:
    folder = written(tmp_path / "files", ["\x1b[31m[bold]horizontal_+000_1V.txt"])
    told = call("add", empty, folder, "--yes")
    assert told.code == 2
    assert "\x1b" not in told.out + told.err
    assert "\\x1b[31m[bold]" in told.err
