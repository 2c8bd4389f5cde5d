"""A sphere of 2,522 directions and 8,193 frequencies becomes a case in little memory."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import h5netcdf
import numpy as np
import pytest
from aes69_files import Floats, grid, plane_law, two_sources, vectors

#: 2 GiB are allowed; a quarter of that is used where directions are interpolated.
MOST_BYTES = 2**30
COMMAND = (sys.executable, "-m", "earwitness")


#: A small process between: a child's peak begins with that of the process that started it.
PEAK = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], check=True, stdout=sys.stderr)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024)
"""


def peak_bytes(*arguments: str) -> int:
    """Run a command to its end; its largest resident size."""
    call = [sys.executable, "-c", PEAK, *COMMAND, *arguments]
    done = subprocess.run(call, check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return int(done.stdout)


def write(path: Path, positions: Floats) -> None:
    """330 MB, some directions at a time."""
    hz = np.linspace(0.0, 24_000.0, 8_193)
    with h5netcdf.File(path, "w") as file:
        file.dimensions = {"M": 1, "R": len(positions), "N": hz.size, "C": 3}
        convention = {"SOFAConventions": "FreeFieldDirectivityTF", "SOFAConventionsVersion": "1.1"}
        for key, text in {"Conventions": "SOFA", "DataType": "TF", **convention}.items():
            file.attrs[key] = text
        file.create_variable("N", ("N",), "f8", data=hz).attrs["Units"] = "hertz"
        at = file.create_variable(
            "ReceiverPosition",
            ("R", "C"),
            "f8",
            data=np.column_stack([positions, np.full(len(positions), 2.0)]),
        )
        at.attrs["Type"], at.attrs["Units"] = "spherical", "degree, degree, metre"
        parts = [file.create_variable(f"Data.{name}", ("M", "R", "N"), "f8") for name in ("Real", "Imag")]
        parts[0].attrs["Units"] = "pascal"
        for start in range(0, len(positions), 128):
            n = vectors(positions[start : start + 128])
            pressure = plane_law(n, hz) * two_sources(n, hz)
            parts[0][0, start : start + 128] = pressure.real
            parts[1][0, start : start + 128] = pressure.imag


@pytest.mark.slow
@pytest.mark.parametrize("turned", [0.0, 2.5])
def test_a_big_sphere_is_added_and_built(turned: float, tmp_path: Path) -> None:
    positions = grid(5.0, turned)
    assert len(positions) == 2522
    write(tmp_path / "sphere_2.83V.sofa", positions)
    case = str(tmp_path / "case")
    peak_bytes("new", case, "--name", "Big")
    assert peak_bytes("add", case, str(tmp_path / "sphere_2.83V.sofa"), "--yes") < MOST_BYTES
    assert peak_bytes("build", case) < MOST_BYTES
    with h5netcdf.File(tmp_path / "case" / "build" / "responses.nc", "r", decode_vlen_strings=True) as file:
        selectors = list(file.variables["selector"][...])
    between = [s for s in selectors if s.startswith("interpolated")]
    # at steps of 5° the orbits are 142 directions; turned by half a step the horizontal one and the poles
    assert len(selectors) - len(between) == (142 if turned == 0.0 else 74)
    assert len(between) == (0 if turned == 0.0 else 68)
