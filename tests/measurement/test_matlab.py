from __future__ import annotations

import contextlib
import io
import re
import struct
import time
import tracemalloc
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import scipy.io
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from user import earwitness

from earwitness.case.response_files import load_responses
from earwitness.measurement.readers.contents import Form, LevelUnit, MeasuredResponse, Recording, Source
from earwitness.measurement.readers.matlab import READER
from earwitness.measurement.readers.matlab_level5 import Level5File
from earwitness.records.errors import ReadError
from earwitness.records.takes import ReadOption

F = np.linspace(100.0, 20_000.0, 50)
AZIMUTH = np.array([0.0, 30.0, 350.0])
#: 0 dB, 6.02 dB and −6.02 dB re 1 (20 lg 2 = 6.0206); phases 0, 90 and 180 degrees.
GAIN = np.array([1.0, 2.0j, -0.5])
LEVEL_DB = np.array([0.0, 6.0206, -6.0206])
PHASE_DEG = np.array([0.0, 90.0, 180.0])
H = GAIN[:, np.newaxis] * np.ones(50)
SPHERE: Mapping[str, ReadOption] = {
    "frequency": "f",
    "complex": "H",
    "unit": "Pa",
    "azimuth": "az",
    "elevation": 0,
}
Read = Mapping[str, ReadOption]
EACH = settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def saved(folder: Path, arrays: Mapping[str, Any], **how: Any) -> Path:
    file = folder / "arrays.mat"
    scipy.io.savemat(file, dict(arrays), **how)
    return file


def written(folder: Path, content: bytes) -> Path:
    file = folder / "arrays.mat"
    file.write_bytes(content)
    return file


def source(file: Path, read: Read) -> Source:
    return Source(file, "arrays.mat", tuple(read.items()))


def responses(file: Path, read: Read, *selectors: str) -> list[MeasuredResponse]:
    found = READER.read(source(file, read), selectors)
    return [one for one in found if isinstance(one, MeasuredResponse)]


def one_response(file: Path, read: Read) -> MeasuredResponse:
    (found,) = responses(file, read, "")
    return found


def opened(file: Path) -> Level5File:
    return Level5File(io.BytesIO(file.read_bytes()), file.stat().st_size, "arrays.mat")


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("turned", [False, True])
def test_complex_responses_with_positions(tmp_path: Path, packed: bool, turned: bool) -> None:
    arrays = {"f": F, "H": H.T if turned else H, "az": AZIMUTH}
    file = saved(tmp_path, arrays, do_compression=packed)
    contents = READER.look(source(file, SPHERE))
    assert contents.form is Form.RESPONSES
    assert [part.selector for part in contents.parts] == ["1", "2", "3"]
    assert [part.position_deg for part in contents.parts] == [(0.0, 0.0), (30.0, 0.0), (350.0, 0.0)]
    assert contents.remark == "3 responses of 50 frequencies in Hz, dB re 1 Pa"
    third, first, second = responses(file, SPHERE, "3", "1", "2")
    assert first.unit is LevelUnit.PASCAL
    np.testing.assert_allclose(first.frequency_hz, F, rtol=1e-12)
    for row, found in enumerate((first, second, third)):
        np.testing.assert_allclose(found.level_db, LEVEL_DB[row], atol=1e-4)
        assert found.phase_deg is not None
        np.testing.assert_allclose(found.phase_deg, PHASE_DEG[row], atol=1e-9)


