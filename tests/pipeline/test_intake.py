"""Looking at files changes nothing; accepting them is all or nothing."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile
from aes69_files import sphere

from earwitness.acoustics.sweeps import synchronised_sweep
from earwitness.case.layout import CaseFolder
from earwitness.case.lock import exclusive
from earwitness.case.manifest import new_case
from earwitness.case.raw_store import read_hashes
from earwitness.case.takes import read_takes
from earwitness.measurement.expansion import expanded
from earwitness.measurement.readers.contents import Contents, Form, Part
from earwitness.pipeline.arrivals import Whole, whole_of
from earwitness.pipeline.intake import Intake, accept, look_at
from earwitness.records.errors import BusyError, CallError, CaseError, ReadError
from earwitness.records.takes import ON_AXIS, Direction, Drive, Orbit, TakeKey, TakeKind


@pytest.fixture
def case(tmp_path: Path) -> CaseFolder:
    return new_case(tmp_path / "case", "Cobble Two")


def tone(path: Path, peak: float = 0.5) -> Path:
    """A sweep as it is played, or as it is recorded: some time later."""
    return at_rate(path, 48_000, peak=peak)


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
    assert [(done, total) for _, done, total in told] == [(0, 2), (1, 2), (0, 1)]


def text(path: Path, *, level_db: float = 84.0, heading: str = "Hz\tdB\tdeg") -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = (
        f"{f}\t{level_db + 0.1 * i:.1f}\t{-10 * i}" for i, f in enumerate((20, 200, 400, 1000, 2000, 20000))
    )
    path.write_text("\n".join([heading, *rows, ""]), encoding="utf-8")
    return path


def problems(intake: Intake) -> dict[str, str]:
    return {doubt.label: doubt.problem for doubt in intake.doubts}


def at_rate(path: Path, rate_hz: int, channels: int = 1, peak: float = 0.5) -> Path:
    """Each channel has the sweep 5 ms earlier than the one before."""
    path.parent.mkdir(exist_ok=True)
    sweep = np.clip(peak * synchronised_sweep(20.0, 20_000.0, 0.7, rate_hz), -1.0, 1.0)
    later = 0 if "stimulus" in path.name else rate_hz // 200
    samples = np.zeros((sweep.size + rate_hz // 10, channels))
    for channel in range(channels):
        start = later * (channels - channel)
        samples[start : start + sweep.size, channel] = sweep
    soundfile.write(path, samples[: None if later else sweep.size], rate_hz, subtype="PCM_24")
    return path


def test_the_stimulus_of_the_recording_s_rate_is_its_stimulus(case: CaseFolder, tmp_path: Path) -> None:
    folder = tmp_path / "files"
    at_rate(folder / "stimulus_a.wav", 48_000)
    at_rate(folder / "stimulus_b.wav", 96_000)
    at_rate(folder / "horizontal_+000_1V.wav", 96_000)
    at_rate(folder / "horizontal_+010_1V.wav", 48_000)
    intake = look_at(case.root, [folder])
    played = {take.path: take.stimulus for take in intake.takes if take.stimulus}
    assert intake.doubts == ()
    assert played == {
        "horizontal_+000_1V.wav": "stimulus_b.wav",
        "horizontal_+010_1V.wav": "stimulus_a.wav",
    }
    accept(case.root, intake)
    (later,) = look_at(case.root, [at_rate(tmp_path / "horizontal_+020_1V.wav", 96_000)]).takes
    assert later.stimulus == "stimulus_b.wav"
    told = problems(look_at(case.root, [at_rate(tmp_path / "horizontal_+030_1V.wav", 44_100)]))
    assert told == {
        "horizontal_+030_1V.wav": "it was recorded at 44100 Hz, and no stimulus was: "
        "stimulus_a.wav at 48000 Hz, stimulus_b.wav at 96000 Hz"
    }


def test_a_level_that_is_no_pressure_is_settled_by_stating_what_it_is(
    case: CaseFolder, tmp_path: Path
) -> None:
    file = text(tmp_path / "horizontal_+000_1V.txt", level_db=-12.0)
    (doubt,) = look_at(case.root, [file]).doubts
    assert doubt.subject == "level"
    assert "its level of −12 dB (median from 300 Hz to 3 kHz) is no sound pressure level" in doubt.problem
    assert "--read level=" in doubt.remedy
    stated = look_at(case.root, [file], read=(("level", "dB re 1 Pa"),))
    assert stated.doubts == ()
    accept(case.root, stated)
    (take,) = read_takes(case)
    assert take.read == (("level", "dB re 1 Pa"),)


def test_stated_options_go_to_the_files_that_have_them(case: CaseFolder, tmp_path: Path) -> None:
    files = [
        at_rate(tmp_path / "stimulus.wav", 48_000),
        at_rate(tmp_path / "horizontal_+000_1V.wav", 48_000, channels=2),
        text(tmp_path / "horizontal_+010_1V.txt"),
    ]
    (doubt,) = look_at(case.root, files).doubts
    assert doubt.subject == "channel"
    assert doubt.problem.startswith("which of channel 1, channel 2 is the microphone's isn't said")
    stated = look_at(case.root, files, read=(("loopback", 2),))
    assert stated.doubts == ()
    takes = {take.path: take for take in stated.takes}
    assert takes["horizontal_+000_1V.wav"].selector == "channel 1"
    assert takes["horizontal_+000_1V.wav"].read == (("loopback", 2),)
    assert takes["horizontal_+010_1V.txt"].read == ()
    with pytest.raises(CallError, match=r"^--read loop: none of these files has .*did you mean loopback\?$"):
        look_at(case.root, files, read=(("loop", 2),))


def test_many_directions_in_one_table(case: CaseFolder, tmp_path: Path) -> None:
    file = tmp_path / "horizontal_2.83V.csv"
    rows = [f"{f};{84 - i};{85 - i};{83 - i}" for i, f in enumerate((20, 400, 1000, 20000))]
    file.write_text("\n".join(["Hz;-30 deg;0 deg;30 deg", *rows, ""]), encoding="utf-8")
    intake = look_at(case.root, [file], read=(("level", "dB SPL"),))
    assert problems(intake) == {}
    angles = [take.key.direction.angle_deg for take in intake.takes if take.key.direction]
    assert angles == [-30.0, 0.0, 30.0]
    accept(case.root, intake)
    assert [take.id for take in read_takes(case)] == sorted(take.id for take in intake.takes)


def test_a_sphere_is_one_entry_and_is_counted() -> None:
    places = [(az, el) for az in range(0, 360, 10) for el in range(-80, 81, 10)]
    parts = tuple(Part(f"az {az} el {el}", position_deg=(az, el)) for az, el in places)
    whole = whole_of(Contents(Form.RESPONSES, parts))
    # 36 of the horizontal orbit, 16 more in front and behind of the vertical one
    assert whole == Whole(directions=36 * 17, on_orbits=36 + 2 * 16)
    assert whole_of(Contents(Form.RESPONSES, (Part(),))) is None


def test_what_a_person_corrects_is_told(case: CaseFolder, tmp_path: Path) -> None:
    files = [text(tmp_path / "files" / f"horizontal_{a:+04d}_1V.txt") for a in (-30, 0, 30)]
    intake = look_at(case.root, files)
    assert (intake.corrections, intake.changes) == ((), ())
    accept(case.root, intake)
    entries = case.takes_toml.read_text(encoding="utf-8")
    case.takes_toml.write_text(
        entries.replace("angle_deg = 30", "angle_deg = 40").replace('"1 V"', '"2 V"', 1), encoding="utf-8"
    )
    again = look_at(case.root, files)
    assert [str(correction) for correction in again.corrections] == [
        "horizontal_+000_1V.txt: takes.toml says 2 V where the name says 1 V",
        "horizontal_+030_1V.txt: takes.toml says horizontal +40° where the name says horizontal +30°",
    ]
    assert [str(change) for change in again.changes] == [
        "horizontal_+000_1V.txt: drive was 1 V, and is 2 V",
        "horizontal_+030_1V.txt: direction was horizontal +30°, and is horizontal +40°",
    ]
    accept(case.root, again)
    assert look_at(case.root, files).changes == ()
    text_before = case.takes_toml.read_text(encoding="utf-8").split("\n[[take]]\n")
    case.takes_toml.write_text("\n[[take]]\n".join(text_before[:-1]), encoding="utf-8")
    (change,) = look_at(case.root, files[:1]).changes
    assert str(change) == "horizontal_-030_1V.txt: neither an entry nor a rule covers it any more"


def test_a_build_folder_that_is_gone_loses_nothing_but_what_changed(case: CaseFolder, tmp_path: Path) -> None:
    files = [text(tmp_path / "horizontal_+000_1V.txt")]
    accept(case.root, look_at(case.root, files))
    (case.build / "takes_seen.json").write_bytes(b"{torn")
    assert look_at(case.root, files).changes == ()
    shutil.rmtree(case.build)
    assert look_at(case.root, files).changes == ()


@pytest.mark.parametrize(
    ("stated", "line"),
    [
        ("", "horizontal + is the loudspeaker's left (not stated: rig.positive_horizontal in case.toml)"),
        ('positive_horizontal = "right"\n', "horizontal + is the loudspeaker's right (as case.toml states)"),
    ],
)
def test_how_signs_are_taken(case: CaseFolder, tmp_path: Path, stated: str, line: str) -> None:
    facts = case.case_toml.read_text(encoding="utf-8")
    case.case_toml.write_text(facts.replace("[rig]\n", f"[rig]\n{stated}"), encoding="utf-8")
    assert look_at(case.root, [text(tmp_path / "horizontal_+030_1V.txt")]).signs == line
    assert look_at(case.root, [text(tmp_path / "horizontal_+000_1V.txt")]).signs == ""
    assert "vertical + is up (not" in look_at(case.root, [text(tmp_path / "vertical_+030_1V.txt")]).signs


def test_radiators_are_those_of_the_case(case: CaseFolder, tmp_path: Path) -> None:
    files = [tone(tmp_path / "stimulus.wav"), tone(tmp_path / "near_field_blorb_1V.wav")]
    assert "the radiator isn't said" in problems(look_at(case.root, files))["near_field_blorb_1V.wav"]
    facts = case.case_toml.read_text(encoding="utf-8")
    radiator = '[[unit.radiators]]\nname = "blorb"\ndiameter_m = 0.1\n\n'
    case.case_toml.write_text(facts.replace("[disclosure]", f"{radiator}[disclosure]", 1), encoding="utf-8")
    assert look_at(case.root, files).doubts == ()


def test_another_file_of_that_name_is_a_doubt_before_anything_is_copied(
    case: CaseFolder, tmp_path: Path
) -> None:
    file = text(tmp_path / "horizontal_+000_1V.txt")
    accept(case.root, look_at(case.root, [file]))
    text(file, level_db=80.0)
    (doubt,) = look_at(case.root, [file]).doubts
    assert doubt.problem.startswith("raw/horizontal_+000_1V.txt is there already and differs (SHA-256 ")
    assert read_hashes(case)[file.name] in doubt.problem


def test_an_example_is_refused_until_it_is_made_right(case: CaseFolder, tmp_path: Path) -> None:
    file = text(tmp_path / "some 30.txt")
    example = look_at(case.root, [file]).example
    assert example.startswith('[[take]]\nfile = "some 30.txt"\nkind = "response"\norbit = "?"')
    stands = case.takes_toml.read_text(encoding="utf-8")
    case.takes_toml.write_text(f"{stands}\n{example}\n", encoding="utf-8")
    with pytest.raises(CaseError, match="isn't a number that can be"):
        look_at(case.root, [file])
    settled = example.replace('orbit = "?"', 'orbit = "vertical"')
    settled = settled.replace('angle_deg = "?"', "angle_deg = -30").replace('drive = "?"', 'drive = "1 V"')
    case.takes_toml.write_text(f"{stands}\n{settled}\n", encoding="utf-8")
    accept(case.root, look_at(case.root, [file]))
    (take,) = read_takes(case)
    assert take.key == TakeKey(TakeKind.RESPONSE, Direction(Orbit.VERTICAL, -30.0), Drive(1.0))


def test_many_files_alike_are_settled_by_one_rule(case: CaseFolder, tmp_path: Path) -> None:
    folder = tmp_path / "files"
    for angle in (10, 20, 40, 60):
        text(folder / f"horizontal at {angle}.txt")
    intake = look_at(case.root, [folder])
    assert len(intake.doubts) == 4
    assert intake.example.startswith('[[rule]]\nfiles = "{orbit} at {angle}.txt"')
    stands = case.takes_toml.read_text(encoding="utf-8")
    rule = intake.example.replace('drive = "?"', 'drive = "1 V"')
    case.takes_toml.write_text(f"{stands}\n{rule}\n", encoding="utf-8")
    accept(case.root, look_at(case.root, [folder]))
    angles = [take.key.direction.angle_deg for take in read_takes(case) if take.key.direction]
    assert angles == [10.0, 20.0, 40.0, 60.0]


def test_a_file_that_changed_since_it_was_looked_at_stays_out(case: CaseFolder, tmp_path: Path) -> None:
    file = tmp_path / "impedance.txt"
    file.write_text("Hz\tohm\n20\t7.1\n100\t30.2\n", encoding="utf-8")
    before = everything(case.root)
    intake = look_at(case.root, [file])
    assert intake.doubts == ()
    file.write_text("garbage, and no measurement\n", encoding="utf-8")
    with pytest.raises(ReadError, match="has changed since it was looked at; wait until it is complete"):
        accept(case.root, intake)
    changed = {name for name, content in everything(case.root).items() if before.get(name) != content}
    assert changed <= {"build/raw_stat.json", ".lock"}


@pytest.mark.parametrize(("read", "doubts"), [("", 1), ('read = { level = "dB SPL" }\n', 0)])
def test_an_entry_does_not_make_decibels_a_sound_pressure(
    case: CaseFolder, tmp_path: Path, read: str, doubts: int
) -> None:
    rows = "".join(f"{f}\t{-3.0}\n" for f in (100, 300, 1000, 3000, 10000))
    file = tmp_path / "mine.txt"
    file.write_text(f"Frequency (Hz)\tLevel (dB)\n{rows}", encoding="utf-8")
    entry = (
        '[[take]]\nfile = "mine.txt"\nkind = "response"\norbit = "horizontal"\nangle_deg = 0\ndrive = "1 V"\n'
    )
    case.takes_toml.write_text(entry + read, encoding="utf-8")
    intake = look_at(case.root, [file])
    assert len(intake.doubts) == doubts
    if doubts:
        assert "is no sound pressure level of a loudspeaker" in intake.doubts[0].problem
        assert "read = { level = " in intake.doubts[0].remedy


def test_an_orbit_a_file_of_positions(case: CaseFolder, tmp_path: Path) -> None:
    """Files that say their own directions are told apart direction by direction, not as wholes."""
    angles = np.arange(-170.0, 181.0, 10.0)
    horizontal = np.column_stack([angles % 360.0, np.zeros(angles.size)])
    up = np.arange(10.0, 100.0, 10.0)
    vertical = np.column_stack([np.zeros(2 * up.size), np.concatenate([up, -up])])
    (tmp_path / "files").mkdir()
    sphere(horizontal).write(tmp_path / "files" / "horizontal_2.83V.sofa")
    sphere(vertical).write(tmp_path / "files" / "vertical_2.83V.sofa")
    intake = look_at(case.root, [tmp_path / "files"])
    assert intake.doubts == ()
    accept(case.root, intake)
    found = expanded(read_takes(case), case.raw)
    assert len({take.key for take in found}) == len(found) == horizontal.shape[0] + vertical.shape[0]
    again = sphere(horizontal[:3]).write(tmp_path / "again_2.83V.sofa")
    (doubt,) = look_at(case.root, [again]).doubts
    assert "is the same take as" in doubt.problem
