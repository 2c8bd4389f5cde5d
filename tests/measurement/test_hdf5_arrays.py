from __future__ import annotations

import os
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from earwitness.measurement.readers.contents import (
    Form,
    LevelUnit,
    MeasuredResponse,
    Reader,
    Recording,
    Source,
)
from earwitness.measurement.readers.hdf5_arrays import READER
from earwitness.measurement.readers.hdf5_trial import MAX_TEXTS, survives
from earwitness.measurement.readers.matlab import READER as MATLAB
from earwitness.records.errors import ReadError
from earwitness.records.takes import ReadOption

Read = Mapping[str, ReadOption]
F = np.linspace(100.0, 20_000.0, 50)
#: 0 dB, 6.02 dB and −6.02 dB re 1 (20 lg 2 = 6.0206); phases 0, 90 and 180 degrees.
H = np.array([1.0, 2.0j, -0.5])[:, np.newaxis] * np.ones(50)
LEVEL_DB = (0.0, 6.0206, -6.0206)
PHASE_DEG = (0.0, 90.0, 180.0)
AZIMUTH = np.array([0.0, 30.0, 350.0])
SPHERE: Read = {"frequency": "m/f", "complex": "m/H", "unit": "Pa/V", "azimuth": "az", "elevation": 0}


def saved(folder: Path, arrays: Mapping[str, Any], **how: Any) -> Path:
    file = folder / "arrays.h5"
    with h5py.File(file, "w") as made:
        for name, values in arrays.items():
            made.create_dataset(name, data=values, **(how if np.ndim(values) else {}))
    return file


def source(file: Path, read: Read) -> Source:
    return Source(file, file.name, tuple(read.items()))


def refusal(file: Path, read: Read, reader: Reader = READER) -> str:
    with pytest.raises(ReadError) as refused:
        reader.look(source(file, read))
    return str(refused.value)


def require_the_three(found: Any) -> None:
    for row, response in enumerate(found):
        assert isinstance(response, MeasuredResponse)
        np.testing.assert_allclose(response.frequency_hz, F, rtol=1e-12)
        np.testing.assert_allclose(response.level_db, LEVEL_DB[row], atol=1e-4)
        assert response.phase_deg is not None
        np.testing.assert_allclose(response.phase_deg, PHASE_DEG[row], atol=1e-9)


@pytest.mark.parametrize("packed", [{}, {"compression": "gzip", "shuffle": True}, {"chunks": (1, 7)}])
@pytest.mark.parametrize("dtype", [np.complex128, np.complex64])
def test_arrays_in_groups(tmp_path: Path, packed: Mapping[str, Any], dtype: type) -> None:
    file = tmp_path / "arrays.h5"
    with h5py.File(file, "w") as made:
        made["m/f"], made["az"] = F, AZIMUTH
        made.create_dataset("m/H", data=H.astype(dtype), **packed)
    contents = READER.look(source(file, SPHERE))
    assert contents.form is Form.RESPONSES
    assert [part.position_deg for part in contents.parts] == [(0.0, 0.0), (30.0, 0.0), (350.0, 0.0)]
    found = READER.read(source(file, SPHERE), ["1", "2", "3"])
    require_the_three(found)
    assert isinstance(found[0], MeasuredResponse)
    assert found[0].unit is LevelUnit.PASCAL_PER_DRIVE


def test_units_and_labels_that_the_file_says_itself(tmp_path: Path) -> None:
    file = tmp_path / "arrays.h5"
    with h5py.File(file, "w") as made:
        made["f"], made["L"], made["p"] = F / 1000.0, np.full((2, 50), 80.0), np.ones((2, 50))
        made["names"] = [b"H 0", "H −10".encode()]
        for name, unit in (("f", "kHz"), ("L", "dB SPL"), ("p", "rad")):
            made[name].attrs["units"] = unit
    read: Read = {"frequency": "f", "level": "L", "phase": "p", "labels": "names"}
    assert [part.words for part in READER.look(source(file, read)).parts] == ["H 0", "H −10"]
    (found,) = READER.read(source(file, read), ["2"])
    assert isinstance(found, MeasuredResponse)
    np.testing.assert_allclose(found.frequency_hz, F, rtol=1e-12)
    assert found.unit is LevelUnit.SPL
    assert found.phase_deg is not None
    np.testing.assert_allclose(found.phase_deg, 57.29578, rtol=1e-6)
    line = refusal(file, {**read, "unit": "Pa"})
    assert line == "arrays.h5, read.unit: Pa is stated, and the file says dB SPL; correct or leave it out"


