"""Radiators on a body, fitted to responses on both orbits: what each sends, and from where.

At each frequency the pressure in D directions is Σ A·K with K the known pattern of a radiator at a height on
the body: its disc's beaming, the body's diffraction, its own way to the microphone. Heights, sizes of discs
and the body's measures are sought, the amplitudes A follow by least squares at each frequency (variable
projection: Golub and Pereyra 1973, recalled); where phase is lost, from levels (`levels`). What the case
states (`stated`) is where the search begins and what it is held near; where it states nothing, two radiators
are sought on two bodies, a face with a rim and a ball. What a mechanism does then follows by taking it out of
the fitted scene.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import OptimizeResult, least_squares

from earwitness.acoustics.source_patterns import Rim, disc, on_ball, rimmed
from earwitness.findings.causes.levels import of_levels, of_levels_of_ways
from earwitness.findings.causes.stated import DISC_PART, PLACE_M, SIZE_M, Body, Stated
from earwitness.records.grid import POINTS_PER_OCTAVE
from earwitness.records.responses import Responses
from earwitness.records.takes import Direction, Orbit

Float64s = npt.NDArray[np.float64]
Complex128s = npt.NDArray[np.complex128]

#: Directions that are fitted, and the least of them on each orbit.
REACH_DEG: Final = 60.0
LEAST_DIRECTIONS: Final = 7
#: Frequencies of the search for geometry.
SOUGHT: Final = 36
LOWEST_HZ, HIGHEST_HZ = 500.0, 12_000.0
#: What two patterns that are nearly alike may not tell: part of their power.
RIDGE: Final = 3e-3
#: Starts where nothing is stated: heights of the lower and the upper driver re the reference point.
STARTS: Final = ((-0.16, 0.0), (0.0, 0.16))
#: One that isn't stated is sought here, and so far above the highest that is.
BESIDES_M: Final = (0.0, 0.1)
#: Evaluations of every start, and of the better one after that.
FIRST_EVALUATIONS: Final = 8
EVALUATIONS: Final = 40
#: Limits of a height or an elevation, of a disc as a part of where it began, and of the body's measures.
PLACES: Final[Mapping[Body, tuple[float, float]]] = {"box": (-1.2, 0.8), "ball": (-1.3, 1.3)}
DISC_LIMITS: Final = (0.36, 2.9)
LOW: Final[Mapping[Body, tuple[float, ...]]] = {"box": (0.05, 0.02, 0.05), "ball": (0.06,)}
HIGH: Final[Mapping[Body, tuple[float, ...]]] = {"box": (0.4, 1.2, 1.6), "ball": (0.4,)}
BODY: Final[Mapping[Body, tuple[float, ...]]] = {"box": (0.1, 0.08, 0.28), "ball": (0.14,)}
DISCS_M: Final = (0.055, 0.011)
#: How much a statement counts: what a step of its own uncertainty costs re a misfit in one direction.
STATED_COUNTS: Final = 0.2
#: A radiator that nowhere sends this share isn't one of the scene's.
SILENT: Final = 0.03
#: Discs are used between these ka: smaller ones move too little air, larger ones beam (common practice).
SMALLEST_KA, LARGEST_KA = 0.3, 4.0
#: Steps by which slopes are found where only levels are known.
LEVEL_STEP: Final = 1e-3


@dataclass(frozen=True, slots=True)
class Heard:
    """Pressure (D, F) in directions, and where the microphone stood (D, 3) from the reference point.

    Without phase the pressure is its amplitude alone.
    """

    directions: tuple[Direction, ...]
    microphone_m: Float64s
    frequency_hz: Float64s
    pressure: Complex128s
    speed_m_s: float
    has_phase: bool = True

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

    `place` is the height of each of S radiators in metres; on a ball, its elevation in radians. `size_m` is
    the body's: to the side, up and down from the reference point; a ball's radius.
    """

    body: Body
    place: tuple[float, ...]
    disc_m: tuple[float, ...]
    size_m: tuple[float, ...]

    @classmethod
    def of(cls, body: Body, values: Float64s) -> Geometry:
        """From a row of parameters."""
        v = tuple(float(each) for each in values)
        count = (len(v) - len(BODY[body])) // 2
        return cls(body, v[:count], v[count : 2 * count], v[2 * count :])

    def keeping(self, some: npt.NDArray[np.intp]) -> Geometry:
        """With some of its radiators alone."""
        return replace(
            self,
            place=tuple(self.place[k] for k in some),
            disc_m=tuple(self.disc_m[k] for k in some),
        )

    def points_m(self) -> Float64s:
        """Where the radiators are, (S, 3)."""
        if self.body == "box":
            return np.array([[0.0, 0.0, height] for height in self.place])
        (radius,) = self.size_m
        return np.array([[radius * (np.cos(e) - 1.0), 0.0, radius * np.sin(e)] for e in self.place])

    def rim(self, number: int) -> Rim:
        """Of a radiator in a box."""
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


