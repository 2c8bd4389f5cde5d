"""AES69 files, our own responses and HDF5 that can't be read for sure, or that lead elsewhere."""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import h5py
import numpy as np
from aes69_files import Aes69, grid, sphere
from hostile.refusal import Make, Refusal

HZ: Final = np.arange(100.0, 1_001.0, 100.0)
NAME: Final = "sphere_2.83V.sofa"
ROWS: Final = "responses_2.83V.nc"
CARTESIAN: Final = {"Type": "cartesian", "Units": "metre"}
SPHERICAL: Final = {"Type": "spherical", "Units": "degree, degree, metre"}
WHOLE: Final = sphere(grid(90.0), hz=HZ)


def made(file: Aes69) -> Make:
    """An AES69 file."""
    return lambda folder: file.write(folder / NAME)


def changed(**what: Any) -> Make:
    """An AES69 file of six directions with some fields replaced."""
    return made(replace(WHOLE, **what))


def with_variable(
    name: str, values: Any, attributes: dict[str, str], dims: tuple[str, ...] = ("R", "C")
) -> Make:
    """One with a variable replaced."""
    return changed(changes={name: (dims, np.asarray(values), attributes)})


def with_pressure(change: Callable[[Any], None]) -> Make:
    """One with its pressures changed."""
    pressure = WHOLE.pressure.copy()
    change(pressure)
    return changed(pressure=pressure)


def edited(change: Callable[[h5py.File, Path], None], name: str = NAME) -> Make:
    """A whole AES69 file, or an empty HDF5 one of another name, that something was done to."""

    def make(folder: Path) -> Path:
        path = folder / name
        if name == NAME:
            WHOLE.write(path)
        with h5py.File(path, "a") as file:
            change(file, folder)
        return path

    return make


def _silence(pressure: Any) -> None:
    pressure[0, 1] = 0.0


def _hole(pressure: Any) -> None:
    pressure[0, 1, 4] = 0.0


def _no_number(pressure: Any) -> None:
    pressure[0, 1, 4] = np.nan


def _loud(pressure: Any) -> None:
    pressure[0, 1, 4] = 1e30


def _external_link(file: h5py.File, folder: Path) -> None:
    with h5py.File(folder / "elsewhere.h5", "w") as other:
        other["x"] = np.arange(3.0)
    file["Other"] = h5py.ExternalLink(str(folder / "elsewhere.h5"), "x")


def _soft_link(file: h5py.File, _folder: Path) -> None:
    file["Other"] = h5py.SoftLink("/N")


def _external_data(file: h5py.File, folder: Path) -> None:
    (folder / "elsewhere.bin").write_bytes(bytes(80))
    file.create_dataset("Other", (10,), "f8", external=[(str(folder / "elsewhere.bin"), 0, 80)])


def _virtual(file: h5py.File, _folder: Path) -> None:
    layout = h5py.VirtualLayout((10,), "f8")
    layout[:] = h5py.VirtualSource(file["N"])
    file.create_virtual_dataset("Other", layout)


def _compound(file: h5py.File, _folder: Path) -> None:
    file["Other"] = np.zeros(3, dtype=[("a", "f8"), ("b", "i4")])


def _reference(file: h5py.File, _folder: Path) -> None:
    file.create_dataset("Other", data=[file["N"].ref], dtype=h5py.ref_dtype)


def _ragged(file: h5py.File, _folder: Path) -> None:
    file.create_dataset("Other", (3,), h5py.vlen_dtype(np.float64))


def _named_type(file: h5py.File, _folder: Path) -> None:
    file["Other"] = np.dtype("f8")


def _packing(file: h5py.File, _folder: Path) -> None:
    file.create_dataset("Other", data=np.zeros(100), compression="lzf")


def _deep(file: h5py.File, _folder: Path) -> None:
    file.create_group("/".join("g" * 20))


def _many(file: h5py.File, _folder: Path) -> None:
    group = file.create_group("many")
    for i in range(10_001):
        group[str(i)] = h5py.SoftLink("/N")


def _vast(file: h5py.File, _folder: Path) -> None:
    del file["Data.Real"], file["Data.Imag"]
    for name in ("Data.Real", "Data.Imag"):
        file.create_dataset(name, (1, 6, 2**40), "f8", chunks=(1, 6, 1_000), compression="gzip")


def _vast_positions(file: h5py.File, _folder: Path) -> None:
    for name in ("Data.Real", "Data.Imag", "N"):
        del file[name]
    for name in ("Data.Real", "Data.Imag"):
        file.create_dataset(name, (1, 6, 10), "f8")
    frequencies = file.create_dataset("N", (2**40,), "f8", chunks=(1_000,), compression="gzip")
    frequencies.attrs["Units"] = "hertz"


