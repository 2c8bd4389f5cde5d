"""Text that no response can be read from for sure."""

from __future__ import annotations

from typing import Final

from hostile.refusal import Refusal, holding

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
        holding("20 80\n30 5000\n40 81\n"),
        "horizontal_+030_2.83V.txt: line 2: 5000 dB is no level; export it again",
    ),
    Refusal(
        "a frequency that stands there twice",
        holding("20 80\n30 81\n30 82\n40 81\n"),
        "horizontal_+030_2.83V.txt: line 3: 30 Hz stands there twice; export each frequency once",
    ),
    Refusal(
        "frequencies out of order",
        holding("20 80\n40 81\n30 82\n50 81\n"),
        "horizontal_+030_2.83V.txt: line 3: 30 Hz follows 40 Hz; export the rows in "
        "rising order of frequency",
    ),
    Refusal(
        "a negative frequency",
        holding("-20 80\n30 81\n40 81\n"),
        "horizontal_+030_2.83V.txt: line 1: -20 Hz is no audible frequency; leave that row out",
    ),
    Refusal(
        "decimal commas between commas",
        holding("20,5,80,3\n30,5,81,0\n40,5,82,1\n"),
        "horizontal_+030_2.83V.txt: line 1: may have decimal commas; export it with decimal points",
    ),
    Refusal(
        "rows of different length",
        holding("20 80\n30 81 5\n40 80\n"),
        "horizontal_+030_2.83V.txt: line 2: has 3 columns where the rows above have 2; export it again",
    ),
    Refusal(
        "one column",
        holding("20\n30\n40\n"),
        "horizontal_+030_2.83V.txt: line 1: has one column; export frequency and level side by side",
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
        "horizontal_+030_2.83V.txt: line 2: is not text; export it as plain text",
    ),
    Refusal(
        "a line without end",
        holding("20 80\n30 " + "1" * 200_000 + "\n"),
        "horizontal_+030_2.83V.txt: line 2: is longer than 1000 bytes; export it again",
    ),
    Refusal(
        "columns without end",
        holding("20 " + "80 " * 20_000 + "\n"),
        "horizontal_+030_2.83V.txt: line 1: is longer than 1000 bytes; export it again",
    ),
    Refusal(
        "lines without end",
        holding("20 80\n" * 2_000_000),
        "horizontal_+030_2.83V.txt: has more than 200000 lines; export fewer frequencies",
    ),
    Refusal(
        "one row",
        holding("20 80\n"),
        "horizontal_+030_2.83V.txt: has 1 rows of numbers; export at least two frequencies",
    ),
    Refusal(
        "comments and nothing else",
        holding("# nothing\n"),
        "horizontal_+030_2.83V.txt: has 0 rows of numbers; export at least two frequencies",
    ),
)
