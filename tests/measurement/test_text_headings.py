"""Headings that say that their column is something else than what is read: refused, never read past."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from earwitness.measurement.readers.contents import Contents, LevelUnit, MeasuredResponse, Source
from earwitness.measurement.readers.text import READER
from earwitness.measurement.recognition.words import DERIVED, DERIVED_IN_LINES
from earwitness.records.errors import ReadError
from earwitness.records.takes import ReadOption

ROWS = "".join(f"{20 * 2**k}\t{80 + k % 3}\n" for k in range(10))
#: 60 rows whose phase falls by a tenth of a turn a row, at 360, 2π or 400 a turn.
TURNS = {"deg": 360.0, "rad": 2.0 * math.pi, "gon": 400.0}


def source(folder: Path, content: str, **options: ReadOption) -> Source:
    file = folder / "response.txt"
    file.write_text(content, encoding="utf-8")
    return Source(file, "response.txt", tuple(options.items()))


def look(folder: Path, content: str, **options: ReadOption) -> Contents:
    return READER.look(source(folder, content, **options))


def read(folder: Path, content: str, **options: ReadOption) -> MeasuredResponse:
    (found,) = READER.read(source(folder, content, **options), [""])
    return found


def refusal(folder: Path, content: str, **options: ReadOption) -> str:
    with pytest.raises(ReadError) as error:
        look(folder, content, **options)
    return str(error.value)


def wrapped(unit: str, heading: str = "") -> str:
    turn = TURNS[unit]
    return heading + "".join(
        f"{20 * k}\t80\t{(-0.1 * turn * k) % turn - turn / 2:.6f}\n" for k in range(1, 60)
    )


NOT_FREQUENCY = [
    "w (rad/s)\tSPL (dB)",
    "ω [1/s]\tSPL [dB]",
    "omega\tLevel",
    "t\tp",
    "Time [ms]\tETC [dB]",
    "Time (s)\tValue",
    "Zeit [ms]\tPegel [dB]",
    "Winkel\tPegel / dB",
    "Angle [deg]\tSPL [dB]",
    "Distance [mm]\tLevel",
    "Sample\tLevel",
    "Sample\tValue",
    "Period [us]\tSPL [dB]",
    "Voltage [mV]\tSPL [dB]",
    "rpm\tSPL [dB]",
    "Kreisfrequenz [1/s]\tPegel [dB]",
    "Wavelength [m]\tSPL [dB]",
    "ka\tdB",
    "Name\tdB",
    "Time\tLevel\nms\tdB",
    "Omega\tLevel\nrad/s\tdB",
    "Time\tLevel\n\tdB",
    "Time [ms], ETC [dB]",
    "Time [ms]; ETC [dB]",
    "omega [rad/s]  SPL [dB]",
    "w (rad/s)\tSPL (dB)\n-----\t-----",
    "w (rad/s)\tSPL (dB)\tPhase (deg)",
    "Time [ms]\tETC [dB]\tEnergy [dB]",
]
OTHER_FREQUENCIES = [
    "Angular frequency\tSPL [dB]",
    "Angular frequency [Hz]\tSPL [dB]",
    "Frequency [MHz]\tSPL [dB]",
    "Frequency [mHz]\tSPL [dB]",
    "Frequency / MHz\tSPL / dB",
    "Frequency\tSPL\nMHz\tdB",
    "Frequency\tSPL\nrad/s\tdB",
    "Frequency\tSPL\n1/s\tdB",
    "Normalised frequency\tSPL [dB]",
    "log10 frequency\tSPL [dB]",
    "log(f)\tSPL [dB]",
    "lg f\tSPL [dB]",
    "Frequency [octaves]\tSPL [dB]",
    "Frequency [1/s]\tSPL [dB]",
    "Frequency [rad/s]\tSPL [dB]",
    "Frequency bin\tSPL [dB]",
    "Frequency * 2 pi\tSPL [dB]",
    "Frequency² [Hz]\tSPL [dB]",
    "Hz²\tSPL [dB]",
    "Hz/1000\tSPL [dB]",
]


@pytest.mark.parametrize("mark", ["", "# ", "% "])
@pytest.mark.parametrize("heading", NOT_FREQUENCY + OTHER_FREQUENCIES)
def test_a_first_column_that_is_no_frequency(tmp_path: Path, heading: str, mark: str) -> None:
    lines = "\n".join(mark + line for line in heading.split("\n"))
    assert refusal(tmp_path, lines + "\n" + ROWS).startswith("response.txt")


def test_a_first_column_without_a_heading(tmp_path: Path) -> None:
    refusal(tmp_path, "\tSPL [dB]\n" + ROWS)


@pytest.mark.parametrize("heading", OTHER_FREQUENCIES[:5] + NOT_FREQUENCY[:5])
def test_what_the_first_column_is_can_not_be_stated_away(tmp_path: Path, heading: str) -> None:
    refusal(tmp_path, heading + "\n" + ROWS, columns="frequency, level", frequency="Hz", level="dB")


def test_the_refusal_of_another_first_column(tmp_path: Path) -> None:
    assert refusal(tmp_path, "w (rad/s)\tSPL (dB)\n" + ROWS) == (
        "response.txt, line 1: 'w (rad/s)' is no frequency in Hz or kHz; export it over frequency"
    )
    assert refusal(tmp_path, "# Frequency [MHz]\tSPL (dB)\n" + ROWS) == (
        "response.txt, line 1: 'Frequency [MHz]' is no frequency in Hz or kHz; export it over frequency"
    )
    assert refusal(tmp_path, "Name\tSPL (dB)\n" + ROWS) == (
        "response.txt, line 1: looks like a heading, and none of its columns is a frequency; "
        'state what its columns are, as in read = { columns = "frequency, level, phase" }'
    )


def test_a_first_column_that_says_nothing_can_be_stated(tmp_path: Path) -> None:
    found = read(tmp_path, "Name\tSPL (dB)\n" + ROWS, columns="frequency, level")
    assert (found.frequency_hz[0], found.level_db[0], found.unit) == (20.0, 80.0, LevelUnit.SPL)


@pytest.mark.parametrize(
    "heading",
    [
        "Frequency",
        "frequency in Hz",
        "Freq. [Hz]",
        "freq_hz",
        "f",
        "f/Hz",
        "f in Hz",
        "f_Hz",
        "Hz",
        "hz",
        "HZ",
        "(Hz)",
        "Frequenz / Hz",
        "Frequenz in Hz",
        "Frequenz, Hz",
        "Fréquence (Hz)",
        "Frecuencia [Hz]",
        "Frequenza [Hz]",
        "Centre frequency [Hz]",
        "Frequency_(Hz)",
        "Frequency: Hz",
    ],
)
def test_frequencies_that_are_read(tmp_path: Path, heading: str) -> None:
    found = read(tmp_path, heading + "\tSPL [dB]\n" + ROWS)
    assert (found.frequency_hz[0], found.frequency_hz[-1]) == (20.0, 10_240.0)


@pytest.mark.parametrize(
    "title",
    [
        "Frequenzgang, Pegel 94 dB",
        "2 way, 30 deg",
        "SPL horizontal",
        "; 94 dB = 1 Pa",
        "Level: 94 dB",
        "Messung 3",
        "Operator\tSomeone",
        "Measured in the garden, at 1 m",
    ],
)
def test_titles_are_no_headings(tmp_path: Path, title: str) -> None:
    found = read(tmp_path, title + "\n" + ROWS)
    assert found.frequency_hz[0] == 20.0
    assert read(tmp_path, title + "\nf [Hz]\tL [dB]\n" + ROWS).level_db[0] == 80.0


@pytest.mark.parametrize(
    "unit",
    [
        "[Pa^2]",
        "[Pa²]",
        "/ Pa²",
        "/ Pa^2",
        "[Pa*Pa]",
        "[Pa peak]",
        "[Pa pk-pk]",
        "[Pa/W]",
        "[Pa/V²]",
        "[Pa·m]",
        "[Pa m]",
        "[Pa @ 1 m]",
        "[1/Pa]",
        "[V/Pa]",
        "V/Pa",
        "[dB peak]",
        "[dB/oct]",
        "dB/oct",
        "[dB re 1 W]",
        "[dB re 1 pW]",
        "[dB SPL peak]",
        "[dB SPL/W]",
        "[dB re 1 V]",
        "[dB/10]",
        "[0.1 dB]",
        "[ohm^2]",
        "[ohm m]",
        "{Pa peak}",
        "(Pa, peak)",
    ],
)
def test_what_stands_beside_a_unit_in_its_brackets(tmp_path: Path, unit: str) -> None:
    assert "is in no unit that is read" in refusal(tmp_path, f"f [Hz]\tp {unit}\n" + ROWS)
    assert "is in no unit that is read" in refusal(tmp_path, f"f\tp\nHz\t{unit}\n" + ROWS) or unit[0] != "["


@pytest.mark.parametrize(
    "heading", ["p [Pa rms]", "p (in Pa)", "p [Pa]", "30° [Pa]", "p [ Pa ]", "p (Pa) rms", "H 10 [Pa]"]
)
def test_what_changes_no_unit(tmp_path: Path, heading: str) -> None:
    found = read(tmp_path, f"f [Hz]\t{heading}\n" + ROWS)
    # 20 lg 80 = 38.0618
    assert found.level_db[0] == pytest.approx(38.061800, abs=1e-6)


MADE_OF_IT = [
    "SPL [dB] normalized",
    "SPL normiert [dB]",
    "SPL [dB] rel. 1 kHz",
    "SPL [dB re 1 kHz]",
    "SPL [dB] smoothed",
    "Pegel geglättet [dB]",
    "SPL smoothing 1/3 oct [dB]",
    "SPL offset [dB]",
    "Mean SPL [dB]",
    "Average level [dB]",
    "SPL difference [dB]",
    "Target [dB]",
    "SPL simulated [dB]",
    *(f"SPL {word} [dB]" for word in sorted(DERIVED | DERIVED_IN_LINES)),
]
OTHER_QUANTITIES = [
    "sound power [dB]",
    "Lw [dB]",
    "LW [dB]",
    "Schallleistungspegel [dB]",
    "minimum phase SPL [dB]",
    "A-weighted SPL [dB]",
    "Intensity level [dB]",
    "Directivity index [dB]",
    "Decay [dB]",
    "ETC [dB]",
]


@pytest.mark.parametrize("heading", MADE_OF_IT + OTHER_QUANTITIES)
def test_levels_that_are_made_of_others(tmp_path: Path, heading: str) -> None:
    refusal(tmp_path, f"Frequency [Hz]\t{heading}\n" + ROWS)


def test_a_level_that_is_made_of_others_stands_beside_a_measured_one(tmp_path: Path) -> None:
    rows = "".join(f"{20 * 2**k}\t80\t{k}\n" for k in range(10))
    found = read(tmp_path, "f [Hz]\tSPL [dB]\tSPL smoothed [dB]\n" + rows)
    assert set(found.level_db) == {80.0}


def test_the_case_may_say_that_a_derived_level_is_meant(tmp_path: Path) -> None:
    content = "f [Hz]\tGain [dB] normalized\n" + ROWS
    assert refusal(tmp_path, content) == (
        "response.txt: 'Gain [dB] normalized' says 'normalized', which no measured level is; "
        'export the measured one, or state read = { columns = "frequency, level" } if it is that'
    )
    found = read(tmp_path, content, columns="frequency, level")
    assert (found.level_db[0], found.unit) == (80.0, LevelUnit.DB)
    refusal(tmp_path, "f [Hz]\tsound power [dB]\n" + ROWS, columns="frequency, level")


@pytest.mark.parametrize("heading", ["f,Re,Im\n", ""])
def test_real_and_imaginary_parts_are_no_decibels(tmp_path: Path, heading: str) -> None:
    content = heading + "20,1,1\n2000,2,1\n"
    columns = {"columns": "frequency, real, imaginary"}
    assert refusal(tmp_path, content, **columns) == (
        "response.txt: the unit of its real and imaginary parts isn't said; "
        'state it, as in read = { level = "Pa" }'
    )
    assert refusal(tmp_path, content, **columns, level="dB SPL") == (
        "response.txt: read.level says dB SPL, which real and imaginary parts can't be in; "
        'state their unit, as in read = { level = "Pa" }'
    )
    # |1 + j| = √2: 3.0103 dB
    assert read(tmp_path, content, **columns, level="Pa").level_db[0] == pytest.approx(3.010300, abs=1e-6)


@pytest.mark.parametrize("word", ["Grad", "grad", "°", "deg"])
def test_degrees_in_german(tmp_path: Path, word: str) -> None:
    found = read(tmp_path, wrapped("deg", f"Frequenz [Hz]\tPegel [dB]\tPhase [{word}]\n"))
    assert found.phase_deg is not None
    assert found.phase_deg[:2] == pytest.approx([144.0, 108.0])


def test_a_phase_that_is_said_to_be_in_gons_is_left_aside(tmp_path: Path) -> None:
    assert read(tmp_path, wrapped("gon", "Frequenz [Hz]\tPegel [dB]\tPhase [gon]\n")).phase_deg is None


@pytest.mark.parametrize("heading", ["Phase [Grad]", "Phase [grad]", "Phase", "Phase [rad]"])
def test_gons_are_no_degrees(tmp_path: Path, heading: str) -> None:
    content = wrapped("gon", f"Frequenz [Hz]\tPegel [dB]\t{heading}\n")
    refusal(tmp_path, content)
    refusal(tmp_path, content, phase="deg")


def test_gons_without_a_heading(tmp_path: Path) -> None:
    refusal(tmp_path, wrapped("gon"))
    assert "jumps as one in gon does" in refusal(tmp_path, wrapped("gon"), phase="deg")
