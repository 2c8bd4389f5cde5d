"""Small files that are right, one list a reader: where fuzzing starts."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import scipy.io
import soundfile

HZ = np.geomspace(100.0, 10_000.0, 6)
PRESSURE = np.exp(-1j * np.arange(18.0).reshape(3, 6))
ARRAYS: Mapping[str, Any] = {
    "f": HZ,
    "H": PRESSURE,
    "L": 20.0 * np.log10(np.abs(PRESSURE)) + 80.0,
    "p": np.angle(PRESSURE),
    "az": np.array([0.0, 30.0, 350.0]),
    "fs": 48_000.0,
    "ir": np.eye(3, 64, 8),
}


def text() -> list[bytes]:
    """Dialects of text."""
    rows = [(f"{f:.2f}", f"{80.5 - k:.1f}", f"{-30.0 * k:.0f}") for k, f in enumerate(HZ)]
    plain = "# made\nFrequency (Hz)\tLevel (dB SPL)\tPhase (deg)\n" + "\n".join("\t".join(r) for r in rows)
    german = "Frequenz [Hz];Pegel [dB]\r\n" + "\r\n".join(";".join(r[:2]).replace(".", ",") for r in rows)
    wide = "f/Hz," + ",".join(f"{a:+d} deg" for a in (-30, 0, 30)) + "\n"
    wide += "\n".join(f"{r[0]},{r[1]},{r[1]},{r[1]}" for r in rows)
    pairs = "Freq kHz | real (Pa) | imag (Pa)\n" + "\n".join(f"{f / 1e3:.5f} | 0.1 | -0.2" for f in HZ)
    return [plain.encode(), german.encode("utf-16"), german.encode("latin-1"), wide.encode(), pairs.encode()]


def audio() -> list[bytes]:
    """Containers and codings of sound."""
    mono = 0.4 * np.sin(0.3 * np.arange(160))
    kinds = [
        ("WAV", "PCM_24", mono),
        ("WAV", "FLOAT", mono),
        ("WAVEX", "PCM_16", np.stack([mono, 0.5 * mono], axis=1)),
        ("RF64", "PCM_16", mono),
        ("AIFF", "PCM_16", mono),
        ("AIFF", "FLOAT", mono),
        ("FLAC", "PCM_16", mono),
    ]
    return [_sound(kind, subtype, samples) for kind, subtype, samples in kinds]


def _sound(kind: str, subtype: str, samples: Any) -> bytes:
    stream = io.BytesIO()
    soundfile.write(stream, samples, 48_000, subtype=subtype, format=kind)
    return stream.getvalue()


def aes69() -> list[bytes]:
    """A directivity of two receivers."""
    attributes = {
        "Conventions": "SOFA",
        "Version": "2.1",
        "SOFAConventions": "FreeFieldDirectivityTF",
        "SOFAConventionsVersion": "1.1",
        "DataType": "TF",
        "Title": "a sphere",
    }
    vectors = {
        "ListenerPosition": [[0.0, 0.0, 0.0]],
        "SourcePosition": [[0.0, 0.0, 0.0]],
        "SourceView": [[1.0, 0.0, 0.0]],
        "SourceUp": [[0.0, 0.0, 1.0]],
        "ListenerView": [[1.0, 0.0, 0.0]],
        "ListenerUp": [[0.0, 0.0, 1.0]],
        "ReceiverPosition": [[[0.0], [0.0], [2.0]], [[30.0], [0.0], [2.0]]],
    }
    types = {"ReceiverPosition": ("spherical", "degree, degree, metre")}
    written = []
    for packed in (None, "gzip"):
        with _Hdf5() as (file, path):
            # Texts of fixed length need no heap, which damage easily makes endless.
            file.attrs.update({key: np.bytes_(text) for key, text in attributes.items()})
            for name, values in vectors.items():
                made = file.create_dataset(name, data=np.array(values))
                kind, unit = types.get(name, ("cartesian", "metre"))
                made.attrs["Type"], made.attrs["Units"] = np.bytes_(kind), np.bytes_(unit)
            file.create_dataset("N", data=HZ).attrs["Units"] = np.bytes_("hertz")
            for name, values in (("Data.Real", PRESSURE.real), ("Data.Imag", PRESSURE.imag)):
                data = file.create_dataset(name, data=values[np.newaxis, :2], compression=packed)
                data.attrs["Units"] = np.bytes_("pascal")
        written.append(_taken(path))
    return written


def netcdf() -> list[bytes]:
    """Responses of a case, in three directions at six frequencies."""
    rows = {"has_phase": [1, 1, 0], "seen_angle": [-30.0, 0.0, 30.0], "orbit_angle": [-30.0, 0.0, 30.0]}
    rows |= {"drive": [2.83, 2.83, 2.83], "repeat": [1, 1, 1]}
    written = []
    for text in (str, np.bytes_):
        with _Hdf5() as (file, path):
            file.attrs.update({"title": text("Responses"), "schema_version": 1})
            file["frequency"] = HZ
            file["pressure_re"], file["pressure_im"] = PRESSURE.real, PRESSURE.imag
            file["pressure_valid"] = np.ones(PRESSURE.shape, np.int8)
            for name, values in rows.items():
                file[name] = values
            file["orbit"] = [text("horizontal")] * 3
            file["drive_unit"] = [text("V")] * 3
        written.append(_taken(path))
    return written


def matlab() -> list[bytes]:
    """Level 5, deflated and not, with structures and texts; and 7.3."""
    held = {**ARRAYS, "s": {"a": HZ, "b": {"c": "text"}}, "names": ["H 0", "H 30", "H -10"]}
    written = []
    for packed in (False, True):
        path = Path(tempfile.mkstemp(suffix=".mat")[1])
        scipy.io.savemat(path, held, do_compression=packed)
        written.append(_taken(path))
    head = (b"MATLAB 7.3 MAT-file".ljust(124) + b"\x00\x02IM").ljust(512, b"\x00")
    with _Hdf5(userblock_size=512) as (file, path):
        for name in ("f", "L", "az"):
            made = file.create_dataset(name, data=np.asarray(ARRAYS[name]).T)
            made.attrs["MATLAB_class"] = np.bytes_(b"double")
        pairs = np.empty((6, 3), np.dtype([("real", "f8"), ("imag", "f8")]))
        pairs["real"], pairs["imag"] = PRESSURE.real.T, PRESSURE.imag.T
        file.create_dataset("H", data=pairs).attrs["MATLAB_class"] = np.bytes_(b"double")
        codes = np.array([[ord(c) for c in "H 30"]], np.uint16).T
        file.create_dataset("names", data=codes).attrs["MATLAB_class"] = np.bytes_(b"char")
    return [*written, head + _taken(path)[512:]]


def hdf5_arrays() -> list[bytes]:
    """Arrays in groups, packed and not."""
    written = []
    for packed in (None, "gzip"):
        with _Hdf5() as (file, path):
            for name, values in ARRAYS.items():
                file.create_dataset(name, data=values, compression=packed if np.ndim(values) else None)
            file["f"].attrs["units"] = "Hz"
            file["g/names"] = [b"H 0", b"H 30", b"H -10"]
        written.append(_taken(path))
    return written


class _Hdf5:
    """A file to write into, and where it lies."""

    def __init__(self, **how: Any) -> None:
        self._path = Path(tempfile.mkstemp(suffix=".h5")[1])
        self._file = h5py.File(self._path, "w", **how)

    def __enter__(self) -> tuple[h5py.File, Path]:
        return self._file, self._path

    def __exit__(self, *_: object) -> None:
        self._file.close()


def _taken(path: Path) -> bytes:
    content = path.read_bytes()
    path.unlink()
    return content


def takes_toml() -> list[bytes]:
    """Entries and rules."""
    return [
        b'[[take]]\nfile = "a.wav"\nselector = "left"\nkind = "sweep"\norbit = "horizontal"\n'
        b'angle_deg = 30.0\ndrive = "2.83 V"\nstimulus = "b.wav"\nrepeat = 2\n'
        b'read = { loopback = 2, level = "Pa" }\n',
        b'[[rule]]\nfiles = "{radiator}*.wav"\nkind = "near_field"\ndistance_m = 0.005\n',
    ]


def case_toml() -> list[bytes]:
    """Facts."""
    return [
        b'number = 3\n[unit]\nname = "Cobble Two"\nprice = 480.0\nprice_date = 2026-11-02\nactive = false\n'
        b'cabinet = { shape = "sphere", diameter_m = 0.28 }\nsymmetry = ["left-right"]\n'
        b'[[unit.radiators]]\nname = "woofer"\ndiameter_m = 0.11\n'
        b'[rig]\ndistance_m = 2.0\ntemperature_c = 21.0\npositive_horizontal = "left"\n'
        b'[[claims]]\ntext = "Bass down to 45 Hz"\nfigure = "f3"\nvalue = 45.0\nband_hz = [40.0, 80.0]\n'
    ]


def sidecar() -> list[bytes]:
    """Sidecars of stimuli, one a kind: 48,000 samples each, of which the rest is silence."""
    head = (
        'form = 1\nkind = "{kind}"\nfile = "stimulus.wav"\nsha256 = "{digest}"\nsample_rate_hz = 48000\n'
        "samples = 48000\nlead_s = 0\ntail_s = {tail}\nlevel_dbfs = -20\npeak_dbfs = -20\nrms_dbfs = -20\n"
        "crest_factor_db = 3\ndrive_v = 2.83\nfull_scale_v = 28.3\n\n[{kind}]\n"
    )
    # L = 0.1 s: 100 Hz to 1 kHz in 0.1·ln 10 s
    sweep = (
        "first_hz = 100\nlast_hz = 1000\nrate_s = 0.1\nlength_s = 0.230258509\nfade_in_s = 0.01\n"
        "fade_out_s = 0.005\nshelf_db = 0\nshelf_hz = 200\ntilt_db_per_octave = 0\n"
    )
    others = {
        "multitone": "tones_hz = [20, 200.5, 2e3]\nperiod_s = 1\nlength_s = 1\nseed = 1\n",
        "noise": 'colour = "pink"\nfirst_hz = 20\nlast_hz = 20000\nlength_s = 1\nseed = 1\n',
    }
    digest = "0" * 64
    found = [head.format(kind="sweep", digest=digest, tail=0.769741491) + sweep]
    found += [head.format(kind=kind, digest=digest, tail=0) + body for kind, body in others.items()]
    return [one.encode() for one in found]


def names() -> list[bytes]:
    """Names of files, with what they say of themselves."""
    return [
        b"0horizontal_+030_2.83V.wav\nnear_field_woofer_5mm_2V83.wav\nstimulus.wav",
        b"1links 30 Grad waagerecht.txt\n# Pegel in dB, 2,83V\nH -10|V +10|30 deg",
        b"0calibrator_94.wav\naz030_el-10_1W.txt\nmicrophone.txt\nimpedance.txt\n330.txt",
    ]