@pytest.mark.parametrize(
    ("unit", "level_unit", "logarithmic"),
    [
        ("dB", LevelUnit.DB, True),
        ("dB SPL", LevelUnit.SPL, True),
        ("db spl", LevelUnit.SPL, True),
        ("dB re 1 Pa", LevelUnit.PASCAL, True),
        ("dB re 1 Pa/V", LevelUnit.PASCAL_PER_DRIVE, True),
        ("Pa", LevelUnit.PASCAL, False),
        ("Pa/V", LevelUnit.PASCAL_PER_DRIVE, False),
        ("Pa per unit of drive", LevelUnit.PASCAL_PER_DRIVE, False),
        ("ohm", LevelUnit.OHM, False),
        ("1", LevelUnit.RATIO, False),
        ("dB re 20 uPa", LevelUnit.SPL, True),
        ("dB re 1 Ohm", LevelUnit.OHM, True),
    ],
)
def test_units(tmp_path: Path, unit: str, level_unit: LevelUnit, logarithmic: bool) -> None:
    values = np.full(50, 6.0206 if logarithmic else 2.0)
    found = one_response(
        saved(tmp_path, {"f": F, "L": values}), {"frequency": "f", "level": "L", "unit": unit}
    )
    assert found.unit is level_unit
    assert found.phase_deg is None
    np.testing.assert_allclose(found.level_db, 6.0206, atol=1e-4)


@pytest.mark.parametrize(("unit", "in_degrees"), [("deg", 1.0), ("rad", 180.0 / np.pi)])
def test_phase_beside_level(tmp_path: Path, unit: str, in_degrees: float) -> None:
    phase = -np.arange(50.0)
    file = saved(tmp_path, {"f": F, "L": np.full(50, 80.0), "p": phase})
    read = {"frequency": "f", "level": "L", "unit": "dB", "phase": "p", "phase_unit": unit}
    found = one_response(file, read)
    assert found.phase_deg is not None
    np.testing.assert_allclose(found.phase_deg, phase * in_degrees, atol=1e-9)


def test_real_and_imaginary_parts(tmp_path: Path) -> None:
    file = saved(tmp_path, {"f": F, "re": np.zeros(50), "im": np.full(50, 2.0)})
    found = one_response(file, {"frequency": "f", "real": "re", "imaginary": "im", "unit": "ohm"})
    np.testing.assert_allclose(found.level_db, 6.0206, atol=1e-4)
    assert found.phase_deg is not None
    np.testing.assert_allclose(found.phase_deg, 90.0, atol=1e-9)


@pytest.mark.parametrize(
    ("unit", "per_hz"), [("kHz", 1e-3), ("rad/s", 2.0 * np.pi), ("Hz", 1.0), ("hz", 1.0)]
)
def test_stated_units_of_frequency(tmp_path: Path, unit: str, per_hz: float) -> None:
    file = saved(tmp_path, {"w": F * per_hz, "L": np.full(50, 80.0)})
    read = {"frequency": "w", "level": "L", "unit": "dB", "frequency_unit": unit}
    np.testing.assert_allclose(one_response(file, read).frequency_hz, F, rtol=1e-9)


def test_falling_frequencies_and_the_one_at_zero(tmp_path: Path) -> None:
    f = np.array([0.0, 500.0, 1000.0, 1500.0])
    level = np.array([np.nan, 81.0, 82.0, 83.0])
    read = {"frequency": "f", "level": "L", "unit": "dB SPL"}
    for turn in (slice(None), slice(None, None, -1)):
        found = one_response(saved(tmp_path, {"f": f[turn], "L": level[turn]}), read)
        assert found.frequency_hz.tolist() == [500.0, 1000.0, 1500.0]
        assert found.level_db.tolist() == [81.0, 82.0, 83.0]


def test_as_many_responses_as_frequencies(tmp_path: Path) -> None:
    square = np.arange(9.0).reshape(3, 3)
    file = saved(tmp_path, {"f": F[:3] * 100, "L": square})
    read = {"frequency": "f", "level": "L", "unit": "dB", "frequency_unit": "Hz"}
    with pytest.raises(
        ReadError, match=r"read.axis: L \(3 × 3\) doesn't say along which axis frequency runs"
    ):
        READER.look(source(file, read))
    for axis, expected in ((1, square[:, 1]), (2, square[1])):
        (found,) = responses(file, {**read, "axis": axis}, "2")
        assert found.level_db.tolist() == expected.tolist()


