"""The arrays of a build as NetCDF-4 files that other programs read: responses, curves, distortion."""

from earwitness.case.curve_files import load_curves, save_curves
from earwitness.case.level_files import load_levels, save_levels
from earwitness.case.response_files import load_responses, save_responses

__all__ = ["load_curves", "load_levels", "load_responses", "save_curves", "save_levels", "save_responses"]
