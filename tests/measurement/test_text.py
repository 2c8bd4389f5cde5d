"""What the reader of text takes from files of many dialects; refusals stand in `test_text_refusals`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from earwitness.measurement.readers.contents import Contents, LevelUnit, MeasuredResponse, Source
from earwitness.measurement.readers.text import READER
from earwitness.records.takes import ReadOption

HZ = [20.0, 100.5, 20_000.0]
DB = [80.5, 86.0, -3.25]
ROWS = "20;80.5\n100.5;86\n2e4;-3.25\n"


def source(folder: Path, content: str | bytes, **options: ReadOption) -> Source:
    file = folder / "response.txt"
    file.write_bytes(content.encode() if isinstance(content, str) else content)
    return Source(file, "response.txt", tuple(options.items()))


def look(folder: Path, content: str | bytes, **options: ReadOption) -> Contents:
    return READER.look(source(folder, content, **options))


def read(folder: Path, content: str | bytes, selector: str = "", **options: ReadOption) -> MeasuredResponse:
    (found,) = READER.read(source(folder, content, **options), [selector])
    return found


def is_the_usual(found: MeasuredResponse) -> bool:
    return bool(found.frequency_hz.tolist() == HZ and found.level_db.tolist() == DB)


@pytest.mark.parametrize("separator", ["\t", " ", ",", ";", "|", ", ", " ; ", "   ", "\t ", " | "])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_columns(tmp_path: Path, separator: str, end: str) -> None:
    rows = [("Hz", "dB", "deg"), ("20", "80.5", "-90.0"), ("100.5", "+86", "10"), ("2e4", "-3.25", "1.5E1")]
    found = read(tmp_path, end.join(separator.join(row) for row in rows) + end)
    assert is_the_usual(found)
    assert found.phase_deg is not None
    assert found.phase_deg.tolist() == [-90.0, 10.0, 15.0]


@pytest.mark.parametrize(
    ("separator", "trailing"),
    [("\t", ""), (" ", ""), (";", ""), ("|", ""), (";", ";"), ("\t", "\t"), ("   ", " ")],
)
def test_decimal_commas(tmp_path: Path, separator: str, trailing: str) -> None:
    rows = [("20", "80,5"), ("100,5", "86"), ("2e4", "-3,25")]
    assert is_the_usual(read(tmp_path, "\n".join(separator.join(row) + trailing for row in rows)))


@pytest.mark.parametrize(
    "content",
    [
        ROWS.replace(";", ","),
        ROWS.replace("-", "−"),
        "".join(f'"{a}";"{b}"\n' for a, b in (line.split(";") for line in ROWS.split())),
        "\n\n" + ROWS.replace("\n", "\n\n"),
        "2e4;-3.25\n100.5;86\n20;80.5\n",
        "0;-200\n" + ROWS,
        "0.0;-inf-like\n".replace("-inf-like", "0") + ROWS,
    ],
)
def test_forms_of_the_same_rows(tmp_path: Path, content: str) -> None:
    assert is_the_usual(read(tmp_path, content))


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "latin-1"]
)
def test_encodings(tmp_path: Path, encoding: str) -> None:
    content = "# für 30° über der Achse\nFrequenz;Übertragung [dB]\n" + ROWS
    held = look(tmp_path, content.encode(encoding))
    assert held.words == ("für 30° über der Achse",)
    assert is_the_usual(read(tmp_path, content.encode(encoding)))


def test_utf_16_with_its_mark_in_either_order(tmp_path: Path) -> None:
    for order in ("utf-16-le", "utf-16-be"):
        assert is_the_usual(read(tmp_path, ("\ufeff" + ROWS).encode(order)))


@pytest.mark.parametrize(
    "above",
    [
        "* made by hand\n; one\n// two\n% three\n! four\n# five\n",
        "Date: 2.11.2026\nTime: 12:30:01\nGain=12\nDistance: 2\n",
        "2 way, 30 deg\n",
        "Frequenzgang, Pegel 94 dB\n",
        "Frequency response of the unit, 3rd sample\n",
        "-----------------\n",
        "Frequency (Hz), Level (dB)\n",
        "Frequency;Level\nHz;dB\n",
        '"Frequency [Hz]";"Level [dB]"\n',
        "Frequenz / Hz;Pegel / dB\n",
        "f/Hz\tL/dB\n",
        "# frequency in Hz, level in dB re 1 kHz\n",
        "freq_hz;gain_db\n",
        "Hz dB\n",
        "Frequency (Hz)   Level (dB)\n",
    ],
)
def test_what_stands_above_the_rows(tmp_path: Path, above: str) -> None:
    found = read(tmp_path, above + ROWS)
    assert is_the_usual(found)
    assert found.phase_deg is None
    assert found.unit is LevelUnit.DB


@pytest.mark.parametrize("below", ["# end\n", "End of data\n", "Total: 3\n", "\n\n"])
def test_what_stands_below_the_rows(tmp_path: Path, below: str) -> None:
    assert is_the_usual(read(tmp_path, ROWS + below))


def test_comments_among_the_rows(tmp_path: Path) -> None:
    assert is_the_usual(read(tmp_path, ROWS.replace("100.5", "# from here on in the room\n100.5")))


def test_words_are_told_without_the_headings(tmp_path: Path) -> None:
    held = look(
        tmp_path, "# Horizontal +30\nDrive: 2.83 V\nFreq [Hz];SPL -30° [dB]\n" + ROWS + "done by hand\n"
    )
    assert held.words == ("Horizontal +30", "Drive: 2.83 V", "done by hand")
    assert [(part.selector, part.words) for part in held.parts] == [("", "-30°")]


@pytest.mark.parametrize(
    ("heading", "unit", "level"),
    [
        ("dB", LevelUnit.DB, 6.0),
        ("SPL [dB]", LevelUnit.SPL, 6.0),
        ("Sound pressure level / dB", LevelUnit.SPL, 6.0),
        ("dB SPL", LevelUnit.SPL, 6.0),
        ("Level (dB re 20 µPa)", LevelUnit.SPL, 6.0),
        ("Level (dB re 20uPa)", LevelUnit.SPL, 6.0),
        ("Level (dB re 1 Pa)", LevelUnit.PASCAL, 6.0),
        ("H (dB re 1 Pa/V)", LevelUnit.PASCAL_PER_DRIVE, 6.0),
        # 20 µPa are −93.9794 dB re 1 Pa (FACTS §2: 20 lg 2e-5)
        ("H (dB SPL/V)", LevelUnit.PASCAL_PER_DRIVE, 6.0 - 93.979400),
        # 20 lg 6 = 15.5630 (computed by hand)
        ("Pressure (Pa)", LevelUnit.PASCAL, 15.563025),
        ("Pressure (mPa)", LevelUnit.PASCAL, 15.563025 - 60.0),
        ("Pressure [µPa]", LevelUnit.PASCAL, 15.563025 - 120.0),
        ("|H| (Pa/V)", LevelUnit.PASCAL_PER_DRIVE, 15.563025),
        ("|Z|", LevelUnit.OHM, 15.563025),
        ("Impedance (ohm)", LevelUnit.OHM, 15.563025),
        ("Impedanz [Ω]", LevelUnit.OHM, 15.563025),
        ("|Z| (kohm)", LevelUnit.OHM, 15.563025 + 60.0),
    ],
)
def test_units_of_levels(tmp_path: Path, heading: str, unit: LevelUnit, level: float) -> None:
    found = read(tmp_path, f"f [Hz]\t{heading}\n20\t6\n200\t6\n")
    assert found.unit is unit
    assert found.level_db == pytest.approx([level, level], abs=1e-6)


@pytest.mark.parametrize(
    "option", ["dB", "dB SPL", "dB re 20 µPa", "dB re 1 Pa", "dB re 1 Pa/V", "Pa", "Pa/V", "ohm"]
)
def test_stated_units_of_levels(tmp_path: Path, option: str) -> None:
    found = read(tmp_path, "20\t6\n200\t6\n", level=option)
    assert found.level_db == pytest.approx([6.0 if option.startswith("dB") else 15.563025] * 2, abs=1e-6)


def test_real_and_imaginary(tmp_path: Path) -> None:
    found = read(tmp_path, "Frequency (Hz), Real (Pa), Imag (Pa)\n20,3,4\n200,0,-2\n")
    # |3 + 4j| = 5, 20 lg 5 = 13.9794, atan 4/3 = 53.1301°; 20 lg 2 = 6.0206
    assert found.level_db == pytest.approx([13.979400, 6.020600], abs=1e-6)
    assert found.phase_deg == pytest.approx([53.130102, -90.0], abs=1e-6)
    assert found.unit is LevelUnit.PASCAL


def test_kilohertz(tmp_path: Path) -> None:
    rows = "0.02;80.5\n0.1005;86\n20;-3.25\n"
    assert is_the_usual(read(tmp_path, "f [kHz];L [dB]\n" + rows))
    assert is_the_usual(read(tmp_path, rows, frequency="kHz"))


def wrapped(per_hz: float, turn: float, start: float) -> tuple[np.ndarray, np.ndarray, str]:
    hz = np.linspace(20.0, 20_000.0, 2_000)
    phase = (-hz * per_hz - start) % turn + start
    rows = "\n".join(f"{f!r}\t80\t{p!r}" for f, p in zip(hz.tolist(), phase.tolist(), strict=True))
    return hz, phase, rows


@pytest.mark.parametrize("start", [-180.0, 0.0])
@pytest.mark.parametrize("heading", ["", "f\tSPL\tPhase\n", "f\tSPL\tPhase (deg)\n"])
def test_degrees_by_their_jumps_or_heading(tmp_path: Path, start: float, heading: str) -> None:
    _, phase, rows = wrapped(0.1, 360.0, start)
    found = read(tmp_path, heading + rows)
    assert found.phase_deg == pytest.approx(phase, abs=1e-9)


@pytest.mark.parametrize("heading", ["", "f\tSPL\tPhase\n", "f\tSPL\tPhase (rad)\n"])
def test_radians_by_their_jumps_or_heading(tmp_path: Path, heading: str) -> None:
    _, phase, rows = wrapped(0.002, 2.0 * np.pi, -np.pi)
    found = read(tmp_path, heading + rows)
    assert found.phase_deg == pytest.approx(np.rad2deg(phase), abs=1e-9)


def test_an_unwrapped_phase_by_its_heading_or_option(tmp_path: Path) -> None:
    rows = "20\t80\t-1\n200\t80\t-2\n2000\t80\t-11\n"
    for found in (read(tmp_path, "f\tSPL\tPhase\n" + rows, phase="rad"), read(tmp_path, rows, phase="rad")):
        # −1 rad = −57.2958°, −11 rad = −630.2536°
        assert found.phase_deg == pytest.approx([-57.295780, -114.591559, -630.253575], abs=1e-6)
    assert read(tmp_path, "f\tSPL\tPhase\n" + rows, phase="none").phase_deg is None


def test_columns_that_are_no_response_are_left_aside(tmp_path: Path) -> None:
    content = "f;SPL [dB];Coherence;THD [%]\n20;80.5;1;2\n100.5;86;1;2\n2e4;-3.25;1;2\n"
    assert is_the_usual(read(tmp_path, content))
    assert look(tmp_path, content).remark == "Hz, dB re 20 µPa; 2 columns left aside"


def test_the_frequency_may_stand_elsewhere(tmp_path: Path) -> None:
    assert is_the_usual(read(tmp_path, "Index\tFreq\tLevel\n1\t20\t80.5\n2\t100.5\t86\n3\t2e4\t-3.25\n"))


@pytest.mark.parametrize(
    ("heading", "expected"),
    [
        ("f [Hz]\t0\t10\t20", ["0", "10", "20"]),
        ("f [Hz]\t0 deg\t+10 deg\t-10 deg", ["0 deg", "+10 deg", "-10 deg"]),
        ("f [Hz]\tH 0 [dB]\tH -10 [dB]\tV +10 [dB]", ["H 0", "H -10", "V +10"]),
        ("f [Hz]\tSPL_H10\tSPL_H20\tSPL_H30", ["H10", "H20", "H30"]),
        ("Frequency\t0° (dB)\t30° (dB)\t60° (dB)", ["0°", "30°", "60°"]),
        # what hangs on to the number stays, since the hyphen may be a minus
        ("f\tSPL-10\tSPL-20\tSPL-30", ["SPL-10", "SPL-20", "SPL-30"]),
        ("f\tSPL - 10\tSPL - 20\tSPL - 30", ["SPL - 10", "SPL - 20", "SPL - 30"]),
        ("Angle\t0\t10\t20\nHz\tdB\tdB\tdB", ["0", "10", "20"]),
    ],
)
def test_a_wide_table(tmp_path: Path, heading: str, expected: list[str]) -> None:
    content = heading + "\n20\t80\t79\t78\n2000\t81\t77\t73\n"
    held = look(tmp_path, content)
    assert [part.words for part in held.parts] == expected
    assert [part.selector for part in held.parts] == expected
    levels = [r.level_db.tolist() for r in READER.read(source(tmp_path, content), expected[::-1])]
    assert levels == [[78.0, 73.0], [79.0, 77.0], [80.0, 81.0]]


@pytest.mark.parametrize(
    "heading",
    [
        "f\tSPL 0\tPhase 0 (deg)\tSPL 30\tPhase 30 (deg)",
        "f\t0 [dB]\t0 [deg]\t30 [dB]\t30 [deg]",
        "f\t0\tphase (deg)\t30\tphase (deg)",
        "\t0\t\t30\t\nHz\tdB\tdeg\tdB\tdeg",
        "Direction\t0\t0\t30\t30\nHz\tdB\tdeg\tdB\tdeg",
        "Direction\t0\t30\nFrequency\tLevel (dB)\tPhase (°)\tLevel (dB)\tPhase (°)",
    ],
)
def test_a_wide_table_of_pairs(tmp_path: Path, heading: str) -> None:
    content = heading + "\n20\t80\t1\t78\t2\n2000\t81\t3\t73\t4\n"
    assert [part.selector for part in look(tmp_path, content).parts] == ["0", "30"]
    ahead, aside = READER.read(source(tmp_path, content), ["0", "30"])
    assert (ahead.level_db.tolist(), aside.level_db.tolist()) == ([80.0, 81.0], [78.0, 73.0])
    assert ahead.phase_deg is not None
    assert aside.phase_deg is not None
    assert (ahead.phase_deg.tolist(), aside.phase_deg.tolist()) == ([1.0, 3.0], [2.0, 4.0])


def test_levels_first_and_phases_after(tmp_path: Path) -> None:
    content = "f;SPL 0;SPL 30;Phase 0 (°);Phase 30 (°)\n20;80;78;1;2\n2000;81;73;3;4\n"
    aside = read(tmp_path, content, "30")
    assert aside.level_db.tolist() == [78.0, 73.0]
    assert aside.phase_deg is not None
    assert aside.phase_deg.tolist() == [2.0, 4.0]


def test_columns_that_the_case_names(tmp_path: Path) -> None:
    content = "1 20 80.5 7 79\n2 100.5 86 7 79\n3 2e4 -3.25 7 79\n"
    assert is_the_usual(read(tmp_path, content, columns="-, frequency, level, -, -"))
    held = look(tmp_path, content, columns="-, frequency, level, -, level")
    assert [part.selector for part in held.parts] == ["column 3", "column 5"]


def test_lines_that_the_case_skips(tmp_path: Path) -> None:
    assert is_the_usual(read(tmp_path, "f [kHz]\n3 1 4\n" + ROWS, skip=2))


def test_three_decimals_throughout_are_decimals_where_the_case_says_so(tmp_path: Path) -> None:
    found = read(tmp_path, "Hz;dB\n20.000;80\n200.125;81\n", decimal=".")
    assert found.frequency_hz.tolist() == [20.0, 200.125]


def test_remark(tmp_path: Path) -> None:
    content = "Frequenz / Hz;Schalldruckpegel / dB;Phase / °\n2000;80,5;10\n200;86;20\n"
    held = look(tmp_path, content.encode("utf-16"))
    assert held.remark == "Hz, dB re 20 µPa, degrees; decimal commas; UTF-16; rows turned"


def test_a_folder_of_german_exports(tmp_path: Path) -> None:
    hz = [round(20.0 * 2.0 ** (k / 24.0), 3) for k in range(240)]
    for number in range(70):
        level = [round(80.0 + np.sin(k + number), 2) for k in range(240)]
        phase = [round((-0.05 * f + number + 180.0) % 360.0 - 180.0, 1) for f in hz]
        rows = "\r\n".join(f"{f};{y};{p}" for f, y, p in zip(hz, level, phase, strict=True)).replace(".", ",")
        title = f"Messung {number} vom 2.11.2026\r\nWinkel: {5 * number - 175}°\r\n"
        heading = title + "Frequenz / Hz;Pegel / dB;Phase / °\r\n"
        found = read(tmp_path, (heading + rows + "\r\n").encode("utf-16"))
        assert found.frequency_hz.tolist() == hz
        assert found.level_db.tolist() == level
        assert found.phase_deg is not None
        assert found.phase_deg.tolist() == phase