def _no_frequencies(file: h5py.File, _folder: Path) -> None:
    del file["N"]


def _few_frequencies(file: h5py.File, _folder: Path) -> None:
    del file["N"]
    file["N"] = HZ[:2]
    file["N"].attrs["Units"] = "hertz"


def _bomb(file: h5py.File, _folder: Path) -> None:
    """Pieces that say they hold 80 bytes and grow to 64 MiB."""
    del file["N"]
    frequencies = file.create_dataset("N", (10,), "f8", chunks=(10,), compression="gzip")
    frequencies.id.write_direct_chunk((0,), zlib.compress(bytes(2**26)))
    frequencies.attrs["Units"] = "hertz"


def _cut_short(folder: Path) -> Path:
    path = WHOLE.write(folder / NAME)
    path.write_bytes(path.read_bytes()[:4_000])
    return path


def _something_before(folder: Path) -> Path:
    path = folder / NAME
    with h5py.File(path, "w", userblock_size=512):
        pass
    return path


def _text(folder: Path) -> Path:
    path = folder / NAME
    path.write_text("frequency level\n20 80\n30 81\n")
    return path


ELSEWHERE: Final = "export plain arrays into one file"
BROKEN: Final = "can't be read as HDF5: it is damaged, cut short or something else; copy or export it again"

HDF5: Final = (
    Refusal("HDF5 in name only", _text, f"{NAME}: {BROKEN}"),
    Refusal("HDF5 that is cut short", _cut_short, f"{NAME}: {BROKEN}"),
    Refusal(
        "something before the HDF5 part",
        _something_before,
        f"{NAME}: has 512 bytes of something else before its data; {ELSEWHERE}",
    ),
    Refusal(
        "a link to another file", edited(_external_link), f"{NAME}: Other: leads to another file; {ELSEWHERE}"
    ),
    Refusal(
        "a link inside the file", edited(_soft_link), f"{NAME}: Other: is a link and no array; {ELSEWHERE}"
    ),
    Refusal(
        "data in another file",
        edited(_external_data),
        f"{NAME}: Other: has its data in another file; {ELSEWHERE}",
    ),
    Refusal(
        "an array put together from others",
        edited(_virtual),
        f"{NAME}: Other: is put together from other arrays; {ELSEWHERE}",
    ),
    Refusal(
        "rows of several fields",
        edited(_compound),
        f"{NAME}: Other: holds neither plain numbers nor texts; {ELSEWHERE}",
    ),
    Refusal(
        "references", edited(_reference), f"{NAME}: Other: holds neither plain numbers nor texts; {ELSEWHERE}"
    ),
    Refusal(
        "rows of unequal length",
        edited(_ragged),
        f"{NAME}: Other: holds neither plain numbers nor texts; {ELSEWHERE}",
    ),
    Refusal(
        "a type by itself",
        edited(_named_type),
        f"{NAME}: Other: is neither a group nor an array; {ELSEWHERE}",
    ),
    Refusal(
        "an unusual packing",
        edited(_packing),
        f"{NAME}: Other: is packed in a way that isn't read; export it without packing",
    ),
    Refusal(
        "groups in groups without end",
        edited(_deep),
        f"{NAME}: {'/'.join('g' * 17)}: holds more groups and arrays than are read; {ELSEWHERE}",
    ),
    Refusal(
        "objects without end",
        edited(_many),
        f"{NAME}: many: holds more groups and arrays than are read; {ELSEWHERE}",
    ),
    Refusal(
        "an array that declares terabytes",
        edited(_vast_positions),
        f"{NAME}: N: declares 8796093022208 bytes, more than the 268435456 that are read; export fewer "
        "frequencies or directions",
    ),
    Refusal(
        "packed data that grow without end",
        edited(_bomb),
        f"{NAME}: N: grows without end when unpacked; {ELSEWHERE}",
    ),
)

