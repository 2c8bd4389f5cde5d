"""AES69, HDF5 and MATLAB files that lead elsewhere, lie about their size, or can't be told for sure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import h5py
import numpy as np
import scipy.io
from hostile.refusal import Make, Refusal, holding

SPHERE: Final = "sphere_2.83V.sofa"
ARRAYS: Final = "arrays_2.83V.h5"
MATLAB: Final = "arrays_2.83V.mat"
AZIMUTH_DEG: Final = np.arange(0.0, 360.0, 30.0)
HERTZ: Final = 20.0 * 2.0 ** np.arange(0.0, 10.0, 0.25)
PRESSURE: Final = np.full((1, AZIMUTH_DEG.size, HERTZ.size), 0.1)

Change = Callable[[h5py.File], object]


def _sphere(change: Change = lambda _: None) -> Make:
    """Twelve directions on the horizontal orbit, and what is changed in them."""

    def make(folder: Path) -> Path:
        with h5py.File(folder / SPHERE, "w") as file:
            file.attrs.update(
                {
                    "Conventions": "SOFA",
                    "SOFAConventions": "FreeFieldDirectivityTF",
                    "SOFAConventionsVersion": "1.1",
                    "DataType": "TF",
                }
            )
            around = np.c_[AZIMUTH_DEG, np.zeros(AZIMUTH_DEG.size), np.full(AZIMUTH_DEG.size, 2.0)]
            _array(file, "ReceiverPosition", around, Type="spherical", Units="degree, degree, metre")
            _array(file, "N", HERTZ, Units="hertz")
            _array(file, "Data.Real", PRESSURE, Units="pascal")
            _array(file, "Data.Imag", np.zeros_like(PRESSURE), Units="pascal")
            change(file)
        return folder / SPHERE

    return make


def _array(file: h5py.File, name: str, values: Any, **attributes: str) -> None:
    if name in file:
        attributes = dict(file[name].attrs) | attributes
        del file[name]
    file.create_dataset(name, data=values).attrs.update(attributes)


def _arrays(change: Change) -> Make:
    def make(folder: Path) -> Path:
        with h5py.File(folder / ARRAYS, "w") as file:
            file["f"], file["level"] = HERTZ, np.full((2, HERTZ.size), 80.0)
            change(file)
        return folder / ARRAYS

    return make


def _linked_elsewhere(file: h5py.File) -> None:
    file["elsewhere"] = h5py.ExternalLink("/etc/passwd", "/data")


def _stored_elsewhere(file: h5py.File) -> None:
    file.create_dataset("outside", (40,), np.float64, external=[("/etc/passwd", 0, 320)])


def _virtual(file: h5py.File) -> None:
    layout = h5py.VirtualLayout((40,), np.float64)
    layout[:] = h5py.VirtualSource("/etc/passwd", "data", (40,))
    file.create_virtual_dataset("together", layout)


def _endless(file: h5py.File) -> None:
    """Two thirds of a terabyte that take no room."""
    for part in ("Real", "Imag"):
        del file[f"Data.{part}"]
        file.create_dataset(f"Data.{part}", (10**6, 12, 10_000), np.float64, chunks=(1, 1, 1_000))


def _saved(arrays: Mapping[str, Any]) -> Make:
    def make(folder: Path) -> Path:
        scipy.io.savemat(folder / MATLAB, dict(arrays))
        return folder / MATLAB

    return make


def _cut(make: Make, part: float) -> Make:
    def cut(folder: Path) -> Path:
        path = make(folder)
        content = path.read_bytes()
        path.write_bytes(content[: int(part * len(content))])
        return path

    return cut


def _with(values: np.ndarray[Any, Any], place: tuple[int, ...], value: float) -> np.ndarray[Any, Any]:
    changed = values.copy()
    changed[place] = value
    return changed


CONTAINERS: Final = (
    Refusal(
        "AES69 with a link to another file",
        _sphere(_linked_elsewhere),
        "sphere_2.83V.sofa: elsewhere: leads to another file; export plain arrays into one file",
    ),
    Refusal(
        "AES69 whose data lie in another file",
        _sphere(_stored_elsewhere),
        "sphere_2.83V.sofa: outside: has its data in another file; export plain arrays into one file",
    ),
    Refusal(
        "AES69 put together from other files",
        _sphere(_virtual),
        "sphere_2.83V.sofa: together: is put together from other arrays; export plain arrays into one file",
    ),
    Refusal(
        "AES69 with a link in itself",
        _sphere(lambda f: f.update({"again": h5py.SoftLink("/N")})),
        "sphere_2.83V.sofa: again: is a link and no array; export plain arrays into one file",
    ),
    Refusal(
        "AES69 that declares more than is read",
        _sphere(_endless),
        "sphere_2.83V.sofa: Data.Real: has 12000000 responses of 10000 frequencies; "
        "export up to 20000 of 2 to 131072",
    ),
    Refusal(
        "AES69 that was cut short",
        _cut(_sphere(), 0.5),
        "sphere_2.83V.sofa: can't be read as HDF5: it is damaged, cut short or "
        "something else; copy or export it again",
    ),
    Refusal(
        "text that is called AES69",
        holding("20 80\n30 81\n", SPHERE),
        "sphere_2.83V.sofa: can't be read as HDF5: it is damaged, cut short or "
        "something else; copy or export it again",
    ),
    Refusal(
        "AES69 with a value that is no number",
        _sphere(lambda f: _array(f, "Data.Real", _with(PRESSURE, (0, 3, 7), np.nan))),
        "sphere_2.83V.sofa: az 90 el 0: isn't a number; measure or export it again",
    ),
    Refusal(
        "AES69 with a silent direction",
        _sphere(lambda f: _array(f, "Data.Real", _with(PRESSURE, (0, 3), 0.0))),
        "sphere_2.83V.sofa: az 90 el 0: is silent; measure or export it again",
    ),
    Refusal(
        "AES69 with a frequency twice",
        _sphere(lambda f: _array(f, "N", _with(HERTZ, (8,), HERTZ[7]))),
        "sphere_2.83V.sofa: N: 67.2717 Hz follows 67.2717 Hz; export the frequencies in rising order",
    ),
    Refusal(
        "AES69 with frequencies out of order",
        _sphere(lambda f: _array(f, "N", HERTZ[::-1])),
        "sphere_2.83V.sofa: N: 14481.5 Hz follows 17221.6 Hz; export the frequencies in rising order",
    ),
    Refusal(
        "AES69 that doesn't say what its data are in",
        _sphere(lambda f: f["Data.Real"].attrs.__delitem__("Units")),
        "sphere_2.83V.sofa: Data.Real: doesn't say what its data are in; state it, as "
        'in read = { level = "Pa" }',
    ),
    Refusal(
        "AES69 with the same direction twice",
        _sphere(lambda f: _array(f, "ReceiverPosition", np.tile([30.0, 0.0, 2.0], (AZIMUTH_DEG.size, 1)))),
        "sphere_2.83V.sofa: has 12 responses at az 30 el 0, and doesn't say in what "
        'they differ; state read.drives, as in "1 V, 2.83 V", or read.repeats = true',
    ),
    Refusal(
        "AES69 of another convention",
        _sphere(lambda f: f.attrs.__setitem__("SOFAConventions", "SimpleFreeFieldHRIR")),
        "sphere_2.83V.sofa: SOFAConventions: follows the convention "
        "'SimpleFreeFieldHRIR' (TF); export it as FreeFieldDirectivityTF",
    ),
    Refusal(
        "HDF5 arrays with a link to another file",
        _arrays(_linked_elsewhere),
        "arrays_2.83V.h5: elsewhere: leads to another file; export plain arrays into one file",
    ),
    Refusal(
        "HDF5 arrays, and nobody says what they are",
        _arrays(lambda _: None),
        "arrays_2.83V.h5: what its arrays are isn't stated: f (40), level (2 × 40); "
        'state it, as in read = { frequency = "f", level = "level", unit = "…" }',
    ),
    Refusal(
        "MATLAB arrays, and nobody says what they are",
        _saved({"f": HERTZ, "level": HERTZ}),
        "arrays_2.83V.mat: what its arrays are isn't stated: f (1 × 40), level (1 × "
        '40); state it, as in read = { frequency = "f", level = "f", unit = "…" }',
    ),
    Refusal(
        "a MATLAB file that was cut short",
        _cut(_saved({"f": HERTZ, "level": HERTZ}), 0.6),
        "arrays_2.83V.mat: byte 504: is cut short or damaged; copy the whole file again",
    ),
    Refusal(
        "text that is called MATLAB",
        holding("20 80\n30 81\n", MATLAB),
        "arrays_2.83V.mat: is no MATLAB file of level 5 (level 4 isn't read); save it "
        "with -v7, or export it as text",
    ),
)