def test_fields_of_structures_angles_and_labels(tmp_path: Path) -> None:
    held = {"m": {"f": F, "inner": {"H": H}, "angle": AZIMUTH - 30.0}, "names": ["H −30", "H 0", "H +320"]}
    file = saved(tmp_path, held)
    read = {"frequency": "m.f", "complex": "m.inner.H", "unit": "Pa"}
    placed = READER.look(source(file, {**read, "angle": "m.angle", "orbit": "horizontal"}))
    words = ["horizontal -30 deg", "horizontal 0 deg", "horizontal +320 deg"]
    assert [part.words for part in placed.parts] == words
    labelled = READER.look(source(file, {**read, "labels": "names"}))
    assert [part.words for part in labelled.parts] == ["H −30", "H 0", "H +320"]
    assert all(part.position_deg is None for part in (*placed.parts, *labelled.parts))


def test_positions_in_radians(tmp_path: Path) -> None:
    arrays = {"f": F, "H": H, "az": np.radians([0.0, 90.0, 270.0]), "el": np.radians([0.0, -30.0, 60.0])}
    read = {**SPHERE, "elevation": "el", "angle_unit": "rad"}
    contents = READER.look(source(saved(tmp_path, arrays), read))
    assert [part.position_deg for part in contents.parts] == [(0.0, 0.0), (90.0, -30.0), (270.0, 60.0)]


@pytest.mark.parametrize("rate", ["fs", 48_000])
def test_impulse_responses(tmp_path: Path, rate: ReadOption) -> None:
    samples = np.eye(3, 100, 5)
    file = saved(tmp_path, {"ir": samples, "fs": 48_000, "a": AZIMUTH})
    read: Read = {"samples": "ir", "sample_rate": rate, "angle": "a", "orbit": "vertical"}
    contents = READER.look(source(file, read))
    assert contents.form is Form.SOUND
    assert contents.sample_rate_hz == 48_000
    assert [part.words for part in contents.parts] == [
        "vertical 0 deg",
        "vertical +30 deg",
        "vertical +350 deg",
    ]
    (found,) = READER.read(source(file, read), ["2"])
    assert isinstance(found, Recording)
    assert found.samples.dtype == np.float32
    assert found.samples.shape == (1, 100)
    assert found.samples[0].tolist() == samples[1].tolist()
    assert READER.look(source(file, {"samples": "ir", "sample_rate": rate, "axis": 2})).parts[1].words == ""


# what SciPy writes, we read; what we read of files made by hand, SciPy reads too


@EACH
@given(
    hnp.arrays(
        st.sampled_from(["<f8", "<f4", "<c16", "<c8", "<i2", "<u2", "i1", "u1", "<i4", "<u4", "<i8", "<u8"]),
        hnp.array_shapes(min_dims=2, max_dims=4, max_side=5),
    ),
    st.booleans(),
    st.from_regex(r"[a-z][a-z0-9_]{0,30}", fullmatch=True),
)
def test_every_array_that_scipy_writes(
    tmp_path: Path, array: npt.NDArray[Any], packed: bool, name: str
) -> None:
    file = opened(saved(tmp_path, {"first": "x", name: array, "st": {name: array}}, do_compression=packed))
    assert file.arrays[name].shape == array.shape
    for label in (name, f"st.{name}"):
        np.testing.assert_array_equal(file.numbers(label), array)


ORDERS = {"<": b"\x00\x01IM", ">": b"\x01\x00MI"}


def element(order: str, kind: int, data: bytes) -> bytes:
    return struct.pack(f"{order}II", kind, len(data)) + data + bytes(-len(data) % 8)


def matrix(
    order: str, name: bytes, shape: tuple[int, ...], *data: bytes, number: int = 6, flags: int = 0
) -> bytes:
    head = element(order, 6, struct.pack(f"{order}II", number | flags, 0))
    head += element(order, 5, struct.pack(f"{order}{len(shape)}i", *shape))
    return element(order, 14, head + element(order, 1, name) + b"".join(data))


def level5(order: str, *elements: bytes) -> bytes:
    return b"made by hand".ljust(124) + ORDERS[order] + b"".join(elements)


