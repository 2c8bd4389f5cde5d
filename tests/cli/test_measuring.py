"""`stimulus` and `plan` from the outside: tables, sheets, JSON and refusals."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path

import numpy as np
import pytest
import soundfile
from told import Call


def test_a_stimulus_and_its_caution(call: Call, tmp_path: Path) -> None:
    told = call("stimulus", tmp_path / "s", "--seconds", "2", "--level", "2.83V", "--full-scale", "28.3")
    assert told.code == 0
    assert sorted(p.name for p in (tmp_path / "s").iterdir()) == ["stimulus_2.83V.toml", "stimulus_2.83V.wav"]
    assert "90 dB at 1 m for 2.83 V (assumed), taken as A-weighted" in told.out
    # NIOSH 98-126: 8 h/2^(5/3) = 2.52 h at 90 dB
    assert re.search(r"stimulus_2.83V.wav .* 90 dB +2.5 h", told.out)
    assert "wear hearing protection" in told.out
    again = call("stimulus", tmp_path / "s", "--seconds", "2", "--level", "2.83V", "--full-scale", "28.3")
    assert "wrote 0 files and sidecars" in again.out
    assert "1 there already, the same" in again.out


@pytest.mark.parametrize(
    ("kind", "name"), [("multitone", "multitone_stimulus"), ("pink", "pink_noise"), ("white", "white_noise")]
)
def test_other_kinds_as_json(call: Call, tmp_path: Path, kind: str, name: str) -> None:
    told = call("stimulus", tmp_path, "--kind", kind, "--seconds", "2", "--json")
    (file,) = told.json["files"]
    x, _ = soundfile.read(tmp_path / f"{name}_-20dBFS.wav")
    crest = 20.0 * np.log10(np.max(np.abs(x)) / np.sqrt(np.mean(x**2)))
    assert file["crest_factor_db"] == pytest.approx(crest, abs=1e-3)
    assert file["level_at_1m_db"] is None
    assert x.size == 96_000


@pytest.mark.parametrize(
    ("kind", "band_hz", "silences_s"),
    [
        ("sweep", (10.0, 22_000.0), (0.5, 1.0)),
        ("multitone", (20.0, 20_000.0), (0.0, 0.0)),
        ("two-tones", (60.0, 700.0), (0.0, 0.0)),
        ("pink", (20.0, 20_000.0), (0.0, 0.0)),
        ("endurance", (20.0, 20_000.0), (0.0, 0.0)),
    ],
)
def test_what_a_kind_has_where_nothing_is_given(
    *, call: Call, tmp_path: Path, kind: str, band_hz: tuple[float, float], silences_s: tuple[float, float]
) -> None:
    """As the help of --from, --to, --lead and --tail has it; 300 Hz where it is given."""
    rest = ("--rest", "5") if kind == "endurance" else ()
    for folder, given in (("usual", ()), ("given", ("--from", "300", "--lead", "0.25"))):
        assert call("stimulus", tmp_path / folder, "--kind", kind, "--seconds", "10", *rest, *given).code == 0
        (file,) = (tmp_path / folder).glob("*.toml")
        facts = tomllib.loads(file.read_text(encoding="utf-8"))
        signal = facts[facts["kind"]]
        found = signal["tones_hz"] if "tones_hz" in signal else (signal["first_hz"], signal["last_hz"])
        lowest, lead_s = (300.0, 0.25) if given else (band_hz[0], silences_s[0])
        assert (found[0], found[-1]) == (lowest, band_hz[1])
        assert (facts["lead_s"], facts["tail_s"]) == (lead_s, silences_s[1])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--level", "loud"), "--level 'loud' is no level; write it like -20dBFS, 2.83V or 4dBu"),
        (("--level", "2.83V"), "needs --full-scale"),
        (("--full-scale", "0"), "--full-scale 0 isn't from 0.001 to 1000 V"),
        (
            ("--kind", "pink", "--tilt-db", "3"),
            "--tilt-db does nothing with --kind pink, it goes with sweep alone",
        ),
        (
            ("--tones", "5"),
            "--tones does nothing with --kind sweep, it goes with multitone alone; leave it out",
        ),
        (("--tones", "31"), "--tones does nothing with --kind sweep"),
        (("--seed", "3"), "it goes with multitone, pink, white or endurance alone"),
        (("--kind", "multitone", "--rest", "60"), "--rest does nothing with --kind multitone"),
        (("--kind", "purple"), "Invalid value for '--kind': 'purple' is not one of 'sweep', 'multitone'"),
        (("--kind", "multitone", "--tones", "1"), "a multitone of 1 tone can't be"),
        (("--shelf-db", "90"), "an emphasis by a shelf of 90 dB"),
        (("--kind", "white", "--level", "-1dBFS"), "would clip"),
        (("--to", "30000"), "above half the sample rate"),
        (("--sensitivity", "nan"), "--sensitivity nan"),
        (("--rate", "100"), "a sample rate of 100 Hz"),
    ],
)
def test_impossible_stimuli_end_in_one_line(
    call: Call, tmp_path: Path, words: tuple[str, ...], told: str
) -> None:
    ended = call("stimulus", tmp_path / "s", *words)
    assert ended.code == 2
    assert told in ended.refusal
    assert not (tmp_path / "s").exists()


def test_the_sheet_fits_a_page_and_is_written(call: Call, empty: Path, tmp_path: Path) -> None:
    sheet = tmp_path / "plan.txt"
    told = call("plan", empty, "--level", "8.95V", "--amplifier", "20", "--to", sheet)
    assert told.code == 0
    text = sheet.read_text(encoding="utf-8")
    assert told.out.startswith(text)
    assert max(len(line) for line in text.split("\n")) <= 78
    # 20 lg(20/8.95) = 6.98 dB; 90 dB + 10 dB are assumed, of which NIOSH allows 15 min
    assert re.search(r"8\.95 V +1 +12 s +100 dB +90 dB +15 min +- +- +7\.0 dB", text)
    assert "(assumed)" in text
    assert "hearing protection" in text
    assert "Local law and qualified people" in text
    assert text.count("[ ] ") == 76


def test_what_a_case_has_is_ticked(call: Call, case: Path) -> None:
    told = call("plan", case, "--json").json
    there = [f["file"] for block in told["blocks"] for f in block["recordings"] if f["there"]]
    assert there == ["calibrator_94.wav", "horizontal_+000_2.83V.wav"]
    # its gate doesn't reach down to 300 Hz, so its build has no sensitivity
    assert told["sensitivity"]["origin"] == "assumed"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--drive", "loud"), "--drive 'loud' is no drive"),
        (("--near", "0.1V"), "--near 0.1 V: case.toml names no radiators"),
        (("--step", "7"), "don't come to 180°"),
        (("--level", "30V", "--amplifier", "20"), "over the 20 V that the amplifier gives"),
        (("--to", "no/such/folder/plan.txt"), "no file can be there"),
    ],
)
def test_impossible_plans_end_in_one_line(call: Call, empty: Path, words: tuple[str, ...], told: str) -> None:
    ended = call("plan", empty, *words)
    assert ended.code == 2
    assert told in ended.refusal


def test_the_page_is_followed_to_the_letter(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every command in its order, up to `add`; what is recorded is the stimulus itself, later."""
    page = (Path(__file__).parents[2] / "docs" / "measuring.md").read_text(encoding="utf-8")
    commands = [shlex.split(line) for line in re.findall(r"^    earwitness (.*)$", page, re.MULTILINE)]
    assert [words[0] for words in commands] == ["new", "plan", "stimulus", "add", "check"]
    monkeypatch.chdir(tmp_path)
    for words in commands[:3]:
        assert call(*words).code == 0
    stimulus, rate = soundfile.read("played/stimulus_2.83V.wav")
    Path("recordings").mkdir()
    names = re.findall(
        r"^\[ \] (horizontal_\S+_2.83V\.wav)", Path("plan.txt").read_text("utf-8"), re.MULTILINE
    )
    assert len(names) == 37
    soundfile.write(f"recordings/{names[0]}", np.r_[np.zeros(400), stimulus], rate, subtype="PCM_24")
    told = call(*commands[3], "--yes")
    assert told.code == 0, told.err
    entries = (tmp_path / "my-case" / "takes.toml").read_text(encoding="utf-8")
    assert 'stimulus = "stimulus_2.83V.wav"' in entries
    assert "sweep_rate_s = 1.3" in entries


def test_the_page_names_every_key_of_a_sidecar(call: Call, tmp_path: Path) -> None:
    page = (Path(__file__).parents[2] / "docs" / "measuring.md").read_text(encoding="utf-8")
    for kind in ("sweep", "multitone", "pink"):
        words = ("--kind", kind, "--seconds", "1", "--full-scale", "20")
        assert call("stimulus", tmp_path / kind, *words).code == 0
        (sidecar,) = (tmp_path / kind).glob("*.toml")
        keys = re.findall(r"^(\w+) = ", sidecar.read_text(encoding="utf-8"), re.MULTILINE)
        assert len(keys) > 14
        assert [key for key in keys if f"`{key}`" not in page] == []