def test_impulse_responses(tmp_path: Path) -> None:
    file = saved(tmp_path, {"ir": np.eye(2, 64, 3, dtype=np.float32), "rate": 44_100})
    read: Read = {"samples": "ir", "sample_rate": "rate", "axis": 2, "pa_per_unit": 2.0}
    contents = READER.look(source(file, read))
    assert (contents.form, contents.sample_rate_hz, len(contents.parts)) == (Form.SOUND, 44_100, 2)
    (found,) = READER.read(source(file, read), ["2"])
    assert isinstance(found, Recording)
    assert found.samples.tolist() == [np.eye(2, 64, 3)[1].tolist()]


def matlab_73(folder: Path) -> Path:
    """What MATLAB writes with -v7.3: axes the other way round, complex pairs, characters as numbers."""
    file = folder / "arrays.mat"
    with h5py.File(file, "w", userblock_size=512) as made:
        pairs = np.empty(H.T.shape, np.dtype([("real", "f8"), ("imag", "f8")]))
        pairs["real"], pairs["imag"] = H.T.real, H.T.imag
        codes = np.array([[ord(c) for c in text] for text in ("H 0", "H30", "V30")], np.uint16).T
        held = {"m/f": F[:, np.newaxis], "m/H": pairs, "az": AZIMUTH[np.newaxis], "names": codes}
        for name, values in held.items():
            made[name] = values
            made[name].attrs["MATLAB_class"] = np.bytes_("char" if name == "names" else "double")
        made.create_dataset("c", (2, 1), h5py.ref_dtype)
        made["c"].attrs["MATLAB_class"] = np.bytes_("cell")
        made["#refs#/a"] = F
    with file.open("r+b") as stream:
        stream.write(b"MATLAB 7.3 MAT-file".ljust(124) + b"\x00\x02IM")
    return file


def test_matlab_73(tmp_path: Path) -> None:
    file = matlab_73(tmp_path)
    read: Read = {"frequency": "m.f", "complex": "m.H", "unit": "Pa", "labels": "names"}
    contents = MATLAB.look(source(file, read))
    assert [part.words for part in contents.parts] == ["H 0", "H30", "V30"]
    require_the_three(MATLAB.read(source(file, read), ["1", "2", "3"]))
    line = refusal(file, {}, MATLAB)
    assert (
        "az (3 × 1), m.H (3 × 50, complex), m.f (1 × 50), names (3 × 3, text), c (1 × 2, cell or object); "
        in (line)
    )
    assert line.endswith(
        'read = { frequency = "m.f", complex = "m.H", unit = "…", azimuth = "az", elevation = 0 }'
    )
    assert "c (1 × 2, cell or object) doesn't hold real numbers" in refusal(
        file, {"frequency": "m.f", "level": "c", "unit": "Pa"}, MATLAB
    )


def test_nothing_stated(tmp_path: Path) -> None:
    file = saved(tmp_path, {"f": F, "H": H, "angles": AZIMUTH, "note": b"x"})
    with h5py.File(file, "a") as made:
        made["odd"] = np.zeros(2, dtype=[("a", "i4"), ("b", "i4")])
    assert refusal(file, {}) == (
        "arrays.h5: what its arrays are isn't stated: H (3 × 50, complex), angles (3), f (50), "
        'note (1, text), odd (2, other); state it, as in read = { frequency = "f", complex = "H", '
        'unit = "…", angle = "angles", orbit = "…" }'
    )


def linked(folder: Path, link: Any) -> Path:
    file = saved(folder, {"f": F})
    with h5py.File(file, "a") as made:
        made["H"] = link
    return file


def external(folder: Path) -> Path:
    (folder / "secret").write_bytes(bytes(400))
    file = folder / "arrays.h5"
    with h5py.File(file, "w") as made:
        made.create_dataset("f", (50,), "f8", external=[(str(folder / "secret"), 0, 400)])
    return file