@pytest.mark.parametrize("order", "<>")
@pytest.mark.parametrize(("kind", "code"), [(2, "B"), (3, "h"), (7, "f"), (9, "d"), (13, "Q")])
def test_both_byte_orders_and_every_storage(tmp_path: Path, order: str, kind: int, code: str) -> None:
    data = element(order, kind, struct.pack(f"{order}6{code}", *range(6)))
    small = struct.pack(f"{order}I", 2 << 16 | kind) + bytes([7, 8]) if code == "B" else b""
    elements = [matrix(order, b"x", (3, 2), data)]
    if small:
        elements.append(matrix(order, b"s", (1, 2), small + bytes(2)))
    file = written(tmp_path, level5(order, *elements))
    found = opened(file)
    oracle = scipy.io.loadmat(file)
    for name in found.arrays:
        np.testing.assert_array_equal(found.numbers(name), oracle[name])
    assert found.numbers("x").tolist() == [[0, 3], [1, 4], [2, 5]]


# refusals

FLAT = {"f": F, "L": np.full(50, 80.0)}
PLAIN: Read = {"frequency": "f", "level": "L", "unit": "dB SPL"}


def cells() -> npt.NDArray[np.object_]:
    made = np.empty((1, 2), dtype=object)
    made[0, 0], made[0, 1] = F, "x"
    return made


def changed(**arrays: Any) -> dict[str, Any]:
    return {**FLAT, **arrays}


def at(index: int, value: float) -> npt.NDArray[np.float64]:
    level = np.full(50, 80.0)
    level[index] = value
    return level