AES69: Final = (
    Refusal(
        "another kind of HDF5",
        changed(attributes={"Conventions": "CF-1.8"}),
        f"{NAME}: is HDF5, and no AES69 file; name its reader with read.reader",
    ),
    Refusal(
        "another convention",
        changed(attributes={"SOFAConventions": "FreeFieldDirectivityIR", "DataType": "FIR"}),
        f"{NAME}: SOFAConventions: follows the convention 'FreeFieldDirectivityIR' (FIR); export it as "
        "FreeFieldDirectivityTF",
    ),
    Refusal(
        "another version of the convention",
        changed(attributes={"SOFAConventionsVersion": "3.0"}),
        f"{NAME}: SOFAConventionsVersion: follows version '3.0' of its convention; export version 1.1",
    ),
    Refusal(
        "a level without its unit",
        changed(units=None),
        f'{NAME}: Data.Real: doesn\'t say what its data are in; state it, as in read = {{ level = "Pa" }}',
    ),
    Refusal(
        "no data", changed(left_out=frozenset({"Data.Imag"})), f"{NAME}: has no Data.Imag; export it again"
    ),
    Refusal(
        "data of two dimensions",
        with_variable("Data.Real", np.ones((6, 10)), {}, ("R", "N")),
        f"{NAME}: Data.Real: isn't measurements × receivers × frequencies; export it again",
    ),
    Refusal(
        "real and imaginary parts that don't go together",
        with_variable("Data.Imag", np.ones((1, 1, 10)), {}, ("M", "I", "N")),
        f"{NAME}: Data.Imag: has another shape than Data.Real; export it again",
    ),
    Refusal(
        "more values than are read",
        edited(_vast),
        f"{NAME}: Data.Real: has 6 responses of {2**40} frequencies; export up to 20000 of 2 to 131072",
    ),
    Refusal(
        "no frequencies",
        edited(_no_frequencies),
        f"{NAME}: N: has no frequencies; export it again",
    ),
    Refusal(
        "frequencies in another unit",
        with_variable("N", HZ, {"Units": "radian per second"}, ("N",)),
        f"{NAME}: N: is in 'radian per second'; give frequencies in hertz",
    ),
    Refusal(
        "frequencies that fall",
        with_variable("N", HZ[[0, 1, 3, 2, 4, 5, 6, 7, 8, 9]], {"Units": "hertz"}, ("N",)),
        f"{NAME}: N: 300 Hz follows 400 Hz; export the frequencies in rising order",
    ),
    Refusal(
        "a frequency that is no number",
        with_variable("N", np.where(np.arange(10) == 3, np.nan, HZ), {"Units": "hertz"}, ("N",)),
        f"{NAME}: N: holds what is no audible frequency; export it again",
    ),
    Refusal(
        "fewer frequencies than values",
        edited(_few_frequencies),
        f"{NAME}: N: has 2 frequencies for 10 values; export it again",
    ),
    Refusal(
        "one frequency and 0 Hz",
        made(sphere(grid(90.0), hz=np.array([0.0, 100.0]))),
        f"{NAME}: N: has one frequency; export at least two",
    ),
    Refusal(
        "no positions",
        changed(left_out=frozenset({"ReceiverPosition"})),
        f"{NAME}: has no ReceiverPosition; export it with its directions",
    ),
    Refusal(
        "positions in another unit",
        with_variable(
            "ReceiverPosition", WHOLE.position, {"Type": "spherical", "Units": "radian, radian, metre"}
        ),
        f"{NAME}: ReceiverPosition: is given as 'spherical' in 'radian, radian, metre'; give it as cartesian "
        "in metre or spherical in degree",
    ),
    Refusal(
        "positions of another shape",
        with_variable("ReceiverPosition", np.ones((2, 3)), SPHERICAL, ("X", "C")),
        f"{NAME}: ReceiverPosition: has the shape 2 × 3; export it as its convention has it",
    ),
    Refusal(
        "a position that is no number",
        with_variable("ReceiverPosition", np.full((6, 3), np.nan), CARTESIAN),
        f"{NAME}: ReceiverPosition: holds what is no number; export it again",
    ),
    Refusal(
        "an elevation beyond the pole",
        with_variable("ReceiverPosition", WHOLE.position + np.array([0.0, 10.0, 0.0]), SPHERICAL),
        f"{NAME}: ReceiverPosition: has an elevation beyond ±90°; export it again",
    ),
    Refusal(
        "a microphone in the loudspeaker",
        with_variable("ReceiverPosition", WHOLE.position * np.array([1.0, 1.0, 0.0]), SPHERICAL),
        f"{NAME}: ReceiverPosition: puts a receiver 0 m from the source; state where the microphones stood",
    ),
    Refusal(
        "centimetres that are called metres",
        made(sphere(grid(90.0), hz=HZ, distance_m=200.0)),
        f"{NAME}: ReceiverPosition: puts a receiver 200 m from the source; give positions in metres, up to "
        "30 m away",
    ),
    Refusal(
        "a loudspeaker that looks nowhere",
        with_variable("SourceView", np.zeros((1, 3)), CARTESIAN, ("I", "C")),
        f"{NAME}: SourceView: has no direction of its own; state view and up",
    ),
    Refusal(
        "the same direction twice",
        made(sphere(np.array([[30.0, 0.0], [390.0, 0.0]]), hz=HZ)),
        f"{NAME}: has 2 responses at az 30 el 0, and doesn't say in what they differ; state read.drives, as "
        'in "1 V, 2.83 V", or read.repeats = true',
    ),
    Refusal(
        "a pressure that is no number",
        with_pressure(_no_number),
        f"{NAME}: az 90 el 0: isn't a number; measure or export it again",
    ),
    Refusal(
        "a silent direction",
        with_pressure(_silence),
        f"{NAME}: az 90 el 0: is silent; measure or export it again",
    ),
    Refusal(
        "a hole in a response",
        with_pressure(_hole),
        f"{NAME}: az 90 el 0: is zero between frequencies where it isn't; measure or export it again",
    ),
    Refusal(
        "a pressure that no loudspeaker makes",
        with_pressure(_loud),
        f"{NAME}: az 90 el 0: has a level that no loudspeaker has; measure or export it again",
    ),
)


