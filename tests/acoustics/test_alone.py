"""The floors of arrays need numpy and scipy and nothing else."""

from __future__ import annotations

import subprocess
import sys

SCRIPT = """
import importlib, pkgutil, sys
for name in ("earwitness.acoustics", "earwitness.methods"):
    package = importlib.import_module(name)
    for module in pkgutil.iter_modules(package.__path__):
        importlib.import_module(f"{name}.{module.name}")
heavy = {"pydantic", "matplotlib", "plotly", "h5netcdf", "h5py", "soundfile", "typer", "rich", "typst"}
print(*sorted(heavy & set(sys.modules)))
"""


def test_acoustics_and_methods_import_with_numpy_and_scipy_alone() -> None:
    done = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""