EXAMPLE = 'read = { frequency = "f", level = "L", unit = "…" }'
REFUSALS: list[tuple[str, Mapping[str, Any], Read, str]] = [
    (
        "nothing stated",
        FLAT,
        {},
        f"arrays.mat: what its arrays are isn't stated: f (1 × 50), L (1 × 50); state it, as in {EXAMPLE}",
    ),
    (
        "frequency missing",
        FLAT,
        {"level": "L"},
        f"read.level: level is stated without frequency; state it too, as in {EXAMPLE}",
    ),
    (
        "imaginary missing",
        FLAT,
        {"real": "L", "frequency": "f"},
        "read.real: real is stated without imaginary; ",
    ),
    ("sample rate missing", FLAT, {"samples": "L"}, "read.samples: samples is stated without sample_rate; "),
    (
        "elevation missing",
        FLAT,
        {**PLAIN, "azimuth": 0},
        "read.azimuth: azimuth is stated without elevation; ",
    ),
    ("orbit alone", FLAT, {**PLAIN, "orbit": "vertical"}, "read.orbit: orbit is stated without angle; "),
    (
        "two ways",
        FLAT,
        {**PLAIN, "complex": "L"},
        "read.complex: level and complex are both stated; state the one that holds the values",
    ),
    (
        "what goes with another",
        FLAT,
        {**PLAIN, "sample_rate": 48000},
        "read.sample_rate: sample_rate is stated, and level; sample_rate goes with samples; leave one",
    ),
    (
        "said twice",
        FLAT,
        {**PLAIN, "azimuth": 0, "elevation": 0, "angle": "f"},
        "read.angle: azimuth and angle both say what the responses are; leave one of them out",
    ),
    (
        "no such array",
        FLAT,
        {**PLAIN, "frequency": "ff"},
        "read.frequency: there is no array 'ff'; did you mean f?",
    ),
    (
        "no such array at all",
        FLAT,
        {**PLAIN, "level": 7},
        "read.level: there is no array '7'; it holds f (1 × 50), L (1 × 50)",
    ),
    (
        "unit not stated",
        FLAT,
        {"frequency": "f", "level": "L"},
        "read.unit: what L is in isn't stated; state unit: one of dB, dB SPL, ",
    ),
    ("no unit", FLAT, {**PLAIN, "unit": "…"}, "read.unit can't be '…'; state one of dB, dB SPL, "),
    (
        "complex in dB",
        changed(L=H[0] + 0j),
        {"frequency": "f", "complex": "L", "unit": "dB"},
        "read.unit: dB is stated for complex numbers; state one of Pa, Pa/V, ",
    ),
    (
        "complex as level",
        changed(L=H),
        PLAIN,
        "read.level: L (3 × 50, complex) doesn't hold real numbers; complex numbers are stated as complex",
    ),
    (
        "real as complex",
        FLAT,
        {"frequency": "f", "complex": "L", "unit": "Pa"},
        "read.complex: L (1 × 50) doesn't hold complex numbers; real numbers are stated as",
    ),
    (
        "a cell",
        changed(L=cells()),
        PLAIN,
        "read.level: L (1 × 2, cell) doesn't hold real numbers; export it as a plain array of numbers",
    ),
    (
        "a text",
        changed(L="hello"),
        PLAIN,
        "read.level: L (1 × 5, text) doesn't hold real numbers; export it as a plain array of numbers",
    ),
    ("numbers as labels", FLAT, {**PLAIN, "labels": "L"}, "read.labels: L (1 × 50) doesn't hold texts; "),
    (
        "sparse",
        changed(L=scipy.sparse.eye_array(50).tocsc()),
        PLAIN,
        "read.level: L (50 × 50, sparse) doesn't hold real numbers; ",
    ),
    ("an empty array", changed(L=np.zeros((0, 5))), PLAIN, "read.level: L is empty; export it again"),
    (
        "another length",
        changed(L=np.zeros(49)),
        PLAIN,
        "read.frequency: L has 49 entries for 50 frequencies; name the frequencies that belong to it",
    ),
    (
        "three axes",
        changed(L=np.zeros((2, 3, 50))),
        PLAIN,
        "L: has more than two axes (2 × 3 × 50); export it as responses × frequencies",
    ),
    ("no axis 3", FLAT, {**PLAIN, "axis": 3}, "read.axis can't be 3; state 1 or 2"),
    (
        "other shapes",
        changed(p=np.zeros((2, 50))),
        {**PLAIN, "phase": "p", "phase_unit": "deg"},
        "read.level: p and L have other shapes; name arrays of the same shape",
    ),
    (
        "phase without its unit",
        changed(p=np.zeros(50)),
        {**PLAIN, "phase": "p"},
        "read.phase_unit: what p is in isn't stated; state phase_unit: deg or rad",
    ),
    (
        "frequency is no number",
        changed(f=np.append(F[:-1], np.nan)),
        PLAIN,
        "f, entry 50: is not a number; export it again",
    ),
    ("frequency repeated", changed(f=np.round(F, -3)), PLAIN, "f, entry 3: 1000 Hz follows 1000 Hz"),
    (
        "frequencies unordered",
        changed(f=np.where(F[7] == F, 50.0, F)),
        PLAIN,
        "f, entry 8: 50 Hz follows 2536.73 Hz; export each frequency once, in order",
    ),
    (
        "a negative frequency",
        changed(f=F - 150.0),
        PLAIN,
        "f, entry 1: -50 Hz is no frequency; export each frequency once, in order",
    ),
    (
        "maybe kHz",
        changed(f=F / 1e3),
        PLAIN,
        "read.frequency_unit: f reaches 20, which may be Hz, kHz or rad/s; state frequency_unit",
    ),
    (
        "maybe rad/s",
        changed(f=F * 2 * np.pi),
        PLAIN,
        "read.frequency_unit: f reaches 125664, which may be Hz, kHz or rad/s; state frequency_unit",
    ),
    (
        "named as rad/s",
        {"w": F, "L": FLAT["L"]},
        {**PLAIN, "frequency": "w"},
        "read.frequency_unit: w reaches 20000, which may be ",
    ),
    (
        "no audible frequency",
        FLAT,
        {**PLAIN, "frequency_unit": "kHz"},
        "f: 2e+07 Hz is no audible frequency; correct frequency_unit, or export it again",
    ),
    ("one frequency", {"f": [1500.0], "L": [80.0]}, PLAIN, "f has 1 frequencies; export at least two"),
    (
        "a level that is no number",
        changed(L=at(4, np.nan)),
        PLAIN,
        "L, 1724.49 Hz: is not a number; export it again",
    ),
    (
        "a level beyond all",
        changed(L=at(0, 401.0)),
        PLAIN,
        "L, 100 Hz: is no level that a response has; export it again",
    ),
    (
        "no magnitude",
        changed(L=at(1, 0.0)),
        {**PLAIN, "unit": "Pa"},
        "L, 506.122 Hz: is no magnitude over 0; export it again",
    ),
    (
        "too few azimuths",
        changed(L=np.zeros((3, 50)), az=[0, 90]),
        {**PLAIN, "azimuth": "az", "elevation": 0},
        "read.azimuth: az has 2 entries for 3 responses; name an array with one for each response",
    ),
    (
        "maybe radians",
        changed(L=np.zeros((3, 50)), az=[0, 1, 6.28]),
        {**PLAIN, "azimuth": "az", "elevation": 0},
        "read.azimuth: az may be degrees or radians; state angle_unit: deg or rad",
    ),
    (
        "no azimuth",
        changed(L=np.zeros((2, 50)), az=[0, 361]),
        {**PLAIN, "azimuth": "az", "elevation": 0},
        "read.azimuth: 361° (response 2) is no azimuth; give −360 to 360 degrees",
    ),
    (
        "no elevation",
        FLAT,
        {**PLAIN, "azimuth": 0, "elevation": -91},
        "read.elevation: -91° (response 1) is no elevation; give −90 to 90 degrees",
    ),
    (
        "an angle that is no number",
        changed(L=np.zeros((2, 50)), az=[0, np.nan]),
        {**PLAIN, "angle": "az"},
        "read.angle: nan° (response 2) is no angle; ",
    ),
    (
        "no orbit",
        FLAT,
        {**PLAIN, "angle": "L", "orbit": "diagonal"},
        "read.orbit can't be 'diagonal'; state one of horizontal, vertical",
    ),
    (
        "too few labels",
        changed(L=np.zeros((3, 50)), n=["a", "b"]),
        {**PLAIN, "labels": "n"},
        "read.labels: n has 2 texts for 3 responses; name an array with one for each response",
    ),
    (
        "no rate",
        FLAT,
        {"samples": "L", "sample_rate": 100},
        "read.sample_rate: 100 Hz is no sample rate; state one of 8000 to 768000 Hz",
    ),
    ("rates", FLAT, {"samples": "L", "sample_rate": "f"}, "read.sample_rate: 50 numbers is no sample rate; "),
    (
        "time along which axis",
        changed(L=np.ones((3, 50))),
        {"samples": "L", "sample_rate": 48000},
        "read.axis: L (3 × 50) doesn't say along which axis time runs; state it: axis = 1 or axis = 2",
    ),
    (
        "silence",
        changed(L=np.zeros(50)),
        {"samples": "L", "sample_rate": 48000},
        "L: is silent; export it again",
    ),
    (
        "a sample that is none",
        changed(L=at(3, np.inf)),
        {"samples": "L", "sample_rate": 48000},
        "L, sample 3: is not a number; export it again",
    ),
    ("no arrays", {}, {}, "arrays.mat: holds no arrays; export the responses into it"),
]


