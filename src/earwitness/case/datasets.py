"""The arrays of a build as NetCDF-4 files that other programs read: ``responses.nc`` and ``curves.nc``."""

from earwitness.case.curve_files import load_curves, save_curves
from earwitness.case.response_files import load_responses, save_responses

__all__ = ["load_curves", "load_responses", "save_curves", "save_responses"]
