"""AES69 files and spheres made up from sources in closed form, by h5netcdf alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import h5netcdf
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

SOUND_SPEED = 343.2
FREQUENCIES = np.arange(0.0, 20_001.0, 50.0)


def grid(step: float, turned: float = 0.0) -> Floats:
    """Azimuth and elevation (Q, 2) in equal steps, both poles once: 2,522 at 5°, 614 at 10°."""
    elevation = np.arange(-90.0 + step, 90.0 - 1e-9, step)
    azimuth = np.arange(0.0, 360.0, step) + turned
    around, up = np.meshgrid(azimuth, elevation)
    return np.concatenate([np.stack([around.ravel(), up.ravel()], axis=-1), [[0.0, 90.0], [0.0, -90.0]]])


def vectors(position_deg: Floats) -> Floats:
    """Unit vectors (..., 3), x forward, y left, z up."""
    azimuth, elevation = np.deg2rad(position_deg[..., 0]), np.deg2rad(position_deg[..., 1])
    level = np.cos(elevation)
    return np.stack([level * np.cos(azimuth), level * np.sin(azimuth), np.sin(elevation)], axis=-1)


def plane_law(n: Floats, hz: Floats) -> Complexes:
    """A pressure that tells every direction from every other and falls with frequency; real, positive."""
    shape = 1.0 + 0.4 * n[:, 0] + 0.2 * n[:, 1] + 0.1 * n[:, 2]
    return np.asarray(np.multiply.outer(shape, 1.0 / (1.0 + hz / 10_000.0)), dtype=np.complex128)


def two_sources(n: Floats, hz: Floats) -> Complexes:
    """Monopoles 0.1 m above and below the reference point, the lower one half as loud: no nulls."""
    k = 2.0 * np.pi * hz / SOUND_SPEED
    up = np.multiply.outer(n[:, 2], 0.1 * k)
    return np.asarray(np.exp(1j * up) + 0.5 * np.exp(-1j * up))


@dataclass(frozen=True)
class Aes69:
    """What goes into a file; `changes` replaces variables (with their dimensions) or adds them.

    `pressure` (M, R, N) is written as it is.
    """

    position: Floats
    frequency_hz: Floats
    pressure: Complexes
    units: str | None = "pascal"
    attributes: Mapping[str, str] = field(default_factory=dict)
    changes: Mapping[str, tuple[tuple[str, ...], Any, Mapping[str, str]]] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()
    dtype: str = "f8"

    def write(self, path: Path) -> Path:
        """The file."""
        measurements, receivers, bins = self.pressure.shape
        spherical = {"Type": "spherical", "Units": "degree, degree, metre"}
        hertz = {"LongName": "frequency", "Units": "hertz"}
        data = {} if self.units is None else {"Units": self.units}
        variables: dict[str, tuple[tuple[str, ...], Any, Mapping[str, str]]] = {
            "ReceiverPosition": (("R", "C"), self.position, spherical),
            "N": (("N",), self.frequency_hz, hertz),
            "Data.Real": (("M", "R", "N"), self.pressure.real, data),
            "Data.Imag": (("M", "R", "N"), self.pressure.imag, data),
            **self.changes,
        }
        named = {
            "Conventions": "SOFA",
            "SOFAConventions": "FreeFieldDirectivityTF",
            "SOFAConventionsVersion": "1.1",
            "DataType": "TF",
            "Title": "made up",
            **self.attributes,
        }
        with h5netcdf.File(path, "w") as file:
            sizes = {"M": measurements, "R": receivers, "N": bins, "C": 3, "I": 1}
            file.dimensions = {**sizes, "X": 2}
            for key, text in named.items():
                file.attrs[key] = text
            for name, (dims, given, attributes) in variables.items():
                if name in self.left_out:
                    continue
                values = np.asarray(given)
                kind = self.dtype if name.startswith("Data") else values.dtype
                made = file.create_variable(name, dims, kind, data=values.astype(kind))
                for key, text in attributes.items():
                    made.attrs[key] = text
        return path


def sphere(
    position_deg: Floats,
    of: Callable[[Floats, Floats], Complexes] = plane_law,
    hz: Floats = FREQUENCIES,
    distance_m: float = 2.0,
) -> Aes69:
    """One measurement of one source, every direction a receiver; pressure at `distance_m`, delayed."""
    flight = np.exp(-2j * np.pi * hz * distance_m / SOUND_SPEED) / distance_m
    position = np.column_stack([position_deg, np.full(len(position_deg), distance_m)])
    return Aes69(position, hz, (of(vectors(position_deg), hz) * flight)[None])