@pytest.mark.parametrize(
    ("arrays", "read", "expected"), [pytest.param(*row[1:], id=row[0]) for row in REFUSALS]
)
def test_refusals(tmp_path: Path, arrays: Mapping[str, Any], read: Read, expected: str) -> None:
    file = saved(tmp_path, arrays, oned_as="row")
    with pytest.raises(ReadError) as refused:
        READER.look(source(file, read))
    line = str(refused.value)
    assert line.startswith("arrays.mat")
    assert expected in line
    with pytest.raises(ReadError):
        READER.read(source(file, read), [""])


def test_a_part_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match=r"has no part '4'"):
        responses(saved(tmp_path, {"f": F, "H": H, "az": AZIMUTH}), SPHERE, "4")


def test_the_example_fits_into_the_line_whatever_there_is(tmp_path: Path) -> None:
    many = {f"quite_a_long_name_{k}": np.zeros((3, 4)) for k in range(200)}
    with pytest.raises(ReadError) as refused:
        READER.look(source(saved(tmp_path, {**many, "f": F, "H": H, "az": AZIMUTH}), {}))
    expected = 'read = { frequency = "f", complex = "H", unit = "…", azimuth = "az", elevation = 0 }'
    assert str(refused.value).endswith(expected)


@pytest.mark.parametrize("order", "<>")
def test_damaged_headers(tmp_path: Path, order: str) -> None:
    x = element(order, 9, struct.pack(f"{order}2d", 1.0, 2.0))
    good = matrix(order, b"x", (1, 2), x)
    broken: Mapping[str, bytes] = {
        "too many entries": matrix(order, b"x", (2**30, 4), x),
        "negative": matrix(order, b"x", (-1, -2), x),
        "one axis": matrix(order, b"x", (2,), x),
        "nine axes": matrix(order, b"x", (1,) * 8 + (2,), x),
        "longest name": matrix(order, b"x" * 64, (1, 2), x),
        "unknown storage": matrix(order, b"x", (1, 2), element(order, 8, bytes(16))),
        "texts": matrix(order, b"x", (1, 2), element(order, 16, bytes(16))),
        "no data": matrix(order, b"x", (1, 2)),
        "too few": matrix(order, b"x", (1, 3), x),
        "beyond": good[:-24] + struct.pack(f"{order}II", 9, 2**31) + good[-16:],
        "another element": element(order, 9, bytes(16)),
        "cut": good[:-8],
        "cut tag": good + bytes(4),
        "no deflate": element(order, 15, b"plain"),
        "deflated: another": element(order, 15, zlib.compress(element(order, 9, bytes(16)))),
        "deflated: less": element(order, 15, zlib.compress(good[:-8])),
        "deflated: more": element(order, 15, zlib.compress(good + bytes(8))),
    }
    for case, content in broken.items():
        file = written(tmp_path, level5(order, content))
        with pytest.raises(ReadError, match=r"damaged|cut short") as refused:
            opened(file).numbers("x")
        assert str(refused.value).startswith("arrays.mat"), case


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b"x" * 200, "is no MATLAB file of level 5 (level 4 isn't read); save it with -v7"),
        (b"", "is empty"),
        (b"MATLAB".ljust(126) + b"IM", "is a MATLAB file of an unknown version (0x2020); save it with -v7"),
        (b"MATLAB".ljust(124) + b"\x00\x02IM", "can't be read as HDF5"),
        (b"\x89HDF\r\n\x1a\nx", "can't be read as HDF5"),
        (b"MATLAB".ljust(100), "is no MATLAB file of level 5"),
    ],
)
def test_what_is_no_matlab_file(tmp_path: Path, content: bytes, problem: str) -> None:
    with pytest.raises(ReadError) as refused:
        READER.look(source(written(tmp_path, content), {}))
    assert problem in str(refused.value)


