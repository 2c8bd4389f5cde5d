"""What stands out of the response in one direction, fitted with the gate in the model.

What is seen at all widths (`features_seen`) is taken for sections of second order. All are fitted at once,
over a smooth ground, each as what the gate leaves of it. Beside a section that rings for longer than the gate
the gate's ripple is seen too: what such a section explains is a shape of the fit, and is dropped.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.interpolate import BSpline

from earwitness.acoustics.sections import gated_sections, q_of_width, width_octaves
from earwitness.findings.features_seen import bells

Float64s = npt.NDArray[np.float64]

#: A section is itself so much of what stands out there at least: or it is another's ripple through a gate.
OWN_PART: Final = 0.4
#: A section rings on when the gate closes if its Q is more than this part of frequency times gate.
RINGS_ON: Final = 0.5
#: Features above this are not sought.
HIGHEST_HZ: Final = 16_000.0
#: A section stands this much less out of the chord than it is high, if its arm is its width.
CHORD_PART: Final = 0.8
#: The ground: knots so many octaves apart. Fits use every second point of the grid.
KNOTS_OCTAVES, EVERY = 1.6, 2
#: How far a fit may wander from where a chord found it: octaves, dB, a factor of Q (natural logarithm).
FREE: Final = np.array([0.06, 6.0, 0.6])
STEPS: Final = 8
#: And how far it may not: parts of the width seen, and the least part of the height.
WANDER, LEAST_PART = 0.25, 0.1
#: Least misfit that is believed, dB; points of the fit that err alike.
LEAST_MISFIT_DB, ALIKE = 0.05, 4.0
LEAST_Q, MOST_Q, MOST_DB = 0.55, 200.0, 40.0


@dataclass(frozen=True, slots=True)
class Sections:
    """K sections in one direction, each array (K,), and K × 3 standard uncertainties of log₂ f, dB, ln Q.

    `shown_db` is how far the measured level stands out of its chord.
    """

    centre_hz: Float64s
    gain_db: Float64s
    q: Float64s
    uncertainty: Float64s
    shown_db: Float64s

    @property
    def width_octaves(self) -> Float64s:
        """At half gain."""
        return width_octaves(self.gain_db, self.q)


def fit_sections(frequency_hz: Float64s, level_db: Float64s, noise_db: Float64s, gate_s: float) -> Sections:
    """The sections of a level (F,) on a stretch of the derived grid.

    Parameters
    ----------
    noise_db
        Standard uncertainty of single points, (F,).
    gate_s
        The gate's length, infinite where there is none.
    """
    seen = [bell for bell in bells(level_db, noise_db) if frequency_hz[bell.at] <= HIGHEST_HZ]
    if not seen:
        return Sections(*(np.zeros(0),) * 3, np.zeros((0, 3)), np.zeros(0))
    shown = np.array([bell.seen_db for bell in seen])
    gain = np.clip(shown / CHORD_PART, -MOST_DB, MOST_DB)
    q = np.clip(q_of_width(gain, [bell.arm_octaves for bell in seen]), LEAST_Q, MOST_Q)
    middle = np.log2(frequency_hz[[bell.at for bell in seen]])
    start = np.stack([middle, gain, np.log(q)], axis=-1)
    fitted, uncertainty = _refined(frequency_hz[::EVERY], level_db[::EVERY], noise_db[::EVERY], gate_s, start)
    kept = ~_ripple(frequency_hz, fitted, shown, gate_s)
    centre, gain, q = 2.0 ** fitted[kept, 0], fitted[kept, 1], np.exp(fitted[kept, 2])
    return Sections(centre, gain, q, uncertainty[kept], shown[kept])


def _ripple(
    frequency_hz: Float64s, fitted: Float64s, shown_db: Float64s, gate_s: float
) -> npt.NDArray[np.bool_]:
    """Which are the gate's ripple beside a higher one that rings on, (K,)."""
    centre, gain = 2.0 ** fitted[:, 0], np.abs(fitted[:, 1])
    ringing = np.where(np.exp(fitted[:, 2]) > RINGS_ON * centre * gate_s, gain, 0.0)
    heights = np.max(np.sign(shown_db)[:, None] * _levels(frequency_hz, fitted, gate_s), axis=1)
    return np.asarray((heights < OWN_PART * np.abs(shown_db)) & (ringing.max() > gain))