def virtual(folder: Path) -> Path:
    other = saved(folder, {"f": F}).rename(folder / "other.h5")
    layout = h5py.VirtualLayout((50,), "f8")
    layout[:] = h5py.VirtualSource(other, "f", (50,))
    file = folder / "arrays.h5"
    with h5py.File(file, "w") as made:
        made.create_virtual_dataset("f", layout)
    return file


def test_what_leads_elsewhere(tmp_path: Path) -> None:
    assert "H: leads to another file" in refusal(linked(tmp_path, h5py.ExternalLink("b.h5", "/f")), {})
    assert "H: is a link and no array" in refusal(linked(tmp_path, h5py.SoftLink("/f")), {})
    assert "f: has its data in another file" in refusal(external(tmp_path), {})
    assert "f: is put together from other arrays" in refusal(virtual(tmp_path), {})


def test_what_is_no_hdf5_file(tmp_path: Path) -> None:
    file = tmp_path / "arrays.h5"
    file.write_bytes(b"20 80\n30 81\n")
    assert refusal(file, {}).startswith("arrays.h5: can't be read as HDF5: ")
    file.write_bytes(b"")
    assert refusal(file, {}) == "arrays.h5: is empty; export or record it again"
    assert refusal(matlab_73(tmp_path), {}) == (
        "arrays.mat: has 512 bytes of something else before its data; export plain arrays into one file"
    )


def test_more_values_than_are_read(tmp_path: Path) -> None:
    file = tmp_path / "arrays.h5"
    with h5py.File(file, "w") as made:
        made["f"] = F
        made.create_dataset("L", (2**20, 50), "f4", chunks=(64, 50))
    began = time.monotonic()
    line = refusal(file, {"frequency": "f", "level": "L", "unit": "dB"})
    assert line.startswith(
        "arrays.h5, read.level: L has 52428800 entries, more than the 12582912 that are read; "
    )
    assert time.monotonic() - began < 5.0


# the trial in another process


def with_text(folder: Path) -> bytearray:
    file = folder / "arrays.h5"
    with h5py.File(file, "w") as made:
        made["f"] = F
        made["f"].attrs["units"] = "Hz"
    return bytearray(file.read_bytes())


def test_a_heap_of_texts_without_end(tmp_path: Path) -> None:
    content = with_text(tmp_path)
    # the heap's first object: its number, count, four bytes of nothing, and its length
    place = content.index(b"GCOL") + 16
    content[place : place + 16] = bytes(16)
    (tmp_path / "arrays.h5").write_bytes(content)
    began = time.process_time()
    assert not survives(tmp_path / "arrays.h5")
    assert time.process_time() - began < 1.0
    line = refusal(tmp_path / "arrays.h5", {"frequency": "f", "level": "f", "unit": "dB"})
    assert line.startswith("arrays.h5: can't be read as HDF5: it is damaged, ")


def test_a_text_that_claims_a_length(tmp_path: Path) -> None:
    content = with_text(tmp_path)
    # a text is told by its length, the place of its heap, and its number there
    heap = content.index(b"GCOL")
    place = content.index((2).to_bytes(4, "little") + heap.to_bytes(8, "little") + (1).to_bytes(4, "little"))
    content[place : place + 4] = (2**32 - 1).to_bytes(4, "little")
    (tmp_path / "arrays.h5").write_bytes(content)
    assert not survives(tmp_path / "arrays.h5")


def test_the_other_process_goes_on_after_what_killed_it(tmp_path: Path) -> None:
    sound = tmp_path / "sound.h5"
    sound.write_bytes(with_text(tmp_path))
    assert survives(sound)
    test_a_heap_of_texts_without_end(tmp_path)
    assert survives(sound)


def test_a_trial_costs_milliseconds(tmp_path: Path) -> None:
    file = saved(tmp_path, {"f": F, "names": ["H 0"] * MAX_TEXTS})
    assert survives(file)
    began = time.monotonic()
    for _ in range(10):
        assert survives(file)
    # 20,000 texts: some 10 ms on an idle machine
    assert time.monotonic() - began < 10.0


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="counts open files as Linux shows them")
def test_trials_leave_nothing_open(tmp_path: Path) -> None:
    file = saved(tmp_path, {"f": F})
    assert survives(file)
    before = len(os.listdir("/proc/self/fd"))
    for _ in range(5):
        assert survives(file)
    assert len(os.listdir("/proc/self/fd")) == before
