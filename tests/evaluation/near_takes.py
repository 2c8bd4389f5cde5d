"""`PYTHONPATH=tests python -m evaluation.near_takes 20600 40`: do near fields of drive units tell causes?

Each is taken 7 mm before its dust cap with both playing, in the workshop's own physics, through the gate of
the case, on one clock. A flat disc in a wall (closed form on its axis) turns what two
microphones hear into what two discs send; a gain and a delay each are set by what the scene sends. That takes
the place of the scene's amplitudes, and every module judges again.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt
import scipy.fft
from evaluation.case import spots
from evaluation.next_takes import Case, Told, line
from evaluation.physics import COARSE_HZ, LEAD_S, RATE_HZ, SAMPLES, Made, _Viewed, gate_s
from evaluation.truth import causes as true_causes
from scipy.interpolate import CubicSpline
from scipy.special import j1

from earwitness.findings.causes.judge import gate_of, judged
from earwitness.findings.causes.scene import Scene

Complexes = npt.NDArray[np.complex128]

GAP_M: Final = 0.007
#: A driver is lined up where it has this share of the power; delays are sought so far and so finely, s.
HEARD, FAR_S, FINE_S = 0.3, 2e-3, 5e-6
TAKE: Final = "near fields of both drive units"


def near_pressure(made: Made) -> Complexes:
    """What the microphones before the woofer and before the tweeter hear, all playing, (2, F)."""
    scenario = made.drawn.scenario
    view = _Viewed.of(made.drawn, gate_s(scenario))
    cabinet, names = scenario.loudspeaker.cabinet, scenario.loudspeaker.source.radiators
    points = np.stack([cabinet.in_front_of(names.index(name), GAP_M) for name in ("woofer", "tweeter")])
    transfer = CubicSpline(COARSE_HZ, cabinet.transfer(points, COARSE_HZ, scenario.air), axis=-1)(view.bins)
    velocity = view.listening.parts(()).volume_velocities(view.bins, scenario.air)
    arrived = np.zeros((2, view.bins.size + 1), dtype=np.complex128)
    arrived[:, 1:] = np.einsum("cdf,cf->df", transfer, velocity) * view._converter()
    impulse = np.roll(scipy.fft.irfft(arrived, SAMPLES, axis=-1), round(LEAD_S * RATE_HZ), axis=-1)
    return np.asarray(view._passed(impulse[:, : len(view.time_s)]))


def sent(scene: Scene, heard: Complexes) -> Complexes:
    """What two discs send, (2, F), from what is heard before both, lined up with what the scene has."""
    k, points = scene.heard.wavenumber, scene.geometry.points_m()
    apart = float(np.linalg.norm(points[0] - points[1]))
    mixed = np.zeros((k.size, 2, 2), dtype=np.complex128)
    for own, other in ((0, 1), (1, 0)):
        radius, leak = scene.geometry.disc_m[own], k * scene.geometry.disc_m[other]
        ends = np.exp(-1j * k * GAP_M) - np.exp(-1j * k * np.hypot(radius, GAP_M))
        mixed[:, own, own] = 4.0 * ends / (1j * k * radius**2)
        mixed[:, own, other] = 2.0 * np.exp(-1j * k * apart) / apart * 2.0 * j1(leak) / leak
    found = np.linalg.solve(mixed, heard.T[..., None])[..., 0].T
    return np.stack([_lined_up(scene, row, found[row]) for row in (0, 1)])


def _lined_up(scene: Scene, row: int, found: Complexes) -> Complexes:
    """One real gain and one delay, by where the driver is heard."""
    where = scene.shares[row] >= min(HEARD, np.sort(scene.shares[row])[-20])
    hz, wanted, here = scene.heard.frequency_hz, scene.amplitude[row], found
    turn = (wanted / np.abs(wanted) * here.conj() / np.abs(here))[where]
    delays = np.arange(-FAR_S, FAR_S, FINE_S)
    alike = (turn @ np.exp(-2j * np.pi * np.outer(hz[where], delays))).real
    best = int(np.argmax(np.abs(alike)))
    gain = np.exp(np.median(np.log(np.abs(wanted[where] / here[where])))) * np.sign(alike[best])
    return np.asarray(gain * here * np.exp(2j * np.pi * hz * delays[best]))


def look(seed: int) -> list[Told]:
    """What near fields told of every open cause; nothing where the scene has not two drivers."""
    case = Case.of(seed)
    asked = [one for one in case.questions if one is not None]
    gate = gate_of(case.made.responses)
    if not asked or gate is None or len(asked[0].foretold.scene.geometry.place) != 2:
        return []
    scene = asked[0].foretold.scene
    at = np.searchsorted(case.made.frequency_hz, scene.heard.frequency_hz * 0.9999)
    near = replace(scene, amplitude=sent(scene, near_pressure(case.made)[:, at]), _patterns={})
    told: list[Told] = []
    for one, causes in zip(asked, judged(near, gate, [q.feature for q in asked]), strict=True):
        acting = true_causes(case.made, spots(one.feature))
        after = {said.cause: said.probability for said in causes.said}
        told += [
            Told(
                seed,
                one.feature.frequency_hz,
                str(q.cause),
                TAKE,
                q.probability,
                after[q.cause],
                q.cause in acting,
            )
            for q in one.asked
        ]
    return told


def main(words: Sequence[str]) -> int:
    """Seeds from the first, so many."""
    start, count = (int(word) for word in words)
    told = [one for seed in range(start, start + count) for one in look(seed)]
    for cause in sorted({t.cause for t in told}):
        print(line(cause, [t for t in told if t.cause == cause]))
    print(line("all", told))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
