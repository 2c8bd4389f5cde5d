"""What the reader of text refuses: each line names the file, the place, what is wrong and what to do."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest

from earwitness.measurement.readers import text
from earwitness.measurement.readers.contents import Source
from earwitness.measurement.readers.registry import look
from earwitness.measurement.readers.text import READER
from earwitness.measurement.readers.text_dialect import MAX_CELLS, MAX_COLUMNS
from earwitness.measurement.readers.text_lines import MAX_LINE_LENGTH, MAX_LINES, MAX_WORD_LINES
from earwitness.records.errors import ReadError
from earwitness.records.takes import ReadOption


@dataclass(frozen=True)
class Refused:
    """A file's content, what ``read`` states of it, and the refusal without the file's name."""

    content: str | bytes
    expected: str
    options: dict[str, ReadOption] = field(default_factory=dict)


JUMPING = "".join(f"{20 * k}\t80\t{(-200 * k) % 360 - 180}\n" for k in range(1, 60))
TURNING = "".join(f"{20 * k}\t80\t{(-40 * k) % 360 - 180}\n" for k in range(1, 60))
DEG_JUMPS = "".join(f"{20 * k},{(-40 * k) % 360 - 180}\n" for k in range(1, 60))
OPTION_FREQUENCY = 'state which, as in read = { frequency = "kHz" }'
OPTION_LEVEL = 'state which, as in read = { level = "dB SPL" }'
OPTION_PHASE = 'state read = { phase = "deg" }, "rad", or "none" if it is no phase'
OPTION_COLUMNS = 'state what its columns are, as in read = { columns = "frequency, level, phase" }'
AGAIN = "export it again, or make the line a comment"

REFUSED = {
    # characters
    "empty": Refused("", ": is empty; export or record it again"),
    "zero bytes": Refused("20 80\n30 81\x00\n", ", line 2: is not text; export it as plain text in UTF-8"),
    "control characters": Refused("20 80\n\x0720 81\n", ", line 2: is not text; export it as plain text"),
    "bytes of no character": Refused(
        b"20 80\n30 \x81\n",
        ", line 2: is not text in Windows-1252; export it as plain text in UTF-8 or UTF-16",
    ),
    "UTF-32": Refused(
        "20 80\n300 81\n".encode("utf-32"), ": is text in UTF-32; export it as UTF-8 or UTF-16"
    ),
    "UTF-16 cut short": Refused(
        "20 80\n300 81\n".encode("utf-16")[:-1],
        ", line 2: is not text in UTF-16; export it as plain text in UTF-8 or UTF-16",
    ),
    "zero bytes at both places": Refused(
        b"2\x000\x00\x008\x000", ", line 1: is not text; export it as plain text in UTF-8"
    ),
    "a stated encoding that its mark contradicts": Refused(
        "20 80\n300 81\n".encode("utf-16"),
        ": begins as utf-16-le does, where read.encoding says utf-8; "
        "take read.encoding out, or export the file again",
        {"encoding": "utf-8"},
    ),
    "a number in letters of a code page": Refused(
        b"20 80\n30 8\xb9\n400 81\n", f", line 2: '8¹' is not a number; {AGAIN}"
    ),
    # size
    "lines without end": Refused(
        "#\n" * (MAX_LINES + 1), f": has more than {MAX_LINES} lines; export fewer frequencies"
    ),
    "a line without end": Refused(
        "20 80\n" + "1" * (MAX_LINE_LENGTH + 1),
        f", line 2: is longer than {MAX_LINE_LENGTH} characters; export fewer columns",
    ),
    "columns without end": Refused(
        ("1 " * (MAX_COLUMNS + 1) + "\n") * 2,
        f": has {MAX_COLUMNS + 1} columns, more than {MAX_COLUMNS}; split it into several files",
    ),
    "numbers without end": Refused(
        ("1 " * 1000 + "\n") * 4300,
        f": holds 4300000 numbers, more than {MAX_CELLS}; split it, or export fewer frequencies",
    ),
    "words without end": Refused(
        "words\n" * (MAX_WORD_LINES + 1) + "20 80\n300 81\n",
        f": has {MAX_WORD_LINES + 1} lines of words, more than {MAX_WORD_LINES}; leave them out",
    ),
    "a number without end": Refused(
        "20 80\n30 " + "1" * 100 + "\n", f", line 2: '{'1' * 40}' is not a number; {AGAIN}"
    ),
    "a number beyond all bounds": Refused(
        "20 80\n300 1e999\n", ", line 2: holds a number beyond all bounds; export it again"
    ),
    # rows
    "no rows": Refused("# nothing\n", ": has 0 rows of numbers; export at least two frequencies"),
    "words only": Refused(
        "whatever\nthe meter says\n", ": has 0 rows of numbers; export at least two frequencies"
    ),
    "one row": Refused("20 80\n", ": has 1 row of numbers; export at least two frequencies"),
    "one column": Refused("20\n300\n", ", line 1: has one column; export frequency and level side by side"),
    "NaN": Refused("20 80\n30 nan\n400 81\n", f", line 2: 'nan' is not a number; {AGAIN}"),
    "NaN in the first row": Refused("nan 80\n30 81\n400 81\n", f", line 1: 'nan' is not a number; {AGAIN}"),
    "NaN in the last row": Refused("20 80\n30 81\n400 NaN\n", f", line 3: 'NaN' is not a number; {AGAIN}"),
    "infinity": Refused("20 80\n30 -inf\n400 81\n", f", line 2: '-inf' is not a number; {AGAIN}"),
    "a word for a level": Refused("20 80\n30 loud\n400 81\n", f", line 2: 'loud' is not a number; {AGAIN}"),
    "a word for a frequency": Refused("DC 80\n30 81\n400 81\n", f", line 1: 'DC' is not a number; {AGAIN}"),
    "an underscore in a number": Refused(
        "20 8_0\n30 81\n400 81\n", f", line 1: '8_0' is not a number; {AGAIN}"
    ),
    "words among the rows": Refused(
        "20 80\n30 81\nsecond pass\n20 80\n30 81\n", f", line 3: 'second' is not a number; {AGAIN}"
    ),
    "an empty cell": Refused(
        "20;80;1\n300;;1\n4000;80;1\n", ", line 2: has an empty cell; export a number in every cell"
    ),
    "an empty cell between tabs": Refused(
        "20\t80\t1\n300\t\t1\n4000\t80\t1\n", ", line 2: has an empty cell; export a number in every cell"
    ),
    "an empty column": Refused(
        "20\t\t1\n300\t\t1\n4000\t\t1\n", ", line 1: has an empty cell; export a number in every cell"
    ),
    "an empty first cell": Refused(
        "20;80\n;81\n4000;80\n", ", line 2: has an empty cell; export a number in every cell"
    ),
    "an empty first cell in the first row": Refused(
        ";80\n200;81\n4000;80\n", ", line 1: its first cell is empty; export the frequency in every row"
    ),
    "a row that is shorter": Refused(
        "20\t80\t1\n300\t81\n4000\t80\t1\n",
        ", line 2: has 2 columns where most rows have 3; "
        "export it again; lines above the rows can be left unread by read = { skip = … }",
    ),
    "a number above the rows": Refused(
        "512\n20\t80\n300\t81\n",
        ", line 1: has 1 column where most rows have 2; "
        "export it again; lines above the rows can be left unread by read = { skip = … }",
    ),
    # decimals and delimiters
    "decimal commas between commas": Refused(
        "20,5,80,3\n300,81,2\n",
        ", line 2: has 3 columns where most rows have 4; "
        "its decimals may be commas, like what parts its columns; "
        "export it with decimal points, or with semicolons between columns",
    ),
    "decimal commas between commas throughout": Refused(
        "20,5,80,3\n300,5,81,2\n", f": has 4 columns, and no heading that names them; {OPTION_COLUMNS}"
    ),
    "decimal commas between commas in one column": Refused(
        "20,80,3\n300,81,2\n4000,81,2\n",
        ": may have decimal commas, since commas part whole numbers and no heading names the columns; "
        f"export it with decimal points, or {OPTION_COLUMNS}",
    ),
    "decimal commas in quotes between commas": Refused(
        '"20,5","80,3"\n"300,5","81,2"\n',
        ", line 1: '\"20' is not a number; export it again with decimal points and nothing else",
    ),
    "commas that may be either": Refused(
        "20 ,5\n300 ,6\n",
        ": may have commas between columns and decimal points, or spaces between columns and decimal commas; "
        'state which, as in read = { delimiter = "comma" }',
    ),
    "points and commas": Refused(
        "20,5;80,1\n300.5;81\n",
        ", line 2: '300.5' has a point, where other numbers have decimal commas; "
        "export it again with decimal points and nothing else",
    ),
    "points of thousands": Refused(
        "20,5;80,1\n1.000,5;81\n",
        ", line 2: '1.000,5' may have a separator of thousands; "
        "export it again with decimal points and nothing else",
    ),
    "points that may be of thousands": Refused(
        "Hz;dB\n1.000;80\n200.000;81\n",
        ": may have separators of thousands in its frequencies, or three decimals in each; "
        'state read = { decimal = "." }, or export it without them',
    ),
    "commas that may be of thousands": Refused(
        "Hz;dB\n1,000;80\n200,000;81\n",
        ": may have separators of thousands in its frequencies, or three decimals in each; "
        'state read = { decimal = "," }, or export it without them',
    ),
    "apostrophes of thousands": Refused(
        "20;80\n1'000;81\n20'000;80\n",
        ", line 2: has a separator of thousands in its numbers; export it without one",
    ),
    "spaces of thousands": Refused(
        "20;80\n1 000;81\n20 000;80\n",
        ", line 2: '1 000' may have a separator of thousands; "
        "export it again with decimal points and nothing else",
    ),
    "a delimiter that isn't its own": Refused(
        "20;80\n300;81\n",
        ': can\'t be read with read.delimiter = "tab"; take that out of takes.toml, or correct it',
        {"delimiter": "tab"},
    ),
    "a decimal mark that isn't its own": Refused(
        "20;80,5\n300;81\n",
        ': can\'t be read with read.decimal = "."; take that out of takes.toml, or correct it',
        {"decimal": "."},
    ),
    "decimal commas stated beside commas": Refused(
        "20,80\n300,81\n",
        ": read.decimal is a comma, and so is read.delimiter; "
        "export it with decimal points or with semicolons",
        {"delimiter": "comma", "decimal": ","},
    ),
    # frequencies
    "a repeated frequency": Refused(
        "20 80\n300 81\n300 82\n",
        ", line 3: the frequency 300 stands there twice; export each frequency once",
    ),
    "unordered frequencies": Refused(
        "20 80\n300 81\n25 82\n400 81\n",
        ", line 3: the frequency 25 follows 300; export the rows in rising order of frequency",
    ),
    "a negative frequency": Refused(
        "20 80\n-30 81\n400 81\n", ", line 2: -30 is no frequency; leave that row out"
    ),
    "0 Hz and one row": Refused(
        "0 80\n400 81\n", ": has 1 row of numbers above 0 Hz; export at least two frequencies"
    ),
    "Hz or kHz": Refused(
        "0.02 80\n20 81\n", f": its frequencies from 0.02 to 20 may be in Hz or kHz; {OPTION_FREQUENCY}"
    ),
    "a heading in Hz over kHz": Refused(
        "Hz dB\n0.02 80\n20 81\n",
        ": its frequencies from 0.02 to 20 can't be in Hz, as the heading 'Hz' says; "
        'state read = { frequency = "kHz" } if that is their unit',
    ),
    "kHz stated of Hz": Refused(
        "20 80\n20000 81\n",
        ": its frequencies from 20 to 20000 can't be in kHz, as read.frequency says; "
        'state read = { frequency = "Hz" } if that is their unit',
        {"frequency": "kHz"},
    ),
    "kHz stated against its heading": Refused(
        "Hz dB\n2 80\n200 81\n",
        ": its frequencies are headed 'Hz', where read.frequency says kHz; "
        "correct read.frequency in takes.toml",
        {"frequency": "kHz"},
    ),
    "no loudspeaker's frequencies": Refused(
        "20 80\n30 81\n",
        ": its frequencies from 20 to 30 are no loudspeaker's, in Hz or kHz; export it again",
    ),
    # levels
    "dB or pascals": Refused(
        "20 0.5\n2000 1.5\n", f": its values from 0.5 to 1.5 may be dB or a linear magnitude; {OPTION_LEVEL}"
    ),
    "dB or ohms": Refused(
        "20 6\n200 32\n2000 8\n", f": its values from 6 to 32 may be dB or a linear magnitude; {OPTION_LEVEL}"
    ),
    "dB or millipascals": Refused(
        "20 300\n2000 410\n", f": its values from 300 to 410 may be dB or a linear magnitude; {OPTION_LEVEL}"
    ),
    "levels that are a phase": Refused(
        DEG_JUMPS,
        ": column 2 may be a phase: it runs from -180 to 140; "
        'state read = { columns = "frequency, level, phase" } or what it holds',
    ),
    "real and imaginary parts without a unit": Refused(
        "f,Re,Im\n20,1,1\n2000,2,1\n",
        ': the unit of its real and imaginary parts isn\'t said; state it, as in read = { level = "Pa" }',
    ),
    "a level that is none": Refused(
        "Hz dB\n20 80\n200 5000\n", ", line 3: 5000 dB is no level; export it again"
    ),
    "a magnitude of zero": Refused(
        "Hz Pa\n20 1\n200 0\n",
        ", line 3: a magnitude of 0 Pa has no level; export it again, or leave that row out",
    ),
    "a negative magnitude": Refused(
        "20 1\n200 -1\n",
        ", line 2: a magnitude of -1 Pa has no level; export it again, or leave that row out",
        {"level": "Pa"},
    ),
    "a unit stated against its heading": Refused(
        "Hz Pa\n20 1\n200 2\n",
        ": its levels are headed 'Pa', where read.level says dB; correct read.level in takes.toml",
        {"level": "dB"},
    ),
    "a weighted level": Refused(
        "Hz;dB(A)\n20;80\n200;81\n",
        ": has no column of levels; 'dB(A)' is in no unit that is read; "
        "export a level or magnitude, in dB, Pa, Pa/V or ohm",
    ),
    "volts": Refused(
        "f;Output [mV]\n20;80\n200;81\n",
        ": has no column of levels; 'Output [mV]' is in no unit that is read; "
        "export a level or magnitude, in dB, Pa, Pa/V or ohm",
    ),
    # phases
    "a third column that may be anything": Refused(
        "20 80 1\n200 80 0.9\n2000 80 0.7\n", f": column 3 may be a phase or anything else; {OPTION_PHASE}"
    ),
    "a phase that turns too fast to be proven": Refused(
        JUMPING, f": column 3 may be a phase or anything else; {OPTION_PHASE}"
    ),
    "degrees or radians": Refused(
        "f;SPL;Phase\n20;80;-1\n2000;80;-2\n",
        f": the column 'Phase' may be in degrees or radians; {OPTION_PHASE}",
    ),
    "radians that are degrees": Refused(
        "f\tSPL\tPhase [rad]\n" + TURNING,
        ": its phase is said to be in rad, and jumps as one in deg does; "
        "export it again, or correct read.phase in takes.toml",
    ),
    "radians stated of degrees": Refused(
        "f\tSPL\tPhase [deg]\n" + TURNING,
        ": its phase is headed 'Phase [deg]', where read.phase says rad; correct read.phase in takes.toml",
        {"phase": "rad"},
    ),
    # columns
    "columns without a heading": Refused(
        "20 80 1 2\n300 81 1 2\n", f": has 4 columns, and no heading that names them; {OPTION_COLUMNS}"
    ),
    "a heading of other columns": Refused(
        "Frequency; Level; Phase; Coherence\n20;80;-1\n300;81;1\n",
        f", line 1: looks like a heading of other than the 3 columns that the rows have; {OPTION_COLUMNS}",
    ),
    "a column that nothing tells": Refused(
        "f;SPL;thing\n20;80;1\n300;81;1\n", f": its column 'thing' isn't told; {OPTION_COLUMNS}"
    ),
    "two levels of one direction": Refused(
        "f;SPL 0;Level 0\n20;80;81\n300;81;80\n",
        f": 'SPL 0' and 'Level 0' don't make up one response; {OPTION_COLUMNS}",
    ),
    "a phase without a level": Refused(
        "f;SPL 0;Phase 10 (°)\n20;80;81\n300;81;80\n",
        f": 'Phase 10 (°)' has no level beside it; {OPTION_COLUMNS}",
    ),
    "directions in different units": Refused(
        "f;0° [dB];10° [Pa]\n20;80;0.1\n300;81;0.2\n",
        ": '0° [dB]' and '10° [Pa]' have different units; export all columns in one unit",
    ),
    "phases in different units": Refused(
        "f;SPL 0;Phase 0 [deg];SPL 1;Phase 1 [rad]\n20;80;1;80;1\n300;81;1;80;1\n",
        ": its phases have different units; export all columns in one unit",
    ),
    "a direction unlike the others": Refused(
        "f;0;10;20\n20;80;79;1\n300;81;80;-1\n",
        ": column 4 can't be the level of one more direction; "
        "name what it is in its heading, or leave it aside: read = { columns = … }",
    ),
    "a column of levels that is none": Refused(
        "f;Phase [°]\n20;1\n300;2\n", f": 'Phase [°]' has no level beside it; {OPTION_COLUMNS}"
    ),
    "columns stated for other columns": Refused(
        "20 80 1\n300 81 1\n",
        ': has 3 columns, where read.columns names 2; name each column, with "-" for one that is left aside',
        {"columns": "frequency, level"},
    ),
    "columns stated against their heading": Refused(
        "f;Phase;SPL\n20;1;80\n300;1;80\n",
        ": column 2 is headed 'Phase', where read.columns says level; correct read.columns in takes.toml",
        {"columns": "frequency, level, phase"},
    ),
    "columns stated by unknown words": Refused(
        "20 80\n300 81\n",
        ": read.columns can't hold 'loudness'; "
        "give the columns from the left, each one of frequency, level, phase, real, imaginary, -",
        {"columns": "frequency, loudness"},
    ),
    "two frequencies stated": Refused(
        "20 80\n300 81\n",
        ': read.columns names 2 columns of frequency; name one, as in "frequency, level"',
        {"columns": "frequency, frequency"},
    ),
    "an option that can't be": Refused(
        "20 80\n300 81\n", ": read.phase can't be 'grad'; state one of deg, rad, none", {"phase": "grad"}
    ),
    "lines to skip that can't be": Refused(
        "20 80\n300 81\n", ": read.skip can't be '2'; state a number of lines from 0 to 10000", {"skip": "2"}
    ),
    "an option of another kind of file": Refused(
        "20 80\n300 81\n",
        ": read.decimals is no option of a text file; did you mean decimal?",
        {"decimals": ","},
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_refusals(tmp_path: Path, case: str) -> None:
    refused = REFUSED[case]
    file = tmp_path / "response.txt"
    file.write_bytes(refused.content.encode() if isinstance(refused.content, str) else refused.content)
    with pytest.raises(ReadError) as error:
        look(Source(file, "response.txt", tuple(refused.options.items())))
    assert str(error.value) == f"response.txt{refused.expected}"


def test_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(text, "MAX_BYTES", 100)
    file = tmp_path / "large.txt"
    file.write_bytes(b"#" * 101)
    with pytest.raises(ReadError, match="MiB"):
        READER.look(Source(file, "large.txt"))


def test_no_regular_file(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="not a regular file"):
        READER.look(Source(tmp_path, "folder.txt"))
    with pytest.raises(ReadError, match="can't be opened"):
        READER.look(Source(tmp_path / "missing.txt", "missing.txt"))


def test_no_such_part(tmp_path: Path) -> None:
    file = tmp_path / "wide.txt"
    file.write_text("f;0;10\n20;80;79\n2000;81;80\n")
    with pytest.raises(ReadError, match="has no part '20'"):
        READER.read(Source(file, "wide.txt"), ["20"])
    with pytest.raises(ReadError, match="has no part ''"):
        READER.read(Source(file, "wide.txt"), [""])