@dataclass(frozen=True, eq=False)
class Scene:
    """A fitted scene: geometry, amplitudes (S, F), misfit (F,) as a share; what sounds lowest comes first.

    `uncertainty` holds standard uncertainties of places, discs and the body's sizes, in this order.
    """

    heard: Heard
    geometry: Geometry
    uncertainty: Float64s
    amplitude: Complex128s
    misfit: Float64s
    #: Misfit of the other body over this one's, of the search: above 1, this one fits better. None where the
    #: case states the body.
    other_body: float | None
    _patterns: dict[Without, Complex128s] = field(default_factory=dict, compare=False, repr=False)

    def pressure(self, without: Without = NOTHING_TAKEN, amplitude: Complex128s | None = None) -> Complex128s:
        """As the scene has it, (D, F)."""
        sent = self.amplitude if amplitude is None else amplitude
        if without not in self._patterns:
            self._patterns[without] = patterns(self.heard, self.geometry, without)
        return np.asarray(np.einsum("sdf,sf->df", self._patterns[without], sent))

    @property
    def share(self) -> Float64s:
        """Of the one that sounds lowest, (F,)."""
        return np.asarray(self.shares[0])

    @property
    def shares(self) -> Float64s:
        """Of each radiator in the power of all, 0 … 1, (S, F)."""
        power = np.abs(self.amplitude) ** 2
        return np.asarray(power / np.maximum(power.sum(axis=0), 1e-30))


def patterns(heard: Heard, geometry: Geometry, without: Without = NOTHING_TAKEN) -> Complex128s:
    """What each radiator at amplitude 1 gives in each direction, (S, D, F)."""
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


def amplitudes(
    heard: Heard, kernel: Complex128s, near: Complex128s | None = None
) -> tuple[Complex128s, Complex128s]:
    """At each frequency: amplitudes (S, F), and what they leave (D, F).

    Where only levels are known, what they leave is real, and `near` (S, F) is where to begin.
    """
    if not heard.has_phase:
        sent = of_levels(kernel, np.abs(heard.pressure), RIDGE, near)
        whole = np.einsum("sdf,sf->df", kernel, sent)
        return sent, np.asarray(np.abs(heard.pressure) - np.abs(whole) + 0j)
    count = len(kernel)
    normal = np.einsum("sdf,tdf->fst", kernel.conj(), kernel)
    ridge = RIDGE * np.einsum("fss->f", normal).real / count
    normal = normal + ridge[:, None, None] * np.eye(count)
    right = np.einsum("sdf,df->fs", kernel.conj(), heard.pressure)
    found = np.linalg.solve(normal, right[..., None])[..., 0].T
    return np.asarray(found), np.asarray(heard.pressure - np.einsum("sdf,sf->df", kernel, found))


def hear(responses: Responses, speed_m_s: float) -> Heard | None:
    """Directions to the front; None where they are too few for a scene.

    Those that have phase, where they are enough; else all of them by their levels.
    """
    for has_phase in (True, False):
        found = _heard(responses, speed_m_s, has_phase)
        if found is not None:
            return found
    return None


def _heard(responses: Responses, speed_m_s: float, has_phase: bool) -> Heard | None:
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
            and (responses.has_phase[row] or not has_phase)
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
    pressure = pressure if has_phase else np.abs(pressure) + 0j
    frequency = np.asarray(responses.frequency_hz[inside], dtype=np.float64)
    return Heard(directions, places[index].astype(np.float64), frequency, pressure, speed_m_s, has_phase)


def fit_scene(heard: Heard, stated: Stated | None = None) -> Scene:
    """On the body that is stated, or on the better of both."""
    band = (heard.frequency_hz >= LOWEST_HZ) & (heard.frequency_hz <= HIGHEST_HZ)
    low, high = heard.frequency_hz[np.flatnonzero(band)[[0, -1]]]
    wanted = np.geomspace(float(low), float(high), SOUGHT)
    some = heard.at(np.unique(np.searchsorted(heard.frequency_hz, wanted * 0.9999)))
    bodies: tuple[Body, ...] = ("box", "ball") if stated is None or stated.body is None else (stated.body,)
    fits = {body: _sought(some, body, _starts(body, stated)) for body in bodies}
    body = min(bodies, key=lambda each: fits[each][0])
    cost, values, uncertainty = fits[body]
    others = [float(np.sqrt(fits[each][0] / cost)) for each in bodies if each != body]
    geometry = Geometry.of(body, values)
    sent, left = _sent(heard, geometry)
    kept = _by_pitch(heard.frequency_hz, sent)
    if [*kept] != [*range(len(sent))]:
        count = len(sent)
        geometry = geometry.keeping(kept)
        sent, left = _sent(heard, geometry)
        uncertainty = uncertainty[[*kept, *(kept + count), *range(2 * count, uncertainty.size)]]
    size = np.sqrt(np.mean(np.abs(heard.pressure) ** 2, axis=0))
    misfit = np.sqrt(np.mean(np.abs(left) ** 2, axis=0)) / size
    return Scene(heard, geometry, uncertainty, sent, misfit, others[0] if others else None)