def bomb() -> bytes:
    """Deflated zeros that say to be a matrix of two numbers, and are 640 MB."""
    head = matrix("<", b"x", (1, 2), element("<", 9, bytes(16)))
    pack = zlib.compressobj(1)
    packed = pack.compress(head) + b"".join(pack.compress(bytes(2**24)) for _ in range(40)) + pack.flush()
    return level5("<", element("<", 15, packed))


def claimed() -> bytes:
    """A deflated matrix that says to hold a hundred million numbers, and holds two."""
    whole = matrix("<", b"x", (10_000, 10_000), element("<", 9, bytes(16)))
    whole = whole[:4] + struct.pack("<I", 800_000_000) + whole[8:]
    return level5("<", element("<", 15, zlib.compress(whole)))


def structures() -> bytes:
    """Deflated structures that together grow to 10 GB."""
    names = element("<", 5, struct.pack("<i", 8)) + element("<", 1, b"a".ljust(8, b"\x00"))
    field = matrix("<", b"", (1, 2**24), element("<", 9, bytes(2**27)))
    whole = matrix("<", b"s", (1, 1), names, field, number=2)
    packed = element("<", 15, zlib.compress(whole, 1))
    return level5("<", *[packed] * 80)


@pytest.mark.slow
@pytest.mark.parametrize("make", [bomb, claimed, structures])
def test_what_grows_without_end(tmp_path: Path, make: Callable[[], bytes]) -> None:
    file = written(tmp_path, make())
    read = {"frequency": "x", "level": "x", "unit": "dB"}
    tracemalloc.start()
    began = time.monotonic()
    with pytest.raises(ReadError):
        READER.look(source(file, read))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert time.monotonic() - began < 5.0
    assert peak < 2**30