def rows(**changes: Any) -> Make:
    """A file with the arrays of two of our own responses; None leaves one out."""
    text = h5py.string_dtype()
    arrays: dict[str, Any] = {
        "frequency": HZ,
        "pressure_re": np.full((2, 10), 0.1),
        "pressure_im": np.zeros((2, 10)),
        "pressure_valid": np.ones((2, 10), dtype=np.uint8),
        "has_phase": np.zeros(2, dtype=np.uint8),
        "seen_angle": np.array([0.0, 30.0]),
        "orbit_angle": np.array([0.0, 30.0]),
        "drive": np.array([2.83, 2.83]),
        "repeat": np.array([1, 1], dtype=np.int32),
        "orbit": ["horizontal", "horizontal"],
        "drive_unit": ["V", "V"],
    }
    attributes = {"title": "Responses", "schema_version": 1}
    attributes |= {key: changes.pop(key) for key in list(changes) if key in attributes}

    def make(folder: Path) -> Path:
        path = folder / ROWS
        with h5py.File(path, "w") as file:
            file.attrs.update(attributes)
            for name, values in (arrays | changes).items():
                if isinstance(values, list):
                    file.create_dataset(name, data=values, dtype=text)
                elif values is not None:
                    file[name] = values
        return path

    return make


OURS: Final = (
    "give the responses.nc of a build or of a data pack as it is, or name its reader with read.reader"
)
AGAIN: Final = "leave it out, or build that case again"
NETCDF: Final = (
    Refusal(
        "NetCDF of another program", rows(title="Grids"), f"{ROWS}: is no responses.nc of a case; {OURS}"
    ),
    Refusal(
        "an array that is missing", rows(pressure_im=None), f"{ROWS}: is no responses.nc of a case; {OURS}"
    ),
    Refusal("another version", rows(schema_version=2), f"{ROWS}: is of version 2.0, and 1 is read; {OURS}"),
    Refusal(
        "arrays that don't go together",
        rows(drive=np.array([2.83])),
        f"{ROWS}: has arrays that don't go together; {OURS}",
    ),
    Refusal(
        "frequencies that don't rise",
        rows(frequency=HZ[::-1]),
        f"{ROWS}: has frequencies that don't rise; {OURS}",
    ),
    Refusal(
        "an orbit that isn't one",
        rows(orbit=["horizontal", "diagonal"]),
        f"{ROWS}: says no direction, drive and repeat that can be in row 2; {OURS}",
    ),
    Refusal(
        "a drive of nothing",
        rows(drive=np.array([0.0, 2.83])),
        f"{ROWS}: says no direction, drive and repeat that can be in row 1; {OURS}",
    ),
    Refusal(
        "the same take twice",
        rows(orbit_angle=np.array([30.0, 30.0])),
        f"{ROWS}: holds the same take more than once; {OURS}",
    ),
    Refusal(
        "a response that is valid nowhere",
        rows(pressure_valid=np.repeat([[1], [0]], 10, axis=1)),
        f"{ROWS}: horizontal +30 at 2.83 V: is valid at fewer than two frequencies; {AGAIN}",
    ),
    Refusal(
        "a valid value that is no number",
        rows(pressure_re=np.array([[0.1] * 10, [0.1] * 9 + [np.nan]])),
        f"{ROWS}: horizontal +30 at 2.83 V: is valid where it is no pressure; {AGAIN}",
    ),
    Refusal(
        "an uncertainty that is none",
        rows(pressure_uncertainty_interpolation=np.full((2, 10), -0.1)),
        f"{ROWS}: has an uncertainty that is none; {OURS}",
    ),
)
SPHERES: Final = (*HDF5, *AES69, *NETCDF)
