"""What a file holds goes only where it is meant."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.io import savemat

from earwitness.measurement.readers.signals import read_responses, read_sounds
from earwitness.records.errors import ReadError
from earwitness.records.takes import ON_AXIS, Drive, Take, TakeKey, TakeKind

OHMS = "frequency [Hz];impedance [ohm]\n20;7.5\n1000;8\n20000;12\n"


def test_ohms_are_no_sound_pressure(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(OHMS, encoding="utf-8")
    response = Take("a.csv", TakeKey(TakeKind.RESPONSE, ON_AXIS, Drive(2.83)))
    with pytest.raises(ReadError, match=r"^a.csv: holds an impedance in ohms, and is meant as response; "):
        read_responses(tmp_path, [response])
    (impedance,) = read_responses(tmp_path, [Take("a.csv", TakeKey(TakeKind.IMPEDANCE))])
    np.testing.assert_allclose(10.0 ** (impedance.level_db / 20.0), [7.5, 8.0, 12.0], rtol=1e-12)


def test_sound_and_responses_are_told_apart(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(OHMS, encoding="utf-8")
    soundfile.write(tmp_path / "b.wav", 0.5 * np.sin(np.arange(4800) * 0.1), 48_000)
    with pytest.raises(ReadError, match=r"^a.csv: holds a response, and is meant as noise; "):
        read_sounds(tmp_path, [Take("a.csv", TakeKey(TakeKind.NOISE))])
    with pytest.raises(ReadError, match=r"^b.wav: holds sound, and is meant as impedance; "):
        read_responses(tmp_path, [Take("b.wav", TakeKey(TakeKind.IMPEDANCE))])


@pytest.mark.parametrize(("reader", "option"), [("a.mat", "unit"), ("a.txt", "level")])
def test_a_ratio_is_no_sound_pressure(tmp_path: Path, reader: str, option: str) -> None:
    savemat(tmp_path / "a.mat", {"f": [20.0, 1000.0, 20000.0], "p": [1.0, 10.0, 0.1]})
    (tmp_path / "a.txt").write_text("20 1\n1000 10\n20000 0.1\n", encoding="utf-8")
    arrays = (("frequency", "f"), ("frequency_unit", "Hz"), ("level", "p")) if option == "unit" else ()
    read = (*arrays, (option, "1"))
    response = Take(reader, TakeKey(TakeKind.RESPONSE, ON_AXIS, Drive(2.83)), read=read)
    with pytest.raises(
        ReadError,
        match=rf"^{reader}: holds a ratio, and is meant as response; correct its kind or read.{option}",
    ):
        read_responses(tmp_path, [response])
    microphone = Take(reader, TakeKey(TakeKind.MICROPHONE_CALIBRATION), read=read)
    (found,) = read_responses(tmp_path, [microphone])
    np.testing.assert_allclose(found.level_db, [0.0, 20.0, -20.0], atol=1e-12)
