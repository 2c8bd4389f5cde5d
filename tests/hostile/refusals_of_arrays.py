"""Arrays in HDF5 and MATLAB files of which nobody says for sure what they are."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import h5py
import numpy as np
import scipy.io
from hostile.refusal import Make, Refusal, holding
from hostile.refusals_of_takes import entry

HDF5: Final = "arrays_2.83V.h5"
MATLAB: Final = "arrays_2.83V.mat"
HERTZ: Final = 20.0 * 2.0 ** np.arange(0.0, 10.0, 0.25)
LEVEL: Final = np.full((2, HERTZ.size), 80.0)


def _hdf5(change: Callable[[h5py.File], object] = lambda _: None) -> Make:
    def make(folder: Path) -> Path:
        with h5py.File(folder / HDF5, "w") as file:
            file["f"], file["level"], file["az"] = HERTZ, LEVEL, np.array([0.0, 30.0])
            change(file)
        return folder / HDF5

    return make


def _matlab(changes: Mapping[str, Any], part: float = 1.0) -> Make:
    def make(folder: Path) -> Path:
        path = folder / MATLAB
        scipy.io.savemat(path, {"f": HERTZ, "level": LEVEL} | dict(changes))
        content = path.read_bytes()
        path.write_bytes(content[: int(part * len(content))])
        return path

    return make


def _linked_elsewhere(file: h5py.File) -> None:
    file["elsewhere"] = h5py.ExternalLink("/etc/passwd", "/data")


def _mapped(file: str, **more: str) -> str:
    """An entry for all parts of such a file, with options of its own."""
    options = {
        "frequency": '"f"',
        "level": '"level"',
        "unit": '"dB SPL"',
        "azimuth": '"az"',
        "elevation": "0",
    }
    read = ", ".join(f"{key} = {value}" for key, value in (options | more).items())
    return entry('selector = "*"', 'drive = "2.83 V"', f"read = {{ {read} }}", file=file)


ARRAYS: Final = (
    Refusal(
        "HDF5 arrays with a link to another file",
        _hdf5(_linked_elsewhere),
        "arrays_2.83V.h5: elsewhere: leads to another file; export plain arrays into one file",
    ),
    Refusal(
        "HDF5 arrays, and nobody says what they are",
        _hdf5(),
        "arrays_2.83V.h5: what its arrays are isn't stated: az (2), f (40), level (2 × "
        '40); state it, as in read = { frequency = "f", level = "level", unit = "…", '
        'azimuth = "az", elevation = 0 }',
    ),
    Refusal(
        "an array that isn't there",
        _hdf5(),
        "arrays_2.83V.h5: read.level: there is no array 'levels'; did you mean level?",
        takes=_mapped(HDF5, level='"levels"'),
    ),
    Refusal(
        "a unit that isn't one",
        _hdf5(),
        "arrays_2.83V.h5: read.unit can't be 'loud'; state one of dB, dB SPL, "
        "dB re 20 µPa, dB re 1 Pa, dB re 1 Pa/V, dB re 1 ohm, Pa, Pa/V, Pa per unit of drive, ohm, 1",
        takes=_mapped(HDF5, unit='"loud"'),
    ),
    Refusal(
        "arrays that don't go together",
        _hdf5(lambda f: f.update({"short": HERTZ[:7]})),
        "arrays_2.83V.h5: read.frequency: level has 2 × 40 entries for 7 frequencies; "
        "name the frequencies that belong to it",
        takes=_mapped(HDF5, frequency='"short"', frequency_unit='"Hz"'),
    ),
    Refusal(
        "a level that is no number",
        _hdf5(lambda f: f["level"].__setitem__((1, 7), np.nan)),
        "arrays_2.83V.h5: level, response 2, 67.2717 Hz: is not a number; export it again",
        takes=_mapped(HDF5),
    ),
    Refusal(
        "frequencies out of order",
        _hdf5(lambda f: f["f"].__setitem__(3, 999.0)),
        "arrays_2.83V.h5: f, entry 5: 40 Hz follows 999 Hz; export each frequency once, in order",
        takes=_mapped(HDF5),
    ),
    Refusal(
        "two responses in one direction",
        _hdf5(lambda f: f["az"].__setitem__(1, 360.0)),
        "arrays_2.83V.h5: has two responses at azimuth 0°, elevation 0° ('1' and '2'); correct its "
        "positions, or leave them out and write an entry for each in takes.toml",
        takes=_mapped(HDF5),
    ),
    Refusal(
        "MATLAB arrays, and nobody says what they are",
        _matlab({}),
        "arrays_2.83V.mat: what its arrays are isn't stated: f (1 × 40), level (2 × "
        '40); state it, as in read = { frequency = "f", level = "level", unit = "…" }',
    ),
    Refusal(
        "real and imaginary parts in one array",
        _hdf5(),
        "arrays_2.83V.h5: read.imaginary: level is stated as real and as imaginary; "
        "name the array that holds each",
        takes=entry(
            'selector = "*"',
            'drive = "2.83 V"',
            'read = { frequency = "f", real = "level", imaginary = "level", unit = "Pa" }',
            file=HDF5,
        ),
    ),
    Refusal(
        "degrees that are called radians",
        _hdf5(lambda file: file.update(p=-40.0 * (np.arange(HERTZ.size) % 9.0) + 180.0 + 0.0 * LEVEL)),
        "arrays_2.83V.h5: p, response 1: is said to be in rad, and jumps as a phase in deg does; "
        "export it again, or correct read.phase_unit",
        takes=entry(
            'selector = "*"',
            'drive = "2.83 V"',
            'read = { frequency = "f", level = "level", phase = "p", unit = "dB", phase_unit = "rad" }',
            file=HDF5,
        ),
    ),
    Refusal(
        "a MATLAB file that was cut short",
        _matlab({}, 0.6),
        "arrays_2.83V.mat: byte 504: is cut short or damaged; copy the whole file again",
    ),
    Refusal(
        "text that is called MATLAB",
        holding("20 80\n30 81\n", MATLAB),
        "arrays_2.83V.mat: is no MATLAB file of level 5 (level 4 isn't read); save it "
        "with -v7, or export it as text",
    ),
)