def _levels(frequency_hz: Float64s, sections: Float64s, gate_s: float) -> Float64s:
    """Levels (K, F) of gated sections given as rows of log₂ f, dB, ln Q."""
    response = gated_sections(
        frequency_hz, 2.0 ** sections[:, 0], sections[:, 1], np.exp(sections[:, 2]), gate_s
    )
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(response), 1e-4)))


def _refined(
    frequency_hz: Float64s, level_db: Float64s, noise_db: Float64s, gate_s: float, start: Float64s
) -> tuple[Float64s, Float64s]:
    """All sections at once over a ground of splines: damped Gauss-Newton steps, and uncertainties."""
    ground = _ground(frequency_hz)
    weight = 1.0 / np.hypot(noise_db, LEAST_MISFIT_DB)
    count = len(start)
    sections, prior = start.copy(), np.tile(1.0 / FREE, (count, 1))
    damping, best = 1e-2, np.inf
    kept = sections
    covariance: Float64s = np.eye(3 * count)
    for _ in range(STEPS):
        levels = _levels(frequency_hz, sections, gate_s)
        base = np.linalg.lstsq(
            ground * weight[:, None], (level_db - levels.sum(axis=0)) * weight, rcond=None
        )[0]
        off = (level_db - levels.sum(axis=0) - ground @ base) * weight
        pull = (start - sections) * prior
        cost = float(np.sum(off**2) + np.sum(pull**2))
        if cost < best:
            improved = best - cost
            slopes = _slopes(frequency_hz, sections, levels, gate_s)
            whole = np.concatenate([slopes, ground.T]).T * weight[:, None]
            told, held = whole.T @ whole, np.zeros(whole.shape[1])
            held[: 3 * count] = prior.ravel() ** 2
            normal = told + np.diag(held)
            right = whole.T @ off
            right[: 3 * count] += (pull * prior).ravel()
            kept, best, damping = sections, cost, 0.3 * damping
            believed = told / (max(float(np.mean(off**2)), 1.0) * ALIKE) + np.diag(held)
            covariance = np.asarray(np.linalg.pinv(believed)[: 3 * count, : 3 * count], dtype=np.float64)
            if improved < 1e-3 * cost:
                break
        else:
            damping *= 10.0
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), right)[: 3 * count]
        sections = _bounded(kept + step.reshape(count, 3), start)
    spread = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return kept, spread.reshape(count, 3)


def _slopes(frequency_hz: Float64s, sections: Float64s, levels: Float64s, gate_s: float) -> Float64s:
    """Derivatives (3K, F) of the levels by differences, in the order of the parameters."""
    deltas = np.array([1e-4, 1e-3, 1e-3])
    moved = sections[:, None, :] + np.diag(deltas)
    there = _levels(frequency_hz, moved.reshape(-1, 3), gate_s)
    return np.asarray((there - np.repeat(levels, 3, axis=0)) / np.tile(deltas, len(sections))[:, None])


def _bounded(sections: Float64s, start: Float64s) -> Float64s:
    """Kept within a quarter of the width of where they were seen, and to their sign."""
    wander = WANDER * width_octaves(start[:, 1], np.exp(start[:, 2]))
    least, sign = LEAST_PART * np.abs(start[:, 1]), np.sign(start[:, 1])
    bounded = sections.copy()
    bounded[:, 0] = np.clip(sections[:, 0], start[:, 0] - wander, start[:, 0] + wander)
    bounded[:, 1] = sign * np.clip(sign * sections[:, 1], least, MOST_DB)
    bounded[:, 2] = np.clip(sections[:, 2], np.log(LEAST_Q), np.log(MOST_Q))
    return bounded


def _ground(frequency_hz: Float64s) -> Float64s:
    """Cubic splines over log frequency, (F, M)."""
    octaves = np.log2(frequency_hz)
    pieces = max(round((octaves[-1] - octaves[0]) / KNOTS_OCTAVES), 1)
    inner = np.linspace(octaves[0], octaves[-1], pieces + 1)
    knots = np.concatenate([[inner[0]] * 3, inner, [inner[-1]] * 3])
    return np.asarray(BSpline.design_matrix(octaves, knots, 3).toarray())