def test_more_variables_than_are_read(tmp_path: Path) -> None:
    x = element("<", 9, bytes(8))
    many = [matrix("<", f"x{k}".encode(), (1, 1), x) for k in range(1001)]
    with pytest.raises(ReadError, match=r"holds more than 1000 variables"):
        opened(written(tmp_path, level5("<", *many)))
    assert len(opened(written(tmp_path, level5("<", *many[:1000]))).arrays) == 1000


@EACH
@given(st.integers(0, 6_000), st.booleans(), st.binary(min_size=1, max_size=4))
def test_damage_is_refused_or_does_no_harm(tmp_path: Path, place: int, packed: bool, new: bytes) -> None:
    arrays = {"f": F, "H": H, "az": AZIMUTH, "s": {"t": "text"}}
    file = saved(tmp_path, arrays, do_compression=packed)
    content = file.read_bytes()
    for damaged in (content[:place], content[:place] + new + content[place + len(new) :]):
        written(tmp_path, damaged)
        with contextlib.suppress(ReadError):
            assert len(READER.look(source(file, SPHERE)).parts) == 3


@EACH
@given(st.integers(1, 3_000))
def test_a_file_that_is_cut_short_is_refused(tmp_path: Path, cut: int) -> None:
    file = saved(tmp_path, {"az": AZIMUTH, "f": F, "H": H})
    content = file.read_bytes()
    written(tmp_path, content[: max(0, len(content) - cut)])
    with pytest.raises(ReadError):
        READER.look(source(file, SPHERE))


@pytest.mark.slow
def test_a_sphere_becomes_a_case_that_is_built(tmp_path: Path) -> None:
    """84 dB at 2 m are 90.02 dB at 1 m (20 lg 2 more), 12 dB less to the rear."""
    azimuth = np.arange(0.0, 360.0, 10.0)
    hz = np.geomspace(20.0, 20_000.0, 400)
    level = 84.0 - 6.0 * (1.0 - np.cos(np.radians(azimuth)))
    pressure = 20e-6 * 10.0 ** (level[:, np.newaxis] / 20.0) * np.exp(-2j * np.pi * hz * 1e-4)
    scipy.io.savemat(tmp_path / "sphere.mat", {"f": hz, "H": pressure, "az": azimuth})
    root = tmp_path / "case"
    earwitness("new", root)
    facts = (root / "case.toml").read_text(encoding="utf-8")
    for key, value in (("distance_m", "2.0"), ("rotation_behind_m", "0.0")):
        facts = re.sub(rf"# ({key}) = .*", rf"\1 = {value}", facts, count=1)
    (root / "case.toml").write_text(facts, encoding="utf-8")
    stated = [word for key, value in SPHERE.items() for word in ("--read", f"{key}={value}")]
    earwitness("add", root, tmp_path / "sphere.mat", "--drive", "2.83V", "--yes", *stated)
    earwitness("build", root)
    found = load_responses(root / "build" / "responses.nc")
    angles = {take.key.direction.angle_deg: row for row, take in enumerate(found.takes) if take.key.direction}
    assert len(angles) == 36
    for angle, expected in ((0.0, 90.0206), (90.0, 84.0206), (-90.0, 84.0206), (180.0, 78.0206)):
        row = angles[angle]
        pascals = np.abs(found.pressure[row, found.valid[row]]) * 2.83
        np.testing.assert_allclose(20.0 * np.log10(pascals / 20e-6), expected, atol=0.001)
