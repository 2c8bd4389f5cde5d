"""Sidecars of stimuli: what is written is read back, and what can't be is refused with its place."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from earwitness.case.sidecar import read_sidecar, sidecar_text
from earwitness.records.errors import CaseError
from earwitness.records.stimuli import MultitoneSignal, NoiseSignal, StimulusFacts, SweepSignal

#: FACTS §7: 20 Hz to 20 kHz in 10 s has L = 1.45 s and lasts 10.016245 s
SWEEP = SweepSignal(20.0, 20_000.0, 1.45, 1.45 * math.log(1_000.0), 0.1, 0.005, -12.0, 200.0, 0.5)
FACTS = StimulusFacts(
    "stimulus_2.83V.wav",
    "0" * 64,
    48_000,
    480_779 + 72_000,
    0.5,
    1.0,
    -20.0,
    -20.0,
    -20.1,
    3.1,
    SWEEP,
    2.83,
    28.3,
)
OTHERS = (
    MultitoneSignal((20.0, 200.0, 2_000.0), 1.0, 480_779 / 48_000, 3),
    NoiseSignal("pink", 20.0, 20_000.0, 480_779 / 48_000, 3),
)


def read(tmp_path: Path, text: str) -> StimulusFacts:
    (tmp_path / "stimulus.toml").write_text(text, encoding="utf-8")
    return read_sidecar(tmp_path / "stimulus.toml")


def as_read(facts: StimulusFacts) -> StimulusFacts:
    """Numbers have nine digits in the file."""
    if not isinstance(facts.signal, SweepSignal):
        return dataclasses.replace(facts, signal=dataclasses.replace(facts.signal, length_s=10.0162292))
    signal = dataclasses.replace(facts.signal, length_s=float(f"{facts.signal.length_s:.9g}"))
    return dataclasses.replace(facts, signal=signal)


@pytest.mark.parametrize("signal", [SWEEP, *OTHERS])
def test_what_is_written_is_read_back(tmp_path: Path, signal: SweepSignal) -> None:
    facts = dataclasses.replace(FACTS, signal=signal)
    assert read(tmp_path, sidecar_text(facts)) == as_read(facts)
    without = dataclasses.replace(facts, drive_v=None, full_scale_v=None)
    assert read(tmp_path, sidecar_text(without)) == as_read(without)


def test_the_unfaded_band() -> None:
    """f(t) = f1·e^(t/L): after 0.1 s of 20 Hz with L = 1.45 s 21.4280 Hz, 5 ms before 20 kHz 19931.15 Hz."""
    assert SWEEP.unfaded_hz == (21.43, 19_931.15)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("form = 1", "form = 2", "line 10, form: isn't 1"),
        ('kind = "sweep"', 'kind = "chirp"', "kind: isn't sweep or multitone or noise"),
        ('kind = "sweep"', 'kind = "noise"', "noise: is missing"),
        ("first_hz = 20", 'first_hz = "20"', "sweep.first_hz: isn't a number"),
        ("first_hz = 20", "first_hz = true", "sweep.first_hz: isn't a number"),
        ("first_hz = 20", "first_hz = nan", "sweep.first_hz: isn't from 0.1 to 400000"),
        ("first_hz = 20", "first_hz = 20000", "sweep.last_hz: isn't above first_hz"),
        ("last_hz = 20000", "last_hz = 24001", "is above half the sample rate, 24000 Hz"),
        ("first_hz = 20\n", "", "sweep.first_hz: is missing"),
        ("first_hz = 20", "first_hz = 20\nfrist_hz = 20", "did you mean first_hz?"),
        ("rate_s = 1.45", "rate_s = 1.46", "times first_hz is 29.2, and no whole number"),
        ("rate_s = 1.45", "rate_s = 1.40", "isn't the 9.67086 s that rate_s and the band give"),
        ("fade_in_s = 0.1", "fade_in_s = 5.2", "take over half of the sweep"),
        (
            "samples = 552779",
            "samples = 552000",
            "samples: are 11.5 s, and lead, signal and tail are 11.5162 s",
        ),
        ("samples = 552779", "samples = 552779.0", "samples: isn't a whole number"),
        (
            "drive_v = 2.83",
            "drive_v = 2.9",
            "drive_v: isn't the 2.83 V that full_scale_v and level_dbfs give",
        ),
        ("drive_v = 2.83\n", "", "drive_v: is missing: drive_v and full_scale_v go together"),
        ("full_scale_v = 28.3\n", "", "full_scale_v: is missing: drive_v and full_scale_v go together"),
        ("peak_dbfs = -20", "peak_dbfs = 0.1", "peak_dbfs: isn't from −200 to 0"),
        ("peak_dbfs = -20", "peak_dbfs = -19", "peak_dbfs: isn't the −20 dB of its level"),
        ('sha256 = "00', 'sha256 = "', "sha256: isn't 64 digits"),
        ('file = "stimulus', 'file = "../stimulus', "file: isn't the name of the sound file"),
        ("[sweep]", "[[sweep]]", "sweep: isn't a table"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(tmp_path: Path, old: str, new: str, told: str) -> None:
    text = sidecar_text(FACTS)
    assert old in text
    with pytest.raises(CaseError) as refused:
        read(tmp_path, text.replace(old, new))
    assert told in str(refused.value)
    assert str(refused.value).startswith("stimulus.toml, ")


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[20, 200, 2000]", "[20, 2000, 200]", "multitone.tones_hz: doesn't rise"),
        ("[20, 200, 2000]", "[]", "isn't a list of 1 to 400 numbers"),
        ("[20, 200, 2000]", "[20, 200, 24001]", "multitone.tones_hz: is above half the sample rate"),
        ("seed = 3", "seed = -1", "multitone.seed: isn't from 0"),
    ],
)
def test_multitones_that_cannot_be(tmp_path: Path, old: str, new: str, told: str) -> None:
    text = sidecar_text(dataclasses.replace(FACTS, signal=OTHERS[0]))
    assert old in text
    with pytest.raises(CaseError) as refused:
        read(tmp_path, text.replace(old, new))
    assert told in str(refused.value)


def refusal_of(path: Path) -> str:
    try:
        read_sidecar(path)
    except CaseError as refused:
        return str(refused)
    return "read"


LINES = sidecar_text(FACTS).split("\n")


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    where=st.integers(0, len(LINES) - 1),
    what=st.one_of(
        st.text(max_size=30),
        st.sampled_from(
            ["rate_s = inf", "sweep = 3", "[sweep.more]", "[[take]]", "x = [[[[1]]]]", "seed = 1e400"]
        ),
    ),
    instead=st.booleans(),
)
def test_whatever_stands_there_is_read_or_refused_in_one_line(
    tmp_path: Path, where: int, what: str, instead: bool
) -> None:
    lines = [*LINES[:where], what, *LINES[where + (1 if instead else 0) :]]
    (tmp_path / "s.toml").write_bytes("\n".join(lines).encode("utf-8", "surrogatepass"))
    line = refusal_of(tmp_path / "s.toml")
    assert "\n" not in line
    assert line.startswith(("s.toml", "read"))


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=400))
def test_bytes_are_refused_in_one_line(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "s.toml").write_bytes(data)
    with pytest.raises(CaseError) as refused:
        read_sidecar(tmp_path / "s.toml")
    assert "\n" not in str(refused.value)