def _sent(heard: Heard, geometry: Geometry) -> tuple[Complex128s, Complex128s]:
    """As `amplitudes`, on a whole grid, where levels of neighbours tell more, and sizes of discs too."""
    kernel = patterns(heard, geometry)
    if not heard.has_phase:
        size = np.multiply.outer(np.array(geometry.disc_m), heard.wavenumber)
        ridge = RIDGE * (1.0 + (SMALLEST_KA / size) ** 4 + (size / LARGEST_KA) ** 4)
        sent = of_levels_of_ways(kernel, np.abs(heard.pressure), ridge, POINTS_PER_OCTAVE // 2)
        left = np.abs(heard.pressure) - np.abs(np.einsum("sdf,sf->df", kernel, sent))
        return sent, np.asarray(left + 0j)
    return amplitudes(heard, kernel)


def _by_pitch(frequency_hz: Float64s, sent: Complex128s) -> npt.NDArray[np.intp]:
    """Those of S radiators (S, F) that are heard, the one that sounds lowest first."""
    power = np.abs(sent) ** 2
    share = power / np.maximum(power.sum(axis=0), 1e-30)
    pitch = share @ np.log(frequency_hz) / np.maximum(share.sum(axis=1), 1e-30)
    order = np.argsort(pitch, kind="stable")
    return np.asarray(order[share.max(axis=1)[order] >= SILENT])


@dataclass(frozen=True, slots=True)
class _Start:
    """Parameters to begin with, and the standard uncertainty of each as stated; infinite where it isn't."""

    values: Float64s
    spread: Float64s


def _starts(body: Body, stated: Stated | None) -> list[_Start]:
    """Where the search begins, by what is stated."""
    if stated is None:
        scale = 1.0 if body == "box" else 4.0
        rows = [np.array([low * scale, high * scale, *DISCS_M, *BODY[body]]) for low, high in STARTS]
        return [_Start(row, np.full(row.size, np.inf)) for row in rows]
    known = np.array(stated.size_m if stated.body == body else [np.nan] * len(BODY[body]))
    size = np.where(np.isfinite(known), known, BODY[body])
    size_spread = np.where(np.isfinite(known), SIZE_M, np.inf)
    per = 1.0 if body == "box" else float(size[0])
    loose = [np.inf] * stated.besides
    found = []
    for above in (BESIDES_M[0], max(stated.height_m) + BESIDES_M[1]) if stated.besides else (None,):
        heights = np.array([*stated.height_m, *(() if above is None else (above,))])
        places = heights if body == "box" else np.arcsin(np.clip(heights / per, -0.95, 0.95))
        discs = np.array([*stated.disc_m, *(() if above is None else DISCS_M[1:])])
        place_spread = [PLACE_M / per] * len(stated.height_m) + loose
        disc_spread = [DISC_PART * each for each in stated.disc_m] + loose
        values = np.concatenate([places, discs, size])
        found.append(_Start(values, np.array([*place_spread, *disc_spread, *size_spread])))
    return found


def _sought(some: Heard, body: Body, starts: list[_Start]) -> tuple[float, Float64s, Float64s]:
    """Least cost over starts, its parameters, and their standard uncertainties."""
    size = np.sqrt(np.mean(np.abs(some.pressure) ** 2, axis=0))
    sides = 1 if not some.has_phase else 2
    count = (starts[0].values.size - len(BODY[body])) // 2
    discs = starts[0].values[count : 2 * count]
    limits = [
        np.array([PLACES[body][side]] * count + [*(DISC_LIMITS[side] * discs)] + [*(LOW, HIGH)[side][body]])
        for side in (0, 1)
    ]
    scale = 1.0 if body == "box" else 4.0
    steps = np.array([0.05 * scale] * count + [*(DISC_LIMITS[0] * discs)] + [0.05] * len(BODY[body]))

    def fitted(start: _Start, evaluations: int) -> OptimizeResult:
        near: Complex128s | None = None

        def residual(values: Float64s) -> Float64s:
            nonlocal near
            near, left = amplitudes(some, patterns(some, Geometry.of(body, values)), near)
            parts = (left / size).ravel()
            held = STATED_COUNTS * (values - start.values) / start.spread
            return np.concatenate([parts.real, parts.imag, held] if sides == 2 else [parts.real, held])

        inside = np.clip(start.values, limits[0] + 1e-6, limits[1] - 1e-6)
        return least_squares(
            residual,
            inside,
            bounds=(limits[0], limits[1]),
            x_scale=steps,
            loss="soft_l1",
            f_scale=0.2,
            max_nfev=evaluations,
            diff_step=None if some.has_phase else np.full(inside.size, LEVEL_STEP),
        )

    if len(starts) > 1:
        firsts = [(fitted(start, FIRST_EVALUATIONS), start) for start in starts]
        first, start = min(firsts, key=lambda pair: float(pair[0].cost))
        begun = replace(start, values=np.where(np.isinf(start.spread), first.x, start.values))
    else:
        begun = starts[0]
    fit = fitted(begun, EVALUATIONS)
    slopes = np.asarray(fit.jac, dtype=np.float64)
    spread = np.sqrt(np.diag(np.linalg.pinv(slopes.T @ slopes)) * 2.0 * fit.cost / fit.fun.size)
    return float(fit.cost), np.asarray(fit.x), np.asarray(spread)
