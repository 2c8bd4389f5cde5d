"""Text that no response can be read from for sure."""

from __future__ import annotations

from typing import Final

from hostile.refusal import Make, Refusal, holding
from hostile.refusals_of_takes import DIRECTED, entry

HERTZ: Final = [20.0 * 1.1**k for k in range(70)]


def _rows(form: str, heading: str = "", skip: int = 0) -> str:
    """Seventy rows in which ``{f}`` is the frequency and ``{x}`` a level of 80."""
    rows = "".join(form.format(f=f, x=80.0, k=k) + "\n" for k, f in enumerate(HERTZ[skip:]))
    return f"{heading}\n{rows}" if heading else rows


def _text(form: str, heading: str = "", skip: int = 0) -> Make:
    return holding(_rows(form, heading, skip))


def _read(option: str) -> str:
    return entry(*DIRECTED, f"read = {{ {option} }}")


TEXT: Final = (
    Refusal(
        "a level that is no number",
        holding("20 80\n30 nan\n40 81\n"),
        "horizontal_+030_2.83V.txt: line 2: 'nan' is not a number; export it again, or "
        "make the line a comment",
    ),
    Refusal(
        "an infinite level",
        holding("20 80\n30 inf\n40 81\n"),
        "horizontal_+030_2.83V.txt: line 2: 'inf' is not a number; export it again, or "
        "make the line a comment",
    ),
    Refusal(
        "a level that no loudspeaker has",
        holding("Hz dB\n20 80\n30 5000\n40 81\n"),
        "horizontal_+030_2.83V.txt: line 3: 5000 dB is no level; export it again",
    ),
    Refusal(
        "a magnitude of nothing",
        holding("Hz Pa\n20 1\n30 0\n40 1\n"),
        "horizontal_+030_2.83V.txt: line 3: a magnitude of 0 Pa has no level; export it "
        "again, or leave that row out",
    ),
    Refusal(
        "a frequency that stands there twice",
        holding("20 80\n30 81\n30 82\n40 81\n"),
        "horizontal_+030_2.83V.txt: line 3: the frequency 30 stands there twice; export each frequency once",
    ),
    Refusal(
        "frequencies out of order",
        holding("20 80\n40 81\n30 82\n50 81\n"),
        "horizontal_+030_2.83V.txt: line 3: the frequency 30 follows 40; export the "
        "rows in rising order of frequency",
    ),
    Refusal(
        "a negative frequency",
        holding("-20 80\n30 81\n40 81\n"),
        "horizontal_+030_2.83V.txt: line 1: -20 is no frequency; leave that row out",
    ),
    Refusal(
        "frequencies that may be Hz or kHz",
        _text("{k}.5 {x}", skip=50),
        "horizontal_+030_2.83V.txt: its frequencies from 0.5 to 19.5 may be in Hz or "
        'kHz; state which, as in read = { frequency = "kHz" }',
    ),
    Refusal(
        "values that may be dB or a magnitude",
        _text("{f:.2f} 5.0"),
        "horizontal_+030_2.83V.txt: its values from 5 to 5 may be dB or a linear "
        'magnitude; state which, as in read = { level = "dB SPL" }',
    ),
    Refusal(
        "a phase that may be degrees or radians",
        _text("{f:.2f} {x} 0.5"),
        "horizontal_+030_2.83V.txt: column 3 may be a phase or anything else; state "
        'read = { phase = "deg" }, "rad", or "none" if it is no phase',
    ),
    Refusal(
        "decimal commas between commas",
        _text("{k},5,80,3"),
        "horizontal_+030_2.83V.txt: has 4 columns, and no heading that names them; "
        'state what its columns are, as in read = { columns = "frequency, level, phase" '
        "}",
    ),
    Refusal(
        "decimal commas stated between commas",
        holding(_rows("{f:.2f};{x}")),
        "horizontal_+030_2.83V.txt: read.decimal is a comma, and so is read.delimiter; "
        "export it with decimal points or with semicolons",
        takes=_read('decimal = ",", delimiter = "comma"'),
    ),
    Refusal(
        "separators of thousands",
        _text("1,{k:03d}.5;{x}"),
        "horizontal_+030_2.83V.txt: line 1: '1,000.5' may have a separator of "
        "thousands; export it again with decimal points and nothing else",
    ),
    Refusal(
        "rows of different length",
        holding("20 80\n30 81 5\n40 80\n"),
        "horizontal_+030_2.83V.txt: line 2: has 3 columns where most rows have 2; "
        "export it again; lines above the rows can be left unread by read = { skip = … "
        "}",
    ),
    Refusal(
        "an empty cell",
        holding("20;80\n30;\n40;80\n"),
        "horizontal_+030_2.83V.txt: line 2: has an empty cell; export a number in every cell",
    ),
    Refusal(
        "one column",
        holding("20\n30\n40\n"),
        "horizontal_+030_2.83V.txt: line 1: has one column; export frequency and level side by side",
    ),
    Refusal(
        "columns that nobody names",
        _text("{f:.2f} {x} {x} {x} {x}"),
        "horizontal_+030_2.83V.txt: has 5 columns, and no heading that names them; "
        'state what its columns are, as in read = { columns = "frequency, level, phase" '
        "}",
    ),
    Refusal(
        "two columns of one direction",
        _text("{f:.2f};{x};{x}", "Hz;+30 deg dB;+30 deg dB"),
        "horizontal_+030_2.83V.txt: '+30 deg dB' and '+30 deg dB' don't make up one "
        'response; state what its columns are, as in read = { columns = "frequency, '
        'level, phase" }',
    ),
    Refusal(
        "a heading that says otherwise than the case",
        _text("{k}.5;{x}", "kHz;dB", skip=50),
        "horizontal_+030_2.83V.txt: its frequencies from 0.5 to 19.5 can't be in Hz, as "
        'read.frequency says; state read = { frequency = "kHz" } if that is their unit',
        takes=_read('frequency = "Hz"'),
    ),
    Refusal(
        "an option that can't be",
        _text("{f:.2f} {x}"),
        "horizontal_+030_2.83V.txt: read.level can't be 'loud'; state one of dB, dB "
        "SPL, dB re 20 µPa, dB re 1 Pa, dB re 1 Pa/V, dB re 1 ohm, Pa, Pa/V, Pa per unit of drive, ohm, 1",
        takes=_read('level = "loud"'),
    ),
    Refusal(
        "words among the rows",
        holding("20 80\nthe end\n30 81\n"),
        "horizontal_+030_2.83V.txt: line 2: 'the' is not a number; export it again, or "
        "make the line a comment",
    ),
    Refusal(
        "bytes that are no text",
        holding(b"20 80\n30 81\x00\n40 81\n"),
        "horizontal_+030_2.83V.txt: line 2: is not text; export it as plain text in UTF-8",
    ),
    Refusal(
        "text in UTF-32",
        holding("20 80\n30 81\n".encode("utf-32")),
        "horizontal_+030_2.83V.txt: is text in UTF-32; export it as UTF-8 or UTF-16",
    ),
    Refusal(
        "UTF-16 that was cut short",
        holding("20 80\n30 81\n40 82\n".encode("utf-16")[:-1]),
        "horizontal_+030_2.83V.txt: line 3: is not text in UTF-16; export it as plain "
        "text in UTF-8 or UTF-16",
    ),
    Refusal(
        "a line without end",
        holding("20 80\n30 " + "1" * 200_000 + "\n"),
        "horizontal_+030_2.83V.txt: line 2: is longer than 65536 characters; export fewer columns",
    ),
    Refusal(
        "columns without end",
        holding(("20 " + "80 " * 15_000 + "\n") * 2),
        "horizontal_+030_2.83V.txt: has 15001 columns, more than 1024; split it into several files",
    ),
    Refusal(
        "lines without end",
        holding("20 80\n" * 2_000_000),
        "horizontal_+030_2.83V.txt: has more than 210000 lines; export fewer frequencies",
    ),
    Refusal(
        "one row",
        holding("20 80\n"),
        "horizontal_+030_2.83V.txt: has 1 row of numbers; export at least two frequencies",
    ),
    Refusal(
        "comments and nothing else",
        holding("# nothing\n"),
        "horizontal_+030_2.83V.txt: has 0 rows of numbers; export at least two frequencies",
    ),
    Refusal(
        "levels over angular frequency",
        _text("{f:.2f}\t{x}", "w (rad/s)\tSPL (dB)"),
        "horizontal_+030_2.83V.txt: line 1: 'w (rad/s)' is no frequency in Hz or kHz; "
        "export it over frequency",
    ),
    Refusal(
        "levels over time",
        _text("{f:.2f}\t{x}", "# Time [ms]\tETC [dB]"),
        "horizontal_+030_2.83V.txt: line 1: 'Time [ms]' is no frequency in Hz or kHz; "
        "export it over frequency",
    ),
    Refusal(
        "frequencies in a unit that isn't read",
        _text("{f:.2f}\t{x}", "Frequency [mHz]\tSPL [dB]"),
        "horizontal_+030_2.83V.txt: line 1: 'Frequency [mHz]' is no frequency in Hz or kHz; "
        "export it over frequency",
    ),
    Refusal(
        "headings that name no frequency",
        _text("{f:.2f}\t{x}", "Name\tSPL [dB]"),
        "horizontal_+030_2.83V.txt: line 1: looks like a heading, and none of its columns is a frequency; "
        'state what its columns are, as in read = { columns = "frequency, level, phase" }',
    ),
    Refusal(
        "squared pascals",
        _text("{f:.2f}\t{x}", "f [Hz]\tp [Pa^2]"),
        "horizontal_+030_2.83V.txt: has no column of levels; 'p [Pa^2]' is in no unit that is read; "
        "export a level or magnitude, in dB, Pa, Pa/V or ohm",
    ),
    Refusal(
        "a level that was normalised",
        _text("{f:.2f}\t{x}", "f [Hz]\tSPL [dB] normalized"),
        "horizontal_+030_2.83V.txt: 'SPL [dB] normalized' says 'normalized', which no measured level is; "
        'export the measured one, or state read = { columns = "frequency, level" } if it is that',
    ),
    Refusal(
        "real and imaginary parts in decibels",
        _text("{f:.2f}\t{x}\t{x}", "f [Hz]\tRe\tIm"),
        "horizontal_+030_2.83V.txt: read.level says dB SPL, which real and imaginary parts can't be in; "
        'state their unit, as in read = { level = "Pa" }',
        takes=_read('level = "dB SPL"'),
    ),
    Refusal(
        "gons that are called degrees",
        holding(
            "Hz\tdB\tPhase [Grad]\n"
            + "".join(f"{f:.2f}\t80\t{(-40.0 * k) % 400.0 - 200.0:.1f}\n" for k, f in enumerate(HERTZ))
        ),
        "horizontal_+030_2.83V.txt: its phase is said to be in deg, and jumps as one in gon does; "
        "export it again, or correct read.phase in takes.toml",
    ),
)
