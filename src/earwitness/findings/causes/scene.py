"""Two drivers on a body, fitted to complex responses on both orbits: what each sends, and from where.

At each frequency the pressure in D directions is A₁·K₁ + A₂·K₂ with K the known pattern of a driver at a
height on the body: its disc's beaming, the body's diffraction, its own way to the microphone. Heights, sizes
of discs and the body's measures are sought, the amplitudes A follow by least squares at each frequency
(variable projection: Golub and Pereyra 1973, recalled). Two bodies are tried: a face with a rim, and a ball
with the drivers on it. What a mechanism does then follows by taking it out of the fitted scene.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import OptimizeResult, least_squares

from earwitness.acoustics.source_patterns import Rim, disc, on_ball, rimmed
from earwitness.records.responses import Responses
from earwitness.records.takes import Direction, Orbit

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]
Body = Literal["box", "ball"]

#: Directions that are fitted, and the least of them on each orbit.
REACH_DEG: Final = 60.0
LEAST_DIRECTIONS: Final = 7
#: Frequencies of the search for geometry.
SOUGHT: Final = 36
LOWEST_HZ, HIGHEST_HZ = 500.0, 12_000.0
#: What two patterns that are nearly alike may not tell: part of their power.
RIDGE: Final = 3e-3
#: Starts: heights of the lower and the upper driver re the reference point.
STARTS: Final = ((-0.16, 0.0), (0.0, 0.16))
#: Evaluations of every start, and of the better one after that.
FIRST_EVALUATIONS: Final = 8
EVALUATIONS: Final = 40
#: Bounds by parameter: heights, discs, then the body's.
LOW: Final = {"box": (-0.5, -0.3, 0.02, 0.005, 0.05, 0.02, 0.05), "ball": (-1.2, -0.6, 0.02, 0.005, 0.06)}
HIGH: Final = {"box": (0.4, 0.5, 0.16, 0.03, 0.4, 0.4, 0.8), "ball": (0.9, 1.2, 0.16, 0.03, 0.4)}
BODY: Final[Mapping[Body, tuple[float, ...]]] = {"box": (0.1, 0.08, 0.28), "ball": (0.14,)}
DISCS_M: Final = (0.055, 0.011)


@dataclass(frozen=True, slots=True)
class Heard:
    """Pressure (D, F) in directions, and where the microphone stood (D, 3) from the reference point."""

    directions: tuple[Direction, ...]
    microphone_m: Float64s
    frequency_hz: Float64s
    pressure: Complex128s
    speed_m_s: float

    @property
    def wavenumber(self) -> Float64s:
        """Radians a metre, (F,)."""
        return np.asarray(2.0 * np.pi * self.frequency_hz / self.speed_m_s)

    def at(self, index: npt.NDArray[np.intp]) -> Heard:
        """At some frequencies."""
        return replace(self, frequency_hz=self.frequency_hz[index], pressure=self.pressure[:, index])


@dataclass(frozen=True, slots=True)
class Geometry:
    """Places and sizes.

    `place` is the height of each driver in metres; on a ball, its elevation in radians. `size_m` is the
    body's: to the side, up and down from the reference point; a ball's radius.
    """

    body: Body
    place: tuple[float, float]
    disc_m: tuple[float, float]
    size_m: tuple[float, ...]

    @classmethod
    def of(cls, body: Body, values: Float64s) -> Geometry:
        """From a row of parameters."""
        v = tuple(float(each) for each in values)
        return cls(body, (v[0], v[1]), (v[2], v[3]), v[4:])

    def points_m(self) -> Float64s:
        """Where the drivers are, (2, 3)."""
        if self.body == "box":
            return np.array([[0.0, 0.0, height] for height in self.place])
        (radius,) = self.size_m
        return np.array([[radius * (np.cos(e) - 1.0), 0.0, radius * np.sin(e)] for e in self.place])

    def rim(self, number: int) -> Rim:
        """Of a driver in a box."""
        side, up, down = self.size_m
        height = self.place[number]
        return Rim(side, max(up - height, 0.01), max(down + height, 0.01))


@dataclass(frozen=True, slots=True)
class Without:
    """What is taken out of a scene."""

    spacing: bool = False
    edges: bool = False
    beaming: bool = False


NOTHING_TAKEN: Final = Without()


@dataclass(frozen=True)
class Scene:
    """A fitted scene: geometry with standard uncertainties, amplitudes (2, F), misfit (F,) as a share."""

    heard: Heard
    geometry: Geometry
    uncertainty: Float64s
    amplitude: Complex128s
    misfit: Float64s
    #: Misfit of the other body over this one's, of the search: above 1, this one fits better.
    other_body: float
    _patterns: dict[Without, Complex128s] = field(default_factory=dict, compare=False, repr=False)

    def pressure(self, without: Without = NOTHING_TAKEN, amplitude: Complex128s | None = None) -> Complex128s:
        """As the scene has it, (D, F)."""
        sent = self.amplitude if amplitude is None else amplitude
        if without not in self._patterns:
            self._patterns[without] = patterns(self.heard, self.geometry, without)
        return np.asarray(np.einsum("sdf,sf->df", self._patterns[without], sent))

    @property
    def share(self) -> Float64s:
        """Of the first driver in what both send, 0 … 1, (F,)."""
        power = np.abs(self.amplitude) ** 2
        return np.asarray(power[0] / np.maximum(power.sum(axis=0), 1e-30))


def patterns(heard: Heard, geometry: Geometry, without: Without = NOTHING_TAKEN) -> Complex128s:
    """What each driver at amplitude 1 gives in each direction, (2, D, F)."""
    k, points = heard.wavenumber, geometry.points_m()
    reference = np.linalg.norm(heard.microphone_m, axis=-1)
    found = []
    for number, point in enumerate(points):
        way = heard.microphone_m - point
        length = np.linalg.norm(way, axis=-1)
        radius = geometry.disc_m[number]
        if geometry.body == "box":
            normal = np.array([1.0, 0.0, 0.0])
            rim = geometry.rim(number)
            size = rim.ball_radius_m
        else:
            size = geometry.size_m[0]
            normal = np.array([np.cos(geometry.place[number]), 0.0, np.sin(geometry.place[number])])
        angle = np.arccos(np.clip(way @ normal / length, -1.0, 1.0))
        if geometry.body == "box" and not without.edges:
            pattern = rimmed(k, rim, radius, way)
        else:
            pattern = on_ball(k, size, angle)
        if not without.beaming:
            pattern = pattern * disc(radius * np.sin(np.minimum(angle, np.pi / 2))[:, None] * k)
        if without.spacing:
            length = np.linalg.norm(heard.microphone_m - points.mean(axis=0), axis=-1)
        found.append(
            pattern * (reference / length)[:, None] * np.exp(-1j * (length - reference)[:, None] * k)
        )
    return np.stack(found)


def amplitudes(heard: Heard, kernel: Complex128s) -> tuple[Complex128s, Complex128s]:
    """Least squares at each frequency: amplitudes (2, F), and what they leave (D, F)."""
    normal = np.einsum("sdf,tdf->fst", kernel.conj(), kernel)
    ridge = RIDGE * np.einsum("fss->f", normal).real / 2.0
    normal[:, [0, 1], [0, 1]] += ridge[:, None]
    right = np.einsum("sdf,df->fs", kernel.conj(), heard.pressure)
    found = np.linalg.solve(normal, right[..., None])[..., 0].T
    return np.asarray(found), np.asarray(heard.pressure - np.einsum("sdf,sf->df", kernel, found))


def hear(responses: Responses, speed_m_s: float) -> Heard | None:
    """Directions to the front that have phase and share a clock; None where they are too few for a scene."""
    places = responses.microphone_m
    if places is None:
        return None
    rows: dict[Direction, int] = {}
    for row, take in enumerate(responses.takes):
        direction = take.key.direction
        usable = direction is not None and abs(direction.angle_deg) <= REACH_DEG
        if (
            direction is not None
            and usable
            and responses.has_phase[row]
            and np.isfinite(places[row]).all()
            and take.id not in responses.set_aside
        ):
            rows.setdefault(direction.shared, row)
    counts = [sum(d.orbit is orbit for d in rows) for orbit in Orbit]
    if min(counts) < LEAST_DIRECTIONS - 1:
        return None
    directions, index = tuple(rows), list(rows.values())
    inside = np.flatnonzero(np.all(responses.valid[index], axis=0))
    if inside.size < 96:
        return None
    pressure = responses.pressure[index][:, inside].astype(np.complex128)
    frequency = np.asarray(responses.frequency_hz[inside], dtype=np.float64)
    return Heard(directions, places[index].astype(np.float64), frequency, pressure, speed_m_s)


def fit_scene(heard: Heard) -> Scene:
    """The better of both bodies."""
    band = (heard.frequency_hz >= LOWEST_HZ) & (heard.frequency_hz <= HIGHEST_HZ)
    low, high = heard.frequency_hz[np.flatnonzero(band)[[0, -1]]]
    wanted = np.geomspace(float(low), float(high), SOUGHT)
    some = heard.at(np.unique(np.searchsorted(heard.frequency_hz, wanted * 0.9999)))
    fits = {body: _sought(some, body) for body in BODY}
    costs = {body: float(fit[0]) for body, fit in fits.items()}
    body: Body = "box" if costs["box"] <= costs["ball"] else "ball"
    other: Body = "ball" if body == "box" else "box"
    _, values, uncertainty = fits[body]
    geometry = Geometry.of(body, values)
    sent, left = amplitudes(heard, patterns(heard, geometry))
    size = np.sqrt(np.mean(np.abs(heard.pressure) ** 2, axis=0))
    misfit = np.sqrt(np.mean(np.abs(left) ** 2, axis=0)) / size
    return Scene(heard, geometry, uncertainty, sent, misfit, float(np.sqrt(costs[other] / costs[body])))


def _sought(some: Heard, body: Body) -> tuple[float, Float64s, Float64s]:
    """Least cost over starts, its parameters, and their standard uncertainties."""
    size = np.sqrt(np.mean(np.abs(some.pressure) ** 2, axis=0))

    def residual(values: Float64s) -> Float64s:
        _, left = amplitudes(some, patterns(some, Geometry.of(body, values)))
        left = (left / size).ravel()
        return np.concatenate([left.real, left.imag])

    scale = 1.0 if body == "box" else 4.0
    steps = np.array([0.05 * scale, 0.05 * scale, 0.02, 0.004, *[0.05] * len(BODY[body])])

    def fitted(start: Float64s, evaluations: int) -> OptimizeResult:
        return least_squares(
            residual,
            start,
            bounds=(LOW[body], HIGH[body]),
            x_scale=steps,
            loss="soft_l1",
            f_scale=0.2,
            max_nfev=evaluations,
        )

    starts = (np.array([low * scale, high * scale, *DISCS_M, *BODY[body]]) for low, high in STARTS)
    first = min((fitted(start, FIRST_EVALUATIONS) for start in starts), key=lambda fit: float(fit.cost))
    fit = fitted(first.x, EVALUATIONS)
    slopes = np.asarray(fit.jac, dtype=np.float64)
    spread = np.sqrt(np.diag(np.linalg.pinv(slopes.T @ slopes)) * 2.0 * fit.cost / fit.fun.size)
    return float(fit.cost), np.asarray(fit.x), np.asarray(spread)
