"""What files' names and ``takes.toml`` can't mean."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from hostile.refusal import Make, Refusal, holding
from hostile.refusals_of_sources import ROWS

NAME: Final = "horizontal_+030_2.83V.txt"


def _together(*names: str) -> Make:
    def make(folder: Path) -> Path:
        (folder / "session").mkdir()
        for name in names:
            holding(ROWS, name)(folder / "session")
        return folder / "session"

    return make


def entry(*lines: str, file: str = NAME) -> str:
    """An entry for the file, with those lines more."""
    return "\n".join(["[[take]]", f'file = "{file}"', 'kind = "response"', *lines, ""])


DIRECTED: Final = ('orbit = "horizontal"', "angle_deg = 30", 'drive = "2.83 V"')

TAKES: Final = (
    Refusal(
        "the same take in two files",
        _together(NAME, f"again {NAME}"),
        "horizontal_+030_2.83V.txt: would be the same take as raw/again "
        "horizontal_+030_2.83V.txt (response, horizontal +30°, 2.83 V); name it as a "
        "repeat (…_repeat2), or remove the other's entry from takes.toml",
    ),
    Refusal(
        "a sign that isn't said",
        holding(ROWS, "horizontal_030_2.83V.txt"),
        "horizontal_030_2.83V.txt: the sign of 30° isn't said: + is the loudspeaker's "
        "left, or upward; rename it, or write its entry in takes.toml first",
    ),
    Refusal(
        "a plane that isn't said",
        holding(ROWS, "+030_2.83V.txt"),
        "+030_2.83V.txt: the plane isn't said: horizontal or vertical; rename it, or "
        "write its entry in takes.toml first",
    ),
    Refusal(
        "a drive that isn't said",
        holding(ROWS, "horizontal_+030.txt"),
        "horizontal_+030.txt: the drive isn't said, as in 2.83V; rename it, or write "
        "its entry in takes.toml first; --drive states a drive for all",
    ),
    Refusal(
        "two angles in a name",
        holding(ROWS, "horizontal_+030_+040_2.83V.txt"),
        "horizontal_+030_+040_2.83V.txt: more than one angle may be in the name; rename "
        "it, or write its entry in takes.toml first",
    ),
    Refusal(
        "an entry for a file that isn't there",
        holding(ROWS),
        "takes.toml, line 2, take.1.file: raw/horizontal_+03_2.83V.txt isn't there; did "
        "you mean horizontal_+030_2.83V.txt?",
        takes=entry(file="horizontal_+03_2.83V.txt"),
    ),
    Refusal(
        "a field that no take has",
        holding(ROWS),
        "takes.toml, line 4, take.1.angel_deg: is no field of a take; did you mean angle_deg?",
        takes=entry("angel_deg = 30"),
    ),
    Refusal(
        "an angle beyond a half turn",
        holding(ROWS),
        "takes.toml, line 5, take.1.angle_deg: isn't from −180 to 180; count degrees "
        "from the axis, to both sides",
        takes=entry(DIRECTED[0], "angle_deg = 270"),
    ),
    Refusal(
        "an option that its reader doesn't have",
        holding(ROWS),
        "horizontal_+030_2.83V.txt: read.frequencies is no option of a text file; did you mean frequency?",
        takes=entry(*DIRECTED, 'read = { frequencies = "kHz" }'),
    ),
    Refusal(
        "a reader that isn't there",
        holding(ROWS),
        "horizontal_+030_2.83V.txt: there is no reader 'tape'; the readers are audio, "
        "aes69, netcdf, matlab, hdf5_arrays, text",
        takes=entry(*DIRECTED, 'read = { reader = "tape" }'),
    ),
    Refusal(
        "an option that is a list",
        holding(ROWS),
        "takes.toml, line 7, take.1.read: columns is neither text, a number nor true or "
        "false; state one of these, on one line",
        takes=entry(*DIRECTED, "read = { columns = [1, 2] }"),
    ),
    Refusal(
        "a part that the file doesn't have",
        holding(ROWS),
        "horizontal_+030_2.83V.txt#left: has no part 'left'; correct its selector in "
        "takes.toml; `add` shows the parts",
        takes=entry(*DIRECTED, 'selector = "left"'),
    ),
    Refusal(
        "every part of a file that doesn't say where they are",
        holding(ROWS),
        "horizontal_+030_2.83V.txt: doesn't say in which direction its part '' was "
        "measured; give each part an entry of its own in takes.toml, with selector, "
        "orbit and angle_deg",
        takes=entry('selector = "*"', 'drive = "2.83 V"'),
    ),
    Refusal(
        "two entries for one file",
        holding(ROWS),
        "takes.toml, line 7, take.2: raw/horizontal_+030_2.83V.txt has two entries; remove one of them",
        takes=entry(*DIRECTED) + entry(*DIRECTED),
    ),
    Refusal(
        "a rule with a placeholder that there isn't",
        holding(ROWS),
        "takes.toml, line 2, rule.1.files: '{plane}' is no placeholder; the "
        "placeholders are {orbit}, {angle}, {azimuth}, {elevation}, {distance}, {drive}, {radiator}, "
        "{repeat}",
        takes='[[rule]]\nfiles = "{plane}_{angle}*"\nkind = "response"\n',
    ),
    Refusal(
        "two rules for one file",
        holding(ROWS),
        "takes.toml, line 4, rule.2: raw/horizontal_+030_2.83V.txt matches "
        "{orbit}_{angle}_{drive}.txt as well; narrow one of them, or give the file an "
        "entry of its own",
        takes='[[rule]]\nfiles = "{orbit}_{angle}_{drive}.txt"\nkind = "response"\n' * 2,
    ),
)
