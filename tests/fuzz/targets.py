"""What is fuzzed: each takes bytes, and may raise nothing but a refusal."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from fuzz import seeds

from earwitness.case.layout import CaseFolder
from earwitness.case.manifest import new_case, read_facts
from earwitness.case.sidecar import read_sidecar, sidecar_text
from earwitness.case.takes import read_takes
from earwitness.measurement.readers.contents import Contents, Form, Part, Source
from earwitness.measurement.readers.registry import look, reader_of
from earwitness.measurement.recognise import Arrived, recognise
from earwitness.records.errors import CaseError, ReadError
from earwitness.records.takes import ReadOption

Read = Mapping[str, ReadOption]

#: What the case may have stated of a file of arrays; the first byte of an input chooses.
OF_ARRAYS: Sequence[Read] = (
    {"frequency": "f", "complex": "H", "unit": "Pa", "azimuth": "az", "elevation": 0},
    {},
    {"frequency": "f", "level": "L", "unit": "dB SPL", "phase": "p", "phase_unit": "rad"},
    {"frequency": "f", "complex": "H", "unit": "Pa", "angle": "az", "angle_unit": "deg"},
    {"samples": "ir", "sample_rate": "fs", "axis": 2},
    {"frequency": "f", "real": "L", "imaginary": "p", "unit": "1", "labels": "names", "frequency_unit": "Hz"},
    {"frequency": "f", "complex": "H", "unit": "Pa", "labels": "g/names"},
    {"frequency": "s.a", "complex": "H", "unit": "ohm"},
)
OF_TEXT: Sequence[Read] = ({}, {"level": "dB SPL"}, {"frequency": "Hz", "level": "Pa"}, {"decimal": ","})
OF_SOUND: Sequence[Read] = ({}, {"loopback": 2}, {"microphone": 1})
PLAIN: Sequence[Read] = ({},)


@dataclass(frozen=True)
class Target:
    """One thing that is fuzzed: inputs to start from, and whether one was accepted."""

    seeds: Callable[[], list[bytes]]
    accepts: Callable[[bytes], bool]


def _reader(
    suffix: str,
    stated: Sequence[Read],
    contents: Callable[[], list[bytes]],
    *,
    may_refuse_parts: bool = False,
) -> Target:
    """A reader: a file is looked at, and every part that it says to have is read.

    Only sound may have parts that are refused when they are used: channels that hold nothing.
    """

    def accepts(data: bytes) -> bool:
        if not data:
            return False
        file = _folder() / f"fuzzed{suffix}"
        file.write_bytes(data[1:])
        source = Source(file, file.name, tuple(stated[data[0] % len(stated)].items()))
        try:
            found = look(source)
        except ReadError as refused:
            _require_one_line(refused)
            return False
        selectors = [part.selector for part in found.parts]
        assert len(set(selectors)) == len(selectors)
        try:
            assert len(reader_of(source).read(source, selectors)) == len(selectors)
        except ReadError as refused:
            _require_one_line(refused)
            assert may_refuse_parts
        return True

    return Target(lambda: [bytes([way]) + seed for seed in contents() for way in range(len(stated))], accepts)


def _takes(data: bytes) -> bool:
    case = _case()
    (case.root / "takes.toml").write_bytes(data)
    try:
        read_takes(case)
    except CaseError as refused:
        _require_one_line(refused)
        return False
    return True


def _facts(data: bytes) -> bool:
    case = _case()
    (case.root / "case.toml").write_bytes(data)
    try:
        read_facts(case)
    except CaseError as refused:
        _require_one_line(refused)
        return False
    return True


def _sidecar(data: bytes) -> bool:
    path = _folder() / "stimulus.toml"
    path.write_bytes(data)
    try:
        facts = read_sidecar(path)
    except CaseError as refused:
        _require_one_line(refused)
        return False
    path.write_text(sidecar_text(facts), encoding="utf-8")
    assert sidecar_text(read_sidecar(path)) == sidecar_text(facts)
    return True


def _names(data: bytes) -> bool:
    """Lines as names of files; with an odd first byte the others are a file's heading and its columns."""
    lines = data[1:].decode("utf-8", "replace").split("\n")
    if data[:1] and data[0] % 2:
        headings = lines[-1].split("|")
        parts = tuple(Part(str(number), words=text) for number, text in enumerate(headings))
        arrived = [Arrived(lines[0], Contents(Form.RESPONSES, parts, tuple(lines[1:-1])))]
    else:
        paths = dict.fromkeys(line for line in lines if line)
        forms = {path: Form.SOUND if path.endswith(".wav") else Form.RESPONSES for path in paths}
        arrived = [Arrived(path, Contents(form, (Part(),))) for path, form in forms.items()]
    found = recognise(arrived)
    assert all((one.take is None) == bool(one.doubts) for one in found)
    return any(one.take is not None for one in found)


TARGETS: Mapping[str, Target] = {
    "text": _reader(".txt", OF_TEXT, seeds.text),
    "audio": _reader(".wav", OF_SOUND, seeds.audio, may_refuse_parts=True),
    "aes69": _reader(".sofa", PLAIN, seeds.aes69),
    "netcdf": _reader(".nc", PLAIN, seeds.netcdf),
    "matlab": _reader(".mat", OF_ARRAYS, seeds.matlab),
    "hdf5_arrays": _reader(".h5", OF_ARRAYS, seeds.hdf5_arrays),
    "takes_toml": Target(seeds.takes_toml, _takes),
    "case_toml": Target(seeds.case_toml, _facts),
    "sidecar": Target(seeds.sidecar, _sidecar),
    "names": Target(seeds.names, _names),
}


def _require_one_line(refused: ReadError | CaseError) -> None:
    line = str(refused)
    assert line.isprintable(), line
    assert refused.problem, line
    assert refused.remedy, line


@cache
def _folder() -> Path:
    """A folder in memory where there is one."""
    shared = Path("/dev/shm")
    made = Path(tempfile.mkdtemp(prefix="fuzz-", dir=shared if shared.is_dir() else None))
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    return made


@cache
def _case() -> CaseFolder:
    made = new_case(_folder() / "case", "Cobble Two")
    for name in ("a.wav", "b.wav", "port_1.wav"):
        (made.raw / name).write_bytes(b"x")
    return made
